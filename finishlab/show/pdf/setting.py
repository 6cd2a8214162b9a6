"""How text is set in its place, in millimetres.

Text here never runs out of its place: a line is made smaller, then broken, then cut with an ellipsis, in this order.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from finishlab.show.pdf.fonts import HELVETICA, Face, font_runs

__all__ = ["POINTS_PER_MM", "Setting", "break_lines", "cap_of", "fit", "line_width", "points"]

POINTS_PER_MM: Final = 72.0 / 25.4
"""A PDF unit is 1/72 inch (ISO 32000-1, 8.3.2.3)."""
_CAP_HEIGHT: Final = 0.718
"""Height of a capital of Helvetica as a share of the font size (Adobe font metrics, CapHeight 718); those of the other
fonts are within 2 % of it."""
_UNITS: Final = frozenset({"%", "C", "L", "days", "h", "min", "mm"})
_STEPS: Final = 12
"""In how many steps text is made smaller until it fits."""


@dataclass(frozen=True, slots=True)
class Setting:
    """How a text fits its place."""

    lines: tuple[str, ...]
    cap: float
    """Height of capitals in millimetres."""
    cut: bool = False
    """Whether words had to be left out even at the smallest size."""


def points(cap: float) -> float:
    """Return the size in points of a font whose capitals are `cap` millimetres high."""
    return cap / _CAP_HEIGHT * POINTS_PER_MM


def cap_of(size: float) -> float:
    """Return the height in millimetres of the capitals of a font of `size` points."""
    return size * _CAP_HEIGHT / POINTS_PER_MM


def line_width(words: str, *, cap: float, bold: bool = False, face: Face = HELVETICA) -> float:
    """Return the width in millimetres of a line of text whose capitals are `cap` millimetres high."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    size = cap / _CAP_HEIGHT
    return float(sum(stringWidth(piece, font, size) for font, piece in font_runs(words, bold=bold, face=face)))


def break_lines(
    words: str, *, width: float, cap: float, bold: bool = False, face: Face = HELVETICA, taken: float = 0.0
) -> list[str]:
    """Return text in lines no wider than `width`; a word that is wider itself is broken where it must be.

    Of the first line `taken` is lost to what stands before it; it is empty where no word has room beside that.
    """

    def wide(words: str) -> float:
        return line_width(words, cap=cap, bold=bold, face=face)

    lines: list[str] = []
    for paragraph in words.splitlines() or [""]:
        line = ""
        for word in _words(paragraph):
            longer = f"{line} {word}" if line else word
            if wide(longer) <= width - (0.0 if lines else taken):
                line = longer
                continue
            if line or (taken and not lines):
                lines.append(line)
            *broken, line = _broken(word, width, wide)
            lines += broken
        lines.append(line)
    return lines


def _words(paragraph: str) -> list[str]:
    """Return the words of a text; a figure keeps its unit."""
    words: list[str] = []
    for word in paragraph.split():
        if words and word.rstrip(",;.)") in _UNITS and words[-1][-1].isdigit():
            words[-1] += f" {word}"
        else:
            words.append(word)
    return words


def _broken(word: str, width: float, wide: Callable[[str], float]) -> list[str]:
    pieces, start = [], 0
    for end in range(1, len(word) + 1):
        if end - start > 1 and wide(word[start:end]) > width:
            pieces.append(word[start : end - 1])
            start = end - 1
    return [*pieces, word[start:]]


def fit(
    words: str,
    *,
    width: float,
    height: float,
    cap: float,
    smallest: float,
    leading: float = 1.75,
    bold: bool = False,
    face: Face = HELVETICA,
) -> Setting:
    """Return the largest setting of a text that fits a place.

    Parameters
    ----------
    words
        The text; its own line ends are kept.
    width, height
        The place, in millimetres. `height` is from the top of the first line's capitals to the last baseline.
    cap, smallest
        Height of capitals wished for, and the least that can be read.
    leading
        From baseline to baseline, in heights of capitals.
    bold, face
        Weight and font.
    """
    lines: list[str] = []
    for step in range(_STEPS + 1):
        size = cap + (smallest - cap) * step / _STEPS
        lines = break_lines(words, width=width, cap=size, bold=bold, face=face)
        whole = all(word in " ".join(lines).split() for word in words.split())
        if _height(len(lines), size, leading) <= height and (whole or step == _STEPS):
            return Setting(tuple(lines), size)
    room = max(1, int((height / smallest - 1) / leading + 1e-9) + 1)
    if len(lines) <= room:
        return Setting(tuple(lines), smallest)
    return Setting(
        (*lines[: room - 1], _cut(lines[room - 1], width, smallest, bold=bold, face=face)), smallest, cut=True
    )


def _height(lines: int, cap: float, leading: float) -> float:
    return cap * (1 + (lines - 1) * leading)


def _cut(line: str, width: float, cap: float, *, bold: bool, face: Face) -> str:
    while line and line_width(f"{line}…", cap=cap, bold=bold, face=face) > width:
        line = line[:-1].rstrip()
    return f"{line}…"

"""Pages of text, boxes and pictures in millimetres: what labels, the schedule and the house file are drawn on.

Text here never runs out of its place: a line is made smaller, then broken, then cut with an ellipsis, in this order.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from finishlab.reports.print.fonts import font_runs
from finishlab.reports.print.sheet import POINTS_PER_MM, Align, Sheet

__all__ = ["PrintPages", "Setting", "break_lines", "fit", "line_width"]

_CAP_HEIGHT: Final = 0.718
"""As in `finishlab.reports.print.sheet`: Helvetica's capitals; those of the other fonts are within 2 % of it."""
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


def line_width(words: str, *, cap: float, bold: bool = False) -> float:
    """Return the width in millimetres of a line of text whose capitals are `cap` millimetres high."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    size = cap / _CAP_HEIGHT
    return float(sum(stringWidth(piece, font, size) for font, piece in font_runs(words, bold=bold)))


def break_lines(words: str, *, width: float, cap: float, bold: bool = False) -> list[str]:
    """Return text in lines no wider than `width`; a word that is wider itself is broken where it must be."""
    lines: list[str] = []
    for paragraph in words.splitlines() or [""]:
        line = ""
        for word in _words(paragraph):
            longer = f"{line} {word}" if line else word
            if line_width(longer, cap=cap, bold=bold) <= width:
                line = longer
                continue
            if line:
                lines.append(line)
            *broken, line = _broken(word, width=width, cap=cap, bold=bold)
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


def _broken(word: str, *, width: float, cap: float, bold: bool) -> list[str]:
    pieces, start = [], 0
    for end in range(1, len(word) + 1):
        if end - start > 1 and line_width(word[start:end], cap=cap, bold=bold) > width:
            pieces.append(word[start : end - 1])
            start = end - 1
    return [*pieces, word[start:]]


def fit(
    words: str, *, width: float, height: float, cap: float, smallest: float, leading: float = 1.75, bold: bool = False
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
    bold
        Weight.
    """
    lines: list[str] = []
    for step in range(_STEPS + 1):
        size = cap + (smallest - cap) * step / _STEPS
        lines = break_lines(words, width=width, cap=size, bold=bold)
        whole = all(word in " ".join(lines).split() for word in words.split())
        if _height(len(lines), size, leading) <= height and (whole or step == _STEPS):
            return Setting(tuple(lines), size)
    room = max(1, int((height / smallest - 1) / leading + 1e-9) + 1)
    if len(lines) <= room:
        return Setting(tuple(lines), smallest)
    return Setting((*lines[: room - 1], _cut(lines[room - 1], width, smallest, bold=bold)), smallest, cut=True)


def _height(lines: int, cap: float, leading: float) -> float:
    return cap * (1 + (lines - 1) * leading)


def _cut(line: str, width: float, cap: float, *, bold: bool) -> str:
    while line and line_width(f"{line}…", cap=cap, bold=bold) > width:
        line = line[:-1].rstrip()
    return f"{line}…"


class PrintPages(Sheet):
    """Pages of one size.

    Parameters
    ----------
    width, height
        Page size in millimetres.
    title, subject
        What the file says of itself.
    """

    def next_page(self) -> None:
        """Go on with a new page."""
        self._canvas.showPage()

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        cap: float,
        bold: bool = False,
        grey: float = 0.0,
        align: Align = "left",
    ) -> None:
        """Set one line of text as `Sheet.text`, in whichever fonts have its letters."""
        size = cap / _CAP_HEIGHT * POINTS_PER_MM
        if align != "left":
            x -= line_width(words, cap=cap, bold=bold) * (1.0 if align == "right" else 0.5)
        line = self._canvas.beginText(*self._at(x, y))
        self._canvas.setFillGray(grey)
        for font, piece in font_runs(words, bold=bold):
            line.setFont(font, size)
            line.textOut(piece)
        self._canvas.drawText(line)

    def setting(
        self,
        x: float,
        top: float,
        setting: Setting,
        *,
        leading: float = 1.75,
        bold: bool = False,
        grey: float = 0.0,
        align: Align = "left",
    ) -> float:
        """Set fitted lines with the first line's capitals from `top` down; return the last baseline."""
        y = top + setting.cap
        for index, line in enumerate(setting.lines):
            y = top + setting.cap * (1 + index * leading)
            self.text(x, y, line, cap=setting.cap, bold=bold, grey=grey, align=align)
        return y

    def block(
        self,
        x: float,
        top: float,
        words: str,
        *,
        width: float,
        cap: float,
        leading: float = 1.75,
        bold: bool = False,
        grey: float = 0.0,
    ) -> float:
        """Set text in lines no wider than `width` from `top` down; return the last baseline."""
        lines = tuple(break_lines(words, width=width, cap=cap, bold=bold))
        return self.setting(x, top, Setting(lines, cap), leading=leading, bold=bold, grey=grey)

    def colour_box(self, x: float, y: float, width: float, height: float, colour: str) -> None:
        """Fill an upright rectangle with an sRGB colour, ``"#rrggbb"``."""
        left, bottom = self._at(x, y + height)
        self._canvas.setFillColorRGB(*_rgb(colour))
        self._canvas.rect(left, bottom, width * POINTS_PER_MM, height * POINTS_PER_MM, stroke=0, fill=1)

    def shape(
        self, points: Sequence[tuple[float, float]], *, fill: str | None, line: float = 0.2, grey: float = 0.0
    ) -> None:
        """Draw a closed outline, filled with an sRGB colour unless that is None."""
        path = self._canvas.beginPath()
        path.moveTo(*self._at(*points[0]))
        for point in points[1:]:
            path.lineTo(*self._at(*point))
        path.close()
        self._pen(line, grey)
        if fill is not None:
            self._canvas.setFillColorRGB(*_rgb(fill))
        self._canvas.drawPath(path, stroke=1 if line else 0, fill=0 if fill is None else 1)

    def jpeg(self, x: float, y: float, width: float, height: float, data: bytes) -> tuple[float, float]:
        """Put a JPEG into a box, whole and upright, at its top left; return the width and height it took."""
        from reportlab.lib.utils import ImageReader

        picture = ImageReader(io.BytesIO(data))
        across, down = picture.getSize()
        factor = min(width / across, height / down)
        shown = across * factor, down * factor
        left, bottom = self._at(x, y + shown[1])
        self._canvas.drawImage(picture, left, bottom, shown[0] * POINTS_PER_MM, shown[1] * POINTS_PER_MM)
        return shown


def _rgb(colour: str) -> tuple[float, float, float]:
    digits = colour.removeprefix("#")
    red, green, blue = (int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4))
    return red, green, blue

"""Which fonts have a text's letters, and sheets of paper to draw on, in millimetres."""

from __future__ import annotations

import io
import re
import unicodedata
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np

# -- which font has which letters --

Face = Literal["Helvetica", "DejaVu"]
HELVETICA: Final[Face] = "Helvetica"
DEJAVU: Final[Face] = "DejaVu"
"""The font text is set in as far as it has the letters; DejaVu Sans is embedded, and is that of the drawings."""
_HELVETICA: Final = {False: "Helvetica", True: "Helvetica-Bold"}
"""Bold or not -> the font every PDF reader has."""

_FONTS: Final = Path(__file__).with_name("fonts.txt")
"""File names, regular and bold, in the order of trust; those that are not there are passed over."""

_SIMPLE: Final = (
    "LATIN", "GREEK", "CYRILLIC", "ARMENIAN", "GEORGIAN", "CJK", "HIRAGANA", "KATAKANA", "HANGUL", "BOPOMOFO",
    "IDEOGRAPHIC", "COMBINING", "HALFWIDTH", "FULLWIDTH", "MODIFIER LETTER",
)  # fmt: skip
"""Scripts whose letters stand side by side. The others need joining or reordering, which is not done here."""
_MISSING: Final = "?"
MISSING_NOTE: Final = "Where a “?” stands in a name, no font of the computer had its letter; the logbook holds it."
"""For the foot of whatever was printed with `unprintable` letters."""


def font_runs(words: str, *, bold: bool = False, face: Face = HELVETICA) -> list[tuple[str, str]]:
    """Return a line of text in pieces of one font, as (font, piece); what cannot be printed is ``?``.

    A line is set in one font where one has all its letters: a name with a single strange letter looks whole.
    """
    text = "".join(char if _font_of(char, bold=bold) else _MISSING for char in _composed(words))
    plain = face == HELVETICA
    if plain and all(map(_in_helvetica, text)):
        return [(_HELVETICA[bold], text)] if text else []
    for name, letters in _other_fonts(bold=bold):
        if all(ord(char) in letters for char in text):
            return [(name, text)] if text else []
    pairs = ((_font_of(char, bold=bold, plain=plain) or _HELVETICA[bold], char) for char in text)
    return [(font, "".join(char for _, char in run)) for font, run in groupby(pairs, key=lambda pair: pair[0])]


def letters_missing(said: object) -> str:
    """Return the letters of all texts in a value of data classes and sequences that no font here can print."""
    return unprintable(_texts_of(said))


def _texts_of(value: object) -> Iterator[str]:
    """Return every text in a value of data classes and sequences."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple | list):
        for each in value:
            yield from _texts_of(each)
    elif is_dataclass(value):
        for each in fields(value):
            yield from _texts_of(getattr(value, each.name))


def unprintable(texts: Iterable[str | None]) -> str:
    """Return the letters that no font here can print, each once, in order."""
    letters = (char for text in texts for char in _composed(text or ""))
    return "".join(dict.fromkeys(char for char in letters if _font_of(char, bold=False) is None))


def _composed(words: str) -> str:
    return re.sub(r"\s", " ", unicodedata.normalize("NFC", words))


@cache
def _font_of(char: str, *, bold: bool, plain: bool = True) -> str | None:
    if plain and _in_helvetica(char):
        return _HELVETICA[bold]
    if not _in_helvetica(char) and not _is_simple(char):
        return None
    return next((name for name, letters in _other_fonts(bold=bold) if ord(char) in letters), None)


def _in_helvetica(char: str) -> bool:
    try:
        return char.encode("cp1252") >= b" " and char != "\x7f"
    except UnicodeEncodeError:
        return False


def _is_simple(char: str) -> bool:
    kind = unicodedata.category(char)[0]
    return kind in "NPS" or (kind in "LM" and unicodedata.name(char, "").startswith(_SIMPLE))


@cache
def _other_fonts(*, bold: bool) -> tuple[tuple[str, frozenset[int]], ...]:
    """Return the fonts that are there and can be read, each with its letters; they are registered under their name."""
    return tuple(_read_fonts(bold=bold))


def _read_fonts(*, bold: bool) -> Iterator[tuple[str, frozenset[int]]]:
    from reportlab.lib.fonts import addMapping
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    for line in _FONTS.read_text(encoding="utf-8").splitlines()[1:]:
        regular, _, heavy = line.partition(", ")
        file_name = (heavy if bold else "") or regular
        path = _files().get(file_name.casefold())
        if path is None:
            continue
        name = f"finishlab-{Path(file_name).stem.replace(' ', '')}"
        try:
            font = TTFont(name, str(path))
        except (TTFError, OSError):  # outlines reportlab cannot embed, or a damaged file: the next font may do
            continue
        pdfmetrics.registerFont(font)
        addMapping(name, bold=0, italic=0, psname=name)
        yield name, frozenset(font.face.charToGlyph)


@cache
def _files() -> dict[str, Path]:
    """Return the fonts of this computer, and those that come with Matplotlib, by their files' names in small letters.

    Of one name it is the first found, of the computer's own.
    """
    import matplotlib as mpl
    from matplotlib.font_manager import findSystemFonts

    brought = (Path(mpl.get_data_path()) / "fonts" / "ttf").glob("*.ttf")
    return {path.name.casefold(): path for path in (*brought, *sorted(map(Path, findSystemFonts()), reverse=True))}


POINTS_PER_MM: Final = 72.0 / 25.4
"""A PDF unit is 1/72 inch (ISO 32000-1, 8.3.2.3)."""
_CAP_HEIGHT: Final = 0.718
"""Height of a capital of Helvetica as a share of the font size (Adobe font metrics, CapHeight 718); those of the other
fonts are within 2 % of it."""


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


def shortened(line: str, *, width: float, cap: float, bold: bool = False, face: Face = HELVETICA) -> str:
    """Return a line that is no wider than `width`, cut with an ellipsis where it was."""
    if line_width(line, cap=cap, bold=bold, face=face) <= width:
        return line

    def wide(letters: int) -> float:
        return line_width(f"{line[:letters].rstrip()}…", cap=cap, bold=bold, face=face)

    return f"{line[: max(0, bisect_right(range(len(line)), width, key=wide) - 1)].rstrip()}…"


Align = Literal["left", "centre", "right"]


class Sheet:
    """A page of ReportLab's to draw on, or a place on one, whose lower left corner is the page's origin then.

    Parameters
    ----------
    canvas
        ReportLab's.
    width, height
        Of page or place, in millimetres.
    """

    def __init__(self, canvas: Any, width: float, height: float) -> None:  # noqa: ANN401 - the library has no types
        self.width, self.height, self._canvas = width, height, canvas

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return x * POINTS_PER_MM, (self.height - y) * POINTS_PER_MM

    def box(self, x: float, y: float, width: float, height: float, fill: float | str) -> None:
        """Fill an upright rectangle with a DeviceGray value, 0 black to 1 paper, or an sRGB colour, ``"#rrggbb"``."""
        left, bottom = self._at(x, y + height)
        if isinstance(fill, str):
            self._canvas.setFillColor(fill)
        else:
            self._canvas.setFillGray(fill)
        self._canvas.rect(left, bottom, width * POINTS_PER_MM, height * POINTS_PER_MM, stroke=0, fill=1)

    def frame(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        line: float = 0.2,
        grey: float = 0.0,
        radius: float = 0.0,
    ) -> None:
        """Draw the outline of a rectangle; the line is centred on the outline."""
        left, bottom = self._at(x, y + height)
        self._pen(line, grey)
        size = width * POINTS_PER_MM, height * POINTS_PER_MM
        if radius:
            self._canvas.roundRect(left, bottom, *size, radius * POINTS_PER_MM, stroke=1, fill=0)
        else:
            self._canvas.rect(left, bottom, *size, stroke=1, fill=0)

    def line(
        self, x1: float, y1: float, x2: float, y2: float, *, line: float = 0.2, grey: float = 0.0, dash: float = 0.0
    ) -> None:
        """Draw a straight line, dashed when `dash` is above 0."""
        self._pen(line, grey)
        if dash:
            self._canvas.setDash(dash * POINTS_PER_MM, dash * POINTS_PER_MM)
        self._canvas.line(*self._at(x1, y1), *self._at(x2, y2))
        if dash:
            self._canvas.setDash()

    def curve(self, points: Sequence[tuple[float, float]], *, line: float = 0.2, grey: float = 0.0) -> None:
        """Draw one cubic Bezier curve through its four control points."""
        self._pen(line, grey)
        flat = [value for point in points for value in self._at(*point)]
        self._canvas.bezier(*flat)

    def polygons(self, loops: Sequence[Sequence[tuple[float, float]]], grey: float) -> None:
        """Fill what lies inside an odd number of the closed loops, as one path: no seam can show inside it."""
        path = self._path(loops)
        self._canvas.setFillGray(grey)
        self._canvas.drawPath(path, stroke=0, fill=1, fillMode=0)

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
        face: Face = HELVETICA,
    ) -> None:
        """Set one line of text with its baseline at `y` and capitals `cap` millimetres high.

        It is set in whichever fonts have its letters, in `face` as far as that has them.
        """
        if align != "left":
            x -= line_width(words, cap=cap, bold=bold, face=face) * (1.0 if align == "right" else 0.5)
        line = self._canvas.beginText(*self._at(x, y))
        self._canvas.setFillGray(grey)
        for font, piece in font_runs(words, bold=bold, face=face):
            line.setFont(font, points(cap))
            line.textOut(piece)
        self._canvas.drawText(line)

    def upright_text(self, x: float, y: float, words: str, *, cap: float, grey: float = 0.0) -> None:
        """Set one line of text that reads upwards, centred on (x, y)."""
        self._canvas.saveState()
        self._canvas.translate(*self._at(x, y))
        self._canvas.rotate(90)
        self.text(0.0, self.height, words, cap=cap, grey=grey, align="centre")
        self._canvas.restoreState()

    def paragraph(
        self, x: float, y: float, words: str, *, width: float, cap: float, leading: float, grey: float = 0.0
    ) -> float:
        """Set text in lines no wider than `width`, the first baseline at `y`; return the baseline after the last."""
        from reportlab.lib.utils import simpleSplit

        for line in simpleSplit(words, _HELVETICA[False], points(cap), width * POINTS_PER_MM):
            self.text(x, y, line, cap=cap, grey=grey)
            y += leading
        return y

    def put(self, flowable: Any, x: float, y: float, width: float, height: float) -> float:  # noqa: ANN401 - the library has no types
        """Draw what Platypus lays out into a place of this size, from its left top down; return where it ends."""
        _, high = flowable.wrapOn(self._canvas, width * POINTS_PER_MM, height * POINTS_PER_MM)
        flowable.drawOn(self._canvas, x * POINTS_PER_MM, (self.height - y) * POINTS_PER_MM - high)
        return float(y + high / POINTS_PER_MM)

    def next_page(self) -> None:
        """Go on with a new page."""
        self._canvas.showPage()

    def shape(
        self, points: Sequence[tuple[float, float]], *, fill: str | None, line: float = 0.2, grey: float = 0.0
    ) -> None:
        """Draw a closed outline, filled with an sRGB colour unless that is None."""
        path = self._path([points])
        self._pen(line, grey)
        if fill is not None:
            self._canvas.setFillColor(fill)
        self._canvas.drawPath(path, stroke=1 if line else 0, fill=0 if fill is None else 1)

    def picture(self, x: float, y: float, width: float, height: float, data: bytes) -> None:
        """Fill a box with a JPEG or PNG."""
        from reportlab.lib.utils import ImageReader

        left, bottom = self._at(x, y + height)
        size = width * POINTS_PER_MM, height * POINTS_PER_MM
        self._canvas.drawImage(ImageReader(io.BytesIO(data)), left, bottom, *size)

    def finish(self) -> bytes:
        """Return the file's bytes."""
        self._canvas.showPage()
        return bytes(self._canvas.getpdfdata())

    def _path(self, loops: Sequence[Sequence[tuple[float, float]]]) -> Any:  # noqa: ANN401 - the library has no types
        path = self._canvas.beginPath()
        for loop in loops:
            path.moveTo(*self._at(*loop[0]))
            for point in loop[1:]:
                path.lineTo(*self._at(*point))
            path.close()
        return path

    def _pen(self, line: float, grey: float) -> None:
        self._canvas.setStrokeGray(grey)
        self._canvas.setLineWidth(line * POINTS_PER_MM)


def new_sheet(width: float, height: float, *, title: str, subject: str) -> Sheet:
    """Return the first page of a new file, whose title and subject are what it says of itself; millimetres."""
    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(
        "",
        pagesize=(width * POINTS_PER_MM, height * POINTS_PER_MM),
        invariant=1,  # the same page is the same bytes
        pageCompression=0,  # a page of vectors is small without, and its greys stay readable to anyone
        lang="en",
    )
    canvas.setTitle(title)
    canvas.setSubject(subject)
    canvas.setAuthor("finishlab")
    canvas.setCreator("finishlab")
    # Asks the print dialogue for true size; a viewer may ignore it, hence the ruler.
    canvas.setViewerPreference("PrintScaling", "None")
    return Sheet(canvas, width, height)


# -- QR codes of medium error correction --


def qr_modules(text: str) -> np.ndarray:
    """Return the modules of a code, shape (n, n), True where black; no quiet zone."""
    code = _code(text)
    code.make()
    return np.array(code.modules, dtype=bool)


def qr_width(text: str) -> int:
    """Return how many modules the code of a text is wide (ISO/IEC 18004, 6.3.1), without making it."""
    return 17 + 4 * int(_code(text).calculate_version())


def _code(text: str) -> Any:  # noqa: ANN401 - the library has no types
    from reportlab.graphics.barcode.qr import QrCodeWidget

    return QrCodeWidget(text, barLevel="M").qr

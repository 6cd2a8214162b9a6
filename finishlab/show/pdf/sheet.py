"""Printed pages in millimetres, y down.

Every mark but a swatch or a picture is a vector in DeviceGray, so that a printer told "black ink only" has nothing to
mix from colours.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Literal

import numpy as np

from finishlab.show.pdf.text import HELVETICA, POINTS_PER_MM, Face, Setting, break_lines, font_runs, line_width, points

__all__ = ["POINTS_PER_MM", "Align", "Sheet", "qr_modules", "qr_width"]

Align = Literal["left", "centre", "right"]


class Sheet:
    """Pages of one size to draw on.

    Parameters
    ----------
    width, height
        Page size in millimetres.
    title, subject
        What the file says of itself.
    compressed
        Whether pages are packed; a page of vectors is small without, and its greys stay readable to anyone.
    """

    def __init__(self, width: float, height: float, *, title: str, subject: str, compressed: bool = False) -> None:
        from reportlab.pdfgen.canvas import Canvas

        self.width, self.height = width, height
        self._buffer = io.BytesIO()
        self._canvas = Canvas(
            self._buffer,
            pagesize=(width * POINTS_PER_MM, height * POINTS_PER_MM),
            invariant=1,  # the same page is the same bytes
            pageCompression=int(compressed),
            lang="en",
        )
        self._canvas.setTitle(title)
        self._canvas.setSubject(subject)
        self._canvas.setAuthor("finishlab")
        self._canvas.setCreator("finishlab")
        # Asks the print dialogue for true size; a viewer may ignore it, hence the ruler.
        self._canvas.setViewerPreference("PrintScaling", "None")

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return x * POINTS_PER_MM, (self.height - y) * POINTS_PER_MM

    def box(self, x: float, y: float, width: float, height: float, grey: float) -> None:
        """Fill an upright rectangle with a DeviceGray value, 0 black to 1 paper."""
        left, bottom = self._at(x, y + height)
        self._canvas.setFillGray(grey)
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
        path = self._canvas.beginPath()
        for loop in loops:
            path.moveTo(*self._at(*loop[0]))
            for point in loop[1:]:
                path.lineTo(*self._at(*point))
            path.close()
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
        face: Face = HELVETICA,
    ) -> float:
        """Set fitted lines with the first line's capitals from `top` down; return the last baseline."""
        y = top + setting.cap
        for index, line in enumerate(setting.lines):
            y = top + setting.cap * (1 + index * leading)
            self.text(x, y, line, cap=setting.cap, bold=bold, grey=grey, align=align, face=face)
        return y

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
        for line in break_lines(words, width=width, cap=cap):
            self.text(x, y, line, cap=cap, grey=grey)
            y += leading
        return y

    def next_page(self) -> None:
        """Go on with a new page."""
        self._canvas.showPage()

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

    def picture(self, x: float, y: float, width: float, height: float, data: bytes) -> tuple[float, float]:
        """Put a JPEG or PNG into a box, whole and upright, at its top left; return the width and height it took."""
        from reportlab.lib.utils import ImageReader

        picture = ImageReader(io.BytesIO(data))
        across, down = picture.getSize()
        factor = min(width / across, height / down)
        shown = across * factor, down * factor
        left, bottom = self._at(x, y + shown[1])
        self._canvas.drawImage(picture, left, bottom, shown[0] * POINTS_PER_MM, shown[1] * POINTS_PER_MM)
        return shown

    def finish(self) -> bytes:
        """Return the file's bytes."""
        self._canvas.showPage()
        self._canvas.save()
        return self._buffer.getvalue()

    def _pen(self, line: float, grey: float) -> None:
        self._canvas.setStrokeGray(grey)
        self._canvas.setLineWidth(line * POINTS_PER_MM)


def _rgb(colour: str) -> tuple[float, float, float]:
    digits = colour.removeprefix("#")
    red, green, blue = (int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4))
    return red, green, blue


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

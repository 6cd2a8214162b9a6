"""A printed page in millimetres, y down, in greys only: the doorway to reportlab.

Every mark is a vector in DeviceGray, so that a printer told "black ink only" has nothing to mix from colours, and no
picture is resampled on the way to the paper.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Literal

__all__ = ["POINTS_PER_MM", "Sheet", "text_width"]

POINTS_PER_MM = 72.0 / 25.4
"""A PDF unit is 1/72 inch (ISO 32000-1, 8.3.2.3)."""

_CAP_HEIGHT = 0.718
"""Height of a capital of Helvetica as a share of the font size (Adobe font metrics, CapHeight 718)."""

Align = Literal["left", "centre", "right"]


class Sheet:
    """One page to draw on.

    Parameters
    ----------
    width, height
        Page size in millimetres.
    title, subject
        What the file says of itself.
    """

    def __init__(self, width: float, height: float, *, title: str, subject: str) -> None:
        from reportlab.pdfgen.canvas import Canvas

        self.width, self.height = width, height
        self._buffer = io.BytesIO()
        self._canvas = Canvas(
            self._buffer,
            pagesize=(width * POINTS_PER_MM, height * POINTS_PER_MM),
            invariant=1,  # the same page is the same bytes
            pageCompression=0,  # a page of vectors is small, and its greys stay readable to anyone
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
    ) -> None:
        """Set one line of text with its baseline at `y` and capitals `cap` millimetres high."""
        size = cap / _CAP_HEIGHT * POINTS_PER_MM
        self._canvas.setFillGray(grey)
        self._canvas.setFont(_font(bold=bold), size)
        draw = {
            "left": self._canvas.drawString,
            "centre": self._canvas.drawCentredString,
            "right": self._canvas.drawRightString,
        }[align]
        draw(*self._at(x, y), words)

    def upright_text(self, x: float, y: float, words: str, *, cap: float, grey: float = 0.0) -> None:
        """Set one line of text that reads upwards, centred on (x, y)."""
        size = cap / _CAP_HEIGHT * POINTS_PER_MM
        self._canvas.saveState()
        self._canvas.translate(*self._at(x, y))
        self._canvas.rotate(90)
        self._canvas.setFillGray(grey)
        self._canvas.setFont(_font(bold=False), size)
        self._canvas.drawCentredString(0, 0, words)
        self._canvas.restoreState()

    def paragraph(
        self, x: float, y: float, words: str, *, width: float, cap: float, leading: float, grey: float = 0.0
    ) -> float:
        """Set text in lines no wider than `width`, the first baseline at `y`; return the baseline after the last."""
        line = ""
        for word in words.split():
            longer = f"{line} {word}".strip()
            if line and text_width(longer, cap=cap) > width:
                self.text(x, y, line, cap=cap, grey=grey)
                y += leading
                line = word
            else:
                line = longer
        self.text(x, y, line, cap=cap, grey=grey)
        return y + leading

    def finish(self) -> bytes:
        """Return the file's bytes."""
        self._canvas.showPage()
        self._canvas.save()
        return self._buffer.getvalue()

    def _pen(self, line: float, grey: float) -> None:
        self._canvas.setStrokeGray(grey)
        self._canvas.setLineWidth(line * POINTS_PER_MM)


def text_width(words: str, *, cap: float, bold: bool = False) -> float:
    """Return the width in millimetres of a line of text whose capitals are `cap` millimetres high."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(words, _font(bold=bold), cap / _CAP_HEIGHT))


def _font(*, bold: bool) -> str:
    return "Helvetica-Bold" if bold else "Helvetica"

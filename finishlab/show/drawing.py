"""A drawing that becomes SVG text for a page, or a PNG: the same bytes for the same figures."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


WIDTH: Final = 320.0
"""Width of every drawing in points: the text column of a phone of 390 pixels, so that words stay readable there."""
FONT_SIZE: Final = 10.5
"""Points; the same number of pixels on a phone."""
INK: Final = "#1a1a1a"
SOFT: Final = "#4a4a4a"
_GRID: Final = "#c8c8c8"
BAND: Final[Any] = {"facecolor": "#e4e4e4", "edgecolor": "#9a9a9a", "hatch": "////", "linewidth": 0.0}
"""What holds 95 % of planks, or of prints."""
SURROUND: Final = "#777777"
"""Neutral grey of L* 50 about swatches: a colour is judged best among greys of middle lightness."""

_RULES: Final[Any] = {
    "svg.hashsalt": "finishlab",
    "svg.fonttype": "none",  # words stay words: they can be read aloud, searched and copied
    "font.family": ["DejaVu Sans"],
    "font.size": FONT_SIZE,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "grid.color": _GRID,
    "grid.linewidth": 0.6,
    "hatch.linewidth": 0.6,
    "legend.fontsize": FONT_SIZE,
    "text.color": INK,
    "text.parse_math": False,  # what users wrote may hold a dollar sign
    "xtick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.color": SOFT,
    "ytick.labelcolor": INK,
}


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture with its words.

    Raises
    ------
    ValueError
        If it has no title or nothing to be read in its place.
    """

    figure: Figure
    title: str
    words: str
    """What the picture shows, for those who cannot see it."""

    def __post_init__(self) -> None:
        if not self.title.strip() or not self.words.strip():
            raise ValueError("a drawing needs a title and words in its place")

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in points."""
        width, height = self.figure.get_size_inches()
        return 72.0 * float(width), 72.0 * float(height)

    def svg(self, ident: str) -> str:
        """Return an ``<svg>`` element to stand inside a page.

        Parameters
        ----------
        ident
            Start of the ids in it; unlike any other drawing's on the page.
        """
        out = io.StringIO()
        with drawing_rules():
            # no date: equal figures give equal text
            nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
            self.figure.savefig(out, format="svg", metadata=nothing)
        return _inline(out.getvalue(), ident, self.title, self.words)

    def svg_file(self) -> bytes:
        """Return an SVG file of its own."""
        return ('<?xml version="1.0" encoding="UTF-8"?>\n' + self.svg("drawing") + "\n").encode()

    def png(self, profile: bytes, *, dpi: int = 200) -> bytes:
        """Return a PNG in sRGB.

        Parameters
        ----------
        profile
            ICC profile of sRGB, to be embedded.
        dpi
            Pixels an inch.
        """
        out = io.BytesIO()
        with drawing_rules():
            kept = {"Software": "finishlab"}  # tells that it may be replaced, see `finishlab.files`
            self.figure.savefig(out, format="png", dpi=dpi, metadata=kept, pil_kwargs={"icc_profile": profile})
        return out.getvalue()


@contextmanager
def drawing_rules() -> Iterator[None]:
    """Draw by this package's rules, whatever Matplotlib was told elsewhere; nothing of it stays."""
    import matplotlib as mpl

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_RULES)
        yield


def figure_of(height: float, width: float = WIDTH) -> Figure:
    """Return an empty figure of this size in points."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width / 72.0, height / 72.0), facecolor="white", dpi=72)


def plain_axes(figure: Figure, box: tuple[float, float, float, float]) -> Axes:
    """Add axes with a grid; the box (left, top, width, height) they fill is in points from the figure's top left."""
    wide, high = figure.get_size_inches()
    total = 72.0 * float(high)
    left, top, width, height = box
    across = 72.0 * float(wide)
    axes = figure.add_axes((left / across, 1.0 - (top + height) / total, width / across, height / total))
    axes.set_axisbelow(True)
    axes.grid(visible=True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes


def _inline(svg: str, ident: str, title: str, words: str) -> str:
    """Turn Matplotlib's file into an element: ids of its own, no rule that reaches the page, words in its place."""
    svg = svg[svg.index("<svg") :]
    head, _, body = svg.partition(">")
    box = re.search(r'viewBox="([^"]+)"', head)
    if box is None:
        raise ValueError("Matplotlib's SVG has no viewBox")
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    # Its one style element would hold for every element of the page.
    body = re.sub(r"<defs>\s*<style[^>]*>.*?</style>\s*</defs>", "", body, flags=re.DOTALL)
    body = re.sub(r'\bid="([^"]+)"', rf'id="{ident}-\1"', body)
    body = re.sub(r"url\(#([^)]+)\)", rf"url(#{ident}-\1)", body)
    body = re.sub(r'xlink:href="#([^"]+)"', rf'href="#{ident}-\1"', body)
    body = _short_fonts(body)
    body = re.sub(r">\s*\n\s*<", ">\n<", body)
    return (
        f'<svg class="chart" viewBox="{box.group(1)}" role="img" aria-labelledby="{ident}-title {ident}-desc" '
        f'stroke-linejoin="round" font-size="{FONT_SIZE:g}" xmlns="http://www.w3.org/2000/svg">\n'
        f'<title id="{ident}-title">{escape(title)}</title>\n<desc id="{ident}-desc">{escape(words)}</desc>'
        f"{body.rstrip()}"
    )


def _short_fonts(body: str) -> str:
    """Let text take the page's font; size and weight stay."""

    def font(found: re.Match[str]) -> str:
        weight = "font-weight: 700; " if "700" in found.group(1) or "bold" in found.group(1) else ""
        size = re.search(r"[\d.]+px", found.group(1))
        return f"{weight}font-size: {size.group(0)}" if size else weight

    # Matplotlib writes the font as one property or as several, depending on its version.
    return re.sub(r"font: ([^;\"]+)", font, re.sub(r"font-family: [^;\"]+; ?", "", body))

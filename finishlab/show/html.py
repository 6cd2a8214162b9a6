"""Pages as one HTML file that holds all it shows and asks for nothing from outside."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from finishlab.show.pages import PICTURE_BAR_MM, Chart, Pages

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["pages_html"]


def pages_html(pages: Pages) -> str:
    """Return pages as HTML text."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates", encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"kind": lambda block: type(block).__name__, "svg": _svg}
    return environment.get_template("page.html.j2").render(pages=pages, bar_mm=PICTURE_BAR_MM)


def _svg(chart: Chart) -> Markup:
    from markupsafe import Markup

    # The drawing escapes what it is given; it is markup of this package's own.
    return Markup(chart.drawing.svg(chart.ident))  # noqa: S704

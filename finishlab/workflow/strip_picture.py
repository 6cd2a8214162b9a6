"""The picture of a strip's greys, written to a file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from finishlab.errors import UsageError

if TYPE_CHECKING:
    from finishlab.imaging.greys import StripGreys

__all__ = ["check_curve_name", "save_curve"]

_SUFFIXES: Final = (".svg", ".png")


def check_curve_name(name: str | None) -> None:
    """Check that the picture can be written under this name.

    Raises
    ------
    UsageError
        ``picture-not-drawn``.
    """
    if name is not None and Path(name).suffix.lower() not in _SUFFIXES:
        raise UsageError("picture-not-drawn", f"{name} is not the name of a picture.", "End the name in .svg or .png.")


def save_curve(name: str, greys: StripGreys) -> None:
    """Write how a print's greys came out beside usual ones, as SVG or PNG by the file's ending.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    from finishlab.files import write_atomically
    from finishlab.photos.profiles import matrix_profile
    from finishlab.reports.strip_greys import curve_drawing

    drawing = curve_drawing(greys)
    svg = Path(name).suffix.lower() == ".svg"
    write_atomically(name, drawing.svg_file() if svg else drawing.png(matrix_profile("sRGB")))

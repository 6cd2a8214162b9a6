"""Measured colours as screens want them."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["hex_colour"]


def hex_colour(lab: Sequence[float]) -> str:
    """Return a CIELAB D65 colour as ``"#rrggbb"`` in sRGB; what a screen cannot show is clipped."""
    from finishlab.colorimetry.spaces import lab_to_srgb8

    red, green, blue = (int(value) for value in lab_to_srgb8(lab))
    return f"#{red:02x}{green:02x}{blue:02x}"

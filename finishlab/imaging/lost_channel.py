"""A channel with no light left in the photo: a colour that the file no longer holds.

Under a warm lamp, or with white taken wrong, the blue of a wood can fall to the lowest codes. What is cut off there
cannot be found again: the mean comes out too light in that channel, though nothing looks burnt out.

docs/decisions/0015-order-of-boards.md records what it is worth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from finishlab.imaging.pixels import LinearImage

__all__ = ["LostChannel", "lost_channel"]

_BOTTOM: Final = 0.00061
"""Linear value up to which a channel holds nothing: code 2 of 255 by the curve of sRGB (IEC 61966-2-1)."""
_LIT: Final = 0.02
"""Linear value that another channel must reach: in a black pore nothing is cut off that would count."""
_NAMES: Final[tuple[Literal["red", "green", "blue"], ...]] = ("red", "green", "blue")


@dataclass(frozen=True, slots=True)
class LostChannel:
    """The channel of which a surface has lost most, and how much of the surface that is, 0..1."""

    share: float
    name: Literal["red", "green", "blue"]


def lost_channel(image: LinearImage, pixels: np.ndarray) -> LostChannel:
    """Return which channel holds nothing at most of the places.

    Parameters
    ----------
    image
        The photo.
    pixels
        Shape (N, 2), x and y in decoded pixels: where the surface was sampled. The nearest pixel's own codes are
        looked at, since a mean of neighbours hides which of them hold nothing.
    """
    if not len(pixels):
        return LostChannel(0.0, "blue")
    width, height = image.size
    places = np.rint(pixels).astype(int)
    x, y = np.clip(places[:, 0], 0, width - 1), np.clip(places[:, 1], 0, height - 1)
    values = image.decode[image.encoded[y, x]]
    lost = ((values <= _BOTTOM) & (values.max(axis=1, keepdims=True) >= _LIT)).mean(axis=0)
    worst = int(lost.argmax())
    return LostChannel(float(lost[worst]), _NAMES[worst])

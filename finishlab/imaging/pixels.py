"""What pixels mean: a decoded photo that knows its own transfer curve, primaries and full size.

Linear light is made only where it is needed: a 12 megapixel photo in float32 would cost 144 MB and more time than
decoding it, while strip and fields are a small part of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from finishlab.quality import Doubt


@dataclass(frozen=True, slots=True)
class PhotoInfo:
    """What the file says of itself."""

    photo_id: str
    """First 16 hex digits of the SHA-256 of the file's bytes."""
    camera: str
    """EXIF make and model, or an empty string."""
    taken: str
    """EXIF date and time as ISO 8601, or an empty string."""
    profile: str
    """Name of the colour profile used, e.g. ``"Display P3"``; ``"sRGB (assumed)"`` when the file has none."""
    full_size: tuple[int, int]
    """Width and height of the upright photo at full size, in pixels."""
    doubts: tuple[Doubt, ...] = ()
    linear: bool = False
    """Whether the codes are the sensor's own light (camera raw), so that no tone curve or boost is to be undone."""
    chroma_step: float = 0.0
    """In what steps, in codes of 255, the file keeps the mean chroma (Cb and Cr) of a block of pixels; 0 if it does not
    round it."""

    @property
    def seen_by(self) -> str:
        """What a camera profile holds for: the camera, its raw files apart from its pictures."""
        return f"{self.camera}, raw" if self.camera and self.linear else self.camera


@dataclass(frozen=True, eq=False, slots=True)
class ChromaBlocks:
    """Between which values the mean chroma of each block of pixels lay before a JPEG rounded it.

    Chroma is (Cb, Cr) in codes of 255 about grey (JFIF, ITU-T T.871).
    """

    low: np.ndarray
    """Shape (rows, columns, 2)."""
    high: np.ndarray
    """Shape (rows, columns, 2)."""
    side: tuple[int, int]
    """Width and height of a block in decoded pixels."""
    first: tuple[int, int]
    """Decoded pixel (x, y) at the top left of the first block."""


@dataclass(frozen=True, eq=False, slots=True)
class LinearImage:
    """An upright photo with the way back to linear light.

    Raises
    ------
    ValueError
        If shapes or types do not fit each other.
    """

    encoded: np.ndarray
    """Shape (H, W, 3), uint8 or uint16, RGB, upright, never written to."""
    decode: np.ndarray
    """Shape (256,) or (65536,), float32: linear value 0..1 of each code, by the file's own transfer curve."""
    to_srgb: np.ndarray
    """Shape (3, 3): linear RGB of the file's primaries -> linear RGB of sRGB's primaries (IEC 61966-2-1)."""
    info: PhotoInfo = field(repr=False)
    chroma: ChromaBlocks | None = field(default=None, repr=False)
    """What the file keeps of chroma more finely than the decoded pixels, when it rounds it coarsely."""

    def __post_init__(self) -> None:
        codes = {np.dtype(np.uint8): 256, np.dtype(np.uint16): 65536}.get(self.encoded.dtype)
        if codes is None or self.encoded.ndim != 3 or self.encoded.shape[2] != 3:
            raise ValueError("a photo is an (H, W, 3) array of 8 or 16 bit codes")
        if self.decode.shape != (codes,) or self.decode.dtype != np.float32:
            raise ValueError("the decoding table needs one float32 value for each code")
        if self.to_srgb.shape != (3, 3):
            raise ValueError("the matrix of the primaries is 3 x 3")

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the decoded pixels."""
        return self.encoded.shape[1], self.encoded.shape[0]

    @property
    def scale(self) -> float:
        """Decoded width over full-size width: 1.0, or less where the file was decoded at a reduced size."""
        return float(self.encoded.shape[1] / self.info.full_size[0])

    @property
    def top(self) -> float:
        """Linear value from which a channel counts as clipped."""
        return float(self.decode[-1 - max(1, len(self.decode) // 128)])

    def linear(self, left: int, top: int, right: int, bottom: int) -> np.ndarray:
        """Return linear light of a window of the decoded pixels, in the file's primaries.

        Parameters
        ----------
        left, top, right, bottom
            The window in decoded pixels, right and bottom excluded; must lie inside the photo.

        Returns
        -------
        ndarray, shape (bottom - top, right - left, 3), float32
        """
        from finishlab.imaging import opencv

        return opencv.apply_table(self.encoded[top:bottom, left:right], self.decode)

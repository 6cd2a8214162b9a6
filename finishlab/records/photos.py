"""What a photo file says of itself."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import Final

from finishlab.record import Record, cut_name, normalize, one_line

__all__ = ["PhotoRecord"]

_FILE_NAME: Final = 255


@dataclass(frozen=True, slots=True)
class PhotoRecord(Record):
    """What a photo file says of itself.

    Raises
    ------
    ValueError
        If the hash, the size or the suffix cannot be a photo's.
    """

    sha256: str
    """SHA-256 of the file's bytes, 64 lower-case hex digits."""
    file_name: str
    """The name the user's file had, without its folder."""
    width: int
    """Of the upright photo, pixels."""
    height: int
    taken: dt.datetime | None = None
    """When the camera says it was taken; without a zone when the camera names none."""
    camera_make: str | None = None
    camera_model: str | None = None
    suffix: str = ".jpg"
    """End of the kept file's name: a dot and lower-case letters or digits, or nothing."""

    def __post_init__(self) -> None:
        if not re.fullmatch(r"[0-9a-f]{64}", self.sha256):
            raise ValueError("sha256 must be 64 lower-case hex digits")
        if self.width <= 0 or self.height <= 0:
            raise ValueError("a photo has at least one pixel")
        suffix = self.suffix.lower()
        if not re.fullmatch(r"(\.[a-z0-9]{1,8})?", suffix):
            raise ValueError(f"suffix must be a dot and up to 8 letters or digits, not {self.suffix!r}")
        name = re.split(r"[/\\]", self.file_name)[-1]
        # A photo is never turned away for what its name or its camera's name holds: too long is cut.
        normalize(
            self,
            suffix=suffix,
            file_name=(one_line(name) or "photo")[:_FILE_NAME],
            camera_make=cut_name(self.camera_make),
            camera_model=cut_name(self.camera_model),
        )

    @property
    def photo_id(self) -> str:
        """The short name that measurements carry: the first 16 hex digits of the hash."""
        return self.sha256[:16]

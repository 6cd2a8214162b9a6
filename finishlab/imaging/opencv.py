"""The doorway to OpenCV: one import, and one sentence when a system library it needs is missing."""

from __future__ import annotations

from finishlab.errors import MissingLibraryError

__all__ = ["cv2"]

try:
    import cv2
except ImportError as error:  # opencv-python links to libGL and glib, which a bare server lacks
    raise MissingLibraryError(
        "opencv-library-missing",
        f"OpenCV cannot be loaded, because a system library is missing ({error}).",
        "Install it once with: apt-get install -y libgl1 libglib2.0-0",
    ) from error

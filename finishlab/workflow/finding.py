"""Which photos a user means: files and folders named on a line, in the order they are to be measured."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from finishlab.errors import FinishlabError, PhotoError

__all__ = ["PHOTO_SUFFIXES", "expand_photos"]

PHOTO_SUFFIXES: Final = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"})
"""Endings by which a folder's photos are known; a file named by itself may have any."""


def expand_photos(paths: Sequence[str | Path]) -> list[tuple[Path, FinishlabError | None]]:
    """Return each photo once, a folder replaced by the photos in it, sorted by name.

    Parameters
    ----------
    paths
        Files and folders.

    Returns
    -------
    list
        Photo and None, or a folder and why it gives no photo.
    """
    found: dict[Path, FinishlabError | None] = {}
    for path in map(Path, paths):
        try:
            is_folder = path.is_dir()
        except (OSError, ValueError):  # a name no file can have; opening it says so
            is_folder = False
        if not is_folder:
            found.setdefault(path, None)
            continue
        try:
            inside = _photos_in(path)
        except OSError as error:
            reason = error.strerror or str(error)
            found[path] = PhotoError(
                "folder-unreadable", f"The folder {path} cannot be read ({reason}).", "Check that it is yours to read."
            )
            continue
        if not inside:
            found[path] = PhotoError(
                "no-photos", f"The folder {path} holds no photo.", "Name a folder with photos in it, or the photos."
            )
        for photo in inside:
            found.setdefault(photo, None)
    return list(found.items())


def _photos_in(folder: Path) -> list[Path]:
    """Return the photos of a folder, not of the folders in it."""
    return sorted(
        path
        for path in folder.iterdir()
        if path.suffix.lower() in PHOTO_SUFFIXES and not path.name.startswith(".") and path.is_file()
    )

"""The logbook's folder: made on first use, and checked before anything is read or written."""

from __future__ import annotations

import errno
import getpass
import os
from pathlib import Path
from typing import Final

from finishlab.errors import LogbookError
from finishlab.logbook.database import failures_named
from finishlab.logbook.photo_files import PHOTOS

__all__ = ["DATABASE", "check_folder", "login_name", "make_folder"]

DATABASE: Final = "logbook.db"
"""Name of the SQLite file in the logbook's folder."""


def make_folder(folder: Path) -> None:
    """Make the logbook's folder and its `photos/`, and see that they can be written."""
    check_folder(folder)
    with failures_named(str(folder)):
        (folder / PHOTOS).mkdir(parents=True, exist_ok=True)
    check_folder(folder)


def check_folder(folder: Path) -> None:
    """See that what is there of the logbook's folder can be written."""
    if folder.exists() and not folder.is_dir():
        raise LogbookError("logbook-not-a-folder", f"{folder} is not a folder.", "Name a folder with --logbook.")
    with failures_named(str(folder)):
        for path in (folder, folder / PHOTOS, folder / DATABASE):
            if path.exists() and not os.access(path, os.W_OK):
                raise PermissionError(errno.EACCES, "permission denied", str(path))


def login_name() -> str:
    """Return who is logged in, for the history."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # no entry for this user, or no such system
        return "unknown"

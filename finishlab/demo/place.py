"""Where the sample photos lie, and the folder a demo is made in: made anew only when nothing but a demo is in it."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Final

from finishlab.demo.story import FOLDER, photos
from finishlab.errors import FinishlabError, OutputError, UsageError

__all__ = ["MARK", "PAGE", "PDF", "prepare", "samples_home"]

MARK: Final = "demo.json"
"""The file that tells a demo's folder from any other."""
PAGE: Final = "report.html"
PDF: Final = "report.pdf"
_PAGES: Final = (PAGE, PDF, "ranking.html")
"""What a demo writes, the page's former name too."""
_FORMAT: Final = "finishlab/demo-folder/1"
_DATABASE: Final = ("logbook.db", "logbook.db-wal", "logbook.db-shm", "logbook.db-journal")
_KEPT: Final = "photos"


def samples_home() -> Path:
    """Return the folder that holds `FOLDER`: the installed package, or the project in an editable checkout.

    Raises
    ------
    FinishlabError
        ``"no-sample-photos"`` if neither has all of them.
    """
    package = Path(__file__).resolve().parents[1]
    for home in (package, package.parent):
        if all((home / FOLDER / photo.file).is_file() for photo in photos()):
            return home
    raise FinishlabError(
        "no-sample-photos",
        "The sample photos of the demo are not all installed with finishlab.",
        "Install finishlab again; in a checkout, make them: python -m make_samples",
    )


def prepare(folder: Path, home: Path) -> bool:
    """Make a folder ready for the demo; return whether an earlier demo in it was cleared away.

    Of an earlier demo only what it made itself is deleted.

    Parameters
    ----------
    folder
        Where the demo goes.
    home
        From `samples_home`.

    Raises
    ------
    UsageError
        ``"demo-not-a-folder"``, or ``"demo-folder-used"`` if something else lies there.
    OutputError
        ``"demo-folder-unwritable"``.
    """
    if folder.exists() and not folder.is_dir():
        raise UsageError("demo-not-a-folder", f"{folder} is not a folder.", "Name a folder with --into.")
    samples = sorted(_hash(home / FOLDER / photo.file) for photo in photos())
    try:
        again = _clear(folder) if folder.exists() and any(folder.iterdir()) else False
        folder.mkdir(parents=True, exist_ok=True)
        mark = {"format": _FORMAT, "note": "A demo with rendered photos; it may be made anew.", "photos": samples}
        (folder / MARK).write_text(json.dumps(mark, indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise OutputError(
            "demo-folder-unwritable",
            f"The demo cannot be made in {folder} ({error.strerror or error}).",
            "Name a folder you may write to with --into.",
        ) from error
    return again


def _clear(folder: Path) -> bool:
    """Delete an earlier demo."""
    own = _own_photos(folder)
    kept = [path for path in (folder / _KEPT).rglob("*") if path.is_file()]
    if own is None or any(path.stem not in own for path in kept):
        why = "holds no demo" if own is None else "holds photos that the demo did not put there"
        raise UsageError(
            "demo-folder-used", f"{folder} is not empty and {why}.", "Name a new or empty folder with --into."
        )
    for path in (*(folder / name for name in (*_DATABASE, *_PAGES)), *kept):
        path.unlink(missing_ok=True)
    return True


def _own_photos(folder: Path) -> frozenset[str] | None:
    """Return the hashes of the photos an earlier demo kept here, None if there was no demo."""
    try:
        mark = json.loads((folder / MARK).read_text(encoding="utf-8"))
        return frozenset(mark["photos"]) if mark["format"] == _FORMAT else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()

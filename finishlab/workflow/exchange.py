"""A whole logbook into one file, and out of it."""

from __future__ import annotations

import hashlib
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from finishlab.logbook import Logbook
from finishlab.logbook.exchange.dump import Dump, json_schema
from finishlab.logbook.photo_files import photo_place
from finishlab.photos.privacy import shareable
from finishlab.reports.archive import open_archive, write_archive
from finishlab.version import __version__

if TYPE_CHECKING:
    from finishlab.logbook.exchange.taking_in import TakenIn

__all__ = ["Exported", "export_logbook", "import_logbook"]


@dataclass(frozen=True, slots=True)
class Exported:
    """What an archive holds."""

    boards: int
    floor_spots: int
    photos: int
    missing: tuple[str, ...]
    """Names of photos whose files are no longer in the logbook, or no longer what they were."""
    kept_back: tuple[str, ...] = ()
    """Names of photos of which nobody can say what they tell: see `finishlab.photos.privacy.shareable`."""


def export_logbook(log: Logbook, path: Path, *, photos: bool = True) -> Exported:
    """Write all a logbook holds into one archive; of a photo goes along what tells nothing of people and places.

    Parameters
    ----------
    log
        The logbook.
    path
        The archive.
    photos
        Whether photos go along.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    dump = log.dump()
    rows = dump.tables["photos"]
    missing: list[str] = []
    kept_back: list[str] = []
    with write_archive(path) as archive:
        for row in rows if photos else []:
            place = photo_place(log.folder, row["sha256"], row["suffix"])
            if not place.is_file():
                missing.append(row["file_name"])
                continue
            content = place.read_bytes()
            if hashlib.sha256(content).hexdigest() not in (row["sha256"], row.get("kept_sha256")):
                missing.append(row["file_name"])
                continue
            clean = shareable(content)
            if clean is None:
                kept_back.append(row["file_name"])
                continue
            own = hashlib.sha256(clean).hexdigest()
            row["kept_sha256"] = None if own == row["sha256"] else own
            archive.photo(f"{row['sha256']}{row['suffix']}", clean)
        archive.tables(dump.as_dict(), json_schema(), __version__)
    kept = {name: sum(row["removed"] is None for row in dump.tables[name]) for name in ("boards", "floor_spots")}
    given = len(rows) - len(missing) - len(kept_back) if photos else 0
    return Exported(kept["boards"], kept["floor_spots"], given, tuple(missing), tuple(kept_back))


def import_logbook(log: Logbook, path: Path) -> TakenIn:
    """Take an archive into a logbook, empty or used: nothing twice, nothing lost.

    Raises
    ------
    LogbookError
        ``"archive-damaged"``, ``"archive-newer"``, ``"not-an-archive"``, ``"archive-not-found"``, ``"photo-changed"``;
        the logbook's boards and spots are as they were then.
    """
    with open_archive(path) as archive, tempfile.TemporaryDirectory(prefix="finishlab-") as folder:
        dump = log.checked_dump(Dump.from_dict(archive.document()))
        for row in dump["photos"]:
            copy = Path(folder) / "photo"
            if archive.extract(f"{row['sha256']}{row['suffix']}", copy):
                log.keep_photo_copy(copy, row)
        return log.take_in(dump)

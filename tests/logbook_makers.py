"""Makers of photos and measurements for the logbook's tests: invented figures, no photo is decoded."""

from __future__ import annotations

import datetime as dt
import gzip
import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import inspect

from finishlab.board import PhotoRecord
from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
from finishlab.imaging.strip import FieldName
from finishlab.logbook import database
from finishlab.logbook.database import open_engine
from finishlab.logbook.store import Logbook
from finishlab.measure.results import FieldMeasurement, Measurement, Spread, StripReading, Texture
from finishlab.quality import doubt
from finishlab.strip import TrialRecord

DAY = dt.date(2024, 5, 31)
OLD_LOGBOOKS = Path(__file__).parent / "old_logbooks"


def field(name: FieldName = "board", lightness: float = 50.0) -> FieldMeasurement:
    """Return one field's measurement with every part filled in."""
    return FieldMeasurement(
        name=name,
        kind="wood" if name == "board" else "print",
        estimate=LabEstimate(
            (lightness, 8.25, 1 / 3),
            ((0.1, 0.01, 0.0), (0.01, 0.2, 0.0), (0.0, 0.0, 0.3)),
            (SharedEffect("saturation", "camera:Test One", (0.0, 0.5, 0.75)),),
            wood=name == "board",
        ),
        spread=Spread(44.0, 56.5, ((9.0, 0.0, 0.0), (0.0, 1.0, 0.5), (0.0, 0.5, 2.0))),
        used_share=0.93,
        glare_share=0.02,
        left_out={"glare": 0.02, "seam": 0.05},
        doubts=(doubt("glare", percent=2.0), doubt("strip-partly-hidden", seen=5, total=6)),
        texture=Texture(1.75, 0.5, 0.875, -12.5, None),
        colours=((lightness - 4.25, 8.0, 20.5), (lightness + 4.25, 7.5, 22.0)),
    )


def measurement(photo: PhotoRecord, *names: FieldName, lightness: float = 50.0, strip: int | None = 412) -> Measurement:
    """Return a photo's measurement of some fields (the board's unless named)."""
    corners = ((10.0, 20.0), (300.5, 21.0), (301.0, 80.0), (10.5, 79.0))
    both = set(names) == {"board", "floor"}
    return Measurement(
        photo_id=photo.photo_id,
        strip=StripReading(strip, 6, corners, 4.5, 12.0, -90.0, 0.05),
        fields={name: field(name, lightness) for name in names or ("board",)},
        pair=DeltaE(3.5, 2.25, 4.75) if both else None,
        correction={"gamma": (2.2, 2.1, 2.0)},
        settings={"field": "board"},
        version="0.1.0",
    )


def make_photo(folder: Path, name: str = "IMG_1.JPG", taken: dt.datetime | None = None) -> tuple[Path, PhotoRecord]:
    """Write a file of some bytes and return it with its record."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / name
    path.write_bytes(b"not a picture, but bytes: " + name.encode())
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    return path, PhotoRecord(sha256, name, 4000, 3000, taken, suffix=path.suffix)


def keep(log: Logbook, folder: Path, name: str = "IMG_1.JPG") -> PhotoRecord:
    """Make a photo and keep it in the logbook."""
    path, record = make_photo(folder, name)
    log.keep_photo(path, record)
    return record


def trial(photo: str = "a" * 16, apart: float = 0.5) -> TrialRecord:
    """Return a trial of one board at both edges of the strip, so far apart in L*."""
    sides = [
        {"photo": photo, "file": "IMG_7.JPG", "field": name, "strip": 412, "estimate": found.estimate.as_dict()}
        for name, found in (("board", field("board")), ("floor", field("floor", 50.0 + apart)))
    ]
    return TrialRecord("same", {"version": "0.1.0", "sides": sides}, date=DAY)


def take_back(file: Path, revision: str) -> None:
    """Make the database what an older program would have left: its tables, with the rows and columns they had."""
    old = file.with_name("old.db")
    engine = open_engine(old)
    config = Config()
    config.set_main_option("script_location", str(Path(database.__file__).parent / "migrations"))
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
        tables = [name for name in inspect(connection).get_table_names() if name != "alembic_version"]
    engine.dispose()
    with sqlite3.connect(old) as other:
        other.execute("ATTACH ? AS new", [str(file)])
        for name in tables:
            columns = ", ".join(row[1] for row in other.execute(f"PRAGMA main.table_info({name})"))
            other.execute(f"DELETE FROM main.{name}")  # noqa: S608 - names of our own tables
            other.execute(f"INSERT INTO main.{name} ({columns}) SELECT {columns} FROM new.{name}")  # noqa: S608 - as above
        counted = ", ".join(repr(name) for name in tables)
        other.execute(f"DELETE FROM main.counters WHERE name NOT IN ({counted})")  # noqa: S608 - as above
    other.close()
    old.replace(file)


def old_logbook(step: str, log: Path) -> Path:
    """Lay down the logbook that the program of a step of the tables, such as ``0001``, left; return its folder."""
    log.mkdir()
    with closing(sqlite3.connect(log / "logbook.db")) as database:
        database.executescript(gzip.decompress((OLD_LOGBOOKS / f"{step}.sql.gz").read_bytes()).decode())
    return log

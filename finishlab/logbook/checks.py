"""What must be so of a row of any table: that it can be read, by the very records a command builds.

What no command may log, no archive may bring either, and `finishlab check` finds it where it stands.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import uuid
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from functools import partial
from types import SimpleNamespace
from typing import Any, Final, cast

from sqlalchemy import Column, Table, select
from sqlalchemy.orm import Session
from sqlalchemy.types import JSON, BigInteger, Float, Integer, String

from finishlab.board.records import PhotoRecord
from finishlab.colorimetry.camera_profile import CameraProfile
from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.imaging.greys import StripGreys
from finishlab.logbook.entities import KINDS, record_in, why
from finishlab.logbook.stored import field_from_dict, strip_from_dict
from finishlab.logbook.tables import DAMAGED, Base, Day, Unreadable, UtcDateTime, column_value
from finishlab.measure import FieldMeasurement
from finishlab.recipe.records import Approval
from finishlab.record import normalise_light
from finishlab.stair.store import event_record, flight_record, part_record
from finishlab.strip.records import TrialRecord

__all__ = ["DAMAGED", "TABLES", "check_row", "faults", "spoilt"]

TABLES: Final[Mapping[str, Table]] = {each.name: each for each in Base.metadata.sorted_tables}
"""Every table, those that are named by others before those that name them."""

_HELD: Final[tuple[tuple[type | tuple[type, ...], type | tuple[type, ...]], ...]] = (
    (JSON, dict),
    (UtcDateTime, dt.datetime),
    (Day, dt.date),
    (Float, (int, float)),
    (Integer, int),
    (String, str),
)
"""Type of a column -> what it holds."""
_LARGEST: Final = 999_999_999
"""Of numbers and keys: what the command line reads as a number has nine digits at most."""
_LARGEST_SIZE: Final = 1 << 50
"""Bytes of a photo."""
_ONE_LINE: Final = frozenset({"who", "what", "subject", "version", "camera", "code", "uuid", "file_name"})
"""Columns that are shown as they are."""
_HASH: Final = re.compile(r"[0-9a-f]{64}")


def check_row(table: str, row: Mapping[str, Any]) -> None:
    """See that a row, its values as the database gives them, is one that a command can have written.

    Raises
    ------
    LookupError, TypeError, ValueError, AttributeError, OverflowError, UsageError
        What is wrong with it: all of them are in `DAMAGED`.
    """
    for column in TABLES[table].columns:
        _check_value(column.name, column.type, row.get(column.name), empty=bool(column.nullable))
    says = _SAYS.get(table)
    if says is not None:
        says(SimpleNamespace(**{"uuid": None, **row}))


def faults(session: Session, *tables: str) -> Iterator[tuple[str, Any, str, Mapping[str, Any]]]:
    """Yield table, key, fault and values of every row that cannot be read; of these tables, or of all."""
    for name in tables or TABLES:
        (key,) = TABLES[name].primary_key.columns.keys()
        for row in session.execute(select(TABLES[name]), execution_options={"yield_per": 500}).mappings():
            try:
                check_row(name, dict(row))
            except DAMAGED as error:
                yield name, row[key], why(error), dict(row)


def spoilt(column: Column[Any], value: Any) -> str | None:  # noqa: ANN401 - a value of any column
    """Return why a column cannot have a value; None if it can, as far as the column alone tells."""
    try:
        _check_value(column.name, column.type, value, empty=bool(column.nullable))
    except DAMAGED as error:
        return why(error)
    return None


def _check_value(name: str, kind: Any, value: Any, *, empty: bool) -> None:  # noqa: ANN401 - any column's type and value
    if value is None:
        if not empty:
            raise ValueError(f"{name} is missing")
        return
    if isinstance(value, Unreadable):
        raise ValueError(f"{name} cannot be “{value[:40]}”")  # noqa: TRY004 - the value is of the right type, as text
    wanted = next(types for of, types in _HELD if isinstance(kind, of))
    if isinstance(value, bool) or not isinstance(cast("object", value), wanted):
        raise TypeError(f"{name} is of another kind")
    if isinstance(value, str):
        _check_text(name, getattr(kind, "length", None), value)
    elif isinstance(kind, Float):
        if not math.isfinite(value):
            raise ValueError(f"{name} is no finite number")
    elif isinstance(kind, Integer) and not 0 <= value <= (_LARGEST_SIZE if isinstance(kind, BigInteger) else _LARGEST):
        raise ValueError(f"{name} cannot be {value}")


def _check_text(name: str, longest: int | None, value: str) -> None:
    if longest is not None and len(value) > longest:
        raise ValueError(f"{name} is longer than {longest} characters")
    if name in _ONE_LINE and not value.isprintable():
        raise ValueError(f"{name} holds control characters")
    if name == "uuid":
        uuid.UUID(value)


def _coloured(result: Mapping[str, Any]) -> FieldMeasurement:
    found = field_from_dict(result)
    for effect in found.estimate.shared:
        if len(effect.vector) != len(found.estimate.lab) or not all(math.isfinite(value) for value in effect.vector):
            raise ValueError("a shared effect has three values")
    if any(not math.isfinite(value) for colour in found.colours or () for value in colour):
        raise ValueError("a sampled colour is no finite number")
    return found


def _measured(row: Any) -> None:  # noqa: ANN401 - a row of measurements
    if sum(owner is not None for owner in (row.board_number, row.spot_number, row.part_id)) != 1:
        raise ValueError("it is of no one thing")
    found = _coloured(row.result)
    lab = (row.lab_l, row.lab_a, row.lab_b)
    if any(abs(one - other) > 1e-9 for one, other in zip(lab, found.estimate.lab, strict=True)):
        raise ValueError("two of its colours differ")
    if found.name != row.field:
        raise ValueError("it is of another field")
    if row.strip_reading is not None:
        strip_from_dict(row.strip_reading)
    print_said = row.settings.get("print") or {}
    if not isinstance(print_said, Mapping) or not isinstance(row.settings.get("camera_profile") or {}, Mapping):
        raise TypeError("its settings are none")
    for figure in row.correction.get("print") or ():
        float(figure)
    _check_light(row.light)


def _paired(row: Any) -> None:  # noqa: ANN401 - a row of pairs
    _coloured(row.board_result)
    _coloured(row.floor_result)
    DeltaE(row.de00_value, row.de00_low, row.de00_high)
    _check_light(row.light)


def _check_light(light: str) -> None:
    if normalise_light(light) != light:
        raise ValueError(f"light cannot be “{light[:40]}”")


def _photographed(row: Any) -> None:  # noqa: ANN401 - a row of photos
    names = {each.name for each in fields(PhotoRecord)}
    values = {name: value for name, value in vars(row).items() if name in names}
    taken = None if row.taken is None else dt.datetime.fromisoformat(row.taken)
    if PhotoRecord(**values | {"taken": taken}).file_name != row.file_name:
        raise ValueError("file_name is no name of a file")
    if row.kept_sha256 is not None and not _HASH.fullmatch(row.kept_sha256):
        raise ValueError("kept_sha256 is no hash")


def _imaged(row: Any) -> None:  # noqa: ANN401 - a row of row_images
    columns = TABLES[row.table_name].columns
    for side in (row.before, row.after):
        for name, value in (side or {}).items():
            kind = columns[name].type
            _check_value(name, kind, column_value(kind, value), empty=True)


def _counted(row: Any) -> None:  # noqa: ANN401 - a row of counters
    if row.name not in TABLES:
        raise LookupError(f"nothing is called {row.name[:20]}")


def _tried(row: Any) -> None:  # noqa: ANN401 - a row of trials
    for side in record_in(TrialRecord, row).sides:
        LabEstimate.from_dict(side["estimate"], wood=True)


def _learned(row: Any) -> None:  # noqa: ANN401 - a row of strip_greys
    if StripGreys.from_dict(row.greys).number != row.strip_number:
        raise ValueError("its greys are another strip's")


def _profiled(row: Any) -> None:  # noqa: ANN401 - a row of camera_profiles
    profile = CameraProfile.from_dict(row.profile)
    profile.summary()
    if profile.camera != row.camera or normalise_light(profile.light) != row.light:
        raise ValueError("its profile is another camera's")


_SAYS: Final[Mapping[str, Callable[[Any], object]]] = {
    **{table.__tablename__: partial(record_in, kind.record) for table, kind in KINDS.items()},
    "trials": _tried,
    "approvals": partial(record_in, Approval),
    "measurements": _measured,
    "pairs": _paired,
    "photos": _photographed,
    "row_images": _imaged,
    "counters": _counted,
    "strip_greys": _learned,
    "camera_profiles": _profiled,
    "flights": flight_record,
    "parts": part_record,
    "part_events": event_record,
}
"""Table -> what reads a row as everything else does."""

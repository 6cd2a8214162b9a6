"""The logbook's tables, their columns' values as JSON can hold them, and the records that rows hold.

Only types every SQLAlchemy database knows. The columns of `BoardRow` and `FloorSpotRow` that hold a record carry the
names of the record's fields. A change here needs a migration; a test holds the two together.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from itertools import islice
from types import NoneType
from typing import Any, Final, TypeVar, cast

from sqlalchemy import (
    JSON,
    BigInteger,
    CheckConstraint,
    Date,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    MetaData,
    Row,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship
from sqlalchemy.types import TypeDecorator, TypeEngine

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.errors import LogbookError, UsageError
from finishlab.files import SAID
from finishlab.recipe import Can, Recipe
from finishlab.record import Number, Record
from finishlab.strip import TrialRecord

T = TypeVar("T")
R = TypeVar("R", bound=Record)
Found = TypeVar("Found")
_KEYS_A_QUERY: Final = 500
"""Databases take no more than some thousand."""
_MOMENTS: Final = frozenset({"created", "made"})
_LONGEST_WHY: Final = 200
ONE_SUBJECT = (
    "(CASE WHEN board_number IS NULL THEN 0 ELSE 1 END)"
    " + (CASE WHEN spot_number IS NULL THEN 0 ELSE 1 END)"
    " + (CASE WHEN part_id IS NULL THEN 0 ELSE 1 END) = 1"
)


DAMAGED: Final = (LookupError, TypeError, ValueError, AttributeError, OverflowError, RecursionError, UsageError)
"""What reading an entry raises that cannot be meant."""


class Unreadable(str):
    """What stands in the database where a day, a moment or JSON should: kept, so that one such row spoils no other."""

    __slots__ = ()


def _read_or_kept(read: Callable[[Any], Any] | None) -> Callable[[Any], Any]:
    def value(raw: Any) -> Any:  # noqa: ANN401 - a value of any column
        try:
            return raw if read is None else read(raw)
        except (ValueError, TypeError):
            return Unreadable(raw)

    return value


class Day(TypeDecorator[dt.date]):
    """A day; one that cannot be read comes as `Unreadable`."""

    impl = Date
    cache_ok = True

    def result_processor(self, dialect: Dialect, coltype: object) -> Callable[[Any], Any]:
        """Return what reads a stored value."""
        return _read_or_kept(super().result_processor(dialect, coltype))


class UtcDateTime(TypeDecorator[dt.datetime]):
    """A moment in UTC, aware on both sides, also where the database keeps no zone."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002 - SQLAlchemy's signature
        """Turn an aware moment into UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment needs a time zone")
        return value.astimezone(dt.UTC)

    def process_result_value(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002 - SQLAlchemy's signature
        """Give the stored moment its zone back."""
        if value is None:
            return None
        return value.replace(tzinfo=dt.UTC) if value.tzinfo is None else value.astimezone(dt.UTC)

    def result_processor(self, dialect: Dialect, coltype: object) -> Callable[[Any], Any]:
        """Return what reads a stored value; one that cannot be read comes as `Unreadable`."""
        return _read_or_kept(super().result_processor(dialect, coltype))


class Base(DeclarativeBase):
    """Root of the tables; constraints get predictable names so that migrations can name them."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_name)s",
            "uq": "uq_%(table_name)s_%(column_0_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012 - SQLAlchemy's own class setting
        dt.datetime: UtcDateTime(),
        dt.date: Day(),
        dict[str, Any]: JSON(none_as_null=True),
        float: Float(),
    }


class LastingRow(Base):
    """A row that bears one name wherever it goes: archives know it again by that, and undo finds it."""

    __abstract__ = True

    # Given before it is written, see `finishlab.logbook.writing`; empty only while an older logbook is carried over.
    uuid: Mapped[str] = mapped_column(String(36), index=True, unique=True, nullable=True, sort_order=9)


class RemovableRow(LastingRow):
    """A row that is never deleted: from the moment it was removed it is only no longer shown."""

    __abstract__ = True

    created: Mapped[dt.datetime] = mapped_column(sort_order=1)
    removed: Mapped[dt.datetime | None] = mapped_column(sort_order=2)


class NumberedRow(RemovableRow):
    """A row that people call by a number."""

    __abstract__ = True

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False, sort_order=-1)


class CounterRow(Base):
    """The last number given out to each numbered thing; numbers are never given twice."""

    __tablename__ = "counters"

    name: Mapped[str] = mapped_column(String(20), primary_key=True)
    last: Mapped[int]


class StripRow(Base):
    """A print of the grey strip that was seen in a logged photo, or whose greys were learned."""

    __tablename__ = "strips"

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    first_seen: Mapped[dt.datetime]


class StripGreysRow(LastingRow):
    """What was learned of a strip's own greys; the one row of a strip without `ended` holds today."""

    __tablename__ = "strip_greys"

    id: Mapped[int] = mapped_column(primary_key=True)
    strip_number: Mapped[int] = mapped_column(ForeignKey("strips.number"), index=True)
    greys: Mapped[dict[str, Any]]
    created: Mapped[dt.datetime]
    ended: Mapped[dt.datetime | None]


class PhotoRow(Base):
    """A kept photo; the file lies under `photos/`, named by its hash."""

    __tablename__ = "photos"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    file_name: Mapped[str] = mapped_column(String(255))
    suffix: Mapped[str] = mapped_column(String(10))
    size: Mapped[int] = mapped_column(BigInteger)
    width: Mapped[int]
    height: Mapped[int]
    # Text, since a camera's clock may or may not name its zone, and both are kept as they are.
    taken: Mapped[str | None] = mapped_column(String(40))
    camera_make: Mapped[str | None] = mapped_column(String(200))
    camera_model: Mapped[str | None] = mapped_column(String(200))
    kept: Mapped[dt.datetime]
    # Of the kept file, where it is not the original but a copy that names no place, as archives hold it.
    kept_sha256: Mapped[str | None] = mapped_column(String(64), index=True)


class BoardRow(NumberedRow):
    """A test board; number 3 is shown as B3."""

    __tablename__ = "boards"

    species: Mapped[str] = mapped_column(String(200))
    stain: Mapped[str | None] = mapped_column(String(200))
    coats: Mapped[int | None]
    topcoat: Mapped[str | None] = mapped_column(String(200))
    light: Mapped[str] = mapped_column(String(200))
    note: Mapped[str | None] = mapped_column(Text)
    date: Mapped[dt.date]
    purpose: Mapped[str] = mapped_column(String(40))
    state: Mapped[str | None] = mapped_column(String(40))
    maker: Mapped[str | None] = mapped_column(String(200))
    recipe_number: Mapped[int | None] = mapped_column(ForeignKey("recipes.number"), index=True)
    # Whole, also where there is a recipe: a recipe that is edited later changes no board that was made by it.
    finish: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))


class FloorSpotRow(NumberedRow):
    """A place of the floor; number 3 is shown as F3."""

    __tablename__ = "floor_spots"

    spot: Mapped[str | None] = mapped_column(String(200))
    surface: Mapped[str] = mapped_column(String(40))
    light: Mapped[str] = mapped_column(String(200))
    note: Mapped[str | None] = mapped_column(Text)
    date: Mapped[dt.date]


class MeasurementRow(LastingRow):
    """The colour of one board, spot or stair part in one photo."""

    __tablename__ = "measurements"
    __table_args__ = (
        CheckConstraint(ONE_SUBJECT, name="one_subject"),
        UniqueConstraint("board_number", "photo_sha256"),
        UniqueConstraint("spot_number", "photo_sha256"),
        UniqueConstraint("part_id", "photo_sha256"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    board_number: Mapped[int | None] = mapped_column(ForeignKey("boards.number"))
    spot_number: Mapped[int | None] = mapped_column(ForeignKey("floor_spots.number"))
    part_id: Mapped[int | None] = mapped_column(ForeignKey("parts.id"))
    photo_sha256: Mapped[str] = mapped_column(ForeignKey("photos.sha256"), index=True)
    field: Mapped[str] = mapped_column(String(10))
    # The three values stand in `result` too; the columns are for plain SQL.
    lab_l: Mapped[float]
    lab_a: Mapped[float]
    lab_b: Mapped[float]
    result: Mapped[dict[str, Any]]
    strip_number: Mapped[int | None] = mapped_column(ForeignKey("strips.number"))
    strip_reading: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    light: Mapped[str] = mapped_column(String(200))
    correction: Mapped[dict[str, Any]]
    settings: Mapped[dict[str, Any]]
    version: Mapped[str] = mapped_column(String(80))
    created: Mapped[dt.datetime]


class PairRow(LastingRow):
    """Board and floor measured side by side in one photo."""

    __tablename__ = "pairs"
    __table_args__ = (UniqueConstraint("board_number", "photo_sha256"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    board_number: Mapped[int] = mapped_column(ForeignKey("boards.number"))
    photo_sha256: Mapped[str] = mapped_column(ForeignKey("photos.sha256"), index=True)
    board_result: Mapped[dict[str, Any]]
    floor_result: Mapped[dict[str, Any]]
    de00_value: Mapped[float]
    de00_low: Mapped[float]
    de00_high: Mapped[float]
    light: Mapped[str] = mapped_column(String(200))
    created: Mapped[dt.datetime]


class CameraProfileRow(RemovableRow):
    """A camera's profile in one light; the newest that was not removed holds."""

    __tablename__ = "camera_profiles"

    id: Mapped[int] = mapped_column(primary_key=True)
    camera: Mapped[str] = mapped_column(String(200))
    light: Mapped[str] = mapped_column(String(200))
    photo_sha256: Mapped[str] = mapped_column(ForeignKey("photos.sha256"), index=True)
    profile: Mapped[dict[str, Any]]


class ChangeRow(LastingRow):
    """One entry of the history: what was changed, by whom, from what to what."""

    __tablename__ = "changes"

    id: Mapped[int] = mapped_column(primary_key=True)
    made: Mapped[dt.datetime]
    who: Mapped[str] = mapped_column(String(200))
    what: Mapped[str] = mapped_column(String(40))
    subject: Mapped[str] = mapped_column(String(20), index=True)
    before: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    after: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))


class ImageRow(Base):
    """What an entry of the history did to one row: what its columns held before, and after."""

    __tablename__ = "row_images"

    id: Mapped[int] = mapped_column(primary_key=True)
    change_id: Mapped[int] = mapped_column(ForeignKey("changes.id"), index=True)
    table_name: Mapped[str] = mapped_column(String(40))
    row_uuid: Mapped[str] = mapped_column(String(36))
    # What the row belongs to, by its own name: measurements to their board, spot or event.
    thing: Mapped[str] = mapped_column(String(36))
    # Of a row that was changed the columns that were; of one that was taken out all, and nothing after; of one that was
    # added nothing before, and an empty mapping after. Both are nothing where the values were not kept.
    before: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    after: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))

    change: Mapped[ChangeRow] = relationship()


class RecipeRow(NumberedRow):
    """A named finish that boards and parts share; number 3 is shown as R3."""

    __tablename__ = "recipes"

    name: Mapped[str] = mapped_column(String(200))
    finish: Mapped[dict[str, Any]]
    note: Mapped[str | None] = mapped_column(Text)


class ApprovalRow(LastingRow):
    """A recipe made the standard by an approved board; the one row without `ended` holds today."""

    __tablename__ = "approvals"

    id: Mapped[int] = mapped_column(primary_key=True)
    recipe_number: Mapped[int] = mapped_column(ForeignKey("recipes.number"))
    board_number: Mapped[int | None] = mapped_column(ForeignKey("boards.number"))
    # The recipe as it was approved: a later change of the recipe does not change what was decided.
    finish: Mapped[dict[str, Any]]
    date: Mapped[dt.date]
    who: Mapped[str] = mapped_column(String(200))
    reason: Mapped[str | None] = mapped_column(Text)
    created: Mapped[dt.datetime]
    ended: Mapped[dt.datetime | None]


class BatchRow(NumberedRow):
    """A can of stain, sealer or finish with its lot; number 3 is shown as C3."""

    __tablename__ = "batches"

    kind: Mapped[str] = mapped_column(String(40))
    maker: Mapped[str | None] = mapped_column(String(200))
    product: Mapped[str] = mapped_column(String(200))
    lot: Mapped[str | None] = mapped_column(String(200))
    size_l: Mapped[float | None]
    left_l: Mapped[float | None]
    place: Mapped[str | None] = mapped_column(String(200))
    opened: Mapped[dt.date | None]
    # What the can's label says: coverage, hours to recoat, pot life, price.
    label: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    note: Mapped[str | None] = mapped_column(Text)
    date: Mapped[dt.date]


class TrialRow(NumberedRow):
    """The same thing measured in ways that must agree; number 3 is shown as H3."""

    __tablename__ = "trials"

    kind: Mapped[str] = mapped_column(String(20))
    measured: Mapped[dict[str, Any]]
    light: Mapped[str] = mapped_column(String(200))
    note: Mapped[str | None] = mapped_column(Text)
    date: Mapped[dt.date]


class FlightRow(NumberedRow):
    """A flight of the stair or a landing between two, numbered from the bottom up."""

    __tablename__ = "flights"

    kind: Mapped[str] = mapped_column(String(20))
    name: Mapped[str | None] = mapped_column(String(200))
    risers: Mapped[int | None]
    note: Mapped[str | None] = mapped_column(Text)


class PartRow(RemovableRow):
    """A tread, riser, nosing or other part of a flight; its place is counted from the bottom up."""

    __tablename__ = "parts"
    __table_args__ = (Index("ix_parts_place", "flight_number", "kind", "place"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    flight_number: Mapped[int] = mapped_column(ForeignKey("flights.number"))
    kind: Mapped[str] = mapped_column(String(40))
    place: Mapped[int]
    # Seen from below; only parts that come in pairs have one.
    side: Mapped[str | None] = mapped_column(String(10))
    sizes: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    species: Mapped[str | None] = mapped_column(String(200))
    recipe_number: Mapped[int | None] = mapped_column(ForeignKey("recipes.number"), index=True)
    fixing: Mapped[str | None] = mapped_column(String(200))
    note: Mapped[str | None] = mapped_column(Text)


class PartEventRow(RemovableRow):
    """What was done to a part on a day: sanded, coat n of a recipe from a can, fitted, touched up."""

    __tablename__ = "part_events"

    id: Mapped[int] = mapped_column(primary_key=True)
    part_id: Mapped[int] = mapped_column(ForeignKey("parts.id"), index=True)
    kind: Mapped[str] = mapped_column(String(40))
    date: Mapped[dt.date]
    step: Mapped[str | None] = mapped_column(String(40))
    coat: Mapped[int | None]
    recipe_number: Mapped[int | None] = mapped_column(ForeignKey("recipes.number"))
    batch_number: Mapped[int | None] = mapped_column(ForeignKey("batches.number"), index=True)
    faces: Mapped[str | None] = mapped_column(String(100))
    deviation: Mapped[str | None] = mapped_column(Text)
    note: Mapped[str | None] = mapped_column(Text)
    # Hour, air, humidity, applicator ... of a coat; nothing where none of them is known.
    conditions: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))


class CautionRow(Base):
    """The last day a caution was shown, so that each kind is said once a day."""

    __tablename__ = "cautions"

    code: Mapped[str] = mapped_column(String(40), primary_key=True)
    shown: Mapped[dt.date]


def plain_value(value: object) -> object:
    """Return a value of any column as JSON can hold it."""
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")
    return value.isoformat() if isinstance(value, dt.date) else value


def row_values(of: Table, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of `plain_value` as the database takes them; errors as in `column_value`."""
    return {name: column_value(of.columns[name].type, value) for name, value in values.items()}


def column_value(kind: TypeEngine[Any], value: Any) -> Any:  # noqa: ANN401 - a value of any column
    """Return a value of `plain_value` as a column of this type takes it.

    Raises
    ------
    TypeError, ValueError
        If it cannot be one of that column.
    """
    if value is None or isinstance(kind, JSON):
        return value
    if isinstance(kind, UtcDateTime | DateTime):
        moment = dt.datetime.fromisoformat(value)
        if moment.tzinfo is None:
            raise ValueError("a moment needs a time zone")
        return moment
    if isinstance(kind, Date | Day):
        return dt.date.fromisoformat(value)
    wanted = str if isinstance(kind, String | Text) else (int, float) if isinstance(kind, Float) else int
    if isinstance(value, bool) or not isinstance(value, wanted):
        raise TypeError("another kind of value")
    return value


def batches(keys: Iterable[T]) -> Iterator[list[T]]:
    """Yield the keys of a query by so many as a database takes."""
    left = iter(keys)
    while some := list(islice(left, _KEYS_A_QUERY)):
        yield some


AnyRow = BoardRow | FloorSpotRow | RecipeRow | BatchRow | TrialRow


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of numbered thing."""

    letter: str
    """Before its number: ``"B"`` for B3."""
    subject: str
    """How codes of failures name it."""
    words: str
    command: str
    """Adds the first."""
    record: type[Record]


KINDS: Final[Mapping[Any, Kind]] = {
    BoardRow: Kind("B", "board", "board", "finishlab board add PHOTO ...", BoardRecord),
    FloorSpotRow: Kind("F", "spot", "floor spot", "finishlab floor add PHOTO ...", FloorSpotRecord),
    RecipeRow: Kind("R", "recipe", "recipe", "finishlab recipe add NAME ...", Recipe),
    BatchRow: Kind("C", "can", "can", "finishlab can add PRODUCT --kind KIND", Can),
    TrialRow: Kind("H", "trial", "trial", "finishlab trial same PHOTO ...", TrialRecord),
}


def subject_name(row: AnyRow) -> Number:
    """Return the number people see, ``"B3"``, ``"F3"``, ``"R3"``, ``"C3"`` or ``"H3"``."""
    return Number.of(KINDS[type(row)].letter, row.number)


def record_in(kind: type[R], row: object) -> R:
    """Return the record a row holds, whose columns bear the names of its fields; raises what building it raises."""
    return kind.from_dict({each.name: getattr(row, each.name) for each in fields(cast("Any", kind))})


def read_record(row: AnyRow) -> Any:  # noqa: ANN401 - the record of its kind
    """Return the record a numbered row holds."""
    return record_in(KINDS[type(row)].record, row)


def readable(
    named: Callable[[Any], str], read: Callable[[Any], T], found: Iterable[Found], *, strict: bool = False
) -> Iterator[tuple[Found, T]]:
    """Yield rows with what they say; one that cannot be read is left out, with a word, unless `strict`.

    Raises
    ------
    LogbookError
        ``"logbook-damaged"``, if `strict`.
    """
    for row in found:
        try:
            said = decoded(named(row), read, row)
        except LogbookError as error:
            if strict:
                raise
            left_out(error)
            continue
        yield row, said


def left_out(error: LogbookError) -> None:
    """Say that an entry which cannot be read is passed over."""
    SAID.warning("%s It is left out. What can be done: finishlab check", error.message)


def decoded(what: str, decode: Callable[[Found], T], row: Found) -> T:
    """Return what a row says of something.

    Raises
    ------
    LogbookError
        ``"logbook-damaged"`` if it cannot be meant.
    """
    try:
        _check_values(row)
        return decode(row)
    except DAMAGED as error:
        raise damaged(what, error) from error


def _check_values(row: object) -> None:
    if isinstance(row, Row) and {Unreadable, NoneType}.isdisjoint(map(type, row)):
        return
    said: Any = row._mapping if isinstance(row, Row) else getattr(row, "__dict__", {})  # noqa: SLF001 - its public name
    for name, value in said.items():
        if isinstance(value, Unreadable):
            raise ValueError(f"{name} cannot be “{value[:40]}”")  # noqa: TRY004 - as stored, it is of no type
        if value is None and name in _MOMENTS:
            raise ValueError(f"{name} is missing")


def damaged(what: str, error: Exception) -> LogbookError:
    """Return the failure that an entry of something cannot be read."""
    return LogbookError(
        "logbook-damaged",
        f"An entry of {what} in the logbook cannot be read ({why(error)}).",
        "Update finishlab if a newer one wrote it, or see what can be done: finishlab check",
    )


def why(error: Exception) -> str:
    """Return what an error says of an entry, in one short line."""
    text = " ".join(str(getattr(error, "message", error)).split())
    return f"{text} is missing" if isinstance(error, LookupError) else text[:_LONGEST_WHY]

"""Rows to frozen objects, in a fixed number of queries however many there are: in full, or all boards in one table.

Reading every board whole makes tens of objects for each, most of which a ranking needs not. In `BoardTable` a board is
its record and a few plain values for each photo; what many share (texts, doubts, settings, finishes) is kept once.
"""

from __future__ import annotations

import gc
import json
from array import array
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from functools import lru_cache, partial
from itertools import chain
from typing import Any, Final, NamedTuple, TypeVar

from sqlalchemy import ColumnElement, Text, func, select, type_coerce
from sqlalchemy.orm import Session

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.estimate import ColourTable, TableBuilder
from finishlab.errors import LogbookError
from finishlab.finish import Finish
from finishlab.logbook.stored import (
    FLOOR_IN_DOUBT,
    Change,
    Stored,
    StoredBoard,
    StoredMeasurement,
    StoredPair,
    StoredSpot,
    StoredStandard,
    field_from_dict,
    strip_from_dict,
)
from finishlab.logbook.tables import (
    DAMAGED,
    KINDS,
    AnyRow,
    ApprovalRow,
    BatchRow,
    BoardRow,
    ChangeRow,
    FloorSpotRow,
    MeasurementRow,
    PairRow,
    RecipeRow,
    TrialRow,
    damaged,
    decoded,
    readable,
    record_in,
    subject_name,
)
from finishlab.quality import Doubt
from finishlab.recipe import Standard
from finishlab.record import Light, Record

R = TypeVar("R", bound=Record)
Numbered = TypeVar("Numbered", RecipeRow, BatchRow, TrialRow)


def read_numbered(
    session: Session,
    table: type[Numbered],
    record: type[R],
    *,
    number: int | None = None,
    removed: bool = False,
) -> list[Stored[R]]:
    """Read the recipes, cans or trials that were not removed, or with `removed` all: every one, or one."""
    shown: list[ColumnElement[bool]] = [] if removed else [table.removed.is_(None)]
    shown += [] if number is None else [table.number == number]
    found = session.scalars(select(table).where(*shown).order_by(table.number))
    return [
        Stored(subject_name(row), said, row.created, row.removed)
        for row, said in readable(_named, partial(record_in, record), found, strict=number is not None)
    ]


def _named(row: AnyRow) -> str:
    return f"{KINDS[type(row)].words} {subject_name(row)}"


def read_approvals(session: Session) -> list[StoredStandard]:
    """Read every standard there was, first to last."""
    rows = session.scalars(select(ApprovalRow).order_by(ApprovalRow.id))
    read = readable(lambda _: "the standard", partial(record_in, Standard), rows)
    return [StoredStandard(said, row.created, row.ended) for row, said in read]


def read_boards(
    session: Session, *, number: int | range | None = None, light: Light | None = None
) -> list[StoredBoard]:
    """Read the boards that were not removed: all, one, or those of a range of numbers; in three queries.

    With a `light`, only what was measured in it is given, and only boards of which there is something.
    """
    shown: list[ColumnElement[bool]] = [BoardRow.removed.is_(None)]
    if isinstance(number, range):
        shown.append(BoardRow.number.between(number[0], number[-1]))
    elif number is not None:
        shown.append(BoardRow.number == number)
    rows = session.scalars(select(BoardRow).where(*shown).order_by(BoardRow.number)).all()
    of_board = MeasurementRow.board_number == BoardRow.number
    measured = select(MeasurementRow).join(BoardRow, of_board).where(*shown)
    paired = select(PairRow).join(BoardRow, PairRow.board_number == BoardRow.number).where(*shown)
    if light is not None:
        measured = measured.where(MeasurementRow.light == light)
        paired = paired.where(PairRow.light == light)
    measurements: dict[int | None, list[StoredMeasurement]] = defaultdict(list)
    strict = isinstance(number, int)
    found = session.scalars(measured.order_by(MeasurementRow.id))
    for row, said in readable(_of_board, _measurement, found, strict=strict):
        measurements[row.board_number].append(said)
    pairs: dict[int, list[StoredPair]] = defaultdict(list)
    for pair, paired_as in readable(_of_board, _pair, session.scalars(paired.order_by(PairRow.id)), strict=strict):
        pairs[pair.board_number].append(paired_as)
    return [
        StoredBoard(
            number=subject_name(row),
            record=record,
            measurements=tuple(measurements[row.number]),
            pairs=tuple(pairs[row.number]),
            created=row.created,
        )
        for row, record in readable(_named, partial(record_in, BoardRecord), rows, strict=strict)
        if light is None or measurements[row.number]
    ]


def _of_board(row: Any) -> str:  # noqa: ANN401 - a row of a board's colour or pair
    return f"board B{row.board_number}"


def read_spots(session: Session, *, number: int | None = None, light: Light | None = None) -> list[StoredSpot]:
    """Read the floor spots that were not removed: all, or one; in two queries. `light` as in `read_boards`."""
    shown: list[ColumnElement[bool]] = [FloorSpotRow.removed.is_(None)]
    if number is not None:
        shown.append(FloorSpotRow.number == number)
    rows = session.scalars(select(FloorSpotRow).where(*shown).order_by(FloorSpotRow.number)).all()
    owned = MeasurementRow.spot_number == FloorSpotRow.number
    measured = select(MeasurementRow).join(FloorSpotRow, owned).where(*shown)
    if light is not None:
        measured = measured.where(MeasurementRow.light == light)
    measurements: dict[int | None, list[StoredMeasurement]] = defaultdict(list)
    strict = number is not None
    found = session.scalars(measured.order_by(MeasurementRow.id))
    for each, said in readable(lambda row: f"floor spot F{row.spot_number}", _measurement, found, strict=strict):
        measurements[each.spot_number].append(said)
    return [
        StoredSpot(
            number=subject_name(row),
            record=record,
            measurements=tuple(measurements[row.number]),
            created=row.created,
        )
        for row, record in readable(_named, partial(record_in, FloorSpotRecord), rows, strict=strict)
        if light is None or measurements[row.number]
    ]


def read_part_measurements(session: Session, ident: int) -> tuple[StoredMeasurement, ...]:
    """Read all that was measured of a part of the stair."""
    mine = (
        select(MeasurementRow)
        .where(MeasurementRow.part_id == ident)
        .order_by(MeasurementRow.created, MeasurementRow.id)
    )
    return tuple(said for _, said in readable(lambda _: "the stair", _measurement, session.scalars(mine)))


def read_history(session: Session, subject: str | None, *, last: int | None = None) -> tuple[Change, ...]:
    """Read what was done to a subject, or to all, first to last; with `last`, what so many of the newest writes did."""
    mine = [] if subject is None else [ChangeRow.subject == subject]
    if last is not None:
        newest = select(ChangeRow.made).where(*mine).group_by(ChangeRow.made).order_by(func.max(ChangeRow.id).desc())
        mine.append(ChangeRow.made.in_(newest.limit(last)))
    found = session.scalars(select(ChangeRow).where(*mine).order_by(ChangeRow.id))
    return tuple(change for _, change in readable(lambda row: f"the history of {row.subject}", change_of, found))


def change_of(row: ChangeRow) -> Change:
    """Return the entry of the history a row holds."""
    return Change(row.made, row.who, row.what, row.before, row.after, row.subject, row.id)


def _measurement(row: MeasurementRow) -> StoredMeasurement:
    return StoredMeasurement(
        photo=row.photo_sha256,
        field=field_from_dict(row.result),
        light=row.light,
        strip_number=row.strip_number,
        strip=None if row.strip_reading is None else strip_from_dict(row.strip_reading),
        version=row.version,
        settings=row.settings,
        correction=row.correction,
        created=row.created,
    )


def _pair(row: PairRow) -> StoredPair:
    return StoredPair(
        photo=row.photo_sha256,
        board=field_from_dict(row.board_result),
        floor=field_from_dict(row.floor_result),
        delta_e00=DeltaE(row.de00_value, row.de00_low, row.de00_high),
        light=row.light,
        created=row.created,
    )


@contextmanager
def many_objects() -> Iterator[None]:
    """Put off Python's search for cycles while thousands of objects are made, none of which is a cycle.

    The search runs again and again over all that was made so far and takes longer than making it: reading 10,000 boards
    takes half the time without it.
    """
    running = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if running:
            gc.enable()


Colours = tuple[tuple[float, float, float], ...]
_FIELDS: Final = tuple(f.name for f in fields(BoardRecord))
NOTHING: Final[Mapping[str, Sequence[int]]] = {}
Item = TypeVar("Item")
_BATCH: Final = 500
"""Rows fetched at once."""


class LoggedColour(NamedTuple):
    """A board's colour in one photo."""

    row: int
    """Of the colour in the table."""
    photo: str
    """SHA-256 of the photo."""
    light: Light
    strip_number: int | None
    greys_key: str
    """How the greys of its strip were known, see `StoredMeasurement.greys_key`."""
    profile: Mapping[str, Any] | None
    """What was said of the camera profile it was measured with."""
    doubts: tuple[Doubt, ...]
    grain_deg: float | None
    """Angle of the grain to the strip."""
    version: str


class LoggedPair(NamedTuple):
    """A board and the floor side by side in one photo."""

    photo: str
    light: Light
    board_row: int
    floor_row: int
    floor_doubts: tuple[Doubt, ...]
    sampled: array[float] | None
    """The floor's sampled colours, number behind number; `floor_colours` gives them as colours."""
    delta_e00: DeltaE

    @property
    def floor_colours(self) -> Colours | None:
        """The floor's sampled colours; None where they were not kept."""
        flat = self.sampled
        return None if flat is None else tuple(zip(flat[::3], flat[1::3], flat[2::3], strict=True))


@dataclass(frozen=True, slots=True)
class LoggedBoard:
    """A board in short."""

    number: str
    """``"B3"``."""
    record: BoardRecord
    colours: tuple[LoggedColour, ...]
    """In the order they were logged; several in one light are repeats."""
    pairs: tuple[LoggedPair, ...]
    """Those that count: none of which it is in doubt whether the floor was beside the board."""
    doubted: tuple[Doubt, ...] = ()
    """Why the others are in doubt."""

    @property
    def lights(self) -> set[Light]:
        """The lights it was photographed in."""
        return {each.light for each in self.colours}


@dataclass(frozen=True, slots=True)
class BoardTable:
    """Every board, by number, and the colours that they and their pairs name."""

    boards: tuple[LoggedBoard, ...]
    colours: ColourTable


def _doubted(pair: LoggedPair) -> tuple[Doubt, ...]:
    return tuple(doubt for doubt in pair.floor_doubts if doubt.code == FLOOR_IN_DOUBT)


def _record(said: Sequence[Any]) -> BoardRecord:
    values = dict(zip(_FIELDS, said, strict=True))
    finish = values["finish"]
    return BoardRecord.from_dict(values | {"finish": None if finish is None else _finish(finish)})


@lru_cache(maxsize=256)  # boards of one recipe carry one text
def _finish(text: str) -> Finish:
    return Finish.from_dict(json.loads(text))


def read_board_table(session: Session, without: Mapping[str, Sequence[int]] = NOTHING) -> BoardTable:
    """Read all boards that were not removed, in three queries.

    Parameters
    ----------
    session
        The transaction.
    without
        Table -> keys of rows that are left out, since they cannot be read.

    Raises
    ------
    LogbookError
        ``"logbook-damaged"`` if a board or a colour cannot be read.
    """
    reader = _Reader(without)
    pairs, colours = reader.pairs(session), reader.colours(session)
    columns = [_text(BoardRow.finish) if name == "finish" else getattr(BoardRow, name) for name in _FIELDS]
    rows = select(BoardRow.number, *columns).where(BoardRow.removed.is_(None))
    rows = rows.where(BoardRow.number.not_in(without.get("boards", ()))).order_by(BoardRow.number)
    boards = tuple(
        LoggedBoard(
            f"B{key}",
            decoded(f"board B{key}", _record, said),
            tuple(colours.get(key, ())),
            tuple(pair for pair in pairs.get(key, ()) if not _doubted(pair)),
            tuple(doubt for pair in pairs.get(key, ()) for doubt in _doubted(pair)),
        )
        for key, *said in _rows(session, rows)
    )
    return BoardTable(boards, reader.table())


def read_sampled_colours(session: Session, boards: Sequence[int], light: Light) -> dict[int, Colours]:
    """Return the sampled colours of some boards in a light, each from the first photo of which they were kept."""
    result = _text(MeasurementRow.result)
    of_boards = select(MeasurementRow.board_number, result).where(MeasurementRow.board_number.in_(boards))
    found: dict[int, Colours] = {}
    for key, text in session.execute(of_boards.where(MeasurementRow.light == light).order_by(MeasurementRow.id)):
        colours = decoded(f"board B{key}", json.loads, text).get("colours")
        if colours is not None and key not in found:
            found[key] = tuple((c[0], c[1], c[2]) for c in colours)
    return found


def _text(column: Any) -> Any:  # noqa: ANN401 - a column of JSON, taken as it is stored
    return type_coerce(column, Text)


class _Seen(NamedTuple):
    """What the document of a board's colour says."""

    row: int
    doubts: tuple[Doubt, ...]
    grain_deg: float | None


class _Reader:
    """Gathers colours in one table; keeps what many rows share once."""

    def __init__(self, without: Mapping[str, Sequence[int]]) -> None:
        self._without = without
        self.known: dict[Any, Any] = {}
        """Texts, dates and numbers, each by itself: the first met of those that are equal."""
        self._builder = TableBuilder()
        self._owners = array("q")
        self._settings: dict[str, tuple[str, Mapping[str, Any] | None]] = {}
        self._doubts: dict[str, tuple[Doubt, ...]] = {"[]": ()}
        self._paired: dict[tuple[int, str], tuple[str, _Seen]] = {}
        """Board and photo of a pair -> the text of its board and what that says: mostly the photo's too."""

    def table(self) -> ColourTable:
        """Return the colours, held to what a colour must be."""
        table = self._builder.build()
        bad = table.unsound()
        if bad is not None:
            decoded(f"board B{self._owners[bad]}", table.estimate, bad)
            raise LogbookError("logbook-damaged", "A colour in the logbook cannot be read.", "Restore a backup.")
        return table

    def pairs(self, session: Session) -> dict[int, list[LoggedPair]]:
        """Read the direct pairs."""
        row = PairRow
        columns = (row.board_number, row.photo_sha256, row.light, _text(row.board_result), _text(row.floor_result))
        asked = select(*columns, row.de00_value, row.de00_low, row.de00_high)
        asked = asked.join(BoardRow, row.board_number == BoardRow.number)
        asked = asked.where(BoardRow.removed.is_(None), row.id.not_in(self._without.get("pairs", ())))
        return _by_board(self._pair, session, asked.order_by(row.id))

    def colours(self, session: Session) -> dict[int, list[LoggedColour]]:
        """Read what was measured of boards, after the pairs."""
        row = MeasurementRow
        columns = (row.board_number, _text(row.result), row.photo_sha256, row.light, row.strip_number)
        asked = select(*columns, _text(row.settings), row.version).join(BoardRow, row.board_number == BoardRow.number)
        asked = asked.where(BoardRow.removed.is_(None), row.id.not_in(self._without.get("measurements", ())))
        found = _by_board(self._photo, session, asked.order_by(row.id))
        self._paired.clear()
        return found

    def _pair(self, key: int, said: Sequence[Any]) -> LoggedPair:
        photo, light, board, floor, *off = said
        beside = json.loads(floor)
        seen = self._seen(key, json.loads(board))
        self._paired[key, photo] = board, seen
        rows = seen.row, self._colour(key, beside)
        colours = beside.get("colours")
        sampled = None if colours is None else array("d", chain.from_iterable(colours))
        lit = self.known.setdefault(light, light)
        return LoggedPair(photo, lit, *rows, self._doubts_of(beside), sampled, DeltaE(*off))

    def _photo(self, key: int, said: Sequence[Any]) -> LoggedColour:
        text, photo, light, strip, settings, version = said
        paired = self._paired.get((key, photo))
        seen = paired[1] if paired is not None and paired[0] == text else self._seen(key, json.loads(text))
        told = self._settings.get(settings)
        if told is None:
            whole = json.loads(settings)
            named = (whole.get("print") or {}).get("key", "nominal")
            told = self._settings[settings] = (str(named), whole.get("camera_profile"))
        once = self.known.setdefault
        return LoggedColour(
            seen.row, photo, once(light, light), strip, *told, seen.doubts, seen.grain_deg, once(version, version)
        )

    def _seen(self, key: int, result: Mapping[str, Any]) -> _Seen:
        texture = result.get("texture")
        grain = None if texture is None else texture["to_strip_deg"]
        return _Seen(self._colour(key, result), self._doubts_of(result), grain)

    def _colour(self, key: int, result: Mapping[str, Any]) -> int:
        self._owners.append(key)
        estimate = result["estimate"]
        shared = estimate["shared"]
        return self._builder.add(
            estimate["lab"],
            estimate["own_covariance"],
            [e["name"] for e in shared],
            [e["scope"] for e in shared],
            [e["vector"] for e in shared],
            wood=result["kind"] == "wood",
        )

    def _doubts_of(self, result: Mapping[str, Any]) -> tuple[Doubt, ...]:
        said = str(result["doubts"])
        if said not in self._doubts:
            self._doubts[said] = tuple(Doubt.from_dict(entry) for entry in result["doubts"])
        return self._doubts[said]


def _by_board(
    read: Callable[[int, Sequence[Any]], Item],
    session: Session,
    asked: Any,  # noqa: ANN401 - a query whose first column is the board's number
) -> dict[int, list[Item]]:
    found: dict[int, list[Item]] = defaultdict(list)
    for key, *said in _rows(session, asked):
        # told here and not by `decoded`, whose call for each row would be felt
        try:
            found[key].append(read(key, said))
        except DAMAGED as error:
            raise damaged(f"board B{key}", error) from error
    return found


def _rows(session: Session, asked: Any) -> Any:  # noqa: ANN401 - a query and its rows
    return session.execute(asked, execution_options={"yield_per": _BATCH})

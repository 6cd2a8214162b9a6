"""What the logbook gives back, all frozen, read in a fixed number of queries; what the history says, in words and JSON.

Floats go through as they are: JSON's shortest decimal form of a double reads back as the same double.
"""

from __future__ import annotations

import datetime as dt
import gc
import json
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any, Final, Generic, TypeVar, cast, get_args

from sqlalchemy import ColumnElement, Row, Text, func, select
from sqlalchemy import cast as cast_in_sql
from sqlalchemy.orm import Session

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.finish import Finish, finish_changes
from finishlab.imaging.strip import FIELD_NAMES, FieldName
from finishlab.logbook.tables import (
    DAMAGED,
    KINDS,
    ApprovalRow,
    BatchRow,
    BoardRow,
    ChangeRow,
    FloorSpotRow,
    MeasurementRow,
    NumberedRow,
    PairRow,
    RecipeRow,
    TrialRow,
    readable,
    record_in,
)
from finishlab.measure.results import FieldMeasurement, Measurement, Spread, StripReading, SurfaceKind, Texture
from finishlab.quality import Doubt
from finishlab.recipe import Can, Label, Recipe, Standard
from finishlab.record import Light, Number, Record, counted
from finishlab.stair.records import PartSizes, size_facts
from finishlab.strip import TrialRecord
from finishlab.units import left_text

R = TypeVar("R", bound=Record)

FLOOR_IN_DOUBT: Final = "floor-in-doubt"
"""Doubt of what lay beside a board that it may not be the floor: the pair counts only once that is confirmed."""


@dataclass(frozen=True, slots=True)
class DirectPair:
    """Board and floor side by side in one photo, as it comes from measuring."""

    photo_id: str
    """`Measurement.photo_id` of the photo."""
    board: FieldMeasurement
    floor: FieldMeasurement
    delta_e00: DeltaE
    """CIEDE2000 from floor to board."""

    @classmethod
    def of(cls, measurement: Measurement) -> DirectPair | None:
        """Return the pair a measurement holds, or None if it has only one field."""
        board, floor = measurement.fields.get("board"), measurement.fields.get("floor")
        if board is None or floor is None or measurement.pair is None:
            return None
        return cls(measurement.photo_id, board, floor, measurement.pair)


@dataclass(frozen=True, slots=True)
class StoredMeasurement:
    """A logged colour, with what is needed to trace it to its photo and make it again.

    Where the strip lay and what the fit came to stand in its row alone, since nothing that is shown asks for them.
    """

    photo: str
    """SHA-256 of the photo."""
    field: FieldMeasurement
    light: Light
    strip_number: int | None
    version: str
    """finishlab's version when it was measured."""
    settings: Mapping[str, Any]
    created: dt.datetime
    """UTC."""

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """What makes the colour doubtful."""
        return self.field.doubts

    @property
    def grain_deg(self) -> float | None:
        """Angle of the grain to the strip."""
        return None if self.field.texture is None else self.field.texture.to_strip_deg

    @property
    def greys_key(self) -> str:
        """How the greys of its strip were known; what was measured before greys could be learned took the nominal."""
        return str((self.settings.get("print") or {}).get("key", "nominal"))

    @property
    def profile(self) -> Mapping[str, Any] | None:
        """What was said of the camera profile it was measured with."""
        return self.settings.get("camera_profile")


@dataclass(frozen=True, slots=True)
class StoredPair:
    """A logged direct pair."""

    photo: str
    """SHA-256 of the photo."""
    board: FieldMeasurement
    floor: FieldMeasurement
    delta_e00: DeltaE
    light: Light
    created: dt.datetime
    """UTC."""

    @property
    def in_doubt(self) -> bool:
        """Whether what lay beside the board may not be the floor, and nobody confirmed it."""
        return any(doubt.code == FLOOR_IN_DOUBT for doubt in self.floor.doubts)


@dataclass(frozen=True, slots=True)
class StoredBoard:
    """A logged test board."""

    number: Number
    """``"B1"``, ``"B2"`` ..."""
    record: BoardRecord
    measurements: tuple[StoredMeasurement, ...]
    """In the order they were logged; several in one light are repeats."""
    pairs: tuple[StoredPair, ...]
    created: dt.datetime
    """UTC."""

    @property
    def lights(self) -> set[Light]:
        """The lights it was photographed in."""
        return {each.light for each in self.measurements}

    @property
    def sure_pairs(self) -> tuple[StoredPair, ...]:
        """The pairs that count: none of which it is in doubt whether the floor was beside the board."""
        return tuple(pair for pair in self.pairs if not pair.in_doubt)

    @property
    def doubted(self) -> tuple[Doubt, ...]:
        """Why the other pairs are in doubt."""
        return tuple(found for pair in self.pairs for found in pair.floor.doubts if found.code == FLOOR_IN_DOUBT)


@dataclass(frozen=True, slots=True)
class StoredSpot:
    """A logged place of the floor."""

    number: Number
    """``"F1"``, ``"F2"`` ..."""
    record: FloorSpotRecord
    measurements: tuple[StoredMeasurement, ...]
    created: dt.datetime
    """UTC."""


@dataclass(frozen=True, slots=True)
class Stored(Generic[R]):
    """A logged recipe, can or trial at home."""

    number: Number
    """``"R1"``, ``"C2"``, ``"H3"`` ..."""
    record: R
    created: dt.datetime
    """UTC."""
    removed: dt.datetime | None = None


StoredRecipe = Stored[Recipe]
StoredCan = Stored[Can]
StoredTrial = Stored[TrialRecord]


@dataclass(frozen=True, slots=True)
class StoredStandard:
    """A standard, today's or one that was."""

    approval: Standard
    created: dt.datetime
    """UTC."""
    ended: dt.datetime | None
    """UTC; when another took its place. None for today's."""


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of the history."""

    made: dt.datetime
    """UTC."""
    who: str
    what: str
    """``"add"``, ``"edit"``, ``"remove"``, ``"undo"``, ``"redo"``; of boards and spots ``"add-photos"``,
    ``"remeasure"``; of parts ``"log"``, ``"edit-event"``, ``"remove-event"``; of a strip ``"learn"``, ``"forget"``; of
    the standard ``"approve"``."""
    before: Mapping[str, Any] | None
    after: Mapping[str, Any] | None
    subject: str = ""
    """``"B3"``, ``"F3"``, ``"R3"``, ``"C3"``, ``"H3"``, ``"strip 0412"``, ``"standard"`` ..."""
    number: int = 0
    """Place in the whole history."""


_SURFACES: Final = get_args(SurfaceKind)


def field_from_dict(data: Mapping[str, Any]) -> FieldMeasurement:
    """Rebuild a field's measurement from its stored form, which `plain` gives.

    Raises
    ------
    KeyError, TypeError, ValueError
        If `data` is none.
    """
    if data["name"] not in FIELD_NAMES:
        raise ValueError(f"unknown field {data['name']!r}")
    if data["kind"] not in _SURFACES:
        raise ValueError(f"unknown kind of surface {data['kind']!r}")
    spread = data["spread"]
    # Measurements of before they were taken have no texture and no colours.
    texture, colours = data.get("texture"), data.get("colours")
    return FieldMeasurement(
        name=cast("FieldName", data["name"]),
        kind=cast("SurfaceKind", data["kind"]),
        estimate=LabEstimate.from_dict(data["estimate"], wood=data["kind"] == "wood"),
        spread=Spread(spread["L10"], spread["L90"], tuple(map(tuple, spread["covariance"]))),
        used_share=data["used_share"],
        glare_share=data["glare_share"],
        left_out=dict(data["left_out"]),
        doubts=tuple(map(Doubt.from_dict, data["doubts"])),
        texture=None if texture is None else Texture(**texture),
        colours=None if colours is None else tuple(map(tuple, colours)),
    )


def strip_from_dict(data: Mapping[str, Any]) -> StripReading:
    """Rebuild a strip reading from its stored form.

    Raises
    ------
    KeyError, TypeError
        If `data` is none.
    """
    return StripReading(**{**data, "corners": tuple(tuple(corner) for corner in data["corners"])})


Numbered = TypeVar("Numbered", RecipeRow, BatchRow, TrialRow)
Which = int | range | None
"""Which numbers are read: one, which must be readable, those of a range, or all."""
_Colours = tuple[Any, Sequence[Any], Callable[[Row[Any]], Any]]
"""The column that says whose a colour is, the columns it is read from, and what reads them."""
_AT_ONCE: Final = {"yield_per": 500}
"""Rows held at once, of which only what they say is kept."""
_M: Final = MeasurementRow.__table__.c
_P: Final = PairRow.__table__.c
_MEASURED: Final = (
    *(_M.photo_sha256, _M.result, _M.light, _M.strip_number, _M.version, _M.created),
    cast_in_sql(_M.settings, Text).label("settings"),  # its text, for `_settings`
)


def _numbered(
    session: Session,
    table: type[NumberedRow],
    record: type[R],
    which: Which,
    colours: Sequence[_Colours] = (),
    *,
    light: Light | None = None,
    removed: bool = False,
) -> Iterator[tuple[Any, Number, R, list[Any]]]:
    """Yield numbered things: the row, the number, the record, and its colours, a tuple of each kind of `colours`.

    Unless `removed`, those that were not; with a `light`, those with a colour in it, and only such colours. Rows
    are plain ones: mapped ones take twice as long.
    """
    kind, column = KINDS[table], table.__table__.c
    wanted: list[ColumnElement[bool]] = [] if removed else [column.removed.is_(None)]
    if which is not None:
        ends = (which[0], which[-1]) if isinstance(which, range) else (which, which)
        wanted.append(column.number.between(*ends))
    told = partial(readable, lambda row: f"{kind.words} {kind.letter}{row[0]}", strict=isinstance(which, int))
    session.flush()  # plain rows are not looked for among what waits to be written
    measured: list[dict[int, list[Any]]] = []
    for owner, columns, read in colours:
        asked = select(owner, *columns).join(table.__table__, owner == column.number).order_by(owner.table.c.id)
        lit = [] if light is None else [owner.table.c.light == light]
        measured.append(defaultdict(list))
        for row, said in told(read, session.execute(asked.where(*wanted, *lit), execution_options=_AT_ONCE)):
            measured[-1][row[0]].append(said)
    asked = select(*column).where(*wanted).order_by(column.number)
    for row, said in told(partial(record_in, record), session.execute(asked, execution_options=_AT_ONCE)):
        found = [tuple(each[row[0]]) for each in measured]
        if light is None or found[0]:
            yield row, Number.of(kind.letter, row[0]), said, found


def read_numbered(
    session: Session,
    table: type[Numbered],
    record: type[R],
    *,
    number: int | None = None,
    removed: bool = False,
) -> list[Stored[R]]:
    """Read the recipes, cans or trials that were not removed, or with `removed` all: every one, or one."""
    found = _numbered(session, table, record, number, removed=removed)
    return [Stored(name, said, row.created, row.removed) for row, name, said, _ in found]


def read_approvals(session: Session) -> list[StoredStandard]:
    """Read every standard there was, first to last."""
    rows = session.scalars(select(ApprovalRow).order_by(ApprovalRow.id))
    read = readable(lambda _: "the standard", partial(record_in, Standard), rows)
    return [StoredStandard(said, row.created, row.ended) for row, said in read]


def read_boards(session: Session, *, number: Which = None, light: Light | None = None) -> list[StoredBoard]:
    """Read the boards that were not removed; in three queries.

    With a `light`, only what was measured in it is given, and only boards of which there is something.
    """
    of_board = ((_M.board_number, _MEASURED, _measurement), (_P.board_number, tuple(_P), _pair))
    found = _numbered(session, BoardRow, BoardRecord, number, of_board, light=light)
    return [StoredBoard(name, said, seen, pairs, row.created) for row, name, said, (seen, pairs) in found]


def read_spots(session: Session, *, number: int | None = None, light: Light | None = None) -> list[StoredSpot]:
    """Read the floor spots that were not removed; in two queries. `light` as in `read_boards`."""
    of_spot = ((_M.spot_number, _MEASURED, _measurement),)
    found = _numbered(session, FloorSpotRow, FloorSpotRecord, number, of_spot, light=light)
    return [StoredSpot(name, said, seen, row.created) for row, name, said, (seen,) in found]


def read_part_measurements(session: Session, ident: int) -> tuple[StoredMeasurement, ...]:
    """Read all that was measured of a part of the stair."""
    mine = select(*_MEASURED).where(_M.part_id == ident).order_by(_M.created, _M.id)
    return tuple(said for _, said in readable(lambda _: "the stair", _measurement, session.execute(mine)))


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


def _measurement(row: Row[Any]) -> StoredMeasurement:
    return StoredMeasurement(
        photo=row.photo_sha256,
        field=field_from_dict(row.result),
        light=row.light,
        strip_number=row.strip_number,
        version=row.version,
        settings=_settings(row.settings),
        created=row.created,
    )


@lru_cache(maxsize=256)  # thousands of photos are measured in a few ways
def _settings(text: str) -> Mapping[str, Any]:
    said: Mapping[str, Any] = json.loads(text)
    if not all(isinstance(said.get(name) or {}, Mapping) for name in ("print", "camera_profile")):
        raise TypeError("how it was measured is of another kind")
    return said


def _pair(row: Row[Any]) -> StoredPair:
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


_CALLED: Final = {
    "recipe_number": ("recipe", "R"),
    "batch_number": ("can", "C"),
    "size_l": ("size", ""),
    "left_l": ("left", ""),
}
"""Stored field -> what people call it, and what stands before its number."""
_VOLUMES: Final = ("size_l", "left_l")
"""Fields in litres."""
_TOLD: Final = {
    "add": "logged",
    "add-photos": "photos added",
    "approve": "approved",
    "check": "checked, and what could not be read moved aside,",
    "edit-event": "event changed",
    "remove-event": "event taken back",
    "edit": "changed",
    "forget": "greys forgotten",
    "learn": "greys learned",
    "log": "logged",
    "remeasure": "measured again",
    "import": "taken in",
    "remove": "removed",
    "take-photos": "photos taken out",
    "redo": "brought back",
    "undo": "taken back",
}
_TOLD_OF_CAMERA: Final = {"forget": "profile forgotten", "learn": "profile learned"}


def change_line(change: Change) -> str:
    """Return a change of the history in one line."""
    line = f"{change.made.astimezone():%Y-%m-%d %H:%M} {_told(change, change.what)} by {change.who}"
    try:
        return line + _details_of(change)
    except DAMAGED:  # what one entry says takes the others not along
        return f"{line}: what it says cannot be read"


def _details_of(change: Change) -> str:
    before, after = change.before or {}, change.after or {}
    kind, line = change.what, ""
    if kind in {"undo", "redo"}:
        undone = after.get("undone") or {}
        line = f", “{_told(change, undone.get('what', ''))}”"
        kind = str(undone.get("as"))
    details = _of_kind(kind, before, after)
    return f"{line}: {details}" if details else line


def _told(change: Change, what: str) -> str:
    camera = change.subject.startswith("camera ") and what in _TOLD_OF_CAMERA
    return _TOLD_OF_CAMERA[what] if camera else _TOLD.get(what, what)


def _of_kind(kind: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    """Return what a kind of change says beyond its name."""
    if kind in {"edit", "edit-event"}:
        return _details(before, after)
    if kind == "approve":
        return _approved(after)
    if kind == "import":
        return _taken_in(after)
    if kind in {"log", "remove-event"}:
        return _event(after if kind == "log" else before)
    return _photos(after)


def _approved(standard: Mapping[str, Any]) -> str:
    if not standard.get("recipe_number"):
        return "no standard"
    board = f" on board B{standard['board_number']}" if standard.get("board_number") else ""
    reason = f", {standard['reason']}" if standard.get("reason") else ""
    return f"R{standard['recipe_number']}{board}{reason}"


def _taken_in(said: Mapping[str, Any]) -> str:
    if "number_in_archive" in said:
        return f"{said['number_in_archive']} of an archive"
    if "not_taken" in said:
        return "it was changed in the archive too; what was here stayed"
    return "an archive"


def _event(said: Mapping[str, Any]) -> str:
    coat = f"{said.get('step')} {said.get('coat')}" if said.get("kind") == "coat" else said.get("kind")
    can = f" from C{said['batch_number']}" if said.get("batch_number") else ""
    photos = _photos(said)
    return f"{coat}{can} on {said.get('date')}{f', {photos}' if photos else ''}"


def change_entry(change: Change) -> dict[str, Any]:
    """Return a change of the history for a JSON document."""
    return {
        "made": change.made.isoformat(),
        "who": change.who,
        "what": change.what,
        "before": None if change.before is None else dict(change.before),
        "after": None if change.after is None else dict(change.after),
    }


def _details(before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    changed = [name for name in before if name in after and before[name] != after[name]]
    told = [line for name in changed if name != "finish" for line in _field(name, before[name], after[name])]
    if "finish" in changed:
        # Stored as it was checked then; it is read, not judged again.
        one, two = (Finish.from_dict(each["finish"] or {}) for each in (before, after))
        told += finish_changes(one, two)
    return "; ".join(told)


def _field(name: str, before: Any, after: Any) -> list[str]:  # noqa: ANN401 - each field has its own type
    """Return what became of a field, in the words people type; of one with fields of its own, each that moved."""
    if isinstance(before, Mapping) or isinstance(after, Mapping):
        one, two = _words_of(name, before or {}), _words_of(name, after or {})
        return [
            f"{name}, {called} {_shown(one.get(called))} -> {_shown(two.get(called))}"
            for called in dict.fromkeys((*one, *two))
            if one.get(called) != two.get(called)
        ]
    called, prefix = _CALLED.get(name, (name.replace("_", " "), ""))
    if name in _VOLUMES:
        before, after = left_text(before, None), left_text(after, None)
    shown = (_shown(f"{prefix}{value}" if prefix and value is not None else value) for value in (before, after))
    return [f"{called} {' -> '.join(shown)}"]


def _words_of(name: str, said: Mapping[str, Any]) -> dict[str, str]:
    """Return what a field of fields says, in the words and units people typed."""
    if name == "label":
        label = Label.from_dict(said)
        return {each.label: words for each, words, _ in label.written()}
    if name == "sizes":
        return size_facts(PartSizes.from_dict(said))
    return {key.replace("_", " "): str(value) for key, value in said.items()}


def _photos(after: Mapping[str, Any]) -> str:
    count = len(after.get("photos") or ())
    light = after.get("light")
    told = counted(count, "photo") if count else ""
    return f"{told} in {light}" if told and light else told


def _shown(value: object) -> str:
    return "none" if value is None else f"“{value}”"

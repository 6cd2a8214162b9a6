"""The history of everything in a logbook; taking changes back, and bringing them back again.

Each time that is a new change, so that nothing is lost: an entry ``undo`` or ``redo`` has images of its own, and says
in ``after["undone"]`` which change it is about, of which kind that was, and as which kind it counts itself. All entries
of one write bear one moment and are taken back together, the last first. What was taken back is passed over by the next
``undo``, so that one goes back step by step; ``redo`` goes forward again until something new is done.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from finishlab.errors import LogbookError
from finishlab.logbook import writing as rows
from finishlab.logbook.database import Transactions
from finishlab.logbook.entities import STANDARD, cans_of, check_named, check_recipe_name, check_unused, find, table_of
from finishlab.logbook.stored import Change, change_of, read_history
from finishlab.logbook.tables import (
    AnyRow,
    BoardRow,
    ChangeRow,
    FlightRow,
    FloorSpotRow,
    ImageRow,
    LastingRow,
    MeasurementRow,
    PartEventRow,
    PartRow,
    RecipeRow,
    batches,
    plain_value,
    read_record,
    row_values,
    subject_name,
)
from finishlab.logbook.writing import LASTING, now
from finishlab.stair.names import level_code, level_title, parse_level
from finishlab.stair.store import check_events, noted, part_code, part_name, stair_levels

_PART: Final = re.compile(r"[A-Z]{1,3}[0-9]{1,4}[LR]?", re.IGNORECASE)
_STRIP: Final = re.compile(r"s(?:trip)?\s*0*([0-9]{1,9})", re.IGNORECASE)


def subject_of(session: Session, text: str) -> str:
    """Return the name of a subject as the history has it.

    Raises
    ------
    LogbookError
        As `HistoryStore.history`.
    """
    name = " ".join(text.split())
    table = table_of(name)
    if table is not None:
        return subject_name(find(session, table, name, removed=True))
    strip = _STRIP.fullmatch(name)
    if strip is not None:
        name = f"strip {int(strip[1]):04d}"
    subjects = select(ChangeRow.subject).distinct()
    found = session.scalars(subjects.where(func.lower(ChangeRow.subject) == name.lower())).first()
    if found is not None or name.lower() == STANDARD:
        return found or STANDARD
    if _PART.fullmatch(name):
        flights = session.scalars(subjects.where(ChangeRow.subject.like(f"%.{name.upper()}")).limit(3)).all()
        if len(flights) == 1:
            return flights[0]
        if flights:
            raise LogbookError(
                "which-flight", f"Several flights have a part {name.upper()}.", f"Name one, such as {flights[0]}."
            )
    raise LogbookError(
        "unknown-subject",
        f"The history has nothing of “{name}”.",
        "Name a board (B1), a floor spot (F1), a recipe (R1), a can (C1), a trial (H1), a part of the stair (1.T7), "
        "a strip (strip 412) or the standard.",
    )


Step = Literal["undo", "redo"]
STEPS: Final = frozenset({"undo", "redo"})
UNDONE: Final = "undone"
"""Key under which an entry ``undo`` or ``redo`` says which change it is about."""
_IMPORT: Final = "import"
_CHECK: Final = "check"
"""Entry that says what was moved aside since it could not be read; nothing of it can be put back."""


_LEVELS: Final = frozenset({"flight", "landing"})
"""First words of the names of what has parts."""


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """What the search must know of an entry."""

    number: int
    made: dt.datetime
    what: str
    subject: str
    root: int
    """The change it is about: its own number, or for an ``undo`` or ``redo`` that of the change."""
    void: bool
    """Whether it is a change of an archive that was not taken, since the logbook's own was kept."""


def entries_to_undo(session: Session, subject: str | None) -> list[HistoryEntry]:
    """Return the changes of the last write that were not taken back, the last first.

    Parameters
    ----------
    session
        The transaction.
    subject
        As the history names it: only its own entries of the write, a flight's with those of its parts. None for all.

    Raises
    ------
    LogbookError
        ``"nothing-to-undo"``.
    """
    entries = _read(session)
    taken = {key for key, last in _last_steps(entries).items() if last.what == "undo"}
    # What an import says of one thing is no step of its history; what it did to the whole logbook is.
    passed = {*STEPS, _CHECK} if subject is None else {*STEPS, _CHECK, _IMPORT}
    live = [
        each
        for each in entries
        if each.what not in passed and not each.void and (each.number, each.subject) not in taken
    ]
    last = next((each for each in reversed(live) if subject in {None, each.subject}), None)
    if last is None:
        of = "" if subject is None else f" of {subject}"
        raise LogbookError("nothing-to-undo", f"There is no change{of} to undo.", "Look at: finishlab history")
    return _same_write(live, last, subject)


def entries_to_redo(session: Session, subject: str | None) -> list[HistoryEntry]:
    """Return the entries ``undo`` of the last write that took something back and were not followed by a new change.

    Raises
    ------
    LogbookError
        ``"nothing-to-redo"``.
    """
    entries = _read(session)
    live = [each for each in _last_steps(entries).values() if each.what == "undo"]
    live.sort(key=lambda each: each.number)
    last = next((each for each in reversed(live) if subject in {None, each.subject}), None)
    newest = next((e for e in reversed(entries) if e.what not in STEPS and subject in {None, e.subject}), None)
    if last is None or (newest is not None and newest.number > last.number):
        of = "" if subject is None else f" of {subject}"
        why = "Nothing was taken back" if last is None else "Something new was done since the last undo"
        raise LogbookError("nothing-to-redo", f"{why}{of}.", "Look at: finishlab history")
    return _same_write(live, last, subject)


def _read(session: Session) -> list[HistoryEntry]:
    rows = session.execute(
        select(ChangeRow.id, ChangeRow.made, ChangeRow.what, ChangeRow.subject).order_by(ChangeRow.id)
    )
    asked = select(ChangeRow.id, ChangeRow.after).where(ChangeRow.what.in_((*STEPS, _IMPORT)))
    roots: dict[int, int] = {}
    void: set[int] = set()
    for number, after in session.execute(asked):
        roots[number] = ((after or {}).get(UNDONE) or {}).get("entry", number)
        void.update((after or {}).get("entries") or ())
    return [
        HistoryEntry(number, made, what, subject, roots.get(number, number), number in void)
        for number, made, what, subject in rows
    ]


def _last_steps(entries: Iterable[HistoryEntry]) -> dict[tuple[int, str], HistoryEntry]:
    """Return, for each change and subject it was taken back or brought back of, the last entry that did."""
    return {(each.root, each.subject): each for each in entries if each.what in STEPS}


def _same_write(entries: Sequence[HistoryEntry], last: HistoryEntry, subject: str | None) -> list[HistoryEntry]:
    """Return the entries of one write, the last first; of a subject its own, of a flight those of its parts too."""
    mine = [each for each in reversed(entries) if each.made == last.made]
    if subject is None:
        return mine
    has_parts = subject.partition(" ")[0] in _LEVELS
    within = (f"{level_code(parse_level(subject))}.",) if has_parts else ()
    return [each for each in mine if each.subject == subject or each.subject.startswith(within)]


def is_shown(row: LastingRow) -> bool:
    """Return whether a row holds: not if it was removed, or ended when another took its place."""
    return getattr(row, "removed", None) is None and getattr(row, "ended", None) is None


def record_of(row: LastingRow) -> Any:  # noqa: ANN401 - a record of any kind
    """Return what a numbered row says that is shown; None of others."""
    return read_record(row) if isinstance(row, AnyRow) and is_shown(row) else None


def check_put_back(session: Session, put_back: Sequence[tuple[LastingRow, Any]]) -> None:
    """Check rows as they stand now, many of a kind at once.

    Parameters
    ----------
    session, put_back
        The rows, in their transaction, each with what `record_of` said of it before.

    Raises
    ------
    LogbookError
        ``"photo-logged-twice"``, ``"recipe-in-use"``, ``"recipe-name-taken"``, ``"unknown-recipe"``, ``"unknown-can"``,
        ``"unknown-flight"``, ``"unknown-part"``, ``"part-there"``, ``"coat-logged-twice"``.
    """
    for row, _ in put_back:
        if isinstance(row, RecipeRow) and not is_shown(row):
            check_unused(session, row)
    shown = [(row, before) for row, before in put_back if is_shown(row)]
    _check_named(session, [(row, before) for row, before in shown if isinstance(row, AnyRow)])
    for subject, (column, *_) in rows.MEASURED.items():
        back = {getattr(row, column) for row, _ in shown if isinstance(row, MeasurementRow)} - {None}
        kind = {"board": BoardRow, "spot": FloorSpotRow}.get(subject, ())  # these come back with their photos
        back |= {row.number for row, before in shown if isinstance(row, kind) and before is None}
        rows.refuse_elsewhere(session, subject, sorted(back))
    _check_parts(session, [row for row, _ in shown if isinstance(row, PartRow)])
    _check_events(session, [row for row, _ in shown if isinstance(row, PartEventRow)])


def _check_named(session: Session, put_back: Iterable[tuple[AnyRow, Any]]) -> None:
    """See that recipes and cans that came to be named are there, and that names of recipes are free."""
    named = {}
    for row, before in put_back:
        if isinstance(row, RecipeRow):
            check_recipe_name(session, row.name, row.number)
        record = read_record(row)
        named[getattr(record, "recipe_number", None), cans_of(record), before is None] = record, before
    for record, before in named.values():
        check_named(session, record, before)


def _check_parts(session: Session, back: Sequence[PartRow]) -> None:
    """See that the parts' flights are there, and no other part is called as one of them."""
    if not back:
        return
    named = stair_levels(session)
    gone = set(session.scalars(select(FlightRow.number).where(FlightRow.removed.is_not(None))))
    for row in back:
        if row.flight_number in gone:
            level = level_title(named[row.flight_number])
            raise LogbookError(
                "unknown-flight",
                f"The {level} of this part was removed.",
                f'Bring that back first: finishlab undo "{level}"',
            )
    shown = session.scalars(select(PartRow).where(PartRow.removed.is_(None)))
    met = Counter(part_name(row, named) for row in shown)
    for name in (part_name(row, named) for row in back):
        if met[name] > 1:
            raise LogbookError(
                "part-there", f"The stair has another part {name.words(with_level=True)} now.", "Remove that first."
            )


def _check_events(session: Session, back: Sequence[PartEventRow]) -> None:
    """See that what was done was done to parts that are there, each coat once."""
    for some in batches({row.part_id for row in back}):
        gone = session.scalars(select(PartRow).where(PartRow.id.in_(some), PartRow.removed.is_not(None))).first()
        if gone is not None:
            level = level_title(stair_levels(session)[gone.flight_number])
            raise LogbookError(
                "unknown-part",
                f"{part_code(session, gone.id)} was removed.",
                f'Bring it back first, or its flight: finishlab redo "{level}"',
            )
    check_events(session, back)


_HIDING: Final = frozenset({"boards", "floor_spots"})
"""Tables whose rows, hidden, hide what was measured of them."""


class PuttingBack:
    """The images of some entries of the history, and the rows they are about, in a few queries however many."""

    def __init__(self, session: Session, changes: Sequence[int]) -> None:
        self._session = session
        self._images: dict[int, list[ImageRow]] = defaultdict(list)
        self._rows: dict[tuple[str, str], LastingRow] = {}
        self._before: dict[tuple[str, str], tuple[LastingRow, Any]] = {}
        wanted: dict[str, set[str]] = defaultdict(set)
        for some in batches(changes):
            asked = select(ImageRow).where(ImageRow.change_id.in_(some)).order_by(ImageRow.id.desc())
            for image in session.scalars(asked):
                self._images[image.change_id].append(image)
                wanted[image.table_name].add(image.row_uuid)
        for table, names in wanted.items():
            for some_names in batches(sorted(names)):
                of = LASTING[table]
                for row in session.scalars(select(of).where(of.uuid.in_(some_names))):
                    self._rows[table, row.uuid] = row

    def known(self, change: int) -> Literal["values", "nothing", "no values"]:
        """Return what the logbook has of a change: values of rows, no row, or only that rows were changed."""
        images = self._images[change]
        kept = all(image.before is not None or image.after is not None for image in images)
        return "no values" if not kept else "values" if images else "nothing"

    def put_back(self, change: int, subject: str) -> None:
        """Give the rows of a change what they held before, the last changed first.

        Raises
        ------
        LogbookError
            ``"cannot-undo"`` if one does not stand as the change left it.
        """
        images = self._images[change]
        # With a board that was added its measurements are hidden too, and stay.
        hidden = {each.row_uuid for each in images if each.before is None and each.table_name in _HIDING}
        for image in images:
            if image.before is None and image.thing in hidden and image.row_uuid != image.thing:
                continue
            row = self._row(image, subject)
            self._before.setdefault((image.table_name, image.row_uuid), (row, record_of(row)))
            if image.after is None:
                self._session.add(row)
            elif image.before is None:
                _hide(self._session, row)
            else:
                _restore(row, image, subject)
        self._session.flush()

    def rows(self) -> Iterable[LastingRow]:
        """Return the rows that were put back so far."""
        return [row for row, _ in self._before.values()]

    def check(self) -> None:
        """Check the rows as they stand now; errors as in `finishlab.logbook.history.check_put_back`."""
        check_put_back(self._session, [each for each in self._before.values() if each[0] in self._session])

    def _row(self, image: ImageRow, subject: str) -> LastingRow:
        key = image.table_name, image.row_uuid
        row = self._rows.get(key)
        if (row is None) != (image.after is None):
            raise _in_the_way(subject)
        if row is None:
            of = LASTING[image.table_name]
            values = row_values(of.metadata.tables[image.table_name], image.before or {})
            row = self._rows[key] = of(uuid=image.row_uuid, **values)
        return row


def _hide(session: Session, row: LastingRow) -> None:
    """Show a row no longer; what has no moment of its removal is taken out."""
    column = next((name for name in ("removed", "ended") if hasattr(row, name)), None)
    if column is None:
        session.delete(row)
    elif getattr(row, column) is None:
        setattr(row, column, now())


def _restore(row: LastingRow, image: ImageRow, subject: str) -> None:
    left, before = image.after or {}, image.before or {}
    if any(plain_value(getattr(row, name)) != value for name, value in left.items()):
        raise _in_the_way(subject)
    for name, value in row_values(row.metadata.tables[image.table_name], before).items():
        setattr(row, name, value)


def _in_the_way(subject: str) -> LogbookError:
    return LogbookError(
        "cannot-undo",
        f"Something since stands in the way: {subject} is not as that change left it.",
        f"Change it with its own command; see: finishlab history {subject}",
    )


_BACK: Final[Mapping[str, str]] = {
    "add": "remove",
    "remove": "add",
    "add-photos": "take-photos",
    "take-photos": "add-photos",
    "log": "remove-event",
    "remove-event": "log",
    "learn": "forget",
    "forget": "learn",
}
"""Kind of a change -> the kind it counts as when it is taken back, where that is another."""


@dataclass(frozen=True, slots=True)
class Undone:
    """A change that was taken back, or brought back."""

    subject: str
    change: Change
    """The change."""
    entry: Change
    """The entry of the history that did it."""


def _take_back(session: Session, entries: Sequence[HistoryEntry], step: Step, who: str) -> tuple[Undone, ...]:
    changes = _changes(session, {number for each in entries for number in (each.number, each.root)})
    images = PuttingBack(session, [each.number for each in entries])
    done = []
    for each in entries:
        change, root = changes[each.number], changes[each.root]
        _refuse_what_has_no_way(change, root, images.known(each.number))
        images.put_back(each.number, change.subject)
        before, after = _said(change)
        mark = {"entry": root.number, "what": root.what, "as": _BACK.get(_kind(change), _kind(change))}
        row = rows.note_change(session, who, step, change.subject, before=before, after={**after, UNDONE: mark})
        done.append((change.subject, root, row))
        _hide_parts(session, images, row, mark)
    session.flush()
    images.check()
    return tuple(Undone(subject, root, change_of(row)) for subject, root, row in done)


def _changes(session: Session, numbers: set[int]) -> dict[int, Change]:
    found: dict[int, Change] = {}
    for some in batches(numbers):
        asked = session.scalars(select(ChangeRow).where(ChangeRow.id.in_(some)))
        found |= {row.id: change_of(row) for row in asked}
    return found


def _refuse_what_has_no_way(change: Change, root: Change, known: str) -> None:
    if root.what == "import":
        raise LogbookError(
            "cannot-undo",
            "The last change took in an archive; undo does not step back over that.",
            "Name what to take back, such as: finishlab undo B3",
        )
    # A step that found nothing left to do is gone over again; of any other change the rows must be known.
    if known == "no values" or (known == "nothing" and change.what not in STEPS):
        raise LogbookError(
            "cannot-undo",
            f"The last change, “{root.what}” of {change.subject}, was made before finishlab kept what undo puts back.",
            "Change it with its own command; its history stays.",
        )


def _kind(change: Change) -> str:
    """Return the kind a change counts as; an ``undo`` says so itself."""
    return str((change.after or {}).get(UNDONE, {}).get("as", "")) if change.what in STEPS else change.what


def _said(change: Change) -> tuple[dict[str, Any] | None, dict[str, Any]]:
    """Return what the history says of a change taken back, before and after: the change's own, the other way round."""
    before, after = dict(change.before or {}), dict(change.after or {})
    after.pop(UNDONE, None)
    # Measured again and back, the photos are the same.
    return (None, after) if _kind(change) == "remeasure" else (after or None, before)


def _hide_parts(session: Session, images: PuttingBack, change: ChangeRow, mark: Mapping[str, Any]) -> None:
    """Let a flight that goes take along the parts it got since; each is noted."""
    gone = [row.number for row in images.rows() if isinstance(row, FlightRow) and row.removed is not None]
    if not gone or change.subject.partition(" ")[0] not in _LEVELS:
        return
    named = stair_levels(session)
    for part in session.scalars(select(PartRow).where(PartRow.flight_number.in_(gone), PartRow.removed.is_(None))):
        part.removed = rows.now()
        said = {UNDONE: {**mark, "as": "remove"}}
        code = part_name(part, named).code
        rows.note_change(session, change.who, change.what, code, before=noted(part), after=said)


class HistoryStore(Transactions):
    """The part of a logbook that tells its history, goes back in it and forward again."""

    def history(self, subject: str | None = None, *, last: int | None = None) -> tuple[Change, ...]:
        """Return what was done, first to last, also to what is removed.

        Parameters
        ----------
        subject
            ``"B3"``, ``"F2"``, ``"R1"``, ``"C2"``, ``"1.T7"`` (``"T7"`` where only one flight has it),
            ``"strip 412"``, ``"standard"``, or another name the history has; without it the whole logbook's history.
        last
            Only what so many of the newest commands did.

        Raises
        ------
        LogbookError
            ``"unknown-board"``, ``"unknown-spot"``, ``"unknown-recipe"``, ``"unknown-can"``, ``"unknown-subject"``,
            ``"which-flight"``.
        """
        with self._read() as session:
            named = None if subject is None else subject_of(session, subject)
            return read_history(session, named, last=last)

    def is_empty(self) -> bool:
        """Return whether nothing was ever logged, learned or taken in."""
        with self._read() as session:
            return session.scalars(select(ChangeRow.id).limit(1)).first() is None

    def undo(self, subject: str | None = None) -> tuple[Undone, ...]:
        """Take back what the last write changed, of a subject or of the whole logbook; the next goes a step further.

        Returns
        -------
        tuple
            What was taken back, the last change first.

        Raises
        ------
        LogbookError
            ``"nothing-to-undo"``; ``"cannot-undo"`` if the last change was an import, or made by a finishlab that kept
            no images, or if a row is not as it left it; ``"photo-logged-twice"``, ``"recipe-in-use"``,
            ``"unknown-recipe"`` ... if something since stands in the way. Nothing is changed then.
        """
        return self._step(subject, entries_to_undo, "undo")

    def redo(self, subject: str | None = None) -> tuple[Undone, ...]:
        """Bring back what the last `undo` took back, while nothing new was done since; the next goes a step further.

        Raises
        ------
        LogbookError
            ``"nothing-to-redo"``, and what `undo` raises.
        """
        return self._step(subject, entries_to_redo, "redo")

    def _step(
        self, subject: str | None, entries: Callable[[Session, str | None], list[HistoryEntry]], step: Step
    ) -> tuple[Undone, ...]:
        with self._write() as session:
            named = None if subject is None else subject_of(session, subject)
            return _take_back(session, entries(session, named), step, self._who)

"""What the commands of the stair have to say: each part as it stands, what is short of a coat, what was logged."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import TYPE_CHECKING, Any, Final

from finishlab.board.shown import colour_blocks, colour_document, photo_namer
from finishlab.logbook.stored import Change, change_line
from finishlab.record import DAYLIGHT, gathered
from finishlab.record import today as this_day
from finishlab.show.document import Block, Cell, Colour, Column, Document, Facts, Field, Line, Listed, Listing, Table
from finishlab.stair.names import PartName, listed
from finishlab.stair.progress import (
    Deviation,
    Progress,
    can_words,
    coats_words,
    deviations,
    layers,
    missing,
    passed_over,
    progress_of,
    recipe_of,
    state_words,
    wanted,
    window_closed,
)
from finishlab.stair.records import (
    COAT_STEPS,
    SIZE_NAMES,
    CoatStep,
    Flight,
    Part,
    PartSizes,
    StoredColour,
    StoredEvent,
    StoredPart,
    StoredStair,
    size_facts,
)
from finishlab.units import inches_text

if TYPE_CHECKING:
    from finishlab.logbook.store import Logbook


Lab = tuple[float, float, float]

_FEWEST: Final = 4
"""Parts of one kind and state that must be measured before one can stand apart."""
_LEAST: Final = 2.0
"""CIEDE2000 below which no part stands apart: wood varies as much within one surface. The tool's own."""
_TIMES: Final = 3.0
"""How many times the others' usual distance from their middle is far. The tool's own."""


@dataclass(frozen=True, slots=True)
class Coloured:
    """The colour of a part since its last coat."""

    lab: Lab
    light: str
    note: str = ""
    """What is odd about it."""


def colours_now(stair: StoredStair, progress: Mapping[int, Progress]) -> dict[int, Coloured]:
    """Return each part's colour as it is now: the mean of what was measured in one light since its last coat.

    Daylight where there is any, else the light measured last. Kinds of one state whose colour stands apart from the
    others measured in that light are told.
    """
    by_part = gathered(
        (colour.part, colour)
        for colour in stair.colours
        if progress[colour.part].order[colour.event] > progress[colour.part].coloured_after
    )
    found = {ident: _mean(colours) for ident, colours in by_part.items()}
    if len(found) >= _FEWEST:
        _tell_apart(stair, progress, found)
    return found


def _mean(colours: Sequence[StoredColour]) -> Coloured:
    lights = [colour.light for colour in colours]
    light = DAYLIGHT if DAYLIGHT in lights else lights[-1]
    labs = [colour.lab for colour in colours if colour.light == light]
    mean = tuple(sum(values) / len(labs) for values in zip(*labs, strict=True))
    return Coloured((mean[0], mean[1], mean[2]), light)


def _tell_apart(stair: StoredStair, progress: Mapping[int, Progress], found: dict[int, Coloured]) -> None:
    states = {ident: tuple(map(progress[ident].count, COAT_STEPS)) for ident in found}
    alike = gathered(
        ((part.record.kind, states[part.ident], found[part.ident].light), part.ident)
        for part in stair.parts
        if part.ident in found
    )
    for idents in alike.values():
        if len(idents) >= _FEWEST:
            for ident in idents:
                note = _apart(found[ident].lab, [found[other].lab for other in idents if other != ident])
                if note:
                    found[ident] = replace(found[ident], note=note)


def _apart(lab: Lab, others: Sequence[Lab]) -> str:
    """Return how a colour differs from the middle of others if it lies far out, else nothing."""
    from finishlab.colorimetry.delta_e import delta_e_00

    middle = tuple(median(values) for values in zip(*others, strict=True))
    usual = median(float(delta_e_00(other, middle)) for other in others)
    far = float(delta_e_00(lab, middle))
    if far <= max(_LEAST, _TIMES * usual):
        return ""
    change = lab[0] - middle[0]
    how = "lighter" if change > 1 else "darker" if change < -1 else "of another hue"
    return f"{how} than the others by dE00 {far:.1f}"


@dataclass(frozen=True, slots=True)
class PartShown:
    """One part of the stair and how far it is."""

    name: PartName
    words: str
    """``"tread 7"``, its flight before it where several have such parts."""
    record: Part
    recipe: str | None
    """Number and name of its recipe."""
    state: str
    """How far it is, in words."""
    coats: Mapping[CoatStep, int]
    """Step -> coats it has."""
    wanted: Mapping[CoatStep, int]
    """Step -> coats it is to have."""
    fitted: bool
    last: dt.date | None
    """Day of the last thing done."""
    lab: Lab | None = None
    """Its colour as it is now, CIELAB D65 2 degrees; None while it was not measured since the last coat."""
    light: str | None = None
    note: str = ""
    """What is odd about its colour."""
    deviations: tuple[str, ...] = ()
    """What was done to it otherwise than planned, since its wood was last sanded."""
    recipe_number: int | None = None
    changed: str = ""
    """What is to be said of its recipe where that was edited since it was approved."""


@dataclass(frozen=True, slots=True)
class FlightShown:
    """A flight or landing with its parts from the bottom up."""

    title: str
    record: Flight
    parts: tuple[PartShown, ...]


def flights_shown(stair: StoredStair, only: Collection[str] | None = None) -> list[FlightShown]:
    """Return the flights from the bottom up with their parts; with `only`, with those of these codes."""
    shown, parts = parts_shown(stair), [part for part in stair.parts if only is None or part.code in only]
    mine = {
        flight.number: tuple(shown[part.ident] for part in parts if part.record.flight_number == flight.number)
        for flight in stair.flights
    }
    return [FlightShown(flight.title, flight.record, mine[flight.number]) for flight in stair.flights]


def parts_shown(stair: StoredStair, given: Mapping[CoatStep, int] | None = None) -> dict[int, PartShown]:
    """Return each part with its state, by `StoredPart.ident`; `given` as in `finishlab.stair.progress.wanted`."""
    progress = progress_of(stair.events)
    colours = colours_now(stair, progress)
    odd = gathered(
        (each.part, each.sentence)
        for each in deviations(stair)
        if progress[each.part].order[each.event] > progress[each.part].sanded_at
    )
    shown = {}
    for part in stair.parts:
        known, colour = progress[part.ident], colours.get(part.ident)
        want, recipe = wanted(stair, part, known, given), recipe_of(stair, part, known)
        shown[part.ident] = PartShown(
            name=part.name,
            words=stair.words(part),
            record=part.record,
            recipe=None if recipe is None else recipe.words,
            state=state_words(known, want),
            coats={step: known.count(step) for step in COAT_STEPS if known.count(step)},
            wanted={step: want[step] for step in COAT_STEPS if want.get(step)},
            fitted="fitted" in known.done,
            last=None if known.last is None else known.last.date,
            lab=None if colour is None else colour.lab,
            light=None if colour is None else colour.light,
            note="" if colour is None else colour.note,
            deviations=tuple(odd.get(part.ident, ())),
            recipe_number=None if recipe is None else recipe.number,
            changed="" if recipe is None else recipe.changed,
        )
    return shown


def flight_heading(flight: FlightShown) -> str:
    """Return what a flight is: ``"Flight 2 (to the attic): 7 risers, R1 honey"``."""
    name = f" ({flight.record.name})" if flight.record.name else ""
    risers = flight.record.risers
    facts = [] if risers is None else [f"{risers} riser{'' if risers == 1 else 's'}"]
    recipes = {part.recipe for part in flight.parts if part.recipe}
    facts += [next(iter(recipes))] if len(recipes) == 1 else []
    return f"{flight.title.capitalize()}{name}{': ' if facts else ''}{', '.join(facts)}"


def stair_notes(flights: Sequence[FlightShown]) -> list[str]:
    """Return what is odd about the parts' colours, about the flights, about recipes, and what was done otherwise."""
    notes = []
    for flight in flights:
        treads = sum(part.record.kind == "tread" for part in flight.parts)
        want = flight.record.treads
        if want is not None and treads and treads != want:
            notes.append(
                f"{flight.title.capitalize()} has {treads} tread{'' if treads == 1 else 's'}; "
                f"{flight.record.risers} risers want {want}."
            )
        notes += [f"{part.words.capitalize()} is {part.note} ({part.light})." for part in flight.parts if part.note]
    shown = [part for flight in flights for part in flight.parts]
    notes += dict.fromkeys(part.changed for part in shown if part.changed)
    odd = [part for part in shown if part.deviations]
    notes += [f"{part.words.capitalize()}: {sentence}" for part in odd for sentence in part.deviations]
    return notes


def grouped(parts: Iterable[PartShown]) -> list[tuple[str, list[PartShown]]]:
    """Return parts that are in one state together, with their names; a measured part stands alone."""
    own = ((part, part.name if part.lab is not None else None) for part in parts)
    groups = gathered(
        ((part.record.kind, part.name.side, part.state, bool(part.deviations), name), part) for part, name in own
    )
    return [(listed([each.name for each in alike], with_level=False), alike) for alike in groups.values()]


def size_words(sizes: PartSizes) -> str | None:
    """Return sizes in one line: ``"914 x 292 x 27 mm, nosing 30; back 905; angles left 91, right 90"``."""
    main = [sizes.words(name) for name in ("front", "height" if sizes.depth is None else "depth", "thickness")]
    words = [_times(main)] if any(main) else []
    if sizes.nosing is not None:
        words.append(f"nosing {sizes.words('nosing')}")
    if sizes.out_of_square and sizes.back_width is not None:
        words.append(f"back {back_words(sizes)}{'' if sizes.back is not None else ' by the angles'}")
    angles = (("left", sizes.left_angle), ("right", sizes.right_angle))
    told = ", ".join(f"{name} {value:g}" for name, value in angles if value is not None)
    if told:
        words.append(f"angles {told} degrees")
    return "; ".join(words) or None


def back_words(sizes: PartSizes) -> str:
    """Return the back width, measured or by the angles, in the unit of the front."""
    if sizes.back is not None:
        return str(sizes.words("back"))
    width = sizes.back_width or 0.0
    return inches_text(width) if "front" in sizes.inches else f"{width:.0f} mm"


def _times(sides: Sequence[str | None]) -> str:
    """Return ``"36 x 11 1/2 x 1 in"``: the unit once where all have the same."""
    units = {side.rpartition(" ")[2] for side in sides if side is not None}
    if len(units) > 1:
        return " x ".join(side or "?" for side in sides)
    return f"{' x '.join('?' if side is None else side.rpartition(' ')[0] for side in sides)} {units.pop()}"


_EVENT_COLUMNS: Final = (
    *(Column(name, fold=False) for name in ("event", "day", "what", "recipe")), Column("can"), Column("remarks"),
)  # fmt: skip
_DUE_COLUMNS: Final = (
    Column("parts"), Column("short of"), Column("next", fold=False), Column("not before", fold=False),
    Column("can so far"),
)  # fmt: skip


def stair_document(flights: Sequence[FlightShown], notes: Sequence[str] = ()) -> Document:
    """Return ``finishlab/stair/1``: flights from the bottom up, their parts, states and colours; drawn too."""
    told = [
        {"flight": flight.title, "record": flight.record.as_dict(), "parts": [_part(part) for part in flight.parts]}
        for flight in flights
    ]
    return Document("stair", {"flights": told, "notes": list(notes)}, tuple(_picture(flights)))


def _picture(flights: Sequence[FlightShown]) -> Iterator[Block]:
    """Draw the stair as it stands: the top flight first, in it the top step first."""
    if not flights:
        yield Line("No stair is entered yet. Begin with, e.g.: finishlab stairs add 7 landing 7")
        return
    for flight in reversed(flights):
        yield Line(flight_heading(flight))
        yield _flight_table(flight)
        yield Line()
    for note in stair_notes(flights):
        yield Line(f"- {note}")
    if any(part.lab is not None for flight in flights for part in flight.parts):
        yield Line("Figures: L* a* b* as measured since the last coat.")
    yield Line("Counted from the bottom up; left and right are seen from below.")


def _flight_table(flight: FlightShown) -> Table:
    """Return a flight as steps, and beside each step its name, its colour where any is measured, and its state."""
    measured = any(part.lab is not None for part in flight.parts)
    steps = sorted((part for part in flight.parts if part.record.kind == "tread"), key=lambda part: -part.name.place)
    top = [part for part in flight.parts if part.record.kind in {"landing nosing", "landing board"}]
    others = [part for part in flight.parts if part.record.kind not in {"tread", "landing nosing", "landing board"}]
    drawn = _steps(len(steps), flat=flight.record.kind == "landing")
    cells: list[tuple[str, str, PartShown]] = []
    cells += [(drawn[0] if index == 0 else "", name, alike[0]) for index, (name, alike) in enumerate(grouped(top))]
    floor = [] if top else [(drawn[0], *[""] * (3 if measured else 2))]
    cells += [(line, part.name.words(with_level=False), part) for line, part in zip(drawn[1:], steps, strict=False)]
    cells += [("", name, alike[0]) for name, alike in grouped(others)]
    rows: list[Sequence[Cell]] = [*floor]
    for line, name, part in cells:
        state = f"{part.state} (!)" if part.deviations else part.state  # marked where not all was done as planned
        rows.append((line, name, *([Colour(part.lab)] if measured else []), state))
    colour = [Column("", fold=False)] if measured else []
    return Table((Column("", fold=False), Column("", fold=False), *colour, Column("")), rows, ruled=False)


def _steps(count: int, *, flat: bool) -> list[str]:
    """Return the lines of a flight from its top down: the floor above it, then each tread."""
    if flat:
        return [f"┌{'─' * 9}"]
    wide = next((width for most, width in ((8, 3), (14, 2)) if count <= most), 1)
    lines = [f"{' ' * (count * wide)}┌───"]
    return lines + [f"{' ' * (place * wide)}┌{'─' * (wide - 1)}┘" for place in reversed(range(count))]


def _part(part: PartShown) -> dict[str, Any]:
    return {
        "part": part.name.code,
        "words": part.words,
        "record": part.record.as_dict(),
        "recipe": part.recipe,
        "state": part.state,
        "coats": dict(part.coats),
        "wanted": dict(part.wanted),
        "fitted": part.fitted,
        "deviations": list(part.deviations),
        "changed_since_approval": bool(part.changed),
        "last": None if part.last is None else part.last.isoformat(),
        "lab": None if part.lab is None else [round(value, 3) + 0.0 for value in part.lab],
        "light": part.light,
        "note": part.note or None,
    }


def parts_document(log: Logbook, text: str) -> Document:
    """Return ``finishlab/stair-parts/1``: the parts somebody means, all that was done to them and measured of them.

    Raises as `StoredStair.named`.
    """
    stair = log.stair()
    shown, progress = parts_shown(stair), progress_of(stair.events)
    data: list[dict[str, Any]] = []
    blocks: list[Block] = []
    for part in stair.named(text):
        mine = shown[part.ident]
        finish = _finish_sentences(stair, mine, progress[part.ident])
        logged = [event for event in stair.events if event.part == part.ident]
        events = [_event(stair, event) for event in logged]
        colours = log.part_measurements(part.ident)
        told = [
            {**row, "conditions": event.conditions.as_dict() or None} for row, event in zip(events, logged, strict=True)
        ]
        history = [change_line(change) for change in _told(log.history(part.code))]
        measured = [colour_document(each, photo_namer(log)) for each in colours]
        data.append(_part(mine) | {"finish": finish, "events": told, "measurements": measured, "history": history})
        blocks += [Line()] if blocks else []
        blocks += [*map(Line, finish), Line(), _facts(mine)]
        blocks += [Line(), Table(_EVENT_COLUMNS, [tuple(event.values()) for event in events])] if events else []
        blocks += colour_blocks(colours, photo_namer(log)) if colours else []
        blocks.append(Listing("History", history))
    return Document("stair-parts", {"parts": data}, blocks)


def _facts(part: PartShown) -> Facts:
    record = part.record
    rows = (
        ("code", part.name.code),
        ("state", part.state),
        ("to have", ", ".join(coats_words(step, count) for step, count in part.wanted.items()) or None),
        ("sizes", size_words(record.sizes)),
        ("wood", record.species),
        ("recipe", part.recipe),
        ("fixing", record.fixing),
        ("note", record.note),
        ("colour", f"it is {part.note}" if part.note else None),
        ("not as planned", " ".join(part.deviations) or None),
    )
    return Facts(part.words.capitalize(), rows)


def _finish_sentences(stair: StoredStair, part: PartShown, progress: Progress) -> list[str]:
    """Return which finish is on a part and from which cans."""
    if not progress.coats:
        planned = f" It is to get {part.recipe}." if part.recipe else ""
        return [f"No finish is on {part.words} yet.{planned}"]
    sentences = [f"On {part.words}: {part.recipe or 'no recipe named'}."]
    for step in COAT_STEPS:
        coats = progress.coats.get(step, [])
        for number in dict.fromkeys(event.batch_number for event in coats):
            mine = [event for event in coats if event.batch_number == number]
            count = f"{len(mine)} coats" if len(mine) > 1 else "1 coat"
            days = " and ".join(dict.fromkeys(str(event.date) for event in mine))
            can = can_words(number, stair.cans) or "no can named"
            place = None if number is None or number not in stair.cans else stair.cans[number].place
            kept = f"; the rest is kept in: {place}" if place else ""
            sentences.append(f"{step.capitalize()}: {count} on {days} from {can}{kept}.")
    return sentences


def _event(stair: StoredStair, event: StoredEvent) -> dict[str, str | None]:
    """Return one thing done to a part, as the document has it and in the order of the table's columns."""
    remarks = [
        event.faces,
        event.conditions.in_words,
        f"not as the recipe: {event.deviation}" if event.deviation else None,
        event.note,
    ]
    return {
        "event": f"E{event.ident}",
        "date": event.date.isoformat(),
        "what": event.what,
        "recipe": None if event.recipe_number is None else f"R{event.recipe_number}",
        "can": can_words(event.batch_number, stair.cans),
        "remarks": "; ".join(remark for remark in remarks if remark),
    }


def _told(changes: Sequence[Change]) -> list[Change]:
    """Leave out what the list of events says already; sizes and recipe are told each by itself."""
    kept = [change for change in changes if change.what not in {"log", "add-photos"}]
    return [replace(change, before=_flat(change.before), after=_flat(change.after)) for change in kept]


def _flat(values: Mapping[str, object] | None) -> dict[str, object] | None:
    if values is None or "sizes" not in values:
        return None if values is None else dict(values)
    sizes = values["sizes"] if isinstance(values["sizes"], Mapping) else {}
    known = size_facts(PartSizes.from_dict(sizes))
    recipe = values.get("recipe_number")
    told = {name: value for name, value in values.items() if name not in {"sizes", "recipe_number"}}
    each = {name: known.get(name) for name in SIZE_NAMES}
    return told | each | {"recipe": None if recipe is None else f"R{recipe}"}


def due_document(
    stair: StoredStair, text: str = "", given: Mapping[CoatStep, int] | None = None, *, today: dt.date | None = None
) -> Document:
    """Return ``finishlab/stair-due/1``: the parts still short of a coat, those short of the same together.

    Parameters
    ----------
    stair
        The stair.
    text
        Which parts; all unless they are named. Raises as `StoredStair.named`.
    given
        Coats wanted, in the place of what the recipes say.
    today
        The day by which a recoat window is open or closed; today unless it is named.
    """
    shown, progress = parts_shown(stair, given), progress_of(stair.events)
    groups: dict[tuple[str, str, dt.date | None, str | None, dt.date | None], list[PartShown]] = {}
    for part in stair.named(text) if text.strip() else stair.parts:
        row, known = shown[part.ident], progress[part.ident]
        short = missing(known, row.wanted)
        if not short:
            continue
        step = next(iter(short))
        told = ", ".join(coats_words(each, len(left)) for each, left in short.items())
        end = window_closed(stair, known, today or this_day())
        first, can = _not_before(stair, known, step), can_words(usual_can(stair, part, step, progress), stair.cans)
        key = (told, f"{step} {short[step][0]}", first, can, end)
        groups.setdefault(key, []).append(row)
    rows: list[Sequence[Cell]] = []
    data: list[dict[str, Any]] = []
    for (told, coat, first, can, end), parts in groups.items():
        words = stair.listed(part.name for part in parts)
        remark = "" if end is None else f"window closed on {end}, rub out first"
        rows.append((words, told, coat, first, can, remark))
        entry: dict[str, Any] = {"parts": [part.name.code for part in parts], "words": words}
        entry |= {"short_of": told, "next": coat}
        entry |= {"not_before": None if first is None else first.isoformat(), "can": can}
        entry |= {"recipes": list(dict.fromkeys(part.recipe for part in parts))}
        data.append(entry | {"window_closed": None if end is None else end.isoformat(), "remark": remark or None})
    assumed = "topcoat" not in (given or {}) and any(row.recipe is None for parts in groups.values() for row in parts)
    notes = _due_notes(stair, [row for parts in groups.values() for row in parts], shown, progress)
    return Document("stair-due", {"due": data, "notes": notes}, tuple(_due_blocks(rows, notes, assumed=assumed)))


def _due_notes(
    stair: StoredStair, short: Sequence[PartShown], shown: Mapping[int, PartShown], progress: Mapping[int, Progress]
) -> list[str]:
    """Say which recipes were changed since they were approved, and which coats were passed over for good."""
    notes = list(dict.fromkeys(row.changed for row in short if row.changed))
    over = gathered(
        (step, part.name)
        for part in stair.parts
        for step in passed_over(progress[part.ident], shown[part.ident].wanted)
    )
    return notes + [
        f"{stair.listed(parts)}: {step} was passed over, and does not take over what is on it; "
        "sand it and begin anew, or leave it so."
        for step, parts in over.items()
    ]


def _due_blocks(rows: Sequence[Sequence[Cell]], notes: Sequence[str], *, assumed: bool) -> Iterator[Block]:
    if rows:
        told = any(row[-1] for row in rows)
        columns = (*_DUE_COLUMNS, Column("note")) if told else _DUE_COLUMNS
        yield Table(columns, rows if told else [row[:-1] for row in rows])
    else:
        yield Line("No part is short of a coat.")
    yield from map(Line, notes)
    if rows and assumed:
        yield Line("Where no recipe says how many topcoats, 3 are taken (general articles); name yours: --topcoats 4")
    if rows:
        yield Line("The labels of the cans win.")


_Told = tuple[StoredStair, StoredPart, StoredEvent, Deviation]

DEVIATIONS: Listed[_Told] = Listed(
    format="stair-deviations",
    listed_as="deviations",
    fields=(
        Field(lambda each: each[1].code, key="part", head="part", cell=lambda each: each[0].words(each[1])),
        Field(lambda each: f"E{each[2].ident}", key="event", head="event"),
        Field(lambda each: each[2].date, key="date", head="day"),
        Field(lambda each: each[3].code, key="code"),
        Field(lambda each: each[3].sentence, key="sentence", head="what", fold=True),
    ),
    none="Nothing was logged that differs from what was planned.",
)


def deviations_document(stair: StoredStair, text: str = "") -> Document:
    """Return ``finishlab/stair-deviations/1``: what was done otherwise than planned, part by part.

    Raises as `StoredStair.named`.
    """
    parts = {part.ident: part for part in (stair.named(text) if text.strip() else stair.parts)}
    events = {event.ident: event for event in stair.events}
    found = [each for each in deviations(stair) if each.part in parts]
    found.sort(key=lambda each: (parts[each.part].name.order, each.event))
    rows = [(stair, parts[each.part], events[each.event], each) for each in found]
    hint = [
        f"Logged by mistake? Change it, for example: finishlab stairs edit-event E{each.event} --help, "
        f"or take it back: finishlab stairs remove E{each.event}"
        for each in found[:1]
    ]
    return DEVIATIONS.document(rows, (*DEVIATIONS.listing(rows), *map(Line, hint)))


def _not_before(stair: StoredStair, progress: Progress, step: CoatStep) -> dt.date | None:
    """Return the first day on which the label of the last coat's can allows a coat of a step."""
    last = progress.last_coat
    label = stair.label_of(last)
    wait = None if last is None or label is None else label.next_coat_h(another=last.step != step)
    if last is None or wait is None:
        return None
    if last.conditions.time is not None:
        return (last.moment + dt.timedelta(hours=wait)).date()
    return last.date + dt.timedelta(days=int(wait // 24))


def usual_can(stair: StoredStair, part: StoredPart, step: CoatStep, progress: Mapping[int, Progress]) -> int | None:
    """Return the can a step was last done from, on this part or on others of its recipe, else the recipe's."""
    found = recipe_of(stair, part, progress[part.ident])
    recipe = None if found is None else found.number
    coats = [
        event
        for each in progress.values()
        for event in each.coats.get(step, ())
        if event.batch_number is not None and event.recipe_number == recipe
    ]
    if coats:
        return max(coats, key=lambda event: (event.date, event.ident)).batch_number
    coming = () if found is None else layers(found.finish)
    return next((each.section.can_number for each in coming if each.step == step and each.section.can_number), None)


def events_document(events: Iterable[tuple[str, str]], notes: Sequence[str]) -> Document:
    """Return ``finishlab/stair-events/1``: numbers and parts of what was logged, and what is worth a second look."""
    logged = [{"event": number, "part": part} for number, part in events]
    return Document("stair-events", {"events": logged, "notes": list(notes)})

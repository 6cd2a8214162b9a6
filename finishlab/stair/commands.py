"""``finishlab stairs``: the stair entered and shown, and what is done to its parts logged, measured and corrected."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import click

from finishlab.cli.common import (
    area_options,
    changes_given,
    colour_words,
    doubt_lines,
    json_option,
    measure_all,
    open_logbook,
    options,
    print_removed,
    report_failures,
    say,
    say_cautions,
    say_undo,
    show_document,
    untouched,
)
from finishlab.cli.lazy import LazyGroup
from finishlab.errors import UsageError
from finishlab.stair.names import SIDES, PartKind, listed
from finishlab.stair.records import COAT_STEPS, PartSizes

if TYPE_CHECKING:
    import datetime as dt

    from finishlab.logbook.store import Logbook
    from finishlab.measure.areas import GreyArea, SurfaceArea
    from finishlab.stair.documents import PartShown
    from finishlab.stair.records import StoredPart, StoredStair


@dataclass(frozen=True, slots=True)
class _Field:
    """One thing that is written of a part, or of what was done to one."""

    option: str
    """How it is typed, and taken out with ``--clear``."""
    help: str
    metavar: str = "TEXT"
    column: str = ""
    """What the record calls it, where that is not the option."""
    kind: click.ParamType[Any] | type = str
    """What can be typed."""

    @property
    def name(self) -> str:
        """Its name in the record."""
        return self.column or self.option.replace("-", "_")

    def typed(self, **words: str) -> Callable[[Any], Any]:
        """Return its option; `words` go into its help."""
        said = self.help.format(**words)
        return click.option(f"--{self.option}", self.name, type=self.kind, metavar=self.metavar, help=said)


_SIZES: Final = (
    _Field("front", "Width along the front edge; the length of a riser, nosing, skirt or stringer.", "LENGTH"),
    _Field("back", "Width along the back edge.", "LENGTH"),
    _Field("depth", "From front to back, square to the front edge.", "LENGTH"),
    _Field("thickness", "Thickness.", "LENGTH"),
    _Field("nosing", "How far the front edge stands out over the riser.", "LENGTH"),
    _Field("height", "Height of a riser, skirt or stringer.", "LENGTH"),
    _Field("left-angle", "Angle inside the part between its front edge and left end, degrees.", "DEG", kind=float),
    _Field("right-angle", "The same at the right end.", "DEG", kind=float),
)
_PART: Final = (
    _Field("species", "The wood.", "WOOD"),
    _Field("recipe", "The recipe {kept} to be finished by.", "R1", "recipe_number"),
    _Field("fixing", "How {kept} fixed, adhesive named."),
    _Field("note", "Anything else."),
)
_EVENT: Final = (
    _Field("recipe", "The recipe, by number or name.{unless}", "R1", "recipe_number"),
    _Field("can", "The can it came from.", "C1", "batch_number"),
    _Field("faces", "What was coated, e.g. “top and edges”."),
    _Field("deviation", "What was done otherwise than the recipe says."),
    _Field("note", "Anything else."),
)
_CONDITIONS: Final = (
    _Field("time", "The hour it was done, e.g. 14:30.", "HH:MM"),
    _Field("air", "Temperature of the air.", "C", "air_c", float),
    _Field("humidity", "Relative humidity.", "PERCENT", "rh_percent", float),
    _Field("applicator", "Rag, brush, foam, pad ..."),
    _Field("wipe", "Minutes before it was wiped off.", "MIN", "wipe_min", float),
    _Field("mixed", "When a two-part product was mixed: held against its pot life.", "HH:MM"),
)
_SIZED: Final[Mapping[PartKind, str]] = {
    "tread": "tread", "riser": "riser", "landing nosing": "top_nosing", "landing board": "landing_board",
}  # fmt: skip
"""Kind of part -> the option its size is given by."""
_BOTH_SIDES: Final[Mapping[PartKind, str]] = {"return": "returns", "skirt": "skirts", "stringer": "stringers"}
"""Kind of part -> the option that says at which sides of the flight it is."""
_SIDES: Final = click.Choice(["left", "right", "both"])


def _fields(*each: _Field, **words: str) -> Callable[[Any], Any]:
    """Return what adds the options of fields to a command."""
    return options(*(one.typed(**words) for one in each))


def _clear(*each: _Field) -> Callable[[Any], Any]:
    names = [one.option for one in each]
    return click.option(
        "--clear", type=click.Choice(names), multiple=True, help="Take a field out; may be given again."
    )


def _given(fields: Sequence[_Field], values: dict[str, Any], clear: Sequence[str] = ()) -> dict[str, Any]:
    """Take out of the options what was given of some fields, None for what is to be taken out.

    Raises
    ------
    UsageError
        ``"set-and-cleared"``.
    """
    typed = {each.name: values.pop(each.name) for each in fields}
    given = {name: value for name, value in typed.items() if value is not None}
    for each in fields:
        if each.option in clear and each.name in given:
            words = each.option.replace("-", " ")
            raise UsageError(
                "set-and-cleared", f"The {words} cannot be set and taken out at once.", "Name one of both."
            )
    return given | {each.name: None for each in fields if each.option in clear}


def _numbered(log: Logbook, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return what was given, with the number of the recipe (by number or name) and of the can.

    Raises
    ------
    LogbookError
        ``"unknown-recipe"``, ``"unknown-can"``.
    """
    recipe, can = given.get("recipe_number"), given.get("batch_number")
    found = {} if recipe is None else {"recipe_number": log.recipe(recipe).number.key}
    return {**given, **found} if can is None else {**given, **found, "batch_number": log.can_number(can)}


def _sizes(values: dict[str, Any], kind: str = "part", clear: Sequence[str] = ()) -> dict[str, Any]:
    """Take the sizes out of the options that were given."""
    from finishlab.stair.entering import read_sizes

    given = _given(_SIZES, values, clear)
    return given | read_sizes({name: text for name, text in given.items() if isinstance(text, str)}, kind)


@click.group(cls=LazyGroup)
def stairs() -> None:
    """Enter the stair, log what is done to its parts, and look it up.

    Everything is counted from the bottom up; left and right are seen from below. Parts are named as people say them:
    "tread 7", "2/tread 7" or "flight 2 tread 7" where there are several flights, "treads 3-9", "odd treads",
    "all risers", "treads 1,3,5", "left stringer", "landing 1"; or in short T7, 2.T7. Groups are set apart by commas.
    """


@stairs.has(
    "add",
    "Enter flights and landings with their parts.",
    "finishlab stairs add 7 landing 7 --tread 914x292x27 --riser 914x190x19 --landing-boards 6 --species 'red oak'",
    "finishlab stairs add 14 --tread '36x11.5x1 1/16in' --nosing 1in --returns left",
    "finishlab stairs add landing --above 1",
)
@click.argument("words", nargs=-1, required=True, metavar="RISERS|landing ...")
@click.option("--tread", metavar="WxDxT", help="Size of the treads: front width, depth, thickness.")
@click.option("--nosing", metavar="LENGTH", help="How far the treads stand out over the risers.")
@click.option("--riser", metavar="WxHxT", help="Size of the risers: width, height, thickness.")
@click.option("--no-risers", is_flag=True, help="Leave the risers out: open, or none of yours to finish.")
@click.option("--top-nosing", metavar="WxDxT", help="Size of the nosing at the top of each flight.")
@click.option("--no-top-nosing", is_flag=True, help="The flights have none.")
@click.option("--landing-boards", type=click.IntRange(0, 200), default=0, metavar="N", help="Boards on each landing.")
@click.option("--landing-board", metavar="WxDxT", help="Size of the landing boards.")
@click.option("--returns", type=_SIDES, help="Treads end in a mitred return, at which side.")
@click.option("--skirts", type=_SIDES, help="A skirt board along each flight, at which side.")
@click.option("--stringers", type=_SIDES, help="A stringer along each flight to be finished, at which side.")
@click.option("--species", metavar="WOOD", help="The wood of all these parts.")
@click.option("--recipe", "recipe_number", metavar="R1", help="The recipe they are to be finished by.")
@click.option("--name", metavar="TEXT", help="What the one flight or landing is called, e.g. “to the attic”.")
@click.option("--above", type=click.IntRange(0, 99), metavar="N", help="A forgotten landing: the flight below it.")
@json_option
def add(*, words: tuple[str, ...], as_json: bool, **values: Any) -> None:  # noqa: ANN401 - texts, figures and flags
    """Enter flights by their risers, and landings between them, from the bottom up, with all their parts.

    A flight has one tread fewer than risers, since the floor above is the last step, and a nosing at its top.
    Sizes hold for all that are entered; change single ones with: finishlab stairs edit
    """
    from finishlab.stair.entering import PartPlan, new_flights

    sides = {kind: values[option] for kind, option in _BOTH_SIDES.items() if values[option] is not None}
    with open_logbook(make=True) as log:
        plan = PartPlan(
            _sizes_by_kind(values),
            risers=not values["no_risers"],
            top_nosing=not values["no_top_nosing"],
            landing_boards=values["landing_boards"],
            sided={kind: SIDES if side == "both" else (side,) for kind, side in sides.items()},
            species=values["species"],
            recipe_number=_numbered(log, values)["recipe_number"],
        )
        flights, parts = new_flights(log.stair(), words, plan, name=values["name"], above=values["above"])
        log.add_flights(flights, parts)
        stair = log.stair()
    for flight in stair.flights:
        if flight.number in flights:
            names = [part.name for part in stair.parts if part.record.flight_number == flight.number]
            say(f"{flight.title.capitalize()} entered: {listed(names, with_level=False) or 'no parts yet'}.")
    if as_json:
        _print_stair(stair)


def _sizes_by_kind(values: dict[str, Any]) -> dict[PartKind, PartSizes]:
    """Return the sizes that were typed, by the kind of part."""
    from finishlab.stair.entering import read_sizes, three_sizes

    sizes: dict[PartKind, PartSizes] = {}
    for kind, option in _SIZED.items():
        names = ("front", "height" if kind == "riser" else "depth", "thickness")
        texts = {} if values[option] is None else three_sizes(values[option], names)
        if kind == "tread" and values["nosing"] is not None:
            texts["nosing"] = values["nosing"]
        if texts:
            sizes[kind] = PartSizes(**read_sizes(texts, kind))
    return sizes


def _print_stair(stair: StoredStair) -> None:
    from finishlab.stair.documents import flights_shown, stair_document

    show_document(stair_document(flights_shown(stair)), as_json=True)


@stairs.has(
    "add-parts",
    "Enter further parts: nosings, returns, boards, skirts.",
    "finishlab stairs add-parts 2/returns 1-6 left --front 320 --depth 40 --thickness 27",
    "finishlab stairs add-parts landing 1 landing boards 1-5 --front 900 --depth 120 --thickness 20",
)
@click.argument("parts", nargs=-1, required=True, metavar="PARTS")
@_fields(*_SIZES, *_PART, kept="they are")
@json_option
def add_parts(*, parts: tuple[str, ...], as_json: bool, **values: Any) -> None:  # noqa: ANN401 - texts and figures
    """Enter further parts of flights and landings that are there."""
    from finishlab.stair.entering import new_parts, size_remarks

    sizes, given = PartSizes(**_sizes(values)), _given(_PART, values)
    with open_logbook() as log:
        given = _numbered(log, given)
        before = log.stair()
        log.add_parts(new_parts(before, " ".join(parts), sizes, **given))
        stair = log.stair()
    old = {part.ident for part in before.parts}
    names = listed([part.name for part in stair.parts if part.ident not in old])
    say(f"Entered: {names}.")
    for line in size_remarks([(names, sizes)]):
        say(line)
    if as_json:
        _print_stair(stair)


@stairs.has(
    "show",
    "Draw the stair: each part's state and colour.",
    "finishlab stairs show",
    "finishlab stairs show --svg stair.svg",
)
@click.option("--svg", type=click.Path(), metavar="FILE", help="Draw it into an SVG file too, seen from below.")
@json_option
def show(*, svg: str | None, as_json: bool) -> None:
    """Draw the stair: each part with its state in words and its measured colour."""
    from finishlab.board.shown import recipe_colours
    from finishlab.stair.documents import flights_shown, stair_document, stair_notes

    with open_logbook() as log:
        flights = flights_shown(log.stair())
        colours = recipe_colours(log) if svg is not None else {}
    if svg is not None:
        from finishlab.files import write_atomically
        from finishlab.stair.drawing import stair_svg

        write_atomically(svg, stair_svg(flights, colours).encode())
        say(f"The stair is drawn in {svg}.")
    if as_json or svg is None:
        show_document(stair_document(flights, stair_notes(flights)), as_json=as_json)


@stairs.has(
    "log",
    "Log what was done to parts.",
    "finishlab stairs log all treads sanded --note 80-100-120",
    "finishlab stairs log odd treads stain --recipe R1 --can C1 --faces 'both faces and edges'",
    "finishlab stairs log 2/treads 1-6 topcoat 2 --can C2 --date 2024-05-31",
    "finishlab stairs log treads 1-3 topcoat --can C2 --time 14:30 --air 19 --humidity 55",
    "finishlab stairs log tread 7 fitted --note 'polyurethane adhesive'",
)
@click.argument("words", nargs=-1, required=True, metavar="PARTS EVENT")
@_fields(*_EVENT, unless=" [default: the part's own]")
@click.option("--date", metavar="DATE", help="The day it was done, e.g. 2024-05-31. [default: today]")
@_fields(*_CONDITIONS)
@json_option
def log_event(*, words: tuple[str, ...], date: str | None, as_json: bool, **values: Any) -> None:  # noqa: ANN401 - texts and figures
    """Log what was done to parts: first the parts, then what was done.

    That is one of: dry-fitted, sanded, stain, seal, topcoat, rubbed-out, fitted, touched-up, note. A coat counts on by
    itself: "topcoat" is the next one of each part, "topcoat 2" the second. Sanding is that of the wood before any
    colour: with it, the coats that were on a part before count no longer. What differs from what was planned is told;
    it is listed again by: finishlab stairs deviations
    """
    from finishlab.stair.entering import logged_words, next_events, split_words, work_done
    from finishlab.stair.progress import remarks

    text, done = split_words(words)
    conditions, given = _given(_CONDITIONS, values), _given(_EVENT, values)
    given |= {} if date is None else {"date": date}
    with open_logbook() as log:
        given = _numbered(log, given)
        stair = log.stair()
        parts = stair.named(text)
        events = next_events(stair, parts, done, **given, conditions=conditions)
        noted = remarks(stair, events)
        idents = log.log_events(events)
        if as_json:
            _print_events(zip(idents, parts, strict=True), noted)
        for line in (*logged_words(stair, parts, events), *(f"  - {line}" for line in noted)):
            say(line)
        products, actions = work_done(stair, events)
        say_cautions(log, products, actions, at_coat=bool(products))


def _print_events(logged: Iterable[tuple[int, StoredPart]], notes: Sequence[str] = ()) -> None:
    from finishlab.stair.documents import events_document

    show_document(events_document([(f"E{ident}", part.code) for ident, part in logged], notes), as_json=True)


@stairs.has(
    "measure",
    "Measure parts in photos and log their colour.",
    "finishlab stairs measure tread 7 tread7.jpg",
    "finishlab stairs measure treads 1-3 t1.jpg t2.jpg t3.jpg --light 'evening lamp'",
)
@click.argument("words", nargs=-1, required=True, metavar="PARTS PHOTO...")
@click.option("--light", metavar="TEXT", help="The light it was taken in. [default: daylight]")
@click.option("--note", metavar="TEXT", help="Anything else. [default: the photo's name]")
@click.option("--date", metavar="DATE", help="Day of the photo. [default: as the photo says]")
@area_options
@json_option
def measure_parts(
    *,
    words: tuple[str, ...],
    light: str | None,
    greys: tuple[GreyArea, ...],
    area: SurfaceArea | None,
    date: str | None,
    as_json: bool,
    note: str | None,
) -> int:
    """Measure parts lying at the strip's board edge, and log it as their colour.

    One part with all its photos, which are repeats; or a photo for each part, in the order from the bottom up. Unless
    every photo is good, nothing is logged.
    """
    from finishlab.measuring import PHOTO_SUFFIXES, MeasureOptions
    from finishlab.measuring.logged import keep_photos, photo_day
    from finishlab.record import parse_date, today
    from finishlab.stair.documents import flights_shown, stair_document
    from finishlab.stair.entering import measured_entries, parts_and_photos
    from finishlab.stair.records import PartEvent

    text, photos = parts_and_photos(words, PHOTO_SUFFIXES)
    with open_logbook() as log:
        parts = log.stair().named(text)
        results = measure_all(photos, MeasureOptions(("board",), "wood", greys, area).with_calibration(log, light))
        code = report_failures(results)
        if code:
            say(untouched(results))
            return code
        day = parse_date(date) if date is not None else photo_day(results[0].path) or today()
        names = [result.path.rsplit("/", 1)[-1] for result in results]
        event = PartEvent("measured", day, note=note)
        entries = measured_entries(parts, [each.measured for each in results], names, event)
        keep_photos(log, results)
        log.add_part_measurements(entries, light=light)
        flights = flights_shown(log.stair(), {part.code for part in parts})
    if as_json:
        show_document(stair_document(flights), as_json=True)
    told = [line for flight in flights for part in flight.parts for line in _colour_lines(part, day)]
    for line in (*told, *doubt_lines(results)):
        say(line)
    return 0


def _colour_lines(part: PartShown, day: dt.date) -> Iterator[str]:
    """Say what was measured of a part, and what is odd about it."""
    colour = "" if part.lab is None else f"{colour_words(part.lab)} in {part.light}"
    yield f"{part.words}: measured{colour} ({part.state})."
    if part.lab is None:
        yield (
            f"  - On {day} it was not yet as it is now, so this is not its colour now; "
            "if the photo's own date is wrong, log it again with --date."
        )
    if part.note:
        yield f"  - It is {part.note}: set it aside, or put it where it is not noticed."


@stairs.has(
    "part",
    "Say which finish is on a part, and from which can.",
    "finishlab stairs part tread 7",
    "finishlab stairs part 2.T7",
    "finishlab stairs part treads 1-3 --json",
)
@click.argument("parts", nargs=-1, required=True, metavar="PART")
@json_option
def part(*, parts: tuple[str, ...], as_json: bool) -> None:
    """Say which finish is on a part, from which can, and all else that is known of it."""
    from finishlab.stair.documents import parts_document

    with open_logbook() as log:
        document = parts_document(log, " ".join(parts))
    show_document(document, as_json=as_json)


_WANTED: Final = (
    _Field("stain-coats", "Stain coats wanted. [default: the recipe's]", "N", "stain", click.IntRange(0, 8)),
    _Field("seal-coats", "Sealer coats wanted. [default: the recipe's]", "N", "seal", click.IntRange(0, 8)),
    _Field("topcoats", "Topcoats wanted. [default: the recipe's]", "N", "topcoat", click.IntRange(0, 8)),
)


@stairs.has(
    "due",
    "Say which parts are still short of a coat.",
    "finishlab stairs due",
    "finishlab stairs due all treads --stain-coats 1 --topcoats 4",
)
@click.argument("parts", nargs=-1, metavar="[PARTS]")
@_fields(*_WANTED)
@json_option
def due(*, parts: tuple[str, ...], as_json: bool, **coats: Any) -> None:  # noqa: ANN401 - whole numbers
    """Say which parts are still short of a coat, which coat is next, and from when on its label allows it.

    How many coats a part is to have says its recipe, or the options.
    """
    from finishlab.stair.documents import due_document

    with open_logbook() as log:
        stair = log.stair()
    wanted: dict[Any, int] = _given(_WANTED, coats)
    document = due_document(stair, " ".join(parts), wanted)
    if stair.parts or as_json:
        show_document(document, as_json=as_json)
    else:
        say("No stair is entered yet. Begin with, e.g.: finishlab stairs add 7 landing 7")


@stairs.has(
    "walk",
    "Say which steps can be walked on now, and from when the others.",
    "finishlab stairs walk",
)
@json_option
def walk(*, as_json: bool) -> None:
    """Say which steps can be walked on now and in the hours to come, and from when those that are not dry.

    The hours are those of the cans' labels, else usual ones.
    """
    from finishlab.plan.days import walking_document

    with open_logbook() as log:
        document = walking_document(log)
    show_document(document, as_json=as_json)


@stairs.has(
    "deviations",
    "List what was done otherwise than planned.",
    "finishlab stairs deviations",
    "finishlab stairs deviations tread 7",
)
@click.argument("parts", nargs=-1, metavar="[PARTS]")
@json_option
def list_deviations(*, parts: tuple[str, ...], as_json: bool) -> None:
    """List what was logged that differs from what was planned: a wrong can, recipe or order, a coat more, a late one.

    It is worked out of what is logged, so what was only logged wrong goes away once it is changed.
    """
    from finishlab.stair.documents import deviations_document

    with open_logbook() as log:
        document = deviations_document(log.stair(), " ".join(parts))
    show_document(document, as_json=as_json)


@stairs.has(
    "edit",
    "Change sizes, wood, recipe or notes of parts; or a flight.",
    "finishlab stairs edit 2/tread 3 --front 920 --back 908 --left-angle 91.5",
    "finishlab stairs edit all treads --recipe R1",
    "finishlab stairs edit flight 2 --name 'to the attic'",
)
@click.argument("parts", nargs=-1, required=True, metavar="PARTS|FLIGHT")
@_fields(*_SIZES, *_PART, kept="it is")
@click.option("--name", metavar="TEXT", help="Of a flight: what it is called.")
@click.option("--risers", type=click.IntRange(1, 200), metavar="N", help="Of a flight: its risers.")
@_clear(*_SIZES, *_PART)
@json_option
def edit(*, parts: tuple[str, ...], clear: tuple[str, ...], as_json: bool, **values: Any) -> None:  # noqa: ANN401 - as above
    """Change what is written of parts, many at once or one; or of a flight or landing.

    Sizes that are not named stay as they are, and what was written before stays in the history.
    """
    from finishlab.stair.entering import edit_named, kind_meant

    text = " ".join(parts)
    sizes, given = _sizes(values, kind_meant(text), clear), _given(_PART, values, clear)
    given |= {name: value for name, value in values.items() if value is not None}
    if not sizes and not given:
        changes_given()
    with open_logbook() as log:
        for line in edit_named(log, " ".join(text.split()), _numbered(log, given), sizes):
            say(line)
        if as_json:
            _print_stair(log.stair())


@stairs.has(
    "edit-event",
    "Change what was logged of a part.",
    "finishlab stairs edit-event E12 --can C2 --date 2024-05-30",
    "finishlab stairs edit-event E12 E13 --air 18 --clear recipe",
)
@click.argument("numbers", nargs=-1, required=True, metavar="E12 ...")
@click.option("--date", metavar="DATE", help="The day it was done.")
@click.option("--of", "step", type=click.Choice(COAT_STEPS), help="Of a coat: what of.")
@click.option("--coat", type=click.IntRange(1, 8), metavar="N", help="Of a coat: which one.")
@_fields(*_EVENT, *_CONDITIONS, unless="")
@_clear(*_EVENT, *_CONDITIONS)
@json_option
def edit_event(*, numbers: tuple[str, ...], clear: tuple[str, ...], as_json: bool, **values: Any) -> None:  # noqa: ANN401 - as above
    """Change what was logged of parts, many events at once or one; what it was stays in the parts' history.

    An empty text takes a field out, and so does --clear.
    """
    from finishlab.stair.entering import event_number

    conditions, given = _given(_CONDITIONS, values, clear), _given(_EVENT, values, clear)
    given |= {name: value for name, value in values.items() if value is not None}
    if not given and not conditions:
        changes_given()
    idents = [event_number(number) for number in numbers]
    with open_logbook() as log:
        changes = _numbered(log, given) | ({"conditions": conditions} if conditions else {})
        log.edit_events(list(dict.fromkeys(idents)), **changes)
        stair = log.stair()
    if as_json:
        parts = {event.ident: stair.part(event.part) for event in stair.events}
        _print_events((ident, parts[ident]) for ident in idents)
    say(f"{', '.join(f'E{ident}' for ident in idents)} changed.")


@stairs.has(
    "remove",
    "Leave parts, flights or events out from now on.",
    "finishlab stairs remove 2/riser 3",
    "finishlab stairs remove flight 2",
    "finishlab stairs remove E12",
)
@click.argument("parts", nargs=-1, required=True, metavar="PARTS|FLIGHT|E12 ...")
@json_option
def remove(*, parts: tuple[str, ...], as_json: bool) -> None:
    """Leave parts, a flight with all its parts, or events out from now on; their history stays."""
    from finishlab.stair.entering import remove_named

    with open_logbook() as log:
        gone, told = remove_named(log, " ".join(" ".join(parts).split()))
        say(told)
        say_undo()
    if as_json:
        print_removed(gone)

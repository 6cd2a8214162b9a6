"""``finishlab plan``: quantities, cutting, calendar, riser check and floor purchase; what its commands share."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar, cast

import click

from finishlab.cli.common import json_option, open_logbook, options, say, show_document
from finishlab.cli.lazy import LazyGroup
from finishlab.errors import UsageError

if TYPE_CHECKING:
    from finishlab.cautions import Action
    from finishlab.plan.stair_plan import StairPlan


Command = TypeVar("Command", bound=Callable[..., Any])

_STAIR = ("treads", "front", "depth", "thickness", "edge", "odd")


_SOURCES: Final = (
    click.option("--from", "file", type=click.Path(), metavar="FILE", help="Stair and products from a TOML file."),
    click.option("--recipe", metavar="R1", help="Of the logged stair: the recipe. [default: the standard]"),
    click.option("--treads", type=click.IntRange(1, 200), metavar="N", help="Treads of one flight."),
)
_SIZES: Final = (
    click.option("--front", metavar="LENGTH", help="Width of a tread's front edge."),
    click.option("--depth", metavar="LENGTH", help="Depth of a tread, square to the front edge."),
    click.option("--thickness", metavar="LENGTH", help="Thickness of a tread."),
    click.option("--edge", type=click.Choice(["square", "half-round"]), help="Front edge. [default: square]"),
    click.option(
        "--odd",
        multiple=True,
        metavar="N:front=L,left=A",
        help="Tread N differs: front, back, depth, and the left and right angle inside it, degrees; repeat.",
    ),
)


def stair_options(*, sized: bool, products: bool = True) -> Callable[[Command], Command]:
    """Return what adds the stair: ``--from FILE``, or treads by their number and, where `sized`, their sizes.

    Without any of them it is the logged stair, and with `products` the products of its recipe.

    The command is given a `StairPlan` as ``stair``, and whether it comes ``from_file``.
    """

    def add(command: Command) -> Command:
        @functools.wraps(command)
        def with_stair(*args: object, file: str | None, recipe: str | None, **others: Any) -> object:  # noqa: ANN401 - options
            given = {name: others.pop(name, None) for name in _STAIR}
            logged = file is None and all(given[name] in (None, ()) for name in _STAIR)
            if recipe is not None and not logged:
                raise UsageError(
                    "recipe-without-logged-stair",
                    "--recipe belongs to the logged stair.",
                    "Leave out --recipe, or --from, --treads and their sizes.",
                )
            named = others.get("liquid") or (isinstance(others.get("coats"), tuple) and others["coats"])
            if logged:
                from finishlab.plan.logged import logged_plan, logged_stair

                with open_logbook() as log:
                    wanted = products and not named
                    stair = logged_plan(log, recipe, sized=sized) if wanted else logged_stair(log, sized=sized)
            else:
                stair = _stair(file, given, sized=sized)
            return command(*args, stair=stair, from_file=file is not None, **others)

        return options(*_SOURCES, *(_SIZES if sized else ()))(cast("Command", with_stair))

    return add


csv_option = click.option("--csv", "csv_file", type=click.Path(), metavar="FILE", help="Also write a table as CSV.")


def write_text(path: str | None, text: str) -> None:
    """Write a file whole, and say so, where one is named."""
    from finishlab.files import write_atomically

    if path is not None:
        write_atomically(path, text.encode("utf-8"))
        say(f"{path} is written.")


def need_treads(stair: StairPlan) -> None:
    """Refuse a plan without any part; say which sizes are unlikely.

    Raises
    ------
    UsageError
        ``"no-stair"``.
    """
    if not stair.parts:
        raise UsageError(
            "no-stair",
            "The stair is not described.",
            "Give --treads, --front, --depth and --thickness, or a file with --from; see: finishlab plan example",
        )
    from finishlab.plan.parts import unlikely_sizes

    for sentence in unlikely_sizes((part.kind, shape) for part, shape in stair.shapes.items()):
        say(sentence)


def added_length(text: str | None) -> float:
    """Return a length that is added, mm; 0 and less than 0 are meant here."""
    from finishlab.units import read_length

    if text is None or text.strip() in {"0", "0mm", "0in"}:
        return 0.0
    sign = -1 if text.strip().startswith("-") else 1
    return sign * read_length(text.strip()[1:] if sign < 0 else text, "added", "thickness")


def _stair(file: str | None, given: dict[str, Any], *, sized: bool) -> StairPlan:
    from finishlab.plan.entered import flat_parts, parse_odd, read_plan
    from finishlab.plan.parts import Shape
    from finishlab.plan.stair_plan import StairPlan
    from finishlab.stair.names import PartName
    from finishlab.units import is_us, read_lengths

    named = [name for name in _STAIR if given[name] not in (None, ())]
    if file is not None:
        if named:
            raise UsageError(
                "file-and-sizes",
                f"The stair comes from {file}, so --{named[0]} has no place.",
                "Leave one of them out.",
            )
        return read_plan(file)
    if not sized:
        # Days do not depend on sizes.
        return StairPlan(tuple(PartName(1, "tread", place) for place in range(1, given["treads"] + 1)))
    for name in ("treads", "front", "depth", "thickness"):
        if given[name] is None:
            raise UsageError("no-size", f"Treads need --{name} too.", "Give --treads, --front, --depth, --thickness.")
    sizes = read_lengths({name: given[name] for name in ("front", "depth", "thickness")}, "tread")
    shape = Shape(**sizes, edge=given["edge"] or "square")
    odd = dict(parse_odd(text, shape) for text in given["odd"])
    texts = (given["front"], given["depth"], given["thickness"], *given["odd"])
    shapes = flat_parts(given["treads"], shape, odd)
    return StairPlan(tuple(shapes), us=any(is_us(text) for text in texts), shapes=shapes)


@click.group(cls=LazyGroup)
def plan() -> None:
    """Plan the stair: what to buy, what to cut, which day brings what.

    One flight and one product go by options; a whole stair comes from a file, see "finishlab plan example". Labels
    win over every usual figure.
    """


@plan.has(
    "quantities",
    "Say how much stain and finish to buy.",
    'finishlab plan quantities --treads 13 --front 36in --depth 11.5in --thickness 1in --liquid "oil stain"',
    "finishlab plan quantities --recipe R1",
    "finishlab plan quantities --product walnut --can-size 1qt=18.50",
    "finishlab plan quantities --from stair.toml --csv quantities.csv",
)
@stair_options(sized=True)
@click.option("--liquid", metavar="KIND", help='What is applied: "oil stain", "water polyurethane" ...')
@click.option("--product", metavar="TEXT", help="Which product of the recipe or file the options are meant for.")
@click.option("--coats", type=click.IntRange(0, 8), metavar="N", help="On top and edges. [default: 1, or the recipe's]")
@click.option("--under", type=click.IntRange(0, 8), metavar="N", help="Coats on the underside. [default: 1]")
@click.option("--coverage", metavar="TEXT", help='What the label says: "125 ft2/qt", "400-500 ft2/gal", "12 m2/L".')
@click.option("--waste", type=click.FloatRange(0, 99), metavar="PERCENT", help="Lost in can and rag. [default: 15]")
@click.option(
    "--can-size", "cans", multiple=True, metavar="SIZE=PRICE", help="A size on sale, 1qt or 1qt=18.50; repeat."
)
@csv_option
@json_option
def quantities(
    *,
    stair: StairPlan,
    from_file: bool,
    liquid: str | None,
    product: str | None,
    csv_file: str | None,
    as_json: bool,
    **said: Any,  # noqa: ANN401 - each of its own type
) -> None:
    """Say how much stain and finish to buy.

    Without --treads or --from it is for the logged stair and its recipe: sizes and prices are those of the recipe's
    logged cans, what a litre covers is their labels'. Options win over both.

    Labels differ up to threefold: without --coverage the answer is a range. Areas hold both faces, edges and
    nosing.
    """
    from finishlab.cautions import cautions_for
    from finishlab.plan.documents import quantities_csv, quantities_document
    from finishlab.plan.entered import product_of, said_on, said_on_those_meant
    from finishlab.plan.stair_plan import Origin, quantities_of
    from finishlab.units import is_us

    need_treads(stair)
    if liquid is not None and from_file and stair.products:
        raise UsageError("file-and-liquid", "The file names its products.", "Leave out --liquid.")
    if liquid is not None:
        if product is not None:
            raise UsageError("liquid-and-product", "--liquid is the product.", "Leave out --product, or --liquid.")
        # It goes without saying that options say it.
        asked = said_on(product_of(liquid), **said)
        by = _sources(coats=said["coats"] if said["coats"] is not None else said["under"])["coats"]
        origin = Origin(waste=asked.origin.waste, coats_by=by)
        stair = replace(stair, products=(replace(asked, origin=origin),))
    elif stair.products:
        stair = replace(stair, products=said_on_those_meant(stair.products, product, said))
    if any(is_us(text) for text in (said["coverage"] or "", *said["cans"])):
        stair = replace(stair, us=True)
    found = quantities_of(stair)
    write_text(csv_file, quantities_csv(found))
    names = [f"{each.product.kind} {each.product.name}" for each in found]
    cautions = cautions_for(names, ("apply", "dispose", "choose sheen"))
    show_document(quantities_document(stair, found, cautions), as_json=as_json)
    _say_what_follows(stair)


@plan.has(
    "cutting",
    "Say what to cut the treads to, and how many boards to buy.",
    "finishlab plan cutting --treads 13 --front 36in --depth 10.5in --thickness 1in --stock 96inx11.5in=62",
    "finishlab plan cutting",
    "finishlab plan cutting --from stair.toml --csv cutting.csv",
)
@stair_options(sized=True, products=False)
@click.option("--stock", "boards", multiple=True, metavar="LxW=PRICE", help="A board on sale, 96inx12in=85; repeat.")
@click.option("--kerf", metavar="LENGTH", help="Width of a saw cut. [default: 3.2 mm]")
@click.option("--allowance", metavar="LENGTH", help="Added to each length for cutting to fit. [default: 25 mm or 1 in]")
@click.option("--spare", type=click.IntRange(0, 20), metavar="N", help="Treads more than needed. [default: 1]")
@csv_option
@json_option
def cutting(
    *,
    stair: StairPlan,
    from_file: bool,
    boards: tuple[str, ...],
    kerf: str | None,
    allowance: str | None,
    spare: int | None,
    csv_file: str | None,
    as_json: bool,
) -> None:
    """Say what to cut the treads to, and how many boards to buy.

    Without --treads or --from it is for the logged stair.

    Out-of-square treads come with their back width, sides, angles and both diagonals to check. A measured back is kept:
    with one angle the other is worked out of it. Boards narrower than a tread are taken to be glued up.
    """
    from finishlab.cautions import cautions_for
    from finishlab.plan.documents import cutting_csv, cutting_document
    from finishlab.plan.entered import parse_stock
    from finishlab.plan.woodwork import ALLOWANCE, KERF, SPARES, plan_cutting
    from finishlab.units import MM_PER_INCH, is_us, read_length

    del from_file
    need_treads(stair)
    stock = tuple(parse_stock(text) for text in boards) or stair.stock
    us = stair.us or any(is_us(text) for text in (*boards, kerf or "", allowance or ""))
    if allowance is None:
        added = MM_PER_INCH if us else ALLOWANCE
    else:
        added = 0.0 if allowance.strip() == "0" else read_length(allowance, "cutting", "allowance")
    found = plan_cutting(
        {part: shape for part, shape in stair.shapes.items() if part.kind == "tread"},
        stock,
        kerf=KERF if kerf is None else read_length(kerf, "saw cut", "width"),
        allowance=added,
        spares=SPARES if spare is None else spare,
        us=us,
    )
    sources = _sources(kerf_mm=kerf, allowance_mm=allowance, spares=spare)
    write_text(csv_file, cutting_csv(found))
    cautions = cautions_for((), ("sand", "fit", "take up"))
    show_document(cutting_document(replace(stair, us=us), found, cautions, sources), as_json=as_json)


def _sources(**given: object) -> dict[str, str]:
    """Return who says each figure: an option, else nobody but common practice."""
    from finishlab.coatings import COMMON

    return {name: COMMON if value is None else "as given" for name, value in given.items()}


@plan.has(
    "calendar",
    "Plan the days so that the stair can be climbed all the while.",
    'finishlab plan calendar --treads 13 --liquid "oil stain" --liquid "hardwax oil" --liquid "hardwax oil"',
    "finishlab plan calendar --away --start 2026-12-01",
    "finishlab plan calendar --from stair.toml --ics stair.ics --csv stair.csv",
)
@stair_options(sized=False)
@click.option("--liquid", "coats", multiple=True, metavar="KIND", help="What is applied, coat after coat; repeat.")
@click.option("--start", metavar="DATE", help="First day, e.g. 2026-12-01. [default: tomorrow]")
@click.option("--hours", metavar="FROM-TO", help="When somebody works, e.g. 7:30-17:00. [default: 8-18]")
@click.option("--days", metavar="DAYS", help="Days of work, e.g. mon-sat. [default: all]")
@click.option("--zone", metavar="NAME", help="Whose clock it is, e.g. Europe/Vienna. [default: this machine's]")
@click.option("--away", is_flag=True, help="Treads are finished away from the stair and fitted afterwards.")
@click.option("--set", "set_h", type=click.FloatRange(0, 1000), metavar="HOURS", help="With --away: until glue is set.")
@click.option("--by-part", is_flag=True, help="Part by part instead of day by day.")
@csv_option
@click.option("--ics", "ics_file", type=click.Path(), metavar="FILE", help="Also write an iCalendar file.")
@json_option
def calendar(
    *,
    stair: StairPlan,
    from_file: bool,
    by_part: bool,
    csv_file: str | None,
    ics_file: str | None,
    as_json: bool,
    **given: Any,  # noqa: ANN401 - each of its own type
) -> None:
    """Plan the days so that the stair can be climbed all the while.

    Without --treads or --from it is for the logged stair and its recipe.

    Every second tread is worked on at a time; no two neighbours are wet or missing together, no step stays open
    over night, and no recoat window is missed. Times without a label are usual ones, on the side of waiting.
    """
    from finishlab.cautions import cautions_for
    from finishlab.plan.days import calendar_csv, calendar_document, calendar_ics
    from finishlab.plan.stair_plan import calendar_of
    from finishlab.stair.names import UPRIGHT

    plan = _with_days(_with_coats(stair, given, from_file=from_file), given)
    found = calendar_of(plan)
    actions: list[Action] = ["apply", "sand", "wet stair", "dispose"]
    actions += ["fit"] if plan.away else []
    # Risers and skirts mostly stay, with the old paint that is sanded before theirs.
    coated = {kind for product in plan.products for kind in product.parts}
    actions += ["strip"] if any(part.kind in UPRIGHT and part.kind in coated for part in plan.parts) else []
    cautions = cautions_for((f"{each.kind} {each.name}" for each in plan.products), actions)
    write_text(csv_file, calendar_csv(plan, found))
    write_text(ics_file, calendar_ics(plan, found))
    show_document(calendar_document(plan, found, cautions, by_part=by_part), as_json=as_json)
    _say_what_follows(plan)


def _say_what_follows(stair: StairPlan) -> None:
    """Say where one product may not hold on another."""
    from finishlab.plan.stair_plan import follow_notes_of

    for note in follow_notes_of(stair):
        say(f"Worth a thought: {note}")


def _with_coats(stair: StairPlan, given: Mapping[str, Any], *, from_file: bool) -> StairPlan:
    """Return the plan with the coats the options name."""
    from finishlab.plan.entered import product_of

    if from_file:
        if given["coats"] or given["away"]:
            raise UsageError(
                "file-and-coats", "The file names coats and what is finished away.", "Leave out --liquid and --away."
            )
        return stair
    if not stair.parts:
        raise UsageError(
            "no-stair",
            "The stair is not described.",
            "Give --treads with --liquid, or a file with --from; see: finishlab plan example",
        )
    if not given["coats"] and not stair.products and not stair.laid:
        raise UsageError("no-coats", "No coat is named.", "Name them in their order, for example --liquid “oil stain”.")
    # Coats of a product that follow each other share its recoat window, so each named coat is a product of one coat.
    products = tuple(product_of(kind) for kind in given["coats"])
    return replace(stair, products=products or stair.products, away=("tread", "return") if given["away"] else ())


def _with_days(stair: StairPlan, given: Mapping[str, Any]) -> StairPlan:
    """Return the plan with the days and hours the options name; it begins tomorrow unless somebody says when."""
    import datetime as dt

    from finishlab.plan.drying import machine_zone, parse_days, parse_hours, parse_zone
    from finishlab.record import parse_date, today

    start = stair.start or today() + dt.timedelta(days=1)
    if given["start"] is not None:
        start = parse_date(given["start"])
    hours, work = stair.hours, stair.work
    if given["hours"] is not None:
        first, last = parse_hours(given["hours"])
        hours = replace(hours, first=first, last=last)
    if given["days"] is not None:
        hours = replace(hours, days=parse_days([given["days"]]))
    if given["zone"] is not None or hours.zone is None:
        hours = replace(hours, zone=machine_zone() if given["zone"] is None else parse_zone(given["zone"]))
    if given["set_h"] is not None:
        work = replace(work, set_h=given["set_h"])
        stair = replace(stair, said=(*stair.said, ("set_h", "as given")))
    return replace(stair, start=start, hours=hours, work=work)


@plan.has(
    "risers",
    "Check the risers after a new floor and new treads.",
    "finishlab plan risers --riser 7.5in --count 14 --tread-added 3/4in --lower-added 1/4in --upper-added 1/4in",
    "finishlab plan risers --riser 190mm --riser 188mm --riser 191mm --tread-added 20mm",
)
@click.option(
    "--riser", "risers", metavar="HEIGHT", multiple=True, required=True, help="Height now, from the bottom up; repeat."
)
@click.option("--count", type=click.IntRange(1, 200), metavar="N", help="With one --riser: how many risers are alike.")
@click.option("--tread-added", metavar="LENGTH", help="How much higher each tread becomes; less than 0 for thinner.")
@click.option("--lower-added", metavar="LENGTH", help="How much higher the floor below becomes.")
@click.option("--upper-added", metavar="LENGTH", help="How much higher the floor above becomes.")
@click.option("--tread-depth", metavar="LENGTH", help="Tread, nosing to nosing, to check it too.")
@click.option("--nosing", metavar="LENGTH", help="How far a tread stands out over its riser, to check it too.")
@click.option(
    "--tread-now", metavar="LENGTH", help="Thickness of treads that are taken out, for what new ones may have."
)
@json_option
def risers(
    *,
    risers: tuple[str, ...],
    count: int | None,
    tread_depth: str | None,
    nosing: str | None,
    tread_now: str | None,
    as_json: bool,
    **added: str | None,
) -> None:
    """Check the risers of one flight after a new floor and new treads.

    Measure from floor to tread to floor as they are now, and give what is added. The figures are those of the US model
    code, by edition; the local code and the inspector decide.
    """
    from finishlab.plan.documents import risers_document
    from finishlab.plan.parts import Shape, unlikely_sizes
    from finishlab.plan.woodwork import check_risers
    from finishlab.units import is_us, read_length

    if count is not None and len(risers) > 1:
        raise UsageError("count-and-risers", "Several risers are measured and counted.", "Leave out --count.")
    heights = [read_length(text, "riser", "height") for text in risers] * (count or 1)
    for sentence in unlikely_sizes(("riser", Shape(900, height, 20)) for height in heights):
        say(sentence)
    found = check_risers(
        heights,
        **{name: added_length(text) for name, text in added.items()},
        tread_depth=None if tread_depth is None else read_length(tread_depth, "tread", "depth"),
        nosing=None if nosing is None else read_length(nosing, "tread", "nosing"),
        tread_now=None if tread_now is None else read_length(tread_now, "tread", "thickness"),
    )
    us = any(is_us(text or "") for text in (*risers, *added.values(), tread_depth, nosing, tread_now))
    show_document(risers_document(found, us=us), as_json=as_json)


@plan.has(
    "floor",
    "Say how many boxes of floor to buy.",
    "finishlab plan floor --room 12ftx14ft --room 40ft2 --box 20.5ft2 --price 54",
    "finishlab plan floor --room 15m2 --box 2.2m2 --waste 7",
)
@click.option("--room", "rooms", metavar="SIZE", multiple=True, required=True, help="12ftx14ft or 15m2; repeat.")
@click.option("--box", metavar="AREA", required=True, help="What one box holds.")
@click.option("--waste", type=click.FloatRange(0, 99), metavar="PERCENT", help="Lost in cutting. [default: 10]")
@click.option("--price", type=click.FloatRange(0), metavar="AMOUNT", help="Of one box.")
@json_option
def floor(*, rooms: tuple[str, ...], box: str, waste: float | None, price: float | None, as_json: bool) -> None:
    """Say how many boxes of floor to buy."""
    from finishlab.plan.documents import floor_document
    from finishlab.plan.entered import parse_room
    from finishlab.plan.woodwork import FLOOR_WASTE, floor_purchase
    from finishlab.units import is_us, parse_area

    lost = FLOOR_WASTE if waste is None else waste / 100
    found = floor_purchase([parse_room(text) for text in rooms], parse_area(box, "area of a box"), lost, price)
    us = any(is_us(text) for text in (*rooms, box))
    show_document(floor_document(found, us=us, waste_source=_sources(waste=waste)["waste"]), as_json=as_json)


@plan.has(
    "example",
    "Print a plan's file to change into your own.",
    "finishlab plan example",
)
def example() -> None:
    """Print a plan's file to change into your own: the stair, its products and the days of work.

    Write it to a file with: finishlab plan example > stair.toml
    """
    click.echo(Path(__file__).with_name("example.toml").read_text(encoding="utf-8"), nl=False)

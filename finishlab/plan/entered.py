"""A plan's figures from what was typed: options, or a TOML file with the stair and its products."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, cast

from finishlab.coatings import coating
from finishlab.errors import UsageError
from finishlab.plan.calendar import Work
from finishlab.plan.drying import Coat, WorkHours, default_coat, parse_days, parse_hours, parse_zone, recoat_times
from finishlab.plan.parts import Shape
from finishlab.plan.stair_plan import USUAL_PARTS, Can, Coats, Product, StairPlan
from finishlab.plan.woodwork import Stock
from finishlab.stair.names import PART_KINDS, UPRIGHT, PartKind, PartName, Side
from finishlab.toml_file import Section, read_toml, texts_in
from finishlab.units import is_us, parse_area, parse_coverage, parse_volume, read_lengths, split_sizes

_FILE: Final = "the file"
"""Who says a figure that stands in it."""
_MOST_PARTS: Final = 200
"""Most parts of one kind in a flight."""
_HINT_COUNT: Final = f"Give a whole number from 1 to {_MOST_PARTS}."


def read_plan(path: str | Path) -> StairPlan:
    """Return the plan a TOML file describes; docs/plan.md says what it may hold.

    Raises
    ------
    UsageError
        For a file that cannot be read and a value that cannot be meant; the sentence names the place in the file.
    """
    whole = read_toml(path)
    shapes: dict[PartName, Shape] = {}
    for number, flight in enumerate(whole.tables("flight"), start=1):
        shapes |= _flight(flight, number)
    away = whole.table("away")
    kinds = _kinds(away, "parts", ())
    products = tuple(_product(each, kinds) for each in whole.tables("product"))
    work, stock = whole.table("work"), whole.table("stock")
    times = {name: work.number(name) for name in ("coat_h", "rub_out_h")}
    times |= {name: away.number(name) for name in ("fit_h", "set_h", "ready_h")}
    told = {name: hours for name, hours in times.items() if hours is not None}
    plan = StairPlan(
        tuple(shapes),
        products,
        kinds,
        away.whole("at_once"),
        whole.day("start"),
        _hours(work),
        Work(**told),
        tuple(parse_stock(text) for text in stock.texts("boards")),
        us=any(is_us(text) for text in texts_in(whole.content)),
        said=tuple((name, _FILE) for name in told),
        shapes=shapes,
    )
    for section in (away, work, stock, whole):
        section.finish()
    return plan


def flat_parts(
    count: int, shape: Shape, odd: Mapping[int, Shape], *, level: int = 1, kind: PartKind = "tread"
) -> dict[PartName, Shape]:
    """Return the shapes of parts numbered from 1, those in `odd` with their own shape.

    Raises
    ------
    UsageError
        ``"bad-count"``, ``"no-such-part"``.
    """
    if not 1 <= count <= _MOST_PARTS:
        raise UsageError("bad-count", f"A flight does not have {count} {kind}s.", _HINT_COUNT)
    missing = [place for place in odd if not 1 <= place <= count]
    if missing:
        raise UsageError(
            "no-such-part", f"There is no {kind} {missing[0]} among {count}.", "Number from the bottom up."
        )
    return {PartName(level, kind, place): odd.get(place, shape) for place in range(1, count + 1)}


def parse_odd(text: str, usual: Shape) -> tuple[int, Shape]:
    """Return an out-of-square tread written ``3:front=35in,left=89,right=90.5``: what is not named is as usual.

    Raises
    ------
    UsageError
        ``"bad-odd-tread"``, and what `finishlab.plan.parts.Shape` raises.
    """
    number, _, rest = text.partition(":")
    wrong = UsageError(
        "bad-odd-tread", f"“{text}” does not describe a tread.", "Write for example 3:front=35in,left=89,right=90.5"
    )
    changes: dict[str, Any] = {}
    texts: dict[str, str] = {}
    for piece in rest.split(","):
        name, equals, value = (each.strip() for each in piece.partition("="))
        if name in ("front", "back", "depth", "thickness") and equals:
            texts[name] = value
        elif name in ("left", "right") and equals:
            changes[name] = _degrees(value, wrong)
        else:
            raise wrong
    if not number.strip().isdecimal() or not (changes or texts):
        raise wrong
    return int(number), replace(usual, **changes | read_lengths(texts, "tread"))


def parse_can(text: str) -> Can:
    """Return a can written ``1qt`` or with its price ``1qt=18.50``.

    Raises
    ------
    UsageError
        ``"bad-volume"``, ``"bad-price"``.
    """
    size, price = _priced(text)
    return Can(parse_volume(size), price, size.strip())


def parse_stock(text: str) -> Stock:
    """Return a board written ``96inx12in``, or with its price ``96inx12in=85``.

    Raises
    ------
    UsageError
        ``"bad-stock"``, ``"bad-length"``, ``"bad-price"``.
    """
    size, price = _priced(text)
    wrong = UsageError("bad-stock", f"“{size}” is not a board.", "Write length and width, for example 96inx12in.")
    length, width = _pair(size, ("length", "width"), "stock", wrong)
    return Stock(length, width, price)


def parse_room(text: str) -> float:
    """Return the area of a room, m2, written as an area, ``15m2``, or by its sides, ``12ftx14ft``.

    Raises
    ------
    UsageError
        ``"bad-area"``, ``"bad-length"``.
    """
    if "x" not in text.lower():
        return parse_area(text, "area of a room")
    wrong = UsageError("bad-area", f"“{text}” is not a room.", "Write for example 12ftx14ft or 15m2.")
    one, other = _pair(text, ("side", "other side"), "room", wrong)
    return one * other / 1e6


def product_of(kind: str, *, name: str | None = None, coats: int = 1) -> Product:
    """Return a product of a kind with all that is usual of it; UsageError ``"unknown-liquid"``."""
    coat = default_coat(kind, name)
    parts = UPRIGHT if coating(kind).role == "paint" else USUAL_PARTS
    return Product(coat.product, kind.lower(), coat, Coats(coats, under=1), parts)


def said_on(
    product: Product,
    *,
    coats: int | None = None,
    under: int | None = None,
    coverage: str | None = None,
    waste: float | None = None,
    cans: tuple[str, ...] = (),
) -> Product:
    """Return a product with what options say in the place of its figures.

    Parameters
    ----------
    product
        The product.
    coats, under
        On top and edges, and on the underside.
    coverage
        As the label has it.
    waste
        Percent.
    cans
        Sizes on sale, with their prices.

    Raises
    ------
    UsageError
        For figures nobody can mean.
    """
    origin, each = product.origin, product.each
    if coats is not None or under is not None:
        on = Coats(_or(coats, product.coats.top), None, _or(under, product.coats.under))
        each = None if each is None else tuple((part, on) for part, _ in each)
        product, origin = replace(product, coats=on), replace(origin, coats="by option")
    if coverage is not None:
        product, origin = replace(product, coverage=parse_coverage(coverage)), replace(origin, coverage="--coverage")
    if cans:
        told = "sizes and prices of --can-size" if len(cans) > 1 else "as --can-size says"
        product, origin = replace(product, cans=tuple(map(parse_can, cans))), replace(origin, cans=told)
    if waste is not None:
        product, origin = replace(product, waste=waste / 100), replace(origin, waste="as given")
    return replace(product, origin=origin, each=each)


def said_on_those_meant(products: Sequence[Product], which: str | None, said: Mapping[str, Any]) -> tuple[Product, ...]:
    """Return the products of a recipe or a file with what options say in the place of their figures.

    A waste alone is meant for all of them; anything else for the one that is named, or the only one.

    Raises
    ------
    UsageError
        ``"unknown-product"``, ``"which-product"``, and for figures nobody can mean.
    """
    of_one = any(value not in (None, ()) for name, value in said.items() if name != "waste")
    meant = list(range(len(products)))
    if which is not None:
        meant = [n for n, each in enumerate(products) if which.casefold() in (each.name.casefold(), each.kind)]
    if not meant or (of_one and len(meant) > 1):
        names = ", ".join(f"“{each.name}”" for each in products)
        code, message = "which-product", f"Several products are planned: {names}."
        if not meant:
            code, message = "unknown-product", f"“{which}” is not planned; that are: {names}."
        raise UsageError(code, message, f"Say which one is meant: --product “{products[0].name}”")
    return tuple(said_on(each, **said) if n in meant else each for n, each in enumerate(products))


def _flight(section: Section, number: int) -> dict[PartName, Shape]:
    level = 2 * number - 1
    risers, count = section.whole("risers"), section.whole("treads")
    if count is None and risers is None:
        raise UsageError(
            "no-treads", f"{section.where}: neither treads nor risers are counted.", "Give treads = 6 or risers = 7."
        )
    if count is not None and risers is not None and count != risers - 1:
        raise UsageError(
            "treads-contradict-risers",
            f"{section.where}: {risers} risers have {risers - 1} treads, not {count}.",
            "A flight has one tread fewer than risers: its last step is the floor above. Give one of the two.",
        )
    usual = _shape(section.table("tread"), "tread")
    odd = {}
    for each in section.tables("odd", "out-of-square tread"):
        place = each.whole("tread")
        if place is None:
            raise UsageError("no-such-part", f"{each.where}: the tread has no number.", "Add for example tread = 3.")
        odd[place] = _shape(each, "tread", usual)
    treads = count if count is not None else (risers or 0) - 1
    parts = flat_parts(treads, usual, odd, level=level) if treads != 0 else {}
    riser = section.table("riser")
    if riser:
        parts |= flat_parts(risers or treads + 1, _shape(riser, "riser"), {}, level=level, kind="riser")
    for kind in ("landing nosing", "nosing", "return", "stringer", "skirt"):
        count_at: dict[Side | None, int] = {}
        for each in section.tables(kind.replace(" ", "_")):
            side = _side(each)
            place = count_at[side] = count_at.get(side, 0) + 1
            parts[PartName(level, kind, place, side)] = _shape(each, kind)
    landing = section.table("landing")
    if landing:
        boards = landing.whole("boards") or 1
        parts |= flat_parts(boards, _shape(landing, "landing board"), {}, level=level + 1, kind="landing board")
    section.finish()
    return parts


def _side(section: Section) -> Side | None:
    side = section.text("side")
    if side not in (None, "left", "right"):
        raise UsageError("bad-side", f"{section.where}: the side is “{side}”.", "Write left or right, seen from below.")
    return cast("Side | None", side)


def _shape(section: Section, kind: str, usual: Shape | None = None) -> Shape:
    """Return a shape; what is not named is as usual, where there is a usual one."""
    found: dict[str, Any] = dict(section.lengths(("front", "depth", "thickness", "back"), kind))
    found |= {"left": section.number("left"), "right": section.number("right"), "edge": section.text("edge")}
    given = {name: value for name, value in found.items() if value is not None}
    section.finish()
    if given.get("edge", "square") not in ("square", "half-round"):
        raise UsageError("bad-edge", f"{section.where}: the edge is “{given['edge']}”.", "Write square or half-round.")
    if usual is None:
        for name in ("front", "depth", "thickness"):
            if name not in given:
                raise UsageError(
                    "no-size", f"{section.where}: the {name} is missing.", f'Add for example {name} = "36in".'
                )
    with section.told():
        return Shape(**given) if usual is None else replace(usual, **given)


def _product(section: Section, away: tuple[PartKind, ...]) -> Product:
    kind = section.text("kind")
    if kind is None:
        raise UsageError("no-kind", f"{section.where}: the kind is missing.", 'Add for example kind = "oil stain".')
    usual = product_of(kind, name=section.text("name"))
    parts = _kinds(section, "parts", usual.parts)
    # Both faces get their coats where a part lies on points; on the stair nobody reaches the underside.
    under = _or(section.whole("under"), int(bool(set(parts) & set(away))))
    waste, coats = section.number("waste"), section.whole("coats")
    origin = usual.origin if waste is None else replace(usual.origin, waste=_FILE)
    found = replace(
        usual,
        coat=_timed(section, usual.coat),
        coats=Coats(_or(coats, 1), section.whole("edges"), under),
        parts=parts,
        coverage=section.read("coverage", parse_coverage),
        waste=usual.waste if waste is None else waste / 100,
        cans=tuple(parse_can(text) for text in section.texts("cans")),
        origin=origin if coats is None else replace(origin, coats_by=_FILE),
    )
    section.finish()
    return found


def _timed(section: Section, base: Coat) -> Coat:
    """Return a coat with the label's times in place of the usual ones."""
    use, cure = section.number("use_d"), section.number("cure_d")
    own, other = section.span("recoat_h"), section.span("under_other_h")
    said = {
        "late": section.number("late_h"),
        "rub_out": section.flag("rub_out"),
        "socks": section.number("socks_h"),
        "use": None if use is None else use * 24,
        "cure": None if cure is None else cure * 24,
    }
    with section.told():
        times = recoat_times(base.times, own, other=other, by=(_FILE, _FILE)).with_said(_FILE, **said)
    return replace(base, times=times)


def _hours(work: Section) -> WorkHours:
    usual = WorkHours()
    first, last = work.read("hours", parse_hours) or (usual.first, usual.last)
    days = work.texts("days")
    zone = work.read("zone", parse_zone)
    return WorkHours(first, last, parse_days(days) if days else usual.days, frozenset(work.days("off")), zone)


def _kinds(section: Section, name: str, usual: tuple[PartKind, ...]) -> tuple[PartKind, ...]:
    texts = section.texts(name)
    for text in texts:
        if text not in PART_KINDS:
            raise UsageError(
                "unknown-part",
                f"{section.where}, {name}: “{text}” is not a part.",
                f"Choose of: {', '.join(PART_KINDS)}.",
            )
    return cast("tuple[PartKind, ...]", texts) or usual


def _or(value: Any, usual: Any) -> Any:  # noqa: ANN401 - a number or a whole number, as the usual one is
    return usual if value is None else value


def _pair(text: str, names: tuple[str, str], kind: str, wrong: UsageError) -> tuple[float, float]:
    pieces = split_sizes(text)
    if len(pieces) != len(names) or not all(pieces):
        raise wrong
    found = read_lengths(dict(zip(names, pieces, strict=True)), kind)
    return found[names[0]], found[names[1]]


def _priced(text: str) -> tuple[str, float | None]:
    size, equals, price = text.partition("=")
    if not equals:
        return size, None
    try:
        return size, float(price)
    except ValueError:
        raise UsageError("bad-price", f"“{price}” is not a price.", "Write it after the size: 1qt=18.50.") from None


def _degrees(text: str, wrong: UsageError) -> float:
    try:
        return float(text)
    except ValueError:
        raise wrong from None

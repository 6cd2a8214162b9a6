"""What the commands of a plan share: the stair by options or from a file, and files for a spreadsheet or a calendar."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from finishlab.cli.common import open_logbook, say
from finishlab.errors import UsageError

if TYPE_CHECKING:
    from finishlab.plan.stair_plan import StairPlan

__all__ = ["added_length", "csv_option", "need_treads", "stair_options", "write_text"]

Command = TypeVar("Command", bound=Callable[..., Any])

_STAIR = ("treads", "front", "depth", "thickness", "edge", "odd")


def stair_options(*, sized: bool, products: bool = True) -> Callable[[Command], Command]:
    """Return what adds the stair: ``--from FILE``, or treads by their number and, where `sized`, their sizes.

    Without any of them it is the logged stair, and with `products` the products of its recipe.

    The command is given a `StairPlan` as ``stair``, and whether it comes ``from_file``.
    """
    options = [
        click.option("--from", "file", type=click.Path(), metavar="FILE", help="Stair and products from a TOML file."),
        click.option("--recipe", metavar="R1", help="Of the logged stair: the recipe. [default: the standard]"),
        click.option("--treads", type=click.IntRange(1, 200), metavar="N", help="Treads of one flight."),
    ]
    if sized:
        options += [
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
        ]

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
                stair = _logged(recipe, products=products and not named, sized=sized)
            else:
                stair = _stair(file, given, sized=sized)
            return command(*args, stair=stair, from_file=file is not None, **others)

        wrapped = cast("Command", with_stair)
        for option in reversed(options):
            wrapped = option(wrapped)
        return wrapped

    return add


def csv_option(command: Command) -> Command:
    """Add ``--csv FILE``."""
    return click.option("--csv", "csv_file", type=click.Path(), metavar="FILE", help="Also write a table as CSV.")(
        command
    )


def write_text(path: str, text: str) -> None:
    """Write a file whole, and say so."""
    from finishlab.files import write_atomically

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
    from finishlab.plan.geometry import unlikely_sizes

    for sentence in unlikely_sizes(stair.parts):
        say(sentence)


def added_length(text: str | None) -> float:
    """Return a length that is added, mm; 0 and less than 0 are meant here."""
    from finishlab.amounts import read_length

    if text is None or text.strip() in {"0", "0mm", "0in"}:
        return 0.0
    sign = -1 if text.strip().startswith("-") else 1
    return sign * read_length(text.strip()[1:] if sign < 0 else text, "added", "thickness")


def _logged(recipe: str | None, *, products: bool, sized: bool) -> StairPlan:
    from finishlab.plan.logged import logged_plan, logged_stair

    with open_logbook() as log:
        return logged_plan(log, recipe, sized=sized) if products else logged_stair(log, sized=sized)


def _stair(file: str | None, given: dict[str, Any], *, sized: bool) -> StairPlan:
    from finishlab.amounts import read_lengths
    from finishlab.plan.entered import flat_parts, parse_odd, read_plan
    from finishlab.plan.geometry import Shape
    from finishlab.plan.stair_plan import StairPlan
    from finishlab.units import is_us

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
        return StairPlan(flat_parts(given["treads"], Shape(900, 250, 25), {}))
    for name in ("treads", "front", "depth", "thickness"):
        if given[name] is None:
            raise UsageError("no-size", f"Treads need --{name} too.", "Give --treads, --front, --depth, --thickness.")
    sizes = read_lengths({name: given[name] for name in ("front", "depth", "thickness")}, "tread")
    shape = Shape(**sizes, edge=given["edge"] or "square")
    odd = dict(parse_odd(text, shape) for text in given["odd"])
    texts = (given["front"], given["depth"], given["thickness"], *given["odd"])
    return StairPlan(flat_parts(given["treads"], shape, odd), us=any(is_us(text) for text in texts))

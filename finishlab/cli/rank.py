"""``finishlab rank``: the answer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.aims import aim_options, other_aim, read_aim
from finishlab.cli.common import json_option, open_logbook, out, print_document
from finishlab.cli.lazy import ExampleCommand

if TYPE_CHECKING:
    from finishlab.rank.comparing import Comparison


@click.command(
    cls=ExampleCommand,
    examples=(
        "finishlab rank",
        'finishlab rank --light "evening lamp"',
        "finishlab rank --no-redder",
        "finishlab rank --aim contrast --darker 12",
    ),
)
@click.option(
    "--light",
    metavar="TEXT",
    help="The light whose photos are compared. [default: the one with most boards beside a measured floor]",
)
@aim_options
@click.option(
    "--most",
    type=click.IntRange(0),
    default=20,
    show_default=True,
    metavar="N",
    help="Boards shown in the table; 0 shows all. --json always holds all.",
)
@json_option
def rank(*, light: str | None, as_json: bool, most: int, **wanted: Any) -> None:  # noqa: ANN401 - the options above
    """Say which board comes closest to the floor, and how sure that is.

    Every photo counts at its weight: a board and the floor in one photo more than the two apart. With photos in
    several lights each is ranked by itself and by its worst light.
    """
    from finishlab.rank.comparing import compare

    aim = read_aim(**wanted)
    with open_logbook() as log:
        found = compare(log, light=light, aim=aim, other=other_aim(aim))
    if as_json:
        print_document(_document(found))
        return
    _show(found, most)


def _document(found: Comparison) -> dict[str, Any]:
    from finishlab.reports.comparison import choices_entry, lights_entry, recipes_entry
    from finishlab.reports.costs import costs_entry
    from finishlab.reports.documents import ranking_document
    from finishlab.reports.trials import trust_entry

    return {
        **ranking_document(found.ranking),
        "light": found.light,
        "left_out": list(found.left_out),
        "lights": None if found.lights is None else lights_entry(found.lights),
        "choices": choices_entry(found.choices),
        "recipes": None if found.recipes is None else recipes_entry(found.recipes),
        "costs": [costs_entry(each) for each in found.costs],
        "trials": trust_entry(found.trust),
    }


def _show(found: Comparison, most: int) -> None:
    from finishlab.reports.costs import costs_line
    from finishlab.reports.terminal import print_ranking
    from finishlab.reports.trials import trust_line

    beside = [*(costs_line(each) for each in found.costs[:1]), trust_line(found.trust)]
    console = out()
    print_ranking(
        console,
        found.ranking,
        found.boards,
        lights=found.lights,
        choices=found.choices,
        recipes=found.recipes,
        most=most or None,
        beside=[line for line in beside if line],
    )
    left_out = f" Not photographed in it: {', '.join(found.left_out)}." if found.left_out else ""
    console.print(f"\nLight: {found.light}.{left_out}", markup=False, highlight=False)

"""``finishlab rank``: the answer."""

from __future__ import annotations

from typing import Any

import click

from finishlab.cli.common import json_option, open_logbook, show_document
from finishlab.cli.lazy import ExampleCommand
from finishlab.rank.options import aim_options, other_aim, read_aim

__all__ = ["rank"]


@click.command(
    cls=ExampleCommand,
    examples=(
        "finishlab rank",
        "finishlab rank --full",
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
@click.option("--full", is_flag=True, help="All of it: every board, lights, aims, doubts, what to do next.")
@click.option(
    "--most",
    type=click.IntRange(0),
    default=20,
    show_default=True,
    metavar="N",
    help="With --full: boards shown in the table; 0 shows all. --json always holds all.",
)
@json_option
def rank(*, light: str | None, as_json: bool, full: bool, most: int, **wanted: Any) -> None:  # noqa: ANN401 - the options above
    """Say which board comes closest to the floor, and how sure that is.

    Every photo counts at its weight: a board and the floor in one photo more than the two apart. With photos in
    several lights each is ranked by itself and by its worst light.
    """
    from finishlab.rank.comparing import compare
    from finishlab.rank.documents import comparison_document

    aim = read_aim(**wanted)
    with open_logbook() as log:
        found = compare(log, light=light, aim=aim, other=other_aim(aim))
    document = comparison_document(found, full=full, most=most or None, as_json=as_json)
    show_document(document, as_json=as_json)

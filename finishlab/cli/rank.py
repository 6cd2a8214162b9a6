"""``finishlab rank``: the answer."""

from __future__ import annotations

import click

from finishlab.cli.common import json_option, open_logbook, out, print_document
from finishlab.cli.lazy import ExampleCommand


@click.command(
    cls=ExampleCommand,
    short_help="Say which board comes closest to the floor.",
    examples=(
        "finishlab rank",
        'finishlab rank --light "evening lamp"',
    ),
)
@click.option(
    "--light",
    metavar="TEXT",
    help="The light whose photos are compared. [default: the one with most boards beside a measured floor]",
)
@json_option
def rank(*, light: str | None, as_json: bool) -> None:
    """Say which board comes closest to the floor, and how sure that is."""
    from finishlab.reports.documents import ranking_document
    from finishlab.reports.terminal import print_ranking
    from finishlab.workflow.comparing import compare

    with open_logbook() as log:
        found = compare(log, light=light)
    if as_json:
        document = ranking_document(found.ranking)
        print_document({**document, "light": found.light, "left_out": list(found.left_out)})
        return
    console = out()
    print_ranking(console, found.ranking, found.boards)
    left_out = f" Photographed in other lights only: {', '.join(found.left_out)}." if found.left_out else ""
    console.print(f"\nLight: {found.light}.{left_out}", markup=False, highlight=False)

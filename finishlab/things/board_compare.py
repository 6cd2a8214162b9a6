"""``finishlab board compare``: two boards side by side."""

from __future__ import annotations

import click

from finishlab.cli.common import json_option, open_logbook, out, print_document
from finishlab.cli.lazy import ExampleCommand


@click.command(
    cls=ExampleCommand,
    short_help="Show what differs between two boards, and their colours.",
    examples=("finishlab board compare B2 B5",),
)
@click.argument("first", metavar="B2")
@click.argument("second", metavar="B5")
@json_option
def compare(*, first: str, second: str, as_json: bool) -> None:
    """Show every field that differs between two boards, and how far apart their colours are in each light."""
    from finishlab.reports.board_comparison import comparison_document, print_comparison
    from finishlab.things.board_compared import compare_boards

    with open_logbook() as log:
        compared = compare_boards(log, first, second)
    if as_json:
        print_document(comparison_document(compared))
    else:
        print_comparison(out(), compared)

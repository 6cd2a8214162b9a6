"""``finishlab cautions``: what can hurt somebody, and who says so."""

from __future__ import annotations

import click

from finishlab.cli.common import json_option, out, print_document
from finishlab.cli.lazy import ExampleCommand


@click.command(
    cls=ExampleCommand,
    short_help="Show every caution with its source.",
    examples=("finishlab cautions", "finishlab cautions --json"),
)
@json_option
def cautions(*, as_json: bool) -> None:
    """Show every caution with its source: oily rags, vapour, dust, old coatings, blocked stairs, slip, disposal."""
    from finishlab.cautions import CAUTIONS

    if as_json:
        from finishlab.plan.documents import cautions_document

        print_document(cautions_document(CAUTIONS.values()))
        return
    from finishlab.plan.text import print_cautions

    print_cautions(out(), CAUTIONS.values(), sources=True)

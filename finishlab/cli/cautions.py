"""``finishlab cautions``: what can hurt somebody, and who says so."""

from __future__ import annotations

import click

from finishlab.cli.common import json_option, show_document
from finishlab.cli.lazy import ExampleCommand


@click.command(
    cls=ExampleCommand,
    examples=("finishlab cautions", "finishlab cautions --json"),
)
@json_option
def cautions(*, as_json: bool) -> None:
    """Show every caution with its source: rags, vapour, dust, lead, asbestos, blocked stairs ..."""
    from finishlab.cautions import CAUTIONS
    from finishlab.show.cautions import cautions_document

    show_document(cautions_document(CAUTIONS.values()), as_json=as_json)

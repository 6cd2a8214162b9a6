"""Cautions: every one with its source, and at the moment of use, each kind once a day, so that they are read."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import click

from finishlab.cautions import AT_EVERY_COAT, CAUTIONS, cautions_for
from finishlab.cli.common import json_option, say, show_document
from finishlab.cli.lazy import ExampleCommand

if TYPE_CHECKING:
    from finishlab.cautions import Action
    from finishlab.logbook import Logbook

__all__ = ["due_cautions", "say_cautions"]


def due_cautions(
    log: Logbook, products: Iterable[str | None], actions: Iterable[Action] = ("apply",), *, at_coat: bool = False
) -> list[str]:
    """Return what products and work call for and was not said today, a line each; the logbook takes it as said.

    Parameters
    ----------
    log
        The open logbook, which remembers the day.
    products
        Names as people write them, one text a product; None is left out.
    actions
        What is done.
    at_coat
        Whether a coat was given just now: then what holds for each coat is said again.
    """
    codes = [caution.code for caution in cautions_for(products, actions)]
    new = set(log.cautions_due(codes)) if codes else set()
    return [CAUTIONS[code].spoken for code in codes if code in new or (at_coat and code in AT_EVERY_COAT)]


def say_cautions(
    log: Logbook, products: Iterable[str | None], actions: Iterable[Action] = ("apply",), *, at_coat: bool = False
) -> None:
    """Say on stderr what `due_cautions` returns."""
    for line in due_cautions(log, products, actions, at_coat=at_coat):
        say(line)


@click.command(
    cls=ExampleCommand,
    examples=("finishlab cautions", "finishlab cautions --json"),
)
@json_option
def cautions(*, as_json: bool) -> None:
    """Show every caution with its source: rags, vapour, dust, lead, asbestos, blocked stairs ..."""
    from finishlab.show.cautions import cautions_document

    show_document(cautions_document(CAUTIONS.values()), as_json=as_json)

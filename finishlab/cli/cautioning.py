"""Cautions at the moment of use: each kind once a day, so that they are read and not scrolled past."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from finishlab.cautions import CAUTIONS, cautions_for
from finishlab.cli.common import say

if TYPE_CHECKING:
    from finishlab.cautions import Action
    from finishlab.logbook import Logbook

__all__ = ["due_cautions", "say_cautions"]


def due_cautions(log: Logbook, products: Iterable[str | None], actions: Iterable[Action] = ("apply",)) -> list[str]:
    """Return what products and work call for and was not said today, a line each; the logbook takes it as said.

    Parameters
    ----------
    log
        The open logbook, which remembers the day.
    products
        Names as people write them; None is left out.
    actions
        What is done.
    """
    codes = [caution.code for caution in cautions_for(products, actions)]
    return [CAUTIONS[code].spoken for code in log.cautions_due(codes)] if codes else []


def say_cautions(log: Logbook, products: Iterable[str | None], actions: Iterable[Action] = ("apply",)) -> None:
    """Say on stderr what `due_cautions` returns."""
    for line in due_cautions(log, products, actions):
        say(line)

"""Cautions at the moment of use: each kind once a day, so that they are read and not scrolled past."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from finishlab.cautions import AT_EVERY_COAT, CAUTIONS, cautions_for
from finishlab.cli.common import say

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

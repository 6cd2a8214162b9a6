"""Cautions at the moment of use: each kind once a day, so that they are read and not scrolled past."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from finishlab.cautions import CAUTIONS, cautions_for
from finishlab.cli.common import say

if TYPE_CHECKING:
    from finishlab.cautions import Action
    from finishlab.logbook import Logbook

__all__ = ["say_cautions"]


def say_cautions(log: Logbook, products: Iterable[str | None], actions: Iterable[Action] = ("apply",)) -> None:
    """Say what products and work call for, on stderr, unless it was said today.

    Parameters
    ----------
    log
        The open logbook, which remembers the day.
    products
        Names as people write them; None is left out.
    actions
        What is done.
    """
    for code in log.cautions_due(caution.code for caution in cautions_for(products, actions)):
        say(CAUTIONS[code].spoken)

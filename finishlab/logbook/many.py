"""Thousands of small objects made at once, thousands of keys asked for some at a time."""

from __future__ import annotations

import gc
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Final, TypeVar

__all__ = ["batches", "many_objects"]

T = TypeVar("T")
_AT_ONCE: Final = 500
"""Keys asked for at once; databases take no more than some thousand."""


def batches(keys: Iterable[T]) -> Iterator[list[T]]:
    """Yield the keys of a query by so many as a database takes."""
    left = iter(keys)
    while some := list(islice(left, _AT_ONCE)):
        yield some


@contextmanager
def many_objects() -> Iterator[None]:
    """Put off Python's search for cycles while thousands of objects are made, none of which is a cycle.

    The search runs again and again over all that was made so far and takes longer than making it: reading 10,000 boards
    takes half the time without it.
    """
    running = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if running:
            gc.enable()

"""What a command says while another face runs it: collected by context, never taken from the streams."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from finishlab.errors import FinishlabError

if TYPE_CHECKING:
    from finishlab.show.document import Document

__all__ = ["Heard", "heard", "listening"]


@dataclass(slots=True)
class Heard:
    """All that a command would have put on a terminal, in the order of each."""

    documents: list[Document] = field(default_factory=list)
    results: list[str] = field(default_factory=list)
    """Lines for stdout that are no document: the numbers given, the files written."""
    said: list[str] = field(default_factory=list)
    """Sentences for stderr."""
    errors: list[FinishlabError] = field(default_factory=list)


_LISTENER: ContextVar[Heard | None] = ContextVar("finishlab.heard", default=None)


def heard() -> Heard | None:
    """Return who listens in this context; None where a command speaks to a terminal."""
    return _LISTENER.get()


@contextmanager
def listening() -> Iterator[Heard]:
    """Collect what commands say inside, in this thread and context alone; nobody is there to be asked."""
    listener = Heard()
    before = _LISTENER.set(listener)
    try:
        yield listener
    finally:
        _LISTENER.reset(before)

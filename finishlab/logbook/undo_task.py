"""What the ways back from a change have in common."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy.orm import Session

from finishlab.logbook.writing import note_change

__all__ = ["UNDONE", "Task", "Way"]

UNDONE: Final = "undone"
"""Key under which an entry ``undo`` says what it took back."""


@dataclass(frozen=True, slots=True)
class Task:
    """A change to take back, and who does."""

    session: Session
    subject: str
    before: Mapping[str, Any]
    after: Mapping[str, Any]
    who: str
    number: int
    what: str

    def mark(self, effect: str) -> dict[str, Any]:
        """Return what the new entry says of the old one; `effect` is the kind of change it counts as."""
        return {"change": self.number, "what": self.what, "as": effect}

    def note(self, effect: str, before: dict[str, Any] | None, after: dict[str, Any] | None = None) -> None:
        """Note the new entry."""
        marked = {**(after or {}), UNDONE: self.mark(effect)}
        note_change(self.session, self.who, "undo", self.subject, before=before, after=marked)


Way = Callable[[Task], None]
"""Takes one kind of change back and notes it."""

"""What the ways back from a change have in common."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from sqlalchemy.orm import Session

from finishlab.logbook.writing import note_change

__all__ = ["UNDONE", "Steps", "Task", "Way"]

UNDONE: Final = "undone"
"""Key under which an entry ``undo`` or ``redo`` says which change it is about."""
Steps = Literal["undo", "redo"]


@dataclass(frozen=True, slots=True)
class Task:
    """An entry of the history to take back, and who does."""

    session: Session
    subject: str
    before: Mapping[str, Any]
    after: Mapping[str, Any]
    who: str
    number: int
    """Of the entry that is taken back: a change, or the ``undo`` of one when that is brought back."""
    root: int
    """Number of the change itself."""
    what: str
    """Kind of the change itself."""
    step: Steps = "undo"

    def mark(self, effect: str) -> dict[str, Any]:
        """Return what the new entry says of the change; `effect` is the kind of change it counts as itself."""
        return {"entry": self.root, "what": self.what, "as": effect}

    def note(
        self,
        effect: str,
        before: dict[str, Any] | None,
        after: dict[str, Any] | None = None,
        *,
        subject: str | None = None,
    ) -> None:
        """Note the new entry; `subject` where the change took something else along."""
        marked = {**(after or {}), UNDONE: self.mark(effect)}
        note_change(self.session, self.who, self.step, subject or self.subject, before=before, after=marked)


Way = Callable[[Task], None]
"""Takes one kind of change back and notes it."""

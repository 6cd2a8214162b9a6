"""What the parts of a logbook stand on."""

from __future__ import annotations

from contextlib import AbstractContextManager
from pathlib import Path

from sqlalchemy import Engine
from sqlalchemy.orm import Session

__all__ = ["Shelf"]


class Shelf:
    """A part of a logbook; `finishlab.logbook.store.Logbook` is all of them, and gives them their transactions."""

    _folder: Path
    _engine: Engine
    _who: str

    def _read(self) -> AbstractContextManager[Session]:
        raise NotImplementedError

    def _write(self) -> AbstractContextManager[Session]:
        raise NotImplementedError

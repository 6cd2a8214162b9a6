"""Boards as rows, made when they are looked at: of thousands only the first are shown."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from finishlab.logbook import LoggedBoard, LoggedBoards
from finishlab.record import Light
from finishlab.reports.rows import BoardRow, BoardRows
from finishlab.workflow.rows import logged_row

__all__ = ["Rows"]


class Rows(BoardRows):
    """Boards as rows, made when they are looked at: of thousands only the first are shown."""

    def __init__(self, logged: LoggedBoards, light: Light, measured: Iterable[LoggedBoard]) -> None:
        self._logged = logged
        self._light = light
        self._boards = {board.number: board for board in logged.boards}
        self._measured = {board.number for board in measured}

    def __getitem__(self, number: str) -> BoardRow:
        light = self._light if number in self._measured else None
        return logged_row(self._boards[number], self._logged.colours, light)

    def __iter__(self) -> Iterator[str]:
        return iter(self._boards)

    def __len__(self) -> int:
        return len(self._boards)

    def purposes(self) -> frozenset[str]:
        """Return what the boards are for."""
        return frozenset(board.purpose for board in self._boards.values())

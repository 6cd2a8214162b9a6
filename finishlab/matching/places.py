"""Boards by place, each made when somebody looks at it: of thousands only the first are shown."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Final, overload

if TYPE_CHECKING:
    from finishlab.colorimetry.difference import DeltaE
    from finishlab.matching.ranking import RankedBoard, Subject

__all__ = ["Places", "Subjects"]

_KEPT: Final = 256
"""First places that are kept once made; those behind are made anew each time, so that memory stays flat."""


class Places(Sequence["RankedBoard"]):
    """A sequence of ranked boards; equal to any other of the same boards in the same order.

    Parameters
    ----------
    numbers
        The boards' numbers by place.
    make
        Makes the board at an index, from 0 on; the same one each time.
    score
        Returns how far the board at an index is from the aim, which takes less than making it.
    """

    __slots__ = ("_index", "_kept", "_make", "_score", "numbers")

    def __init__(
        self, numbers: Sequence[str], make: Callable[[int], RankedBoard], score: Callable[[int], DeltaE]
    ) -> None:
        self.numbers = numbers
        self._make = make
        self._score = score
        self._kept: dict[int, RankedBoard] = {}
        self._index: dict[str, int] = {}

    def changed(self, change: Callable[[RankedBoard], RankedBoard]) -> Places:
        """Return the same boards, each changed when it is looked at; their scores stay."""
        return Places(self.numbers, lambda index: change(self[index]), self._score)

    def find(self, number: str) -> RankedBoard:
        """Return a board by its number.

        Raises
        ------
        KeyError
            If it is not among them.
        """
        return self[self._place(number)]

    def score_of(self, number: str) -> DeltaE:
        """Return how far a board is from the aim, by its number; as `find`."""
        return self._score(self._place(number))

    def _place(self, number: str) -> int:
        if not self._index:
            self._index = {each: index for index, each in enumerate(self.numbers)}
        return self._index[number]

    def __len__(self) -> int:
        return len(self.numbers)

    @overload
    def __getitem__(self, index: int) -> RankedBoard: ...

    @overload
    def __getitem__(self, index: slice) -> tuple[RankedBoard, ...]: ...

    def __getitem__(self, index: int | slice) -> RankedBoard | tuple[RankedBoard, ...]:
        if isinstance(index, slice):
            return tuple(self[i] for i in range(*index.indices(len(self))))
        at = index + len(self) if index < 0 else index
        if not 0 <= at < len(self):
            raise IndexError(index)
        found = self._kept.get(at)
        if found is None:
            found = self._make(at)
            if at < _KEPT:
                self._kept[at] = found
        return found

    def __iter__(self) -> Iterator[RankedBoard]:
        return (self[index] for index in range(len(self)))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, tuple | Places):
            return NotImplemented
        return len(self) == len(other) and all(one == two for one, two in zip(self, other, strict=True))

    def __hash__(self) -> int:
        return hash(tuple(self.numbers))


class Subjects(Sequence["Subject"]):
    """What a ranking is told of boards, made when it is looked at.

    Parameters
    ----------
    numbers
        The boards' numbers.
    make
        Makes what is told of the board at an index.
    """

    __slots__ = ("_make", "numbers")

    def __init__(self, numbers: Sequence[str], make: Callable[[int], Subject]) -> None:
        self.numbers = numbers
        self._make = make

    @classmethod
    def of(cls, subjects: Sequence[Subject]) -> Subjects:
        """Return subjects, which may be made already, as such ones."""
        if isinstance(subjects, Subjects):
            return subjects
        return cls([subject.board for subject in subjects], subjects.__getitem__)

    def only(self, picks: Sequence[int]) -> Subjects:
        """Return some of them."""
        return Subjects([self.numbers[i] for i in picks], lambda index: self[picks[index]])

    def __len__(self) -> int:
        return len(self.numbers)

    @overload
    def __getitem__(self, index: int) -> Subject: ...

    @overload
    def __getitem__(self, index: slice) -> list[Subject]: ...

    def __getitem__(self, index: int | slice) -> Subject | list[Subject]:
        if isinstance(index, slice):
            return [self._make(i) for i in range(*index.indices(len(self)))]
        if not -len(self) <= index < len(self):
            raise IndexError(index)
        return self._make(index % len(self))

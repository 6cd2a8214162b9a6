"""Numbers of what the logbook keeps, as people write them: ``B3``, ``F2``, ``R1``, ``C4``."""

from __future__ import annotations

import re
from typing import Final, overload

from finishlab.errors import UsageError

__all__ = ["Number", "named", "number_of"]

_NUMBER: Final = re.compile(r"[0-9]{1,9}")


class Number(str):
    """A letter for the kind of thing and a count, ``"B3"``: the text it is to people, which also knows its count."""

    __slots__ = ()

    @classmethod
    def of(cls, letter: str, key: int) -> Number:
        """Return the number of a thing by its kind's letter and its count."""
        return cls(f"{letter}{key}")

    @property
    def key(self) -> int:
        """The count alone, by which tables know it."""
        return int(self[1:])


@overload
def named(letter: str, key: int) -> Number: ...
@overload
def named(letter: str, key: int | None) -> Number | None: ...
def named(letter: str, key: int | None) -> Number | None:
    """Return how people write the number of a thing that may not be named."""
    return None if key is None else Number.of(letter, key)


def number_of(letter: str, text: str | int | None) -> int | None:
    """Return the number in ``"R3"``, or in ``"3"``, for the letter R; None for nothing.

    Raises
    ------
    UsageError
        ``"bad-number"``.
    """
    if text is None or isinstance(text, int):
        return text
    digits = text.strip().upper().removeprefix(letter)
    if not digits:
        return None
    if not _NUMBER.fullmatch(digits):
        raise UsageError("bad-number", f"“{text}” is not a number such as {letter}3.", f"Write it as {letter}3.")
    return int(digits)

"""What all records have in common: their JSON form, checked and tidied texts, dates and choices, numbers such as B3."""

from __future__ import annotations

import datetime as dt
import math
import re
import unicodedata
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from functools import lru_cache
from typing import Any, ClassVar, Final, Literal, Self, TypeVar, cast
from urllib.parse import quote

from finishlab.errors import UsageError

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")
Light = str
"""Name of a light in the user's own words, spelt as `normalise_light` spells it."""
DAYLIGHT: Final[Light] = "daylight"

SHORT_TEXT: Final = 200
"""Longest one-line text, characters."""
LONG_TEXT: Final = 4000
"""Longest note, characters."""
_CAMERA_NAME: Final = 200
_NUMBER: Final = re.compile(r"[0-9]{1,9}")


class Record:
    """Base of what is logged, for frozen dataclasses that check and tidy their values when built."""

    __slots__ = ()
    SPARSE: ClassVar[bool] = False
    """Whether the JSON form holds what is known alone, and is null within another's where nothing is."""

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form, one entry a field; dates as ISO 8601, sections in their own JSON form."""
        told = {f.name: plain(getattr(self, f.name)) for f in fields(cast("Any", self))}
        return {name: value for name, value in told.items() if value not in (None, [])} if self.SPARSE else told

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild a record from `as_dict`; raises what building it raises."""
        return cls(**data)


class DatedRecord(Record):
    """Base of records with a date that must not lie in the future when it is entered."""

    __slots__ = ()

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild a record from `as_dict`; its date is not held against today, for the clock may have been set back."""
        return cls(**data, latest=dt.date.max)  # type: ignore[call-arg]  # every dated record takes it


def plain(value: object) -> Any:  # noqa: ANN401 - JSON values have no narrower type
    """Return `value` in JSON's own types, in which it is stored.

    What has fields becomes a mapping of them, a day its ISO 8601 text. Settings and fit figures come as free mappings:
    tuples and arrays become lists, NumPy scalars Python's, and a figure that is not finite becomes None, since JSON has
    no name for it.

    Raises
    ------
    TypeError
        If a value has no JSON form.
    """
    if hasattr(value, "as_dict"):
        return (value.as_dict() or None) if getattr(value, "SPARSE", False) else value.as_dict()
    if is_dataclass(value):
        value = {each.name: getattr(value, each.name) for each in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        entries = sorted(value, key=repr) if isinstance(value, set | frozenset) else value
        return [plain(entry) for entry in entries]
    if hasattr(value, "tolist"):  # NumPy arrays and scalars
        return plain(value.tolist())
    return _plain_value(value)


def _plain_value(value: object) -> str | int | float | None:
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if value is None or isinstance(value, str | int):
        return value
    raise TypeError(f"{type(value).__name__} has no JSON form")


def enumerated(words: Sequence[str]) -> str:
    """Return words as a sentence lists them: ``"B1, B2 and B3"``."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def gathered(pairs: Iterable[tuple[Key, Value]]) -> dict[Key, list[Value]]:
    """Return values by what they have in common, as the first of the pairs says, in the order in which they came."""
    found: dict[Key, list[Value]] = {}
    for key, value in pairs:
        found.setdefault(key, []).append(value)
    return found


def first_of(words: Sequence[str], most: int) -> str:
    """Return the first of words, and how many more there are: ``"B1, B2 and 3 more"``."""
    return ", ".join(words[:most]) + (f" and {len(words) - most} more" if len(words) > most else "")


def runs(numbers: Iterable[int]) -> list[list[int]]:
    """Return the first and the last of numbers that follow one another."""
    found: list[list[int]] = []
    for number in numbers:
        if found and number == found[-1][1] + 1:
            found[-1][1] = number
        else:
            found.append([number, number])
    return found


def counted(number: int, what: str) -> str:
    """Return a number with its noun: ``"1 photo"``, ``"3 photos"``."""
    return f"{number} {what}{'' if number == 1 else 's'}"


class Number(str):
    """A letter for the kind of thing and a count, ``"B3"``: the text it is to people, which also knows its count."""

    __slots__ = ()

    @classmethod
    def of(cls, letter: str, key: int) -> Number:
        """Return the number of a thing by its kind's letter and its count."""
        return cls(f"{letter}{key}")

    @classmethod
    def read(cls, letter: str, text: str) -> Number:
        """Return the number somebody typed, ``"B3"``, ``"b3"`` or ``"3"``; raises `UsageError` ``"bad-number"``."""
        return cls.of(letter, number_of(letter, text.strip() or "?") or 0)

    @property
    def key(self) -> int:
        """The count alone, by which tables know it."""
        return int(self[1:])


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


def normalize(record: object, **values: object) -> None:
    """Put checked and tidied values into a frozen record that is being built."""
    for name, value in values.items():
        object.__setattr__(record, name, value)


def today() -> dt.date:
    """Return the present date where the user is."""
    return dt.datetime.now(tz=dt.UTC).astimezone().date()


def normalise_light(text: str | None) -> Light:
    """Return the one spelling of a light: lower case, single spaces; none or blank means `DAYLIGHT`.

    Raises
    ------
    UsageError
        ``"text-too-long"``.
    """
    named = line("light", text)
    return DAYLIGHT if named is None else one_line(named.lower())[:SHORT_TEXT].rstrip()


def parse_date(text: str) -> dt.date:
    """Return the date an ISO 8601 text names.

    Raises
    ------
    UsageError
        ``"bad-date"`` if it names none.
    """
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(
            "bad-date", f"“{text}” is not a date.", "Write a date as year-month-day, for example 2024-05-31."
        ) from None


def _printable(text: str) -> str:
    """Return text that every database can hold: composed, no control characters, no half surrogates."""
    whole = text.encode("utf-8", "replace").decode("utf-8")
    kept = "".join(c if c.isspace() or unicodedata.category(c) != "Cc" else " " for c in whole)
    return unicodedata.normalize("NFC", kept)


@lru_cache(maxsize=2048)  # thousands of stored boards share a few hundred texts
def one_line(text: str) -> str:
    """Return text on one line, white space collapsed."""
    return " ".join(_printable(text).split())


def harmless(text: str) -> str:
    """Take out what a terminal would obey instead of show: escapes and controls, also those that turn text round."""
    safe = text.isprintable()
    return text if safe else "".join(letter if letter.isprintable() or letter == "\n" else "?" for letter in text)


def cut_name(text: str | None) -> str | None:
    """Return a camera's name, cut where it is too long."""
    return (one_line(text)[:_CAMERA_NAME] or None) if text is not None else None


def _checked(name: str, text: str, longest: int) -> str | None:
    if len(text) > longest:
        raise UsageError(
            "text-too-long",
            f"The {name} has {len(text)} characters, more than {longest}.",
            "Shorten it." if name == "note" else "Shorten it, and put the rest into the note.",
        )
    return text or None


def line(name: str, text: str | None) -> str | None:
    """Return a one-line text, None when it is blank; raises `UsageError` ``"text-too-long"``."""
    return None if text is None else _checked(name, one_line(text), SHORT_TEXT)


def note_text(text: str | None) -> str | None:
    """Return a note, its lines kept, None when it is blank; raises `UsageError` ``"text-too-long"``."""
    if text is None:
        return None
    lines = (" ".join(line.split()) for line in _printable(text).splitlines())
    return _checked("note", "\n".join(lines).strip(), LONG_TEXT)


def checked_date(value: dt.date | str, latest: dt.date | None, done: str = "the photo was taken") -> dt.date:
    """Return a day that is not after `latest`; raises `UsageError` ``"bad-date"`` or ``"future-date"``."""
    day = parse_date(value) if isinstance(value, str) else value
    if isinstance(day, dt.datetime):
        day = day.date()
    last = today() if latest is None else latest
    if day > last:
        raise UsageError("future-date", f"The date {day} lies in the future.", f"Give the day {done}.")
    return day


def check_choice(name: str, value: str, choices: tuple[str, ...], words: str = "") -> None:
    """Raise `UsageError` ``"unknown-<name>"`` unless the value is among the choices."""
    if value not in choices:
        hint = f"Choose one of: {', '.join(choices)}."
        raise UsageError(f"unknown-{name}", f"“{value}” is not a {words or name}.", hint)


def address(kind: Literal["board", "part", "recipe", "can", "spot"], code: str, logbook: str | None = None) -> str:
    """Return the address of a record as labels carry it: ``"finishlab:board/B3?logbook=stairs"``.

    Parameters
    ----------
    kind, code
        Which record: ``board/B3``, ``part/2.T7``, ``recipe/R1``, ``can/C3``, ``spot/F2``.
    logbook
        Name of the logbook's folder.
    """
    tail = f"?logbook={quote(logbook, safe='')}" if logbook else ""
    return f"finishlab:{kind}/{code}{tail}"

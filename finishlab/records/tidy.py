"""Checking and tidying what people write: one line, a note, a date, a light, a choice."""

from __future__ import annotations

import datetime as dt
import unicodedata
from functools import lru_cache
from typing import Final

from finishlab.errors import UsageError

__all__ = [
    "DAYLIGHT",
    "LONG_TEXT",
    "SHORT_TEXT",
    "Light",
    "check_choice",
    "checked_date",
    "cut_name",
    "line",
    "normalise_light",
    "note_text",
    "one_line",
    "parse_date",
    "tidy",
    "today",
]

Light = str
"""Name of a light in the user's own words, spelt as `normalise_light` spells it."""
DAYLIGHT: Final[Light] = "daylight"

SHORT_TEXT: Final = 200
"""Longest one-line text, characters."""
LONG_TEXT: Final = 4000
"""Longest note, characters."""
_CAMERA_NAME: Final = 200


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


def tidy(record: object, **values: object) -> None:
    """Put tidied values into a frozen record that is being built."""
    for name, value in values.items():
        object.__setattr__(record, name, value)


def _printable(text: str) -> str:
    """Return text that every database can hold: composed, no control characters, no half surrogates."""
    whole = text.encode("utf-8", "replace").decode("utf-8")
    kept = "".join(c if c.isspace() or unicodedata.category(c) != "Cc" else " " for c in whole)
    return unicodedata.normalize("NFC", kept)


@lru_cache(maxsize=2048)  # thousands of stored boards share a few hundred texts
def one_line(text: str) -> str:
    """Return text on one line, white space collapsed."""
    return " ".join(_printable(text).split())


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

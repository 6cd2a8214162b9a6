"""What people write down: floor spots, test boards and the photos they were measured in.

Records hold words and dates, no colours. They are checked and tidied when built, so that whatever reaches the logbook
is clean: white space collapsed, empty text turned to None, lights spelt one way. A field added here needs a column
of the same name and a migration in the logbook, and nothing else there.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import InitVar, dataclass, field, fields
from typing import Any, Final, Literal, Self, get_args

from finishlab.errors import UsageError

__all__ = [
    "DAYLIGHT",
    "MAX_COATS",
    "PURPOSES",
    "SURFACES",
    "BoardRecord",
    "FloorSpotRecord",
    "Light",
    "PhotoRecord",
    "Purpose",
    "Surface",
    "normalise_light",
    "parse_date",
    "today",
]

Light = str
"""Name of a light in the user's own words, spelt as `normalise_light` spells it."""
DAYLIGHT: Final[Light] = "daylight"

Surface = Literal["vinyl", "laminate", "wood", "tile", "other"]
SURFACES: Final[tuple[Surface, ...]] = get_args(Surface)
"""What a floor can be made of."""

Purpose = Literal["candidate", "clear-only control", "raw", "step", "approved standard", "witness"]
PURPOSES: Final[tuple[Purpose, ...]] = get_args(Purpose)
"""What a test board is for (common practice, no source)."""

MAX_COATS: Final = 8
"""Most coats a board can have on record (common practice, no source)."""

SHORT_TEXT: Final = 200
"""Longest one-line text, characters."""
LONG_TEXT: Final = 4000
"""Longest note, characters."""
_FILE_NAME: Final = 255
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
    line = _line("light", text)
    return DAYLIGHT if line is None else _one_line(line.lower())[:SHORT_TEXT].rstrip()


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


@dataclass(frozen=True, slots=True)
class FloorSpotRecord:
    """One place of the floor that was photographed.

    Raises
    ------
    UsageError
        If a value cannot be meant: ``"unknown-surface"``, ``"bad-date"``, ``"future-date"``, ``"text-too-long"``.
    """

    spot: str | None = None
    """Where on the floor, in the user's words."""
    surface: Surface = "vinyl"
    light: Light = DAYLIGHT
    note: str | None = None
    date: dt.date = field(default_factory=today)
    """Day of the photo; an ISO 8601 text is taken too and turned into a date."""
    latest: InitVar[dt.date | None] = None
    """Latest date allowed; none means the present day. What was stored once is read back with ``date.max``, so that a
    clock set back does not lock a logbook."""

    def __post_init__(self, latest: dt.date | None) -> None:
        _tidy(
            self,
            spot=_line("spot", self.spot),
            note=_note(self.note),
            light=normalise_light(self.light),
            date=_date(self.date, latest),
        )
        _check_choice("surface", self.surface, SURFACES)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form, one entry a field."""
        return _as_dict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild a record from `as_dict`; its date is not held against today."""
        return cls(**data, latest=dt.date.max)


@dataclass(frozen=True, slots=True)
class BoardRecord:
    """One test board and how it was finished.

    Raises
    ------
    UsageError
        If a value cannot be meant: ``"no-species"``, ``"coats-out-of-range"``, ``"unknown-purpose"``, ``"bad-date"``,
        ``"future-date"``, ``"text-too-long"``.
    """

    species: str
    """The wood."""
    stain: str | None = None
    coats: int | None = None
    """Number of stain coats, 0 to `MAX_COATS`; None when not said."""
    topcoat: str | None = None
    light: Light = DAYLIGHT
    """The light of the board's first photos; later photos may have another."""
    note: str | None = None
    date: dt.date = field(default_factory=today)
    """Day of the first photos; an ISO 8601 text is taken too and turned into a date."""
    purpose: Purpose = "candidate"
    latest: InitVar[dt.date | None] = None
    """Latest date allowed; see `FloorSpotRecord.latest`."""

    def __post_init__(self, latest: dt.date | None) -> None:
        species = _line("species", self.species)
        if species is None:
            raise UsageError("no-species", "The board has no species.", "Say which wood it is, e.g. --species ash.")
        _tidy(
            self,
            species=species,
            stain=_line("stain", self.stain),
            topcoat=_line("topcoat", self.topcoat),
            light=normalise_light(self.light),
            note=_note(self.note),
            date=_date(self.date, latest),
        )
        _check_coats(self.coats)
        _check_choice("purpose", self.purpose, PURPOSES)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form, one entry a field."""
        return _as_dict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild a record from `as_dict`; its date is not held against today."""
        return cls(**data, latest=dt.date.max)


@dataclass(frozen=True, slots=True)
class PhotoRecord:
    """What a photo file says of itself.

    Raises
    ------
    ValueError
        If the hash, the size or the suffix cannot be a photo's.
    """

    sha256: str
    """SHA-256 of the file's bytes, 64 lower-case hex digits."""
    file_name: str
    """The name the user's file had, without its folder."""
    width: int
    """Of the upright photo, pixels."""
    height: int
    taken: dt.datetime | None = None
    """When the camera says it was taken; without a zone when the camera names none."""
    camera_make: str | None = None
    camera_model: str | None = None
    suffix: str = ".jpg"
    """End of the kept file's name: a dot and lower-case letters or digits, or nothing."""

    def __post_init__(self) -> None:
        if not re.fullmatch(r"[0-9a-f]{64}", self.sha256):
            raise ValueError("sha256 must be 64 lower-case hex digits")
        if self.width <= 0 or self.height <= 0:
            raise ValueError("a photo has at least one pixel")
        suffix = self.suffix.lower()
        if not re.fullmatch(r"(\.[a-z0-9]{1,8})?", suffix):
            raise ValueError(f"suffix must be a dot and up to 8 letters or digits, not {self.suffix!r}")
        name = re.split(r"[/\\]", self.file_name)[-1]
        # A photo is never turned away for what its name or its camera's name holds: too long is cut.
        _tidy(
            self,
            suffix=suffix,
            file_name=(_one_line(name) or "photo")[:_FILE_NAME],
            camera_make=_cut(self.camera_make),
            camera_model=_cut(self.camera_model),
        )

    @property
    def photo_id(self) -> str:
        """The short name that measurements carry: the first 16 hex digits of the hash."""
        return self.sha256[:16]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form, one entry a field."""
        return _as_dict(self)


def _as_dict(record: FloorSpotRecord | BoardRecord | PhotoRecord) -> dict[str, Any]:
    values = ((f.name, getattr(record, f.name)) for f in fields(record))
    return {name: value.isoformat() if isinstance(value, dt.date) else value for name, value in values}


def _tidy(record: object, **values: object) -> None:
    """Put tidied values into a frozen record that is being built."""
    for name, value in values.items():
        object.__setattr__(record, name, value)


def _printable(text: str) -> str:
    """Return text that every database can hold: composed, no control characters, no half surrogates."""
    whole = text.encode("utf-8", "replace").decode("utf-8")
    kept = "".join(c if c.isspace() or unicodedata.category(c) != "Cc" else " " for c in whole)
    return unicodedata.normalize("NFC", kept)


def _one_line(text: str) -> str:
    return " ".join(_printable(text).split())


def _cut(text: str | None) -> str | None:
    return (_one_line(text)[:_CAMERA_NAME] or None) if text is not None else None


def _checked(name: str, text: str, longest: int) -> str | None:
    if len(text) > longest:
        raise UsageError(
            "text-too-long",
            f"The {name} has {len(text)} characters, more than {longest}.",
            "Shorten it." if name == "note" else "Shorten it, and put the rest into the note.",
        )
    return text or None


def _line(name: str, text: str | None) -> str | None:
    return None if text is None else _checked(name, _one_line(text), SHORT_TEXT)


def _note(text: str | None) -> str | None:
    if text is None:
        return None
    lines = (" ".join(line.split()) for line in _printable(text).splitlines())
    return _checked("note", "\n".join(lines).strip(), LONG_TEXT)


def _date(value: dt.date | str, latest: dt.date | None) -> dt.date:
    day = parse_date(value) if isinstance(value, str) else value
    if isinstance(day, dt.datetime):
        day = day.date()
    last = today() if latest is None else latest
    if day > last:
        raise UsageError("future-date", f"The date {day} lies in the future.", "Give the day the photo was taken.")
    return day


def _check_coats(coats: int | None) -> None:
    if coats is None:
        return
    if isinstance(coats, bool) or not isinstance(coats, int) or not 0 <= coats <= MAX_COATS:
        raise UsageError(
            "coats-out-of-range",
            f"A board cannot have {coats} coats.",
            f"Give a whole number from 0 to {MAX_COATS}.",
        )


def _check_choice(name: str, value: str, choices: tuple[str, ...]) -> None:
    if value not in choices:
        raise UsageError(f"unknown-{name}", f"“{value}” is not a {name}.", f"Choose one of: {', '.join(choices)}.")

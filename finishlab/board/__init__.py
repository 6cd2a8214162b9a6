"""Test boards, places of the floor and photo files: what is written down of them."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import InitVar, dataclass, field
from typing import Any, Final, Literal, get_args

from finishlab.errors import UsageError
from finishlab.finish import Finish
from finishlab.record import (
    DAYLIGHT,
    SHORT_TEXT,
    DatedRecord,
    Light,
    Number,
    Record,
    check_choice,
    checked_date,
    cut_name,
    line,
    named,
    normalise_light,
    normalize,
    note_text,
    one_line,
    today,
)

Purpose = Literal["candidate", "clear-only control", "raw", "step", "approved standard", "witness"]
PURPOSES: Final[tuple[Purpose, ...]] = get_args(Purpose)
"""What a test board is for (common practice, no source)."""

CLEAR_ONLY: Final[Purpose] = "clear-only control"
"""The board with the topcoat alone: no stain can be lighter."""

State = Literal["bare", "stain wet", "stain dry", "sealed", "topcoated", "cured"]
STATES: Final[tuple[State, ...]] = get_args(State)
"""How far the finish has come; only in the last two does a board look as it will stay."""
FINISHED_STATES: Final[tuple[State, ...]] = ("topcoated", "cured")

MAX_COATS: Final = 8
"""Most coats a board can have on record (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class BoardRecord(DatedRecord):
    """One test board and how it was finished.

    Raises
    ------
    UsageError
        If a value cannot be meant: ``"no-species"``, ``"coats-out-of-range"``, ``"unknown-purpose"``,
        ``"unknown-state"``, ``"bad-date"``, ``"future-date"``, ``"text-too-long"``, and what `Finish` raises.
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
    state: State | None = None
    """How far the finish had come when it was measured; None when not said."""
    maker: str | None = None
    """Who made the board."""
    recipe_number: int | None = None
    """Boards of one recipe are counted together; number 1 is shown as R1."""
    finish: Finish | None = None
    """The long form of what stain, coats and topcoat say in short; its JSON form is taken too."""
    latest: InitVar[dt.date | None] = None
    """Latest date allowed; see `FloorSpotRecord.latest`."""

    def __post_init__(self, latest: dt.date | None) -> None:
        species = line("species", self.species)
        if species is None:
            raise UsageError("no-species", "The board has no species.", "Say which wood it is, e.g. --species ash.")
        normalize(
            self,
            species=species,
            stain=line("stain", self.stain),
            topcoat=line("topcoat", self.topcoat),
            light=normalise_light(self.light),
            note=note_text(self.note),
            date=checked_date(self.date, latest),
            maker=line("maker", self.maker),
            finish=_finish(self.finish),
        )
        _check_coats(self.coats)
        check_choice("purpose", self.purpose, PURPOSES)
        if self.state is not None:
            check_choice("state", self.state, STATES, "state of a board")

    @property
    def recipe(self) -> Number | None:
        """The recipe as people write it, ``"R1"``."""
        return named("R", self.recipe_number)

    @property
    def whole_finish(self) -> Finish:
        """Its finish; where only the short text was written, the little that it says."""
        return self.finish or Finish.from_short(self.stain, self.coats, self.topcoat)

    @property
    def recipe_name(self) -> str:
        """A name for a recipe made of it: its stain, coats and topcoat."""
        said = self.whole_finish.in_short()
        stain = self.stain or said.get("stain") or "no stain"
        coats = self.coats if self.coats is not None else said.get("coats")
        topcoat = self.topcoat or said.get("topcoat") or "no topcoat"
        counted = f"{stain} x {coats}" if coats is not None and coats > 1 else stain
        return f"{counted}, {topcoat}"[:SHORT_TEXT]


def _finish(finish: Finish | Mapping[str, Any] | None) -> Finish | None:
    whole = finish if finish is None or isinstance(finish, Finish) else Finish.from_dict(finish)
    return None if whole is None or whole.is_empty() else whole


def _check_coats(coats: int | None) -> None:
    if coats is None:
        return
    if isinstance(coats, bool) or not isinstance(coats, int) or not 0 <= coats <= MAX_COATS:
        raise UsageError(
            "coats-out-of-range",
            f"A board cannot have {coats} coats.",
            f"Give a whole number from 0 to {MAX_COATS}.",
        )


Surface = Literal["vinyl", "laminate", "wood", "tile", "other"]
SURFACES: Final[tuple[Surface, ...]] = get_args(Surface)
"""What a floor can be made of."""


@dataclass(frozen=True, slots=True)
class FloorSpotRecord(DatedRecord):
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
        normalize(
            self,
            spot=line("spot", self.spot),
            note=note_text(self.note),
            light=normalise_light(self.light),
            date=checked_date(self.date, latest),
        )
        check_choice("surface", self.surface, SURFACES)


_FILE_NAME: Final = 255


@dataclass(frozen=True, slots=True)
class PhotoRecord(Record):
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
    """When the camera says it was taken, without a zone when the camera names none; its ISO 8601 text is taken too."""
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
        normalize(
            self,
            suffix=suffix,
            taken=dt.datetime.fromisoformat(self.taken) if isinstance(self.taken, str) else self.taken,
            file_name=(one_line(name) or "photo")[:_FILE_NAME],
            camera_make=cut_name(self.camera_make),
            camera_model=cut_name(self.camera_model),
        )

    @property
    def photo_id(self) -> str:
        """The short name that measurements carry: the first 16 hex digits of the hash."""
        return self.sha256[:16]

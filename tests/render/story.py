"""The demo's story: which photos there are, what is to be seen in each, and what boards and floor are made of.

Everything in it is invented: a hall with a vinyl floor printed in a smoked-larch look, and a stair to be clad in
cherry, which is redder than the floor. Two water stains are tried, a walnut brown that takes the red down and a honey
that keeps it, alone and mixed. What a user types for it stands in `finishlab.demo`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

STRIP_NUMBER: Final = 1043
"""One strip for the whole project."""
DAY: Final = "2024-05-11"
"""The invented day of all photos, ISO 8601."""

WALNUT: Final = "walnut brown water stain"
HONEY: Final = "honey water stain"

Topcoat = Literal["hardwax oil, matte", "water varnish, matte"]
_OIL: Final[Topcoat] = "hardwax oil, matte"
_VARNISH: Final[Topcoat] = "water varnish, matte"


@dataclass(frozen=True, slots=True)
class StoryPhoto:
    """One photo of the story.

    Raises
    ------
    ValueError
        If the time is not one of the clock.
    """

    file: str
    time: str
    """When on the invented day, ``"HH:MM"``."""
    about: str
    """What a user would meet in it, in plain words."""
    evening: bool = False
    """Taken by the lamp in the evening instead of by daylight."""
    colours: Literal["sRGB", "Display P3"] = "sRGB"
    """Colour space of the file."""

    def __post_init__(self) -> None:
        hours, minutes = self.time.split(":")
        if not (0 <= int(hours) < 24 and 0 <= int(minutes) < 60):
            raise ValueError(f"{self.time!r} is no time of day")


@dataclass(frozen=True, slots=True)
class StorySpot:
    """One place of the floor."""

    number: str
    """The number the logbook will give it."""
    where: str
    photo: StoryPhoto
    evening: StoryPhoto | None = None
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """How this plank's print differs from the floor's usual colour, CIELAB."""


@dataclass(frozen=True, slots=True)
class StoryBoard:
    """One test board: what the user writes down, and what it is made of.

    Raises
    ------
    ValueError
        If stain and coats do not go together.
    """

    number: str
    """The number the logbook will give it."""
    purpose: Literal["raw", "clear-only control", "candidate"]
    photo: StoryPhoto
    stain: str | None = None
    """The stain as the user names it."""
    parts: tuple[tuple[str, float], ...] = ()
    """Share of each stain in one coat."""
    coats: int = 0
    topcoat: Topcoat | None = None
    with_floor: bool = False
    """Whether the floor lies at the strip's floor edge in the same photo."""
    evening: StoryPhoto | None = None
    note: str | None = None

    def __post_init__(self) -> None:
        if (self.stain is None) != (self.coats == 0) or (self.stain is None) == bool(self.parts):
            raise ValueError("a stain has coats and parts; without one there are none")


def _by_lamp(file: str, time: str, about: str = "by the warm lamp over the stair, a pool of light") -> StoryPhoto:
    return StoryPhoto(file, time, about, evening=True)


STAND_BACK: Final = StoryPhoto("strip-from-three-steps-back.jpg", "09:50", "the strip alone, from three steps back")
"""What the strip's print is learned from."""

SPOTS: Final = (
    StorySpot(
        "F1",
        "beside the stair",
        StoryPhoto("floor-beside-the-stair.jpg", "10:05", "plain daylight from one side"),
        _by_lamp("floor-beside-the-stair-evening.jpg", "20:30"),
        (0.7, 0.4, 0.3),
    ),
    StorySpot(
        "F2",
        "middle of the hall",
        StoryPhoto("floor-middle-of-the-hall.jpg", "10:08", "strip laid across the planks, a seam in the floor field"),
        _by_lamp("floor-middle-of-the-hall-evening.jpg", "20:34"),
        (-1.3, -0.3, -0.6),
    ),
    StorySpot(
        "F3",
        "near the front door",
        StoryPhoto("floor-near-the-front-door.jpg", "10:12", "the phone held askew, light from the door"),
        _by_lamp("floor-near-the-front-door-evening.jpg", "20:37"),
        (1.6, -0.5, 0.5),
    ),
    StorySpot(
        "F4",
        "under the window",
        StoryPhoto("floor-under-the-window.jpg", "10:15", "uneven light, and the window mirrored a little"),
        None,
        (-0.8, 0.6, 0.9),
    ),
    StorySpot(
        "F5",
        "kitchen doorway",
        StoryPhoto("floor-kitchen-doorway.jpg", "10:18", "colours saved as Display P3", colours="Display P3"),
        None,
        (-0.2, -0.2, -1.1),
    ),
)

BOARDS: Final = (
    StoryBoard("B1", "raw", StoryPhoto("board-raw.jpg", "11:00", "a bare board, plain daylight"), note="sanded to 120"),
    StoryBoard(
        "B2",
        "clear-only control",
        StoryPhoto("board-clear-only.jpg", "11:06", "a small knot in the board"),
        topcoat=_OIL,
    ),
    StoryBoard(
        "B3",
        "candidate",
        StoryPhoto("board-honey-one-coat.jpg", "11:12", "the strip turned a quarter in the photo"),
        stain=HONEY,
        parts=((HONEY, 1.0),),
        coats=1,
        topcoat=_OIL,
    ),
    StoryBoard(
        "B4",
        "candidate",
        StoryPhoto("board-honey-two-coats.jpg", "11:18", "the window mirrored in the board"),
        stain=HONEY,
        parts=((HONEY, 1.0),),
        coats=2,
        topcoat=_OIL,
    ),
    StoryBoard(
        "B5",
        "candidate",
        StoryPhoto("board-honey-two-coats-varnish.jpg", "11:24", "photographed from well off straight above"),
        stain=HONEY,
        parts=((HONEY, 1.0),),
        coats=2,
        topcoat=_VARNISH,
    ),
    StoryBoard(
        "B6",
        "candidate",
        StoryPhoto("board-walnut-one-coat.jpg", "11:30", "an offcut smaller than the board field, on a pale bench"),
        stain=WALNUT,
        parts=((WALNUT, 1.0),),
        coats=1,
        topcoat=_VARNISH,
        note="offcut of the third tread",
    ),
    StoryBoard(
        "B7",
        "candidate",
        StoryPhoto("board-walnut-one-coat-oil.jpg", "11:36", "uneven light"),
        stain=WALNUT,
        parts=((WALNUT, 1.0),),
        coats=1,
        topcoat=_OIL,
        evening=_by_lamp("board-walnut-one-coat-oil-evening.jpg", "20:40"),
    ),
    StoryBoard(
        "B8",
        "candidate",
        StoryPhoto("board-walnut-two-coats.jpg", "11:42", "floor in the same photo"),
        stain=WALNUT,
        parts=((WALNUT, 1.0),),
        coats=2,
        topcoat=_VARNISH,
        with_floor=True,
        evening=_by_lamp("board-walnut-two-coats-evening.jpg", "20:44"),
    ),
    StoryBoard(
        "B9",
        "candidate",
        StoryPhoto("board-mix-one-coat.heic", "11:48", "a HEIC file in Display P3", colours="Display P3"),
        stain="two parts walnut brown to one part honey",
        parts=((WALNUT, 2 / 3), (HONEY, 1 / 3)),
        coats=1,
        topcoat=_OIL,
    ),
    StoryBoard(
        "B10",
        "candidate",
        StoryPhoto("board-mix-two-coats.jpg", "11:54", "floor in the same photo"),
        stain="two parts walnut brown to one part honey",
        parts=((WALNUT, 2 / 3), (HONEY, 1 / 3)),
        coats=2,
        topcoat=_OIL,
        with_floor=True,
        evening=_by_lamp("board-mix-two-coats-evening.jpg", "20:48"),
        note="mixed by volume",
    ),
)


def photos() -> Iterator[StoryPhoto]:
    """Yield every photo of the story once: the strip's, then the floor's."""
    yield STAND_BACK
    for thing in (*SPOTS, *BOARDS):
        yield thing.photo
        if thing.evening is not None:
            yield thing.evening

"""The printed grey strip: one geometry in millimetres for the PDF, the layout file and the finder.

The strip frame has its origin at the strip's top left corner, x right along the long edge, y down. The **board edge**
is the top long edge (y = 0), the **floor edge** the bottom one. The board field lies above the strip at negative y,
the floor field below it.

Six tags, one at each corner and two at the middle, carry the position and the strip number. Between them run four
ramps of the same greys, each ramp the mirror image of its neighbours along and across the strip, so that every grey
stands at four places whose centre is the centre of the strip: a light that falls off evenly cannot pass for a tone
curve.

Along the middle run screens of black lines, mirrored along the strip as well. Seen from so far off that the camera
cannot tell the lines apart, each is a grey that geometry fixes; the printer's greys are learned by comparison.

A second page is for eyes: rows of black lines with a ladder of greys among them, to be looked at from three metres.
From there an eye cannot tell the lines apart, and the light that geometry lets through them matches one grey of the
ladder: that step vanishes. It needs no camera.

**A print that nobody measured.** Printers differ far more than cameras do. Some are handed the grey as sRGB and keep
its tone, give or take; others take it for a share of black ink and print a half-tone, whose dots gain. Some save toner;
black, paper and the shape of the ramp vary besides. The belief is the mean and the main departures of many such prints,
drawn here from their ranges. Sources: black ramps of published print characterisations (as ICC profiles: ISO-coated in
scribus-data, default CMYK in Ghostscript, krita-data's), tone value increase of ISO 12647-2, Murray and Davies 1936 for
half-tones, Yule and Nielsen 1951 for light spread in the paper. `tests/test_print_and_tone.py` lays the published ramps
beside it. Ranges of papers, blacks, exponents and toner saving are common practice, no source.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness, srgb_to_linear

FieldName = Literal["board", "floor"]
FIELD_NAMES: Final[tuple[FieldName, ...]] = ("board", "floor")
Paper = Literal["a4", "letter"]

PAGES: Final[dict[Paper, tuple[float, float]]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Page sizes, width and height in millimetres (ISO 216 A4; ANSI/ASME Y14.1 A, 'letter')."""


@dataclass(frozen=True, slots=True)
class Rect:
    """An upright rectangle in millimetres: top left corner, width and height."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """x of the right side."""
        return self.x + self.width

    @property
    def bottom(self) -> float:
        """y of the bottom side."""
        return self.y + self.height

    @property
    def centre(self) -> tuple[float, float]:
        """The rectangle's centre (x, y)."""
        return self.x + self.width / 2, self.y + self.height / 2

    def inset(self, dx: float, dy: float) -> Rect:
        """Return the rectangle shrunk by `dx` on the left and right and by `dy` at the top and bottom."""
        return Rect(self.x + dx, self.y + dy, self.width - 2 * dx, self.height - 2 * dy)

    def corners(self) -> np.ndarray:
        """Return the four corners, clockwise from the top left, shape (4, 2)."""
        return np.array(
            [[self.x, self.y], [self.right, self.y], [self.right, self.bottom], [self.x, self.bottom]], dtype=float
        )

    def as_dict(self) -> dict[str, float]:
        """Return the JSON form of the layout file."""
        return {name: round(getattr(self, name), 4) for name in ("x", "y", "width", "height")}


@dataclass(frozen=True, slots=True)
class Tag:
    """One fiducial tag: which of the six places it has, and its black square."""

    role: int
    digit: Literal[0, 1]
    """Which digit of the strip number the tag carries: 0 the high one, 1 the low one."""
    rect: Rect


@dataclass(frozen=True, slots=True)
class GreyPatch:
    """One printed or blank area of known grey."""

    level: int
    """Index into `StripGeometry.greys`; the last level is bare paper."""
    rect: Rect
    sample: Rect
    """The interior that is read: clear of the neighbours' halo and of a small error in the fit."""


@dataclass(frozen=True, slots=True)
class Screen:
    """Straight lines of pure black on bare paper: a grey that geometry fixes, whatever the printer makes of greys.

    The lines run along y, evenly spaced, beginning half a gap inside `rect`.
    """

    coverage: float
    """Share of the area that is inked, 0..1: line width over pitch."""
    pitch: float
    """From line to line, millimetres."""
    rect: Rect
    sample: Rect
    """The interior that is read."""

    def lines(self) -> tuple[Rect, ...]:
        """Return the lines, left to right."""
        wide = self.coverage * self.pitch
        first, count = self.rect.x + (self.pitch - wide) / 2, round(self.rect.width / self.pitch)
        return tuple(Rect(first + k * self.pitch, self.rect.y, wide, self.rect.height) for k in range(count))


@dataclass(frozen=True, slots=True)
class StripGeometry:
    """Where everything on the strip is, in millimetres."""

    width: float
    height: float
    greys: tuple[float, ...]
    """DeviceGray value of each level, 0 black to 1 bare paper."""
    tags: tuple[Tag, ...]
    patches: tuple[GreyPatch, ...]
    number_text: Rect
    fields: dict[FieldName, Rect]
    screens: tuple[Screen, ...] = ()

    DIGITS: int = 40
    """Values one tag can carry: tag id = role * DIGITS + value, within a family of 250."""

    @property
    def numbers(self) -> int:
        """How many strip numbers there are; a number runs from 1 to this."""
        return self.DIGITS**2

    def tag_ids(self, number: int) -> tuple[int, ...]:
        """Return the tag id for each tag of strip `number`, in the order of `tags`.

        Raises
        ------
        ValueError
            If the number is not in 1..`numbers`.
        """
        if not 1 <= number <= self.numbers:
            raise ValueError(f"a strip number runs from 1 to {self.numbers}, not {number}")
        digits = divmod(number - 1, self.DIGITS)
        return tuple(tag.role * self.DIGITS + digits[tag.digit] for tag in self.tags)

    def read_tag(self, tag_id: int) -> tuple[Tag, int] | None:
        """Return the tag and the digit value that an id stands for, or None if no tag of the strip has it."""
        role, value = divmod(tag_id, self.DIGITS)
        for tag in self.tags:
            if tag.role == role:
                return tag, value
        return None

    def number_from_digits(self, high: int, low: int) -> int:
        """Return the strip number that two digit values spell."""
        return high * self.DIGITS + low + 1

    def place_on_page(self, paper: Paper) -> Rect:
        """Return the strip's rectangle on a page: centred across, near the top."""
        return Rect((PAGES[paper][0] - self.width) / 2, 28.0, self.width, self.height)

    def layout(self, paper: Paper) -> dict[str, object]:
        """Return the layout document ``finishlab/strip/1`` for a page."""
        return {
            "format": "finishlab/strip/1",
            "paper": paper,
            "page": list(PAGES[paper]),
            "strip": self.place_on_page(paper).as_dict(),
            "fields": {name: rect.as_dict() for name, rect in self.fields.items()},
        }


def _build() -> StripGeometry:
    width, height, band, tag = 190.0, 46.0, 4.0, 14.0
    rows = (band, height - band - tag)
    columns = (band, (width - tag) / 2, width - band - tag)
    # Digits are dealt so that the left half, the right half, the top and the bottom each hold both.
    digits: tuple[tuple[Literal[0, 1], ...], ...] = ((0, 1, 0), (1, 0, 1))
    tags = tuple(
        Tag(role=row * 3 + column, digit=digits[row][column], rect=Rect(columns[column], rows[row], tag, tag))
        for row in range(2)
        for column in range(3)
    )
    # About equal steps of L* over the range of finished wood and floors; black and bare paper close the ramp.
    greys = (0.0, 0.28, 0.39, 0.51, 0.63, 0.75, 0.87, 1.0)
    quiet = 2.0
    left = columns[0] + tag + quiet
    slot = (columns[1] - quiet - left) / len(greys)
    patches = []
    for row in range(2):
        for index in range(len(greys)):
            level = len(greys) - 1 - index if row == 0 else index
            x = left + index * slot
            for place in (x, width - x - slot):
                rect = Rect(place, rows[row], slot, tag)
                patches.append(GreyPatch(level, rect, rect.inset(1.6, 1.8)))
    blank = len(greys) - 1
    for column in columns:
        rect = Rect(column, rows[0] + tag, tag, rows[1] - rows[0] - tag)
        patches.append(GreyPatch(blank, rect, Rect(rect.x + 1.5, rect.y + 4.2, rect.width - 3.0, 4.2)))
    return StripGeometry(
        width=width,
        height=height,
        greys=greys,
        tags=tags,
        patches=tuple(patches),
        number_text=Rect(left, 0.8, 13.0, 2.4),
        fields={"board": Rect(left, -45.0, 150.0, 42.0), "floor": Rect(left, height + 3.0, 150.0, 42.0)},
        screens=_screens(Rect(left, rows[0] + tag, columns[1] - quiet - left, rows[1] - rows[0] - tag), width),
    )


_DOT: Final = 25.4 / 300
"""Lines begin and end on this grid, mm: every second dot of a printer of 600 to the inch, which prints all alike."""
_SCREEN: Final = 96
"""Width of a screen in dots: whole lines at each pitch."""
_LINES: Final = ((3, 12), (4, 8), (6, 12), (12, 16), (13, 16), (9, 12), (8, 16), (2, 16))
"""Width and pitch of each screen's lines in dots, from the ends of the strip inwards.

The narrowest gap, 0.17 mm, stays open where ink grows by 0.06 mm an edge. Equal coverage at several pitches tells ink
and light spread; light screens stand outside, dark ones inside, so that neighbours blur little into one another."""


def _screens(slot: Rect, width: float) -> tuple[Screen, ...]:
    """Return the screens of a slot between two columns of tags and their mirror images along a strip of that width."""
    screens = []
    wide, high = _SCREEN * _DOT, slot.height - 1.6
    left = slot.x + (slot.width - len(_LINES) * wide) / 2
    for index, (line, pitch) in enumerate(_LINES):
        x = left + index * wide
        for place in (x, width - x - wide):
            half_gap = (pitch - line) / 2
            on_grid = (round(place / _DOT + half_gap) - half_gap) * _DOT
            rect = Rect(on_grid, slot.y + 0.8, wide, high)
            screens.append(Screen(line / pitch, pitch * _DOT, rect, rect.inset(8 * _DOT, 0.9)))
    return tuple(screens)


STRIP: Final[StripGeometry] = _build()
"""The one strip finishlab prints and finds."""


def new_strip_number() -> int:
    """Return a strip number drawn at random, so that two prints made from two files are told apart."""
    return secrets.randbelow(STRIP.numbers) + 1


_EYE_STEPS: Final = 13
_EYE_HEIGHT: Final = 34.0
_EYE_WIDTH: Final = 2112 * _DOT
"""Whole lines at each pitch, 178.8 mm."""
_EYE_PATCH: Final = (9.0, 12.0)


@dataclass(frozen=True, slots=True)
class EyeRow:
    """One row: lines all over, and greys of a ladder standing in them."""

    screen: Screen
    """In millimetres from the row's top left."""
    greys: tuple[float, ...]
    """DeviceGray value of each step, dark to light; step 1 is the first."""

    def patches(self) -> tuple[Rect, ...]:
        """Return where the steps stand, in millimetres from the row's top left."""
        every = self.screen.rect.width / len(self.greys)
        wide, high = _EYE_PATCH
        top = (self.screen.rect.height - high) / 2
        return tuple(Rect((i + 0.5) * every - wide / 2, top, wide, high) for i in range(len(self.greys)))

    def grey_at(self, step: float) -> float:
        """Return the DeviceGray value of a step, halves between two.

        Raises
        ------
        ValueError
            If the row has no such step.
        """
        if not 1.0 <= step <= len(self.greys):
            raise ValueError(f"steps run from 1 to {len(self.greys)}")
        return float(np.interp(step, np.arange(1, len(self.greys) + 1), self.greys))


def _eye_row(line: int, pitch: int, first: float, last: float) -> EyeRow:
    rect = Rect(0.0, 0.0, _EYE_WIDTH, _EYE_HEIGHT)
    greys = tuple(round(float(g), 3) for g in np.linspace(first, last, _EYE_STEPS))
    return EyeRow(Screen(line / pitch, pitch * _DOT, rect, rect), greys)


EYE_ROWS: Final = (
    _eye_row(4, 16, 0.55, 0.91),
    _eye_row(8, 16, 0.36, 0.80),
    _eye_row(4, 8, 0.32, 0.76),
    _eye_row(12, 16, 0.16, 0.64),
    _eye_row(13, 16, 0.10, 0.58),
)
"""The rows of the page; row 1 is the first. Their ladders reach from the palest to the darkest print that is usual."""


_DRAWS: Final = 4000
_PAPER: Final = (88.0, 96.0)
"""L* of papers."""
_BLACK: Final = (14.0, 34.0)
"""L* of black."""
_EXPONENT: Final = (0.75, 1.25)
"""Of a grey that is kept as sRGB."""
_GAIN: Final = (0.06, 0.28)
"""Tone value increase at half tone."""
_SAVING: Final = (0.85, 1.0)
"""Share of black that toner saving leaves."""
_WIGGLE: Final = 1.2
"""Standard deviation of the ramp's smooth departures, L*: extremes of about 2."""
_REACH: Final = 12.0
"""Over how many L* such a departure stays alike."""
_SHARES: Final = (0.45, 0.85)
"""Share of prints that keep sRGB's tone; share of these and of plain half-tones, the rest save toner."""
_ALONE: Final = 0.02
"""How far each level may be off by itself besides, natural log: a patch's own ink, and that prints are no Gaussian."""


def _ramps(count: int) -> np.ndarray:
    """Return reflectance factors of the strip's levels in prints drawn from the ranges, shape (count, levels)."""
    rng = np.random.default_rng(1)
    grey = np.asarray(STRIP.greys)
    paper, black = (reflectance_of_lightness(rng.uniform(*span, (count, 1))) for span in (_PAPER, _BLACK))
    kept = srgb_to_linear(grey) ** rng.uniform(*_EXPONENT, (count, 1))
    inked = 1.0 - grey
    gain, bulge = rng.uniform(*_GAIN, (count, 1)), rng.random((count, 1)) < 0.5
    # Gain of dots as a parabola, or most among light dots.
    dots = np.where(bulge, inked + gain * 4.0 * inked * grey, inked ** (np.log(0.5 + gain) / np.log(0.5)))
    kind = rng.random((count, 1))
    ink = np.where(kind < _SHARES[0], 1.0 - kept, dots)
    ink *= np.where(kind < _SHARES[1], 1.0, rng.uniform(*_SAVING, (count, 1)))
    lightness = lightness_of_reflectance(paper - ink * (paper - black))
    gap = np.abs(lightness[:, :, None] - lightness[:, None, :]) / _REACH
    root = np.linalg.cholesky((1.0 + gap) * np.exp(-gap) + 1e-6 * np.eye(len(grey)))
    share = (lightness - lightness[:, :1]) / np.ptp(lightness, axis=1)[:, None]
    wiggle = (
        _WIGGLE * (root @ rng.standard_normal((count, len(grey), 1)))[..., 0] * np.sqrt(4.0 * share * (1.0 - share))
    )
    return np.asarray(reflectance_of_lightness(np.sort(lightness + wiggle, axis=1)))


@cache
def usual_print() -> tuple[np.ndarray, np.ndarray]:
    """Return the usual print.

    Returns
    -------
    usual, departures
        Shape (levels,): natural log of the levels' reflectance factors. Shape (terms, levels): how it changes for one
        standard deviation of each independent departure, the largest first.
    """
    log = np.log(_ramps(_DRAWS))
    usual = log.mean(axis=0)
    sizes, axes = np.linalg.eigh(np.cov(log.T) + _ALONE**2 * np.eye(len(usual)))
    return usual, np.asarray((axes * np.sqrt(sizes)).T[::-1])

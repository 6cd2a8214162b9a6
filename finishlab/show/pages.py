"""What is shown on pages, as one value: words, pictures, swatches, charts and cards, beside facts, tables and lists.

Those who fill pages know of boards and cans; those who render them (`finishlab.show.html`, `finishlab.show.pdf`)
know of blocks only.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from finishlab.show.document import Column, Facts, Listing, Table

if TYPE_CHECKING:
    from finishlab.show.drawing import Drawing


PICTURE_BAR_MM: Final = 50
"""Length of the scale below a picture whose scale is known."""


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph."""

    text: str
    look: Literal["kicker", "title", "lead", "plain", "note", "notice", "heading"] = "plain"
    """A heading is one within a section."""
    strong: str = ""
    """Words in bold before it."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A JPEG with its words.

    Raises
    ------
    ValueError
        If the bytes are no JPEG, or still carry an Exif segment, which may say where it was taken; if it has no text in
        its place or its scale is no length.
    """

    jpeg: bytes
    caption: str
    alt: str
    """What it shows, for those who cannot see it."""
    width_mm: float | None = None
    """Millimetres that its width shows. Such a picture has two halves, marked where they meet, and a scale below."""

    def __post_init__(self) -> None:
        if not self.jpeg.startswith(b"\xff\xd8\xff"):
            raise ValueError("a picture of a page must be a JPEG")
        if b"Exif\x00\x00" in self.jpeg[:65536]:
            raise ValueError("a picture of a page must not carry camera or location data")
        if not self.alt.strip():
            raise ValueError("a picture of a page needs a text in its place")
        if self.width_mm is not None and not self.width_mm > 0:
            raise ValueError("a picture of a page needs a scale")

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels, from the frame header (ITU-T T.81, B.2.2)."""
        at = 2
        while self.jpeg[at + 1] not in {0xC0, 0xC1, 0xC2}:
            at += 2 + int.from_bytes(self.jpeg[at + 2 : at + 4])
        height, width = (int.from_bytes(self.jpeg[at + n : at + n + 2]) for n in (5, 7))
        return width, height

    @property
    def data_uri(self) -> str:
        """The picture as text within a page."""
        return f"data:image/jpeg;base64,{base64.b64encode(self.jpeg).decode()}"

    @property
    def bar_percent(self) -> float:
        """Length of the scale as a percentage of the picture's width; 0 without a scale."""
        return 100 * PICTURE_BAR_MM / self.width_mm if self.width_mm else 0.0


@dataclass(frozen=True, slots=True)
class Pictures:
    """Pictures side by side."""

    pictures: Sequence[Picture]
    across: int = 2
    large: bool = False
    """Shown larger on a screen."""


@dataclass(frozen=True, slots=True)
class Colours:
    """Colours edge to edge on neutral grey."""

    colours: tuple[str, ...]
    """``"#rrggbb"``, sRGB."""
    alt: str
    caption: str = ""
    large: bool = False
    """Large enough to judge; of three colours the one in the middle is the widest."""


@dataclass(frozen=True, slots=True)
class Swatch:
    """A measured colour."""

    name: str
    caption: str
    colour: str
    """``"#rrggbb"`` in sRGB."""


@dataclass(frozen=True, slots=True)
class Swatches:
    """Colours with a name and words each; for paper only."""

    swatches: Sequence[Swatch]


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawing in its place."""

    ident: str
    heading: str
    note: str
    """What to see in it, in a sentence or two."""
    drawing: Drawing


@dataclass(frozen=True, slots=True)
class Charts:
    """Drawings, shared out to two columns."""

    charts: Sequence[Chart]


@dataclass(frozen=True, slots=True)
class Outline:
    """A plain drawing of polygons and words, for paper only: the text of an SVG that holds nothing else."""

    svg: str


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a card."""

    name: str
    value: str
    column: str = ""
    """Head of the column that holds it on paper; "" leaves it out there."""
    large: bool = False


@dataclass(frozen=True, slots=True)
class Card:
    """One entry of a ranking."""

    mark: str
    name: str
    title: str
    colours: Colours
    words: str
    figures: Sequence[Figure]
    warning: str = ""
    details: Sequence[tuple[str, str]] = ()
    """On paper only what the title does not say already."""


@dataclass(frozen=True, slots=True)
class Cards:
    """Entries in order; on paper a table."""

    columns: Sequence[Column]
    """On paper: of mark, colours and words, then those of the figures."""
    cards: Sequence[Card]


Block = Words | Pictures | Colours | Swatches | Charts | Outline | Cards | Facts | Table | Listing


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with what stands below it."""

    title: str
    blocks: Sequence[Block]
    ident: str = ""
    room: float = 40.0
    """Millimetres of a sheet that must be left below the heading, or a new one is begun."""
    folded: bool = False
    """Folded away on a screen until the heading is pressed; on paper all is shown."""


@dataclass(frozen=True, slots=True)
class Pages:
    """All that is shown."""

    title: str
    subject: str
    top: Sequence[Block]
    sections: Sequence[Section]
    foot: str
    """At the foot of every sheet."""
    end: str = ""
    """Last words of the page on a screen."""

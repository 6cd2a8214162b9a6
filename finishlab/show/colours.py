"""Measured colours as part of a document: photo by photo, with their errors, texture and doubts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from finishlab.reports.sentences import profile_line
from finishlab.show.document import Block, Cell, Colour, Column, Line, Listing, Table

if TYPE_CHECKING:
    from finishlab.measure import Texture
    from finishlab.reports.rows import ColourRow, Lab

__all__ = ["colour_blocks"]


def colour_blocks(colours: Sequence[ColourRow]) -> list[Block]:
    """Return what was measured, photo by photo."""
    if not colours:
        return [Line("Not measured yet.")]
    columns = (
        Column("light", least=min(12, max(len(colour.light) for colour in colours))),
        Column("L* a* b*"),
        *(Column(name, fold=False) for name in ("+-", "L* 10-90 %", "grain", "strip")),
        Column("photo"),
    )
    blocks: list[Block] = [Table(columns, [_row(colour) for colour in colours])]
    if any(colour.texture is not None for colour in colours):
        blocks.append(Line("grain: scatter of L* within 8 mm, and its angle to the strip where it has one"))
    blocks += [
        Line(text) for text in dict.fromkeys(profile_line(c.camera_profile) for c in colours if c.camera_profile)
    ]
    return [*blocks, Listing("Doubts", list(dict.fromkeys(doubt.message for c in colours for doubt in c.doubts)))]


def _row(colour: ColourRow) -> list[Cell]:
    spread = None if colour.spread_lightness is None else "{:.0f} to {:.0f}".format(*colour.spread_lightness)
    strip = None if colour.strip_number is None else f"{colour.strip_number:04d}"
    lab = Colour(colour.lab, decimals=1)
    return [colour.light, lab, _figures(colour.standard_error), spread, _grain(colour.texture), strip, colour.photo]


def _figures(lab: Lab) -> str:
    return " ".join(f"{round(v, 1) + 0.0:.1f}" for v in lab)


def _grain(texture: Texture | None) -> str | None:
    if texture is None:
        return None
    angle = texture.to_strip_deg
    return f"{texture.contrast:.1f}" if angle is None else f"{texture.contrast:.1f} at {abs(angle):.0f} deg"

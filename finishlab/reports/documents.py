"""The JSON documents of the command-line contract: each says its format and its colour space, and holds finite numbers.

Figures are rounded to what they can bear: CIELAB and CIEDE2000 to three decimals, shares and probabilities to four.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from finishlab.reports import figures
from finishlab.reports.rows import ColourRow

if TYPE_CHECKING:
    from finishlab.matching.scatter import FloorPool
    from finishlab.measure import Texture

__all__ = [
    "colour_document",
    "dump",
    "pool_document",
    "texture_document",
]

Document = dict[str, Any]


def dump(document: Mapping[str, Any]) -> str:
    """Return a document as text with a line break at its end.

    Raises
    ------
    ValueError
        If a number in it is not finite; JSON has no such numbers.
    """
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def pool_document(floor: FloorPool) -> Document:
    """Return the JSON form of the floor's spots together."""
    return {
        "lab": figures.lab(floor.lab),
        "spots": floor.spots,
        "spread_e00": figures.rounded(floor.spread_e00),
        "colours_e00": figures.rounded(floor.colours_e00),
        "doubts": figures.doubts(floor.doubts),
    }


def colour_document(colour: ColourRow) -> Document:
    """Return the JSON form of one measured colour."""
    return {
        "lab": figures.lab(colour.lab),
        "standard_error": figures.lab(colour.standard_error),
        "spread": None
        if colour.spread_lightness is None
        else {"L10": figures.rounded(colour.spread_lightness[0]), "L90": figures.rounded(colour.spread_lightness[1])},
        "texture": texture_document(colour.texture),
        "light": colour.light,
        "photo": colour.photo,
        "strip": colour.strip_number,
        "camera_profile": None if colour.camera_profile is None else dict(colour.camera_profile),
        "version": colour.version,
        "doubts": figures.doubts(colour.doubts),
    }


def texture_document(texture: Texture | None) -> Document | None:
    """Return the JSON form of a texture."""
    return None if texture is None else {name: figures.rounded(value) for name, value in asdict(texture).items()}

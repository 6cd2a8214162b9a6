"""The JSON documents of the command-line contract: each says its format and its colour space, and holds finite numbers.

Figures are rounded to what they can bear: CIELAB and CIEDE2000 to three decimals, shares and probabilities to four.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from finishlab.colorimetry.estimate import COLOUR_SPACE
from finishlab.reports import figures
from finishlab.reports.rows import ColourRow
from finishlab.reports.sentences import answer, tie_marks

if TYPE_CHECKING:
    from finishlab.matching.ranking import RankedBoard, Ranking
    from finishlab.matching.scatter import FloorPool
    from finishlab.measure import Texture

__all__ = [
    "colour_document",
    "dump",
    "pool_document",
    "ranking_document",
    "texture_document",
]

Document = dict[str, Any]


def ranking_document(ranking: Ranking) -> Document:
    """Return ``finishlab/ranking/1``: the floor, and the boards from the nearest on."""
    return _document(
        "ranking",
        floor=pool_document(ranking.floor),
        ranking=[_ranked(board) for board in ranking.boards],
        aim=ranking.aim.as_dict(),
        next_photos=[photo.as_dict() for photo in ranking.next_photos],
        answer=answer(ranking),
        margin=None if ranking.margin is None else ranking.margin.as_dict(),
        contrast_made=not ranking.no_contrast if ranking.boards and ranking.aim.name == "contrast" else None,
    )


def dump(document: Mapping[str, Any]) -> str:
    """Return a document as text with a line break at its end.

    Raises
    ------
    ValueError
        If a number in it is not finite; JSON has no such numbers.
    """
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _document(kind: str, **content: object) -> Document:
    return {"format": f"finishlab/{kind}/1", "colour_space": COLOUR_SPACE, **content}


def pool_document(floor: FloorPool) -> Document:
    """Return the JSON form of the floor's spots together."""
    return {
        "lab": figures.lab(floor.lab),
        "spots": floor.spots,
        "spread_e00": figures.rounded(floor.spread_e00),
        "colours_e00": figures.rounded(floor.colours_e00),
        "doubts": figures.doubts(floor.doubts),
    }


def _ranked(board: RankedBoard) -> Document:
    return {
        "place": board.place,
        "ties": tie_marks(board),
        "board": board.board,
        "lab": figures.lab(board.lab),
        "delta_e00": figures.difference(board.delta_e00),
        "probability_closest": figures.rounded(board.probability_closest, 4),
        "difference": {name: figures.rounded(value) for name, value in board.difference.as_dict().items()},
        "ratio_to_floor_spread": figures.rounded(board.ratio_to_floor_spread),
        "in_words": board.in_words,
        "sentence": board.sentence,
        "score": figures.difference(board.score or board.delta_e00),
        "score_own": None
        if board.own is None
        else {"low": figures.rounded(board.own.low), "high": figures.rounded(board.own.high)},
        "probability_within_limits": figures.rounded(board.within_limits, 4),
        "inseparable": list(board.inseparable),
        "colours_e00": figures.rounded(board.colours_e00),
        "figure_e00": figures.rounded(board.figure_e00),
        "photos": board.photos,
        "direct_pairs": board.pairs,
        "final": board.final,
        "doubts": figures.doubts(board.doubts),
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

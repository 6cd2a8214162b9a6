"""The JSON documents of the command-line contract: each says its format and its colour space, and holds finite numbers.

Figures are rounded to what they can bear: CIELAB and CIEDE2000 to three decimals, shares and probabilities to four.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from finishlab.colorimetry.estimate import COLOUR_SPACE
from finishlab.reports.sentences import answer, tie_marks
from finishlab.show import jsons

if TYPE_CHECKING:
    from finishlab.matching.floor import FloorPool
    from finishlab.matching.ranking import RankedBoard, Ranking

__all__ = [
    "pool_document",
    "ranking_document",
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


def _document(kind: str, **content: object) -> Document:
    return {"format": f"finishlab/{kind}/1", "colour_space": COLOUR_SPACE, **content}


def pool_document(floor: FloorPool) -> Document:
    """Return the JSON form of the floor's spots together."""
    return {
        "lab": jsons.lab(floor.lab),
        "spots": floor.spots,
        "spread_e00": jsons.rounded(floor.spread_e00),
        "colours_e00": jsons.rounded(floor.colours_e00),
        "doubts": jsons.doubts(floor.doubts),
    }


def _ranked(board: RankedBoard) -> Document:
    return {
        "place": board.place,
        "ties": tie_marks(board),
        "board": board.board,
        "lab": jsons.lab(board.lab),
        "delta_e00": jsons.difference(board.delta_e00),
        "probability_closest": jsons.rounded(board.probability_closest, 4),
        "difference": {name: jsons.rounded(value) for name, value in board.difference.as_dict().items()},
        "ratio_to_floor_spread": jsons.rounded(board.ratio_to_floor_spread),
        "in_words": board.in_words,
        "sentence": board.sentence,
        "score": jsons.difference(board.score or board.delta_e00),
        "score_own": None
        if board.own is None
        else {"low": jsons.rounded(board.own.low), "high": jsons.rounded(board.own.high)},
        "probability_within_limits": jsons.rounded(board.within_limits, 4),
        "inseparable": list(board.inseparable),
        "colours_e00": jsons.rounded(board.colours_e00),
        "figure_e00": jsons.rounded(board.figure_e00),
        "photos": board.photos,
        "direct_pairs": board.pairs,
        "final": board.final,
        "doubts": jsons.doubts(board.doubts),
    }

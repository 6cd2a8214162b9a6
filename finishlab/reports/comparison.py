"""What stands beside a ranking: the same boards in other lights, the other aim, recipes, the next photo.

Figures for JSON documents, and rows and sentences for the terminal and the page.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from finishlab.matching.alternatives import MOVES
from finishlab.reports import figures

if TYPE_CHECKING:
    from finishlab.colorimetry.difference import DeltaE
    from finishlab.matching.alternatives import AcrossLights, Choice
    from finishlab.matching.next_photo import NextPhoto
    from finishlab.matching.ranking import RankedBoard, Ranking

__all__ = [
    "aim_line",
    "chance",
    "choices_entry",
    "colours_line",
    "inseparable_lines",
    "is_plain",
    "lights_entry",
    "lights_rows",
    "next_photo_line",
    "recipes_entry",
    "recipes_rows",
    "score_cell",
]

LIGHTS_HEAD: Final = ("board", "worst light", "moves", "metamerism (95 %)")
_BARELY: Final = 0.02
_ROUNDS_TO_NONE: Final = 0.005
_LEADERS: Final = 3


def lights_entry(lights: AcrossLights) -> dict[str, Any]:
    """Return the lights for a document: each light, each board in all of them, and which photos are missing."""
    return {
        "compared": [light.as_dict() for light in lights.lights],
        "boards": [
            {
                "board": board.board,
                "worst_place": board.worst_place,
                "worst_light": board.worst,
                "delta_e00": {light: figures.difference(found) for light, found in board.by_light.items()},
                "places": dict(board.places),
                "moves": figures.rounded(board.move),
                "moves_in": board.move_light,
                "metamerism_index": None if board.metamerism is None else figures.difference(board.metamerism),
                "metamerism_told": None if board.metamerism is None else _is_told(board.metamerism),
                "doubts": [{"code": d.code, "message": d.message} for d in board.doubts],
            }
            for board in lights.boards
        ],
        "metamerism": "after ISO 18314-4: multiplicative correction, CIEDE2000",
        "missing": list(lights.missing),
    }


def choices_entry(choices: Sequence[Choice]) -> list[dict[str, Any]]:
    """Return the best board under each aim for a document."""
    return [
        {
            "aim": choice.aim.as_dict(),
            "board": choice.board,
            "score": figures.difference(choice.score),
            "probability_best": figures.rounded(choice.probability_best, 4),
            "probability_within_limits": figures.rounded(choice.within_limits, 4),
            "score_under_other": figures.difference(choice.other_score),
            "cost_under_other": figures.rounded(choice.cost),
            "in_words": choice.in_words,
        }
        for choice in choices
    ]


def recipes_entry(recipes: Ranking) -> list[dict[str, Any]]:
    """Return the pooled recipes for a document, the nearest first."""
    return [
        {
            "place": found.place,
            "recipe": found.board,
            "delta_e00": figures.difference(found.delta_e00),
            "probability_closest": figures.rounded(found.probability_closest, 4),
            "photos": found.photos,
            "in_words": found.in_words,
        }
        for found in recipes.boards
    ]


def lights_rows(lights: AcrossLights, most: int) -> tuple[list[str], list[list[str]]]:
    """Return head and rows of the table of lights, the best by its worst light first; empty with one light."""
    names = [light.text for light in lights.lights]
    head = [LIGHTS_HEAD[0], *names, *LIGHTS_HEAD[1:]]
    rows = []
    for board in lights.boards[:most]:
        index = board.metamerism
        rows.append(
            [
                board.board,
                *(f"{board.by_light[name].value:.1f}" for name in names),
                board.worst,
                "-" if board.move is None else f"{board.move:+.1f}",
                "-" if index is None else _index_cell(index),
            ]
        )
    return head, rows


def _index_cell(index: DeltaE) -> str:
    if _is_told(index):
        return f"{index.value:.1f} ({index.low:.1f} to {index.high:.1f})"
    return f"cannot be told (0.0 to {index.high:.1f})"


def _is_told(index: DeltaE) -> bool:
    """Return whether photos tell of an index: that there is one, or that it is too small to matter."""
    return index.low > 0.0 or index.high <= MOVES


def recipes_rows(recipes: Ranking, most: int | None = None) -> tuple[list[str], list[list[str]]]:
    """Return head and rows of the table of recipes, or of so many first ones."""
    rows = [
        [
            f"{found.place}",
            found.board,
            f"{found.delta_e00.value:.1f} ({found.delta_e00.low:.1f} to {found.delta_e00.high:.1f})",
            chance(found.probability_closest),
            found.in_words,
        ]
        for found in recipes.boards[:most]
    ]
    return ["place", "recipe", "dE00 (95 %)", "closest", "beside the floor"], rows


def chance(probability: float) -> str:
    """Return a probability in per cent; what simulation cannot tell from never or always is not called so."""
    if probability < _ROUNDS_TO_NONE:
        return "< 1 %"
    if probability >= 1.0 - _ROUNDS_TO_NONE:
        return "> 99 %"
    return f"{100 * probability:.0f} %"


def aim_line(ranking: Ranking) -> str:
    """Say what the boards were ranked for, when it is not the plain match; else nothing."""
    aim = ranking.aim
    return "" if is_plain(ranking) else f"Ranked for: {aim.in_words}; by {aim.scored_by.name}."


def is_plain(ranking: Ranking) -> bool:
    """Return whether the boards are ranked by CIEDE2000 from the floor and nothing else."""
    aim = ranking.aim
    return aim.name == "match" and not aim.limits and aim.scored_by.name == "CIEDE2000"


def score_cell(board: RankedBoard) -> str:
    """Return how far a board is from the aim, and the chance that it keeps the limits."""
    score = board.score or board.delta_e00
    kept = "" if board.within_limits is None else f" ({chance(board.within_limits)})"
    return f"{score.value:.1f}{kept}"


def inseparable_lines(ranking: Ranking, most: int = 5) -> list[str]:
    """Name the boards that cannot be told apart from the leading ones."""
    said: list[str] = []
    seen: set[frozenset[str]] = set()
    for board in ranking.leaders[:_LEADERS]:
        pairs = [other for other in board.inseparable if frozenset((board.board, other)) not in seen]
        seen |= {frozenset((board.board, other)) for other in pairs}
        if pairs:
            shown = ", ".join(pairs[:most]) + (f" and {len(pairs) - most} more" if len(pairs) > most else "")
            said.append(f"{board.board} cannot be told apart from {shown}.")
    return said


def next_photo_line(photos: Sequence[NextPhoto]) -> str:
    """Say which one more photo would do most, or that none would do much."""
    if not photos:
        return ""
    best = photos[0]
    if best.gain < _BARELY:
        return (
            "No one more photo would settle much: the first board is the best with a chance of about "
            f"{chance(best.now)} as it is. Judge the leading boards by eye."
        )
    return best.in_words


def colours_line(board: RankedBoard, floor_e00: float | None) -> str:
    """Say how the board's colours, not only their mean, stand to the floor's; empty where they were not kept."""
    if board.colours_e00 is None or board.figure_e00 is None:
        return ""
    told = f"Colour by colour {board.board} is dE00 {board.colours_e00:.1f} from the floor"
    if floor_e00 is not None:
        told += f", where the floor's own planks are {floor_e00:.1f}"
    return f"{told}; {board.figure_e00:.1f} of it is grain and figure."

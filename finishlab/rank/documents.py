"""What ``rank`` has to say: the answer at a glance, or in full, and its JSON form."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final

from finishlab.board.shown import what_it_is
from finishlab.matching.alternatives import MOVES
from finishlab.matching.costs import costs_entry, costs_line
from finishlab.rank.sentences import (
    aim_line,
    answer,
    answer_detail,
    chance,
    colours_line,
    deciding_doubt,
    doubts_once,
    floor_line,
    headline,
    how_far,
    how_sure,
    inseparable_lines,
    is_plain,
    next_steps,
    place_mark,
    runner_up,
    score_cell,
    tie_marks,
)
from finishlab.show import jsons as figures
from finishlab.show.document import Bar, Block, Cell, Column, Document, Interval, Line, Listing, Paragraph, Table
from finishlab.strip.trials import trust_entry, trust_line

if TYPE_CHECKING:
    from finishlab.colorimetry.difference import DeltaE
    from finishlab.matching.alternatives import AcrossLights, Choice
    from finishlab.matching.ranking import RankedBoard, Ranking
    from finishlab.matching.scatter import FloorPool
    from finishlab.rank.comparing import Comparison

_LIGHTS_HEAD: Final = ("board", "worst light", "moves", "metamerism (95 %)")
_MOVES_TOLD: Final = (
    "moves: dE00 there less dE00 in the first light; metamerism: the index after ISO 18314-4, which cannot be told "
    "where the errors of the photos hold both none and more than 1"
)
_LIGHTS_SHOWN: Final = 20
_GLANCE: Final = 15
"""Lines of the answer at a glance at most, the bar of colours one of them, on a terminal of `_NARROW` characters."""
_NARROW: Final = 80
_WIDE: Final = 110
"""Width of a terminal, characters, from which on it shows the figures of colours too."""


def comparison_document(found: Comparison, *, full: bool, most: int | None, as_json: bool) -> Document:
    """Return all that is said of a comparison.

    Parameters
    ----------
    found
        The comparison.
    full
        Whether people want all of it, or the answer at a glance.
    most
        Boards in the table; None for all.
    as_json
        Whether programs want it: what people read is left out then, and else what programs read, since either is long.
    """
    if as_json:
        return Document("ranking", {**ranking_data(found.ranking), **_beside(found)})
    told = found.as_measured()
    return Document("ranking", {}, tuple(_in_full(told, most) if full else _at_a_glance(told)))


def ranking_data(ranking: Ranking) -> dict[str, Any]:
    """Return a ranking as ``finishlab/ranking/1`` holds it: the floor, and the boards from the nearest on."""
    return {
        "floor": pool_document(ranking.floor),
        "ranking": [_ranked(board) for board in ranking.boards],
        "aim": ranking.aim.as_dict(),
        "next_photos": [photo.as_dict() for photo in ranking.next_photos],
        "answer": answer(ranking),
        "margin": None if ranking.margin is None else ranking.margin.as_dict(),
        "contrast_made": not ranking.no_contrast if ranking.aim.name == "contrast" else None,
    }


def _beside(found: Comparison) -> dict[str, Any]:
    return {
        "light": found.light,
        "left_out": list(found.left_out),
        "lights": None if found.lights is None else lights_entry(found.lights),
        "choices": _choices_entry(found.choices),
        "recipes": None if found.recipes is None else _recipes_entry(found.recipes),
        "costs": [costs_entry(each) for each in found.costs],
        "trials": trust_entry(found.trust),
    }


def _at_a_glance(found: Comparison) -> list[Block]:
    """Return the answer in at most `_GLANCE` lines; where finishes have long names these are cut."""
    for most in ((None, None), (None, 45), (None, 30), (60, 30), (30, 30)):
        blocks = list(_glance(found, *most))
        told = [block.text for block in blocks if isinstance(block, Paragraph)]
        if sum(len(wrap(text, _NARROW, subsequent_indent="  ")) for text in told) < _GLANCE:
            break
    return blocks


def _glance(found: Comparison, of_first: int | None, of_next: int | None) -> Iterator[Block]:
    ranking = found.ranking
    first = ranking.boards[0]
    yield Paragraph(headline(ranking, found.boards, of_first))
    yield Bar((first.lab, ranking.floor.lab), f"{first.board} beside the floor")
    yield Paragraph(how_far(ranking))
    yield Paragraph(f"How sure: {how_sure(ranking)}")
    if len(ranking.boards) > 1:
        yield Paragraph(f"Next: {runner_up(ranking, found.boards, of_next)}")
    doubtful = deciding_doubt(ranking)
    if doubtful is not None:
        yield Paragraph(f"Doubt ({doubtful[0]}): {doubtful[1]}")
    yield Paragraph(f"Do now: {next_steps(ranking, found.boards, found.missing)[0]}")
    left = len(found.left_out)
    left_out = f"; {left} board{'' if left == 1 else 's'} not photographed in it" if left else ""
    yield Paragraph(f"Light: {found.light}{left_out}. All of it: finishlab rank --full")


def _in_full(found: Comparison, most: int | None) -> Iterator[Block]:
    ranking = found.ranking
    yield Line(answer(ranking))
    yield Line(answer_detail(ranking, found.boards))
    if aim_line(ranking):
        yield Line(aim_line(ranking))
    yield from _places(found, most)
    yield Line()
    colours = colours_line(ranking.boards[0], ranking.floor.colours_e00)
    beside = [*(costs_line(each) for each in found.costs[:1]), trust_line(found.trust)]
    yield from (Line(line) for line in (floor_line(ranking.floor), colours, *beside) if line)
    if found.lights is not None and found.lights.boards:
        head, rows = lights_rows(found.lights, most or _LIGHTS_SHOWN)
        columns = [Column(name) for name in head]
        yield Table(columns, rows, title="In every light, the best by its worst light first")
        yield Line(_MOVES_TOLD)
    if found.recipes is not None:
        head, rows = recipes_rows(found.recipes, most)
        yield Table([Column(name) for name in head], rows, title="Recipes, each pooled over its boards")
        yield from _more(found.recipes, most)
    yield Listing("Match or contrast", [choice.in_words for choice in found.choices])
    yield Listing("What stays open", inseparable_lines(ranking))
    doubts = [f"{who}: {sentence}" for who, sentence in doubts_once(ranking, most)]
    yield Listing(_doubts_title(ranking, most), doubts)
    yield Listing("What to do next", next_steps(ranking, found.boards, found.missing), numbered=True)
    left_out = f" Not photographed in it: {', '.join(found.left_out)}." if found.left_out else ""
    yield Line()
    yield Line(f"Light: {found.light}.{left_out}")


def _places(found: Comparison, most: int | None) -> Iterator[Block]:
    """Return the table of the boards and what its columns mean."""
    ranking = found.ranking
    shown, plain = ranking.boards[:most], is_plain(ranking)
    columns = [
        Column("place", fold=False),
        Column("board", fold=False),
        Column("board|floor", fold=False),
        Column("L* a* b*", fold=False, room=_WIDE),
        *([] if plain else [Column("from the aim", fold=False)]),
        Column("dE00 (95 %)", fold=False),
        Column("closest", fold=False, right=True),
        Column("what it is / beside the floor"),
    ]
    rows: list[Sequence[Cell]] = [
        (
            place_mark(board),
            board.board,
            Bar((board.lab, ranking.floor.lab)),
            " ".join(f"{round(v) + 0:d}" for v in board.lab),
            *([] if plain else [score_cell(board)]),
            Interval(board.delta_e00.value, board.delta_e00.low, board.delta_e00.high),
            chance(board.probability_closest),
            f"{what_it_is(found.boards[board.board].record)}\n{board.in_words}",
        )
        for board in shown
    ]
    yield Line()
    yield Table(columns, rows)
    yield from _more(ranking, most)
    if any(board.tied for board in shown):
        yield Line("a, b ...: the photos leave the order of boards that share a letter open")
    yield Line("dE00: CIEDE2000 to the floor with its 95 % interval; closest: chance of being the closest board")
    if ranking.boards[0].within_limits is not None:
        yield Line("from the aim: how far off, and in brackets the chance that the limits are kept")


def _more(ranking: Ranking, most: int | None) -> Iterator[Line]:
    if most is not None and len(ranking.boards) > most:
        yield Line(f"and {len(ranking.boards) - most} more; --most 0 shows all")


def _doubts_title(ranking: Ranking, most: int | None) -> str:
    if most is None or len(ranking.boards) <= most:
        return "Doubts"
    return f"Doubts of the floor and of the first {'board' if most == 1 else f'{most} boards'}"


def _ranked(board: RankedBoard) -> dict[str, Any]:
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


def _choices_entry(choices: Sequence[Choice]) -> list[dict[str, Any]]:
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


def _recipes_entry(recipes: Ranking) -> list[dict[str, Any]]:
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
    head = [_LIGHTS_HEAD[0], *names, *_LIGHTS_HEAD[1:]]
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


def pool_document(floor: FloorPool) -> dict[str, Any]:
    """Return the JSON form of the floor's spots together."""
    return {
        "lab": figures.lab(floor.lab),
        "spots": floor.spots,
        "spread_e00": figures.rounded(floor.spread_e00),
        "colours_e00": figures.rounded(floor.colours_e00),
        "doubts": figures.doubts(floor.doubts),
    }

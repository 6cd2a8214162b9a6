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
    at_a_glance,
    chance,
    colours_line,
    doubts_once,
    floor_line,
    headline,
    inseparable_lines,
    is_plain,
    next_steps,
    place_mark,
    score_cell,
    tie_marks,
)
from finishlab.show import jsons as figures
from finishlab.show.document import Bar, Block, Cell, Column, Document, Interval, Line, Listing, Paragraph, Table
from finishlab.show.jsons import entry
from finishlab.strip.trials import trust_entry, trust_line

if TYPE_CHECKING:
    from finishlab.colorimetry.difference import DeltaE
    from finishlab.matching.alternatives import AcrossLights
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
        "next_photos": [entry(photo, _NEXT_PHOTO) for photo in ranking.next_photos],
        "answer": answer(ranking),
        "margin": ranking.margin and entry(ranking.margin, "first=board next") | figures.difference(ranking.margin.by),
        "contrast_made": not ranking.no_contrast if ranking.aim.name == "contrast" else None,
    }


def _beside(found: Comparison) -> dict[str, Any]:
    return {
        "light": found.light,
        "left_out": list(found.left_out),
        "lights": None if found.lights is None else lights_entry(found.lights),
        "choices": [entry(choice, _CHOICE) for choice in found.choices],
        "recipes": None if found.recipes is None else [entry(recipe, _RECIPE) for recipe in found.recipes.boards],
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
    for what, told in at_a_glance(ranking, found.boards, of_next):
        yield Paragraph(f"{what} {told}".strip())
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


_PLACED: Final = "lab delta_e00 probability_closest:4 difference ratio_to_floor_spread in_words sentence"
_AFTER_SCORE: Final = (
    "within_limits=probability_within_limits:4 inseparable colours_e00 figure_e00 photos pairs=direct_pairs final "
    "doubts"
)
"""Fields of a ranked board before and after its score, as `entry` takes them."""


def _ranked(board: RankedBoard) -> dict[str, Any]:
    before, after = entry(board, _PLACED), entry(board, _AFTER_SCORE)
    score = {
        "score": figures.difference(board.score or board.delta_e00),
        "score_own": None if board.own is None else entry(board.own, "low high"),
    }
    return {"place": board.place, "ties": tie_marks(board), "board": board.board} | before | score | after


def lights_entry(lights: AcrossLights) -> dict[str, Any]:
    """Return the lights for a document: each light, each board in all of them, and which photos are missing."""
    boards = []
    for board in lights.boards:
        index = board.metamerism
        told = {"metamerism_index": index and figures.difference(index), "metamerism_told": index and _is_told(index)}
        before = "board worst_place worst=worst_light by_light=delta_e00 places move=moves move_light=moves_in"
        boards.append(entry(board, before) | told | entry(board, "doubts"))
    return {
        "compared": [entry(light, "text=light kind kelvin") for light in lights.lights],
        "boards": boards,
        "metamerism": "after ISO 18314-4: multiplicative correction, CIEDE2000",
        "missing": list(lights.missing),
    }


_CHOICE: Final = (
    "aim board score probability_best:4 within_limits=probability_within_limits:4 other_score=score_under_other "
    "cost=cost_under_other in_words"
)
_NEXT_PHOTO: Final = "what board now=chance_right_now:4 then=chance_right_then:4 in_words"
_RECIPE: Final = "place board=recipe delta_e00 probability_closest:4 photos in_words"


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
    return entry(floor, "lab spots spread_e00 colours_e00 doubts")

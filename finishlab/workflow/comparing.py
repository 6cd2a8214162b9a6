"""Logged boards against the logged floor: ranked for an aim, in one light and across lights."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from finishlab.errors import LogbookError
from finishlab.logbook import Logbook, StoredBoard, StoredSpot
from finishlab.logbook.many import many_objects
from finishlab.matching.across import AcrossLights, compare_lights
from finishlab.matching.aims import CONTRAST, MATCH, STEP, Aim, within
from finishlab.matching.choices import Choice, weigh_choices
from finishlab.matching.components import Components
from finishlab.matching.evidence import BoardLooks, Weighed, weigh
from finishlab.matching.floor import FloorPool
from finishlab.matching.groups import pool_groups
from finishlab.matching.guards import floor_guards
from finishlab.matching.lights import named_light
from finishlab.matching.next_photo import MOST_BOARDS, next_photos
from finishlab.matching.ranking import RankedBoard, Ranking, Subject, as_rows, rank_together, require_boards
from finishlab.matching.transport import centred, transport_distance
from finishlab.quality import doubt
from finishlab.records import DAYLIGHT, Light, normalise_light
from finishlab.reports.rows import BoardRow
from finishlab.workflow.gathering import (
    FloorSeen,
    board_looks,
    components_of,
    in_light,
    lights_hint,
    lights_of,
    most,
    paired_lights,
    see_floor,
    subject_of,
)
from finishlab.workflow.rows import board_row

__all__ = ["Comparison", "compare", "pool_spots", "rank_boards"]

_MOST_PAIRED: Final = 60
"""Boards, from the nearest on, whose sampled colours are paired with the floor's."""
_MOST_CHOSEN: Final = 100
"""Boards looked at for the best under the other aim."""
_REACHED: Final = 1.0
"""L* by which an aim may be lighter than the clear-only board and still count as reachable; this tool's own."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """A ranking and what it was made from."""

    ranking: Ranking
    boards: Mapping[str, BoardRow]
    """Every logged board, by number: the ranked ones with their colours in this light."""
    light: Light
    """The light the boards were photographed in."""
    left_out: tuple[str, ...]
    """Boards that were not measured in this light."""
    lights: AcrossLights | None = None
    """The same boards in every light; None when only one light was asked for."""
    choices: tuple[Choice, ...] = ()
    """The best board under each aim, and what choosing it costs under the other."""
    recipes: Ranking | None = None
    """Recipes in place of boards, each pooled over its boards; None where no recipe has two boards."""


class _Rows(Mapping[str, BoardRow]):
    """Boards as rows, made when they are looked at: of thousands only the first are shown."""

    def __init__(self, boards: Mapping[str, tuple[StoredBoard, Light | None]]) -> None:
        self._boards = boards
        self._made: dict[str, BoardRow] = {}

    def __getitem__(self, number: str) -> BoardRow:
        if number not in self._made:
            self._made[number] = board_row(*self._boards[number])
        return self._made[number]

    def __iter__(self) -> Iterator[str]:
        return iter(self._boards)

    def __len__(self) -> int:
        return len(self._boards)


@dataclass(frozen=True, slots=True)
class _InLight:
    """Everything weighed in one light."""

    light: Light
    floor: FloorSeen
    pool: FloorPool
    looks: tuple[BoardLooks, ...]
    components: Components
    weighed: Weighed
    subjects: tuple[Subject, ...]

    def rank(self, aim: Aim) -> Ranking:
        return rank_together(self.pool, self.weighed.together, self.subjects, aim=aim, light=self.light)


def rank_boards(log: Logbook, *, light: str | None = None, aim: Aim = MATCH) -> Ranking:
    """Rank the boards of a logbook by their difference from its floor.

    Parameters
    ----------
    log
        An open logbook.
    light
        The light whose photos are compared; without it the one with the most boards in which the
        floor was measured too.
    aim
        What the boards are ranked for.

    Raises
    ------
    LogbookError
        ``no-floor`` or ``no-boards`` if there is nothing to compare.

    Examples
    --------
    >>> with Logbook.open("stairs") as log:                    # doctest: +SKIP
    ...     for board in rank_boards(log).boards:
    ...         print(board.place, board.board, board.delta_e00.value, board.in_words)
    """
    boards, spots, grit = log.boards(brief=True), log.floor_spots(), _tread_grit(log)
    chosen = _main_light(boards, spots, light)
    return _told(_see(boards, spots, chosen, aim, strict=light is not None, grit=grit), aim)


def compare(
    log: Logbook,
    *,
    light: str | None = None,
    aim: Aim = MATCH,
    other: Aim | None = None,
    recipes: Mapping[str, str] | None = None,
) -> Comparison:
    """Rank as `rank_boards` does, in every light, for both aims, and by recipe.

    Parameters
    ----------
    log
        An open logbook.
    light, aim
        See `rank_boards`.
    other
        The aim that the best board's cost is told under; without it a contrast beside a match, and a match beside a
        contrast.
    recipes
        Board -> recipe; boards of one recipe are pooled. Without it, as the boards' records say.
    """
    with many_objects():
        boards = log.boards(brief=True)
        if recipes is None:
            recipes = {board.number: board.record.recipe for board in boards if board.record.recipe is not None}
        return _compare(boards, log.floor_spots(), light, aim, other, recipes, _tread_grit(log))


def _tread_grit(log: Logbook) -> int | None:
    """Return the last grit the treads are sanded to: by the standard, else by the one recipe the treads name."""
    standard = log.standard()
    if standard is not None:
        finishes = [standard.approval.finish]
    else:
        named = {part.record.recipe_number for part in log.stair_parts() if part.record.kind == "tread"}
        finishes = [each.record.finish for each in log.recipes() if int(each.number[1:]) in named]
    last = {each.preparation.grits[-1] for each in finishes if each.preparation.grits}
    return last.pop() if len(last) == 1 else None


def _compare(
    boards: Sequence[StoredBoard],
    spots: Sequence[StoredSpot],
    light: str | None,
    aim: Aim,
    other: Aim | None,
    recipes: Mapping[str, str],
    grit: int | None,
) -> Comparison:
    chosen = _main_light(boards, spots, light)
    seen = _see(boards, spots, chosen, aim, strict=light is not None, grit=grit)
    ranking = _told(seen, aim)
    rankings = {chosen: ranking}
    for each in _other_lights(boards, spots, chosen):
        rankings[each] = _see(boards, spots, each, aim, strict=True, grit=grit).rank(aim)
    lights = compare_lights([named_light(each) for each in rankings], rankings)
    ranking = _with_light_doubts(ranking, lights)
    measured = {b.board for b in ranking.boards}
    return Comparison(
        ranking,
        _Rows({board.number: (board, chosen if board.number in measured else None) for board in boards}),
        chosen,
        tuple(board.number for board in boards if board.number not in measured),
        lights,
        _choices(seen, ranking, other or _opposite(aim)),
        _by_recipe(seen, aim, recipes),
    )


def pool_spots(spots: Sequence[StoredSpot], light: Light | None = None) -> tuple[Light, FloorPool] | None:
    """Return the pool of the spots in a light, or in the light with the most spots; None if there is none."""
    counted = lights_of(spots)
    chosen = light if light is not None else most(counted)
    if chosen is None or not counted[chosen]:
        return None
    return chosen, see_floor([], spots, chosen, strict=True).pool()


def _main_light(boards: Sequence[StoredBoard], spots: Sequence[StoredSpot], light: str | None) -> Light:
    """Return the light asked for, or that with the most boards in which the floor was measured too."""
    if light is not None:
        return normalise_light(light)
    counted = lights_of(boards)
    with_floor = lights_of(spots) or paired_lights(boards)
    both = Counter({each: count for each, count in counted.items() if with_floor[each]})
    return most(both) or most(counted) or DAYLIGHT


def _other_lights(boards: Sequence[StoredBoard], spots: Sequence[StoredSpot], chosen: Light) -> list[Light]:
    """Return the other lights in which both boards and floor were photographed, the fullest first."""
    counted = lights_of(boards)
    floor = lights_of(spots) + paired_lights(boards)
    return sorted((each for each in counted if each != chosen and floor[each]), key=lambda e: (-counted[e], e))


def _see(
    boards: Sequence[StoredBoard],
    spots: Sequence[StoredSpot],
    light: Light,
    aim: Aim,
    *,
    strict: bool,
    grit: int | None = None,
) -> _InLight:
    """Weigh everything in a light, for an aim that a board may or may not reach.

    Raises
    ------
    LogbookError
        ``no-floor`` or ``no-boards``.
    """
    floor = see_floor(boards, spots, light, strict=strict)
    floor = replace(floor, facts=replace(floor.facts, tread_grit=grit))
    pool = floor.pool()
    measured = [board for board in boards if in_light(board.measurements, light)]
    if boards and not measured:
        raise LogbookError(
            "no-boards", f"No test board was photographed in the light “{light}”.", lights_hint(lights_of(boards))
        )
    require_boards(measured)
    looks = tuple(board_looks(board, light, floor) for board in measured)
    components = components_of(looks, floor.planks)
    weighed = weigh(looks, floor.planks, components).at_level(pool.lab)
    one_light = [doubt("one-light", light=light)] if len(lights_of(boards) + lights_of(spots)) == 1 else []
    beside = sum(look.floor is not None for board in looks for look in board.looks)
    pool = replace(
        pool,
        estimate=weighed.floor,
        doubts=(*floor_guards(floor.facts), *pool.doubts, *one_light),
        photos=sum(len(plank.looks) for plank in floor.planks) + beside,
        plank_covariance=None if components.plank_scatter is None else as_rows(np.asarray(components.plank_scatter)),
    )
    subjects = tuple(subject_of(board, light, floor, pool) for board in measured)
    return _InLight(light, floor, pool, looks, components, weighed, _reachable(measured, subjects, weighed, aim))


def _reachable(
    boards: Sequence[StoredBoard], subjects: Sequence[Subject], weighed: Weighed, aim: Aim
) -> tuple[Subject, ...]:
    """Add the doubt that the aim is lighter than the clear-only board of the same wood, which stain only darkens."""
    # A contrast either way can always be had on the darker side.
    step = aim.step if aim.step is not None else 0.0 if aim.name == "match" else -STEP
    covariance = weighed.difference_covariance()
    lighter: dict[str, tuple[str, float]] = {}
    for i, board in enumerate(boards):
        if board.record.purpose == "clear-only control":
            by = float(weighed.together.floor_lab[0] + step - weighed.together.labs[i, 0])
            if by - 1.645 * float(np.sqrt(covariance[i, 0, 0])) > _REACHED:
                lighter[board.record.species.casefold()] = (board.number, by)
    out = []
    for board, subject in zip(boards, subjects, strict=True):
        found = lighter.get(board.record.species.casefold())
        if found is not None:
            told = doubt("not-reachable", board=found[0], by=round(found[1], 1))
            out.append(replace(subject, doubts=(told, *subject.doubts)))
        else:
            out.append(subject)
    return tuple(out)


def _told(seen: _InLight, aim: Aim) -> Ranking:
    """Rank, and add what only the first boards are worth: their colours paired with the floor's, the next photo."""
    ranking = seen.rank(aim)
    colours = {subject.board: subject.colours for subject in seen.subjects}
    floor = ranking.floor
    boards = [
        _paired(board, colours[board.board], floor) if board.place <= _MOST_PAIRED else board
        for board in ranking.boards
    ]
    ranking = replace(ranking, boards=tuple(boards))
    leaders = {board.board for board in ranking.leaders[:MOST_BOARDS]}
    looks = [each for each in seen.looks if each.board in leaders]
    if len(looks) < 2 or not (seen.floor.planks or any(look.floor for each in looks for look in each.looks)):
        return ranking
    return replace(ranking, next_photos=next_photos(looks, seen.floor.planks, seen.components, aim))


def _paired(
    board: RankedBoard, colours: tuple[tuple[float, float, float], ...] | None, floor: FloorPool
) -> RankedBoard:
    """Add how far the board's sampled colours lie from the floor's."""
    if colours is None or floor.colours is None:
        return board
    whole = centred(floor.colours, floor.lab)
    return replace(
        board,
        colours_e00=transport_distance(whole, centred(colours, board.lab)),
        figure_e00=transport_distance(whole, centred(colours, floor.lab)),
    )


def _with_light_doubts(ranking: Ranking, lights: AcrossLights) -> Ranking:
    moving = {board.board: board.doubts for board in lights.boards}
    boards = tuple(
        replace(b, doubts=(*moving[b.board], *b.doubts)) if moving.get(b.board) else b for b in ranking.boards
    )
    floor = ranking.floor
    return replace(ranking, boards=boards, floor=replace(floor, doubts=(*lights.doubts, *floor.doubts)))


def _opposite(aim: Aim) -> Aim:
    return replace(CONTRAST, formula=aim.formula) if aim.name == "match" else replace(MATCH, formula=aim.formula)


def _choices(seen: _InLight, ranking: Ranking, other: Aim) -> tuple[Choice, ...]:
    """Weigh the first board of the ranking against the best of the other aim, found among the boards that may be it."""
    together = seen.weighed.together
    score = other.score(together.labs, together.floor_lab)
    kept = within(other, together.labs, together.floor_lab)
    first = next(i for i, subject in enumerate(seen.subjects) if subject.board == ranking.boards[0].board)
    picks = np.unique([*np.lexsort((score, ~kept))[:_MOST_CHOSEN].tolist(), first])
    subjects = [seen.subjects[i] for i in picks]
    return weigh_choices([ranking, rank_together(seen.pool, together.only(picks), subjects, aim=other)])


def _by_recipe(seen: _InLight, aim: Aim, recipes: Mapping[str, str]) -> Ranking | None:
    names = [subject.board for subject in seen.subjects]
    pooled = pool_groups(seen.weighed.together, names, recipes)
    if pooled is None:
        return None
    subjects = []
    for name, members in zip(pooled.names, pooled.boards, strict=True):
        of = [seen.subjects[i] for i in members]
        doubts = tuple({(d.code, d.message): d for each in of for d in each.doubts}.values())
        photos, pairs = sum(each.photos for each in of), sum(each.pairs for each in of)
        subjects.append(Subject(name, doubts, photos, pairs, None, all(each.final for each in of)))
    return rank_together(seen.pool, pooled.together, subjects, aim=aim, light=seen.light)

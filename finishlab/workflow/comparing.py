"""Logged boards against the logged floor: ranked for an aim, in one light and across lights."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from finishlab.board.shown import BoardRow, Rows
from finishlab.errors import LogbookError
from finishlab.logbook import Logbook, LoggedBoard, LoggedBoards, StoredSpot
from finishlab.logbook.reading import many_objects
from finishlab.matching.across import AcrossLights, compare_lights
from finishlab.matching.aims import CONTRAST, MATCH, STEP, Aim, within
from finishlab.matching.choices import Choice, weigh_choices
from finishlab.matching.components import Components, components_of
from finishlab.matching.costs import Costs
from finishlab.matching.evidence import Weighed, weigh_looks
from finishlab.matching.floor import FloorPool
from finishlab.matching.groups import pool_groups
from finishlab.matching.guards import floor_guards
from finishlab.matching.layout import Looks
from finishlab.matching.lights import named_light
from finishlab.matching.next_photo import MOST_BOARDS, next_photos
from finishlab.matching.places import Subjects
from finishlab.matching.ranking import RankedBoard, Ranking, Subject, as_rows, rank_together, require_boards
from finishlab.matching.sensitivities import even
from finishlab.matching.transport import centred, transport_distance
from finishlab.matching.trials import Trust
from finishlab.quality import Doubt, doubt
from finishlab.record import DAYLIGHT, Light, normalise_light
from finishlab.strip.trials import trust_in, trusted_boards, trusted_components, trusted_spots
from finishlab.workflow.costing import costs_of, with_print_doubt
from finishlab.workflow.gathering import (
    Colours,
    FloorSeen,
    all_looks,
    board_looks,
    lights_hint,
    lights_of,
    most,
    paired_lights,
    see_floor,
    spot_lights,
    subject_of,
)

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
    costs: tuple[Costs, ...] = ()
    """What the intervals of the first boards are made of."""
    trust: Trust = Trust()  # noqa: RUF009 - frozen, and equal for all
    """What trials at home made of the errors."""


@dataclass(frozen=True, slots=True)
class _Logged:
    """All that is read of a logbook."""

    boards: LoggedBoards
    spots: Sequence[StoredSpot]
    tread_grit: int | None
    trust: Trust


@dataclass(frozen=True, slots=True)
class _InLight:
    """Everything weighed in one light."""

    light: Light
    logged: LoggedBoards
    boards: Sequence[LoggedBoard]
    """Those measured in this light."""
    floor: FloorSeen
    pool: FloorPool
    looks: Looks
    components: Components
    weighed: Weighed
    subjects: Subjects

    @property
    def numbers(self) -> Sequence[str]:
        """The boards' numbers."""
        return self.subjects.numbers

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
    with many_objects():
        logged = _read(log)
        chosen = _main_light(logged, light)
        return _told(_see(logged, chosen, aim, strict=light is not None), aim, log)


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
        logged = _read(log)
        if recipes is None:
            recipes = {board.number: board.recipe for board in logged.boards.boards if board.recipe is not None}
        return _compare(log, logged, light, aim, other, recipes)


def _read(log: Logbook) -> _Logged:
    """Read a logbook, its errors as large as trials at home say: the one place where ranking takes those in."""
    trust = trust_in(log)
    boards, spots = trusted_boards(log.boards_in_short(), trust), trusted_spots(log.floor_spots(), trust)
    return _Logged(boards, spots, _tread_grit(log), trust)


def _tread_grit(log: Logbook) -> int | None:
    """Return the last grit the treads are sanded to: by the standard, else by the one recipe the treads name."""
    standard = log.standard()
    if standard is not None:
        finishes = [standard.approval.finish]
    else:
        named = {part.record.recipe_number for part in log.stair_parts() if part.record.kind == "tread"}
        finishes = [each.record.finish for each in log.recipes() if each.number.key in named]
    last = {each.preparation.grits[-1] for each in finishes if each.preparation.grits}
    return last.pop() if len(last) == 1 else None


def _compare(
    log: Logbook, logged: _Logged, light: str | None, aim: Aim, other: Aim | None, recipes: Mapping[str, str]
) -> Comparison:
    chosen = _main_light(logged, light)
    seen = _see(logged, chosen, aim, strict=light is not None)
    ranking = _told(seen, aim, log)
    rankings = {chosen: ranking}
    for each in _other_lights(logged, chosen):
        rankings[each] = _see(logged, each, aim, strict=True).rank(aim)
    lights = compare_lights([named_light(each) for each in rankings], rankings)
    costs = costs_of(seen.looks, seen.components, ranking, seen.numbers)
    ranking = with_print_doubt(_with_light_doubts(ranking, lights), costs)
    measured = set(seen.numbers)
    return Comparison(
        ranking,
        Rows(logged.boards, chosen, seen.boards),
        chosen,
        tuple(board.number for board in logged.boards.boards if board.number not in measured),
        lights,
        _choices(seen, ranking, other or _opposite(aim)),
        _by_recipe(seen, aim, recipes),
        costs,
        logged.trust,
    )


def pool_spots(spots: Sequence[StoredSpot], light: Light | None = None) -> tuple[Light, FloorPool] | None:
    """Return the pool of the spots in a light, or in the light with the most spots; None if there is none."""
    counted = spot_lights(spots)
    chosen = light if light is not None else most(counted)
    if chosen is None or not counted[chosen]:
        return None
    return chosen, see_floor(None, spots, chosen, strict=True).pool()


def _main_light(logged: _Logged, light: str | None) -> Light:
    """Return the light asked for, or that with the most boards in which the floor was measured too."""
    if light is not None:
        return normalise_light(light)
    counted = lights_of(logged.boards.boards)
    with_floor = spot_lights(logged.spots) or paired_lights(logged.boards.boards)
    both = Counter({each: count for each, count in counted.items() if with_floor[each]})
    return most(both) or most(counted) or DAYLIGHT


def _other_lights(logged: _Logged, chosen: Light) -> list[Light]:
    """Return the other lights in which both boards and floor were photographed, the fullest first."""
    counted = lights_of(logged.boards.boards)
    floor = spot_lights(logged.spots) + paired_lights(logged.boards.boards)
    return sorted((each for each in counted if each != chosen and floor[each]), key=lambda e: (-counted[e], e))


def _see(logged: _Logged, light: Light, aim: Aim, *, strict: bool) -> _InLight:
    """Weigh everything in a light, for an aim that a board may or may not reach.

    Raises
    ------
    LogbookError
        ``no-floor`` or ``no-boards``.
    """
    of_all, spots = logged.boards, logged.spots
    floor = see_floor(of_all, spots, light, strict=strict)
    floor = replace(floor, facts=replace(floor.facts, tread_grit=logged.tread_grit))
    pool = floor.pool()
    measured = [board for board in of_all.boards if any(look.light == light for look in board.looks)]
    lights = lights_of(of_all.boards)
    if of_all.boards and not measured:
        raise LogbookError("no-boards", f"No test board was photographed in the light “{light}”.", lights_hint(lights))
    require_boards(measured)
    looks = even(all_looks(of_all, measured, light, floor))
    components = trusted_components(components_of(looks), logged.trust)
    weighed = weigh_looks(looks, components)
    one_light = [doubt("one-light", light=light)] if len(lights + spot_lights(spots)) == 1 else []
    pool = replace(
        pool,
        estimate=weighed.floor,
        doubts=(*floor_guards(floor.facts), *pool.doubts, *one_light),
        photos=int(np.count_nonzero(looks.plank >= 0)),
        plank_covariance=None if components.plank_scatter is None else as_rows(np.asarray(components.plank_scatter)),
    )
    lighter = _lighter_than_clear(measured, weighed, aim)

    def subject(index: int) -> Subject:
        board = measured[index]
        found = subject_of(of_all, board, light, floor, pool)
        clear = lighter.get(board.record.species.casefold()) if lighter else None
        return found if clear is None else replace(found, doubts=(clear, *found.doubts))

    subjects = Subjects([board.number for board in measured], subject)
    return _InLight(light, of_all, measured, floor, pool, looks, components, weighed, subjects)


def _lighter_than_clear(boards: Sequence[LoggedBoard], weighed: Weighed, aim: Aim) -> dict[str, Doubt]:
    """Return, by wood, the doubt that the aim is lighter than the clear-only board, which stain only darkens."""
    # A contrast either way can always be had on the darker side.
    step = aim.step if aim.step is not None else 0.0 if aim.name == "match" else -STEP
    clear = np.array([i for i, board in enumerate(boards) if board.purpose == "clear-only control"], dtype=np.intp)
    of_clear = replace(weighed, together=weighed.together.only(clear))
    covariance = of_clear.difference_covariance()
    lighter: dict[str, Doubt] = {}
    for i, board in enumerate(clear):
        by = float(weighed.together.floor_lab[0] + step - of_clear.together.labs[i, 0])
        if by - 1.645 * float(np.sqrt(covariance[i, 0, 0])) > _REACHED:
            told = doubt("not-reachable", board=boards[board].number, by=round(by, 1))
            lighter[boards[board].record.species.casefold()] = told
    return lighter


def _told(seen: _InLight, aim: Aim, log: Logbook) -> Ranking:
    """Rank, and add what only the first boards are worth: their colours paired with the floor's, the next photo."""
    ranking = seen.rank(aim)
    floor = ranking.floor
    nearest = [board.board for board in ranking.boards[:_MOST_PAIRED]]
    colours = log.sampled_colours(nearest, seen.light) if floor.colours is not None else {}
    ranking = ranking.changed(lambda board: _paired(board, colours.get(board.board), floor))
    leaders = {board.board for board in ranking.leaders[:MOST_BOARDS]}
    looks = [
        board_looks(seen.logged, board, seen.light, seen.floor) for board in seen.boards if board.number in leaders
    ]
    if (
        ranking.no_contrast
        or len(looks) < 2
        or not (seen.floor.planks or any(look.floor for each in looks for look in each.looks))
    ):
        return ranking
    chance = ranking.boards[0].probability_closest
    return replace(ranking, next_photos=next_photos(looks, seen.floor.planks, seen.components, aim, now=chance))


def _paired(board: RankedBoard, colours: Colours | None, floor: FloorPool) -> RankedBoard:
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
    if lights.boards:
        ranking = ranking.changed(lambda b: replace(b, doubts=(*moving.get(b.board, ()), *b.doubts)))
    floor = ranking.floor
    return replace(ranking, floor=replace(floor, doubts=(*lights.doubts, *floor.doubts)))


def _opposite(aim: Aim) -> Aim:
    return replace(CONTRAST, formula=aim.formula) if aim.name == "match" else replace(MATCH, formula=aim.formula)


def _choices(seen: _InLight, ranking: Ranking, other: Aim) -> tuple[Choice, ...]:
    """Weigh the first board of the ranking against the best of the other aim, found among the boards that may be it."""
    together = seen.weighed.together
    score = other.score(together.labs, together.floor_lab)
    kept = within(other, together.labs, together.floor_lab)
    first = seen.numbers.index(ranking.boards[0].board)
    picks = np.unique([*np.lexsort((score, ~kept))[:_MOST_CHOSEN].tolist(), first])
    subjects = seen.subjects.only(picks.tolist())
    return weigh_choices([ranking, rank_together(seen.pool, together.only(picks), subjects, aim=other)])


def _by_recipe(seen: _InLight, aim: Aim, recipes: Mapping[str, str]) -> Ranking | None:
    pooled = pool_groups(seen.weighed.together, seen.numbers, recipes)
    if pooled is None:
        return None
    names, members = pooled.names, pooled.boards

    def subject(index: int) -> Subject:
        of = [seen.subjects[i] for i in members[index]]
        doubts = tuple({(d.code, d.message): d for each in of for d in each.doubts}.values())
        photos, pairs = sum(each.photos for each in of), sum(each.pairs for each in of)
        return Subject(names[index], doubts, photos, pairs, all(each.final for each in of))

    subjects = Subjects(names, subject)
    return rank_together(seen.pool, pooled.together, subjects, aim=aim, light=seen.light)

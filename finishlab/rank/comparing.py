"""Logged boards against the logged floor: ranked for an aim, in one light and across lights."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from finishlab.colorimetry.delta_e import centred, merge_colours, plank_yardstick, transport_distance
from finishlab.colorimetry.estimate import triple
from finishlab.errors import LogbookError
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import StoredBoard, StoredSpot, many_objects
from finishlab.matching.aims import CONTRAST, MATCH, STEP, Aim, within
from finishlab.matching.alternatives import AcrossLights, Choice, compare_aims, compare_lights, named_light
from finishlab.matching.costs import MOST_BOARDS, Costs, board_costs, next_photos, print_doubt
from finishlab.matching.gls import Solution, solve
from finishlab.matching.guards import floor_guards
from finishlab.matching.joint import pool_recipes
from finishlab.matching.ranking import Ranking, as_rows, rank_colours
from finishlab.matching.scatter import (
    Components,
    FloorPool,
    Observations,
    components_of,
    pool_floor,
    with_surface_effects,
)
from finishlab.matching.trials import Trust
from finishlab.quality import Doubt, doubt
from finishlab.rank.gathering import (
    FloorSeen,
    floors_far_off,
    in_light,
    lights_hint,
    lights_of,
    most,
    observations_of,
    paired_lights,
    see_floor,
    spot_lights,
    trusted,
    trusted_components,
    with_facts,
)
from finishlab.record import DAYLIGHT, Light, normalise_light
from finishlab.strip.trials import trust_in

_MOST_PAIRED: Final = 60
"""Boards, from the nearest on, whose sampled colours are paired with the floor's."""
_MOST_COSTS: Final = 5
"""Boards, from the nearest on, of which it is told what their intervals are made of."""
_MOST_CHOSEN: Final = 100
"""Boards looked at for the best under the other aim."""
_REACHED: Final = 1.0
"""L* by which an aim may be lighter than the clear-only board and still count as reachable; this tool's own."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """A ranking and what it was made from."""

    ranking: Ranking
    boards: Mapping[str, StoredBoard]
    """Every logged board, by number."""
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
    floor_lab: tuple[float, float, float] | None = None
    """Mean of all that was measured of the floor in this light, CIELAB, as `floor list` shows it; the ranking holds its
    colour as all photos together make it, which moves with what else is logged."""

    @property
    def missing(self) -> tuple[str, ...]:
        """In words, which photos would let every board be judged in a second light."""
        return () if self.lights is None else self.lights.missing

    def as_measured(self, most: int | None = None) -> Comparison:
        """Return the same with colours as they were measured, for showing: a board has one colour everywhere.

        With `most`, those of so many first boards.
        """
        first, others = self.ranking.boards[:most], self.ranking.boards[len(self.ranking.boards[:most]) :]
        boards = (*(replace(each, lab=self._measured_lab(each.board)) for each in first), *others)
        floor = self.ranking.floor
        if self.floor_lab is not None:
            floor = replace(floor, estimate=replace(floor.estimate, lab=self.floor_lab))
        return replace(self, ranking=replace(self.ranking, boards=boards, floor=floor))

    def _measured_lab(self, board: str) -> tuple[float, float, float]:
        found = in_light(self.boards[board].measurements, self.light)
        return triple(np.mean([each.field.estimate.lab for each in found], axis=0))


@dataclass(frozen=True, slots=True)
class _Logged:
    """All that is read of a logbook."""

    boards: Sequence[StoredBoard]
    spots: Sequence[StoredSpot]
    tread_grit: int | None
    trust: Trust


@dataclass(frozen=True, slots=True)
class _InLight:
    """Everything that was measured in one light, solved together."""

    light: Light
    boards: Sequence[StoredBoard]
    """Those measured in this light."""
    floor: FloorSeen
    floor_lab: tuple[float, float, float]
    """Mean of its spots as measured, CIELAB."""
    pool: FloorPool
    """With the colour that all photos together make."""
    measured: Observations
    """As measured."""
    observed: Observations
    """The same with the effects that each surface feels."""
    components: Components
    solved: Solution

    @property
    def numbers(self) -> list[str]:
        """The boards' numbers."""
        return [board.number for board in self.boards]

    @property
    def by_number(self) -> dict[str, StoredBoard]:
        """The boards by their numbers."""
        return {board.number: board for board in self.boards}

    def rank(self, aim: Aim) -> Ranking:
        return rank_colours(self.pool, self.solved.colours, self.numbers, aim=aim, light=self.light)


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
        return _ranked(_see(logged, chosen, strict=light is not None), aim, full=True)


def compare(
    log: Logbook,
    *,
    light: str | None = None,
    aim: Aim = MATCH,
    other: Aim | None = None,
    full: bool = True,
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
    full
        Whether to work out what only a full answer shows: sampled colours, the other aim, and recipes.
    """
    other = other or replace(CONTRAST if aim.name == "match" else MATCH, formula=aim.formula)
    with many_objects():
        logged = _read(log)
        chosen = _main_light(logged, light)
        seen = _see(logged, chosen, strict=light is not None)
        ranking = _ranked(seen, aim, full=full)
        rankings = {chosen: ranking}
        for each in _other_lights(logged, chosen):
            rankings[each] = _see(logged, each, strict=True).rank(aim)
        lights = compare_lights([named_light(each) for each in rankings], rankings)
        costs = board_costs(
            seen.observed, seen.solved, {n: seen.numbers.index(n) for n in ranking.numbers[:_MOST_COSTS]}
        )
        ranking = _with_doubts(ranking, lights, print_doubt(costs))
        measured = set(seen.numbers)
        return Comparison(
            ranking,
            {board.number: board for board in logged.boards},
            chosen,
            tuple(board.number for board in logged.boards if board.number not in measured),
            lights,
            _choices(seen, ranking, other) if full else (),
            _by_recipe(seen, aim) if full else None,
            costs,
            logged.trust,
            seen.floor_lab,
        )


def _read(log: Logbook) -> _Logged:
    """Read a logbook, its errors as large as trials at home say: the one place where ranking takes those in."""
    trust = trust_in(log)
    boards, spots = trusted(log.boards(), trust), trusted(log.floor_spots(), trust)
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


def pool_spots(spots: Sequence[StoredSpot], light: Light | None = None) -> tuple[Light, FloorPool] | None:
    """Return the pool of the spots in a light, or in the light with the most spots; None if there is none."""
    counted = spot_lights(spots)
    chosen = light if light is not None else most(counted)
    if chosen is None or not counted[chosen]:
        return None
    floor = see_floor((), spots, chosen, strict=True)
    return chosen, replace(pool_floor(floor.spots), colours_e00=plank_yardstick(floor.colours))


def _main_light(logged: _Logged, light: str | None) -> Light:
    """Return the light asked for, or that with the most boards in which the floor was measured too."""
    if light is not None:
        return normalise_light(light)
    counted = lights_of(logged.boards)
    with_floor = spot_lights(logged.spots) or paired_lights(logged.boards)
    both = Counter({each: count for each, count in counted.items() if with_floor[each]})
    return most(both) or most(counted) or DAYLIGHT


def _other_lights(logged: _Logged, chosen: Light) -> list[Light]:
    """Return the other lights in which both boards and floor were photographed, the fullest first."""
    counted = lights_of(logged.boards)
    floor = spot_lights(logged.spots) + paired_lights(logged.boards)
    return sorted((each for each in counted if each != chosen and floor[each]), key=lambda e: (-counted[e], e))


def _see(logged: _Logged, light: Light, *, strict: bool) -> _InLight:
    """Solve for everything that was measured in a light.

    Raises
    ------
    LogbookError
        ``no-floor`` or ``no-boards``.
    """
    floor = see_floor(logged.boards, logged.spots, light, strict=strict)
    floor = replace(floor, facts=replace(floor.facts, tread_grit=logged.tread_grit))
    of_spots = pool_floor(floor.spots)
    boards = [board for board in logged.boards if light in board.lights]
    _require_boards(logged, boards, light)
    measured = observations_of(boards, light, floor)
    observed = with_surface_effects(measured)
    components = trusted_components(components_of(observed), logged.trust)
    solved = solve(observed, components)
    lights = lights_of(logged.boards) + spot_lights(logged.spots)
    one_light = [doubt("one-light", light=light)] if len(lights) == 1 else []
    pool = replace(
        of_spots,
        estimate=solved.floor,
        doubts=(*floor_guards(floor.facts), *of_spots.doubts, *one_light),
        photos=int(np.count_nonzero(observed.plank >= 0)),
        plank_covariance=None if components.plank_scatter is None else as_rows(components.plank_scatter),
    )
    return _InLight(light, boards, floor, of_spots.lab, pool, measured, observed, components, solved)


def _require_boards(logged: _Logged, boards: Sequence[StoredBoard], light: Light) -> None:
    if boards:
        return
    if logged.boards:
        hint = lights_hint(lights_of(logged.boards))
        raise LogbookError("no-boards", f"No test board was photographed in the light “{light}”.", hint)
    raise LogbookError(
        "no-boards",
        "No test board has been measured yet, so there is nothing to rank.",
        "Photograph a test board beside the strip and log it: finishlab board add PHOTO --species WOOD.",
    )


def _lighter_than_clear(seen: _InLight, aim: Aim) -> dict[str, Doubt]:
    """Return, by wood, the doubt that the aim is lighter than the clear-only board, which stain only darkens."""
    # A contrast either way can always be had on the darker side.
    step = aim.step if aim.step is not None else 0.0 if aim.name == "match" else -STEP
    boards, colours = seen.boards, seen.solved.colours
    clear = np.array([i for i, b in enumerate(boards) if b.record.purpose == "clear-only control"], dtype=np.intp)
    of_clear = replace(seen.solved, colours=colours.only(clear))
    covariance = of_clear.difference_covariance()
    lighter: dict[str, Doubt] = {}
    for i, board in enumerate(clear):
        by = float(colours.floor_lab[0] + step - of_clear.colours.labs[i, 0])
        if by - 1.645 * float(np.sqrt(covariance[i, 0, 0])) > _REACHED:
            told = doubt("not-reachable", board=boards[board].number, by=round(by, 1))
            lighter[boards[board].record.species.casefold()] = told
    return lighter


def _ranked(seen: _InLight, aim: Aim, *, full: bool) -> Ranking:
    """Rank, and add facts of the boards and what only the first ones are worth: paired colours, the next photo."""
    ranking = seen.rank(aim)
    if full:
        ranking = _paired(seen, ranking)
    lighter = _lighter_than_clear(seen, aim)
    by_number = seen.by_number
    far_off = floors_far_off(seen.boards, seen.light, ranking.floor)
    boards = []
    for ranked in ranking.boards:
        board = by_number[ranked.board]
        clear = lighter.get(board.record.species.casefold())
        boards.append(with_facts(ranked, board, seen.light, seen.floor, clear, far_off.get(ranked.board)))
    ranking = replace(ranking, boards=tuple(boards))
    leaders = {board.board for board in ranking.leaders[:MOST_BOARDS]}
    picks = [i for i, number in enumerate(seen.numbers) if number in leaders]
    if ranking.no_contrast or len(picks) < 2:
        return ranking
    few, chance = seen.measured.only(picks), ranking.boards[0].probability_closest
    named = [seen.numbers[i] for i in picks]
    return replace(ranking, next_photos=next_photos(few, named, seen.components, aim, now=chance))


def _paired(seen: _InLight, ranking: Ranking) -> Ranking:
    """Add how far sampled colours lie apart: those of the planks, and of the first boards from the floor's."""
    planks = seen.floor.colours
    if not planks:
        return ranking
    floor = replace(ranking.floor, colours_e00=plank_yardstick(planks))
    whole = centred(merge_colours(planks), floor.lab)
    by_number = seen.by_number
    boards = list(ranking.boards)
    for i, board in enumerate(boards[:_MOST_PAIRED]):
        measured = in_light(by_number[board.board].measurements, seen.light)
        colours = next((m.field.colours for m in measured if m.field.colours is not None), None)
        if colours is not None:
            apart, unlike = (transport_distance(whole, centred(colours, lab)) for lab in (board.lab, floor.lab))
            boards[i] = replace(board, colours_e00=apart, figure_e00=unlike)
    return replace(ranking, floor=floor, boards=tuple(boards))


def _with_doubts(ranking: Ranking, lights: AcrossLights, of_print: Doubt | None) -> Ranking:
    """Add what the lights together make doubtful, and once, of all boards, that the print was not learned."""
    moving = {board.board: board.doubts for board in lights.boards}
    boards = ranking.boards
    if moving:
        boards = tuple(replace(each, doubts=(*moving.get(each.board, ()), *each.doubts)) for each in boards)
    floor = ranking.floor
    doubts = (*lights.doubts, *floor.doubts, *(() if of_print is None else (of_print,)))
    return replace(ranking, boards=boards, floor=replace(floor, doubts=doubts))


def _choices(seen: _InLight, ranking: Ranking, other: Aim) -> tuple[Choice, ...]:
    """Hold the first board of the ranking against the best of the other aim, found among those that may be it."""
    colours = seen.solved.colours
    score = other.score(colours.labs, colours.floor_lab)
    kept = within(other, colours.labs, colours.floor_lab)
    first = seen.numbers.index(ranking.boards[0].board)
    picks = np.unique([*np.lexsort((score, ~kept))[:_MOST_CHOSEN].tolist(), first])
    numbers = [seen.numbers[i] for i in picks]
    return compare_aims([ranking, rank_colours(seen.pool, colours.only(picks), numbers, aim=other)])


def _by_recipe(seen: _InLight, aim: Aim) -> Ranking | None:
    made_by: dict[str, int | None] = {board.number: board.record.recipe_number for board in seen.boards}
    recipes = {number: f"R{recipe}" for number, recipe in made_by.items() if recipe is not None}
    pooled = pool_recipes(seen.solved.colours, seen.numbers, recipes)
    if pooled is None:
        return None
    ranking = rank_colours(seen.pool, pooled.colours, pooled.names, aim=aim, light=seen.light)
    photos = [sum(each.light == seen.light for each in board.measurements) for board in seen.boards]
    of_recipe = {name: sum(photos[i] for i in of) for name, of in zip(pooled.names, pooled.boards, strict=True)}
    return replace(ranking, boards=tuple(replace(each, photos=of_recipe[each.board]) for each in ranking.boards))


_DECIDING: Final = (
    "board-wet",
    "board-bare",
    "not-topcoated",
    "pair-floor-differs",
    "spots-disagree",
    "lights-differ",
    "order-flips",
    "floor-wet",
    "floor-covered",
    "greys-differ",
    "profiles-differ",
    "strips-differ",
    "not-reachable",
    "moves-between-lights",
    "grain-directions-differ",
    "sheen-differs",
    "grit-differs",
    "far-dates",
    "not-like-wood",
    "outside-greys",
    "colour-lost",
    "clipped",
    "local-tone",
    "light-model-poor",
    "uneven-light",
    "no-strip-used",
    "one-grey",
    "print-not-learned",
    "few-spots",
    "one-light",
)
"""Doubts that may turn the answer, the one that may turn it farthest first; this tool's own."""
_WEIGHED: Final = 3
"""First boards whose doubts may turn the answer."""


def deciding_doubt(ranking: Ranking) -> tuple[str, str] | None:
    """Return the doubt that may turn the answer farthest, and whom it is about; None where none may."""
    leaders = ranking.boards[: max(2, min(len(ranking.leaders), _WEIGHED))]
    about = [(each.board, found) for each in leaders[:1] for found in each.doubts]
    about += [("floor", found) for found in ranking.floor.doubts]
    about += [(each.board, found) for each in leaders[1:] for found in each.doubts]
    able = [(who, found) for who, found in about if found.code in _DECIDING]
    who, found = min(able, key=lambda each: _DECIDING.index(each[1].code), default=("", None))
    return None if found is None else (who, found.message)

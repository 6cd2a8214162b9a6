"""Logged boards against the logged floor, in one light."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from finishlab.colorimetry.difference import delta_e_00
from finishlab.errors import LogbookError
from finishlab.logbook import Logbook, StoredBoard, StoredMeasurement, StoredSpot
from finishlab.matching.across import AcrossLights
from finishlab.matching.choices import Choice
from finishlab.matching.floor import SPREAD_LIMIT, FloorPool, FloorSpot, pool_floor
from finishlab.matching.ranking import BoardColour, Ranking
from finishlab.matching.ranking import rank_boards as rank_colours
from finishlab.quality import Doubt, doubt
from finishlab.records import DAYLIGHT, Light, normalise_light
from finishlab.reports.rows import BoardRow
from finishlab.workflow.rows import board_row

__all__ = ["Comparison", "compare", "pool_spots", "rank_boards"]

_NO_TOPCOAT: Final = {None, "", "none", "no", "-"}


@dataclass(frozen=True, slots=True)
class Comparison:
    """A ranking and what it was made from."""

    ranking: Ranking
    boards: dict[str, BoardRow]
    """Every logged board, by number: the ranked ones with their colours in this light."""
    light: Light
    """The light the boards were photographed in."""
    left_out: tuple[str, ...]
    """Boards that were measured in other lights only."""
    lights: AcrossLights | None = None
    """The same boards in every light; None when only one light was asked for."""
    choices: tuple[Choice, ...] = ()
    """The best board under each aim, and what choosing it costs under the other."""
    recipes: Ranking | None = None
    """Recipes in place of boards, each pooled over its boards; None where no recipe has two boards."""


@dataclass(frozen=True, slots=True)
class _Floor:
    light: Light
    spots: tuple[FloorSpot, ...]
    strips: frozenset[int]
    greys: frozenset[tuple[int, str]]
    """Strip and what was known of its greys (`StripGreys.key`) when it was measured."""


def rank_boards(log: Logbook, *, light: str | None = None) -> Ranking:
    """Rank the boards of a logbook by their difference from its floor.

    Parameters
    ----------
    log
        An open logbook.
    light
        The light whose photos are compared; without it the one with the most boards in which the
        floor was measured too.

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
    return compare(log, light=light).ranking


def compare(log: Logbook, *, light: str | None = None) -> Comparison:
    """Rank as `rank_boards` does; return the boards' records and the light too."""
    boards, spots = log.boards(), log.floor_spots()
    chosen = _chosen_light(boards, spots) if light is None else normalise_light(light)
    floor = _floor(boards, spots, chosen, strict=light is not None)
    pool = pool_floor(floor.spots)
    measured = [board for board in boards if _in_light(board.measurements, chosen)]
    if boards and not measured:
        raise LogbookError(
            "no-boards", f"No test board was photographed in the light “{chosen}”.", _lights_hint(_lights(boards))
        )
    if len(_lights(boards) + _lights(spots)) == 1:
        pool = replace(pool, doubts=(*pool.doubts, doubt("one-light", light=chosen)))
    ranking = rank_colours(pool, [_board_colour(board, chosen, floor, pool) for board in measured])
    return Comparison(
        ranking,
        {board.number: board_row(board, chosen if board in measured else None) for board in boards},
        chosen,
        tuple(board.number for board in boards if board not in measured),
    )


def pool_spots(spots: Sequence[StoredSpot], light: Light | None = None) -> tuple[Light, FloorPool] | None:
    """Return the pool of the spots in a light, or in the light with the most spots; None if there is none."""
    counted = Counter(m.light for spot in spots for m in {m.light: m for m in spot.measurements}.values())
    chosen = light if light is not None else _most(counted)
    if chosen is None or not counted[chosen]:
        return None
    return chosen, pool_floor(_spots_in(spots, chosen))


def _most(counted: Counter[Light]) -> Light | None:
    """Return the light counted most often; daylight before others of the same count."""
    return min(counted, key=lambda each: (-counted[each], each != DAYLIGHT, each), default=None)


def _lights(subjects: Iterable[StoredBoard | StoredSpot]) -> Counter[Light]:
    return Counter(light for each in subjects for light in {m.light for m in each.measurements})


def _paired(boards: Sequence[StoredBoard]) -> Counter[Light]:
    return Counter(pair.light for board in boards for pair in board.pairs)


def _chosen_light(boards: Sequence[StoredBoard], spots: Sequence[StoredSpot]) -> Light:
    """Return the light with the most boards in which the floor was measured too, or else with the most boards."""
    counted = _lights(boards)
    with_floor = _lights(spots) or _paired(boards)
    both = Counter({light: count for light, count in counted.items() if with_floor[light]})
    return _most(both) or _most(counted) or DAYLIGHT


def _floor(boards: Sequence[StoredBoard], spots: Sequence[StoredSpot], light: Light, *, strict: bool) -> _Floor:
    """Return the floor in a light: its spots, or else the floors photographed beside boards.

    Unless `strict`, another light serves where the floor was not measured in this one; a doubt then says so.
    """
    for counted, gather in ((_lights(spots), _floor_of_spots), (_paired(boards), _floor_of_pairs)):
        if counted[light]:
            return gather(boards, spots, light)
    measured = _lights(spots) or _paired(boards)
    other = _most(measured)
    if other is None:
        return _Floor(light, (), frozenset(), frozenset())
    if strict:
        raise LogbookError(
            "no-floor", f"The floor was not photographed in the light “{light}”.", _lights_hint(measured)
        )
    return _floor(boards, spots, other, strict=True)


def _floor_of_spots(boards: Sequence[StoredBoard], spots: Sequence[StoredSpot], light: Light) -> _Floor:
    del boards
    found = [m for spot in spots for m in _in_light(spot.measurements, light)]
    return _Floor(light, tuple(_spots_in(spots, light)), _strips(found), _greys(found))


def _floor_of_pairs(boards: Sequence[StoredBoard], spots: Sequence[StoredSpot], light: Light) -> _Floor:
    del spots
    floors: list[FloorSpot] = []
    found: list[StoredMeasurement] = []
    for board in boards:
        for pair in board.pairs:
            if pair.light == light:
                floors.append(FloorSpot(f"beside {board.number}", (pair.floor.estimate,), pair.floor.doubts))
                found += [m for m in board.measurements if m.photo == pair.photo]
    return _Floor(light, tuple(floors), _strips(found), _greys(found))


def _spots_in(spots: Sequence[StoredSpot], light: Light) -> list[FloorSpot]:
    """Return the spots measured in a light; entries of one name are one spot, photographed more than once."""
    groups: dict[str, list[StoredMeasurement]] = {}
    for spot in spots:
        found = _in_light(spot.measurements, light)
        if found:
            groups.setdefault((spot.record.spot or spot.number).casefold(), []).extend(found)
    return [FloorSpot(name, tuple(m.field.estimate for m in found), _doubts(found)) for name, found in groups.items()]


def _board_colour(board: StoredBoard, light: Light, floor: _Floor, pool: FloorPool) -> BoardColour:
    found = _in_light(board.measurements, light)
    doubts: list[Doubt] = []
    if (board.record.topcoat or "").casefold() in _NO_TOPCOAT:
        doubts.append(doubt("not-topcoated"))
    strips = _strips(found)
    if floor.strips and not strips <= floor.strips:
        doubts.append(doubt("strips-differ", floor=_numbers(floor.strips), board=_numbers(strips)))
    doubts += [doubt("greys-differ", strip=f"{number:04d}") for number in _known_apart(floor.greys, _greys(found))]
    if floor.light != light:
        doubts.append(doubt("lights-differ", floor=floor.light, board=light))
    off = [float(delta_e_00(p.floor.estimate.lab, pool.lab)) for p in board.pairs if p.light == light]
    if off and max(off) > max(SPREAD_LIMIT, 3.0 * (pool.spread_e00 or 0.0)):
        doubts.append(doubt("pair-floor-differs", off=round(max(off), 1)))
    estimates = tuple(m.field.estimate for m in found)
    return BoardColour(board.number, estimates, found[0].field.kind, (*doubts, *_doubts(found)))


def _in_light(measurements: Sequence[StoredMeasurement], light: Light) -> list[StoredMeasurement]:
    return [m for m in measurements if m.light == light]


def _doubts(found: Iterable[StoredMeasurement]) -> tuple[Doubt, ...]:
    """Return each doubt once, in the order met."""
    return tuple({(d.code, d.message): d for m in found for d in m.field.doubts}.values())


def _strips(found: Iterable[StoredMeasurement]) -> frozenset[int]:
    return frozenset(m.strip_number for m in found if m.strip_number is not None)


def _greys(found: Iterable[StoredMeasurement]) -> frozenset[tuple[int, str]]:
    # What was measured before greys could be learned names no source: it is the nominal print's.
    known = ((m.strip_number, (m.settings.get("print") or {}).get("key", "nominal")) for m in found)
    return frozenset((number, str(key)) for number, key in known if number is not None)


def _known_apart(floor: frozenset[tuple[int, str]], board: frozenset[tuple[int, str]]) -> list[int]:
    """Return the strips of both that were known differently when one or the other was measured."""
    shared = {number for number, _ in floor} & {number for number, _ in board}
    ways = Counter(number for number, _ in floor | board)
    return sorted(number for number in shared if ways[number] > 1)


def _numbers(strips: frozenset[int]) -> str:
    return ", ".join(f"{number:04d}" for number in sorted(strips))


def _lights_hint(lights: Counter[Light]) -> str:
    named = ", ".join(f"“{light}”" for light in sorted(lights))
    return f"There are photos in: {named}." if named else "Log photos in that light first."

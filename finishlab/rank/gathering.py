"""What the logbook holds of one light, as evidence for matching: observations of boards and planks, their doubts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple, TypeVar

import numpy as np

from finishlab.board import BoardRecord
from finishlab.board.shown import profile_name
from finishlab.coatings import sheen_of
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.estimate import LabEstimate, scaled
from finishlab.errors import LogbookError
from finishlab.logbook.stored import StoredBoard, StoredMeasurement, StoredPair, StoredSpot
from finishlab.matching.guards import (
    BoardFacts,
    FloorFacts,
    board_guards,
    may_be_final,
    told_of_floor,
    told_wet,
)
from finishlab.matching.ranking import RankedBoard
from finishlab.matching.scatter import (
    SPREAD_LIMIT,
    Components,
    FloorPool,
    FloorSpot,
    Observations,
    beside,
)
from finishlab.matching.trials import Trust
from finishlab.measure.results import FieldMeasurement
from finishlab.quality import Doubt, doubt
from finishlab.record import DAYLIGHT, Light

_NO_TOPCOAT: Final = {None, "", "none", "no", "-"}
_MOST_COLOURS: Final = 40
"""Planks whose sampled colours are laid together."""
Colours = tuple[tuple[float, float, float], ...]
Thing = TypeVar("Thing", StoredBoard, StoredSpot)


class PlankPhoto(NamedTuple):
    """A colour of the floor in one photo."""

    spot: str
    """Photos of one spot follow one another."""
    estimate: LabEstimate
    photo: str


@dataclass(frozen=True, slots=True)
class FloorSeen:
    """The floor in one light."""

    light: Light
    """The light it was photographed in; another one than the boards' where it was not photographed in theirs."""
    spots: tuple[FloorSpot, ...] = ()
    """For its pool: its spots, or else the floors photographed beside boards."""
    planks: tuple[PlankPhoto, ...] = ()
    """To be solved for; the floors beside boards come with the boards, but for those of another light."""
    spot_of_photo: dict[str, str] | None = None
    """Photo -> the spot logged from it, so that a photo logged for spot and board is not counted twice."""
    facts: FloorFacts = field(default_factory=FloorFacts)
    greys: frozenset[tuple[int, str]] = frozenset()
    """Strip and what was known of its greys (`StripGreys.key`) when it was measured."""
    colours: tuple[Colours, ...] = ()
    """The sampled colours of each plank."""
    profiles: frozenset[str] = frozenset()
    """Which camera profiles it was measured with, as a reader would name them."""


def see_floor(boards: Sequence[StoredBoard], spots: Sequence[StoredSpot], light: Light, *, strict: bool) -> FloorSeen:
    """Return the floor in a light: its spots, or else the floors photographed beside boards.

    Unless `strict`, another light serves where the floor was not measured in this one; a doubt then says so.

    Raises
    ------
    LogbookError
        ``no-floor`` if strict and the floor was not measured in this light.
    """
    if spot_lights(spots)[light]:
        return _floor_of_spots(spots, light)
    paired = paired_lights(boards)
    if paired[light]:
        return _floor_of_pairs(boards, light)
    measured = spot_lights(spots) or paired
    other = most(measured)
    if other is None:
        return FloorSeen(light)
    if strict:
        raise LogbookError("no-floor", f"The floor was not photographed in the light “{light}”.", lights_hint(measured))
    elsewhere = see_floor(boards, spots, other, strict=True)
    if elsewhere.planks:
        return elsewhere
    pairs = [pair for board in boards for pair in board.sure_pairs if pair.light == other]
    planks = [PlankPhoto(f"beside, photo {pair.photo}", pair.floor.estimate, pair.photo) for pair in pairs]
    return replace(elsewhere, planks=tuple(planks))


def _floor_of_spots(spots: Sequence[StoredSpot], light: Light) -> FloorSeen:
    groups: dict[str, list[StoredMeasurement]] = {}
    for spot in spots:
        found = in_light(spot.measurements, light)
        if found:
            # entries of one name are one spot, photographed more than once
            groups.setdefault((spot.record.spot or spot.number).casefold(), []).extend(found)
    lit = [spot for spot in spots if in_light(spot.measurements, light)]
    found = [m for group in groups.values() for m in group]
    told = {
        spot.record.spot or spot.number: told_of_floor(f"{spot.record.spot or ''}; {spot.record.note or ''}")
        for spot in lit
    }
    facts = FloorFacts(
        gloss=next((g for spot in lit if (g := sheen_of(spot.record.note)) is not None), None),
        grain_deg=_grain(found),
        dates=tuple(sorted({spot.record.date for spot in lit})),
        strips=_strips(found),
        wet=tuple(name for name, (wet, _) in told.items() if wet),
        covered=tuple(name for name, (_, covered) in told.items() if covered),
    )
    return FloorSeen(
        light,
        tuple(FloorSpot(n, tuple(m.field.estimate for m in group), _doubts(group)) for n, group in groups.items()),
        tuple(PlankPhoto(name, m.field.estimate, m.photo) for name, group in groups.items() for m in group),
        {m.photo: name for name, group in groups.items() for m in group},
        facts,
        _greys(found),
        _colours([m.field.colours for group in groups.values() for m in group[:1]]),
        _profiles(found),
    )


def _floor_of_pairs(boards: Sequence[StoredBoard], light: Light) -> FloorSeen:
    floors: list[FloorSpot] = []
    found: list[StoredMeasurement] = []
    colours: list[Colours | None] = []
    dates = set()
    for board in boards:
        for pair in board.sure_pairs:
            if pair.light == light:
                floors.append(FloorSpot(f"beside {board.number}", (pair.floor.estimate,), pair.floor.doubts))
                found += [each for each in board.measurements if each.photo == pair.photo]
                colours.append(pair.floor.colours)
                dates.add(board.record.date)
    facts = FloorFacts(dates=tuple(sorted(dates)), strips=_strips(found))
    return FloorSeen(light, tuple(floors), (), None, facts, _greys(found), _colours(colours), _profiles(found))


def observations_of(boards: Sequence[StoredBoard], light: Light, floor: FloorSeen) -> Observations:
    """Return all that was measured of boards and planks in a light; the floor beside a board stays with it."""
    return Observations.of(_laid_out(boards, light, floor), len(boards))


def _laid_out(
    boards: Sequence[StoredBoard], light: Light, floor: FloorSeen
) -> Iterator[tuple[int, LabEstimate, str, str | None]]:
    """Yield block, colour, photo and plank of each observation, block by block."""
    for block, board in enumerate(boards):
        seen = _seen_of(board, light, floor)
        yield from ((block, found, photo, None) for photo, found, _ in seen)
        for photo, _, of_floor in seen:
            if of_floor is not None:
                yield block, of_floor, photo, beside(board.number, photo)
    block, before = len(boards) - 1, ""
    for plank in floor.planks:
        block += plank.spot != before
        before = plank.spot
        yield block, plank.estimate, plank.photo, plank.spot


def _seen_of(board: StoredBoard, light: Light, floor: FloorSeen) -> list[tuple[str, LabEstimate, LabEstimate | None]]:
    """Return each photo of a board in a light, what it shows of the board, and of the floor beside it."""
    pairs = {pair.photo: pair for pair in board.sure_pairs if pair.light == light}
    seen: list[tuple[str, LabEstimate, LabEstimate | None]] = []
    for each in in_light(board.measurements, light):
        pair = pairs.pop(each.photo, None)
        seen.append((each.photo, each.field.estimate, None) if pair is None else _pair_seen(pair, floor))
    return seen + [_pair_seen(pair, floor) for pair in pairs.values()]


def _pair_seen(pair: StoredPair, floor: FloorSeen) -> tuple[str, LabEstimate, LabEstimate | None]:
    # A photo that was logged as a floor spot too speaks of that floor once, there.
    spot = (floor.spot_of_photo or {}).get(pair.photo)
    return pair.photo, pair.board.estimate, pair.floor.estimate if spot is None else None


def floors_far_off(boards: Sequence[StoredBoard], light: Light, pool: FloorPool) -> dict[str, float]:
    """Return by how much (CIEDE2000) the floor seen beside a board is off the floor, of boards where that is much."""
    pairs = [(board.number, pair) for board in boards for pair in board.sure_pairs if pair.light == light]
    labs = np.reshape([pair.floor.estimate.lab for _, pair in pairs], (-1, 3))
    off: dict[str, float] = {}
    for (number, _), each in zip(pairs, delta_e_00(labs, pool.lab).tolist(), strict=True):
        off[number] = max(each, off.get(number, 0.0))
    much = max(SPREAD_LIMIT, 3.0 * (pool.spread_e00 or 0.0))
    return {number: each for number, each in off.items() if each > much}


def with_facts(
    ranked: RankedBoard, board: StoredBoard, light: Light, floor: FloorSeen, clear: Doubt | None, far_off: float | None
) -> RankedBoard:
    """Return a ranked board with what is to be said beside its colour: its doubts, its photos, whether it is final.

    The doubt that the clear-only board raises, if any, comes first; `far_off` as `floors_far_off` gives it.
    """
    found = in_light(board.measurements, light)
    facts = _facts(board.record, found)
    doubts = [*([] if clear is None else [clear]), *board_guards(facts, floor.facts)]
    doubts += [doubt("greys-differ", strip=f"{number:04d}") for number in _known_apart(floor.greys, _greys(found))]
    profiles = _profiles(found)
    if floor.profiles and profiles != floor.profiles:
        named = {who: ", ".join(sorted(each)) for who, each in (("floor", floor.profiles), ("board", profiles))}
        doubts.append(doubt("profiles-differ", **named))
    if floor.light != light:
        doubts.append(doubt("lights-differ", floor=floor.light, board=light))
    if far_off is not None:
        doubts.append(doubt("pair-floor-differs", off=round(far_off, 1)))
    doubts += board.doubted
    known = {d.code for d in doubts}
    pairs = sum(pair.light == light for pair in board.sure_pairs)
    doubts += [d for d in _doubts(found) if d.code != "grain-directions-differ" or d.code not in known]
    return replace(ranked, doubts=tuple(doubts), photos=len(found), pairs=pairs, final=may_be_final(facts))


def _facts(record: BoardRecord, found: Sequence[StoredMeasurement]) -> BoardFacts:
    topcoat = None if record.finish is None else record.finish.topcoat
    gloss = None if topcoat is None else topcoat.gloss_gu
    if gloss is None:
        gloss = sheen_of(record.topcoat) or sheen_of(None if topcoat is None else topcoat.sheen)
    grits = () if record.finish is None else record.finish.preparation.grits
    return BoardFacts(
        purpose=record.purpose,
        state=record.state,
        topcoated=topcoat is not None or (record.topcoat or "").casefold() not in _NO_TOPCOAT,
        dry=False if told_wet(record.note) else None,
        gloss=gloss,
        last_grit=grits[-1] if grits else None,
        grain_deg=_grain(found),
        dates=(record.date,),
        strips=_strips(found),
    )


def in_light(measured: Iterable[StoredMeasurement], light: Light) -> list[StoredMeasurement]:
    """Return those taken in a light."""
    return [m for m in measured if m.light == light]


def lights_of(boards: Iterable[StoredBoard]) -> Counter[Light]:
    """Count in how many of the boards each light occurs."""
    return Counter(light for each in boards for light in each.lights)


def spot_lights(spots: Iterable[StoredSpot]) -> Counter[Light]:
    """Count in how many of the floor's spots each light occurs."""
    return Counter(light for each in spots for light in {m.light for m in each.measurements})


def paired_lights(boards: Iterable[StoredBoard]) -> Counter[Light]:
    """Count the photos of board and floor together in each light."""
    return Counter(pair.light for board in boards for pair in board.sure_pairs)


def most(counted: Counter[Light]) -> Light | None:
    """Return the light counted most often; daylight before others of the same count."""
    return min(counted, key=lambda each: (-counted[each], each != DAYLIGHT, each), default=None)


def lights_hint(lights: Counter[Light]) -> str:
    """Say in which lights there are photos."""
    named = ", ".join(f"“{light}”" for light in sorted(lights))
    return f"There are photos in: {named}." if named else "Log photos in that light first."


def _colours(found: Iterable[Colours | None]) -> tuple[Colours, ...]:
    """Return the colours of planks that have as many as most have."""
    kept = [colours for colours in found if colours is not None][:_MOST_COLOURS]
    size = Counter(len(colours) for colours in kept).most_common(1)
    return tuple(colours for colours in kept if size and len(colours) == size[0][0])


def _grain(found: Iterable[StoredMeasurement]) -> float | None:
    """Return the mean direction of grain to the strip, degrees; None where none is clear or they disagree."""
    angles = [m.grain_deg for m in found if m.grain_deg is not None]
    if len(angles) < 2:
        return angles[0] if angles else None
    turned = np.exp(2j * np.deg2rad(angles)).mean()  # a line has no ends: twice the angle goes once round
    return float(np.rad2deg(np.angle(turned)) / 2) if abs(turned) > 0.7 else None


def _doubts(found: Iterable[StoredMeasurement]) -> tuple[Doubt, ...]:
    """Return each doubt once, in the order met."""
    return tuple({(d.code, d.message): d for m in found for d in m.doubts}.values())


def _strips(found: Iterable[StoredMeasurement]) -> frozenset[int]:
    return frozenset(m.strip_number for m in found if m.strip_number is not None)


def _greys(found: Iterable[StoredMeasurement]) -> frozenset[tuple[int, str]]:
    return frozenset((m.strip_number, m.greys_key) for m in found if m.strip_number is not None)


def _profiles(found: Iterable[StoredMeasurement]) -> frozenset[str]:
    return frozenset(profile_name(m.profile) for m in found)


def _known_apart(floor: frozenset[tuple[int, str]], board: frozenset[tuple[int, str]]) -> list[int]:
    """Return the strips of both that were known differently when one or the other was measured."""
    shared = {number for number, _ in floor} & {number for number, _ in board}
    return [each for each in sorted(shared) if len([1 for number, _ in floor | board if number == each]) > 1]


def trusted(things: Sequence[Thing], trust: Trust) -> Sequence[Thing]:
    """Return boards or floor spots whose colours have the errors that trials say."""
    if not trust.factors:
        return things
    return [_trusted(each, trust) for each in things]


def _trusted(thing: Thing, trust: Trust) -> Thing:
    def as_large(found: FieldMeasurement) -> FieldMeasurement:
        return replace(found, estimate=scaled(found.estimate, trust.factors))

    measured = tuple(replace(each, field=as_large(each.field)) for each in thing.measurements)
    if isinstance(thing, StoredSpot):
        return replace(thing, measurements=measured)
    pairs = tuple(replace(pair, board=as_large(pair.board), floor=as_large(pair.floor)) for pair in thing.pairs)
    return replace(thing, measurements=measured, pairs=pairs)


def trusted_components(components: Components, trust: Trust) -> Components:
    """Return the scatters, that of photos as trials say."""
    stretch = np.asarray(trust.factors.get("light", 1.0)) * np.ones(3)
    photo = np.asarray(components.photo) * np.outer(stretch, stretch)
    return replace(components, photo=tuple(tuple(row) for row in photo.tolist()))

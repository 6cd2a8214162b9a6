"""What the logbook holds of one light, as evidence for matching: looks at boards and planks, facts for the guards."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from finishlab.colorimetry.difference import delta_e_00
from finishlab.errors import LogbookError
from finishlab.logbook import StoredBoard, StoredMeasurement, StoredPair, StoredSpot
from finishlab.matching.components import Components, estimate_components
from finishlab.matching.evidence import BoardLooks, Look, PlankLooks
from finishlab.matching.floor import SPREAD_LIMIT, FloorPool, FloorSpot, pool_floor
from finishlab.matching.guards import (
    BoardFacts,
    FloorFacts,
    board_guards,
    may_be_final,
    sheen_of,
    told_of_floor,
    told_wet,
)
from finishlab.matching.ranking import Subject
from finishlab.matching.transport import merge_colours, plank_yardstick
from finishlab.quality import Doubt, doubt
from finishlab.records import DAYLIGHT, Light
from finishlab.reports.sentences import profile_name

__all__ = [
    "FloorSeen",
    "board_looks",
    "components_of",
    "in_light",
    "lights_hint",
    "lights_of",
    "most",
    "paired_lights",
    "see_floor",
    "subject_of",
]

_NO_TOPCOAT: Final = {None, "", "none", "no", "-"}
_MOST_COLOURS: Final = 40
"""Planks whose sampled colours are laid together."""
Colours = tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True)
class FloorSeen:
    """The floor in one light."""

    light: Light
    """The light it was photographed in; another one than the boards' where it was not photographed in theirs."""
    spots: tuple[FloorSpot, ...] = ()
    """For its pool: its spots, or else the floors photographed beside boards."""
    planks: tuple[PlankLooks, ...] = ()
    """For weighing; the floors beside boards come with the boards, but for those of another light."""
    spot_of_photo: dict[str, str] | None = None
    """Photo -> the spot logged from it, so that a photo logged for spot and board is not counted twice."""
    facts: FloorFacts = field(default_factory=FloorFacts)
    greys: frozenset[tuple[int, str]] = frozenset()
    """Strip and what was known of its greys (`StripGreys.key`) when it was measured."""
    colours: tuple[Colours, ...] = ()
    """The sampled colours of each plank."""
    profiles: frozenset[str] = frozenset()
    """Which camera profiles it was measured with, as a reader would name them."""

    def pool(self) -> FloorPool:
        """Return the floor's pool.

        Raises
        ------
        LogbookError
            ``no-floor`` if it was not measured.
        """
        pool = pool_floor(self.spots)
        if not self.colours:
            return pool
        whole = merge_colours(self.colours)
        rows = tuple((float(c[0]), float(c[1]), float(c[2])) for c in whole)
        return replace(pool, colours=rows, colours_e00=plank_yardstick(self.colours))


def see_floor(boards: Sequence[StoredBoard], spots: Sequence[StoredSpot], light: Light, *, strict: bool) -> FloorSeen:
    """Return the floor in a light: its spots, or else the floors photographed beside boards.

    Unless `strict`, another light serves where the floor was not measured in this one; a doubt then says so.

    Raises
    ------
    LogbookError
        ``no-floor`` if strict and the floor was not measured in this light.
    """
    if lights_of(spots)[light]:
        return _floor_of_spots(spots, light)
    if paired_lights(boards)[light]:
        return _floor_of_pairs(boards, light)
    measured = lights_of(spots) or paired_lights(boards)
    other = most(measured)
    if other is None:
        return FloorSeen(light)
    if strict:
        raise LogbookError("no-floor", f"The floor was not photographed in the light “{light}”.", lights_hint(measured))
    elsewhere = see_floor(boards, spots, other, strict=True)
    if elsewhere.planks:
        return elsewhere
    beside = [pair for board in boards for pair in board.pairs if pair.light == other]
    planks = [PlankLooks(f"beside, photo {p.photo}", (Look(p.floor.estimate, p.photo),)) for p in beside]
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
        tuple(PlankLooks(n, tuple(Look(m.field.estimate, m.photo) for m in group)) for n, group in groups.items()),
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
        for pair in board.pairs:
            if pair.light == light:
                floors.append(FloorSpot(f"beside {board.number}", (pair.floor.estimate,), pair.floor.doubts))
                found += [m for m in board.measurements if m.photo == pair.photo]
                colours.append(pair.floor.colours)
                dates.add(board.record.date)
    facts = FloorFacts(dates=tuple(sorted(dates)), strips=_strips(found))
    return FloorSeen(light, tuple(floors), (), None, facts, _greys(found), _colours(colours), _profiles(found))


def board_looks(board: StoredBoard, light: Light, floor: FloorSeen) -> BoardLooks:
    """Return all looks at a board in a light; the floor beside it in the same photo stays with it."""
    pairs = {pair.photo: pair for pair in board.pairs if pair.light == light}
    looks = []
    for m in in_light(board.measurements, light):
        pair = pairs.pop(m.photo, None)
        looks.append(_look(m.photo, pair, floor) if pair is not None else Look(m.field.estimate, m.photo))
    looks += [_look(photo, pair, floor) for photo, pair in pairs.items()]
    return BoardLooks(board.number, tuple(looks))


def _look(photo: str, pair: StoredPair, floor: FloorSeen) -> Look:
    # A photo that was logged as a floor spot too speaks of that floor once, there.
    spot = (floor.spot_of_photo or {}).get(photo)
    return Look(pair.board.estimate, photo, None if spot is not None else pair.floor.estimate)


def components_of(boards: Sequence[BoardLooks], planks: Sequence[PlankLooks], most_boards: int = 100) -> Components:
    """Return how planks and photos scatter; the floors beside the first boards count as planks."""
    beside = [(look.floor,) for board in boards[:most_boards] for look in board.looks if look.floor is not None]
    of_planks = [tuple(look.estimate for look in plank.looks) for plank in planks]
    repeats = [tuple(look.estimate for look in board.looks) for board in boards if len(board.looks) > 1]
    return estimate_components([*of_planks, *beside], repeats)


def subject_of(board: StoredBoard, light: Light, floor: FloorSeen, pool: FloorPool) -> Subject:
    """Return what the ranking is told of a board beside its colour."""
    found = in_light(board.measurements, light)
    pairs = [pair for pair in board.pairs if pair.light == light]
    facts = _facts(board, found)
    doubts = [*board_guards(facts, floor.facts)]
    doubts += [doubt("greys-differ", strip=f"{number:04d}") for number in _known_apart(floor.greys, _greys(found))]
    profiles = _profiles(found)
    if floor.profiles and profiles != floor.profiles:
        named = {who: ", ".join(sorted(each)) for who, each in (("floor", floor.profiles), ("board", profiles))}
        doubts.append(doubt("profiles-differ", **named))
    if floor.light != light:
        doubts.append(doubt("lights-differ", floor=floor.light, board=light))
    off = [float(delta_e_00(pair.floor.estimate.lab, pool.lab)) for pair in pairs]
    if off and max(off) > max(SPREAD_LIMIT, 3.0 * (pool.spread_e00 or 0.0)):
        doubts.append(doubt("pair-floor-differs", off=round(max(off), 1)))
    known = {d.code for d in doubts}
    doubts += [d for d in _doubts(found) if d.code != "grain-directions-differ" or d.code not in known]
    colours = next((m.field.colours for m in found if m.field.colours is not None), None)
    return Subject(board.number, tuple(doubts), len(found), len(pairs), colours, may_be_final(facts))


def _facts(board: StoredBoard, found: Sequence[StoredMeasurement]) -> BoardFacts:
    record = board.record
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


def in_light(measurements: Sequence[StoredMeasurement], light: Light) -> list[StoredMeasurement]:
    """Return those taken in a light."""
    return [m for m in measurements if m.light == light]


def lights_of(subjects: Iterable[StoredBoard | StoredSpot]) -> Counter[Light]:
    """Count in how many of the subjects each light occurs."""
    return Counter(light for each in subjects for light in {m.light for m in each.measurements})


def paired_lights(boards: Sequence[StoredBoard]) -> Counter[Light]:
    """Count the photos of board and floor together in each light."""
    return Counter(pair.light for board in boards for pair in board.pairs)


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
    seen = [m.field.texture.to_strip_deg for m in found if m.field.texture is not None]
    angles = [angle for angle in seen if angle is not None]
    if len(angles) < 2:
        return angles[0] if angles else None
    turned = np.exp(2j * np.deg2rad(angles)).mean()  # a line has no ends: twice the angle goes once round
    return float(np.rad2deg(np.angle(turned)) / 2) if abs(turned) > 0.7 else None


def _doubts(found: Iterable[StoredMeasurement]) -> tuple[Doubt, ...]:
    """Return each doubt once, in the order met."""
    return tuple({(d.code, d.message): d for m in found for d in m.field.doubts}.values())


def _strips(found: Iterable[StoredMeasurement]) -> frozenset[int]:
    return frozenset(m.strip_number for m in found if m.strip_number is not None)


def _greys(found: Iterable[StoredMeasurement]) -> frozenset[tuple[int, str]]:
    # What was measured before greys could be learned names no source: it is the nominal print's.
    known = ((m.strip_number, (m.settings.get("print") or {}).get("key", "nominal")) for m in found)
    return frozenset((number, str(key)) for number, key in known if number is not None)


def _profiles(found: Iterable[StoredMeasurement]) -> frozenset[str]:
    return frozenset(profile_name(m.settings.get("camera_profile")) for m in found)


def _known_apart(floor: frozenset[tuple[int, str]], board: frozenset[tuple[int, str]]) -> list[int]:
    """Return the strips of both that were known differently when one or the other was measured."""
    shared = {number for number, _ in floor} & {number for number, _ in board}
    ways = Counter(number for number, _ in floor | board)
    return sorted(number for number in shared if ways[number] > 1)

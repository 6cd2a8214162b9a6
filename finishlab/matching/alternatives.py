"""What a ranking is held against: the same boards and floor in other lights, and under the other aim.

A match is confirmed in a second, very different light (ASTM D1729). Each board is ranked in each light, and by the
light in which it is farthest from the floor. Lights are written in the user's own words: daylight, a lamp of some
colour temperature, or something else. Of two aims each has its best board, which costs something under the other.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.difference import DeltaE, difference_intervals
from finishlab.colorimetry.spaces import corrected_batch
from finishlab.matching.aims import Aim
from finishlab.matching.ranking import RankedBoard, Ranking
from finishlab.quality import Doubt, doubt
from finishlab.record import enumerated

FloatArray = NDArray[np.float64]

LightKind = Literal["daylight", "lamp", "other"]

_KELVIN: Final = re.compile(r"\b(\d{1,2}[ .,]?\d{3})\s?(?:k|kelvin)\b")
_DAY: Final = re.compile(
    r"\b(?:day|daylight|overcast|cloudy|sky|sun|sunlight|sunny|noon|morning|window|d50|d55|d65|d75)\b"
)
_LAMP: Final = re.compile(
    r"\b(?:lamps?|leds?|bulbs?|halogen|incandescent|tungsten|fluorescent|tubes?|spots?|spotlights?|evening|night|"
    r"ceiling|downlights?|chandelier|candle)\b"
)
_LEAST_KELVIN: Final = 1500
_MOST_KELVIN: Final = 12_000
MOVES: Final = 1.0
"""CIEDE2000 by which a pair's difference may move between lights without a doubt; this tool's own, below the 1.8 that
half of observers accept (Paravina et al. 2015)."""
_NAMED: Final = 5
"""Boards of which it is said that a photo in a second light is missing."""
_NO_COST = 0.5
"""CIEDE2000 units below which a choice costs nothing worth naming."""


@dataclass(frozen=True, slots=True)
class NamedLight:
    """A light and what its name says of it."""

    text: str
    """As the user wrote it, spelt as the logbook spells it."""
    kind: LightKind
    kelvin: int | None = None
    """Colour temperature, when the name holds one."""


def named_light(text: str) -> NamedLight:
    """Read a light's name: ``"lamp 2700 K"`` is a lamp of 2700 K, ``"north window"`` daylight, ``"flash"`` other.

    A lamp's word wins over daylight's, since ``"daylight LED"`` is a lamp. A colour temperature alone makes a lamp.
    """
    words = text.casefold()
    found = _KELVIN.search(words)
    kelvin = int(re.sub(r"[ .,]", "", found.group(1))) if found else None
    if kelvin is not None and not _LEAST_KELVIN <= kelvin <= _MOST_KELVIN:
        kelvin = None
    if _LAMP.search(words):
        return NamedLight(text, "lamp", kelvin)
    if _DAY.search(words):
        return NamedLight(text, "daylight", kelvin)
    return NamedLight(text, "other" if kelvin is None else "lamp", kelvin)


@dataclass(frozen=True, slots=True)
class BoardAcrossLights:
    """One board against the floor in every light both were photographed in."""

    board: str
    by_light: dict[str, DeltaE]
    """Light -> CIEDE2000 from the floor in that light."""
    places: dict[str, int]
    """Light -> the board's place in that light."""
    worst: str
    """The light in which it is farthest from the floor."""
    worst_place: int
    """Its place when each board is judged by its worst light; 1 is the best."""
    move: float | None = None
    """Largest change of its CIEDE2000 between the first light and another, with its sign; None in one light."""
    move_light: str | None = None
    """The other light of that change."""
    metamerism: DeltaE | None = None
    """Metamerism index for that light: what is left there once the difference in the first light is taken out (the
    idea of ISO 18314-4, with its multiplicative correction), with its 95 % interval."""
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, slots=True)
class AcrossLights:
    """All lights together."""

    lights: tuple[NamedLight, ...]
    """The first is the one the main ranking is for."""
    rankings: dict[str, Ranking] = field(default_factory=dict)
    """Light -> ranking in that light alone."""
    boards: tuple[BoardAcrossLights, ...] = ()
    """Boards seen in every light, from the best by worst light on."""
    doubts: tuple[Doubt, ...] = ()
    """Where the order flips."""
    missing: tuple[str, ...] = ()
    """In words, which photos would let every board be judged in a second light."""


def compare_lights(lights: Sequence[NamedLight], rankings: Mapping[str, Ranking]) -> AcrossLights:
    """Put rankings of the same boards in several lights beside one another.

    Parameters
    ----------
    lights
        The lights, the main one first; each has a ranking.
    rankings
        Light -> ranking in it.
    """
    names = [light.text for light in lights]
    if len(names) < 2:
        return AcrossLights(tuple(lights), dict(rankings), missing=missing_photos(lights, rankings))
    # what was seen in one light only has nothing to be compared with, and is not looked at
    lit = Counter(number for name in names for number in rankings[name].numbers)
    found = {
        name: {number: board for number, board in rankings[name].by_number.items() if lit[number] > 1} for name in names
    }
    everywhere = [number for number in found[names[0]] if lit[number] == len(names)]
    boards = [_board(each, names, found) for each in everywhere]
    boards = _with_indices(boards, names[0], found, rankings)
    boards.sort(key=lambda b: b.by_light[b.worst].value)
    placed = tuple(replace(b, worst_place=place) for place, b in enumerate(boards, start=1))
    flips = _flips(names, found, placed) if placed else ()
    return AcrossLights(tuple(lights), dict(rankings), placed, flips, missing_photos(lights, rankings))


def _board(board: str, names: Sequence[str], found: Mapping[str, Mapping[str, RankedBoard]]) -> BoardAcrossLights:
    by_light = {name: found[name][board].delta_e00 for name in names}
    worst = max(names, key=lambda name: by_light[name].value)
    first = by_light[names[0]].value
    other = max(names[1:], key=lambda name: abs(by_light[name].value - first))
    move = by_light[other].value - first
    doubts: tuple[Doubt, ...] = ()
    if abs(move) > MOVES:
        figures = {"move": round(abs(move), 1), "before": round(first, 1), "after": round(first + move, 1)}
        sure = "" if _apart(by_light[names[0]], by_light[other]) else ", which may be no more than the photos' errors"
        doubts = (doubt("moves-between-lights", light=names[0], other=other, sure=sure, **figures),)
    places = {name: found[name][board].place for name in names}
    return BoardAcrossLights(board, by_light, places, worst, 0, move, other, doubts=doubts)


def _apart(one: DeltaE, two: DeltaE) -> bool:
    """Return whether either difference lies outside the other's interval."""
    return not (one.low <= two.value <= one.high and two.low <= one.value <= two.high)


def _with_indices(
    boards: Sequence[BoardAcrossLights],
    first: str,
    found: Mapping[str, Mapping[str, RankedBoard]],
    rankings: Mapping[str, Ranking],
) -> list[BoardAcrossLights]:
    """Add the metamerism indices with their intervals, those of one light together.

    The errors of the two lights are taken as independent, which widens the intervals.
    """
    out = list(boards)
    for light in {board.move_light for board in boards if board.move_light is not None}:
        known = [
            i
            for i, board in enumerate(boards)
            if board.move_light == light
            and found[first][board.board].covariance is not None
            and found[light][board.board].covariance is not None
        ]
        if not known:
            continue
        one = [found[first][boards[i].board] for i in known]
        two = [found[light][boards[i].board] for i in known]
        batch = corrected_batch(rankings[first].floor.lab, [b.lab for b in one], [b.lab for b in two])
        joint = np.zeros((len(known), 6, 6))
        joint[:, :3, :3] = np.array([b.covariance for b in one]) + np.array([b.covariance for b in two])
        indices = np.transpose(difference_intervals(batch, rankings[light].floor.lab, joint))
        for i, (value, low, high) in zip(known, indices.tolist(), strict=True):
            out[i] = replace(out[i], metamerism=DeltaE(value, low, high))
    return out


def _flips(
    names: Sequence[str], found: Mapping[str, Mapping[str, RankedBoard]], boards: Sequence[BoardAcrossLights]
) -> tuple[Doubt, ...]:
    """Return the doubt that a light's settled winner is settled behind another board in another light."""
    seen = {b.board for b in boards}
    for name in names:
        winner = next((b for b in found[name].values() if b.board in seen), None)
        for other in names:
            if winner is None or other == name:
                continue
            there = found[other][winner.board]
            for rival in found[other].values():
                if rival.place >= there.place:
                    break
                here = found[name].get(rival.board)
                if here is not None and _settled(winner, here) and _settled(rival, there):
                    return (
                        doubt(
                            "order-flips",
                            first=winner.board,
                            second=rival.board,
                            light=name,
                            other=other,
                            best=boards[0].board,
                        ),
                    )
    return ()


def _settled(one: RankedBoard, two: RankedBoard) -> bool:
    return not one.tied_with(two) and two.board not in one.inseparable


def missing_photos(lights: Sequence[NamedLight], rankings: Mapping[str, Ranking]) -> tuple[str, ...]:
    """Say which photos are missing for a judgement in daylight and by lamp.

    Parameters
    ----------
    lights
        The lights in which both floor and boards were photographed, the main one first.
    rankings
        Light -> ranking in it.
    """
    main = rankings[lights[0].text]
    kinds = {light.kind for light in lights}
    if not {"daylight", "lamp"} <= kinds:
        wanted = _wanted(kinds)
        leaders = [b.board for b in main.leaders[:_NAMED]]
        return (f"Photograph the floor and {enumerated(leaders)} in {wanted} too: a match has to hold in both.",)
    said = []
    for light in lights[1:]:
        there = set(rankings[light.text].numbers)
        lacking = [b.board for b in main.leaders[:_NAMED] if b.board not in there]
        if lacking:
            said.append(f"Photograph {enumerated(lacking)} in the light “{light.text}” too, beside the floor.")
    return tuple(said)


def _wanted(kinds: set[LightKind]) -> str:
    if "daylight" in kinds:
        return "the lamps that light the stair in the evening"
    return "daylight from an overcast sky"


@dataclass(frozen=True, slots=True)
class Choice:
    """The best board under one aim."""

    aim: Aim
    board: str
    score: DeltaE
    """How far it is from the aim."""
    probability_best: float
    within_limits: float | None
    """Probability that it keeps the aim's limits; None without any."""
    other: Aim
    other_score: DeltaE
    """How far the same board is from the other aim."""
    cost: float
    """How much farther from the other aim it is than that aim's own best board."""
    in_words: str = ""


def compare_aims(rankings: Sequence[Ranking]) -> tuple[Choice, ...]:
    """Return the best board under each of two aims.

    Parameters
    ----------
    rankings
        The same boards ranked for two aims.

    Raises
    ------
    ValueError
        If there are not two rankings with boards.
    """
    if len(rankings) != 2 or not all(ranking.boards for ranking in rankings):
        raise ValueError("two aims are compared, each with its ranking")
    one, two = rankings
    return (_choice(one, two), _choice(two, one))


def _choice(ranking: Ranking, other: Ranking) -> Choice:
    best = ranking.boards[0]
    there = _score(other.by_number[best.board])
    leader = other.boards[0]
    cost = max(0.0, there.value - _score(leader).value)
    return Choice(
        aim=ranking.aim,
        board=best.board,
        score=_score(best),
        probability_best=best.probability_closest,
        within_limits=best.within_limits,
        other=other.aim,
        other_score=there,
        cost=cost,
        in_words=_in_words(ranking, best, other, cost),
    )


def _score(board: RankedBoard) -> DeltaE:
    return board.score or board.delta_e00


def _in_words(ranking: Ranking, best: RankedBoard, other: Ranking, cost: float) -> str:
    told = f"To {ranking.aim.in_words}, take {best.board}: it is {_score(best).value:.1f} away from that."
    if ranking.aim.name == "contrast":
        told = f"For a contrast ({ranking.aim.in_words}), take {best.board}: it is {_score(best).value:.1f} off."
    if ranking.no_contrast:
        return f"No board makes a contrast ({ranking.aim.in_words}); the nearest to it is {best.board}."
    if best.within_limits is not None and best.within_limits < 0.5:
        told += " It likely breaks a limit, as all boards do."
    rival = "a match" if other.aim.name == "match" else "a contrast"
    if cost < _NO_COST:
        return f"{told} It is also as good as the best for {rival}."
    return f"{told} For {rival} it is {cost:.1f} worse than {other.boards[0].board}."

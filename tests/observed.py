"""Photos of boards and planks as plain objects, laid out and solved as the logbook's are; boards measured apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.estimate import LabEstimate, pool_estimates
from finishlab.matching.aims import MATCH, Aim
from finishlab.matching.gls import Solution, solve
from finishlab.matching.joint import JointColours, draw_colours
from finishlab.matching.ranking import Ranking, rank_colours
from finishlab.matching.scatter import Components, FloorPool, Observations, beside
from finishlab.quality import Doubt


@dataclass(frozen=True, slots=True)
class Seen:
    """One colour measured in one photo."""

    estimate: LabEstimate
    photo: str
    floor: LabEstimate | None = None
    """Of a board: the floor at the strip's other edge in the same photo."""
    spot: str | None = None
    """The spot of the floor that this floor is, if it is known; otherwise it counts as a plank of its own."""


@dataclass(frozen=True, slots=True)
class BoardSeen:
    """A board in all its photos."""

    board: str
    photos: tuple[Seen, ...]


@dataclass(frozen=True, slots=True)
class PlankSeen:
    """A spot of the floor in all its photos."""

    spot: str
    photos: tuple[Seen, ...]


@dataclass(frozen=True, slots=True)
class BoardColour:
    """A board with everything measured on it."""

    board: str
    estimates: tuple[LabEstimate, ...]
    doubts: tuple[Doubt, ...] = ()


def observations_of(boards: Sequence[BoardSeen], planks: Sequence[PlankSeen]) -> Observations:
    """Lay out what was seen."""
    seen: list[tuple[int, LabEstimate, str, str | None]] = []
    for block, board in enumerate(boards):
        seen += [(block, each.estimate, each.photo, None) for each in board.photos]
        for each in board.photos:
            if each.floor is not None:
                seen.append((block, each.floor, each.photo, each.spot or beside(board.board, each.photo)))
    for block, plank in enumerate(planks, start=len(boards)):
        seen += [(block, each.estimate, each.photo, plank.spot) for each in plank.photos]
    return Observations.of(seen, len(boards))


def solve_seen(boards: Sequence[BoardSeen], planks: Sequence[PlankSeen], components: Components) -> Solution:
    """Find boards and floor from all their photos."""
    return solve(observations_of(boards, planks), components)


def gather(boards: Sequence[LabEstimate], floor: LabEstimate) -> JointColours:
    """Lay boards and floor out for arithmetic on all at once."""
    users = Counter(key for board in boards for key in {(e.name, e.scope) for e in board.shared})
    index = {key: i for i, key in enumerate(dict.fromkeys((e.name, e.scope) for e in floor.shared))}
    own = np.array([board.own for board in boards], dtype=np.float64).reshape(-1, 3, 3)
    shared: list[tuple[int, int, tuple[float, float, float]]] = []
    for i, board in enumerate(boards):
        for effect in board.shared:
            key = (effect.name, effect.scope)
            if users[key] == 1 and key not in index:
                own[i] += np.outer(effect.vector, effect.vector)
            else:
                shared.append((i, index.setdefault(key, len(index)), effect.vector))
    moves = np.zeros((len(boards), len(index), 3))
    for i, column, vector in shared:
        moves[i, column] += vector
    floor_vectors = np.zeros((len(index), 3))
    for effect in floor.shared:
        floor_vectors[index[(effect.name, effect.scope)]] += effect.vector
    labs = np.array([board.lab for board in boards], dtype=np.float64).reshape(-1, 3)
    return JointColours(labs, own, moves, np.array(floor.lab), np.array(floor.own), floor_vectors)


def draw_differences(colours: JointColours, count: int, rng: np.random.Generator) -> np.ndarray:
    """Draw the CIEDE2000 of all boards from the floor, shape (n, count)."""
    boards, floor = draw_colours(colours, np.arange(len(colours.labs)), count, rng)
    return np.stack([np.asarray(delta_e_00(board, floor), dtype=np.float32) for board in boards])


def rank_apart(
    floor: FloorPool, boards: Sequence[BoardColour], *, aim: Aim = MATCH, count: int = 4000, seed: int = 0
) -> Ranking:
    """Rank boards by their difference from a pooled floor, each measured on its own."""
    colours = gather([pool_estimates(board.estimates) for board in boards], floor.estimate)
    ranking = rank_colours(floor, colours, [board.board for board in boards], aim=aim, count=count, seed=seed)
    told = {board.board: board for board in boards}
    with_facts = [
        replace(each, doubts=told[each.board].doubts, photos=len(told[each.board].estimates)) for each in ranking.boards
    ]
    return replace(ranking, boards=tuple(with_facts))

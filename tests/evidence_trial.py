"""Own worlds for the evidence: photos whose errors grow with the colour, and whose stated effects come from readings.

Run ``python tests/evidence_trial.py [--worlds N] [--closest]``; docs/decisions/0017-evidence.md quotes its output.

The world errs in linear light: a camera's matrix and boost of saturation, a print that is lighter or darker or has
another tone, a tone fit of each photo, grain, and what a camera gets wrong of one wood or print, all on the *true*
colour. What is stated of a reading is what measuring can know: the same effects worked out at the *noisy reading*, one
standard deviation up, as `finishlab.measure.uncertainty_budget` does. So readings that came out high state larger
effects.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.difference import difference_intervals
from finishlab.colorimetry.estimate import MATRIX_ERRORS, PRINT_AGAINST_WOOD, WOOD_ALONE, ColourTable
from finishlab.colorimetry.spaces import lab_to_rgb, linear_to_srgb, rgb_to_lab, srgb_to_linear
from finishlab.matching.gls import Solution, solve
from finishlab.matching.ranking import Ranking, rank_colours
from finishlab.matching.scatter import FloorPool, Observations, components_of

FLOOR: Final = np.array([56.0, 8.0, 22.0])
PLANK: Final = np.array([1.2, 0.5, 0.8])
PHOTO: Final = np.array([0.25, 0.12, 0.18])
GRAIN: Final = 0.012
"""Standard error of a field's mean, as a share of its light."""
CHANNEL: Final = 0.004
"""The same of each channel alone."""
STRIP_NAMES: Final = ("print-black", "print-gamma", "print-paper")
CAMERA_NAMES: Final = ("saturation", "camera-1", "camera-2")
PRINT_NAMES: Final = ("camera-print-1", "camera-print-2", "camera-print-3")
FIT_NAMES: Final = tuple(f"fit-{i + 1}" for i in range(6))
FIT: Final = np.array([0.012, 0.004, 0.004])
"""Standard deviations of a photo's tone exponent, and of red's and blue's against green's."""


def strip_moved(rgb: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Linear light beside a print that is not as assumed; `u` (..., 3): black, gamma, paper."""
    toned = np.maximum(rgb, 1e-6) ** (1.0 + 0.05 * u[..., 1:2]) * (1.0 + 0.02 * u[..., 2:3])
    return np.asarray(toned + 0.008 * u[..., 0:1] * (1.0 - toned))


def camera_moved(rgb: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Linear light as a camera sees it; `u` (..., 3): saturation, and two errors of its matrix."""
    seen = rgb + np.einsum("...k,kij,...j->...i", u[..., 1:], MATRIX_ERRORS, rgb)
    code = linear_to_srgb(np.maximum(seen, 1e-6))
    grey = code.mean(axis=-1, keepdims=True)
    return np.asarray(srgb_to_linear(np.maximum(grey + (1.0 + 0.06 * u[..., 0:1]) * (code - grey), 1e-4)))


def fit_moved(rgb: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Linear light by a tone fit that is not quite right; `u` (..., 3): exponents in standard deviations."""
    green, red, blue = np.moveaxis(FIT * u, -1, 0)
    channels = np.stack([green + red, green, green + blue], axis=-1)
    return np.asarray(np.maximum(rgb, 1e-6) ** (1.0 + channels))


MOVES: Final = (strip_moved, camera_moved, fit_moved)


def lab_of(rgb: np.ndarray) -> np.ndarray:
    """CIELAB of linear light that may be too dark."""
    return np.asarray(rgb_to_lab(np.maximum(rgb, 1e-4)))


def stated(labs: np.ndarray) -> list[np.ndarray]:
    """Effects of strip, camera and fit as they are worked out at readings, three arrays of shape (n, 3, 3)."""
    rgb, unit = lab_to_rgb(labs)[:, None, :], np.eye(3)[None]
    return [lab_of(move(rgb, unit)) - labs[:, None, :] for move in MOVES]


def jacobian(labs: np.ndarray) -> np.ndarray:
    """d(Lab)/d(log light), shape (n, 3, 3)."""
    rgb, step = lab_to_rgb(labs)[:, None, :], 1e-3 * np.eye(3)[None]
    return np.swapaxes((lab_of(rgb * (1 + step)) - lab_of(rgb * (1 - step))) / 2e-3, 1, 2)


@dataclass(frozen=True)
class Job:
    """What is photographed."""

    boards: int = 5
    photos: int = 1
    """Of each board."""
    spots: int = 3
    spot_photos: int = 1
    wood: bool = False
    """Whether the floor is wood."""
    scopes: int = 1
    """Strips and cameras, taken in turn."""
    spread: float = 3.0
    """Standard deviation of L* of the boards' true colours about their middle; a* half, b* three quarters of it."""
    offset: float = 0.0
    """How far the boards' middle is off the floor, in units of `spread`'s kind; in which direction is drawn."""
    beside: bool = False
    """Whether every second photo of a board has the floor beside it."""


class World:
    """One job, photographed."""

    def __init__(self, job: Job, seed: int) -> None:
        rng = self.rng = np.random.default_rng(seed)
        self.job = job
        self.floor = FLOOR
        axes = np.array([1.0, 0.5, 0.75])
        direction = rng.normal(0, 1, 3)
        middle = FLOOR + job.offset * axes * direction / np.linalg.norm(direction)
        self.boards = middle + job.spread * axes * rng.normal(0, 1, (job.boards, 3))
        self.looks = self._photograph()

    def _plan(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Block, plank (-1 for a board), photo and scope of each reading, blocks ascending."""
        job = self.job
        rows, photo, planks = [], 0, job.spots
        for block in range(job.boards):
            own, floors = [], []
            for k in range(job.photos):
                scope = (block + k) % job.scopes
                own.append((block, -1, photo, scope))
                if job.beside and k % 2 == 0:
                    floors.append((block, planks, photo, scope))
                    planks += 1
                photo += 1
            rows += own + floors
        for spot in range(job.spots):
            for k in range(job.spot_photos):
                rows.append((job.boards + spot, spot, photo, (spot + k) % job.scopes))
                photo += 1
        block, plank, photos, scope = np.array(rows).T
        return block, plank, photos, scope

    def _photograph(self) -> Observations:
        block, plank, photo, scope = self._plan()
        job, rng, n = self.job, self.rng, len(block)
        planks = self.floor + rng.normal(0, PLANK, (int(plank.max()) + 1, 3))
        of_floor = plank >= 0
        true = np.where(of_floor[:, None], planks[plank], self.boards[np.minimum(block, job.boards - 1)])
        strip, camera = rng.normal(size=(2, job.scopes, 3))
        wood = rng.multivariate_normal(np.zeros(3), WOOD_ALONE, (job.scopes, job.boards + 1))
        if not job.wood:
            wood[:, -1] = rng.multivariate_normal(np.zeros(3), PRINT_AGAINST_WOOD, job.scopes)
        surface = np.where(of_floor, job.boards, block)
        seen = strip_moved(camera_moved(lab_to_rgb(true), camera[scope]), strip[scope])
        seen = fit_moved(lab_to_rgb(lab_of(seen) + wood[scope, surface]), rng.normal(size=(photo.max() + 1, 3))[photo])
        seen = seen * np.exp(GRAIN * rng.normal(size=(n, 1)) + CHANNEL * rng.normal(size=(n, 3)))
        labs = lab_of(seen) + rng.normal(0, PHOTO, (photo.max() + 1, 3))[photo]
        table = self._table(labs, of_floor, photo, scope)
        return Observations(table, np.arange(n), block, photo, plank, job.boards, np.full(n, -1))

    def _table(self, labs: np.ndarray, of_floor: np.ndarray, photo: np.ndarray, scope: np.ndarray) -> ColourTable:
        """What measuring states of the readings."""
        job, n = self.job, len(labs)
        strip, camera, fit = stated(labs)
        to_lab = jacobian(labs)
        own = GRAIN**2 * np.einsum("ni,nj->nij", to_lab.sum(2), to_lab.sum(2))
        own += CHANNEL**2 * to_lab @ np.swapaxes(to_lab, 1, 2)
        wood = ~of_floor | job.wood
        own[wood] += WOOD_ALONE
        axes = fit_axes(fit, photo)
        values, vectors = np.linalg.eigh(PRINT_AGAINST_WOOD)
        printed = np.broadcast_to((vectors * np.sqrt(values)).T, (n, 3, 3))
        names = FIT_NAMES + STRIP_NAMES + CAMERA_NAMES + PRINT_NAMES
        all_vectors = np.concatenate([axes, strip, camera, printed], axis=1)
        scopes = [f"photo:{i}" for i in range(int(photo.max()) + 1)]
        scopes += [f"strip:{i}" for i in range(job.scopes)] + [f"camera:{i}" for i in range(job.scopes)]
        first_strip, first_camera = int(photo.max()) + 1, int(photo.max()) + 1 + job.scopes
        of_scope = np.stack([*[photo] * 6, *[first_strip + scope] * 3, *[first_camera + scope] * 6], axis=1)
        kept = np.ones((n, len(names)), dtype=bool)
        kept[wood, -3:] = False
        kept[:, :6] = np.abs(axes).sum(axis=2) > 0
        return ColourTable(
            labs,
            own,
            np.concatenate([[0], np.cumsum(kept.sum(axis=1))]).astype(np.intp),
            np.broadcast_to(np.arange(len(names)), kept.shape)[kept].astype(np.int32),
            of_scope[kept].astype(np.int32),
            all_vectors[kept],
            names,
            tuple(scopes),
            wood,
        )

    def solved(self) -> Solution:
        """What is found of it."""
        return solve(self.looks, components_of(self.looks))

    def ranking(self, weighed: Solution, count: int = 1000) -> Ranking:
        """The boards ranked, numbered from 0."""
        floor = FloorPool(weighed.floor, self.job.spots, 1.5 if self.job.spots > 1 else None)
        numbers = [f"{i}" for i in range(self.job.boards)]
        return rank_colours(floor, weighed.colours, numbers, count=count)


def fit_axes(fit: np.ndarray, photo: np.ndarray) -> np.ndarray:
    """The fit's joint covariance of a photo's surfaces split along its axes, shape (n, 6, 3), as measuring does it."""
    axes = np.zeros((len(fit), 6, 3))
    for one in np.unique(photo):
        rows = np.flatnonzero(photo == one)
        jointly = np.swapaxes(fit[rows], 1, 2).reshape(-1, 3)
        values, vectors = np.linalg.eigh(jointly @ jointly.T)
        split = (vectors * np.sqrt(np.clip(values, 0.0, None)))[:, ::-1]
        for k, row in enumerate(rows):
            axes[row, : split.shape[1]] = split[3 * k : 3 * k + 3].T
    axes[np.abs(axes).max(axis=2) < 1e-3] = 0.0
    return axes


@dataclass
class Found:
    """What became of many worlds of one kind."""

    errors: np.ndarray
    """Of board minus floor, shape (worlds, boards, 3)."""
    slope: float
    """Of stated on true differences, all three axes."""
    intervals: float
    """Share of 95 % intervals of CIEDE2000 that hold the truth."""
    ellipsoids: float
    """The same of the 95 % ellipsoids of (L*, a*, b*)."""
    width: float
    level: np.ndarray
    """Mean of the floor's found colour less that of its readings."""

    @property
    def rms(self) -> float:
        """Root mean square error of a difference."""
        return float(np.sqrt(np.mean(np.sum(self.errors**2, axis=2))))

    def line(self) -> str:
        """As words."""
        return (
            f"slope {self.slope:5.3f}  error {self.rms:5.2f}  intervals {100 * self.intervals:5.1f} %  "
            f"ellipsoids {100 * self.ellipsoids:5.1f} %  width {self.width:4.2f}  level {np.round(self.level, 2)}"
        )


CHI2_3_95: Final = 7.814728
"""95 % quantile of chi-square with 3 degrees of freedom (tables; SciPy's chi2.ppf gives the same)."""


def try_out(job: Job, worlds: int, first: int = 0) -> Found:
    """Photograph and weigh many worlds."""
    errors, stated_apart, true_apart, held, inside, widths, level = [], [], [], [], [], [], []
    for seed in range(first, first + worlds):
        world = World(job, seed)
        weighed = world.solved()
        together = weighed.colours
        apart, true = together.labs - together.floor_lab, world.boards - world.floor
        errors.append(apart - true)
        stated_apart.append(apart)
        true_apart.append(true)
        covariance = weighed.difference_covariance()
        distance = np.einsum("ni,nij,nj->n", apart - true, np.linalg.inv(covariance), apart - true)
        inside.append(distance < CHI2_3_95)
        _, low, high = difference_intervals(together.labs, together.floor_lab, together.joint_with_floor())
        truth = delta_e_00(world.boards, world.floor)
        held.append((low <= truth) & (truth <= high))
        widths.append(high - low)
        floors = world.looks.plank >= 0
        level.append(together.floor_lab - world.looks.colours.labs[world.looks.rows[floors]].mean(axis=0))
    x, y = np.concatenate(true_apart).ravel(), np.concatenate(stated_apart).ravel()
    return Found(
        np.array(errors),
        float(x @ y / (x @ x)),
        float(np.mean(held)),
        float(np.mean(inside)),
        float(np.mean(widths)),
        np.mean(level, axis=0),
    )


CELLS: Final = (
    *(Job(photos=k, wood=w) for w in (False, True) for k in (1, 2, 4, 8)),
    *(Job(photos=k, wood=w, beside=True) for w in (False, True) for k in (1, 4)),
    *(Job(spots=s, spot_photos=k, wood=w) for w in (False, True) for s in (1, 3, 12) for k in (1, 3)),
    *(Job(photos=k, scopes=2, wood=w, spots=4, spot_photos=2) for w in (False, True) for k in (1, 2, 4, 8)),
    *(Job(boards=n, photos=2, wood=w) for w in (False, True) for n in (3, 10, 30)),
)


@dataclass
class Chances:
    """Stated against observed chances of being the closest."""

    stated: list[float]
    came: list[bool]
    settled: int = 0
    wrong: int = 0

    def rows(self) -> list[tuple[float, float, int]]:
        """Stated, observed and number in classes of chance."""
        chance, came = np.array(self.stated), np.array(self.came, dtype=float)
        edges = (0.02, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.01)
        out = []
        for low, high in pairwise(edges):
            these = (chance >= low) & (chance < high)
            if these.any():
                out.append((float(chance[these].mean()), float(came[these].mean()), int(these.sum())))
        return out


SHORTLISTS: Final = {
    "spread out": Job(boards=8, spots=5, spread=4.0),
    "tight": Job(boards=8, spots=5, spread=0.7),
    "tight, many": Job(boards=30, spots=5, spread=1.0),
    "off centre": Job(boards=8, spots=5, spread=1.5, offset=5.0),
    "tight, off centre": Job(boards=8, spots=5, spread=0.7, offset=2.5),
    "three": Job(boards=3, spots=5, spread=1.0),
}


def closest(job: Job, worlds: int, first: int = 0) -> Chances:
    """Photograph and rank many worlds."""
    found = Chances([], [])
    for seed in range(first, first + worlds):
        world = World(job, seed)
        ranking = world.ranking(world.solved())
        distances = delta_e_00(world.boards, world.floor)
        best = int(np.argmin(distances))
        for board in ranking.boards:
            found.stated.append(board.probability_closest)
            found.came.append(int(board.board) == best)
        leader = ranking.boards[0]
        if not leader.inseparable:
            found.settled += 1
            found.wrong += int(leader.board) != best
    return found


def main(arguments: Sequence[str] | None = None) -> None:
    """Print what became of each kind of world."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--worlds", type=int, default=300)
    parser.add_argument("--closest", action="store_true", help="only the chances of being the closest")
    options = parser.parse_args(arguments)
    if not options.closest:
        for job in CELLS:
            print(name_of(job), try_out(job, options.worlds).line(), flush=True)
    for name, job in SHORTLISTS.items():
        chances = closest(job, options.worlds)
        print(f"{name}: settled first places {chances.settled}, wrong {chances.wrong}", flush=True)
        for stated_chance, came, count in chances.rows():
            print(f"  stated {stated_chance:.2f}  came true {came:.2f}  ({count})", flush=True)


def name_of(job: Job) -> str:
    """A job in a few characters."""
    floor = "wood " if job.wood else "print"
    beside = "+floor" if job.beside else ""
    boards = f"{job.boards:2d} boards x {job.photos}{beside}"
    return f"{floor} {boards} {job.spots:2d} spots x {job.spot_photos} {job.scopes} scope:"


if __name__ == "__main__":
    main()

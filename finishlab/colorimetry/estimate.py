"""The colour of one surface with its uncertainty: what is its own, what it shares; one of them, and a table of many."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from sys import intern
from typing import Any, Final, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishlab.colorimetry.spaces import rgb_to_lab

MATRIX_ERRORS: Final = np.array(
    [
        [[-0.0529, 0.0644, -0.0115], [0.0280, 0.0118, -0.0398], [-0.0163, -0.0600, 0.0763]],
        [[0.0384, -0.0422, 0.0038], [-0.0156, -0.0043, 0.0199], [-0.0317, 0.0241, 0.0076]],
    ]
)
"""Two independent unknowns of a camera in a light, each one standard deviation, shape (2, 3, 3): linear RGB becomes
(1 + error) RGB. On woods the first moves 2.6 CIELAB, the second 0.9, all others together 0.2."""

WOOD_ALONE: Final = np.array([[0.002, -0.001, 0.002], [-0.001, 0.079, -0.085], [0.002, -0.085, 0.116]])
"""Covariance of the error of (L*, a*, b*) of one wood beyond that, shape (3, 3). It is drawn once for a wood, a camera
and a light: further photos, layings and planks of it repeat it."""

_PRINT_SHARE: Final = 0.8
"""Share of the simulated covariance of prints that is used: print floors that were simulated are harsher than the
published case, and the intervals are held against rendered scenes."""

PRINT_AGAINST_WOOD: Final = _PRINT_SHARE * np.array(
    [[0.031, 0.001, 0.049], [0.001, 1.234, -0.834], [0.049, -0.834, 1.340]]
)
"""Covariance of the same of a print, which one camera's prints are taken to share, shape (3, 3)."""

for _constant in (MATRIX_ERRORS, WOOD_ALONE, PRINT_AGAINST_WOOD):
    _constant.flags.writeable = False


def less_wood(own: np.ndarray) -> np.ndarray:
    """Return covariances without `WOOD_ALONE`: what one photo of a wood has by itself.

    Parameters
    ----------
    own
        Shape (..., 3, 3), each with `WOOD_ALONE` in it.
    """
    return positive_part(np.asarray(own, dtype=float) - WOOD_ALONE)


def positive_part(matrix: np.ndarray) -> np.ndarray:
    """Nearest positive semi-definite matrix, shape (..., n, n): negative eigenvalues, which only noise makes, go."""
    values, axes = np.linalg.eigh(matrix)
    return np.asarray((axes * np.clip(values, 0.0, None)[..., None, :]) @ np.swapaxes(axes, -1, -2))


def root_of(covariance: np.ndarray) -> np.ndarray:
    """A square root of covariances, shape (..., n, n); unlike Cholesky's it bears a direction without doubt."""
    values, axes = np.linalg.eigh(covariance)
    return np.asarray(axes * np.sqrt(np.clip(values, 0.0, None))[..., None, :])


def matrix_effects(rgb: np.ndarray, errors: np.ndarray = MATRIX_ERRORS) -> np.ndarray:
    """Return what one standard deviation of each error of a camera's matrix does to a colour.

    Parameters
    ----------
    rgb
        Shape (3,), linear RGB of sRGB's primaries, 1.0 a perfect white diffuser.
    errors
        Shape (n, 3, 3): changes of the matrix; rows that sum to 0 keep white.

    Returns
    -------
    ndarray, shape (n, 3)
        Change of (L*, a*, b*), to first order.
    """
    small = 1e-2
    moves = small * errors @ np.asarray(rgb, dtype=float)
    return np.asarray((rgb_to_lab(rgb + moves) - rgb_to_lab(rgb - moves)) / (2 * small))


COLOUR_SPACE = "CIELAB D65 2deg"
"""What every document says of its L*, a*, b* values: CIE 015:2018, illuminant D65, 1931 2 degree observer."""


class SharedEffect(NamedTuple):
    """One unknown that moves several measurements together; a named tuple, for thousands of colours bear ten each."""

    name: str
    """What is unknown, e.g. ``"saturation"``, ``"black-ink"``."""
    scope: str
    """Whom it is shared with: measurements with the same name and scope move by the same unknown, e.g.
    ``"camera:Acme One"``, ``"strip:412"``, ``"photo:3f2a..."``."""
    vector: tuple[float, float, float]
    """Change of (L*, a*, b*) when the unknown is one standard deviation up."""


@dataclass(frozen=True, slots=True)
class LabEstimate:
    """CIELAB of a surface's mean with its uncertainty.

    Raises
    ------
    ValueError
        If a value is not finite, or the covariance is not symmetric and positive semi-definite.
    """

    lab: tuple[float, float, float]
    own: tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]
    """Covariance of the mean, one-sigma units squared, common errors left out."""
    shared: tuple[SharedEffect, ...] = ()
    wood: bool = False
    """Whether `own` holds what a camera gets wrong of one wood (`finishlab.colorimetry.estimate.WOOD_ALONE`): no
    other surface shares it, but all photos of this one by one camera in one light do."""

    def __post_init__(self) -> None:
        if not math.isfinite(sum(self.lab) + sum(map(sum, self.own))):
            raise ValueError("a colour estimate must be finite")
        if not _is_covariance(self.own):
            raise ValueError("a covariance must be symmetric and positive semi-definite")

    @classmethod
    def build(
        cls, lab: np.ndarray, own: np.ndarray, shared: Sequence[SharedEffect] = (), *, wood: bool = False
    ) -> LabEstimate:
        """Build from arrays: `lab` shape (3,), `own` shape (3, 3)."""
        own = np.asarray(own, dtype=float)
        one, two, three = ((own + own.T) / 2).tolist()
        rows = (tuple(one), tuple(two), tuple(three))
        return cls((float(lab[0]), float(lab[1]), float(lab[2])), rows, tuple(shared), wood)

    @property
    def standard_error(self) -> tuple[float, float, float]:
        """One sigma of the mean of L*, a*, b*, common errors left out."""
        s = np.sqrt(np.clip(np.diag(np.asarray(self.own)), 0.0, None))
        return float(s[0]), float(s[1]), float(s[2])

    @property
    def own_of_photo(self) -> np.ndarray:
        """Own covariance without what all photos of this surface share, shape (3, 3)."""
        own = np.array(self.own, dtype=float)
        return less_wood(own) if self.wood else own

    @property
    def camera(self) -> str:
        """Scope of the camera's effects; empty where there are none."""
        return next((e.scope for e in self.shared if e.scope.startswith("camera:")), "")

    def total_covariance(self) -> np.ndarray:
        """Return the covariance with the shared effects added, shape (3, 3): the doubt of the absolute colour."""
        total = np.array(self.own, dtype=float)
        for effect in self.shared:
            total += np.outer(effect.vector, effect.vector)
        return total

    def as_dict(self) -> dict[str, Any]:
        """Return the stored form."""
        return {
            "lab": list(self.lab),
            "own_covariance": [list(row) for row in self.own],
            "shared": [{"name": e.name, "scope": e.scope, "vector": list(e.vector)} for e in self.shared],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, wood: bool = False) -> LabEstimate:
        """Rebuild an estimate from `as_dict`; of which surface it is stands beside it."""
        effects = data["shared"]  # the same few names and scopes stand in all colours: each is kept once
        shared = tuple([SharedEffect(intern(e["name"]), intern(e["scope"]), tuple(e["vector"])) for e in effects])
        lab, own = tuple(data["lab"]), data["own_covariance"]
        if {len(lab), len(own), *map(len, own), *[len(effect.vector) for effect in shared]} != {3}:
            raise ValueError("a colour and a shared effect have three values, a covariance has three times three")
        one, two, three = own
        return cls(lab, (tuple(one), tuple(two), tuple(three)), shared, wood)


def _is_covariance(rows: Sequence[Sequence[float]]) -> bool:
    """Return whether a 3 x 3 matrix is symmetric and positive semi-definite, up to rounding.

    By the pivots of its elimination: thousands of stored colours are checked when a logbook is read.
    """
    (a, b, c), (b2, d, e), (c2, e2, f) = rows
    size = max(1.0, a + d + f)
    if max(abs(b - b2), abs(c - c2), abs(e - e2)) > 1e-5 * size:
        return False
    jitter = 1e-9 * size
    a, d, f = a + jitter, d + jitter, f + jitter
    if a <= 0.0:
        return False
    second = d - b * b / a
    if second <= 0.0:
        return False
    mixed = e - b * c / a
    return f - c * c / a - mixed * mixed / second >= 0.0


def moves_of(estimates: Sequence[LabEstimate]) -> dict[tuple[str, str], np.ndarray]:
    """Return what one standard deviation of each shared unknown does to the colours: name and scope -> shape (n, 3)."""
    moved: dict[tuple[str, str], np.ndarray] = {}
    for i, estimate in enumerate(estimates):
        for effect in estimate.shared:
            moved.setdefault((effect.name, effect.scope), np.zeros((len(estimates), 3)))[i] += effect.vector
    return moved


USUAL_PLANK: Final = (1.2, 0.5, 0.8)
"""Standard deviation of L*, a*, b* from plank to plank of a usual floor. This tool's own; near the 2 units of CIE 1976
that one wood surface spans (Buchelt, Wagenfuehr, Eur. J. Wood Prod. 70 (2012) 377)."""
_USUAL_WEIGHT: Final = 3.0
"""Measurements that the usual shape of a scatter counts as."""


def pool_estimates(estimates: Sequence[LabEstimate]) -> LabEstimate:
    """Average repeated measurements of one thing, or of several things that stand for one.

    The mean is of CIELAB values, each measurement counted once. Its own covariance is that of their own errors plus the
    scatter that neither own errors nor shared effects explain, widened for small numbers. Effects are kept shared: one
    that touches all moves the mean in full, one that touches a single photo by its share.

    Parameters
    ----------
    estimates
        At least one.

    Raises
    ------
    ValueError
        If there is none.

    Notes
    -----
    The mean of CIELAB differs from that of linear light by about s^2 / (L* + 16) in L*, with s the scatter of L*: for
    planks that scatter by 2, less than 0.1.
    """
    if not estimates:
        raise ValueError("nothing to average")
    n = len(estimates)
    if n == 1:
        return estimates[0]
    labs = np.array([e.lab for e in estimates])
    own = np.mean([e.own_of_photo for e in estimates], axis=0)
    moved = moves_of(estimates)
    explained = own + sum((np.cov(vectors.T) for vectors in moved.values()), np.zeros((3, 3)))
    between = _in_all_directions(positive_part(np.cov(labs.T) - explained), n)
    shared = [SharedEffect(*key, triple(moves.mean(axis=0))) for key, moves in moved.items()]
    share = _wood_share(estimates)
    whole = (own + between * _small_number_factor(n)) / n + share * WOOD_ALONE
    return LabEstimate.build(labs.mean(axis=0), whole, shared, wood=share > 0.0)


def _wood_share(estimates: Sequence[LabEstimate]) -> float:
    """How much of the variance of a camera's error of one wood is left in the mean: with one camera all of it."""
    cameras = Counter(estimate.camera for estimate in estimates if estimate.wood)
    return sum(count**2 for count in cameras.values()) / len(estimates) ** 2


def _in_all_directions(scatter: np.ndarray, n: int) -> np.ndarray:
    """Let a scatter found from `n` things lean on the usual shape, its size kept: two of them lie on a line."""
    usual = np.diag(np.square(USUAL_PLANK))
    usual *= np.trace(scatter) / np.trace(usual)
    result: np.ndarray = ((n - 1) * scatter + _USUAL_WEIGHT * usual) / (n - 1 + _USUAL_WEIGHT)
    return result


def _small_number_factor(n: int) -> float:
    """By how much to widen a scatter found from `n` things, which is itself uncertain.

    Own formula: with it the 95 % interval of a difference held the truth in 94.5-98.8 % for 2 to 10 simulated spots,
    without it in 87-97 %.
    """
    return (n + 2) / (n - 1)


def draw(estimates: Sequence[LabEstimate], count: int, rng: np.random.Generator) -> np.ndarray:
    """Draw what the true colours may be, shared unknowns drawn once for all.

    Parameters
    ----------
    estimates
        The colours to draw together.
    count
        Number of draws.
    rng
        Source of randomness.

    Returns
    -------
    ndarray, shape (len(estimates), count, 3)
    """
    unknowns: dict[tuple[str, str], np.ndarray] = {}
    out = np.empty((len(estimates), count, 3))
    for i, estimate in enumerate(estimates):
        out[i] = np.asarray(estimate.lab) + rng.standard_normal((count, 3)) @ root_of(np.asarray(estimate.own)).T
        for effect in estimate.shared:
            key = (effect.name, effect.scope)
            if key not in unknowns:
                unknowns[key] = rng.standard_normal(count)
            out[i] += unknowns[key][:, None] * np.asarray(effect.vector)
    return out


FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ColourTable:
    """Many measured colours."""

    labs: FloatArray
    """CIELAB, shape (n, 3)."""
    own: FloatArray
    """Covariances of the means, common errors left out, shape (n, 3, 3)."""
    first: NDArray[np.intp]
    """The shared effects of colour i stand in rows ``first[i]`` up to ``first[i + 1]``; shape (n + 1,)."""
    name: NDArray[np.int32]
    """Name of each shared effect's unknown, as its place in `names`, shape (m,)."""
    scope: NDArray[np.int32]
    """Its scope, as its place in `scopes`, shape (m,)."""
    vectors: FloatArray
    """Change of (L*, a*, b*) when that unknown is one standard deviation up, shape (m, 3)."""
    names: tuple[str, ...]
    scopes: tuple[str, ...]
    wood: NDArray[np.bool_]
    """See `LabEstimate.wood`, shape (n,)."""

    @classmethod
    def of(cls, estimates: Sequence[LabEstimate]) -> ColourTable:
        """Lay out colours in their order."""
        effects = [effect for each in estimates for effect in each.shared]
        names, name = _merged((), [effect.name for effect in effects])
        scopes, scope = _merged((), [effect.scope for effect in effects])
        vectors = chain.from_iterable([effect.vector for effect in effects])
        return cls(
            np.array([each.lab for each in estimates], dtype=float).reshape(-1, 3),
            np.array([each.own for each in estimates], dtype=float).reshape(-1, 3, 3),
            np.cumsum([0, *(len(each.shared) for each in estimates)], dtype=np.intp),
            name,
            scope,
            np.fromiter(vectors, dtype=float, count=3 * len(effects)).reshape(-1, 3),
            names,
            scopes,
            np.array([each.wood for each in estimates], dtype=bool),
        )

    def __len__(self) -> int:
        return len(self.labs)

    def estimate(self, row: int) -> LabEstimate:
        """Return one of the colours."""
        effects = range(int(self.first[row]), int(self.first[row + 1]))
        shared = [
            SharedEffect(self.names[self.name[e]], self.scopes[self.scope[e]], triple(self.vectors[e])) for e in effects
        ]
        one, two, three = (triple(each) for each in self.own[row])
        return LabEstimate(triple(self.labs[row]), (one, two, three), tuple(shared), bool(self.wood[row]))

    def joined(self, other: ColourTable) -> ColourTable:
        """Return both tables' colours, the other's behind; an unknown of both is one."""
        names, name = _merged(self.names, other.names)
        scopes, scope = _merged(self.scopes, other.scopes)
        return ColourTable(
            np.concatenate([self.labs, other.labs]),
            np.concatenate([self.own, other.own]),
            np.concatenate([self.first, other.first[1:] + self.first[-1]]),
            np.concatenate([self.name, name[other.name]]),
            np.concatenate([self.scope, scope[other.scope]]),
            np.concatenate([self.vectors, other.vectors]),
            names,
            scopes,
            np.concatenate([self.wood, other.wood]),
        )

    def only(self, rows: NDArray[np.intp]) -> ColourTable:
        """Return some of the colours, in this order, with the scopes that they name."""
        _, effects = self.effects_of(rows)
        ends = np.cumsum(self.first[rows + 1] - self.first[rows])
        used, scope = np.unique(self.scope[effects], return_inverse=True)
        return ColourTable(
            self.labs[rows],
            self.own[rows],
            np.concatenate([[0], ends]).astype(np.intp),
            self.name[effects],
            scope.astype(np.int32),
            self.vectors[effects],
            self.names,
            tuple(self.scopes[i] for i in used.tolist()),
            self.wood[rows],
        )

    def effects_of(self, rows: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return the shared effects of some colours, in order: at which place of `rows`, and which row they are."""
        counts = self.first[rows + 1] - self.first[rows]
        place = np.repeat(np.arange(len(rows)), counts)
        before = np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.intp)
        return place, np.arange(len(place)) - before[place] + self.first[rows][place]


def _merged(mine: Sequence[str], theirs: Sequence[str]) -> tuple[tuple[str, ...], NDArray[np.int32]]:
    """Return the texts of both, each once, and where theirs are among them."""
    index = {text: i for i, text in enumerate(mine)}
    moved = np.array([index.setdefault(text, len(index)) for text in theirs], dtype=np.int32)
    return tuple(index), moved


def triple(values: Any) -> tuple[float, float, float]:  # noqa: ANN401 - an array of three
    """Return three numbers as plain ones."""
    return float(values[0]), float(values[1]), float(values[2])


Source = Literal["print", "camera", "light", "grain", "planks"]

SOURCES: Final[Mapping[Source, str]] = {
    "print": "the print of the strip",
    "camera": "the camera",
    "light": "light and fit of the photo",
    "grain": "grain and noise of the surface",
    "planks": "the planks of the floor",
}
"""Each source and what it is called; the camera is its colours, its boost of saturation and its tone. What a surface
shares with nobody is of the grain, but for what the camera gets wrong of that wood; what planks differ by is theirs."""

EFFECTS: Final[Mapping[str, Source]] = {
    "print": "print",
    "black-ink": "print",
    "tone": "camera",
    "saturation": "camera",
    "camera": "camera",
    "profile": "camera",
    "wood": "camera",
    "fit": "light",
    "grey": "light",
}
"""How the name of a shared effect begins -> its source; a name is its beginning, or goes on with a hyphen."""

Factors = Mapping[Source, ArrayLike]
"""Source -> by how much its errors are to be multiplied: one factor, or one each for L*, a* and b*."""


def listed(name: str) -> Source | None:
    """Return the source the table has for an effect's name, None if it has none."""
    return next((source for start, source in EFFECTS.items() if name == start or name.startswith(f"{start}-")), None)


def source_of(name: str) -> Source:
    """Return an effect's source; a name of a newer finishlab that the table lacks counts as the photo's fit."""
    return listed(name) or "light"


def print_open(name: str, scope: str) -> bool:
    """Return whether an effect is of a print that was not learned: its scope names no greys beside the number."""
    unlearned = scope.startswith("strip:") and (scope.count(":") == 1 or scope.endswith(":usual"))
    return unlearned and source_of(name) == "print"


def of_tone(name: str) -> bool:
    """Return whether an effect is of the camera's tone, which the fit weighs against the print."""
    return name.startswith("tone-")


def scaled(estimate: LabEstimate, factors: Factors) -> LabEstimate:
    """Return a colour with the errors of some sources times a factor."""
    stretch = np.asarray(factors.get("grain", 1.0)) * np.ones(3)
    grain = estimate.own_of_photo
    own = np.asarray(estimate.own) + grain * (np.outer(stretch, stretch) - 1.0)
    shared = [_longer(effect, factors.get(source_of(effect.name))) for effect in estimate.shared]
    return replace(LabEstimate.build(np.asarray(estimate.lab), own, shared, wood=estimate.wood), lab=estimate.lab)


def _longer(effect: SharedEffect, factor: ArrayLike | None) -> SharedEffect:
    if factor is None:
        return effect
    one, two, three = (np.asarray(effect.vector) * np.asarray(factor)).tolist()
    return effect._replace(vector=(one, two, three))


def scaled_table(colours: ColourTable, factors: Factors) -> ColourTable:
    """Return many colours with the errors of some sources times a factor."""
    of_name = [np.asarray(factors.get(source_of(name), 1.0)) * np.ones(3) for name in colours.names]
    factor = np.reshape(of_name, (-1, 3))[colours.name]
    stretch = np.asarray(factors.get("grain", 1.0)) * np.ones(3)
    grain = colours.own.copy()
    grain[colours.wood] = less_wood(grain[colours.wood])
    own = colours.own + grain * (np.outer(stretch, stretch) - 1.0)
    return replace(colours, own=own, vectors=colours.vectors * factor)


def open_prints(colours: ColourTable) -> np.ndarray:
    """Return which of the shared effects are of a print that was not learned, shape (m,)."""
    of_print = np.array([print_open(name, "strip:0") for name in colours.names], dtype=bool)
    is_open = np.array([print_open("print", scope) for scope in colours.scopes], dtype=bool)
    return np.asarray(of_print[colours.name] & is_open[colours.scope])


def tones(colours: ColourTable) -> np.ndarray:
    """Return which of the shared effects are of a camera's tone, shape (m,)."""
    return np.asarray(np.array([of_tone(name) for name in colours.names], dtype=bool)[colours.name])

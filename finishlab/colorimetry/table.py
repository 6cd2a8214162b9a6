"""Thousands of colours with their doubts as arrays, and where their errors come from, in words of the trade.

One table goes from the names of effects to sources people can act on.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishlab.colorimetry.estimate import LabEstimate, SharedEffect, less_wood

__all__ = [
    "EFFECTS",
    "SOURCES",
    "ColourTable",
    "Factors",
    "Source",
    "TableBuilder",
    "listed",
    "of_tone",
    "open_prints",
    "print_open",
    "scaled",
    "scaled_table",
    "source_of",
    "tones",
]

FloatArray = NDArray[np.float64]
Triple = Sequence[float]


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
    def of(cls, estimates: Iterable[LabEstimate]) -> ColourTable:
        """Lay out colours in their order."""
        builder = TableBuilder()
        for estimate in estimates:
            shared = estimate.shared
            effects = [e.name for e in shared], [e.scope for e in shared], [e.vector for e in shared]
            builder.add(estimate.lab, estimate.own, *effects, wood=estimate.wood)
        return builder.build()

    def __len__(self) -> int:
        return len(self.labs)

    def estimate(self, row: int) -> LabEstimate:
        """Return one of the colours."""
        effects = range(int(self.first[row]), int(self.first[row + 1]))
        shared = [
            SharedEffect(self.names[self.name[e]], self.scopes[self.scope[e]], _triple(self.vectors[e]))
            for e in effects
        ]
        one, two, three = (_triple(each) for each in self.own[row])
        return LabEstimate(_triple(self.labs[row]), (one, two, three), tuple(shared), bool(self.wood[row]))

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

    def unsound(self) -> int | None:
        """Return the first row that `LabEstimate` would refuse, None if there is none.

        Refused is what is not finite, and a covariance that is not symmetric and positive semi-definite, up to
        rounding, by the pivots of its elimination.
        """
        whole = self.own.reshape(-1, 9)
        a, b, c, b2, d, e, c2, e2, f = whole.T
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            size = np.maximum(1.0, a + d + f)
            uneven = np.max(np.abs([b - b2, c - c2, e - e2]), axis=0) > 1e-5 * size
            jitter = 1e-9 * size
            first, second = a + jitter, d + jitter - b * b / (a + jitter)
            mixed = e - b * c / first
            third = f + jitter - c * c / first - mixed * mixed / second
            sound = (first > 0.0) & (second > 0.0) & (third >= 0.0) & ~uneven
        finite = np.isfinite(self.labs).all(axis=1) & np.isfinite(whole).all(axis=1)
        bad = np.flatnonzero(~(finite & sound))
        return int(bad[0]) if len(bad) else None


class TableBuilder:
    """Takes colours one by one; plain numbers wait in flat buffers, so that thousands leave no objects behind."""

    def __init__(self) -> None:
        self._labs, self._own, self._vectors = array("d"), array("d"), array("d")
        self._name, self._scope, self._first = array("i"), array("i"), array("q", [0])
        self._wood = array("b")
        self._names: dict[str, int] = {}
        self._scopes: dict[str, int] = {}
        self._runs: dict[tuple[str, ...], array[int]] = {}

    def __len__(self) -> int:
        return len(self._first) - 1

    def add(
        self,
        lab: Triple,
        own: Sequence[Triple],
        names: Iterable[str],
        scopes: Iterable[str],
        vectors: Iterable[Triple],
        *,
        wood: bool = False,
    ) -> int:
        """Add a colour, its shared effects by name, scope and vector; return its row.

        Raises
        ------
        TypeError, ValueError
            If these are not numbers, or not three and three times three of them.
        """
        row = len(self)
        self._labs.extend(lab)
        self._wood.append(wood)
        for line in own:
            self._own.extend(line)
        self._name.extend(self._run(tuple(names)))
        known = self._scopes
        self._scope.extend([known.setdefault(scope, len(known)) for scope in scopes])
        self._vectors.extend(chain.from_iterable(vectors))
        effects = len(self._name)
        self._first.append(effects)
        if (len(self._labs), len(self._own)) != (3 * row + 3, 9 * row + 9):
            raise ValueError("a colour has three values, and its covariance three times three")
        if (len(self._scope), len(self._vectors)) != (effects, 3 * effects):
            raise ValueError("a shared effect has a name, a scope and three values")
        return row

    def _run(self, names: tuple[str, ...]) -> array[int]:
        """Return the numbers of names; most colours have the same ones in the same order."""
        found = self._runs.get(names)
        if found is None:
            known = self._names
            found = self._runs[names] = array("i", [known.setdefault(name, len(known)) for name in names])
        return found

    def build(self) -> ColourTable:
        """Return the table."""
        return ColourTable(
            _array(self._labs).reshape(-1, 3),
            _array(self._own).reshape(-1, 3, 3),
            np.array(self._first, dtype=np.intp),
            np.array(self._name, dtype=np.int32),
            np.array(self._scope, dtype=np.int32),
            _array(self._vectors).reshape(-1, 3),
            tuple(self._names),
            tuple(self._scopes),
            np.array(self._wood, dtype=bool),
        )


def _merged(mine: tuple[str, ...], theirs: tuple[str, ...]) -> tuple[tuple[str, ...], NDArray[np.int32]]:
    """Return the texts of both, each once, and where theirs are among them."""
    index = {text: i for i, text in enumerate(mine)}
    moved = np.array([index.setdefault(text, len(index)) for text in theirs], dtype=np.int32)
    return tuple(index), moved


def _array(numbers: array[float]) -> FloatArray:
    return np.array(numbers, dtype=np.float64)


def _triple(values: Any) -> tuple[float, float, float]:  # noqa: ANN401 - an array of three
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
    return replace(effect, vector=(one, two, three))


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

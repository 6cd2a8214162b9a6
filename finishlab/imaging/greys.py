"""What is known of one print's greys: the nominal print, or the print's own greys as somebody measured them.

A print's doubts are kept as effects: named changes of all the greys for one standard deviation of something unknown.
Fitting a photo again with each of them says what that unknown does to a colour.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal, Self, cast, get_args

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness
from finishlab.imaging.strip import STRIP, PrintModel

__all__ = ["NOMINAL", "PRINT_DOUBT", "GreysOf", "GreysSource", "StripGreys", "greys_of_logs", "greys_of_print", "greys_of_readings"]

GreysSource = Literal["nominal", "typed", "photo", "screens", "raw", "seen"]

PRINT_DOUBT: Final[Mapping[str, float]] = {"black": 0.010, "gamma": 0.05, "paper": 0.03}
"""One standard deviation of the printed greys' nominal values: reflectance of black, exponent of the greys, reflectance
of paper. Common practice, no source; a strip whose greys were measured has less."""
_OWN_READING: Final = 0.3
"""Error of one instrument reading of a matt grey, L*: print unevenness and instrument (common practice, no source)."""
_COMMON_READING: Final = 0.2
"""What all readings of one instrument may be off by together, L* (common practice, no source)."""
_SHAPE: Final = (1.0, 15.0)
"""How far a print may stray from the three-figure model between two readings: standard deviation and reach, L*
(common practice, no source)."""
_STEPS: Final = 4
_LEAST: Final = 1e-3
"""Effects whose every change is below this many L* are left out."""


@dataclass(frozen=True, slots=True)
class StripGreys:
    """The greys of one print and how well they are known.

    Raises
    ------
    ValueError
        If the values are not one reflectance a level, rising from black to paper, or an effect has another length.
    """

    values: tuple[float, ...]
    """Luminous reflectance factor of each level of `STRIP.greys`, black to bare paper."""
    effects: tuple[tuple[str, tuple[float, ...]], ...]
    """Name -> change of `values` for one standard deviation of one unknown; the unknowns are independent."""
    source: GreysSource = "nominal"
    number: int | None = None
    """The strip's number; none for the nominal print."""
    learned: str = ""
    """When it was learned, ISO 8601 in UTC."""
    basis: tuple[str, ...] = ()
    """What it rests on: readings as ``level:L*``, or a photo and its known greys as ``X,Y,W,H:L*``."""

    def __post_init__(self) -> None:
        levels = len(STRIP.greys)
        if len(self.values) != levels or any(len(change) != levels for _, change in self.effects):
            raise ValueError(f"a strip has {levels} greys")
        if not all(math.isfinite(value) and value > 0 for value in self.values):
            raise ValueError("a grey's reflectance is above 0")
        if any(dark >= light for dark, light in zip(self.values, self.values[1:], strict=False)):
            raise ValueError("the greys rise from black to paper")
        if self.source not in get_args(GreysSource):
            raise ValueError(f"unknown source of greys {self.source!r}")
        if (self.source == "nominal") != (self.number is None):
            raise ValueError("greys that were learned are one numbered strip's")

    def reflectance(self, levels: Sequence[int] | np.ndarray | None = None) -> np.ndarray:
        """Return the reflectance factor of each of the levels, of all of them unless named."""
        values = np.array(self.values)
        return values if levels is None else values[np.asarray(levels)]

    def variants(self) -> dict[str, np.ndarray]:
        """Return, by effect, the levels' reflectance factors with that unknown one standard deviation up."""
        return {name: np.array(self.values) + np.array(change) for name, change in self.effects}

    @property
    def lightness(self) -> tuple[float, ...]:
        """L* of each level."""
        return tuple(float(value) for value in lightness_of_reflectance(np.array(self.values)))

    @property
    def standard_error(self) -> tuple[float, ...]:
        """One standard deviation of each level, L*."""
        base = np.array(self.lightness)
        moved = [lightness_of_reflectance(np.maximum(values, 1e-5)) - base for values in self.variants().values()]
        return (
            tuple(float(each) for each in np.sqrt((np.array(moved) ** 2).sum(axis=0))) if moved else (0.0,) * len(base)
        )

    @property
    def key(self) -> str:
        """What tells this knowledge of a strip from another: ``"nominal"``, or 12 hex digits of the figures."""
        if self.source == "nominal":
            return "nominal"
        figures = repr((self.values, self.effects)).encode()
        return hashlib.sha256(figures).hexdigest()[:12]

    @property
    def scope_ending(self) -> str:
        """What is added to a strip's scope, so that errors of different knowledge do not pass for one."""
        return "" if self.source == "nominal" else f":{self.key}"

    def settings(self) -> dict[str, Any]:
        """Return what a measurement's record says of the greys it was made with."""
        said: dict[str, Any] = {"source": self.source, "key": self.key}
        if self.source != "nominal":
            said |= {"number": self.number, "learned": self.learned}
        return said | {
            "lightness": [round(value, 2) for value in self.lightness],
            "standard_error": [round(value, 2) for value in self.standard_error],
        }

    def as_dict(self) -> dict[str, Any]:
        """Return the stored form."""
        return {
            "values": list(self.values),
            "effects": [{"name": name, "change": list(change)} for name, change in self.effects],
            "source": self.source,
            "number": self.number,
            "learned": self.learned,
            "basis": list(self.basis),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild from `as_dict`.

        Raises
        ------
        KeyError, TypeError, ValueError
            If `data` is not what `as_dict` returns.
        """
        return cls(
            values=tuple(float(value) for value in data["values"]),
            effects=tuple((str(e["name"]), tuple(float(v) for v in e["change"])) for e in data["effects"]),
            source=cast("GreysSource", data["source"]),
            number=data["number"],
            learned=str(data["learned"]),
            basis=tuple(str(each) for each in data["basis"]),
        )


GreysOf = Callable[[int], StripGreys | None]
"""Looks up what was learned of a strip by its number, which is known only once the strip is found in the photo."""


def greys_of_print(
    model: PrintModel,
    effects: Mapping[str, Mapping[str, float]] | None = None,
    *,
    source: GreysSource = "nominal",
    number: int | None = None,
    learned: str = "",
    basis: tuple[str, ...] = (),
) -> StripGreys:
    """Return the greys of a modelled print.

    Parameters
    ----------
    model
        The print.
    effects
        Name -> changes of the model's figures for one standard deviation of one unknown; without it each figure is as
        uncertain as that of a nominal print (`PRINT_DOUBT`).
    source, number, learned, basis
        See `StripGreys`.
    """
    if effects is None:
        effects = {f"print-{name}": {name: step} for name, step in PRINT_DOUBT.items()}
    grey = np.asarray(STRIP.greys)
    values = model.reflectance(grey)
    changes = {name: _moved(model, steps).reflectance(grey) - values for name, steps in effects.items()}
    return StripGreys(_tuple(values), _named(changes), source, number, learned, basis)


def _moved(model: PrintModel, steps: Mapping[str, float]) -> PrintModel:
    return replace(model, **{name: getattr(model, name) + step for name, step in steps.items()})


def _tuple(values: np.ndarray) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def _named(changes: Mapping[str, np.ndarray]) -> tuple[tuple[str, tuple[float, ...]], ...]:
    return tuple((name, _tuple(change)) for name, change in changes.items())


NOMINAL: Final = greys_of_print(PrintModel())
"""What is taken for a print nobody measured."""


def greys_of_readings(
    readings: Mapping[int, Sequence[float]], *, number: int, learned: str = "", basis: tuple[str, ...] = ()
) -> StripGreys:
    """Return a strip's greys from L* that an instrument read off its levels.

    The levels' L* are taken as one Gaussian: the nominal print with its doubts, and on top a smooth departure from it.
    Conditioning it on the readings gives the levels that were read almost as read, those that were not through the
    print's paper, black and gamma fitted to the others, and the doubt about each.

    Parameters
    ----------
    readings
        Level -> L* (D65, 2 degrees), one or more readings of it.
    number
        The strip's number.
    learned, basis
        See `StripGreys`.

    Raises
    ------
    ValueError
        If there is no reading, a level is not one of the strip's, or the greys do not come out rising.
    """
    read = sorted(level for level, values in readings.items() if len(values))
    if not read or not all(0 <= level < len(STRIP.greys) for level in read):
        raise ValueError("at least one of the strip's levels is read")
    target = np.array([float(np.mean(readings[level])) for level in read])
    own = _OWN_READING**2 / np.array([len(readings[level]) for level in read])
    noise = np.diag(own) + _COMMON_READING**2
    figures = np.array([PrintModel().paper, PrintModel().black, PrintModel().gamma])
    prior = np.diag([PRINT_DOUBT[name] ** 2 for name in ("paper", "black", "gamma")])
    at = figures
    for _ in range(_STEPS):
        base, slope = _lightness(at), _slope(at)
        covariance = slope @ prior @ slope.T + _shape_covariance(base)
        expected = base + slope @ (figures - at)
        gain = np.linalg.solve(covariance[np.ix_(read, read)] + noise, covariance[read]).T
        lightness = expected + gain @ (target - expected[read])
        share = np.linalg.solve(covariance[np.ix_(read, read)] + noise, slope[read] @ prior).T
        at = _sane(figures + share @ (target - expected[read]))
    left = covariance - gain @ covariance[read]
    if not (np.diff(lightness) > 0).all() or lightness[0] <= 0:
        raise ValueError("the greys rise from black to paper")
    values = np.asarray(reflectance_of_lightness(lightness))
    return StripGreys(_tuple(values), _axes(lightness, left), "typed", number, learned, basis)


def greys_of_logs(
    log: np.ndarray,
    covariance: np.ndarray,
    *,
    source: GreysSource,
    number: int,
    learned: str = "",
    basis: tuple[str, ...] = (),
) -> StripGreys:
    """Return a strip's greys from the natural log of its levels' reflectance factors and that log's covariance.

    Raises
    ------
    ValueError
        If the greys do not come out rising.
    """
    values = np.exp(np.asarray(log, dtype=float))
    lightness = np.asarray(lightness_of_reflectance(values))
    per_log = (lightness + 16.0) / 3.0
    effects = _axes(lightness, covariance * np.outer(per_log, per_log))
    return StripGreys(_tuple(values), effects, source, number, learned, basis)


def _sane(figures: np.ndarray) -> np.ndarray:
    return np.asarray(np.clip(figures, [0.3, 0.002, 0.3], [1.05, 0.25, 3.0]))


def _lightness(figures: np.ndarray) -> np.ndarray:
    model = PrintModel(*(float(each) for each in figures))
    return np.asarray(lightness_of_reflectance(model.reflectance(np.asarray(STRIP.greys))))


def _slope(figures: np.ndarray) -> np.ndarray:
    """Return d(L* of the levels)/d(paper, black, gamma), shape (levels, 3)."""
    steps = np.diag([1e-3, 1e-4, 1e-3])
    columns = [(_lightness(figures + s) - _lightness(figures - s)) / (2 * s.sum()) for s in steps]
    return np.stack(columns, axis=1)


def _shape_covariance(lightness: np.ndarray) -> np.ndarray:
    sigma, reach = _SHAPE
    gap = (lightness[:, None] - lightness[None, :]) / reach
    return np.asarray(sigma**2 * np.exp(-0.5 * gap**2))


def _axes(lightness: np.ndarray, covariance: np.ndarray) -> tuple[tuple[str, tuple[float, ...]], ...]:
    """Return a covariance of the levels' L* as independent effects on their reflectance, the largest first."""
    sizes, axes = np.linalg.eigh(covariance)
    changes: dict[str, np.ndarray] = {}
    for index in np.argsort(sizes)[::-1]:
        step = axes[:, index] * math.sqrt(max(float(sizes[index]), 0.0))
        if np.abs(step).max() > _LEAST:
            up, down = (np.asarray(reflectance_of_lightness(lightness + sign * step)) for sign in (0.5, -0.5))
            changes[f"print-{len(changes) + 1}"] = up - down
    return _named(changes)

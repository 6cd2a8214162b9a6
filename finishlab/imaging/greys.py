"""What is known of one print's greys: the usual print, or the print's own greys as somebody measured them.

A print's doubts are kept as effects: named changes of all the greys for one standard deviation of something unknown.
The fit to a photo takes them as unknowns beside the camera's, and says what each does to a colour.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal, Self, cast, get_args

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness
from finishlab.imaging.correction import Correction, KnownGreys
from finishlab.imaging.strip import STRIP, usual_print

GreysSource = Literal["usual", "typed", "photo", "screens", "raw", "seen"]

_OWN_READING: Final = 0.3
"""Error of one instrument reading of a matt grey, L*: print unevenness and instrument (common practice, no source)."""
_COMMON_READING: Final = 0.2
"""What all readings of one instrument may be off by together, L* (common practice, no source)."""
_LEAST: Final = 1e-4
"""Effects whose every change is below this, natural log, are left out."""


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
    source: GreysSource = "usual"
    number: int | None = None
    """The strip's number; none for the usual print, unless photos of it were logged."""
    learned: str = ""
    """When it was learned, ISO 8601 in UTC."""
    basis: tuple[str, ...] = ()
    """What it rests on: readings as ``level:L*``, or a photo and its known greys as ``X,Y,W,H:L*``."""
    photos: int = 0
    """How many logged photos of a strip that was not learned say something of it."""
    said: tuple[float, ...] = ()
    """What those say of the effects' unknowns, each photo by itself, on average."""

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
        if (self.source == "usual" and not self.photos) != (self.number is None):
            raise ValueError("greys that were learned are one numbered strip's")
        if len(self.said) != (len(self.effects) if self.photos else 0):
            raise ValueError("photos say something of every effect")

    def reflectance(self, levels: Sequence[int] | np.ndarray | None = None) -> np.ndarray:
        """Return the reflectance factor of each of the levels, of all of them unless named."""
        values = np.array(self.values)
        return values if levels is None else values[np.asarray(levels)]

    def variants(self) -> dict[str, np.ndarray]:
        """Return, by effect, the levels' reflectance factors with that unknown one standard deviation up."""
        return {name: np.array(self.values) + np.array(change) for name, change in self.effects}

    def patches(self) -> KnownGreys:
        """Return what the strip's grey areas are believed to be."""
        levels = [patch.level for patch in STRIP.patches]
        values = np.array(self.values)
        changes = np.array([change for _, change in self.effects]).reshape(-1, len(values)) / values
        names = tuple(name for name, _ in self.effects)
        return KnownGreys(values[levels], changes.T[levels], names, self.photos, np.array(self.said))

    def settled(self) -> Self:
        """Return the greys with what photos say of them."""
        if not self.photos:
            return self
        values = np.array(self.values)
        share = np.array([change for _, change in self.effects]) / values
        found = values * np.exp(np.array(self.said) @ share)
        effects = tuple(
            (name, tuple((found * row).tolist())) for (name, _), row in zip(self.effects, share, strict=True)
        )
        return replace(self, values=tuple(found.tolist()), effects=effects)

    @property
    def lightness(self) -> tuple[float, ...]:
        """L* of each level."""
        return tuple(lightness_of_reflectance(np.array(self.values)).tolist())

    @property
    def standard_error(self) -> tuple[float, ...]:
        """One standard deviation of each level, L*."""
        base = np.array(self.lightness)
        moved = [lightness_of_reflectance(np.maximum(values, 1e-5)) - base for values in self.variants().values()]
        return tuple(np.sqrt((np.array(moved) ** 2).sum(axis=0)).tolist()) if moved else (0.0,) * len(base)

    @property
    def key(self) -> str:
        """What tells this knowledge of a strip from another: ``"usual"``, or 12 hex digits of the figures."""
        if self.source == "usual":
            return "usual"
        figures = repr((self.values, self.effects)).encode()
        return hashlib.sha256(figures).hexdigest()[:12]

    @property
    def scope_ending(self) -> str:
        """What is added to a strip's scope, so that errors of different knowledge do not pass for one."""
        return f":{self.key}"

    def settings(self) -> dict[str, Any]:
        """Return what a measurement's record says of the greys it was made with."""
        said: dict[str, Any] = {"source": self.source, "key": self.key}
        if self.source == "usual":
            said["photos"] = self.photos
        else:
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


def greys_of_logs(
    log_reflectance: np.ndarray,
    departures: np.ndarray,
    source: GreysSource,
    *,
    number: int | None = None,
    learned: str = "",
    basis: tuple[str, ...] = (),
) -> StripGreys:
    """Return a strip's greys from what is believed of their logarithms.

    Parameters
    ----------
    log_reflectance
        Shape (levels,): natural logs of the reflectance factors.
    departures
        Shape (terms, levels): their change for one standard deviation of each independent unknown.
    source, number, learned, basis
        See `StripGreys`.
    """
    values = np.exp(log_reflectance)
    kept = [row for row in departures if np.abs(row).max() > _LEAST]
    effects = tuple((f"print-{i + 1}", tuple((values * row).tolist())) for i, row in enumerate(kept))
    return StripGreys(tuple(values.tolist()), effects, source, number, learned, basis)


def axes_of(covariance: np.ndarray) -> np.ndarray:
    """Return a covariance as independent departures, shape (terms, levels), the largest first."""
    sizes, axes = np.linalg.eigh(covariance)
    return np.asarray((axes * np.sqrt(np.maximum(sizes, 0.0))).T[::-1])


USUAL: Final = greys_of_logs(*usual_print(), "usual")
"""What is taken for a print nobody measured."""


def greys_found(
    believed: StripGreys, correction: Correction, *, number: int, learned: str = "", basis: tuple[str, ...] = ()
) -> StripGreys:
    """Return a strip's greys as a fit to a photo found them.

    Parameters
    ----------
    believed
        What the fit began with; its unknowns are the first of the fit's print.
    correction
        The fit. Of a phone's photo it says little, of linear light or beside known greys much.
    number, learned, basis
        See `StripGreys`.

    Raises
    ------
    ValueError
        If the greys do not come out rising.
    """
    values = np.array(believed.values)
    departures = np.array([change for _, change in believed.effects]).reshape(-1, len(values)) / values
    first = correction.layout.print.start
    part = slice(first, first + len(departures))
    log = np.log(values) + correction.parameters[part] @ departures
    left = axes_of(departures.T @ correction.covariance[part, part] @ departures)
    return greys_of_logs(log, left, "photo", number=number, learned=learned, basis=basis)


def greys_of_readings(
    readings: Mapping[int, Sequence[float]],
    *,
    number: int,
    learned: str = "",
    basis: tuple[str, ...] = (),
    believed: StripGreys = USUAL,
) -> StripGreys:
    """Return a strip's greys from L* that an instrument read off its levels.

    The levels are taken as one Gaussian, what is believed with its departures. Conditioning it on the readings gives
    the levels that were read almost as read, those that were not by what prints have in common, and the doubt about
    each.

    Parameters
    ----------
    readings
        Level -> L* (D65, 2 degrees), one or more readings of it.
    number
        The strip's number.
    learned, basis
        See `StripGreys`.
    believed
        What is known of the print without them: a usual one, or what photos told, which cannot tell its paper.

    Raises
    ------
    ValueError
        If there is no reading, a level is not one of the strip's, or the greys do not come out rising.
    """
    read = sorted(level for level, values in readings.items() if len(values))
    if not read or not all(0 <= level < len(STRIP.greys) for level in read):
        raise ValueError("at least one of the strip's levels is read")
    lightness = np.array([float(np.mean(readings[level])) for level in read])
    value = reflectance_of_lightness(lightness)
    per_unit = (reflectance_of_lightness(lightness + 0.5) - reflectance_of_lightness(lightness - 0.5)) / value
    own = _OWN_READING**2 / np.array([len(readings[level]) for level in read])
    noise = (np.diag(own) + _COMMON_READING**2) * np.outer(per_unit, per_unit)
    values = np.array(believed.values)
    departures = np.array([change for _, change in believed.effects]) / values
    usual, covariance = np.log(values), departures.T @ departures
    gain = np.linalg.solve(covariance[np.ix_(read, read)] + noise, covariance[read]).T
    found = usual + gain @ (np.log(value) - usual[read])
    left = axes_of(covariance - gain @ covariance[read])
    source: GreysSource = "typed" if believed.source == "usual" else believed.source
    return greys_of_logs(found, left, source, number=number, learned=learned, basis=(*believed.basis, *basis))

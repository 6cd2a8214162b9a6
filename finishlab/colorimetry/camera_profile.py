"""How one camera sees colours in one light, learned from a chart: corrected RGB -> linear sRGB.

Two things are learned together: how much the camera's picture mode boosts saturation, which a grey strip cannot see,
and what is left of the difference between the camera's colours and true ones, in one of two forms. Both forms are exact
on greys of any level and blind to exposure: a 3 x 3 matrix, and the root-polynomial of degree 2 (G. D. Finlayson, M.
Mackiewicz, A. Hurlbert, IEEE Trans. Image Process. 24 (2015) 1460-1470), whose terms r, g, b, sqrt(rg), sqrt(gb),
sqrt(rb) all grow as the exposure does. Each row of coefficients sums to one, so that r = g = b is kept.

How strongly the coefficients are held at those of a camera that sees as sRGB does, and which form is kept, is decided
on patches left out of the fit, one after another.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, Final, Literal, Self

import numpy as np

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import lab_jacobian, rgb_to_lab
from finishlab.record import Record

ProfileKind = Literal["matrix", "root-polynomial"]

Colours = Callable[[float], np.ndarray]
"""The patches' corrected linear RGB, shape (N, 3), once a boost of saturation is taken out of the photo."""

_TERMS: Final[dict[ProfileKind, int]] = {"matrix": 3, "root-polynomial": 6}
_GAIN: Final = (0.02, 0.1)
"""CIEDE2000, and share of the matrix's error, by which the root-polynomial must do better on left-out patches: 24
patches know a mean error to about a tenth."""
_HOLDS: Final = (0.02, 0.05, 0.1, 0.2)
"""Standard deviations of a coefficient about the identity's that are tried."""
_STEPS: Final = 6
LEAST_PATCHES: Final = 8
"""Patches a profile is fitted to at least."""
_WOOD: Final = np.array([58.0, 8.0, 24.0])
"""The middle of wood colours in CIELAB, as in `finishlab.colorimetry.difference`."""
_REACH: Final = 20.0
"""CIEDE2000 from it at which a patch counts half: a profile for wood need not be best at cyan."""
_SCATTER: Final = (0.2, 3.0)
"""Bounds of a patch's usual departure, CIELAB units: what few patches say of it is not followed beyond."""
_NODES: Final = (6, 3)
"""Boosts at which the patches' colours are asked for, and the order of the polynomial that is laid through them."""


@dataclass(frozen=True, slots=True)
class ProfileErrors:
    """CIEDE2000 errors over the chart's patches."""

    mean: float
    max: float
    wood: float
    """Mean with patches counted by how near they are to wood's colours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraProfile(Record):
    """A camera's colours in one light.

    Raises
    ------
    ValueError
        If the coefficients do not fit the kind, do not keep greys, or a figure is not finite.
    """

    camera: str = ""
    """EXIF make and model."""
    light: str = ""
    """In the user's words, spelt as the logbook spells lights."""
    kind: ProfileKind
    coefficients: tuple[tuple[float, ...], ...]
    """Three rows, one a channel of linear sRGB; columns r, g, b and, of a root-polynomial, the three roots."""
    saturation: tuple[float, float]
    """The boost to take out of a photo before the coefficients are applied, and its standard deviation."""
    doubts: tuple[tuple[float, ...], ...]
    """Independent departures of one standard deviation: each of all coefficients, row by row, and of the boost."""
    chart: str = ""
    """Edition of the chart's reference values."""
    fitted: ProfileErrors
    """On the patches the fit was made on."""
    left_out: ProfileErrors
    """On each patch by the fit to the others: what other colours can expect."""
    date: dt.date | None = None
    """Day it was learned."""
    photo_id: str = ""
    """First 16 hex digits of the SHA-256 of the chart's photo."""

    def __post_init__(self) -> None:
        if self.kind not in _TERMS:
            raise ValueError(f"unknown kind of profile {self.kind!r}")
        rows, count = np.asarray(self.coefficients, dtype=float), _TERMS[self.kind]
        if rows.shape != (3, count) or not np.isfinite(rows).all():
            raise ValueError(f"a {self.kind} profile has 3 x {count} finite coefficients")
        if np.abs(rows.sum(axis=1) - 1.0).max() > 1e-9:
            raise ValueError("each row of coefficients sums to one, or greys would not stay grey")
        if not all(len(doubt) == 3 * count + 1 and np.isfinite(doubt).all() for doubt in self.doubts):
            raise ValueError("a doubt moves every coefficient and the boost")
        if not (np.isfinite(self.saturation).all() and self.saturation[0] > 0.0 and self.saturation[1] >= 0.0):
            raise ValueError("a boost is positive, and so is its standard deviation")

    def apply(self, rgb: np.ndarray) -> np.ndarray:
        """Return linear sRGB of corrected RGB, shape (..., 3), whose boost was taken out; a grey stays what it is."""
        return np.asarray(_terms(rgb, self.kind) @ np.asarray(self.coefficients).T)

    def variants(self) -> list[CameraProfile]:
        """Return the profile with each of its independent doubts one standard deviation up."""
        rows = np.asarray(self.coefficients)
        out = []
        for doubt in self.doubts:
            moved = rows + np.reshape(doubt[:-1], rows.shape)
            moved = moved / moved.sum(axis=1, keepdims=True)
            boost = (self.saturation[0] + doubt[-1], self.saturation[1])
            out.append(replace(self, coefficients=_tuples(moved), saturation=boost))
        return out

    def named(self, camera: str, light: str, chart: str, *, date: dt.date, photo_id: str) -> Self:
        """Return the profile with what it was learned from."""
        return replace(self, camera=camera, light=light, chart=chart, date=date, photo_id=photo_id)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild a profile from `as_dict`."""
        given = {each.name: data[each.name] for each in fields(cls)}
        given |= {name: tuple(tuple(row) for row in data[name]) for name in ("coefficients", "doubts")}
        given |= {name: ProfileErrors(**data[name]) for name in ("fitted", "left_out")}
        boost, sigma = data["saturation"]
        date = data["date"] and dt.date.fromisoformat(data["date"])
        return cls(**given | {"saturation": (float(boost), float(sigma)), "date": date})

    def summary(self) -> dict[str, Any]:
        """Return what a result says of the profile it was made with."""
        left_out = ("coefficients", "doubts", "fitted")
        return {name: value for name, value in self.as_dict().items() if name not in left_out}


def fit_profile(
    colours: np.ndarray | Colours,
    reference: np.ndarray,
    kind: ProfileKind | None = None,
    *,
    saturation: tuple[float, float] = (1.0, 0.0),
) -> CameraProfile:
    """Fit a profile to patches of known colour and find how well it does on patches it has not seen.

    Parameters
    ----------
    colours
        Corrected linear RGB of the patches, 1.0 a perfect white, shape (N, 3), N at least 8: as they are when a boost
        of saturation is taken out, which is then found together with the coefficients; or an array, whose boost is
        already out.
    reference
        Shape (N, 3): their CIELAB D65 2 degrees.
    kind
        The form to fit; without it the matrix, unless the other is clearly better on left-out patches.
    saturation
        Mean and standard deviation of the boost before the patches are seen. With an array: of the boost that was
        taken out of it; it stays.

    Returns
    -------
    CameraProfile
        Without names; see `CameraProfile.named`.

    Raises
    ------
    ValueError
        If the arrays do not fit each other or hold too few patches.
    """
    reference = np.asarray(reference, dtype=float)
    seen = np.asarray(colours(saturation[0]) if callable(colours) else colours, dtype=float)
    if seen.shape != reference.shape or seen.ndim != 2 or seen.shape[1] != 3 or len(seen) < LEAST_PATCHES:
        raise ValueError(f"a profile needs at least {LEAST_PATCHES} patches, (N, 3) both as taken and as they are")
    if not (np.isfinite(seen).all() and np.isfinite(reference).all()):
        raise ValueError("a patch is not finite")
    powers = _by_boost(colours, saturation) if callable(colours) else seen[None]
    if kind is not None:
        return _best(_Patches(powers, reference, kind, saturation))
    plain = _best(_Patches(powers, reference, "matrix", saturation))
    rooted = _best(_Patches(powers, reference, "root-polynomial", saturation))
    gain = plain.left_out.wood - rooted.left_out.wood
    return rooted if gain > max(_GAIN[0], _GAIN[1] * plain.left_out.wood) else plain


@dataclass(frozen=True, eq=False, slots=True)
class _Fit:
    """What one fit found: coefficients' departures, row by row without each row's own channel, and the boost last."""

    theta: np.ndarray
    covariance: np.ndarray


@dataclass(frozen=True, eq=False, slots=True)
class _Patches:
    """The patches, the form to fit to them, and what is believed of the boost."""

    powers: np.ndarray
    """Shape (n, N, 3): the patches' colours as a polynomial of the boost beyond its mean, lowest order first."""
    reference: np.ndarray
    kind: ProfileKind
    saturation: tuple[float, float]

    @property
    def count(self) -> int:
        return _TERMS[self.kind]

    @property
    def spread(self) -> np.ndarray:
        """How much a* and b* of strong colours count beside L*, as CIEDE2000 has it (its S_C), shape (N, 3)."""
        tone = 1.0 / (1.0 + 0.045 * np.hypot(self.reference[:, 1], self.reference[:, 2]))
        return np.stack([np.ones_like(tone), tone, tone], axis=1)

    def terms(self, boost: float) -> np.ndarray:
        rgb = np.polynomial.polynomial.polyval(boost - self.saturation[0], self.powers)
        return _terms(np.asarray(rgb), self.kind)

    def terms_by_boost(self, boost: float) -> np.ndarray:
        if len(self.powers) == 1:
            return np.zeros((len(self.reference), self.count))
        step = 1e-3
        return np.asarray((self.terms(boost + step) - self.terms(boost - step)) / (2 * step))

    def lab(self, fit: _Fit) -> np.ndarray:
        return rgb_to_lab(self.terms(float(fit.theta[-1])) @ _rows(fit.theta[:-1], self.count).T)


def _by_boost(colours: Colours, saturation: tuple[float, float]) -> np.ndarray:
    """Return colours as a polynomial of the boost beyond its mean, shape (order + 1, N, 3)."""
    mean, sigma = saturation
    steps = np.linspace(-3.0, 3.0, _NODES[0]) * max(sigma, 0.01)
    seen = np.array([np.asarray(colours(mean + step), dtype=float) for step in steps])
    powers = np.polynomial.polynomial.polyfit(steps, seen.reshape(len(steps), -1), _NODES[1])
    return np.asarray(powers.reshape(-1, *seen.shape[1:]))


def _best(patches: _Patches) -> CameraProfile:
    """Return the fit whose hold does best on left-out patches near wood's colours."""
    near = _nearness(patches.reference)
    everyone = np.ones(len(near), dtype=bool)
    tried = []
    for hold in _HOLDS:
        left_out = np.empty_like(patches.reference)
        for i in range(len(near)):
            others = everyone.copy()
            others[i] = False
            left_out[i] = patches.lab(_solve(patches, hold, others))[i]
        tried.append((_errors(left_out, patches.reference), hold))
    errors, hold = min(tried, key=lambda each: each[0].wood)
    found = _solve(patches, hold, everyone)
    axes, sizes = _axes(found.covariance)
    doubts = [_coefficients_moved(axis * size, patches.count) for axis, size in zip(axes.T, sizes, strict=True)]
    return CameraProfile(
        kind=patches.kind,
        coefficients=_tuples(_rows(found.theta[:-1], patches.count)),
        saturation=(float(found.theta[-1]), float(np.sqrt(found.covariance[-1, -1]))),
        doubts=_tuples(doubts),
        fitted=_errors(patches.lab(found), patches.reference),
        left_out=errors,
    )


def _solve(patches: _Patches, hold: float, used: np.ndarray) -> _Fit:
    """Return coefficients and boost with the least squares of CIELAB errors over the patches that are used.

    Gauss-Newton steps from the identity; the scatter of the patches sets what the priors weigh against them.
    """
    count = patches.count
    others = [[i for i in range(count) if i != k] for k in range(3)]
    free = 3 * (count - 1)
    start = np.append(np.zeros(free), patches.saturation[0])
    prior = np.append(np.full(free, hold), max(patches.saturation[1], 1e-6)) ** -2
    weight = (patches.spread * np.sqrt(_nearness(patches.reference))[:, None])[used]
    theta, scatter = start, 1.0
    for _ in range(_STEPS):
        boost = float(theta[-1])
        terms = patches.terms(boost)[used]
        rows = _rows(theta[:-1], count)
        rgb = terms @ rows.T
        to_lab = lab_jacobian(rgb) * weight[..., None]
        design = np.empty((len(terms), 3, free + 1))
        for k in range(3):
            bends = terms[:, others[k]] - terms[:, [k]]
            design[:, :, k * (count - 1) : (k + 1) * (count - 1)] = to_lab[:, :, k, None] * bends[:, None, :]
        design[:, :, -1] = np.einsum("nik,nk->ni", to_lab, patches.terms_by_boost(boost)[used] @ rows.T)
        off = ((patches.reference[used] - rgb_to_lab(rgb)) * weight).ravel()
        flat = design.reshape(-1, free + 1)
        normal = flat.T @ flat / scatter**2 + np.diag(prior)
        theta = theta + np.linalg.solve(normal, flat.T @ off / scatter**2 - prior * (theta - start))
        scatter = float(np.clip(np.sqrt((off**2).sum() / (weight**2).sum()), *_SCATTER))
    return _Fit(theta, np.linalg.inv(normal))


def _errors(lab: np.ndarray, reference: np.ndarray) -> ProfileErrors:
    off = delta_e_00(lab, reference)
    near = _nearness(reference)
    return ProfileErrors(float(np.mean(off)), float(np.max(off)), float(near @ off / near.sum()))


def _nearness(reference: np.ndarray) -> np.ndarray:
    """Return how much each patch counts, shape (N,)."""
    return np.asarray(1.0 / (1.0 + (delta_e_00(reference, _WOOD) / _REACH) ** 2))


def _rows(free: np.ndarray, count: int) -> np.ndarray:
    """Return the coefficients, shape (3, terms): a row's own channel takes what keeps its sum at one."""
    return np.eye(3, count) + np.reshape(_coefficients_moved(free, count), (3, count))


def _coefficients_moved(theta: np.ndarray, count: int) -> np.ndarray:
    """Return how departures move all coefficients, row by row; what follows them (the boost) stays behind them."""
    out = np.zeros((3, count))
    for k in range(3):
        others = [i for i in range(count) if i != k]
        out[k, others] = theta[k * (count - 1) : (k + 1) * (count - 1)]
        out[k, k] = -out[k, others].sum()
    return np.append(out.ravel(), theta[3 * (count - 1) :])


def _axes(covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return a covariance's axes as columns and their standard deviations, the largest first."""
    sizes, axes = np.linalg.eigh(covariance)
    return axes[:, ::-1], np.sqrt(np.maximum(sizes[::-1], 0.0))


def _tuples(rows: np.ndarray | list[np.ndarray]) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(float(value) for value in row) for row in rows)


def _terms(rgb: np.ndarray, kind: ProfileKind) -> np.ndarray:
    """Return the terms of a colour, shape (..., 3) or (..., 6); a negative channel has no root."""
    rgb = np.asarray(rgb, dtype=float)
    if kind == "matrix":
        return rgb
    r, g, b = np.moveaxis(np.sqrt(np.maximum(rgb, 0.0)), -1, 0)
    return np.concatenate([rgb, np.stack([r * g, g * b, r * b], axis=-1)], axis=-1)

"""Undo what the phone and the room did: one joint fit of tone curve, white balance, light field and veiling glare.

The model of one reading, channel k, at a place p on a grey of reflectance R::

    log(E_k(p) R + g_k)  =  t(u) + c_k(u) + error,        u = log of the file's linear value

``t`` is one smooth tone curve common to the channels, ``c_k`` a channel's own offset (white balance) with small
departures; ``log E_k`` is a low-order polynomial of the place common to the channels plus a small tint; ``g_k`` is the
veiling glare. ``log R`` itself is the usual print's plus the print's own departures: the strip shows only tone and
print together, and the fit shares what it sees between the two by how far each is believed to stray. A few Gauss-Newton
steps do. What a strip cannot decide alone is held by written priors instead of by leaving terms out, so the covariance
of the answer stays honest. Readings that fit badly lose weight, down to nothing for a patch under a hand.

docs/decisions/0004-joint-fit.md records the trial of this against simpler fits, 0019-print-and-camera.md how the blame
is shared.

**Tone** is believed in before a photo is seen. Beside greys that nobody measured, the camera is the better known of the
two, but not by its straightness: phones press highlights together and steepen the middle, and where on the curve a grey
lies is told by its code. The belief is therefore laid over the codes themselves: a usual curve and a few smooth
departures from it, each a unit Gaussian. docs/decisions/0019-print-and-camera.md has the figures.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from typing import Final

import numpy as np

from finishlab.imaging.strip import STRIP

_GRID: Final = np.linspace(-9.0, 0.0, 181)
"""Natural log of the file's linear values (sRGB-decoded codes) that curves are tabulated at."""
_SLOPE_AT: Final = (-9.0, -3.5, -2.3, -1.6, -1.2, -0.8, -0.5, -0.2, -0.1, 0.0)
_SLOPE: Final = (0.82, 0.80, 0.83, 0.89, 0.97, 1.09, 1.25, 1.48, 1.67, 1.98)
"""Usual slope of log light against log code at those logs."""
_COMMON: Final = 0.05
"""Relative standard deviation of the slope, the same at all codes."""
_LOCAL: Final = (0.07, 0.9)
"""The same from code to code, and over how much of the log it stays alike."""
_TOP: Final = (0.4, 0.25)
"""The same again, added towards the brightest codes, and over how much of the log it fades."""
_USED: Final = (-4.5, -0.15)
"""Logs that a photo's greys usually span; the departures are told apart there."""
_MODES: Final = 9


@dataclass(frozen=True, eq=False, slots=True)
class TonePrior:
    """A usual curve from the log of a linear value to the log of light, and independent departures from it.

    Beyond the grid curves go on straight; their height is left to the photo's exposure.
    """

    name: str
    """What its departures are called."""
    grid: np.ndarray
    """Shape (n,): logs of linear values, rising."""
    mean: np.ndarray
    """Shape (n,): log light."""
    modes: np.ndarray
    """Shape (n, terms): change of log light for one standard deviation of each departure."""

    @property
    def terms(self) -> int:
        """How many departures there are."""
        return int(self.modes.shape[1])

    def usual(self, u: np.ndarray) -> np.ndarray:
        """Return the usual curve at logs of linear values, same shape."""
        return np.asarray(np.interp(u, self.grid, self.mean))

    def departures(self, u: np.ndarray | float) -> np.ndarray:
        """Return the departures at logs of linear values, shape (..., terms)."""
        at = np.asarray(u, dtype=float)
        part = np.clip(np.searchsorted(self.grid, at), 1, len(self.grid) - 1)
        share = np.clip((at - self.grid[part - 1]) / (self.grid[part] - self.grid[part - 1]), 0.0, 1.0)[..., None]
        return np.asarray(self.modes[part - 1] + share * (self.modes[part] - self.modes[part - 1]))


def _integrated(slope: np.ndarray) -> np.ndarray:
    """Return the integral over the grid from its upper end, of one slope or of columns of them."""
    step = np.diff(_GRID)
    pieces = (slope[1:] + slope[:-1]) / 2 * (step if slope.ndim == 1 else step[:, None])
    return np.asarray(np.concatenate([np.zeros_like(slope[:1]), np.cumsum(pieces, axis=0)]) - pieces.sum(axis=0))


@cache
def phone_tone() -> TonePrior:
    """Return what is believed of the tone curve of a phone or camera that saves developed pictures."""
    slope = np.interp(_GRID, _SLOPE_AT, _SLOPE)
    near, reach = _LOCAL
    top = np.exp(_GRID / _TOP[1])
    spread = _COMMON**2 + near**2 * _alike(reach) + np.outer(top, top) * _TOP[0] ** 2
    kernel = slope[:, None] * spread * slope
    return TonePrior("tone", _GRID, _integrated(slope), _departures(kernel))


@cache
def straight_tone(sigma: float = 0.02) -> TonePrior:
    """Return what is believed of linear light: a slope of one, give or take lens flare and black level.

    Parameters
    ----------
    sigma
        Standard deviation of the slope; common practice, no source.
    """
    kernel = sigma**2 * (0.5 + 0.5 * _alike(_LOCAL[1]))
    return TonePrior("linear", _GRID, _integrated(np.ones_like(_GRID)), _departures(kernel))


def _alike(reach: float) -> np.ndarray:
    """Return how alike slopes are from code to code: Matern's covariance of order 3/2, which allows a sudden bend."""
    gap = np.sqrt(3.0) * np.abs(_GRID[:, None] - _GRID[None, :]) / reach
    return np.asarray((1.0 + gap) * np.exp(-gap))


def _departures(kernel: np.ndarray) -> np.ndarray:
    """Return the largest independent departures, shape (n, terms), of curves whose slopes have a covariance.

    Height is left out, as the mean over the codes in use; largest means there.
    """
    used = (np.abs(_GRID - sum(_USED) / 2) <= (_USED[1] - _USED[0]) / 2).astype(float)
    lift = _integrated(np.eye(len(_GRID)))
    lift -= used @ lift / used.sum()
    covariance = lift @ kernel @ lift.T
    weighted = covariance * np.sqrt(np.outer(used, used))
    sizes, axes = np.linalg.eigh(weighted)
    order = np.argsort(sizes)[::-1][:_MODES]
    # Regress every code's departure on the axes, so that the curves go on beyond the codes in use.
    return np.asarray(covariance @ (np.sqrt(used)[:, None] * axes[:, order]) / np.sqrt(sizes[order]))


_CENTRE: Final = np.array([STRIP.width / 2, STRIP.height / 2])
_REACH: Final = 90.0
"""Millimetres that count as 1 in the light field's coordinates: about half the strip's length."""
_DARK: Final = 0.06
"""Reflectance below which a grey is read as black ink: glare and ink make it less certain."""
_ENOUGH: Final = 10
"""Trusted readings below which all are taken alike."""
_STEPS: Final = 14
_SETTLING: Final = 8
"""Steps of least absolute residuals before wrong readings are cast out."""
_DONE: Final = 1e-3
"""Largest change of any parameter in a step after which the fit stands: a thousandth of a deviation, or of a log."""
_LOOSEST: Final = 2.0
"""Largest usual misfit, in expected errors, that the weights follow."""
_ACROSS: Final = np.array([[1.0, 1.0, 1.0], [1.0, -1.0, 0.0], [1.0, 1.0, -2.0]]) / np.sqrt([[3.0], [2.0], [6.0]])
"""The channels' mean and their differences, as a rotation, shape (3, 3)."""
_CODES: Final = (-4.5, 0.0)
"""Logs of linear values over which the channels depart from one another."""
_SETTLED: Final = 1e-4
"""What photos say of a print is alike to this, in standard deviations: as where one is measured again."""
_LEAST_SLOPE: Final = 0.2
"""Least slope of log light against log code that is believed."""
_BEYOND: Final = 5.0
"""How far tone curves go on straight beyond their grid."""
_LOST: Final = 1000.0
"""Misfit, in expected errors, of a fit that found no answer at all."""
_FLOOR: Final = 1e-5
"""Smallest linear value whose logarithm is taken."""


@dataclass(frozen=True, slots=True)
class FitPriors:
    """Standard deviations, in natural-log units unless said, of what the strip alone cannot decide."""

    tone: TonePrior = field(default_factory=phone_tone)
    """The common tone curve."""
    channel: tuple[float, ...] = (0.04, 0.02)
    """Legendre orders 1.. of a channel's departure from the common curve, over `_CODES`."""
    light_plane: float = 0.5
    light_bend: float = 0.02
    tint_plane: float = 0.01
    glare: tuple[float, float] = (0.008, 0.008)
    """Veiling glare, as a share of a perfect white's light at the strip's centre: what is usual, and its deviation. It
    only ever adds light (common practice, no source for how much)."""
    reading: float = 0.006
    """Error of one patch reading that its channels share: evenness of the print and of the light."""
    black_reading: float = 0.04
    channel_reading: float = 0.01
    """Error of one patch reading in each channel by itself: noise, and casts of inks that are mixed to grey."""

    @classmethod
    def for_linear(cls, base: FitPriors | None = None) -> FitPriors:
        """Return priors for a file of linear light: its tone curve is straight."""
        return replace(base or cls(), tone=straight_tone(), channel=(0.005, 0.003))


@dataclass(frozen=True, eq=False, slots=True)
class PatchReadings:
    """What the photo says of the strip's greys."""

    places: np.ndarray
    """Shape (N, 2): where, in millimetres of the strip frame."""
    values: np.ndarray
    """Shape (N, 3): linear values of the file, 0..1."""
    usable: np.ndarray
    """Shape (N,), bool: False where a patch is hidden, uneven, clipped or outside the photo."""
    trusted: np.ndarray | None = None
    """Shape (N,), bool: the patches to start from; the others come in only if they agree. None trusts all alike."""


@dataclass(frozen=True, eq=False, slots=True)
class KnownGreys:
    """What the greys are believed to be, reading by reading."""

    reflectance: np.ndarray
    """Shape (N,): reflectance factors."""
    departures: np.ndarray
    """Shape (N, unknowns): change of their natural logs for one standard deviation of each unknown."""
    names: tuple[str, ...]
    """What each unknown is called."""
    photos: int = 0
    """How many other photos of the same greys were measured."""
    said: np.ndarray = field(default_factory=lambda: np.zeros(0))
    """Shape (unknowns,): what those said of the unknowns, each by itself, on average."""

    @classmethod
    def exact(cls, reflectance: np.ndarray) -> KnownGreys:
        """Return greys about which nothing is unknown."""
        values = np.asarray(reflectance, dtype=float)
        return cls(values, np.zeros((len(values), 0)), ())


def light_basis(places: np.ndarray) -> np.ndarray:
    """Return the light field's terms at places in millimetres: x, y, x^2, xy, y^2, shape (..., 5)."""
    p = (np.asarray(places, dtype=float) - _CENTRE) / _REACH
    x, y = p[..., 0], p[..., 1]
    return np.stack([x, y, x * x, x * y, y * y], axis=-1)


class _Parameters:
    """Where each group of parameters stands in the vector."""

    def __init__(self, priors: FitPriors, print_terms: int) -> None:
        self.prior, self.channel_terms = priors.tone, len(priors.channel)
        sizes = (priors.tone.terms, 3, *[self.channel_terms] * 3, 5, 2, 2, 2, 3, print_terms)
        ends = np.cumsum(sizes).tolist()
        parts = [slice(end - size, end) for size, end in zip(sizes, ends, strict=True)]
        self.tone, self.offset, self.channel = parts[0], parts[1], parts[2:5]
        self.light, self.tint, self.glare, self.print = parts[5], parts[6:9], parts[9], parts[10]
        self.size: int = ends[-1]
        self.bends = _bends(priors.tone.grid, self.channel_terms)
        """A channel's own departures over the prior's grid, which every step of a fit asks for."""

    def prior_sigma(self, priors: FitPriors) -> np.ndarray:
        sigma = np.full(self.size, np.inf)
        sigma[self.tone] = sigma[self.print] = 1.0
        for k in range(3):
            sigma[self.channel[k]] = priors.channel
            sigma[self.tint[k]] = priors.tint_plane
        sigma[self.light] = [priors.light_plane] * 2 + [priors.light_bend] * 3
        sigma[self.glare] = priors.glare[1]
        return sigma


@dataclass(frozen=True, eq=False, slots=True)
class Correction:
    """How to turn the file's linear values at a place into reflectance factors, with the fit's own uncertainty."""

    parameters: np.ndarray
    covariance: np.ndarray
    """Of the parameters, from readings and priors, widened by what the residuals show beyond the expected."""
    alone: np.ndarray
    """Shape (unknowns,): what this photo by itself says of the greys' unknowns, in standard deviations."""
    believed: np.ndarray
    """Shape (parameters, parameters): in column j, how far the answer is off if parameter j truly is one standard
    deviation of its prior up; 0 where it has none. With the readings' noise they make up `covariance`."""
    layout: _Parameters
    curves: np.ndarray
    """Shape (3, 2, n): tables (u, log exposure) of the channels' tone curves."""
    misfit: float
    """Root mean square of the residuals over the expected error; about 1 where light and tone are smooth."""
    residual: float
    """Root mean square residual of the greys above black, as a relative error."""
    weights: np.ndarray
    """Shape (readings,): how much each was believed, 0..1; 0 where it was not usable."""
    greys_seen: tuple[float, float]
    """Darkest and lightest reflectance the fit rests on."""

    @property
    def glare(self) -> np.ndarray:
        """Veiling glare of the three channels, shape (3,), as reflectance at the strip's centre."""
        return np.asarray(self.parameters[self.layout.glare])

    def greys_of(self, known: KnownGreys) -> np.ndarray:
        """Return what the greys were found to be, shape (N,): as believed, with what the photo shows of them."""
        return np.asarray(known.reflectance * np.exp(known.departures @ self.parameters[self.layout.print]))

    @property
    def strangeness(self) -> float:
        """How far a phone's tone curve strays from usual ones at most, in standard deviations of what is believed."""
        return (
            0.0
            if self.layout.prior.name != "tone"
            else float(np.abs(self.parameters[self.layout.tone]).max(initial=0.0))
        )

    @property
    def cast(self) -> np.ndarray:
        """The colour that the file gives a grey, shape (3,): factors on its linear channels about their middle."""
        offsets = self.parameters[self.layout.offset]
        return np.asarray(np.exp(offsets.mean() - offsets))

    def exposure(self, values: np.ndarray) -> np.ndarray:
        """Return scene-linear exposure ``E R + g`` of the file's linear values, shape (..., 3)."""
        u = np.log(np.maximum(np.asarray(values, dtype=float), _FLOOR))
        out = np.empty(u.shape)
        for k in range(3):
            curve = self.curves[k]
            out[..., k] = np.exp(np.interp(u[..., k], curve[0], curve[1]))
        return out

    def exposure_table(self, decode: np.ndarray) -> np.ndarray:
        """Return scene-linear exposure for each code, shape (codes, 3), float32, given the file's decoding table."""
        return self.exposure(np.repeat(decode[:, None], 3, axis=1)).astype(np.float32)

    def light(self, places: np.ndarray) -> np.ndarray:
        """Return the light E of the three channels, relative to the strip's centre, shape (..., 3)."""
        where = self.layout
        basis = light_basis(places)
        common = basis @ self.parameters[where.light]
        tint = np.stack([basis[..., :2] @ self.parameters[where.tint[k]] for k in range(3)], axis=-1)
        return np.asarray(np.exp(common[..., None] + tint))

    def reflectance(self, values: np.ndarray, places: np.ndarray) -> np.ndarray:
        """Return reflectance factors in the file's primaries, shape (..., 3).

        Parameters
        ----------
        values
            Shape (..., 3), linear values of the file.
        places
            Shape (..., 2), millimetres of the strip frame.
        """
        return np.asarray((self.exposure(values) - self.glare) / self.light(places))

    def value_of(self, reflectance: np.ndarray, place: np.ndarray) -> np.ndarray:
        """Return the file's linear value of a reflectance at a place, shape (3,): the inverse of `reflectance`."""
        exposure = np.maximum(np.asarray(reflectance) * self.light(place) + self.glare, _FLOOR)
        out = np.empty(3)
        for k in range(3):
            curve = self.curves[k]
            out[k] = np.exp(np.interp(np.log(exposure[k]), curve[1], curve[0]))
        return out

    def reflectance_jacobian(self, reflectance: np.ndarray, place: np.ndarray) -> np.ndarray:
        """Return d(reflectance)/d(parameters) at one reflectance (file's primaries) and place: (3, parameters)."""
        where = self.layout
        light = self.light(place)
        exposure = np.asarray(reflectance) * light + self.glare
        u = np.log(self.value_of(reflectance, place))
        tone, bends = where.prior.departures(u), _bends(u, where.channel_terms)
        basis = light_basis(place)
        out = np.zeros((3, where.size))
        for k in range(3):
            per_log = exposure[k] / light[k]
            out[k, where.tone] = tone[k] * per_log
            out[k, where.offset.start + k] = per_log
            out[k, where.channel[k]] = bends[k] * per_log
            out[k, where.light] = -basis * reflectance[k]
            out[k, where.tint[k]] = -basis[:2] * reflectance[k]
            out[k, where.glare.start + k] = -1.0 / light[k]
        return out


def _bends(u: np.ndarray, count: int) -> np.ndarray:
    """Return a channel's own departures at logs of linear values, shape (..., count)."""
    t = np.clip(2 * (u - _CODES[0]) / (_CODES[1] - _CODES[0]) - 1, -1.0, 1.0)
    return np.polynomial.legendre.legvander(t, count)[..., 1:]


def _curves(parameters: np.ndarray, where: _Parameters) -> np.ndarray:
    """Return the channels' tone curves as tables (u, log exposure), shape (3, 2, n).

    They go on straight beyond the grid and always rise.
    """
    grid = where.prior.grid
    common = where.prior.mean + where.prior.modes @ parameters[where.tone]
    m = np.stack(
        [common + parameters[where.offset.start + k] + where.bends @ parameters[where.channel[k]] for k in range(3)]
    )
    steps = np.maximum(np.diff(m, axis=1), _LEAST_SLOPE * np.diff(grid))
    mended = np.concatenate([np.zeros((3, 1)), np.cumsum(steps, axis=1)], axis=1)
    middle = len(grid) * 7 // 8  # where greys are read; what was mended lies beyond them
    m = mended + (m - mended)[:, middle : middle + 1]
    ends = steps[:, [0, -1]] / np.diff(grid)[[0, -1]] * _BEYOND
    m = np.concatenate([m[:, :1] - ends[:, :1], m, m[:, -1:] + ends[:, 1:]], axis=1)
    u = np.concatenate([grid[:1] - _BEYOND, grid, grid[-1:] + _BEYOND])
    return np.stack([np.broadcast_to(u, m.shape), m], axis=1)


def fit_correction(
    readings: PatchReadings,
    greys: KnownGreys | np.ndarray,
    priors: FitPriors | None = None,
    start: Correction | None = None,
) -> Correction:
    """Fit tone, white balance, light, glare and what is not known of the greys at once.

    Parameters
    ----------
    readings
        The greys as read.
    greys
        What each of them is believed to be; reflectance factors alone, shape (N,), are taken as exactly known.
    priors
        What is believed before the photo is seen. They also let a single grey do: the tone curve then stays the usual.
    start
        A fit to the same greys read slightly otherwise, to start from: then two steps do.

    Returns
    -------
    Correction

    Raises
    ------
    ValueError
        If no grey is usable.
    """
    given = greys if isinstance(greys, KnownGreys) else KnownGreys.exact(greys)
    priors = priors or FitPriors()
    free = _fit(readings, given, priors, start)
    if not given.photos:
        return free
    # One print lies behind all its photos: the mean of what they say errs less than each, and alike in all.
    settled = (given.photos * given.said + free.alone) / (given.photos + 1)
    if np.allclose(settled, free.alone, rtol=0.0, atol=_SETTLED):
        return free
    exact = KnownGreys.exact(given.reflectance * np.exp(given.departures @ settled))
    held = _fit(readings, exact, priors, replace(free, parameters=free.parameters[: free.layout.print.start]))
    return replace(free, parameters=np.concatenate([held.parameters, settled]), curves=held.curves)


def _fit(readings: PatchReadings, given: KnownGreys, priors: FitPriors, start: Correction | None) -> Correction:
    use = np.flatnonzero(readings.usable)
    if not use.size:
        raise ValueError("no usable grey")
    where = _Parameters(priors, len(given.names))
    seen = _Greys.of(readings, given, priors, use)
    first = _first(readings, seen, where, priors, use) if start is None else (start.parameters, start.weights[use])
    found = _solved(seen, where, priors, first, again=start is not None)
    robust, misfit = found.robust, found.misfit
    dof = max(1.0, float(robust.sum()) * 3 - 14)
    chi = float(np.sqrt((robust[:, None] * misfit**2).sum() / dof))
    kept = ~seen.dark & (robust > 0.3)
    lit = (misfit * seen.scale)[kept] if kept.any() else misfit * seen.scale
    weights = np.zeros(readings.usable.size)
    weights[use] = robust
    known = given.reflectance[use]
    return Correction(
        parameters=found.theta,
        covariance=found.covariance * max(1.0, chi) ** 2,
        alone=found.theta[where.print],
        believed=found.covariance / where.prior_sigma(priors),
        layout=where,
        curves=_curves(found.theta, where),
        misfit=chi,
        residual=float(np.sqrt((lit**2).mean())),
        weights=weights,
        greys_seen=(float(known.min()), float(known.max())),
    )


def _first(
    readings: PatchReadings, seen: _Greys, where: _Parameters, priors: FitPriors, use: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return parameters and weights to start from: what is usual, and the readings that are trusted if they suffice."""
    theta = np.zeros(where.size)
    theta[where.glare] = priors.glare[0]
    theta[where.offset] = (seen.log_reflectance[:, None] - priors.tone.usual(seen.seen)).mean(axis=0)
    if readings.trusted is not None and readings.trusted[use].sum() >= _ENOUGH:
        return theta, readings.trusted[use].astype(float)
    return theta, np.ones(use.size)


@dataclass(frozen=True, eq=False, slots=True)
class _Answer:
    """Where the steps ended: parameters, their covariance, weight and misfit of each reading."""

    theta: np.ndarray
    covariance: np.ndarray
    robust: np.ndarray
    misfit: np.ndarray


def _solved(
    seen: _Greys, where: _Parameters, priors: FitPriors, first: tuple[np.ndarray, np.ndarray], *, again: bool
) -> _Answer:
    """Return where Gauss-Newton steps end; `again`, from a fit to nearly the same readings, two steps do."""
    theta, robust = first
    prior_sigma = where.prior_sigma(priors)
    usual = np.zeros(where.size)
    usual[where.glare] = priors.glare[0]
    misfit: np.ndarray = np.full(seen.scale.shape, _LOST)
    settling = not again
    for step in range(2 if again else _STEPS):
        rows, target = seen.whitened(theta, where)
        weight = np.repeat(robust, 3)
        normal = (rows.T * weight) @ rows + np.diag(1 / prior_sigma**2)
        covariance = np.linalg.inv(normal)
        theta_next = covariance @ (rows.T @ (weight * target) + usual / prior_sigma**2)
        if not np.isfinite(theta_next).all():
            break  # the answer before stands, and is judged by its misfit
        done = np.abs(theta_next - theta).max() < _DONE
        theta = theta_next
        misfit = (rows @ theta - target).reshape(-1, 3)
        if done and not settling:
            break
        settling = settling and not done and step < _SETTLING
        robust = _belief(misfit, settling=settling)
    return _Answer(theta, covariance, robust, misfit)


def _belief(misfit: np.ndarray, *, settling: bool) -> np.ndarray:
    """Return how much each reading is believed, 0..1, from its misfit in expected errors, shape (N, 3).

    While the fit settles, as least absolute residuals do: a third of the readings may be wrong and it still finds its
    way. Then falling off as Geman and McClure's weight does (Bull. ISI 52 (1987) 5-21), so that a patch under a hand
    counts for nothing at all.
    """
    size = np.sqrt(np.maximum(misfit[:, 0] ** 2, (misfit[:, 1:] ** 2).mean(axis=1)))
    if settling:
        return np.asarray(1.0 / np.maximum(size, 1.0))
    scale = 5.0 * np.clip(1.4826 * float(np.median(size)), 1.0, _LOOSEST)
    return np.asarray(1.0 / (1.0 + (size / scale) ** 2) ** 2)


@dataclass(frozen=True, eq=False, slots=True)
class _Greys:
    """The greys as the fit needs them: what does not change from step to step."""

    places: np.ndarray
    log_reflectance: np.ndarray
    departures: np.ndarray
    seen: np.ndarray
    """Shape (N, 3): logs of the linear values read."""
    dark: np.ndarray
    """Shape (N,), bool: read as black ink."""
    scale: np.ndarray
    """Shape (N, 3): expected errors of the channels' mean and of what tells them apart, which err by themselves."""

    @classmethod
    def of(cls, readings: PatchReadings, given: KnownGreys, priors: FitPriors, use: np.ndarray) -> _Greys:
        """Return those of the readings that are used."""
        known = given.reflectance[use]
        dark = known < _DARK
        sigma = np.where(dark, priors.black_reading, priors.reading)
        apart = priors.channel_reading * sigma / priors.reading
        scale = np.stack([np.sqrt(3 * sigma**2 + apart**2), apart, apart], axis=1)
        codes = np.log(np.maximum(readings.values[use], _FLOOR))
        return cls(readings.places[use], np.log(known), given.departures[use], codes, dark, scale)

    def whitened(self, theta: np.ndarray, where: _Parameters) -> tuple[np.ndarray, np.ndarray]:
        """Return `linearised` in expected errors, shapes (3 N, parameters) and (3 N,)."""
        design, target = self.linearised(theta, where)
        rows = _ACROSS @ design / self.scale[..., None]
        return rows.reshape(-1, where.size), (target @ _ACROSS.T / self.scale).ravel()

    def linearised(self, theta: np.ndarray, where: _Parameters) -> tuple[np.ndarray, np.ndarray]:
        """Return design (N, 3, parameters) and target (N, 3) of the Gauss-Newton step about `theta`.

        The misfit is that of the codes, seen less foretold: what is read is in error, not the light. Were it the
        light's, a flatter tone curve and a paler print would make every misfit small.
        """
        basis = light_basis(self.places)
        tint = np.stack([theta[part] for part in where.tint], axis=1)
        moved = (basis @ theta[where.light] + self.departures @ theta[where.print] + self.log_reflectance)[:, None]
        lit = np.exp(moved + basis[:, :2] @ tint)
        total = lit + np.maximum(theta[where.glare], -0.5 * lit.min(axis=0))
        share = (lit / total)[..., None]
        foretold, slope = _read_back(_curves(theta, where), np.log(total))
        bends = _bends(foretold, where.channel_terms)
        design = np.zeros((*self.seen.shape, where.size))
        design[..., where.tone] = where.prior.departures(foretold)
        design[..., where.light] = -share * basis[:, None]
        design[..., where.print] = -share * self.departures[:, None]
        for k in range(3):
            design[:, k, where.offset.start + k] = 1.0
            design[:, k, where.channel[k]] = bends[:, k]
            design[:, k, where.tint[k]] = -share[:, k] * basis[:, :2]
            design[:, k, where.glare.start + k] = -1.0 / total[:, k]
        design /= slope[..., None]
        return design, design @ theta - (self.seen - foretold)


def _read_back(curves: np.ndarray, log_light: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the codes' logs at which the channels' curves have the light, and their slopes there, shapes (N, 3)."""
    foretold, slope = np.empty_like(log_light), np.empty_like(log_light)
    for k, (u, m) in enumerate(curves):
        foretold[:, k] = np.interp(log_light[:, k], m, u)
        part = np.clip(np.searchsorted(u, foretold[:, k]), 1, len(u) - 1)
        slope[:, k] = (m[part] - m[part - 1]) / (u[part] - u[part - 1])
    return foretold, slope

"""Undo what the phone and the room did: one joint fit of tone curve, white balance, light field and veiling glare.

The model of one reading, channel k, at a place p on a grey of reflectance R::

    log(E_k(p) R + g_k)  =  t(u) + c_k(u) + error,        u = log of the file's linear value

``t`` is one smooth tone curve common to the channels, ``c_k`` a channel's own offset (white balance) with small
departures; ``log E_k`` is a low-order polynomial of the place common to the channels plus a small tint; ``g_k`` is the
veiling glare. Only E and g enter non-linearly; a few Gauss-Newton steps do. What a strip cannot decide alone is held by
written priors instead of by leaving terms out, so the covariance of the answer stays honest. Readings that fit badly
lose weight, down to nothing for a patch under a hand.

docs/decisions/0004-joint-fit.md records the trial of this against simpler fits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from finishlab.imaging.strip import STRIP

__all__ = ["Correction", "FitPriors", "PatchReadings", "fit_correction"]

_DEGREE: Final = 5
_CENTRE: Final = np.array([STRIP.width / 2, STRIP.height / 2])
_REACH: Final = 90.0
"""Millimetres that count as 1 in the light field's coordinates: about half the strip's length."""
_DARK: Final = 0.06
"""Reflectance below which a grey is read as black ink: glare and ink make it less certain."""
_ENOUGH: Final = 10
"""Trusted readings below which all are taken alike."""
_SETTLING: Final = 8
"""Steps of least absolute residuals before wrong readings are cast out."""
_LOOSEST: Final = 2.0
"""Largest usual misfit, in expected errors, that the weights follow."""
_FLOOR: Final = 1e-5
"""Smallest linear value whose logarithm is taken."""


@dataclass(frozen=True, slots=True)
class FitPriors:
    """Standard deviations, in natural-log units unless said, of what the strip alone cannot decide."""

    tone: tuple[float, ...] = (0.8, 0.3, 0.2, 0.12, 0.06)
    """Legendre orders 1.. of the common tone curve's departure from a straight line of slope one."""
    channel: tuple[float, ...] = (0.02, 0.01)
    """Legendre orders 1.. of a channel's departure from the common curve."""
    light_plane: float = 0.5
    light_bend: float = 0.02
    tint_plane: float = 0.004
    glare: float = 0.02
    """Veiling glare, as a share of a perfect white's light at the strip's centre."""
    reading: float = 0.005
    """Error of one patch reading: evenness of the print, what is left of noise."""
    black_reading: float = 0.02
    least_span: float = 0.0
    """Least range of log values that the tone curve is laid over, for greys that span little."""

    @classmethod
    def for_linear(cls, base: FitPriors | None = None) -> FitPriors:
        """Return priors for a file of linear light: its tone curve is straight.

        What lens flare and black level leave is taken as 0.02; common practice, no source.
        """
        return replace(base or cls(), tone=(0.02, 0.01, 0.005), channel=(0.005, 0.003))


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


def light_basis(places: np.ndarray) -> np.ndarray:
    """Return the light field's terms at places in millimetres: x, y, x^2, xy, y^2, shape (..., 5)."""
    p = (np.asarray(places, dtype=float) - _CENTRE) / _REACH
    x, y = p[..., 0], p[..., 1]
    return np.stack([x, y, x * x, x * y, y * y], axis=-1)


class _Parameters:
    """Where each group of parameters stands in the vector."""

    def __init__(self, priors: FitPriors) -> None:
        self.tone_terms, self.channel_terms = len(priors.tone), len(priors.channel)
        self.tone = slice(0, len(priors.tone))
        start = self.tone.stop
        self.offset = slice(start, start + 3)
        start += 3
        self.channel = [slice(start + k * len(priors.channel), start + (k + 1) * len(priors.channel)) for k in range(3)]
        start = self.channel[2].stop
        self.light = slice(start, start + 5)
        start += 5
        self.tint = [slice(start + 2 * k, start + 2 * k + 2) for k in range(3)]
        start += 6
        self.glare = slice(start, start + 3)
        self.size = start + 3

    def prior_sigma(self, priors: FitPriors) -> np.ndarray:
        sigma = np.full(self.size, np.inf)
        sigma[self.tone] = priors.tone
        for k in range(3):
            sigma[self.channel[k]] = priors.channel
            sigma[self.tint[k]] = priors.tint_plane
        sigma[self.light] = [priors.light_plane] * 2 + [priors.light_bend] * 3
        sigma[self.glare] = priors.glare
        return sigma


@dataclass(frozen=True, eq=False, slots=True)
class Correction:
    """How to turn the file's linear values at a place into reflectance factors, with the fit's own uncertainty."""

    parameters: np.ndarray
    covariance: np.ndarray
    """Of the parameters, from readings and priors, widened by what the residuals show beyond the expected."""
    layout: _Parameters
    span: tuple[float, float]
    """Log values that map to -1 and 1 in the tone curve."""
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
        t = np.clip(_scale(np.log(self.value_of(reflectance, place)), self.span), -1.0, 1.0)
        basis = light_basis(place)
        out = np.zeros((3, where.size))
        for k in range(3):
            per_log = exposure[k] / light[k]
            out[k, where.tone] = _legendre(t[k], where.tone_terms) * per_log
            out[k, where.offset.start + k] = per_log
            out[k, where.channel[k]] = _legendre(t[k], where.channel_terms) * per_log
            out[k, where.light] = -basis * reflectance[k]
            out[k, where.tint[k]] = -basis[:2] * reflectance[k]
            out[k, where.glare.start + k] = -1.0 / light[k]
        return out


def _scale(u: np.ndarray, span: tuple[float, float]) -> np.ndarray:
    return np.asarray(2 * (u - span[0]) / (span[1] - span[0]) - 1)


def _legendre(t: np.ndarray | float, count: int) -> np.ndarray:
    """Return Legendre polynomials of order 1..count at t, shape (..., count)."""
    return np.polynomial.legendre.legvander(np.asarray(t, dtype=float), count)[..., 1:]


def _curves(parameters: np.ndarray, where: _Parameters, span: tuple[float, float]) -> np.ndarray:
    """Return the channels' tone curves as tables (u, log exposure), shape (3, 2, n).

    They go on straight beyond the greys and always rise.
    """
    inside = np.linspace(-1, 1, 201)
    half = (span[1] - span[0]) / 2
    common = half * inside + _legendre(inside, where.tone_terms) @ parameters[where.tone]
    bends = _legendre(inside, where.channel_terms)
    m = np.stack([common + parameters[where.offset.start + k] + bends @ parameters[where.channel[k]] for k in range(3)])
    m = np.maximum.accumulate(m + 1e-9 * np.arange(inside.size), axis=1)
    # Beyond the greys a straight line with a sane slope does least harm.
    low = np.clip((m[:, 5] - m[:, 0]) / (inside[5] - inside[0]), 0.4 * half, 2.5 * half)
    high = np.clip((m[:, -1] - m[:, -6]) / (inside[-1] - inside[-6]), 0.4 * half, 2.5 * half)
    t = np.concatenate([[-9.0], inside, [9.0]])
    m = np.concatenate([(m[:, 0] - 8 * low)[:, None], m, (m[:, -1] + 8 * high)[:, None]], axis=1)
    return np.stack([np.broadcast_to(span[0] + (t + 1) * half, m.shape), m], axis=1)


def fit_correction(
    readings: PatchReadings,
    reflectance: np.ndarray,
    priors: FitPriors | None = None,
    start: Correction | None = None,
) -> Correction:
    """Fit tone, white balance, light and glare to known greys at once.

    Parameters
    ----------
    readings
        The greys as read.
    reflectance
        Shape (N,): what each of them is, as reflectance factor.
    priors
        What is believed before the photo is seen. They also let a single grey do: the tone curve then stays the file's.

    start
        A fit to the same readings on slightly other greys, to start from: then two steps do.

    Returns
    -------
    Correction

    Raises
    ------
    ValueError
        If no grey is usable.
    """
    priors = priors or FitPriors()
    use = np.flatnonzero(readings.usable)
    if not use.size:
        raise ValueError("no usable grey")
    places, reflectance = readings.places[use], np.asarray(reflectance, dtype=float)[use]
    u = np.log(np.maximum(readings.values[use], _FLOOR))
    margin = max(0.05, (priors.least_span - float(np.ptp(u))) / 2)
    span = (float(u.min()) - margin, float(u.max()) + margin)
    where = _Parameters(priors)
    half = (span[1] - span[0]) / 2
    fixed = half * _scale(u, span)
    tone_columns = _tone_columns(u, span, where, priors)
    dark = reflectance < _DARK
    sigma = np.where(dark, priors.black_reading, priors.reading)
    prior_sigma = where.prior_sigma(priors)
    theta = np.zeros(where.size)
    theta[where.offset] = (np.log(reflectance)[:, None] - fixed).mean(axis=0)
    robust: np.ndarray = np.ones(use.size)
    if readings.trusted is not None and readings.trusted[use].sum() >= _ENOUGH:
        robust = readings.trusted[use].astype(float)
    if start is not None:
        theta, robust = start.parameters, start.weights[use]
    for step in range(2 if start is not None else 14):
        design, target = _linearised(theta, where, tone_columns, fixed, places=places, reflectance=reflectance)
        weight = np.sqrt(robust) / sigma
        rows = (design * weight[:, None, None]).reshape(-1, where.size)
        normal = rows.T @ rows + np.diag(1 / prior_sigma**2)
        theta = np.linalg.solve(normal, rows.T @ (target * weight[:, None]).ravel())
        misfit = (np.einsum("nkp,p->nk", design, theta) - target) / sigma[:, None]
        robust = _belief(misfit, settling=step < _SETTLING and start is None)
    dof = max(1.0, float(robust.sum()) * 3 - 14)
    chi = float(np.sqrt((robust[:, None] * misfit**2).sum() / dof))
    covariance = np.linalg.inv(normal) * max(1.0, chi) ** 2
    kept = ~dark & (robust > 0.3)
    lit = misfit[kept] if kept.any() else misfit
    weights = np.zeros(readings.usable.size)
    weights[use] = robust
    residual = float(np.sqrt((lit**2).mean()) * priors.reading)
    return Correction(
        parameters=theta,
        covariance=covariance,
        layout=where,
        span=span,
        curves=_curves(theta, where, span),
        misfit=chi,
        residual=residual,
        weights=weights,
        greys_seen=(float(reflectance.min()), float(reflectance.max())),
    )


def _belief(misfit: np.ndarray, *, settling: bool) -> np.ndarray:
    """Return how much each reading is believed, 0..1, from its misfit in expected errors, shape (N, 3).

    While the fit settles, as least absolute residuals do: a third of the readings may be wrong and it still finds its
    way. Then falling off as Geman and McClure's weight does (Bull. ISI 52 (1987) 5-21), so that a patch under a hand
    counts for nothing at all.
    """
    size = np.sqrt((misfit**2).mean(axis=1))
    if settling:
        return np.asarray(1.0 / np.maximum(size, 1.0))
    scale = 4.0 * np.clip(1.4826 * float(np.median(size)), 1.0, _LOOSEST)
    return np.asarray(1.0 / (1.0 + (size / scale) ** 2) ** 2)


def _tone_columns(u: np.ndarray, span: tuple[float, float], where: _Parameters, priors: FitPriors) -> np.ndarray:
    """Return the tone part of the design, shape (N, 3, parameters)."""
    t = _scale(u, span)
    out = np.zeros((*u.shape, where.size))
    for k in range(3):
        out[:, k, where.tone] = _legendre(t[:, k], len(priors.tone))
        out[:, k, where.offset.start + k] = 1.0
        out[:, k, where.channel[k]] = _legendre(t[:, k], len(priors.channel))
    return out


def _linearised(
    theta: np.ndarray,
    where: _Parameters,
    tone_columns: np.ndarray,
    fixed: np.ndarray,
    *,
    places: np.ndarray,
    reflectance: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Return design (N, 3, parameters) and target (N, 3) of the Gauss-Newton step about `theta`.

    Residual: fixed + tone - log(E R + g); E and g are linearised, the rest is linear already.
    """
    basis = light_basis(places)
    design = tone_columns.copy()
    target = np.empty(fixed.shape)
    for k in range(3):
        log_light = basis @ theta[where.light] + basis[:, :2] @ theta[where.tint[k]]
        lit = np.exp(log_light) * reflectance
        glare = max(float(theta[where.glare.start + k]), -0.5 * float(lit.min()))
        total = lit + glare
        share = (lit / total)[:, None]
        design[:, k, where.light] = -share * basis
        design[:, k, where.tint[k]] = -share * basis[:, :2]
        design[:, k, where.glare.start + k] = -1.0 / total
        linear_part = share[:, 0] * log_light + glare / total
        target[:, k] = np.log(total) - linear_part - fixed[:, k]
    return design, target

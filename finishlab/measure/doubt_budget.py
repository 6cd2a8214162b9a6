"""What is not known about a sampled colour, effect by effect, carried into CIELAB.

Own: the grain (block to block). Shared within the photo: the fit of tone and light. Shared beside one strip: how dark
its black is and how its greys came out, less where the strip's own greys were learned. Shared by one camera: its
saturation, and that it does not see as eyes do.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from finishlab.colorimetry.camera_error import PRINT_AGAINST_WOOD, WOOD_AGAINST_WOOD
from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
from finishlab.colorimetry.spaces import rgb_to_lab
from finishlab.imaging.corrected import SATURATION_BOOST, undo_saturation
from finishlab.imaging.correction import Correction
from finishlab.imaging.sampling import Sample
from finishlab.imaging.strip import FieldName
from finishlab.measure.results import SurfaceKind

__all__ = ["PhotoFit", "estimate_colours"]


@dataclass(frozen=True, eq=False, slots=True)
class PhotoFit:
    """The fit of one photo and what it would have been on another print."""

    correction: Correction
    variants: Mapping[str, Correction]
    """Effect name -> fit with that unknown of the print one standard deviation up (`StripGreys.variants`)."""
    to_srgb: np.ndarray
    photo_id: str
    strip_scope: str
    camera_scope: str
    saturation: tuple[float, float] = SATURATION_BOOST
    """Mean and standard deviation of the camera's boost of saturation."""


def estimate_colours(
    samples: Mapping[FieldName, Sample], kinds: Mapping[FieldName, SurfaceKind], fit: PhotoFit
) -> dict[FieldName, LabEstimate]:
    """Return CIELAB of each sample with its own and shared uncertainty.

    Parameters
    ----------
    samples
        What was sampled in each field.
    kinds
        Whether each surface is wood or a print.
    fit
        The photo's correction and its variants.
    """
    names = list(samples)
    jacobians = {name: _numeric_jacobian(lambda rgb: _lab(rgb, fit), samples[name].rgb) for name in names}
    photo_effects = _fit_effects(samples, jacobians, fit)
    out: dict[FieldName, LabEstimate] = {}
    for name in names:
        rgb = samples[name].rgb
        lab = _lab(rgb, fit)
        own = jacobians[name] @ samples[name].covariance @ jacobians[name].T
        if kinds[name] == "wood":
            own = own + WOOD_AGAINST_WOOD / 2
        effects = [*photo_effects[name], _saturation_effect(rgb, fit), *_print_effects(samples[name], lab, fit)]
        if kinds[name] == "print":
            effects += _camera_effects(fit.camera_scope)
        out[name] = LabEstimate.build(lab, own, effects)
    return out


def _lab(
    rgb: np.ndarray, fit: PhotoFit, boost: float | None = None, correction: Correction | None = None
) -> np.ndarray:
    boost = fit.saturation[0] if boost is None else boost
    return np.asarray(rgb_to_lab(np.maximum(undo_saturation(rgb, correction or fit.correction, boost), 1e-4)))


def _numeric_jacobian(function: Callable[[np.ndarray], np.ndarray], at: np.ndarray) -> np.ndarray:
    """Return d(function)/d(at), shape (3, 3), by central differences."""
    columns = []
    for k in range(3):
        step = np.zeros(3)
        step[k] = max(1e-4, 0.01 * abs(float(at[k])))
        columns.append((function(at + step) - function(at - step)) / (2 * step[k]))
    return np.stack(columns, axis=1)


def _fit_effects(
    samples: Mapping[FieldName, Sample], jacobians: Mapping[FieldName, np.ndarray], fit: PhotoFit
) -> dict[FieldName, list[SharedEffect]]:
    """Return the fit's uncertainty as effects shared by the fields of one photo.

    The joint covariance of all fields is split along its own axes; each axis is one unknown that moves every field.
    """
    back = np.linalg.inv(fit.to_srgb)
    rows = []
    for name, sample in samples.items():
        file_rgb = np.maximum(back @ sample.rgb, 1e-4)
        in_file = fit.correction.reflectance_jacobian(file_rgb, np.asarray(sample.place))
        rows.append(jacobians[name] @ fit.to_srgb @ in_file)
    stacked = np.concatenate(rows)
    values, vectors = np.linalg.eigh(stacked @ fit.correction.covariance @ stacked.T)
    out: dict[FieldName, list[SharedEffect]] = {name: [] for name in samples}
    for axis in np.argsort(values)[::-1]:
        if values[axis] < 1e-6:
            break
        for i, name in enumerate(samples):
            part = vectors[3 * i : 3 * i + 3, axis] * np.sqrt(values[axis])
            out[name].append(_effect(f"fit-{len(out[name]) + 1}", f"photo:{fit.photo_id}", part))
    return out


def _effect(name: str, scope: str, vector: np.ndarray) -> SharedEffect:
    return SharedEffect(name, scope, (float(vector[0]), float(vector[1]), float(vector[2])))


def _saturation_effect(rgb: np.ndarray, fit: PhotoFit) -> SharedEffect:
    mean, sigma = fit.saturation
    change = (_lab(rgb, fit, mean + sigma) - _lab(rgb, fit, mean - sigma)) / 2
    return _effect("saturation", fit.camera_scope, change)


def _print_effects(sample: Sample, lab: np.ndarray, fit: PhotoFit) -> list[SharedEffect]:
    place = np.asarray(sample.place)
    file_rgb = np.maximum(np.linalg.inv(fit.to_srgb) @ sample.rgb, 1e-4)
    value = fit.correction.value_of(file_rgb, place)
    out = []
    for name, variant in fit.variants.items():
        moved = fit.to_srgb @ variant.reflectance(value, place)
        out.append(_effect(name, fit.strip_scope, _lab(moved, fit, correction=variant) - lab))
    return out


def _camera_effects(scope: str) -> list[SharedEffect]:
    values, vectors = np.linalg.eigh(PRINT_AGAINST_WOOD)
    return [_effect(f"camera-print-{i + 1}", scope, vectors[:, i] * np.sqrt(max(values[i], 0.0))) for i in range(3)]

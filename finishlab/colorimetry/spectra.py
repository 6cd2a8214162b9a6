"""Lights, the observer, chart patches and camera sensitivities on one wavelength grid: the doorway to colour-science.

Everything is sampled at 400 to 700 nm in steps of 5 nm and integrated by plain sums, so that a perfect diffuser is
(100, 0, 0) in CIELAB exactly. None of this is needed to measure a photo.

And how far a pair that looks alike in one light comes apart in another. The index follows the idea of ISO 18314-4
(metamerism index for a change of illuminant): what already differs in the reference light is taken out by a
multiplicative correction of the tristimulus values; the colour difference that is left in the test light is the index.
For pairs that match exactly it is their difference in the test light.
"""

from __future__ import annotations

import warnings
from functools import cache
from types import ModuleType
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from finishlab.colorimetry.spaces import lab_to_ratio, ratio_to_lab

WAVELENGTHS: Final[np.ndarray] = np.arange(400.0, 701.0, 5.0)
"""The common grid in nanometres, shape (61,)."""

_EDITIONS: Final[dict[str, str]] = {
    "from November 2014": "ColorChecker24 - After November 2014",
    "before November 2014": "ColorChecker24 - Before November 2014",
    "2005": "ColorChecker 2005",
    "mean of 30": "BabelColor Average",
    "Ohta 1997": "ColorChecker N Ohta",
    "ISO 17321-1": "ISO 17321-1",
}
"""Edition of the 24-patch chart, by its years or by who measured it -> its name in colour-science (what the mean is of,
and the year of Ohta's spectra, from memory)."""

CHARTS: Final[tuple[str, ...]] = ("mean of 30", "Ohta 1997", "ISO 17321-1")
"""Chart editions with measured patch spectra. Editions differ among themselves, so name the one you use."""

CHART_EDITIONS: Final[tuple[str, ...]] = tuple(_EDITIONS)
"""Chart editions with reference values: spectra of those in `CHARTS`, else xyY."""

DEFAULT_EDITION: Final = CHART_EDITIONS[0]


@cache
def _colour() -> ModuleType:
    """Import colour-science on first use, without its remark that Matplotlib is not installed."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=r'.*"Matplotlib" related API features.*')
        import colour
    module: ModuleType = colour
    return module


def _frozen(values: object) -> np.ndarray:
    array = np.array(values, dtype=float)
    array.flags.writeable = False
    return array


def _on_grid(distribution: Any) -> np.ndarray:  # noqa: ANN401 - the library ships no types
    """Interpolate a colour-science distribution (one or several columns) to the grid; zero outside its range."""
    nm = np.asarray(distribution.wavelengths, dtype=float)
    values = np.asarray(distribution.values, dtype=float)
    if values.ndim == 1:
        return _frozen(np.interp(WAVELENGTHS, nm, values, left=0.0, right=0.0))
    columns = [np.interp(WAVELENGTHS, nm, column, left=0.0, right=0.0) for column in values.T]
    return _frozen(np.stack(columns, axis=1))


@cache
def illuminant(name: str) -> np.ndarray:
    """Return the relative power of a light, 1.0 at its largest value, shape (61,).

    Parameters
    ----------
    name
        ``"D65"``, ``"A"``, ``"LED-B1"``, ``"FL11"`` and the like, as CIE 015:2018 names them; ``"2700K"`` is a Planck
        radiator.

    Raises
    ------
    KeyError
        If no such light is known.

    Notes
    -----
    CIE standard illuminants A and D, fluorescent FL and LED series from CIE 015:2018 through colour-science; Planck
    radiators by c2 = 1.4388e-2 m K (CIE 015:2018).
    """
    if name.endswith("K"):
        metres = WAVELENGTHS * 1e-9
        power = metres**-5 / np.expm1(1.4388e-2 / (metres * float(name[:-1])))
    else:
        power = _on_grid(_colour().SDS_ILLUMINANTS[name])
    return _frozen(power / power.max())


@cache
def observer() -> np.ndarray:
    """Return the CIE 1931 2 degree colour-matching functions, shape (61, 3)."""
    return _on_grid(_colour().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])


def edition_named(text: str) -> str | None:
    """Return the chart edition somebody means by its name here or in colour-science, None if there is none."""
    plain = " ".join(text.split()).casefold()
    return next((name for name, other in _EDITIONS.items() if plain in {name.casefold(), other.casefold()}), None)


def chart_words(edition: str) -> str:
    """Return what a chart is called: an edition of the 24-patch chart, or patches somebody named."""
    name = edition_named(edition)
    return edition if name is None else f"24-patch chart, {name}"


@cache
def chart_reflectances(name: str = "mean of 30") -> dict[str, np.ndarray]:
    """Return the measured patch spectra of a 24-patch chart: patch name -> reflectance factor, shape (61,).

    Raises
    ------
    KeyError
        If the edition is not one of `CHARTS`.
    """
    edition = edition_named(name)
    if edition not in CHARTS:
        raise KeyError(f"no chart called {name!r}")
    return {patch: _on_grid(spectrum) for patch, spectrum in _colour().SDS_COLOURCHECKERS[_EDITIONS[edition]].items()}


@cache
def chart_lab(edition: str = DEFAULT_EDITION) -> dict[str, tuple[float, float, float]]:
    """Return the reference colours of a 24-patch chart: patch name -> CIELAB D65 2 degrees, in the chart's order.

    From measured spectra where the edition has them. Else from its published xyY, adapted to D65 with CAT02 (CIE
    159:2004); of the edition that has both, the two ways differ by 0.7 CIEDE2000 on average, 1.5 at most.

    Raises
    ------
    KeyError
        If the edition is not one of `CHART_EDITIONS`.
    """
    named = edition_named(edition)
    if named is None:
        raise KeyError(f"no chart edition called {edition!r}")
    if named in CHARTS:
        labs = {name: lab_from_reflectance(spectrum) for name, spectrum in chart_reflectances(named).items()}
    else:
        labs = _adapted_lab(_EDITIONS[named])
    return {name: (float(lab[0]), float(lab[1]), float(lab[2])) for name, lab in labs.items()}


def _adapted_lab(edition: str) -> dict[str, np.ndarray]:
    """Return CIELAB D65 of an edition's published xyY."""
    colour = _colour()
    chart = colour.CCS_COLOURCHECKERS[edition]
    white = white_xyz("D65")
    x, y = chart.illuminant
    source = np.array([x / y, 1.0, (1.0 - x - y) / y])
    out = {}
    for name, (x, y, luminance) in chart.data.items():
        xyz = np.array([x / y, 1.0, (1.0 - x - y) / y]) * luminance
        adapted = colour.adaptation.chromatic_adaptation_VonKries(xyz, source, white, transform="CAT02")
        out[name] = ratio_to_lab(np.asarray(adapted, dtype=float) / white)
    return out


@cache
def camera_sensitivities() -> dict[str, np.ndarray]:
    """Return the two cameras measured at NPL that colour-science carries: name -> R, G, B, shape (61, 3)."""
    return {name: _on_grid(table) for name, table in _colour().MSDS_CAMERA_SENSITIVITIES.items()}


@cache
def white_xyz(light: str = "D65") -> np.ndarray:
    """Return XYZ of the perfect diffuser under a light, Y = 1, shape (3,)."""
    weights = illuminant(light)[:, None] * observer()
    return _frozen(weights.sum(axis=0) / weights[:, 1].sum())


def xyz_from_reflectance(reflectance: np.ndarray, light: str = "D65") -> np.ndarray:
    """Return XYZ (Y = 1 for the perfect diffuser) of reflectance spectra under a light.

    Parameters
    ----------
    reflectance
        Reflectance factor, shape (..., 61).
    light
        As `illuminant` takes it.

    Returns
    -------
    ndarray, shape (..., 3)
    """
    weights = illuminant(light)[:, None] * observer()
    return np.asarray(np.asarray(reflectance, dtype=float) @ (weights / weights[:, 1].sum()))


def lab_from_reflectance(reflectance: np.ndarray, light: str = "D65") -> np.ndarray:
    """Return CIELAB of reflectance spectra under a light, white the perfect diffuser in it, shape (..., 3)."""
    return ratio_to_lab(xyz_from_reflectance(reflectance, light) / white_xyz(light))


def corrected_batch(standard_reference: ArrayLike, batch_reference: ArrayLike, batch_test: ArrayLike) -> np.ndarray:
    """Return the batch in the test light as it would be if it matched the standard in the reference light.

    X, Y and Z of the batch in the test light are each multiplied by the ratio that makes batch and standard equal in
    the reference light.

    Parameters
    ----------
    standard_reference, batch_reference, batch_test
        CIELAB, each relative to white in its light, shapes (..., 3).
    """
    ratio = lab_to_ratio(standard_reference) / np.maximum(lab_to_ratio(batch_reference), 1e-6)
    return ratio_to_lab(lab_to_ratio(batch_test) * ratio)

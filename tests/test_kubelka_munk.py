"""Kubelka-Munk and Saunderson against worked values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from render import kubelka_munk as km

inside = st.floats(0.001, 0.999)


@pytest.mark.parametrize(("r", "ratio"), [(0.1, 4.05), (0.2, 1.6), (0.4, 0.45), (0.5, 0.25), (0.9, 0.0055556)])
def test_k_over_s(r: float, ratio: float) -> None:
    """K/S of a reflectance, worked by hand from Kubelka and Munk 1931."""
    assert float(km.k_over_s(r)) == pytest.approx(ratio, abs=5e-8)


def test_mixture_by_k_over_s() -> None:
    """Half and half of R 0.2 and 0.6 by K/S reflects 0.290455, darker than the mean of both."""
    mixed = km.reflectance((km.k_over_s(0.2) + km.k_over_s(0.6)) / 2)
    assert float(mixed) == pytest.approx(0.290455, abs=5e-7)


@pytest.mark.parametrize(("measured", "internal"), [(0.1, 0.142857), (0.2, 0.333333), (0.3, 0.481481), (0.5, 0.696970)])
def test_saunderson(measured: float, internal: float) -> None:
    """Saunderson 1942 with k1 0.04 and k2 0.6, worked by hand, and its inverse."""
    assert float(km.saunderson_internal(measured)) == pytest.approx(internal, abs=5e-7)
    assert float(km.saunderson_measured(internal)) == pytest.approx(measured, abs=5e-7)


@pytest.mark.parametrize(("sx", "seen"), [(0.1, 0.455634), (0.5, 0.239262), (1.0, 0.203588)])
def test_layer_over_a_substrate(sx: float, seen: float) -> None:
    """A film of R-infinity 0.2 over 0.6 (Kubelka 1948), worked beforehand."""
    assert float(km.layer_over(0.6, 0.2, sx)) == pytest.approx(seen, abs=5e-7)


@given(inside)
def test_round_trips(r: float) -> None:
    """There and back returns every reflectance."""
    assert float(km.reflectance(km.k_over_s(r))) == pytest.approx(r, rel=1e-9)
    assert float(km.saunderson_internal(km.saunderson_measured(r))) == pytest.approx(r, rel=1e-9, abs=1e-12)


@given(inside, inside)
def test_a_layer_lies_between_its_limits(substrate: float, r_infinity: float) -> None:
    """A very thin layer shows the substrate, a very thick one itself, and one between lies between."""
    assert float(km.layer_over(substrate, r_infinity, 1e-9)) == pytest.approx(substrate, abs=1e-4)
    assert float(km.layer_over(substrate, r_infinity, 1e4)) == pytest.approx(r_infinity, abs=1e-4)
    low, high = sorted((substrate, r_infinity))
    assert low - 1e-9 <= float(km.layer_over(substrate, r_infinity, 0.3)) <= high + 1e-9


@given(inside, st.floats(0.001, 10))
def test_more_absorption_is_darker(r: float, added: float) -> None:
    """Stain only subtracts light: adding K/S never makes a surface lighter."""
    assert float(km.reflectance(km.k_over_s(r) + added)) < r


def test_arrays_broadcast() -> None:
    """Spectra are worked on at once."""
    assert km.layer_over(np.full(5, 0.6), np.array([[0.2], [0.3]]), 0.5).shape == (2, 5)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: km.k_over_s(0.0),
        lambda: km.k_over_s(1.1),
        lambda: km.k_over_s(np.nan),
        lambda: km.reflectance(-0.1),
        lambda: km.reflectance(np.inf),
        lambda: km.layer_over(-0.1, 0.2, 1.0),
        lambda: km.layer_over(0.5, 1.0, 1.0),
        lambda: km.layer_over(0.5, 0.2, 0.0),
        lambda: km.saunderson_internal(0.01),
        lambda: km.saunderson_measured(1.2),
    ],
)
def test_what_cannot_be_is_refused(wrong: object) -> None:
    """A reflectance outside its range is refused, not turned into nonsense."""
    assert callable(wrong)
    with pytest.raises(ValueError, match="must"):
        wrong()

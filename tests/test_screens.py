"""Screens of lines: what they reflect, and how they are read. Published laws are the outside; photos are rendered."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rendered import photo_of, straight_fit
from scipy.ndimage import gaussian_filter1d

from finishlab.imaging.correction import straight_tone
from finishlab.imaging.rectify import read_areas, screen_reflectance
from finishlab.imaging.strip import STRIP, Screen

PAPER, BLACK = 0.82, 0.04
CURVE = (straight_tone().grid, straight_tone().mean)
COVERAGES = st.floats(0.1, 0.85)


def screen(coverage: float, pitch: float) -> Screen:
    """Return a screen of the strip with another coverage and pitch."""
    return replace(STRIP.screens[0], coverage=coverage, pitch=pitch)


@given(COVERAGES, st.floats(0.4, 2.0))
def test_without_spread_it_is_murray_davies(coverage: float, pitch: float) -> None:
    """Sharp ink on paper that spreads no light reflects paper and ink by area.

    Murray, J. Franklin Inst. 221 (1936) 721: ``R = (1 - a) paper + a ink``.
    """
    found = screen_reflectance(screen(coverage, pitch), PAPER, BLACK, 0.0, 1e-9)
    assert found == pytest.approx((1.0 - coverage) * PAPER + coverage * BLACK, abs=1e-6)


@given(st.floats(0.1, 0.75))
def test_with_wide_spread_it_is_yule_nielsen_of_two(coverage: float) -> None:
    """Where light leaves at any place, whichever it entered at, the root of reflectance is by area.

    Yule, Nielsen, TAGA Proc. 3 (1951) 65: ``R**(1/n) = (1 - a) paper**(1/n) + a ink**(1/n)``, n = 2 at full spread.
    """
    found = screen_reflectance(screen(coverage, 0.1), PAPER, BLACK, 0.0, 0.25)
    root = (1.0 - coverage) * np.sqrt(PAPER) + coverage * np.sqrt(BLACK)
    assert found == pytest.approx(root**2, abs=0.005)


@pytest.mark.parametrize("growth", [0.0, 0.03, 0.06])
@pytest.mark.parametrize("spread", [0.03, 0.10])
@pytest.mark.parametrize("index", range(0, 16, 2))
def test_strip_screens_reflect_what_a_fine_raster_does(index: int, spread: float, growth: float) -> None:
    """Each screen agrees to 0.006 with lines drawn at 0.001 mm under a Gaussian spread of equal mean."""
    one = STRIP.screens[index]
    count = round(one.pitch * 1000)
    ink = np.abs(np.arange(count) - (count - 1) / 2) < 500 * (one.coverage * one.pitch + 2 * growth)
    through = 1.0 - (1.0 - np.sqrt(BLACK / PAPER)) * ink
    truth = PAPER * float((through * gaussian_filter1d(through, 1000 * spread, mode="wrap")).mean())
    found = screen_reflectance(one, PAPER, BLACK, growth, spread * np.sqrt(2 / np.pi))
    assert found == pytest.approx(truth, abs=0.006)


def test_one_figure_serves_all_pitches() -> None:
    """Where gaps are wide, what spread adds to coverage is one length over the pitch, as for growth of the ink."""
    share = {}
    for pitch in (0.7, 1.0, 1.4, 2.0):
        found = screen_reflectance(screen(0.5, pitch), PAPER, BLACK, 0.02, 0.04)
        share[pitch] = ((PAPER - found) / (PAPER - BLACK) - 0.5) * pitch
    assert np.ptp(list(share.values())) < 0.001
    assert 0.04 < share[1.0] < 0.08


def test_even_areas_are_read_as_they_are() -> None:
    """A photo of one code reads that code everywhere, by light and by code, and an area at its rim is not usable."""
    pixels = np.full((120, 420, 3), 117, dtype=np.uint8)
    image = photo_of(pixels)
    means = read_areas(image, straight_fit(2.0, 20.0, 10.0), (*STRIP.patches, *STRIP.screens), CURVE)
    assert means.usable.all()
    for found in (means.light, means.codes):
        assert found == pytest.approx(np.full(found.shape, image.decode[117]), rel=1e-4)
    beyond = read_areas(image, straight_fit(2.0, 330.0, 10.0), STRIP.patches, CURVE)
    assert not beyond.usable.all()
    assert beyond.usable.any()


def test_lines_that_show_are_averaged_in_light() -> None:
    """Lines of two codes, two pixels wide each, read the mean of their light by the curve; the mean code is darker."""
    pixels = np.zeros((120, 420, 3), dtype=np.uint8)
    pixels[:, :, :] = np.where(np.arange(420) % 4 < 2, 60, 220).astype(np.uint8)[None, :, None]
    image = photo_of(pixels)
    means = read_areas(image, straight_fit(2.0, 20.0, 10.0), STRIP.screens, CURVE)
    truth = (image.decode[60] + image.decode[220]) / 2
    assert means.light.mean() == pytest.approx(truth, rel=0.01)
    assert means.codes.mean() == pytest.approx(image.decode[140], rel=0.01)
    assert image.decode[140] < 0.8 * truth

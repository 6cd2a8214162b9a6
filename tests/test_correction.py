"""The joint fit of tone, white balance, light and glare, on synthetic readings of known greys."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from render.printers import Printer
from rendered import DECODE, photo_of, straight_fit, window_of

from finishlab.colorimetry.spaces import linear_to_srgb, srgb_to_linear
from finishlab.imaging.correction import Correction, FitPriors, PatchReadings, _curves, fit_correction
from finishlab.imaging.greys import USUAL
from finishlab.imaging.rectify import correct
from finishlab.imaging.strip import STRIP, Rect

PLACES = np.array([patch.sample.centre for patch in STRIP.patches])
GREYS = Printer().reflectance(np.array(STRIP.greys))[[patch.level for patch in STRIP.patches]]
CENTRE = np.array([STRIP.width / 2, STRIP.height / 2])
FIELDS = np.array([STRIP.fields["board"].centre, STRIP.fields["floor"].centre, (40.0, -30.0), (150.0, 80.0)])
WOODS = np.array([[0.30, 0.17, 0.09], [0.12, 0.07, 0.05], [0.55, 0.42, 0.28], [0.25, 0.24, 0.22]])

Curve = Callable[[np.ndarray], np.ndarray]


def power(gamma: float) -> Curve:
    """Return a tone curve that is a straight line in log-log: the model holds it exactly."""
    return lambda light: 0.8 * light**gamma


PLAIN_CURVE = power(1.0)


def shouldered(light: np.ndarray) -> np.ndarray:
    """Return a curve like a phone's: middle lifted, highlights pressed together."""
    e = linear_to_srgb(0.75 * light) ** 0.93
    return np.asarray(srgb_to_linear(e + 0.3 * (e * e * (3 - 2 * e) - e)))


def light_at(places: np.ndarray, slope: tuple[float, float] = (0.0, 0.0), bend: float = 0.0) -> np.ndarray:
    """Return the light at places: log-linear, `slope` per 90 mm along and across, `bend` along."""
    p = (places - CENTRE) / 90.0
    return np.asarray(np.exp(p @ np.array(slope) + bend * p[..., 0] ** 2))


def readings_of(
    curve: Curve = PLAIN_CURVE,
    *,
    slope: tuple[float, float] = (0.0, 0.0),
    bend: float = 0.0,
    veil: float = 0.0,
    gains: tuple[float, float, float] = (1.0, 1.0, 1.0),
    noise: float = 0.0,
) -> PatchReadings:
    """Return what a photo with these faults would read from the strip."""
    light = light_at(PLACES, slope, bend)[:, None] * GREYS[:, None] + veil
    values = curve(light) * np.array(gains)
    if noise:
        values = values * np.exp(noise * np.random.default_rng(3).standard_normal(values.shape))
    return PatchReadings(PLACES, values, np.ones(len(GREYS), dtype=bool))


def woods_found(correction: Correction, curve: Curve, light: np.ndarray, gains: np.ndarray, veil: float) -> np.ndarray:
    """Return reflectances found for the woods at the field places, given how the camera would show them."""
    values = curve(light[:, None] * WOODS + veil) * gains
    return correction.reflectance(values, FIELDS)


@pytest.mark.parametrize("gamma", [0.8, 1.0, 1.25])
@pytest.mark.parametrize("slope", [(0.0, 0.0), (0.12, -0.05), (-0.1, 0.15)])
def test_exact_tone_and_light_are_recovered(gamma: float, slope: tuple[float, float]) -> None:
    """With a straight log-log tone curve and a log-linear light, woods in the fields come back within 1 %."""
    correction = fit_correction(readings_of(power(gamma), slope=slope), GREYS)
    found = woods_found(correction, power(gamma), light_at(FIELDS, slope), np.ones(3), 0.0)
    np.testing.assert_allclose(found, WOODS, rtol=1e-2)
    np.testing.assert_allclose(correction.light(FIELDS)[:, 1], light_at(FIELDS, slope), rtol=5e-3)
    assert correction.residual < 1e-3
    assert correction.misfit < 0.3


def test_phone_curve_with_veil_is_recovered() -> None:
    """A phone-like curve with 1 % of veiling glare and tilted light leaves woods within 2 % of their reflectance."""
    slope, gains = (0.1, 0.05), np.array([1.04, 1.0, 0.93])
    readings = readings_of(shouldered, slope=slope, veil=0.01, gains=(1.04, 1.0, 0.93))
    correction = fit_correction(readings, GREYS)
    found = woods_found(correction, shouldered, light_at(FIELDS, slope), gains, 0.01)
    np.testing.assert_allclose(found, WOODS, rtol=0.02)


def test_tilted_light_is_taken_out() -> None:
    """Light 25 % stronger at one end of the strip moves a wood by less than 0.5 %; left in, it would by over 10 %."""
    slope = (0.125, 0.0)
    readings = readings_of(shouldered, slope=slope)
    correction = fit_correction(readings, GREYS)
    ends = np.array([[15.0, -20.0], [175.0, -20.0]])
    values = shouldered(light_at(ends, slope)[:, None] * WOODS[0])
    found = correction.reflectance(values, ends)
    np.testing.assert_allclose(found[0], found[1], rtol=5e-3)
    held = correction.reflectance(values, np.broadcast_to(CENTRE, ends.shape))
    assert abs(held[1, 1] / held[0, 1] - 1) > 0.1


@given(st.floats(0.4, 1.2))
@settings(max_examples=15)
def test_exposure_changes_next_to_nothing(factor: float) -> None:
    """Multiplying every value of the file by one factor moves a reflectance by less than 0.4 %.

    Codes say where on a camera's usual curve a grey lies, so exposure is not quite without a voice.
    """
    readings = readings_of(shouldered, slope=(0.1, 0.0), veil=0.005)
    values = shouldered(light_at(FIELDS, (0.1, 0.0))[:, None] * WOODS + 0.005)
    before = fit_correction(readings, GREYS).reflectance(values, FIELDS)
    brighter = replace(readings, values=readings.values * factor)
    after = fit_correction(brighter, GREYS).reflectance(values * factor, FIELDS)
    np.testing.assert_allclose(after, before, rtol=4e-3)


@given(st.floats(0.8, 1.25), st.floats(0.8, 1.25))
@settings(max_examples=15)
def test_white_balance_changes_nothing(red: float, blue: float) -> None:
    """Other gains on red and blue leave a wood's reflectance within 1 %, where the curve is one for all channels."""
    gains = np.array([red, 1.0, blue])
    readings = readings_of(power(1.1), slope=(0.05, 0.0))
    light = light_at(FIELDS, (0.05, 0.0))
    before = woods_found(fit_correction(readings, GREYS), power(1.1), light, np.ones(3), 0.0)
    tinted = replace(readings, values=readings.values * gains)
    after = woods_found(fit_correction(tinted, GREYS), power(1.1), light, gains, 0.0)
    np.testing.assert_allclose(after, before, rtol=0.01)


@pytest.mark.parametrize("end", ["left", "right"])
@pytest.mark.parametrize("hand", [(0.25, 0.15, 0.1), (0.6, 0.4, 0.3)])
def test_a_hidden_third_does_not_matter(end: str, hand: tuple[float, float, float]) -> None:
    """A hand over a third of the greys is given no weight: woods move by less than 1 %."""
    readings = readings_of(shouldered, slope=(0.08, 0.0), veil=0.005, noise=0.002)
    clean = fit_correction(readings, GREYS)
    covered = PLACES[:, 0] < STRIP.width / 3 if end == "left" else PLACES[:, 0] > STRIP.width * 2 / 3
    hidden = readings.values.copy()
    hidden[covered] = hand
    correction = fit_correction(replace(readings, values=hidden), GREYS)
    values = shouldered(light_at(FIELDS, (0.08, 0.0))[:, None] * WOODS + 0.005)
    found, expected = (c.reflectance(values, FIELDS) for c in (correction, clean))
    np.testing.assert_allclose(found, expected, rtol=0.01)
    wrong = covered & (np.abs(np.log(hidden / readings.values)).mean(axis=1) > 0.25)
    assert wrong.sum() > 5
    assert correction.weights[wrong].max() < 0.1
    assert correction.weights[~covered].min() > 0.3


@pytest.mark.parametrize("told", [True, False])
@pytest.mark.parametrize("hand", [(0.25, 0.15, 0.1), (0.6, 0.4, 0.3)])
def test_nearly_half_hidden(hand: tuple[float, float, float], told: bool) -> None:
    """A hand over nearly half of the greys is cast out, told from the tags that are seen or not: 2 % at most."""
    readings = readings_of(shouldered, noise=0.002)
    covered = PLACES[:, 0] < 90.0
    hidden = readings.values.copy()
    hidden[covered] = hand
    led = fit_correction(PatchReadings(PLACES, hidden, readings.usable, ~covered if told else None), GREYS)
    values = shouldered(WOODS)
    expected = fit_correction(readings, GREYS).reflectance(values, FIELDS)
    np.testing.assert_allclose(led.reflectance(values, FIELDS), expected, rtol=0.02)
    assert led.weights[~covered].min() > 0.5


def test_shadow_over_the_greys_shows() -> None:
    """A hard shadow over a third of the strip cannot pass for smooth light: many greys lose their weight."""
    readings = readings_of(shouldered, noise=0.002)
    shaded = readings.values.copy()
    shaded[PLACES[:, 0] < 60.0] *= 0.6
    correction = fit_correction(replace(readings, values=shaded), GREYS)
    assert correction.misfit > 2.0
    assert (correction.weights < 0.3).mean() > 0.15


def test_unusable_readings_have_no_say() -> None:
    """What is marked unusable may hold anything; its weight is 0."""
    readings = readings_of(power(1.1))
    usable = np.ones(len(GREYS), dtype=bool)
    usable[::4] = False
    spoilt = readings.values.copy()
    spoilt[::4] = 0.9
    correction = fit_correction(PatchReadings(PLACES, spoilt, usable), GREYS)
    np.testing.assert_allclose(correction.reflectance(0.8 * WOODS**1.1, np.tile(CENTRE, (4, 1))), WOODS, rtol=5e-3)
    assert (correction.weights[::4] == 0).all()


def test_no_usable_grey() -> None:
    """Without any usable grey there is nothing to fit, and that is said."""
    readings = replace(readings_of(), usable=np.zeros(len(GREYS), dtype=bool))
    with pytest.raises(ValueError, match="no usable grey"):
        fit_correction(readings, GREYS)


def test_one_grey_is_a_white_balance() -> None:
    """One grey fixes exposure and white balance; the tone curve stays the usual, at most 12 % from straight."""
    gains = np.array([0.9, 0.7, 0.5])
    readings = PatchReadings(CENTRE[None], (0.4 * gains)[None], np.array([True]))
    correction = fit_correction(readings, np.array([0.4]))
    np.testing.assert_allclose(correction.reflectance(0.4 * gains, CENTRE), 0.4, rtol=2e-3)
    np.testing.assert_allclose(correction.reflectance(0.2 * gains, CENTRE), 0.2, rtol=0.12)
    np.testing.assert_allclose(correction.reflectance(0.5 * gains, CENTRE), 0.5, rtol=0.05)
    assert correction.greys_seen == (0.4, 0.4)


def test_more_greys_are_surer() -> None:
    """The fit's own variance of a wood falls with each doubling of the greys read."""
    readings, previous = readings_of(power(1.1)), np.inf
    for step in (4, 2, 1):
        usable = np.zeros(len(GREYS), dtype=bool)
        usable[::step] = True
        correction = fit_correction(replace(readings, usable=usable), GREYS)
        jacobian = correction.reflectance_jacobian(WOODS[0], FIELDS[0])
        variance = float(np.trace(jacobian @ correction.covariance @ jacobian.T))
        assert variance < previous
        previous = variance


def test_noisy_greys_widen_the_doubt() -> None:
    """Greys that disagree more than expected raise the misfit above 1 and widen the covariance accordingly."""
    calm, wild = (fit_correction(readings_of(power(1.1), noise=n), GREYS) for n in (0.001, 0.02))
    assert calm.misfit < 1.0 < wild.misfit
    calm_doubt, wild_doubt = (
        np.trace((jacobian := fit.reflectance_jacobian(WOODS[0], FIELDS[0])) @ fit.covariance @ jacobian.T)
        for fit in (calm, wild)
    )
    assert wild_doubt > 2 * calm_doubt


def moved(correction: Correction, step: np.ndarray) -> Correction:
    """Return the correction with its parameters moved by `step`, and the tone curves that belong to them."""
    parameters = correction.parameters + step
    return replace(correction, parameters=parameters, curves=_curves(parameters, correction.layout))


@pytest.mark.parametrize("wood", range(4))
def test_jacobian_equals_differences(wood: int) -> None:
    """The analytic derivative of a reflectance by each parameter equals the central difference within 1 %."""
    readings = readings_of(shouldered, slope=(0.1, -0.05), veil=0.01, gains=(1.1, 1.0, 0.9))
    correction = fit_correction(readings, GREYS)
    place = FIELDS[wood]
    value = correction.value_of(WOODS[wood], place)
    analytic = correction.reflectance_jacobian(WOODS[wood], place)
    for k in range(correction.parameters.size):
        step = np.zeros(correction.parameters.size)
        step[k] = 1e-4
        up, down = (moved(correction, s * step) for s in (1, -1))
        numeric = (up.reflectance(value, place) - down.reflectance(value, place)) / 2e-4
        np.testing.assert_allclose(analytic[:, k], numeric, rtol=0.01, atol=2e-4)


@given(st.lists(st.floats(0.01, 0.95), min_size=3, max_size=3), st.sampled_from(range(4)))
@settings(max_examples=25)
def test_value_of_is_the_inverse(reflectance: list[float], place: int) -> None:
    """The file value of a reflectance at a place leads back to that reflectance."""
    correction = fit_correction(readings_of(shouldered, slope=(0.1, 0.05), veil=0.01), GREYS)
    value = correction.value_of(np.array(reflectance), FIELDS[place])
    np.testing.assert_allclose(correction.reflectance(value, FIELDS[place]), reflectance, rtol=1e-4)


def test_second_fit_starts_from_the_first() -> None:
    """A fit started from another on slightly other greys ends where one from scratch does, within 0.5 %."""
    readings = readings_of(shouldered, slope=(0.1, 0.0), veil=0.01, noise=0.002)
    other = Printer(ink=0.055).reflectance(np.array(STRIP.greys))[[patch.level for patch in STRIP.patches]]
    first = fit_correction(readings, GREYS)
    quick, scratch = fit_correction(readings, other, start=first), fit_correction(readings, other)
    values = shouldered(WOODS)
    np.testing.assert_allclose(quick.reflectance(values, FIELDS), scratch.reflectance(values, FIELDS), rtol=5e-3)


def test_tighter_priors_hold_the_light() -> None:
    """A prior says what the strip alone cannot decide: with light held even, a slope goes into the residual."""
    readings = readings_of(power(1.0), slope=(0.1, 0.0))
    held = fit_correction(readings, GREYS, FitPriors(light_plane=1e-4, light_bend=1e-4, tint_plane=1e-5))
    assert np.ptp(held.light(FIELDS)) < 0.01
    assert held.residual > 5 * fit_correction(readings, GREYS).residual


def test_beyond_the_greys_the_curve_goes_on() -> None:
    """Brighter than paper and darker than ink the curve keeps rising, without a jump."""
    correction = fit_correction(readings_of(shouldered), GREYS)
    values = np.repeat(np.geomspace(1e-4, 1.0, 400)[:, None], 3, axis=1)
    exposure = correction.exposure(values)
    assert (np.diff(exposure, axis=0) > 0).all()
    assert np.abs(np.diff(np.log(exposure), axis=0)).max() < 0.1


def test_corrected_image_is_reflectance() -> None:
    """Cut out of a photo with tilted light and a tone curve, an even surface is its reflectance within 1 %."""
    slope, reflectance = (0.12, 0.05), np.array([0.30, 0.17, 0.09])
    y, x = np.mgrid[0:400, 0:800] / 4.0
    light = light_at(np.stack([x, y - 50.0], axis=-1) + 0.125, slope)
    codes = linear_to_srgb(shouldered(light[..., None] * reflectance))
    image = photo_of(np.rint(codes * 255).astype(np.uint8))
    correction = fit_correction(readings_of(shouldered, slope=slope), GREYS)
    field = STRIP.fields["board"]
    cut = correct(image, straight_fit(4.0, top=200.0), correction, field, 2.0)
    assert cut.inside.all()
    assert cut.rgb.dtype == np.float32
    np.testing.assert_allclose(cut.rgb.mean(axis=(0, 1)), reflectance, rtol=0.01)
    np.testing.assert_allclose(cut.rgb[..., 1], reflectance[1], rtol=0.03)
    rows, columns = window_of(cut, Rect(field.x, field.y, 10.0, 5.0))
    assert (rows, columns) == (slice(0, 10), slice(0, 20))
    assert cut.light[40, 290] > cut.light[40, 10] * 1.1


def test_table_and_values_agree() -> None:
    """The table of exposures by code is the exposure of each code's linear value."""
    correction = fit_correction(readings_of(shouldered, gains=(1.1, 1.0, 0.9)), GREYS)
    table = correction.exposure_table(DECODE)
    some = [20, 128, 240]
    values = np.repeat(DECODE[some], 3).reshape(3, 3)
    np.testing.assert_allclose(table[some], correction.exposure(values), rtol=1e-5)


@given(seed=st.integers(0, 10_000), sure=st.booleans())
@settings(max_examples=12)
def test_readings_that_make_no_sense_are_answered_and_never_break_the_fit(seed: int, *, sure: bool) -> None:
    """Whatever stands where the greys should be, the fit ends with finite figures, for the judging to refuse."""
    rng = np.random.default_rng(seed)
    values = np.exp(rng.uniform(-11.0, 0.0, (len(GREYS), 3)) * rng.uniform(0.0, 1.0))
    readings = PatchReadings(PLACES, values, rng.random(len(GREYS)) < 0.8)
    found = fit_correction(readings, GREYS if sure else USUAL.patches())
    assert np.isfinite(found.parameters).all()
    assert np.isfinite(found.covariance).all()

"""CIEDE2000, its interval, signed differences and their words."""

from __future__ import annotations

import math
import warnings
from importlib import import_module

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishlab.colorimetry.delta_e import CIEDE2000, delta_e_00, metric_00
from finishlab.colorimetry.difference import (
    BANDS,
    DeltaE,
    SignedDifference,
    band,
    delta_e_interval,
    describe,
    difference_intervals,
    joint_covariance,
    signed_difference,
)
from finishlab.colorimetry.estimate import LabEstimate, SharedEffect

# Sharma, Wu, Dalal, Color Res. Appl. 30 (2005) 21, table 1: pair, L*, a*, b* of both, CIEDE2000 to four decimals.
SHARMA = [
    (1, (50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    (2, (50.0, 3.1571, -77.2803), (50.0, 0.0, -82.7485), 2.8615),
    (3, (50.0, 2.8361, -74.0200), (50.0, 0.0, -82.7485), 3.4412),
    (4, (50.0, -1.3802, -84.2814), (50.0, 0.0, -82.7485), 1.0000),
    (5, (50.0, -1.1848, -84.8006), (50.0, 0.0, -82.7485), 1.0000),
    (6, (50.0, -0.9009, -85.5211), (50.0, 0.0, -82.7485), 1.0000),
    (7, (50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
    (8, (50.0, -1.0, 2.0), (50.0, 0.0, 0.0), 2.3669),
    (9, (50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0009), 7.1792),
    (10, (50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0010), 7.1792),
    (11, (50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0011), 7.2195),
    (12, (50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0012), 7.2195),
    (13, (50.0, -0.0010, 2.4900), (50.0, 0.0009, -2.4900), 4.8045),
    (15, (50.0, -0.0010, 2.4900), (50.0, 0.0011, -2.4900), 4.7461),
    (16, (50.0, 2.5, 0.0), (50.0, 0.0, -2.5), 4.3065),
    (17, (50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    (18, (50.0, 2.5, 0.0), (61.0, -5.0, 29.0), 22.8977),
    (19, (50.0, 2.5, 0.0), (56.0, -27.0, -3.0), 31.9030),
    (20, (50.0, 2.5, 0.0), (58.0, 24.0, 15.0), 19.4535),
    (21, (50.0, 2.5, 0.0), (50.0, 3.1736, 0.5854), 1.0000),
    (22, (50.0, 2.5, 0.0), (50.0, 3.2972, 0.0), 1.0000),
    (23, (50.0, 2.5, 0.0), (50.0, 1.8634, 0.5757), 1.0000),
    (24, (50.0, 2.5, 0.0), (50.0, 3.2592, 0.3350), 1.0000),
    (25, (60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    (26, (63.0109, -31.0961, -5.8663), (62.8187, -29.7946, -4.0864), 1.2630),
    (27, (61.2901, 3.7196, -5.3901), (61.4292, 2.2480, -4.9620), 1.8731),
    (28, (35.0831, -44.1164, 3.7933), (35.0232, -40.0716, 1.5901), 1.8645),
    (29, (22.7233, 20.0904, -46.6940), (23.0331, 14.9730, -42.5619), 2.0373),
    (30, (36.4612, 47.8580, 18.3852), (36.2715, 50.5065, 21.2231), 1.4146),
    (31, (90.8027, -2.0831, 1.4410), (91.1528, -1.6435, 0.0447), 1.4441),
    (32, (90.9257, -0.5406, -0.9208), (88.6381, -0.8985, -0.7239), 1.5381),
    (33, (6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
    (34, (2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
]

WOOD = (58.0, 8.0, 24.0)


def finite(low: float, high: float) -> st.SearchStrategy[float]:
    """Numbers within a range."""
    return st.floats(low, high, allow_nan=False)


labs = st.tuples(finite(0, 100), finite(-100, 100), finite(-100, 100))


def estimate(lab: tuple[float, float, float], sigma: float = 0.0, *shared: SharedEffect) -> LabEstimate:
    """A colour with the same own error along each axis."""
    return LabEstimate.build(np.array(lab), np.eye(3) * sigma**2, shared)


@pytest.mark.parametrize(("one", "two", "published"), [r[1:] for r in SHARMA], ids=[f"pair-{r[0]}" for r in SHARMA])
def test_published_pairs(one: tuple[float, ...], two: tuple[float, ...], published: float) -> None:
    """The published test pairs come out at their own four decimals, either way round."""
    assert float(delta_e_00(one, two)) == pytest.approx(published, abs=1e-4)
    assert float(delta_e_00(two, one)) == pytest.approx(published, abs=1e-4)


def test_published_pair_14() -> None:
    """Pair 14 stands on the jump of the mean hue: rounding decides, and either published value is right."""
    found = float(delta_e_00((50.0, -0.001, 2.49), (50.0, 0.001, -2.49)))
    assert min(abs(found - 4.8045), abs(found - 4.7461)) < 1e-4


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        ((-2, 0, 0), 1.8374),
        ((0, 2, 0), 1.7382),
        ((0, 0, 2), 1.0171),
        ((-5, 0, 0), 4.6992),
        ((0, 4, 0), 3.3952),
        ((0, 0, 4), 1.9858),
    ],
)
def test_steps_from_a_wood_colour(step: tuple[float, ...], expected: float) -> None:
    """Steps from the middle of wood colours, worked out beforehand with public libraries to four decimals."""
    assert float(delta_e_00(WOOD, np.add(WOOD, step))) == pytest.approx(expected, abs=5e-5)


def test_agrees_with_two_public_libraries() -> None:
    """On random colours, near and far, colour-science and scikit-image give the same to 1e-10."""
    skimage_color = import_module("skimage.color")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        colour = import_module("colour")
    rng = np.random.default_rng(5)
    one = rng.uniform((0, -90, -90), (100, 90, 90), (4000, 3))
    for two in (one + rng.normal(0, 4, one.shape), one[::-1]):
        ours = delta_e_00(one, two)
        np.testing.assert_allclose(ours, colour.delta_E(one, two, method="CIE 2000"), rtol=0, atol=1e-10)
        np.testing.assert_allclose(ours, skimage_color.deltaE_ciede2000(one, two), rtol=0, atol=1e-10)


def test_parametric_factors_agree_with_a_public_library() -> None:
    """kL, kC and kH divide the differences they are named after, as in scikit-image."""
    skimage_color = import_module("skimage.color")
    rng = np.random.default_rng(6)
    one, two = rng.uniform((20, -20, -20), (90, 40, 60), (2, 500, 3))
    ours = delta_e_00(one, two, kL=2.0, kC=1.5, kH=0.8)
    np.testing.assert_allclose(
        ours, skimage_color.deltaE_ciede2000(one, two, kL=2.0, kC=1.5, kH=0.8), rtol=0, atol=1e-10
    )


@given(labs, labs)
def test_symmetric_and_not_negative(one: tuple[float, ...], two: tuple[float, ...]) -> None:
    """Exchanging the colours changes nothing, no difference is negative, and a colour does not differ from itself."""
    there, back = float(delta_e_00(one, two)), float(delta_e_00(two, one))
    assert there == pytest.approx(back, rel=1e-9, abs=1e-9)
    assert there >= 0.0
    assert float(delta_e_00(one, one)) == 0.0


def test_broadcasts() -> None:
    """Many colours against one give one difference each, in the shape of the many."""
    many = np.arange(24.0).reshape(2, 4, 3)
    found = delta_e_00(many, WOOD)
    assert found.shape == (2, 4)
    assert float(found[1, 2]) == float(delta_e_00(many[1, 2], WOOD))


@given(
    st.tuples(finite(20, 90), finite(-5, 25), finite(5, 45)),
    st.tuples(finite(-1, 1), finite(-1, 1), finite(-1, 1)).filter(lambda d: math.hypot(*d) > 0.1),
)
def test_metric_is_the_small_difference(lab: tuple[float, ...], step: tuple[float, ...]) -> None:
    """Over the colours of wood, the metric gives the square of a small CIEDE2000 within 3 %."""
    d = np.array(step) * 0.01
    exact = float(delta_e_00(np.array(lab) - d / 2, np.array(lab) + d / 2)) ** 2
    assert float(d @ metric_00(lab) @ d) == pytest.approx(exact, rel=0.03)


def test_slopes_predict_a_step() -> None:
    """Moving each of the six arguments a little changes the difference by its slope."""
    one, two = np.array(WOOD), np.array((52.0, 11.0, 20.0))
    slopes = CIEDE2000.slopes(one, two)
    step = np.array([0.02, -0.01, 0.03, 0.01, 0.02, -0.02])
    moved = delta_e_00(one + step[:3], two + step[3:]) - delta_e_00(one, two)
    assert float(moved) == pytest.approx(float(slopes @ step), abs=2e-4)


# Signed differences


def test_signed_difference_says_which_way() -> None:
    """Board minus floor: lighter, redder, yellower and more colourful are above 0."""
    found = signed_difference((60.0, 10.0, 27.0), WOOD)
    assert (found.dL, found.da, found.db) == (2.0, 2.0, 3.0)
    assert found.dC == pytest.approx(math.hypot(10, 27) - math.hypot(8, 24))


def test_pinker_turns_the_hue_down_and_golden_up() -> None:
    """From hue 75.96 degrees to 63.43 dH is below 0, and back again the same above 0."""
    pink, golden = (58.0, 12.0, 24.0), (58.0, 6.0, 24.0)
    there, back = signed_difference(pink, golden), signed_difference(golden, pink)
    assert there.dH < 0.0 < back.dH
    assert there.dH == pytest.approx(-back.dH)
    c1, c2 = math.hypot(12, 24), math.hypot(6, 24)
    assert back.dH == pytest.approx(2 * math.sqrt(c1 * c2) * math.sin(math.radians(75.9638 - 63.4349) / 2), abs=1e-4)


@given(labs, labs)
def test_signed_parts_make_the_whole(board: tuple[float, ...], floor: tuple[float, ...]) -> None:
    """da^2 + db^2 = dC^2 + dH^2: lightness, chroma and hue share out the CIE 1976 difference without rest."""
    d = signed_difference(board, floor)
    assert d.da**2 + d.db**2 == pytest.approx(d.dC**2 + d.dH**2, rel=1e-7, abs=1e-6)


def test_signed_difference_agrees_with_a_public_library() -> None:
    """The metric hue difference follows from the hues and chromas that scikit-image finds."""
    from skimage.color import lab2lch

    rng = np.random.default_rng(8)
    for board, floor in rng.uniform((20, -20, -20), (90, 40, 60), (50, 2, 3)):
        (_, c1, h1), (_, c0, h0) = lab2lch(board), lab2lch(floor)
        turn = (h1 - h0 + math.pi) % (2 * math.pi) - math.pi
        expected = 2 * math.sqrt(c1 * c0) * math.sin(turn / 2)
        assert signed_difference(board, floor).dH == pytest.approx(expected, abs=1e-9)


def test_figures_must_be_figures() -> None:
    """Neither a difference outside its interval nor one that is no number can be built."""
    for wrong in ((1.0, 1.5, 2.0), (2.5, 1.0, 2.0), (-1.0, -2.0, 0.0), (1.0, 0.0, math.inf), (math.nan, 0.0, 1.0)):
        with pytest.raises(ValueError, match="inside its interval"):
            DeltaE(*wrong)
    with pytest.raises(ValueError, match="finite"):
        SignedDifference(math.nan, 0.0, 0.0, 0.0, 0.0)
    assert DeltaE(1.0, 0.5, 2.0).as_dict() == {"value": 1.0, "low": 0.5, "high": 2.0}
    assert list(SignedDifference(1.0, 2.0, 3.0, 4.0, 5.0).as_dict()) == ["dL", "da", "db", "dC", "dH"]


# Words


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ((-1.5, 1.2, 0.0), "a touch darker and pinker than the floor"),
        ((2.0, 0.0, 0.0), "lighter than the floor"),
        ((-5.0, 0.0, -4.0), "much darker and also bluer than the floor"),
        ((0.0, -2.0, 2.0), "greener and a touch more golden than the floor"),
        ((5.0, 4.0, 4.0), "much lighter, much pinker and also more golden than the floor"),
        ((0.1, 0.1, -0.1), "much like the floor"),
    ],
)
def test_words_say_each_direction(step: tuple[float, ...], words: str) -> None:
    """Lighter, pinker and more golden, or their opposites, each in its degree, the largest first."""
    assert describe(signed_difference(np.add(WOOD, step), WOOD)) == words


def test_words_start_with_the_band_and_own_up_to_doubt() -> None:
    """With the interval given the band stands first, and a difference that may be none is said to be so."""
    difference = signed_difference(np.add(WOOD, (-1.5, 0.0, 0.0)), WOOD)
    assert describe(difference, DeltaE(1.4, 0.6, 2.2)) == "very close, a touch darker than the floor"
    assert describe(difference, DeltaE(1.4, 0.0, 3.0)).endswith("; there may also be no difference")
    assert describe(difference, DeltaE(4.4, 0.0, 9.0)).startswith("perhaps clearly different, a touch darker")
    nothing = signed_difference(WOOD, WOOD)
    assert describe(nothing, DeltaE(0.1, 0.0, 0.4)) == "hardly any difference; there may be none at all"
    assert describe(difference, reference="the spare plank").endswith("than the spare plank")


def test_bands_cover_everything_in_order() -> None:
    """Every difference has a band; a band's end belongs to the next one."""
    ends = [end for end, _ in BANDS]
    assert ends == sorted(ends)
    assert ends[-1] == math.inf
    assert band(0.0) == BANDS[0][1]
    assert band(0.8) == BANDS[1][1]
    assert band(1e6) == BANDS[-1][1]


# The interval


def test_no_error_leaves_no_interval() -> None:
    """Colours known exactly have a difference known exactly (to a thousandth)."""
    found = delta_e_interval(estimate(WOOD), estimate((55.0, 9.0, 20.0)))
    assert found.value == pytest.approx(float(delta_e_00(WOOD, (55.0, 9.0, 20.0))))
    assert found.high - found.low < 1e-3


def test_luck_is_no_certainty() -> None:
    """Two uncertain colours that happen to be measured alike may still differ by more than twice their error."""
    found = delta_e_interval(estimate(WOOD, 1.0), estimate(WOOD, 1.0))
    assert (found.value, found.low) == (0.0, 0.0)
    assert found.high > 2.0


@given(st.tuples(finite(-8, 8), finite(-8, 8), finite(-8, 8)), finite(0, 3), finite(0, 3))
def test_interval_is_symmetric_and_around_its_value(step: tuple[float, ...], sigma: float, other: float) -> None:
    """Whichever colour is named first the interval is the same, and the measured difference lies inside."""
    one = estimate(WOOD, sigma, SharedEffect("saturation", "camera:x", (0.1, 0.5, 1.0)))
    two = estimate(tuple(np.add(WOOD, step)), other, SharedEffect("saturation", "camera:x", (0.1, 0.4, 1.1)))
    there, back = delta_e_interval(one, two), delta_e_interval(two, one)
    assert there.low == pytest.approx(back.low, abs=1e-6)
    assert there.high == pytest.approx(back.high, abs=1e-6)
    assert 0.0 <= there.low <= there.value <= there.high


def test_shared_error_cancels_in_a_pair() -> None:
    """An error that moves two near colours together leaves their interval as it was; in one alone it widens it."""
    two = (59.0, 9.0, 24.0)
    together = SharedEffect("black-ink", "strip:412", (1.5, 0.0, 0.0))
    alone = delta_e_interval(estimate(WOOD, 0.2), estimate(two, 0.2))
    shared = delta_e_interval(estimate(WOOD, 0.2, together), estimate(two, 0.2, together))
    apart = delta_e_interval(estimate(WOOD, 0.2, together), estimate(two, 0.2))
    assert shared.high - shared.low == pytest.approx(alone.high - alone.low, rel=0.1)
    assert apart.high - apart.low > 2.0 * (alone.high - alone.low)


def test_extra_covariance_widens() -> None:
    """A further error of the difference is taken in, as if it were one colour's own."""
    plain = delta_e_interval(estimate(WOOD, 0.2), estimate((61.0, 8.0, 24.0), 0.2), np.eye(3) * 0.6**2)
    same = delta_e_interval(estimate(WOOD, 0.2), estimate((61.0, 8.0, 24.0), math.hypot(0.2, 0.6)))
    assert plain == same


def test_equal_effects_within_one_colour_add_before_squaring() -> None:
    """An unknown named twice in one colour moves it by the sum of both vectors."""
    effect = SharedEffect("ink", "strip:1", (1.0, 0.0, 0.0))
    joint = joint_covariance(estimate(WOOD, 0.0, effect, effect), estimate(WOOD))
    assert joint[0, 0] == pytest.approx(4.0)


@pytest.mark.parametrize("true", [0.3, 1.0, 3.0, 12.0])
@pytest.mark.parametrize("sigma", [0.1, 0.5, 1.5])
@pytest.mark.parametrize("kind", ["even", "uneven", "print against wood"])
def test_interval_holds_the_truth(true: float, sigma: float, kind: str) -> None:
    """In worlds of known truth, small differences and large, the 95 % interval holds it in 93-99.5 %."""
    rng = np.random.default_rng(11)
    pairs = 3000
    one = rng.uniform((30, 2, 8), (75, 14, 32), (pairs, 3))
    two = at_distance(one, rng.normal(size=(pairs, 3)), true)
    own = np.diag((1.6, 0.5, 0.9) if kind == "uneven" else (1.0, 1.0, 1.0)) * sigma**2 / 2
    joint = np.kron(np.eye(2), own) + np.kron(np.ones((2, 2)), np.diag((1.0, 0.36, 0.81)) * sigma**2)
    if kind == "print against wood":
        joint[:3, :3] += np.diag((0.09, 0.25, 0.36))
    errors = rng.standard_normal((pairs, 6)) @ np.linalg.cholesky(joint).T
    _, low, high = difference_intervals(one + errors[:, :3], two + errors[:, 3:], joint)
    held = np.mean((low <= true) & (true <= high))
    assert 0.93 <= held <= 0.995


def at_distance(lab: np.ndarray, direction: np.ndarray, distance: float) -> np.ndarray:
    """Colours at a CIEDE2000 `distance` from `lab` along `direction`."""
    scale = np.ones((len(lab), 1))
    for _ in range(40):
        scale *= distance / delta_e_00(lab, lab + direction * scale)[:, None]
    return lab + direction * scale

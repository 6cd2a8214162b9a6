"""Difference formulas beside the plain CIEDE2000, the metamerism index, and the distance of whole surfaces."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from render.spectral import finish, print_material
from scipy.optimize import linprog
from scipy.stats import wasserstein_distance

from finishlab.colorimetry.delta_e import (
    CIEDE2000,
    CIEDE2000_TEXTURE,
    CMC_2_1,
    Formula,
    centred,
    delta_e_00,
    delta_e_cmc,
    equal_shares,
    merge_colours,
    plank_yardstick,
    transport_distance,
)
from finishlab.colorimetry.difference import difference_intervals
from finishlab.colorimetry.spaces import (
    corrected_batch,
    illuminant,
    lab_from_reflectance,
    observer,
    white_xyz,
    xyz_from_reflectance,
)

RNG = np.random.default_rng(11)
ONE = RNG.uniform((20, -20, -20), (90, 40, 60), (300, 3))
TWO = ONE + RNG.normal(0, 5, (300, 3))


# Formulas


def test_texture_is_colour_sciences_textiles(colour: ModuleType) -> None:
    """CIEDE2000(2:1:1) equals colour-science's with its switch for textiles, which sets kL = 2."""
    theirs = colour.difference.delta_E_CIE2000(ONE, TWO, textiles=True)
    np.testing.assert_allclose(CIEDE2000_TEXTURE.difference(ONE, TWO), theirs, atol=1e-9)
    assert CIEDE2000_TEXTURE.name == "CIEDE2000(2:1:1)"


def test_cmc_is_colour_sciences(colour: ModuleType) -> None:
    """CMC(2:1) and CMC(1:1) equal colour-science's for colours of all hues."""
    one, two = RNG.uniform((5, -90, -90), (95, 90, 90), (2, 500, 3))
    for lightness in (2.0, 1.0):
        theirs = colour.difference.delta_E_CMC(one, two, l=lightness, c=1)
        np.testing.assert_allclose(delta_e_cmc(one, two, lightness, 1.0), theirs, atol=1e-9)
    assert CMC_2_1.name == "CMC(2:1)"


def test_cmc_published_pair() -> None:
    """CMC(2:1) of the pair in colour-science's documentation, after Lindbloom's formulas, is 0.8996999."""
    pair = (np.array([48.99183622, -0.10561667, 400.65619925]), np.array([50.65907324, -0.11671910, 402.82235718]))
    assert float(delta_e_cmc(*pair)) == pytest.approx(0.8996999, abs=1e-7)


def test_cmc_agrees_with_scikit_image() -> None:
    """A second public library, scikit-image, gives the same CMC(2:1)."""
    skimage_color = import_module("skimage.color")
    np.testing.assert_allclose(delta_e_cmc(ONE, TWO), skimage_color.deltaE_cmc(ONE, TWO, kL=2, kC=1), atol=1e-9)


@pytest.mark.parametrize("formula", [CIEDE2000, CIEDE2000_TEXTURE, CMC_2_1, Formula(chroma=2.0)])
def test_metric_is_the_formula_of_small_steps(formula: Formula) -> None:
    """For a step of 0.01 the metric gives the formula's difference within 2 %, in every direction."""
    steps = RNG.normal(size=ONE.shape)
    steps *= 0.01 / np.linalg.norm(steps, axis=1, keepdims=True)
    colours = ONE[np.hypot(ONE[:, 1], ONE[:, 2]) > 5]
    steps = steps[: len(colours)]
    expected = np.sqrt(np.einsum("ni,nij,nj->n", steps, formula.metric(colours), steps))
    np.testing.assert_allclose(formula.difference(colours, colours + steps), expected, rtol=0.02)


@pytest.mark.parametrize("formula", [CIEDE2000_TEXTURE, CMC_2_1])
def test_interval_holds_the_truth_by_other_formulas(formula: Formula) -> None:
    """Of 3,000 noisy pairs 93.5 to 98.5 % of the intervals hold the true difference, whatever the formula."""
    rng = np.random.default_rng(4)
    floor, board = np.array([56.0, 8.0, 22.0]), np.array([56.0, 8.0, 22.0]) + rng.normal(0, 2.5, (3000, 3))
    truth = formula.difference(floor, board)
    seen = board + rng.normal(0, 0.5, board.shape)
    joint = np.zeros((6, 6))
    joint[:3, :3] = 0.25 * np.eye(3)
    _, low, high = difference_intervals(seen, floor, joint, formula)
    assert 0.935 <= np.mean((low <= truth) & (truth <= high)) <= 0.985


@pytest.mark.parametrize(
    "factors", [{"lightness": 0.0}, {"chroma": -1.0}, {"hue": float("nan")}, {"lightness": float("inf")}]
)
def test_factors_must_be_meant(factors: dict[str, float]) -> None:
    """A factor that is not a number above 0 is refused."""
    with pytest.raises(ValueError, match="factors"):
        Formula(**factors)  # type: ignore[arg-type] # figures only


# Metamerism


def xyz_of(lab: np.ndarray) -> np.ndarray:
    """Tristimulus relative to white, by the standard's inverse formula written out once more."""
    y = (lab[..., 0] + 16) / 116
    f = np.stack([y + lab[..., 1] / 500, y, y - lab[..., 2] / 200], axis=-1)
    return np.where(f > 6 / 29, f**3, (f - 4 / 29) * 3 * (6 / 29) ** 2)


def test_index_of_an_exact_match_is_its_difference_in_the_test_light(colour: ModuleType) -> None:
    """A print that equals a wood under D65: the index for A is their CIEDE2000 under A, as colour-science has it."""
    wood = finish("crosscut", stains={"brown": 0.3})
    printed = print_material(wood.lab, inks="stress")
    day = [lab_from_reflectance(np.array(m.mean)) for m in (wood, printed)]
    lamp = [lab_from_reflectance(np.array(m.mean), "A") for m in (wood, printed)]
    theirs = []
    shape = colour.SpectralShape(400, 700, 5)
    for material in (wood, printed):
        spectrum = colour.SpectralDistribution(np.array(material.mean), np.arange(400, 701, 5))
        cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
        light = colour.SDS_ILLUMINANTS["A"].copy().align(shape)
        xyz = colour.sd_to_XYZ(spectrum, cmfs, light, method="Integration") / 100
        white = white_xyz("A")
        theirs.append(colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(white)))
    index = delta_e_00(lamp[0], corrected_batch(day[0], day[1], lamp[1]))
    assert float(index) == pytest.approx(float(colour.difference.delta_E_CIE2000(theirs[0], theirs[1])), abs=0.02)
    assert index > 1.5


@given(st.integers(0, 500))
@settings(max_examples=30)
def test_correction_takes_out_what_differs_in_the_reference_light(seed: int) -> None:
    """After the correction X, Y and Z stand in the ratio they had; a pair that only scales has no metamerism."""
    rng = np.random.default_rng(seed)
    standard, batch, test = rng.uniform((30, 0, 5), (80, 15, 35), (3, 3))
    corrected = corrected_batch(standard, batch, test)
    np.testing.assert_allclose(xyz_of(corrected), xyz_of(test) * xyz_of(standard) / xyz_of(batch), rtol=1e-9)
    assert float(delta_e_00(standard, corrected_batch(standard, batch, batch))) == pytest.approx(0.0, abs=1e-9)


# Whole surfaces


def test_transport_is_that_of_a_linear_programme() -> None:
    """The distance equals the optimum of the transport problem solved as a linear programme by SciPy."""
    one, two = ONE[:8], ONE[20:32]
    cost = delta_e_00(one[:, None], two[None])
    rows = np.kron(np.eye(8), np.ones(12))
    columns = np.kron(np.ones(8), np.eye(12))
    shares = np.concatenate([np.full(8, 1 / 8), np.full(12, 1 / 12)])
    solved = linprog(cost.ravel(), A_eq=np.vstack([rows, columns]), b_eq=shares)
    assert transport_distance(one, two) == pytest.approx(solved.fun, abs=1e-7)


def test_transport_of_greys_is_scipys_wasserstein_distance() -> None:
    """Of greys near one lightness, where CIEDE2000 is a constant times dL, it is the one-dimensional distance."""
    one, two = RNG.normal(0, 0.4, 32), RNG.normal(0.3, 0.8, 32)
    greys = [np.stack([50 + x, 0 * x, 0 * x], axis=1) for x in (one, two)]
    assert transport_distance(greys[0], greys[1]) == pytest.approx(wasserstein_distance(one, two), rel=5e-3)


@given(st.integers(0, 500))
@settings(max_examples=30)
def test_transport_is_symmetric_and_nothing_for_the_same_colours(seed: int) -> None:
    """In whatever order colours stand, the distance to themselves is 0 and the two sides may be exchanged."""
    rng = np.random.default_rng(seed)
    one, two = rng.normal((55, 8, 22), (4, 1, 2), (2, 32, 3))
    assert transport_distance(one, rng.permutation(one)) == pytest.approx(0.0, abs=1e-9)
    assert transport_distance(one, two) == pytest.approx(transport_distance(two, one))
    assert transport_distance(one, two) >= 0.8 * float(delta_e_00(one.mean(axis=0), two.mean(axis=0))) - 0.05


def test_a_busy_grain_with_the_right_mean_is_far_from_a_calm_floor() -> None:
    """Means alike, the busy board is 3 units off by its colours and the calm one under 0.5."""
    rng = np.random.default_rng(2)
    floor = equal_shares(rng.normal((55, 8, 22), (1, 0.3, 0.5), (900, 3)))
    calm = equal_shares(rng.normal((55, 8, 22), (1, 0.3, 0.5), (900, 3)))
    busy = equal_shares(rng.normal((55, 8, 22), (6, 1.5, 3.0), (900, 3)))
    assert transport_distance(floor, centred(calm, floor.mean(axis=0))) < 0.5
    assert transport_distance(floor, centred(busy, floor.mean(axis=0))) > 3.0


def test_planks_of_a_lively_floor_set_a_higher_yardstick() -> None:
    """The yardstick grows with how far planks differ; one plank sets none."""
    rng = np.random.default_rng(6)
    plank = rng.normal((55, 8, 22), (2, 0.5, 1), (32, 3))
    calm = [plank + rng.normal(0, 0.2, 3) for _ in range(6)]
    lively = [plank + rng.normal(0, 2.0, 3) for _ in range(6)]
    assert plank_yardstick([plank]) is None
    one, two = plank_yardstick(calm), plank_yardstick(lively)
    assert one is not None
    assert two is not None
    assert one + 0.5 < two


def test_surfaces_that_cannot_be_paired_are_refused() -> None:
    """No colours, or numbers without a small common multiple, are refused."""
    for one, two in ((ONE[:0], ONE[:4]), (ONE[:127], ONE[:128])):
        with pytest.raises(ValueError, match="cannot be paired"):
            transport_distance(one, two)


@given(st.integers(32, 400), st.integers(0, 200))
@settings(max_examples=30)
def test_equal_shares_keep_the_mean_and_nearly_the_spread(n: int, seed: int) -> None:
    """Thirty-two colours stand for a surface: same mean up to unequal parts, and most of its scatter of lightness."""
    rng = np.random.default_rng(seed)
    labs = rng.normal((55, 8, 22), (4, 1, 2), (n, 3))
    kept = equal_shares(labs)
    assert kept.shape == (32, 3)
    np.testing.assert_allclose(kept.mean(axis=0), labs.mean(axis=0), atol=2.0)
    assert 0.8 < kept[:, 0].std() / labs[:, 0].std() < 1.15


def test_too_small_a_surface_has_no_shares() -> None:
    """Fewer places than parts are refused; surfaces together keep the number of parts."""
    with pytest.raises(ValueError, match="a place for each part"):
        equal_shares(ONE[:31])
    assert merge_colours([ONE[:32], TWO[:32], ONE[32:64]]).shape == (64, 3)
    assert merge_colours([ONE[:32]]).shape == (32, 3)


def test_grid_and_light_are_those_of_the_standard_observer() -> None:
    """The white of each light is what light and observer give together: the frame the index is computed in."""
    for light in ("D65", "A", "LED-B1", "LED-B3"):
        weights = illuminant(light)[:, None] * observer()
        np.testing.assert_allclose(white_xyz(light), weights.sum(axis=0) / weights[:, 1].sum())
        np.testing.assert_allclose(xyz_from_reflectance(np.ones(61), light), white_xyz(light))


def test_cmc_at_lightness_16_is_by_the_curve() -> None:
    """Only below L* 16 is S_L 0.511; at 16 it is 0.040975 L* / (1 + 0.01765 L*) (BS 6923:1988, from memory)."""
    for standard, s_l in ((15.999, 0.511), (16.0, 0.040975 * 16 / (1 + 0.01765 * 16))):
        found = delta_e_cmc((standard, 0.0, 0.0), (standard + 1.0, 0.0, 0.0), 1.0, 1.0)
        assert float(found) == pytest.approx(1.0 / s_l, rel=1e-9)

"""What belongs to the board or floor in a field is found; bench, hand, shadow, knot and seam are kept out and named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rendered import corrected_field, streaks, window_of

from finishlab.colorimetry.spaces import lab_to_rgb
from finishlab.errors import ExitCode, QualityError
from finishlab.imaging.rectify import CorrectedImage
from finishlab.imaging.strip import STRIP, FieldName, Rect
from finishlab.imaging.surface import Surface, find_surface

WOOD = (55.0, 9.0, 22.0)
Lab = tuple[float, float, float]


def board(seed: int = 1, depth: float = 0.08, **others: float) -> CorrectedImage:
    """Return a board field of streaky wood, grain along the strip."""
    return corrected_field(WOOD, grain=streaks(seed, 40.0, 1.5, depth=depth)[0], **others)  # type: ignore[arg-type] # noise


def floor(seed: int = 2, *, upright: bool = False, depth: float = 0.08) -> CorrectedImage:
    """Return a floor field of streaky wood."""
    return corrected_field(WOOD, field="floor", grain=streaks(seed, 40.0, 1.5, upright=upright, depth=depth)[0])


def inside(image: CorrectedImage, rect: Rect) -> np.ndarray:
    """Return a mask of a rectangle of the strip frame."""
    mask = np.zeros(image.inside.shape, dtype=bool)
    mask[window_of(image, rect)] = True
    return mask


def painted(image: CorrectedImage, where: np.ndarray, lab: Lab) -> CorrectedImage:
    """Return the field with an even colour and a little noise laid over a mask."""
    noise = 1.0 + 0.01 * np.random.default_rng(9).standard_normal(where.shape)
    colour = np.asarray(lab_to_rgb(np.array(lab))) * noise[..., None]
    return replace(image, rgb=np.where(where[..., None], colour, image.rgb).astype(np.float32))


def scaled(image: CorrectedImage, where: np.ndarray, factor: float) -> CorrectedImage:
    """Return the field with its light scaled over a mask."""
    return replace(image, rgb=np.where(where[..., None], image.rgb * np.float32(factor), image.rgb))


def ellipse(image: CorrectedImage, x: float, y: float, rx: float, ry: float) -> np.ndarray:
    """Return a mask of an ellipse, in millimetres from the field's top left."""
    rows, columns = np.mgrid[0 : image.inside.shape[0], 0 : image.inside.shape[1]] / image.px_per_mm
    return np.asarray(((columns - x) / rx) ** 2 + ((rows - y) / ry) ** 2 < 1.0)


@pytest.mark.parametrize("name", ["board", "floor"])
def test_a_full_field_is_used_whole(name: FieldName) -> None:
    """A surface that fills its field is sampled whole, with nothing left out."""
    found = find_surface(board() if name == "board" else floor(), name)
    assert found.used_share > 0.99
    assert not found.left_out
    assert found.glare_share == 0.0


@pytest.mark.parametrize(
    "bench",
    [(15.0, 0.0, 0.0), (90.0, 0.0, 3.0), (57.5, 8.0, 20.0), (55.0, 4.0, 14.0), (40.0, 9.0, 16.0)],
    ids=["dark", "light", "near", "duller", "darker wood"],
)
def test_small_board_on_a_bench(bench: Lab) -> None:
    """Of a small board only board is sampled, on a dark, light or nearly equal bench, all but 4 mm at its borders."""
    image = board(seed=2)
    there = inside(image, Rect(60.0, -22.0, 70.0, 19.0))
    found = find_surface(painted(image, ~there, bench), "board")
    assert not (found.mask & ~there).any()
    within = inside(image, Rect(64.6, -17.4, 60.8, 14.4))
    assert (found.mask & within).sum() > 0.9 * within.sum()
    named = found.left_out.get("other-surface", 0.0) + found.left_out.get("shadow", 0.0)
    assert named == pytest.approx(1 - there.mean(), abs=0.06)


@pytest.mark.parametrize("name", ["board", "floor"])
def test_hand_is_left_out(name: FieldName) -> None:
    """A hand in a corner of the field is not sampled and is named another surface."""
    image = board() if name == "board" else floor()
    hand = ellipse(image, 20.0, 12.0 if name == "board" else 30.0, 36.0, 18.0)
    found = find_surface(painted(image, hand, (64.0, 18.0, 14.0)), name)
    assert not (found.mask & hand).any()
    assert found.left_out["other-surface"] == pytest.approx(hand.mean(), abs=0.06)


def test_cast_shadow_is_left_out() -> None:
    """A shadow over one end is not sampled and is named a shadow: same hue, less light."""
    image = board()
    shade = inside(image, Rect(20.0, -45.0, 46.0, 42.0))
    found = find_surface(scaled(image, shade, 0.55), "board")
    assert not (found.mask & shade).any()
    assert found.left_out["shadow"] == pytest.approx(shade.mean(), abs=0.03)


def test_knot_is_left_out() -> None:
    """A knot in the middle of the board is not sampled, and it is named."""
    image = board()
    knot = ellipse(image, 90.0, 18.0, 7.0, 7.0)
    found = find_surface(scaled(image, knot, 0.35), "board")
    assert not (found.mask & knot).any()
    assert found.left_out["knot"] == pytest.approx(knot.mean(), abs=0.02)
    assert found.used_share > 0.9


@pytest.mark.parametrize("upright", [False, True], ids=["along", "across"])
def test_seam_between_planks(upright: bool) -> None:
    """A dark joint right across the floor is not sampled, and it is named; the planks on both sides are."""
    image = floor(upright=upright)
    joint = inside(image, Rect(79.0, 49.0, 0.6, 42.0) if upright else Rect(20.0, 69.0, 150.0, 0.6))
    assert joint.any()
    found = find_surface(scaled(image, joint, 0.35), "floor")
    assert not (found.mask & joint).any()
    assert 0.0 < found.left_out["seam"] < 0.09
    assert found.used_share > 0.9


@pytest.mark.parametrize("upright", [False, True], ids=["along", "across"])
@pytest.mark.parametrize("seed", range(4))
def test_straight_grain_is_no_seam(seed: int, upright: bool) -> None:
    """Straight grain that varies by 6 % without a joint gives no seam, along and across."""
    found = find_surface(floor(seed, upright=upright, depth=0.06), "floor")
    assert "seam" not in found.left_out
    assert found.used_share > 0.97


@pytest.mark.parametrize("seed", range(8))
def test_strong_straight_grain_is_no_seam(seed: int) -> None:
    """Straight upright grain that varies by 8 % without a joint gives no seam."""
    assert "seam" not in find_surface(floor(seed, upright=True, depth=0.08), "floor").left_out


def test_a_streak_does_not_hide_the_floor_beyond_it() -> None:
    """Of floors with upright streaks of 15 to 20 % hardly one in ten loses a fifth to what a streak cuts off."""
    used = [find_surface(floor(s, upright=True, depth=d), "floor").used_share for s in range(12) for d in (0.15, 0.2)]
    assert np.mean(np.array(used) < 0.8) <= 0.125
    assert np.mean(used) > 0.88


def test_beyond_a_gap_nothing_is_joined() -> None:
    """A part of the floor's own colour behind a gap that is no streak, 6 mm of red felt, stays left out."""
    image = floor(1, depth=0.05)
    gap = inside(image, Rect(120.0, 49.0, 6.0, 42.0))
    found = find_surface(painted(image, gap, (40.0, 40.0, 25.0)), "floor")
    beyond = inside(image, Rect(128.0, 49.0, 42.0, 42.0))
    assert not (found.mask & (gap | beyond)).any()


@pytest.mark.parametrize("peak", [0.05, 0.1, 0.3, 0.6])
@pytest.mark.parametrize("radius", [(12.0, 6.0), (6.0, 4.0)])
def test_no_glare_is_sampled(peak: float, radius: tuple[float, float]) -> None:
    """Hardly anything that a highlight lightens by 2 % of white is sampled, faint or strong, and the mean stays."""
    image = board(depth=0.06)
    rows, columns = np.mgrid[0 : image.inside.shape[0], 0 : image.inside.shape[1]] / image.px_per_mm
    white = peak * np.exp(-0.5 * (((columns - 80) / radius[0]) ** 2 + ((rows - 22) / radius[1]) ** 2))
    found = find_surface(replace(image, rgb=(image.rgb + white[..., None]).astype(np.float32)), "board")
    assert (found.mask & (white > 0.02)).mean() < 0.005
    assert white[found.mask].mean() < 0.002
    assert set(found.left_out) == {"glare"}, "neither a knot nor a bench"
    assert found.used_share == pytest.approx(1 - found.left_out["glare"], abs=0.06)


def test_faint_glare_is_named() -> None:
    """A faint highlight is called glare, with its share of the surface."""
    image = board(depth=0.06)
    rows, columns = np.mgrid[0 : image.inside.shape[0], 0 : image.inside.shape[1]] / image.px_per_mm
    white = 0.05 * np.exp(-0.5 * (((columns - 80) / 12) ** 2 + ((rows - 22) / 6) ** 2))
    found = find_surface(replace(image, rgb=(image.rgb + white[..., None]).astype(np.float32)), "board")
    assert set(found.left_out) == {"glare"}
    assert (white > 0.01).mean() - 0.03 < found.glare_share < (white > 0.005).mean() + 0.03


def test_clipped_pixels_are_left_out() -> None:
    """Pixels at the top of the photo's range are not sampled, and their share is told."""
    image = board()
    burnt = ellipse(image, 60.0, 20.0, 8.0, 5.0)
    found = find_surface(replace(image, clipped=burnt), "board")
    assert not (found.mask & burnt).any()
    assert found.left_out["clipped"] == pytest.approx(burnt.mean(), abs=0.002)


def test_field_cut_by_the_photo() -> None:
    """What lies outside the photo is not sampled, and its share is told."""
    image = board()
    out = inside(image, Rect(20.0, -45.0, 40.0, 42.0))
    found = find_surface(replace(image, inside=~out), "board")
    assert not (found.mask & out).any()
    assert found.left_out["outside-photo"] == pytest.approx(out.mean(), abs=0.001)


def test_field_outside_the_photo_is_refused() -> None:
    """A field of which most, or just its middle, lies outside the photo is refused with exit code 5."""
    image = board()
    for seen in (Rect(20.0, -45.0, 30.0, 42.0), Rect(20.0, -45.0, 150.0, 15.0)):
        with pytest.raises(QualityError) as caught:
            find_surface(replace(image, inside=inside(image, seen)), "board")
        assert caught.value.code == "field-outside"
        assert caught.value.exit_code == ExitCode.QUALITY


def test_no_even_surface_is_refused() -> None:
    """A row of chips of wood, each a few square centimetres, is no even surface, and is refused."""
    image = board()
    rows, columns = np.mgrid[0 : image.inside.shape[0], 0 : image.inside.shape[1]] / image.px_per_mm
    chips = (columns % 22.0 < 16.0) & (rows >= 28.0)
    with pytest.raises(QualityError) as caught:
        find_surface(painted(image, ~chips, (20.0, 0.0, 0.0)), "board")
    assert caught.value.code == "no-surface"
    assert "board" in caught.value.message


def test_shares_are_of_field_and_surface() -> None:
    """The used share is of the field, the glare share of the surface's outline."""
    mask, outline, glare = np.zeros((3, 10, 10), dtype=bool)
    outline[:5], mask[:4], glare[4] = True, True, True
    surface = Surface(mask, outline, glare, {})
    assert (surface.used_share, surface.glare_share) == (0.4, 0.2)
    assert Surface(mask, np.zeros_like(mask), np.zeros_like(mask), {}).glare_share == 0.0


def test_field_names_are_the_strips() -> None:
    """The synthetic fields of these tests are the strip's own."""
    assert board().rect == STRIP.fields["board"]
    assert floor().rect == STRIP.fields["floor"]

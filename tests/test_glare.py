"""Mirrored light is found by the white it adds, and only where there is any."""

from __future__ import annotations

import numpy as np
import pytest
from rendered import corrected_field, streaks

from finishlab.colorimetry.spaces import lab_to_rgb
from finishlab.imaging.surface import added_white, glare_mask

WOOD = (50.0, 9.0, 22.0)
RGB = np.asarray(lab_to_rgb(np.array(WOOD)), dtype=np.float32)


def field(lab: tuple[float, float, float] = WOOD, seed: int = 1) -> np.ndarray:
    """Return a streaky field of a colour, shape (h, w, 3)."""
    return corrected_field(lab, grain=streaks(seed, 40.0, 1.5, depth=0.06)[0]).rgb


def highlight(shape: tuple[int, ...], peak: float, radius: tuple[float, float]) -> np.ndarray:
    """Return the white a lamp's reflection adds, one sigma in mm, shape (h, w), at 5 pixels a millimetre."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]] / 5.0
    return np.asarray(peak * np.exp(-0.5 * (((x - 70) / radius[0]) ** 2 + ((y - 22) / radius[1]) ** 2)))


def everywhere(rgb: np.ndarray) -> np.ndarray:
    """Return a mask of the whole picture."""
    return np.ones(rgb.shape[:2], dtype=bool)


@pytest.mark.parametrize("peak", [0.03, 0.06, 0.1, 0.3])
@pytest.mark.parametrize("radius", [(8.0, 5.0), (15.0, 7.0)])
def test_glare_is_masked_with_its_right_share(peak: float, radius: tuple[float, float]) -> None:
    """A highlight is masked wherever it adds 2 % of white, and the masked share is right within a few points.

    It lies between the area where 1 % is added, less 3 points, and the area where 0.5 % is, and 8 points: the mask is
    grown by a millimetre.
    """
    rgb = field()
    white = highlight(rgb.shape, peak, radius)
    mask = glare_mask((rgb + white[..., None]).astype(np.float32), everywhere(rgb), 5.0)
    assert (~mask & (white > 0.02)).mean() < 1e-3
    assert (white > 0.01).mean() - 0.03 < mask.mean() < (white > 0.005).mean() + 0.08
    assert white[~mask].mean() < 0.0015


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("lab", [WOOD, (32.0, 10.0, 14.0), (72.0, 5.0, 20.0)])
def test_no_false_glare_on_streaks(lab: tuple[float, float, float], seed: int) -> None:
    """Streaks that only scale the surface's light are not glare: less than 1 % is masked."""
    rgb = field(lab, seed)
    assert glare_mask(rgb, everywhere(rgb), 5.0).mean() < 0.01


@pytest.mark.parametrize("lightness", [25.0, 50.0, 80.0])
def test_no_false_glare_on_grey(lightness: float) -> None:
    """On a grey surface lighter grain and added white look alike, and then nothing is called glare."""
    rgb = field((lightness, 0.0, 0.0))
    assert not glare_mask(rgb, everywhere(rgb), 5.0).any()


def test_bright_spot_on_grey() -> None:
    """A spot far brighter than a grey surface is glare by its brightness alone."""
    rgb = field((40.0, 0.0, 0.0))
    white = highlight(rgb.shape, 0.8, (4.0, 3.0))
    mask = glare_mask((rgb + white[..., None]).astype(np.float32), everywhere(rgb), 5.0)
    assert mask[white > 0.4].all()
    assert mask.mean() < 0.05


def test_what_lies_beside_does_not_bleed_in() -> None:
    """A white bench beside the surface makes no glare on it."""
    rgb = field()
    on = everywhere(rgb)
    on[:, :300] = False
    rgb = rgb.copy()
    rgb[:, :300] = 0.9
    assert (glare_mask(rgb, on, 5.0) & on).mean() < 0.02


def test_no_surface_no_glare() -> None:
    """Without a surface nothing is glare."""
    rgb = field()
    assert not glare_mask(rgb, ~everywhere(rgb), 5.0).any()


def test_added_white_is_read_exactly() -> None:
    """White added to any multiple of the surface's colour is read back exactly (Shafer 1985)."""
    scale = np.array([0.7, 1.0, 1.4])
    white = np.array([0.0, 0.03, 0.2])
    found = added_white((scale[:, None] * RGB + white[:, None]).astype(np.float32), RGB)
    assert found == pytest.approx(white, abs=1e-5)


def test_nowhere_on_the_surface_is_smooth() -> None:
    """A surface of single scattered pixels is too thin to look for glare in, and none is found."""
    rgb = field()
    on = ~everywhere(rgb)
    on[::40, ::40] = True
    assert not glare_mask(rgb, on, 5.0).any()

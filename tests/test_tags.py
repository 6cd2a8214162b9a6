"""The tag family: what is printed is what is read."""

from __future__ import annotations

import numpy as np
import pytest
from rendered import rendered, scene_with

from finishlab.imaging.finder import MODULES, detect_tags, tag_modules
from finishlab.imaging.strip import STRIP


def sheet(ids: list[int], cell: int = 5) -> tuple[np.ndarray, list[tuple[int, int]]]:
    """Return a white picture with the tags in a row, and the top left pixel of each."""
    side = MODULES * cell
    picture = np.full((side + 40, (side + 20) * len(ids) + 20), 230, dtype=np.uint8)
    places = []
    for i, tag_id in enumerate(ids):
        left = 20 + i * (side + 20)
        modules = np.kron(tag_modules(tag_id), np.ones((cell, cell), dtype=bool))
        picture[20 : 20 + side, left : left + side] = np.where(modules, 230, 20)
        places.append((left, 20))
    return picture, places


@pytest.mark.parametrize("start", range(0, 240, 60))
def test_every_tag_is_read_where_it_stands(start: int) -> None:
    """Every tag a strip can carry is read as itself, its corners within a pixel of its outline."""
    side = MODULES * 5
    for first in range(start, start + 60, 12):
        ids = list(range(first, first + 12))
        picture, places = sheet(ids)
        found = dict(detect_tags(picture, 20.0))
        assert set(found) == set(ids)
        for tag_id, (left, top) in zip(ids, places, strict=True):
            edges = np.array([[left, top], [left + side, top], [left + side, top + side], [left, top + side]]) - 0.5
            assert np.abs(found[tag_id] - edges).max() < 1.0


def test_tag_has_a_black_border() -> None:
    """A tag is seven modules square with a black border all round."""
    for tag_id in (0, 123, 239):
        modules = tag_modules(tag_id)
        assert modules.shape == (MODULES, MODULES)
        inner = modules[1:-1, 1:-1]
        assert modules.sum() == inner.sum() > 0


@pytest.mark.parametrize("tag_id", [-1, 250])
def test_no_such_tag(tag_id: int) -> None:
    """An id outside the family is refused."""
    with pytest.raises(ValueError, match="ids 0 to 249"):
        tag_modules(tag_id)


def test_too_small_tags_are_not_looked_for() -> None:
    """Tags much smaller than the smallest asked for are left alone."""
    picture, _ = sheet([3, 4], cell=3)
    assert len(detect_tags(picture, 15.0)) == 2
    assert detect_tags(picture, 60.0) == []


def test_blank_paper_has_no_tag() -> None:
    """An even grey picture holds no tag."""
    assert detect_tags(np.full((300, 400), 128, dtype=np.uint8), 10.0) == []


@pytest.mark.parametrize("seed", range(2))
def test_wood_is_no_tag(seed: int) -> None:
    """Rendered wood and floor without a strip show no tag of the strip."""
    pixels = rendered(scene_with(strip=None, seed=seed)).pixels
    assert not [tag for tag, _ in detect_tags(pixels[..., 1], 8.0) if STRIP.read_tag(tag) is not None]

"""A blurred photo is told from a smooth one that is sharp, by its own edges. All photos are rendered."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from conftest import amount
from render.chance import random_scene
from render.photo import render_scene
from render.scene import Blob, Scene
from rendered import photo_of

from finishlab.errors import NoStripError
from finishlab.imaging.finder import find_strip
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.sampling import looks_blurred


@cache
def scene(seed: int) -> Scene:
    """Return a random scene as a phone takes it."""
    return random_scene(np.random.default_rng(seed), size=(1000, 750))


def shot(seed: int, **changes: object) -> LinearImage:
    """Return a random scene photographed, with changes."""
    return photo_of(render_scene(replace(scene(seed), **changes)).pixels)  # type: ignore[arg-type] # as Scene takes them


def test_most_blurred_photos_are_told() -> None:
    """In three of four or more of photos so blurred that no strip is found, the blur is seen."""
    told = []
    for seed in range(900, 900 + amount(4, 8)):
        image = shot(seed, blur_px=6.0 if seed % 2 else 9.0)
        with pytest.raises(NoStripError):
            find_strip(image)
        told.append(looks_blurred(image))
    assert np.mean(told) >= 0.75


@pytest.mark.parametrize("seed", range(860, 864))
def test_sharp_photos_without_a_strip_are_not_called_blurred(seed: int) -> None:
    """Boards, floors and benches without a strip, photographed sharp, are not blurred."""
    changes = ({}, {"board": None}, {"floor": None}, {"board": None, "floor": None})[seed % 4]
    assert not looks_blurred(shot(seed, strip=None, **changes))


def test_soft_shadows_are_not_blur() -> None:
    """Soft shadows and highlights stronger than every edge of a sharp photo do not make it blurred."""
    shadows = tuple(
        Blob(x, y, (40.0, 25.0), edge=edge, darkening=0.6)
        for x, y, edge in ((20.0, -40.0, 1.0), (95.0, 20.0, 0.5), (160.0, 90.0, 1.5))
    )
    for seed in (855, 803):
        assert not looks_blurred(shot(seed, strip=None, blobs=shadows))


@pytest.mark.parametrize("blur", [0.4, 1.2])
def test_a_found_strip_is_never_in_a_blurred_photo(blur: float) -> None:
    """As sharp as careful photos are, with a strip in them, none is called blurred."""
    assert not any(looks_blurred(shot(seed, blur_px=blur)) for seed in range(900, 903))


@pytest.mark.parametrize("size", [(20, 30), (600, 800)])
def test_a_smooth_photo_says_nothing(size: tuple[int, int]) -> None:
    """A photo of one colour, or of light that changes slowly, is not called blurred, however small it is."""
    ramp = np.linspace(20, 235, size[1])[None, :, None] * np.ones((*size, 3))
    assert not looks_blurred(photo_of(ramp.astype(np.uint8)))
    assert not looks_blurred(photo_of(np.full((*size, 3), 128, np.uint8)))


def test_sixteen_bit_alike() -> None:
    """A 16 bit photo is judged as its 8 bit copy is."""
    image = shot(903, blur_px=6.0)
    deep = replace(image, encoded=image.encoded.astype(np.uint16) * 257, decode=np.linspace(0, 1, 65536, dtype="f4"))
    assert looks_blurred(image)
    assert looks_blurred(deep)

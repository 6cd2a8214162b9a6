"""The mean chroma of a surface in a coarse JPEG: what the file keeps of it, what is made of that; rendered photos."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from accuracy_cases import calm_scene
from accuracy_photos import floor_kind, photo_of
from conftest import amount
from hypothesis import given, settings
from hypothesis import strategies as st
from photo_samples import saved
from PIL import Image
from render.encode import decode_jpeg, encode_jpeg
from render.photo import render_scene

from finishlab.imaging.opencv import turn_upright
from finishlab.imaging.pixels import ChromaBlocks, LinearImage
from finishlab.imaging.sampling import CHROMA_TO_RGB, chroma_move, mean_before_rounding
from finishlab.imaging.strip import FIELD_NAMES
from finishlab.measure.areas import GreyArea, PixelRect
from finishlab.measure.by_hand import measure_by_hand
from finishlab.measure.flow import measure
from finishlab.measure.results import Measurement
from finishlab.photos import read_photo
from finishlab.photos.files import chroma_blocks
from finishlab.photos.header import chroma_step

ROUNDED_ON_THE_WAY = 0.5
"""Codes by which the encoder's own whole numbers may carry a block's mean over a limit."""


def mottled(width: int = 203, height: int = 149) -> np.ndarray:
    """Return a picture of soft colours; its size is no multiple of a block's."""
    rng = np.random.default_rng(3)
    coarse = Image.fromarray(rng.integers(70, 190, (8, 11, 3), dtype=np.uint8))
    return np.asarray(coarse.resize((width, height), Image.Resampling.BICUBIC))


def chroma_of(rgb: np.ndarray) -> np.ndarray:
    """Return Cb and Cr about grey, shape (..., 2), of RGB codes (JFIF, ITU-T T.871)."""
    luma = rgb @ [0.299, 0.587, 0.114]
    return np.stack([(rgb[..., 2] - luma) / 1.772, (rgb[..., 0] - luma) / 1.402], axis=-1)


def block_means(blocks: ChromaBlocks, rgb: np.ndarray) -> np.ndarray:
    """Return the mean chroma of each block in a picture of the decoded size."""
    (w, h), (x, y), (rows, columns) = blocks.side, blocks.first, blocks.low.shape[:2]
    part = rgb[y : y + rows * h, x : x + columns * w].astype(float)
    assert part.shape[:2] == (rows * h, columns * w)
    return chroma_of(part.reshape(rows, h, columns, w, 3).mean(axis=(1, 3)))


# -- what the file keeps


@pytest.mark.parametrize("subsampling", ["4:4:4", "4:2:2", "4:2:0"])
@pytest.mark.parametrize("quality", [40, 60, 75, 80])
def test_the_limits_of_a_block_hold_its_mean(quality: int, subsampling: str) -> None:
    """What was saved lies between the limits read from the file, which are one step apart or a code more."""
    pixels = mottled()
    data = encode_jpeg(pixels, quality, subsampling)  # type: ignore[arg-type]  # a parameter of the test
    blocks = chroma_blocks(data, (203, 149))
    assert blocks is not None
    step = chroma_step(Image.open(BytesIO(data)))
    means = block_means(blocks, pixels)
    assert (means > blocks.low - ROUNDED_ON_THE_WAY).all()
    assert (means < blocks.high + ROUNDED_ON_THE_WAY).all()
    assert ((means > blocks.low - 0.1) & (means < blocks.high + 0.1)).mean() > 0.9
    width = blocks.high - blocks.low
    assert width.min() >= step - 1e-6
    assert width.max() <= max(step, 1.0) + step


@pytest.mark.parametrize("quality", [65, 75, 80])
def test_limits_of_chroma_at_full_size_lie_about_its_mean(quality: int) -> None:
    """With chroma at full size the middle between the limits is off by less than 0.1 codes on average.

    Steps of one and a half codes, as at quality 65, meet halves that the decoder rounds up: taken either way they would
    move the means.
    """
    rng = np.random.default_rng(5)
    off = []
    for _ in range(12):
        colour = rng.uniform(80, 170) + rng.uniform(-30, 30, 3)
        pixels = np.clip(np.rint(colour + rng.normal(0, 3, (128, 128, 3))), 0, 255).astype(np.uint8)
        blocks = chroma_blocks(encode_jpeg(pixels, quality, "4:4:4"), (128, 128))
        assert blocks is not None
        off.append((blocks.low + blocks.high) / 2 - block_means(blocks, pixels))
    assert np.abs(np.mean(off, axis=(0, 1, 2))).max() < 0.1


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("reduced", [1, 2, 4])
def test_blocks_lie_where_they_are_in_the_upright_photo(orientation: int, reduced: int) -> None:
    """Turned, mirrored or decoded at a reduced size, each block's limits hold the mean of the pixels it covers."""
    pixels = mottled(406, 298)
    decoded = (-(-406 // reduced), -(-298 // reduced))
    blocks = chroma_blocks(encode_jpeg(pixels, 60), decoded, orientation)
    assert blocks is not None
    small = np.asarray(Image.fromarray(pixels).reduce(reduced))
    means = block_means(blocks, turn_upright(small, orientation))
    assert blocks.side == (16 // reduced, 16 // reduced)
    assert (means > blocks.low - 0.6).all()
    assert (means < blocks.high + 0.6).all()


def test_reading_a_photo_brings_its_blocks(tmp_path: Path) -> None:
    """A coarse JPEG comes with its blocks; a fine one, one without colour and a PNG without."""
    pixels = mottled()
    kept = {
        "coarse.jpg": encode_jpeg(pixels, 60),
        "fine.jpg": encode_jpeg(pixels, 95),
        "as cameras save.jpg": encode_jpeg(pixels, 85),
        "grey.jpg": saved(pixels[..., 0], "JPEG", quality=60),
        "plain.png": saved(pixels, "PNG"),
    }
    for name, data in kept.items():
        (tmp_path / name).write_bytes(data)
        assert (read_photo(tmp_path / name).chroma is not None) == (name == "coarse.jpg")


def test_what_is_no_jpeg_has_no_blocks() -> None:
    """Bytes that cannot be decoded give nothing, and no error: the photo's own reading says what is wrong."""
    assert chroma_blocks(b"\xff\xd8\xff no photo", (10, 10)) is None


@pytest.mark.parametrize("size", [(1, 1), (7, 5), (15, 40), (16, 16), (33, 17)])
def test_a_photo_of_a_block_or_less_is_read(tmp_path: Path, size: tuple[int, int]) -> None:
    """Blocks that the photo's edge cuts are left out; where none is whole there are none."""
    (tmp_path / "small.jpg").write_bytes(encode_jpeg(mottled()[: size[1], : size[0]], 60))
    chroma = read_photo(tmp_path / "small.jpg").chroma
    whole = (size[1] // 16, size[0] // 16)
    assert (chroma is not None) == (min(whole) > 0)
    assert chroma is None or chroma.low.shape == (*whole, 2)


def test_a_jpeg_that_keeps_rgb_has_no_chroma(tmp_path: Path) -> None:
    """A JPEG whose layers are red, green and blue is read as it is."""
    Image.fromarray(mottled()).save(tmp_path / "rgb.jpg", quality=60, keep_rgb=True)
    assert read_photo(tmp_path / "rgb.jpg").chroma is None


# -- what is made of it


def rounded(values: np.ndarray, step: float) -> tuple[np.ndarray, np.ndarray]:
    """Return between which limits values lay that were rounded to steps."""
    middle = np.round(values / step) * step
    return middle - step / 2, middle + step / 2


def test_the_mean_is_found_from_the_few_blocks_that_fall_differently() -> None:
    """Over an even surface the mean is at most 0.6 as far off as the middle of the blocks, and as near as stated."""
    rng = np.random.default_rng(11)
    off, plain, scores = [], [], []
    for _ in range(120):
        true, slope, scatter = rng.uniform(-25, 25), rng.uniform(0.0, 0.8), rng.uniform(0.1, 0.35)
        luma = 110 + rng.normal(0.0, 2.0, 200)
        values = true + slope * true / 110 * (luma - luma.mean()) + rng.normal(0.0, scatter, 200)
        low, high = rounded(values, 1.75)
        mean, error = mean_before_rounding(low, high, luma)
        off.append(mean - values.mean())
        plain.append(((low + high) / 2).mean() - values.mean())
        scores.append(off[-1] / error)
    assert np.std(off) < 0.6 * np.std(plain)
    assert 0.7 < np.sqrt(np.mean(np.square(scores))) < 1.2


@settings(max_examples=40)
@given(
    true=st.floats(-60, 60),
    scatter=st.floats(0.0, 15.0),
    step=st.floats(0.5, 6.0),
    count=st.integers(12, 300),
)
def test_the_mean_never_leaves_what_the_blocks_allow(true: float, scatter: float, step: float, count: int) -> None:
    """However even or mixed a surface is, the mean stays within a step of the blocks' own, its error below a step."""
    rng = np.random.default_rng(count)
    low, high = rounded(true + scatter * rng.standard_normal(count), step)
    mean, error = mean_before_rounding(low, high, 100 + 3 * rng.standard_normal(count))
    assert abs(mean - ((low + high) / 2).mean()) < step
    assert 0.0 < error < max(step, 6 * scatter / np.sqrt(count) + 0.1)


def even_photo(code: tuple[int, int, int]) -> LinearImage:
    """Return a photo of one colour with a little noise, saved at quality 60."""
    noise = np.random.default_rng(5).normal(0.0, 2.0, (160, 320, 1))
    pixels = np.clip(np.rint(np.array(code) + noise), 0, 255).astype(np.uint8)
    data = encode_jpeg(pixels, 60)
    return photo_of(decode_jpeg(data), jpeg=data)


def test_the_decoders_own_rounding_is_undone() -> None:
    """With what is to be added, an even picture's chroma lies between its blocks' limits, whatever the decoder made."""
    for code in ((150, 110, 71), (148, 111, 70), (97, 84, 66), (181, 149, 120)):
        image = even_photo(code)
        found = chroma_move(image, np.eye(3), np.ones((160, 320), dtype=bool))
        assert found is not None
        assert image.chroma is not None
        mean = chroma_of(image.encoded.mean(axis=(0, 1))) + found.move
        inside = image.chroma.low.mean(axis=(0, 1)), image.chroma.high.mean(axis=(0, 1))
        assert (mean > inside[0] - 0.02).all()
        assert (mean < inside[1] + 0.02).all()
        assert (np.abs(mean - chroma_of(np.array(code, dtype=float))) < 1.0).all()


def test_nothing_is_said_of_a_few_blocks_or_of_none() -> None:
    """A surface of less than a dozen whole blocks, one outside the photo, or a photo without blocks: no move."""
    image = even_photo((150, 110, 71))
    mask = np.zeros((160, 320), dtype=bool)
    mask[:40, :40] = True
    assert chroma_move(image, np.eye(3), mask) is None
    away = np.array([[1.0, 0.0, 5000.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    assert chroma_move(image, away, ~mask) is None
    assert chroma_move(replace(image, chroma=None), np.eye(3), ~mask) is None
    assert chroma_move(image, np.eye(3), ~mask) is not None


def test_chroma_is_that_of_the_standard() -> None:
    """The matrix from Cb and Cr to RGB is the inverse of how they are made (ITU-T T.871)."""
    rgb = np.array([150.0, 110.0, 71.0])
    luma = rgb @ [0.299, 0.587, 0.114]
    assert np.allclose(luma + CHROMA_TO_RGB @ chroma_of(rgb), rgb, atol=2e-3)


# -- rendered photos

SIZE = (1000, 750)


@cache
def pixels_of(seed: int) -> np.ndarray:
    """Return a calm scene as rendered, before any JPEG."""
    return render_scene(replace(calm_scene(seed, SIZE), jpeg_quality=None)).pixels


def saved_again(seed: int, quality: int) -> LinearImage:
    """Return the scene saved as a JPEG."""
    data = encode_jpeg(pixels_of(seed), quality, calm_scene(seed, SIZE).subsampling)
    return photo_of(decode_jpeg(data), str(seed), data)


@cache
def measured(seed: int, quality: int, *, blocks: bool = True) -> Measurement:
    """Return both fields of the scene saved at a quality, measured with or without its blocks."""
    image = saved_again(seed, quality)
    kind = floor_kind(calm_scene(seed, SIZE))
    return measure(image if blocks else replace(image, chroma=None), FIELD_NAMES, kind).measurement


SEEDS = (41, 42, 44, 45, 46, 47, 48, 50)[: amount(4, 8)]
"""Scenes that nothing was chosen on; the camera with a stacked sensor left out."""


def test_low_quality_moves_rendered_pairs_by_no_more_than_a_fifth() -> None:
    """At 60 or 75, pairs in photos 1000 pixels wide move by 0.2 on average: some of docs/accuracy.md's scenes."""
    for quality in (60, 75):
        moves = []
        for seed in range(1, amount(3, 8) + 1):
            base, again = (measured(seed, q).pair for q in (92, quality))
            assert base is not None
            assert again is not None
            moves.append(abs(again.value - base.value))
        assert np.mean(moves) <= 0.2


@pytest.mark.parametrize("quality", [60, 75])
def test_colours_keep_what_low_quality_would_round_off(quality: int) -> None:
    """On other scenes, a* and b* of both fields move by no more than 0.7 of what they move without their blocks."""
    moves: dict[bool, list[float]] = {True: [], False: []}
    for seed in SEEDS:
        base = measured(seed, 92)
        for blocks, into in moves.items():
            again = measured(seed, quality, blocks=blocks)
            for name in FIELD_NAMES:
                off = np.subtract(again.fields[name].estimate.lab, base.fields[name].estimate.lab)
                into.append(float(np.hypot(off[1], off[2])))
    assert np.mean(moves[True]) < 0.7 * np.mean(moves[False])


def test_the_doubt_shrinks_with_what_was_found() -> None:
    """A surface's own doubt of a* and b* is smaller with its blocks, and not below half of that of a fine JPEG."""
    for seed in SEEDS[:3]:
        own = [
            np.sqrt(np.diag(measured(seed, quality, blocks=blocks).fields["board"].estimate.own))[1:]
            for quality, blocks in ((92, True), (60, True), (60, False))
        ]
        assert (own[1] < own[2]).all()
        assert (own[1] > 0.5 * own[0]).all()


def test_an_area_named_by_hand_is_put_right_too() -> None:
    """Beside one grey, boards saved at quality 60 come out nearer to themselves than without their blocks."""
    moves: dict[bool, list[float]] = {True: [], False: []}
    area, grey = PixelRect(300, 120, 400, 150), GreyArea(PixelRect(484, 372, 30, 10), 94.7)
    for seed in SEEDS:
        plain = measure_by_hand(photo_of(pixels_of(seed)), [grey], area).measurement.fields["board"].estimate.lab
        image = saved_again(seed, 60)
        for blocks, into in moves.items():
            again = measure_by_hand(image if blocks else replace(image, chroma=None), [grey], area).measurement
            off = np.subtract(again.fields["board"].estimate.lab, plain)
            into.append(float(np.hypot(off[1], off[2])))
    assert np.median(moves[True]) < 0.8 * np.median(moves[False])

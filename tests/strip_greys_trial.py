"""How much a strip's own greys help, on rendered scenes with known truth.

Run ``python tests/strip_greys_trial.py --scenes 60``; docs/decisions/0006-strip-greys.md quotes its output. Every
scene's strip is printed with its own paper, black and gamma. The same photo is measured four ways: with the greys of a
nominal print, with all eight levels as an instrument reads them (0.3 L* noise), with what one grey card of about L* 50
in a second photo of the strip tells (its L* known to 0.5), and with the true greys.
"""

from __future__ import annotations

import argparse
import json
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
from accuracy_photos import photo_of
from render.chance import random_scene
from render.photo import render_scene
from render.scene import Scene, Surface
from render.spectral import grey_material
from render.texture import Texture

from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness
from finishlab.errors import FinishlabError
from finishlab.imaging.finder import apply_homography, find_strip
from finishlab.imaging.greys import USUAL, StripGreys, greys_of_readings
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.strip import STRIP, Rect
from finishlab.measure.areas import GreyArea, PixelRect
from finishlab.measure.flow import measure
from finishlab.measure.learn_print import learn_greys
from finishlab.measure.results import SurfaceKind

WAYS = ("nominal", "typed", "one grey", "three greys", "true")
INSTRUMENT = 0.3
CARD = 0.5
SIZE = (1200, 900)


def card_photo(scene: Scene, greys: tuple[float, ...], rng: np.random.Generator) -> tuple[LinearImage, list[GreyArea]]:
    """Return another photo of the scene's strip, with cards of these L* in the board field, and where they are."""
    known = []
    image = None
    width = 120.0 / len(greys)
    for index, lightness in enumerate(greys):
        card = grey_material(float(reflectance_of_lightness(lightness)))
        surface = Surface(card, Rect(-20.0, -60.0, 230.0, 60.0), Texture(grain=0.0, pores=0.0))
        shot = render_scene(replace(scene, board=surface, floor=None, glares=(), seed=scene.seed + 1))
        picture = photo_of(shot.pixels, str(scene.seed))
        fit = find_strip(picture)
        middle = apply_homography(fit.to_pixels, np.array([35.0 + width * (index + 0.5), -18.0]))
        half = max(3, int(6.0 * fit.px_per_mm))
        x, y = (int(value) for value in middle)
        said = float(np.array(card.lab)[0] + rng.normal(0.0, CARD))
        known.append(GreyArea(PixelRect(x - half, y - half, 2 * half, 2 * half), round(said, 2)))
        if image is None:
            image = shot.pixels.copy()
        else:
            image[y - half : y + half, x - half : x + half] = shot.pixels[y - half : y + half, x - half : x + half]
    assert image is not None
    return photo_of(image, str(scene.seed)), known


def ways_of(scene: Scene, rng: np.random.Generator) -> dict[str, StripGreys]:
    """Return what each way knows of the scene's strip."""
    assert scene.strip is not None
    values = scene.strip.printer.reflectance(np.asarray(STRIP.greys))
    lightness = np.asarray(lightness_of_reflectance(values))
    number = scene.strip.number
    read = {level: [float(each)] for level, each in enumerate(lightness + rng.normal(0.0, INSTRUMENT, lightness.size))}
    photo, known = card_photo(scene, (50.0,), rng)
    photo3, known3 = card_photo(scene, (35.0, 55.0, 80.0), rng)
    return {
        "usual": USUAL,
        "typed": greys_of_readings(read, number=number),
        "one grey": learn_greys(photo, known, number=number).greys,
        "three greys": learn_greys(photo3, known3, number=number).greys,
        "true": StripGreys(tuple(float(v) for v in values), (), "typed", number),
    }


def task(seed: int) -> dict[str, tuple[float, ...]] | None:
    """Return, by way: error of the pair beyond the ideal camera's, of the greys, L* of the board, width, held."""
    scene = random_scene(np.random.default_rng(seed), size=SIZE)
    rng = np.random.default_rng(10_000 + seed)
    shot = render_scene(scene)
    truth = shot.truth
    assert truth.delta_e00 is not None
    assert truth.ideal_delta_e00 is not None
    assert scene.strip is not None
    assert scene.floor is not None
    real = lightness_of_reflectance(scene.strip.printer.reflectance(np.asarray(STRIP.greys)))
    out: dict[str, tuple[float, ...]] = {}
    try:
        image = photo_of(shot.pixels, str(seed))
        fit = find_strip(image)
        kind: SurfaceKind = "print" if scene.floor.material.kind == "print" else "wood"
        for way, greys in ways_of(scene, rng).items():
            seen = measure(image, ("board", "floor"), kind, fit, greys).measurement
            pair = seen.pair
            assert pair is not None
            lightness = np.mean([seen.fields[name].estimate.lab[0] for name in ("board", "floor")])
            assert truth.ideal_board_lab is not None
            assert truth.ideal_floor_lab is not None
            ideal = np.mean([truth.ideal_board_lab[0], truth.ideal_floor_lab[0]])
            held = pair.low <= truth.delta_e00 <= pair.high
            off = np.abs(np.array(greys.lightness) - real)
            out[way] = (
                abs(pair.value - truth.ideal_delta_e00),
                float(off[1:].mean()),
                float(abs(lightness - ideal)),
                pair.high - pair.low,
                float(held),
            )
    except FinishlabError as error:
        print(seed, error.code)
        return None
    return out


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=60)
    parser.add_argument("--first", type=int, default=1)
    options = parser.parse_args()
    found = []
    with ProcessPoolExecutor(2) as pool:
        for each in pool.map(task, range(options.first, options.first + options.scenes)):
            print(json.dumps(each), file=sys.stderr, flush=True)
            found += [each] if each else []
    print(f"{len(found)} of {options.scenes} rendered scenes")
    print("| greys | pair error, mean | 95th | greys off, L* | level off, L* | interval width | holds |")
    print("|---|---|---|---|---|---|---|")
    for way in WAYS:
        table = np.array([each[way] for each in found])
        mean = table.mean(axis=0)
        print(
            f"| {way} | {mean[0]:.3f} | {np.percentile(table[:, 0], 95):.3f} | {mean[1]:.2f} | {mean[2]:.2f} "
            f"| {mean[3]:.2f} | {100 * mean[4]:.1f} % |"
        )


if __name__ == "__main__":
    main()

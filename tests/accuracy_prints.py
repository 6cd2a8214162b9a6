"""The same scenes with strips from any printer, measured before and after their print is learned from a photo.

Shared by the accuracy trials and ``docs/build_accuracy.py``. The photo a print is learned from is rendered too: the
strip alone from a few steps back, by the scene's own camera in its own light.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from accuracy_photos import Record, pair_record, picture_of, shot_of
from render.chance import random_scene
from render.printers import PRINTERS
from render.scene import Scene
from render.view import View

from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.errors import FinishlabError
from finishlab.imaging.greys import StripGreys
from finishlab.imaging.strip import STRIP

_FAR: Final = (300.0, 450.0)
"""Length of the strip in the photo it is learned from, pixels."""
_WIDTH: Final = 1000
"""Width of that photo: the part of a phone's that is around the strip."""


def stand_back(scene: Scene) -> Scene:
    """Return the photo a user takes of the scene's strip from two or three steps back: same phone, lamp and strip."""
    rng = np.random.default_rng([scene.seed, 2])
    view = View(
        width=_WIDTH,
        height=_WIDTH * 3 // 4,
        strip_share=float(rng.uniform(*_FAR)) / _WIDTH,
        rotation=float(rng.normal(0.0, 6.0)) % 360.0,
        tilt=float(min(abs(rng.normal(0.0, 10.0)), 30.0)),
        tilt_azimuth=float(rng.uniform(0.0, 360.0)),
        aim=(95.0 + float(rng.normal(0.0, 15.0)), 23.0 + float(rng.normal(0.0, 15.0))),
    )
    white = (float(np.exp(rng.normal(0.0, 0.03))), float(np.exp(rng.normal(0.0, 0.04))))
    light = replace(scene.light, gradient=float(rng.uniform(0.0, 0.15)), direction=float(rng.uniform(0.0, 360.0)))
    return replace(
        scene,
        view=view,
        board=None,
        floor=None,
        glares=(),
        light=light,
        veil=float(rng.uniform(0.0, 0.012)),
        blur_px=float(rng.uniform(0.4, 1.2)),
        exposure=float(rng.uniform(0.55, 0.85)),
        white_error=white,
        seed=int(rng.integers(2**31)),
    )


def learned_greys(scene: Scene) -> StripGreys | str:
    """Return what one photo from a few steps back tells of a scene's print, or why it was refused."""
    from finishlab.measure.learn_print import learn_print, look_at_print

    assert scene.strip is not None
    try:
        look = look_at_print(picture_of(stand_back(scene), f"{scene.seed}"))
        return learn_print([look], number=scene.strip.number).greys
    except FinishlabError as error:
        return error.code


def print_record(scene: Scene) -> Record:
    """Return what the scene's printer is, and L* of its middle grey."""
    assert scene.strip is not None
    printer = scene.strip.printer
    kind = "toner saving" if printer.toner < 1.0 else printer.kind
    middle = float(lightness_of_reflectance(printer.reflectance(np.array(STRIP.greys[3]))))
    return {"printer": printer.name, "print_kind": kind, "middle": middle, "tone": type(scene.tone).__name__}


def greys_off(scene: Scene, greys: StripGreys) -> Record:
    """Return by how much greys are off those of the scene's print, root mean square over the levels, L*.

    ``greys_off`` as they are; ``greys_off_shape`` with the paper taken as known, which no photo of greys can tell from
    the light: it scales all of them alike.
    """
    assert scene.strip is not None
    true, found = scene.strip.printer.reflectance(np.array(STRIP.greys)), np.array(greys.values)

    def off(values: np.ndarray) -> float:
        gap = lightness_of_reflectance(values) - lightness_of_reflectance(true)
        return float(np.sqrt(np.mean(gap**2)))

    return {"greys_off": off(found), "greys_off_shape": off(found * true[-1] / found[-1])}


def printed(scene: Scene, name: str) -> Record:
    """Return a scene measured before and, under ``learned``, after its print was learned."""
    image = picture_of(scene, name)
    record = print_record(scene) | pair_record(scene, shot_of(image, scene))
    greys = learned_greys(scene)
    if isinstance(greys, str):
        return record | {"learned": {"refused": greys}}
    after = pair_record(scene, shot_of(image, scene, greys=greys)) | greys_off(scene, greys)
    return record | {"learned": after}


def drawn(seed: int, size: tuple[int, int]) -> Record:
    """Return scene `seed` of the random scenes, its printer and tone curve drawn too."""
    return {"seed": seed} | printed(random_scene(np.random.default_rng(seed), size=size), str(seed))


def member(seed: int, size: tuple[int, int], index: int) -> Record:
    """Return scene `seed` of another row of random scenes, printed by a named printer and all else the same."""
    scene = random_scene(np.random.default_rng(300_000 + seed), size=size)
    assert scene.strip is not None
    strip = replace(scene.strip, printer=PRINTERS[index])
    return {"seed": seed} | printed(replace(scene, strip=strip), str(seed))


def nominal(seed: int, size: tuple[int, int]) -> Record:
    """Return scene `seed` of the random scenes with the print as it was taken to be, within 5 % of its exponent."""
    scene = random_scene(np.random.default_rng(seed), size=size, nominal=True)
    return {"seed": seed} | pair_record(scene, shot_of(picture_of(scene, str(seed)), scene))

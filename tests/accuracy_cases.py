"""Rendered scenes measured beside their truth: sessions of several photos, one thing changed at a time, the budget.

Shared by the trials and ``docs/build_accuracy.py``. Printers and tone curves are drawn from all that people have.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np
from accuracy_photos import Record, floor_kind, pair_found, pair_record, picture_of, shoot, shot_of, truth_of_pair
from accuracy_prints import learned_greys, print_record
from render.camera import Film
from render.chance import random_scene, wood_pool
from render.paper import PrintedStrip
from render.printers import PRINTERS
from render.scene import Scene, Surface
from render.spectral import Material
from render.texture import Texture
from render.view import Light, View

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.estimate import LabEstimate, pool_estimates
from finishlab.imaging.greys import USUAL, StripGreys
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.processing import SATURATION_BOOST
from finishlab.imaging.strip import FieldName

SPOTS: Final = 3
"""Photos of the floor in a session."""
LADDER: Final = 3
"""Boards in a session, each 1 CIEDE2000 farther from the floor than the one before."""
STRIP_SHARE: Final = 0.6
"""Length of the strip over the photo's width in scenes where one thing is changed."""

# -- several photos of one job -----------------------------------------------------------------------------------------


def session_scenes(seed: int, size: tuple[int, int]) -> tuple[Scene, list[Material], list[tuple[FieldName, Scene]]]:
    """Return what one session's photos share, its boards, and its photos: first those of the floor, then each board's.

    One light, one camera with its tone curve and saturation, one strip; view, evenness of light, exposure, white
    balance, glare and noise are new in each photo. Board k + 1 is 1 CIEDE2000 farther from the floor than board k.
    """
    rng = np.random.default_rng(900_000 + seed)
    base = random_scene(rng, floor_is="print" if seed % 2 else "wood", size=size)
    assert base.board is not None
    assert base.floor is not None
    boards = _ladder(base.floor.material, rng)

    def photo(part: FieldName, surface: Surface) -> tuple[FieldName, Scene]:
        other = random_scene(rng, size=size)
        changes: dict[str, Any] = {"board": None, "floor": None, part: surface}
        changes |= {name: getattr(base, name) for name in ("lamp", "camera", "strip", "tone", "saturation", "sharpen")}
        return part, replace(other, **changes)

    photos = [photo("floor", base.floor) for _ in range(SPOTS)]
    photos += [photo("board", replace(base.board, material=board)) for board in boards]
    return base, boards, photos


def session(seed: int, size: tuple[int, int]) -> list[Record]:
    """Return the boards of one session, each in a photo of its own, against a floor pooled from several photos.

    What the same photos give measured again once all were in stands under ``again``, and once the strip has been
    learned from a photo of its own under ``learned``.
    """
    base, boards, photos = session_scenes(seed, size)
    assert base.floor is not None
    images = [picture_of(scene, f"{seed}-{number}") for number, (_, scene) in enumerate(photos)]
    assert base.strip is not None
    logged, said = _logged(photos, images, base.strip.number)
    again = _measured(photos, images, _settled(base.strip.number, said))
    greys = learned_greys(base)
    ladders = [_ladder_records(base, boards, found) for found in (logged, again)]
    if isinstance(greys, str):
        ladders.append([{"refused": greys}] * len(boards))
    else:
        ladders.append(_ladder_records(base, boards, _measured(photos, images, greys)))
    plain = {"seed": seed, "floor_is": floor_kind(base), "lamp": base.lamp, "camera": base.camera}
    told = plain | print_record(base)
    return [told | one | {"again": two, "learned": three} for one, two, three in zip(*ladders, strict=True)]


Photos = list[tuple[FieldName, Scene]]


def _settled(number: int, said: list[tuple[float, ...]]) -> StripGreys | None:
    """Return a usual print with what photos of it said, as a logbook holds it."""
    if not said:
        return None
    return replace(USUAL, number=number, photos=len(said), said=tuple(float(each) for each in np.mean(said, axis=0)))


def _logged(
    photos: Photos, images: list[LinearImage], number: int
) -> tuple[list[LabEstimate | str], list[tuple[float, ...]]]:
    """Return the colours, each measured with what the photos before said of the print, and what all said."""
    found: list[LabEstimate | str] = []
    said: list[tuple[float, ...]] = []
    for (part, scene), image in zip(photos, images, strict=True):
        # The kind of the floor is not seen in a photo of a board alone.
        shot = shot_of(image, scene, (part,), _settled(number, said))
        if shot.inspection is None:
            found.append(shot.refused)
            continue
        measurement = shot.inspection.measurement
        found.append(measurement.fields[part].estimate)
        said.append(tuple(measurement.correction["print"]))
    return found, said


def _measured(photos: Photos, images: list[LinearImage], greys: StripGreys | None) -> list[LabEstimate | str]:
    """Return the colours, measured with what is known of the strip."""
    shots = [shot_of(image, scene, (part,), greys) for (part, scene), image in zip(photos, images, strict=True)]
    return [
        shot.refused if shot.inspection is None else shot.inspection.measurement.fields[part].estimate
        for shot, (part, _) in zip(shots, photos, strict=True)
    ]


def _ladder_records(base: Scene, boards: list[Material], found: list[LabEstimate | str]) -> list[Record]:
    """Return each board of a session against the pooled floor."""
    assert base.floor is not None
    good = [spot for spot in found[:SPOTS] if not isinstance(spot, str)]
    out = []
    for step, (board, estimate) in enumerate(zip(boards, found[SPOTS:], strict=True)):
        record: Record = {"step": step} | truth_of_pair(board, base.floor.material, base)
        if isinstance(estimate, str) or not good:
            out.append(record | {"refused": estimate if isinstance(estimate, str) else "floor"})
            continue
        record |= pair_found(estimate, pool_estimates(good), board.lab, base.floor.material.lab)
        one = pair_found(estimate, good[0], board.lab, base.floor.material.lab)
        out.append(record | {"one_spot": one["value"], "refused": ""})
    return out


def _ladder(floor: Material, rng: np.random.Generator) -> list[Material]:
    """Draw boards whose true CIEDE2000 from the floor goes up in steps of 1, each step to a tenth."""
    pool = wood_pool()
    away = np.asarray(delta_e_00(np.array([m.lab for m in pool]), np.array(floor.lab)))
    for _ in range(200):
        first = float(rng.uniform(0.8, 9.0))
        rungs = [np.flatnonzero(np.abs(away - first - step) < 0.05) for step in range(LADDER)]
        if all(rung.size for rung in rungs):
            return [pool[int(rng.choice(rung))] for rung in rungs]
    raise ValueError("no such boards")


# -- one thing changed -------------------------------------------------------------------------------------------------


def plain_view(size: tuple[int, int], **changes: Any) -> View:
    """Return the view of the scenes in which one thing is changed."""
    return View(size[0], size[1], **{"strip_share": STRIP_SHARE, "tilt": 5.0, **changes})


def calm_scene(seed: int, size: tuple[int, int]) -> Scene:
    """Return a random pair in an ordinary photo: strip level, little tilt, light 8 % uneven, no highlight."""
    rng = np.random.default_rng(500_000 + seed)
    scene = random_scene(rng, size=size, glare=False)
    azimuth = float(rng.uniform(0.0, 360.0))
    return replace(
        scene,
        view=plain_view(size, tilt_azimuth=azimuth),
        light=replace(scene.light, gradient=0.08, curve=-0.02, vignette=0.02),
        exposure=0.6,
        white_error=(1.0, 1.0),
        jpeg_quality=92,
    )


def _with_view(scene: Scene, **changes: Any) -> Scene:
    return replace(scene, view=replace(scene.view, **changes))


def _with_light(scene: Scene, gradient: float) -> Scene:
    return replace(scene, light=replace(scene.light, gradient=gradient))


def _halved(scene: Scene) -> Scene:
    view = scene.view
    return replace(scene, view=replace(view, width=view.width // 2, height=view.height // 2))


def _tilted(scene: Scene, degrees: float) -> Scene:
    # a steep view sees the far corners of the fields only from farther away
    return _with_view(scene, tilt=degrees, strip_share=STRIP_SHARE if degrees < 25 else 0.5)


def _long(scene: Scene, pixels: float) -> Scene:
    return _with_view(scene, strip_share=pixels / scene.view.width)


WHITE_ERRORS: Final[Mapping[str, tuple[float, float]]] = {
    "red 20 % up": (1.2, 1.0),
    "blue 20 % up": (1.0, 1.2),
    "red 20 % down, blue 20 % up": (0.8, 1.2),
}
"""What the camera gets wrong in its white -> factors on red and blue."""

SWEEPS: Final[Mapping[str, tuple[tuple[float | str, ...], Callable[[Scene, Any], Scene]]]] = {
    "gradient": ((0.0, 20.0, 30.0, 45.0, 60.0), lambda scene, percent: _with_light(scene, percent / 100)),
    "tilt": ((0.0, 15.0, 30.0, 40.0, 50.0), _tilted),
    "pixels": ((140.0, 200.0, 300.0, 450.0, 800.0), _long),
    "jpeg": ((25.0, 40.0, 60.0, 75.0), lambda scene, quality: replace(scene, jpeg_quality=int(quality))),
    "exposure": ((-3.0, -2.0, -1.0, 1.0), lambda scene, stops: replace(scene, exposure=scene.exposure * 2**stops)),
    "white": (
        tuple(WHITE_ERRORS),
        lambda scene, which: replace(scene, white_error=WHITE_ERRORS[which]),
    ),
    "half": (("half",), lambda scene, _: _halved(scene)),
    "light": (
        ("D65", "D50", "A", "2700K", "LED-B1", "LED-B3", "LED-B5", "FL2", "FL11"),
        lambda scene, lamp: replace(scene, lamp=lamp),
    ),
}
"""What is changed -> the values it is given and how a calm scene is changed to them."""


def every_sweep() -> list[tuple[str, float | str]]:
    """Return what `swept` can change and to what, the base first."""
    return [("base", ""), *((what, at) for what, (values, _) in SWEEPS.items() for at in values)]


def swept(seed: int, size: tuple[int, int], what: str, value: float | str) -> Record:
    """Return the calm scene `seed` with one thing changed, measured; `what` ``"base"`` changes nothing."""
    scene = calm_scene(seed, size)
    if what != "base":
        scene = SWEEPS[what][1](scene, value)
    return {"seed": seed, "what": what, "at": value} | pair_record(scene, shoot(scene, str(seed)))


# -- the error budget --------------------------------------------------------------------------------------------------


def _bare(surface: Surface | None) -> Surface | None:
    return None if surface is None else replace(surface, texture=Texture(grain=0.0, pores=0.0))


def _nominal_print(scene: Scene) -> Scene:
    assert scene.strip is not None
    return replace(scene, strip=PrintedStrip(scene.strip.number, PRINTERS[0], paper_cast=0.0, ink_cast=0.0))


SOURCES: Final[Mapping[str, Callable[[Scene], Scene]]] = {
    "noise": lambda s: replace(s, full_well=np.inf, read_noise=0.0, sharpen=0.0, jpeg_quality=None),
    "grain": lambda s: replace(s, board=_bare(s.board), floor=_bare(s.floor)),
    "light": lambda s: replace(s, light=Light(vignette=0.0)),
    "tone": lambda s: replace(s, tone=Film(), white_error=(1.0, 1.0), exposure=0.75),
    "saturation": lambda s: replace(s, saturation=SATURATION_BOOST[0]),
    "print": _nominal_print,
    "glare": lambda s: replace(s, glares=(), veil=0.0),
}
"""Source of error -> how a random scene loses it. The camera is the ideal camera's own error and needs no photo."""


def every_budget() -> list[tuple[str, ...]]:
    """Return which sources of error are on, budget line by line: none, all, each alone, all but each.

    The grain stays in: it is what is measured, and without it the file's own 8 bit steps would show.
    """
    sources = tuple(SOURCES)
    alone = [tuple(o for o in sources if o in {"grain", source}) for source in sources]
    return [(), sources, *alone, *(tuple(o for o in sources if o != source) for source in sources)]


def budget(seed: int, size: tuple[int, int], on: tuple[str, ...]) -> Record:
    """Return random scene `seed` with only some sources of error left in it, measured."""
    scene = random_scene(np.random.default_rng(700_000 + seed), size=size)
    for source, without in SOURCES.items():
        if source not in on:
            scene = without(scene)
    return {"seed": seed, "on": list(on)} | pair_record(scene, shoot(scene, str(seed)))

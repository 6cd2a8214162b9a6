"""Rendered scenes measured beside their truth: single photos, sessions of several photos, one thing changed at a time.

Shared by ``tests/accuracy_trial.py`` and ``docs/build_accuracy.py``. Everything here is computed by the renderer of
`finishlab.demo`; none is a photo of a real surface. Two errors are kept apart. *Beyond the ideal camera*: from the
CIEDE2000 that a linear, noise-free camera of the same sensitivities reads in the same light, balanced on a perfect
white, which no grey strip can better. *From the truth*: from the CIEDE2000 of the spectra themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from io import BytesIO
from typing import Any, Final

import numpy as np
from PIL import Image

from finishlab.colorimetry.difference import delta_e_00, delta_e_interval
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.colorimetry.interval import joint_covariance
from finishlab.colorimetry.spaces import srgb_to_linear
from finishlab.demo.camera import Tone, ideal_lab
from finishlab.demo.chance import random_scene, wood_pool
from finishlab.demo.paper import PrintedStrip
from finishlab.demo.render import render_scene
from finishlab.demo.scene import Scene, Surface
from finishlab.demo.spectral import Material
from finishlab.demo.texture import Texture
from finishlab.demo.view import Light, View
from finishlab.errors import FinishlabError
from finishlab.imaging.colours import SATURATION_BOOST
from finishlab.imaging.pixels import LinearImage, PhotoInfo
from finishlab.imaging.strip import FieldName
from finishlab.matching.floor import pool_estimates
from finishlab.measure.flow import Inspection, measure
from finishlab.measure.results import SurfaceKind
from finishlab.photos.chroma import chroma_blocks
from finishlab.photos.marks import chroma_step

Record = dict[str, Any]
"""One measurement beside its truth, as JSON can hold it."""

FIELDS: Final[tuple[FieldName, FieldName]] = ("board", "floor")
SPOTS: Final = 3
"""Photos of the floor in a session."""
LADDER: Final = 3
"""Boards in a session, each 1 CIEDE2000 farther from the floor than the one before."""
STRIP_SHARE: Final = 0.6
"""Length of the strip over the photo's width in scenes where one thing is changed."""


def photo_of(pixels: np.ndarray, name: str = "rendered", jpeg: bytes | None = None) -> LinearImage:
    """Return rendered sRGB pixels as the photo that reading a file would give; `jpeg` is the file they came from."""
    decode = srgb_to_linear(np.arange(256) / 255).astype(np.float32)
    info = PhotoInfo(f"{name:0>16.16}", "Rendered", "", "sRGB", (pixels.shape[1], pixels.shape[0]))
    chroma = None
    if jpeg is not None:
        info = replace(info, chroma_step=chroma_step(Image.open(BytesIO(jpeg))))
        chroma = chroma_blocks(jpeg, pixels.shape[1::-1])
    return LinearImage(pixels, decode, np.eye(3), info, chroma)


def floor_kind(scene: Scene) -> SurfaceKind:
    """Return what the floor of a scene is made of."""
    return "print" if scene.floor is not None and scene.floor.material.kind == "print" else "wood"


# -- one photo ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Shot:
    """A scene photographed and measured; `inspection` is None where it was refused."""

    image: LinearImage
    inspection: Inspection | None
    refused: str = ""


def shoot(scene: Scene, name: str, fields: tuple[FieldName, ...] = FIELDS) -> Shot:
    """Render a scene and measure it."""
    rendered = render_scene(scene)
    image = photo_of(rendered.pixels, name, rendered.jpeg)
    try:
        return Shot(image, measure(image, fields, floor_kind(scene)))
    except FinishlabError as error:
        return Shot(image, None, error.code)


def pair_record(scene: Scene, shot: Shot) -> Record:
    """Return what was found of the pair in one photo, beside its truth."""
    assert scene.board is not None
    assert scene.floor is not None
    record: Record = {"camera": scene.camera, "lamp": scene.lamp, "floor_is": floor_kind(scene)}
    record |= truth_of_pair(scene.board.material, scene.floor.material, scene)
    record |= {"tilt": scene.view.tilt, "gradient": scene.light.gradient, "refused": shot.refused}
    if shot.inspection is None:
        return record
    found = {name: field.estimate for name, field in shot.inspection.measurement.fields.items()}
    labs = {"board": scene.board.material.lab, "floor": scene.floor.material.lab}
    record |= pair_found(found["board"], found["floor"], labs["board"], labs["floor"])
    record["absolute"] = {name: surprise(found[name], labs[name]) for name in FIELDS}
    return record


def truth_of_pair(board: Material, floor: Material, scene: Scene) -> Record:
    """Return the CIEDE2000 of two materials, and as an ideal camera of the scene's light and sensitivities reads it."""
    ideal = [ideal_lab(np.array(material.mean), scene.camera, scene.lamp) for material in (board, floor)]
    true = delta_e_00(np.array(board.lab), np.array(floor.lab))
    return {"true": float(true), "ideal": float(delta_e_00(ideal[0], ideal[1]))}


def pair_found(
    board: LabEstimate, floor: LabEstimate, board_is: tuple[float, ...], floor_is: tuple[float, ...]
) -> Record:
    """Return a measured pair: figure, interval, and how surprised its stated doubt is by the true difference."""
    pair = delta_e_interval(board, floor)
    joint = joint_covariance(board, floor)
    spread = joint[:3, :3] + joint[3:, 3:] - joint[:3, 3:] - joint[3:, :3]
    off = (np.array(board.lab) - floor.lab) - (np.array(board_is) - floor_is)
    return {
        "value": pair.value,
        "low": pair.low,
        "high": pair.high,
        "d2": float(off @ np.linalg.solve(spread, off)),
        "z": [float(v) for v in off / np.sqrt(np.diag(spread))],
    }


def surprise(estimate: LabEstimate, truth: tuple[float, ...]) -> Record:
    """Return how surprised a colour's whole stated doubt is by the truth.

    ``d2`` is the squared distance in the stated covariance (chi-square of 3 degrees of freedom when that is right);
    ``z`` the same axis by axis; ``e00`` the CIEDE2000 from the truth.
    """
    off = np.array(estimate.lab) - truth
    total = estimate.total_covariance()
    return {
        "d2": float(off @ np.linalg.solve(total, off)),
        "z": [float(v) for v in off / np.sqrt(np.diag(total))],
        "e00": float(delta_e_00(np.array(estimate.lab), np.array(truth))),
    }


def single(seed: int, size: tuple[int, int]) -> Record:
    """Return scene `seed` of the random scenes, measured."""
    scene = random_scene(np.random.default_rng(seed), size=size)
    return {"seed": seed} | pair_record(scene, shoot(scene, str(seed)))


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
    """Return the boards of one session, each in a photo of its own, against a floor pooled from several photos."""
    base, boards, photos = session_scenes(seed, size)
    assert base.floor is not None

    def seen(number: int, part: FieldName, scene: Scene) -> LabEstimate | str:
        # The kind of the floor is not seen in a photo of a board alone.
        shot = shoot(scene, f"{seed}-{number}", (part,))
        return shot.refused if shot.inspection is None else shot.inspection.measurement.fields[part].estimate

    every = [seen(number, part, scene) for number, (part, scene) in enumerate(photos)]
    spots, found = every[:SPOTS], every[SPOTS:]
    good = [spot for spot in spots if not isinstance(spot, str)]
    out = []
    for step, (board, estimate) in enumerate(zip(boards, found, strict=True)):
        record = {"seed": seed, "step": step, "floor_is": floor_kind(base), "lamp": base.lamp, "camera": base.camera}
        record |= truth_of_pair(board, base.floor.material, base)
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
    return replace(scene, strip=PrintedStrip(number=scene.strip.number, paper_cast=0.0, ink_cast=0.0))


SOURCES: Final[Mapping[str, Callable[[Scene], Scene]]] = {
    "noise": lambda s: replace(s, full_well=np.inf, read_noise=0.0, sharpen=0.0, jpeg_quality=None),
    "grain": lambda s: replace(s, board=_bare(s.board), floor=_bare(s.floor)),
    "light": lambda s: replace(s, light=Light(vignette=0.0)),
    "tone": lambda s: replace(s, tone=Tone(), white_error=(1.0, 1.0), exposure=0.75),
    "saturation": lambda s: replace(s, saturation=SATURATION_BOOST[0]),
    "print": _nominal_print,
    "glare": lambda s: replace(s, glares=(), veil=0.0),
}
"""Source of error -> how a random scene loses it. The camera is the ideal camera's own error and needs no photo."""


def budget(seed: int, size: tuple[int, int], on: tuple[str, ...]) -> Record:
    """Return random scene `seed` with only some sources of error left in it, measured."""
    scene = random_scene(np.random.default_rng(700_000 + seed), size=size)
    for source, without in SOURCES.items():
        if source not in on:
            scene = without(scene)
    return {"seed": seed, "on": list(on)} | pair_record(scene, shoot(scene, str(seed)))

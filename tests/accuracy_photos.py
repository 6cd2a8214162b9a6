"""One rendered photo measured beside its truth, shared by the accuracy trials and ``docs/build_accuracy.py``.

Everything here is computed by the renderer in `render/`; none is a photo of a real surface. Two errors are kept
apart. *Beyond the ideal camera*: from the CIEDE2000 that a linear, noise-free camera of the same sensitivities reads in
the same light, balanced on a perfect white, which no grey strip can better. *From the truth*: from the CIEDE2000 of the
spectra themselves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from io import BytesIO
from typing import Any, Final

import numpy as np
from PIL import Image
from render.camera import ideal_lab
from render.photo import render_scene
from render.scene import Scene
from render.spectral import Material

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.difference import delta_e_interval, joint_covariance
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.colorimetry.spaces import srgb_to_linear
from finishlab.errors import FinishlabError
from finishlab.imaging.greys import StripGreys
from finishlab.imaging.pixels import LinearImage, PhotoInfo
from finishlab.imaging.strip import FieldName
from finishlab.measure.flow import Inspection, measure
from finishlab.measure.results import SurfaceKind
from finishlab.photos.files import chroma_blocks
from finishlab.photos.header import chroma_step

Record = dict[str, Any]
"""One measurement beside its truth, as JSON can hold it."""

FIELDS: Final[tuple[FieldName, FieldName]] = ("board", "floor")


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


@dataclass(frozen=True)
class Shot:
    """A scene photographed and measured; `inspection` is None where it was refused."""

    image: LinearImage
    inspection: Inspection | None
    refused: str = ""


def picture_of(scene: Scene, name: str) -> LinearImage:
    """Return the rendered scene as the photo that reading its file would give."""
    rendered = render_scene(scene)
    return photo_of(rendered.pixels, name, rendered.jpeg)


def shot_of(
    image: LinearImage, scene: Scene, fields: tuple[FieldName, ...] = FIELDS, greys: StripGreys | None = None
) -> Shot:
    """Measure a photo, with what is known of its strip."""
    try:
        return Shot(image, measure(image, fields, floor_kind(scene), greys=greys))
    except FinishlabError as error:
        return Shot(image, None, error.code)


def shoot(scene: Scene, name: str, fields: tuple[FieldName, ...] = FIELDS) -> Shot:
    """Render a scene and measure it."""
    return shot_of(picture_of(scene, name), scene, fields)


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

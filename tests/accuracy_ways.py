"""Ways to measure a pair: a photo alone, a camera raw, greys learned, by instrument, eye or card, or all by hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import numpy as np
from accuracy_photos import Record, Shot, pair_found, pair_record, picture_of, shot_of, truth_of_pair
from accuracy_prints import greys_off, printed
from render.camera import colour_matrix
from render.paper import solid_share
from render.photo import render_linear
from render.scene import Scene
from render.view import homography, project
from strip_greys_trial import card_photo

from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.errors import FinishlabError
from finishlab.imaging.greys import greys_of_readings
from finishlab.imaging.pixels import LinearImage, PhotoInfo
from finishlab.imaging.strip import EYE_ROWS, STRIP, EyeRow, Rect
from finishlab.measure.areas import GreyArea, PixelRect
from finishlab.measure.by_hand import measure_by_hand
from finishlab.measure.learn_print import greys_seen, learn_greys

_INSTRUMENT: Final = 0.3
_CARD: Final = 0.5
_EYE: Final = 1.0
"""Errors of an instrument, of a card and of an eye in these trials, L*."""
_FINE: Final = 400
"""Cells of 1 mm in which lines are drawn for the eye."""


def _lightness(scene: Scene) -> np.ndarray:
    assert scene.strip is not None
    return np.asarray(lightness_of_reflectance(scene.strip.printer.reflectance(np.array(STRIP.greys))))


def _photo(scene: Scene) -> Record:
    return pair_record(scene, shot_of(picture_of(scene, str(scene.seed)), scene))


def _learned(scene: Scene) -> Record:
    record = printed(scene, str(scene.seed))
    after: Record = record.pop("learned")
    return record | after


def _raw(scene: Scene) -> Record:
    raw = render_linear(scene)
    rng = np.random.default_rng(scene.seed + 7919)
    raw = raw + np.sqrt(raw / scene.full_well + scene.read_noise**2) * rng.standard_normal(raw.shape)
    rgb = np.clip(raw @ colour_matrix(scene.camera, scene.lamp).T, 0.0, 1.0)
    info = PhotoInfo(f"{scene.seed:0>16}", "Rendered", "", "raw", raw.shape[1::-1], linear=True)
    decode = np.linspace(0.0, 1.0, 65536, dtype=np.float32)
    image = LinearImage(np.rint(rgb * 65535).astype(np.uint16), decode, np.eye(3), info)
    return pair_record(scene, shot_of(image, scene))


def _typed(scene: Scene) -> Record:
    assert scene.strip is not None
    read = _lightness(scene) + np.random.default_rng(scene.seed).normal(0.0, _INSTRUMENT, len(STRIP.greys))
    greys = greys_of_readings({level: [float(v)] for level, v in enumerate(read)}, number=scene.strip.number)
    return pair_record(scene, shot_of(picture_of(scene, str(scene.seed)), scene, greys=greys))


def _vanishing(scene: Scene, row: EyeRow, rng: np.random.Generator) -> float:
    """Return the step of a row that vanishes in its lines from afar to an eye, to half a step."""
    assert scene.strip is not None
    printer, pitch = scene.strip.printer, row.screen.pitch
    place = np.abs((np.arange(8 * round(pitch * _FINE)) / _FINE) % pitch - pitch / 2)
    inked = place < row.screen.coverage * pitch / 2 + printer.edge
    lines = solid_share(inked[None, :].astype(float), printer.black / printer.paper, printer.spread, _FINE).mean()
    seen = float(lightness_of_reflectance(printer.paper * lines)) + rng.normal(0.0, _EYE)
    steps = np.arange(1.0, len(row.greys) + 0.25, 0.5)
    ladder = lightness_of_reflectance(printer.reflectance(np.array([row.grey_at(step) for step in steps])))
    return float(steps[np.argmin(np.abs(ladder - seen))])


def _seen(scene: Scene) -> Record:
    assert scene.strip is not None
    image, rng = picture_of(scene, str(scene.seed)), np.random.default_rng(scene.seed)
    vanished = {number: _vanishing(scene, row, rng) for number, row in enumerate(EYE_ROWS, start=1)}
    try:
        greys = greys_seen(vanished, number=scene.strip.number)
    except ValueError:
        return pair_record(scene, Shot(image, None, "print-unclear"))
    return pair_record(scene, shot_of(image, scene, greys=greys)) | greys_off(scene, greys)


def _card(scene: Scene) -> Record:
    assert scene.strip is not None
    image = picture_of(scene, str(scene.seed))
    try:
        photo, known = card_photo(scene, (50.0,), np.random.default_rng(scene.seed))
        greys = learn_greys(photo, known, number=scene.strip.number).greys
    except FinishlabError as error:
        return pair_record(scene, Shot(image, None, error.code))
    return pair_record(scene, shot_of(image, scene, greys=greys))


def _in_pixels(scene: Scene, rect: Rect) -> PixelRect:
    """Return an upright rectangle of the photo well inside a rectangle of the scene."""
    middle = project(homography(scene.view), np.array(rect.centre))
    half = 0.3 * min(rect.width, rect.height) * scene.view.px_per_mm
    left, top = (int(v) for v in np.rint(middle - half))
    return PixelRect(left, top, max(5, int(2 * half)), max(5, int(2 * half)))


def _hand(scene: Scene) -> Record:
    """Measure board and floor by hand against four of the strip's greys, whose lightness is known to 0.5."""
    assert scene.board is not None
    assert scene.floor is not None
    image, rng = picture_of(scene, str(scene.seed)), np.random.default_rng(scene.seed)
    levels = [patch for patch in STRIP.patches if patch.level in {1, 3, 5, 7}][:8]
    said = _lightness(scene) + rng.normal(0.0, _CARD, len(STRIP.greys))
    greys = [GreyArea(_in_pixels(scene, patch.sample), float(said[patch.level])) for patch in levels]
    base = {"camera": scene.camera, "lamp": scene.lamp, "floor_is": scene.floor.material.kind}
    base |= truth_of_pair(scene.board.material, scene.floor.material, scene)
    try:
        found = [
            measure_by_hand(image, greys, _in_pixels(scene, STRIP.fields[name])).measurement.fields["board"].estimate
            for name in ("board", "floor")
        ]
    except FinishlabError as error:
        return base | {"refused": error.code}
    board, floor = scene.board.material.lab, scene.floor.material.lab
    return base | {"refused": ""} | pair_found(found[0], found[1], board, floor)


WAYS: Final[Mapping[str, Callable[[Scene], Record]]] = {
    "photo": _photo,
    "learned": _learned,
    "raw": _raw,
    "typed": _typed,
    "seen": _seen,
    "card": _card,
    "hand": _hand,
}
"""Name of a way -> the scene's pair measured so, beside its truth."""

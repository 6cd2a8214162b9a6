"""How well the measuring core does on rendered scenes with known truth, beside simpler ways of doing it.

Run ``python tests/accuracy_trial.py --scenes 60``; docs/decisions/0004-joint-fit.md quotes its output. The suite uses
`outcomes` on the same scenes.

Every way sees the same photos and the same surfaces; only tone, light and saturation are treated differently. Error:
CIEDE2000 of the pair as measured, less that of an ideal linear camera of the same sensitivities in the same light,
balanced on a perfect white.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from accuracy_photos import FIELDS, floor_kind, shoot, truth_of_pair
from render.chance import random_scene
from rendered import places_of

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import rgb_to_lab
from finishlab.imaging.correction import Correction, FitPriors, PatchReadings, fit_correction, phone_tone
from finishlab.imaging.greys import USUAL
from finishlab.imaging.pixels import LinearImage
from finishlab.imaging.processing import SATURATION_BOOST, unboosted, unboosted_readings, white_matrix
from finishlab.imaging.rectify import CorrectedImage, flatten, read_patches
from finishlab.imaging.strip import STRIP, FieldName, Rect
from finishlab.measure.flow import PX_PER_MM, Inspection

LEVELS = np.array([patch.level for patch in STRIP.patches])
WAYS: dict[str, tuple[FitPriors | None, float, bool]] = {
    "one grey, white balance only": (None, 1.0, False),
    "ramp, no light field": (FitPriors(light_plane=1e-6, light_bend=1e-6, tint_plane=1e-6), 1.0, False),
    "ramp and light, each channel alone": (FitPriors(channel=(1.0, 0.5)), 1.0, False),
    "ramp and light, the usual tone curve": (
        FitPriors(tone=replace(phone_tone(), modes=0.01 * phone_tone().modes)),
        1.0,
        False,
    ),
    "ramp and light, no veiling glare": (FitPriors(glare=(0.0, 1e-5)), 1.0, False),
    "joint fit": (FitPriors(), 1.0, False),
    "joint fit, boost out before the fit": (FitPriors(), SATURATION_BOOST[0], False),
    "joint fit, boost out, white on the sensor (kept)": (FitPriors(), SATURATION_BOOST[0], True),
}
"""Name -> priors of the fit (None: one grey), the boost of saturation taken out, and whether what is left of a cast is
divided out of a usual sensor's channels."""


@dataclass(frozen=True)
class Outcome:
    """One scene: truth, what each way found, and the stated interval of the kept one."""

    seed: int
    camera: str
    lamp: str
    floor_is: str
    true: float
    ideal: float
    value: float
    low: float
    high: float
    number_read: bool
    ways: dict[str, float]
    refused: str = ""

    @property
    def error(self) -> float:
        """Error of the pair beyond the ideal camera's."""
        return abs(self.value - self.ideal)

    @property
    def holds(self) -> bool:
        """Whether the interval holds the truth."""
        return self.low <= self.true <= self.high


def outcome(seed: int, size: tuple[int, int] = (2000, 1500), *, compare: bool = False) -> Outcome:
    """Render scene `seed`, measure its pair, and if asked measure it the simpler ways too."""
    scene = random_scene(np.random.default_rng(seed), size=size)
    assert scene.board is not None
    assert scene.floor is not None
    assert scene.strip is not None
    truth = truth_of_pair(scene.board.material, scene.floor.material, scene)
    base = Outcome(
        seed=seed,
        camera=scene.camera,
        lamp=scene.lamp,
        floor_is=floor_kind(scene),
        true=truth["true"],
        ideal=truth["ideal"],
        value=np.nan,
        low=np.nan,
        high=np.nan,
        number_read=False,
        ways={},
    )
    shot = shoot(scene, str(seed))
    if shot.inspection is None:
        return replace(base, refused=shot.refused)
    pair, strip = shot.inspection.measurement.pair, shot.inspection.measurement.strip
    assert pair is not None
    assert strip is not None
    ways = {name: _pair(shot.image, shot.inspection, *way) for name, way in WAYS.items()} if compare else {}
    return replace(
        base, value=pair.value, low=pair.low, high=pair.high, number_read=strip.number == scene.strip.number, ways=ways
    )


def _pair(image: LinearImage, seen: Inspection, priors: FitPriors | None, boost: float, sensor: bool) -> float:
    view = flatten(image, seen.fit, Rect(0, 0, STRIP.width, STRIP.height), PX_PER_MM, image.decode)
    readings = read_patches(view, seen.fit.roles_seen)
    known = USUAL.patches()
    if priors is None:
        labs = [rgb_to_lab(_beside_one_grey(image, seen, name, readings, known.reflectance)) for name in FIELDS]
        return float(delta_e_00(labs[0], labs[1]))
    correction = fit_correction(readings, known, priors)
    plain = fit_correction(unboosted_readings(readings, boost), known, priors)
    matrix = white_matrix(plain, image.to_srgb) if sensor else image.to_srgb
    labs = []
    for name in FIELDS:
        place = np.array(seen.views[name].sample.place)
        value = correction.value_of(_mean(image, seen, name, correction), place)
        labs.append(rgb_to_lab(matrix @ plain.reflectance(unboosted(value, boost), place)))
    return float(delta_e_00(labs[0], labs[1]))


def _beside_one_grey(
    image: LinearImage, seen: Inspection, name: FieldName, readings: PatchReadings, known: np.ndarray
) -> np.ndarray:
    kept = seen.views[name]
    field: CorrectedImage = kept.image
    values = flatten(image, seen.fit, field.rect, field.px_per_mm, image.decode).values[kept.surface.mask]
    middle = readings.usable & (np.abs(known - 0.2) < 0.05)
    gain = (readings.values[middle] / known[middle, None]).mean(axis=0)
    return np.asarray(values.mean(axis=0) / gain)


def _mean(image: LinearImage, seen: Inspection, name: FieldName, correction: Correction) -> np.ndarray:
    """Return the mean reflectance of a field over the surface already found, in the file's primaries."""
    kept = seen.views[name]
    field: CorrectedImage = kept.image
    table = correction.exposure_table(image.decode)
    view = flatten(image, seen.fit, field.rect, field.px_per_mm, table)
    light = correction.light(places_of(view)[kept.surface.mask])
    return np.asarray(((view.values[kept.surface.mask] - correction.glare) / light).mean(axis=0))


def outcomes(seeds: range, size: tuple[int, int] = (2000, 1500), *, compare: bool = False) -> list[Outcome]:
    """Return the outcomes of many scenes, on both cores."""
    with ProcessPoolExecutor(2) as pool:
        return list(pool.map(_task, [(seed, size, compare) for seed in seeds]))


def _task(task: tuple[int, tuple[int, int], bool]) -> Outcome:
    seed, size, compare = task
    return outcome(seed, size, compare=compare)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=60)
    parser.add_argument("--first", type=int, default=1)
    options = parser.parse_args()
    found = outcomes(range(options.first, options.first + options.scenes), compare=True)
    good = [o for o in found if not o.refused]
    cameras, lamps = {o.camera for o in found}, {o.lamp for o in found}
    print(f"{len(found)} rendered scenes, {len(cameras)} cameras, {len(lamps)} lights; refused: ", end="")
    print(", ".join(f"{o.seed} ({o.refused})" for o in found if o.refused) or "none")
    print("| way | mean | 95th percentile |\n|---|---|---|")
    for way in WAYS:
        errors = np.array([abs(o.ways[way] - o.ideal) for o in good])
        print(f"| {way} | {errors.mean():.2f} | {np.percentile(errors, 95):.2f} |")
    errors = np.array([o.error for o in good])
    print(f"measured: mean {errors.mean():.3f}, 95th percentile {np.percentile(errors, 95):.3f}")
    ideal = np.array([abs(o.ideal - o.true) for o in good])
    print(f"the ideal camera itself against the truth: mean {ideal.mean():.2f}, 95th {np.percentile(ideal, 95):.2f}")
    for kind in ("print", "wood"):
        some = [o for o in good if o.floor_is == kind]
        held = np.mean([o.holds for o in some])
        width = np.mean([o.high - o.low for o in some])
        print(f"{kind} floor: interval holds the truth in {100 * held:.1f} % of {len(some)}, mean width {width:.2f}")
    print(
        f"all: {100 * np.mean([o.holds for o in good]):.1f} %; strip number read in {sum(o.number_read for o in good)}"
    )


if __name__ == "__main__":
    main()

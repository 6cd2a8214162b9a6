"""Where boards photographed apart change places: photos fitted with what they do not say taken from the truth.

Run ``python tests/order_trial.py --sessions 80``; docs/decisions/0015-order-of-boards.md quotes its figures (sessions 1
to 80, 101 to 160 and 161 to 260; its first table from before photos with a lost channel were refused). Every session is
rendered: three photos of the floor, three boards each 1 CIEDE2000 farther from it than the one before, by one camera
in one light.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from accuracy_cases import LADDER, SPOTS, session_scenes
from accuracy_photos import shoot
from render.camera import CAMERAS, ToneCurve, colour_matrix, ideal_lab
from render.scene import Scene, Surface
from rendered import greys_of_print

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import linear_to_srgb, rgb_to_lab
from finishlab.imaging.correction import FitPriors, fit_correction
from finishlab.imaging.greys import USUAL
from finishlab.imaging.processing import LUMA, SATURATION_BOOST, USUAL_MATRIX, unboosted
from finishlab.imaging.strip import FieldName
from finishlab.measure.flow import Inspection

SIZE = (1000, 750)
STACKED = "Sigma SDMerill (NPL)"
"""The one camera without a colour filter array."""


@dataclass(frozen=True)
class Photo:
    """One photo of a session, measured; `inspection` is None where it was refused."""

    part: FieldName
    scene: Scene
    inspection: Inspection | None


@dataclass(frozen=True)
class Known:
    """What a way is told of the truth."""

    boost: bool = False
    tone: bool = False
    matrix: bool = False
    greys: bool = False


WAYS: Mapping[str, Known] = {
    "nothing (as it is)": Known(),
    "boost of saturation": Known(boost=True),
    "tone curve and boost": Known(boost=True, tone=True),
    "the camera's matrix, for its white": Known(matrix=True),
    "levels of the print's greys": Known(greys=True),
    "tone, boost, matrix and greys": Known(boost=True, tone=True, matrix=True, greys=True),
}


def surface_of(photo: Photo) -> Surface:
    """Return the surface a photo was taken of."""
    surface = photo.scene.board if photo.part == "board" else photo.scene.floor
    assert surface is not None
    return surface


def light_of(tone: ToneCurve, boost: float) -> Callable[[np.ndarray], np.ndarray]:
    """Return the way from a file's linear values back to scene light, tone curve and boost known."""
    light = np.concatenate([[0.0], np.geomspace(1e-6, 1.5, 20_000)])
    code, first = np.unique(np.maximum.accumulate(tone.apply(light)), return_index=True)

    def back(values: np.ndarray) -> np.ndarray:
        found = linear_to_srgb(values)
        luma = (found @ LUMA)[..., None]
        return np.asarray(np.maximum(np.interp(luma + (found - luma) / boost, code, light[first]), 1e-5))

    return back


def colour(photo: Photo, known: Known) -> np.ndarray:
    """Return a photo's colour, CIELAB, fitted anew with what is known."""
    assert photo.inspection is not None
    seen, scene = photo.inspection, photo.scene
    assert scene.strip is not None
    boost = scene.saturation if known.boost else SATURATION_BOOST[0]
    back = light_of(scene.tone, boost) if known.tone else lambda values: unboosted(values, boost)
    greys = greys_of_print(scene.strip.printer) if known.greys else USUAL
    readings = replace(seen.readings, values=back(seen.readings.values))
    fit = fit_correction(readings, greys.patches(), FitPriors.for_linear() if known.tone else None)
    sample = seen.views[photo.part].sample
    place = np.asarray(sample.place)
    reflectance = fit.reflectance(back(seen.correction.value_of(sample.rgb, place)), place)
    matrix = colour_matrix(scene.camera, scene.lamp) if known.matrix else USUAL_MATRIX
    sensor = np.linalg.inv(matrix)
    rgb = matrix @ ((sensor * fit.cast) / (sensor @ fit.cast)[:, None]) @ reflectance
    return np.asarray(rgb_to_lab(np.maximum(rgb, 1e-4)))


def ideal(photo: Photo) -> np.ndarray:
    """Return the surface's colour by the ideal camera."""
    return ideal_lab(np.array(surface_of(photo).material.mean), photo.scene.camera, photo.scene.lamp)


def distances(photos: list[Photo], of: Callable[[Photo], np.ndarray]) -> list[float | None]:
    """Return each board's CIEDE2000 from the mean of the floor's photos, None where it was refused."""
    floor = [of(photo) for photo in photos[:SPOTS] if photo.inspection is not None]
    if not floor:
        return [None] * LADDER
    middle = np.mean(floor, axis=0)
    return [None if p.inspection is None else float(delta_e_00(of(p), middle)) for p in photos[SPOTS:]]


def session(seed: int) -> list[Photo]:
    """Return the photos of one session, measured."""
    out = []
    for number, (part, scene) in enumerate(session_scenes(seed, SIZE)[2]):
        out.append(Photo(part, scene, shoot(scene, f"{seed}-{number}", (part,)).inspection))
    return out


@dataclass
class Score:
    """What one way made of the sessions of some cameras."""

    right: list[bool]
    gaps: list[float]
    errors: list[float]

    def add(self, found: list[float | None], best: list[float | None]) -> None:
        """Take in one session: found distances beside the ideal camera's."""
        both = [None if f is None or b is None else (f, b) for f, b in zip(found, best, strict=True)]
        self.errors += [abs(pair[0] - pair[1]) for pair in both if pair is not None]
        for near, far in pairwise(both):
            if near is not None and far is not None:
                self.right.append(near[0] < far[0])
                self.gaps.append((far[0] - near[0]) - (far[1] - near[1]))

    def line(self) -> str:
        """Return the score as words."""
        if not self.right:
            return "no pair"
        wrong = len(self.right) - sum(self.right)
        figures = f"gap {np.std(self.gaps):.3f}, error {np.mean(self.errors):.3f}"
        return f"{wrong:3d} wrong of {len(self.right):3d} ({100 * np.mean(self.right):.1f} % right), {figures}"


def main() -> None:
    """Print what each way makes of the order, for the six cameras, the stacked one, and each by itself."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=8)
    parser.add_argument("--first", type=int, default=1)
    options = parser.parse_args()
    groups = ["with a filter array", STACKED, *(c for c in CAMERAS if c != STACKED)]
    scores = {(way, group): Score([], [], []) for way in (*WAYS, "the ideal camera") for group in groups}
    for seed in range(options.first, options.first + options.sessions):
        try:
            photos = session(seed)
        except ValueError:  # no such boards
            continue
        camera = photos[0].scene.camera
        mine = [camera] if camera == STACKED else [camera, groups[0]]
        best = distances(photos, ideal)
        for way, known in WAYS.items():
            found = distances(photos, lambda photo, known=known: colour(photo, known))  # type: ignore[misc] # as it is now
            for group in mine:
                scores[way, group].add(found, best)
        for group in mine:
            scores["the ideal camera", group].add(best, best)
    for group in groups:
        print(f"\n{group}")
        for way in (*WAYS, "the ideal camera"):
            print(f"  {way:36s} {scores[way, group].line()}")


if __name__ == "__main__":
    main()

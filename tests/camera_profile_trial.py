"""What a camera profile learned from one chart photo is worth: the figures of docs/decisions/0010-camera-profile.md.

``python tests/camera_profile_trial.py --scenes 24 --first 101``. Each random scene gets one rendered photo of a
24-patch chart by the same camera, in the same lamp, with the same boost of saturation, beside the same strip and
alone, but with its own view, light, exposure, white balance and tone.
"""

from __future__ import annotations

import argparse
import datetime as dt
from collections import defaultdict
from dataclasses import replace

import numpy as np
from render.camera import balanced_raw, colour_matrix
from render.chance import random_scene
from render.chart import ChartCard
from render.photo import render_scene
from render.scene import Scene
from render.view import View
from rendered import photo_of

from finishlab.colorimetry.camera_profile import fit_profile
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import chart_lab, chart_reflectances, rgb_to_lab
from finishlab.errors import FinishlabError
from finishlab.imaging.finder import find_strip
from finishlab.imaging.strip import FieldName, Rect
from finishlab.measure.camera_learning import learn_profile
from finishlab.measure.flow import measure
from finishlab.measure.results import SurfaceKind

EDITION = "mean of 30"
DAY = dt.date(2026, 1, 1)
FIELDS: tuple[FieldName, ...] = ("board", "floor")


def chart_of(scene: Scene, seed: int) -> Scene:
    """Return the chart's photo by the scene's camera."""
    other = random_scene(np.random.default_rng(100000 + seed), glare=False, max_tilt=25.0)
    rng = np.random.default_rng(seed + 9)
    share, turn, tilt, azimuth = (
        rng.uniform(0.4, 0.6),
        rng.uniform(0, 360),
        min(abs(rng.normal(0, 10)), 30),
        rng.uniform(0, 360),
    )
    view = View(2000, 1500, float(share), float(turn), float(tilt), float(azimuth), (95.0, -12.0))
    return replace(
        other,
        camera=scene.camera,
        lamp=scene.lamp,
        saturation=scene.saturation,
        strip=scene.strip,
        board=None,
        floor=None,
        chart=ChartCard(Rect(44.0, -75.0, 102.0, 70.0)),
        view=view,
    )


def ideal_difference(scene: Scene) -> float:
    """Return the pair's CIEDE2000 by the ideal camera with a profile learned without noise."""
    assert scene.board is not None
    assert scene.floor is not None
    matrix = colour_matrix(scene.camera, scene.lamp)
    chart = np.stack(list(chart_reflectances(EDITION).values()))
    seen = [
        balanced_raw(np.asarray(each), scene.camera, scene.lamp) @ matrix.T
        for each in (chart, scene.board.material.mean, scene.floor.material.mean)
    ]
    profile = fit_profile(seen[0], np.array(list(chart_lab(EDITION).values())), "matrix")
    return float(delta_e_00(rgb_to_lab(profile.apply(seen[1])), rgb_to_lab(profile.apply(seen[2]))))


def one(seed: int, out: dict[str, list[tuple[float, ...]]]) -> None:
    """Measure one scene in every way; add each way's errors, width and whether the interval held the truth."""
    scene = random_scene(np.random.default_rng(seed))
    assert scene.floor is not None
    kind: SurfaceKind = "print" if scene.floor.material.kind == "print" else "wood"
    chart = chart_of(scene, seed)
    beside = learn_profile(photo_of(render_scene(chart).pixels), light="lamp", edition=EDITION, date=DAY)
    alone = learn_profile(
        photo_of(render_scene(replace(chart, strip=None)).pixels), light="lamp", edition=EDITION, date=DAY
    )
    greys = None if beside.greys is None else beside.greys.greys
    shot = render_scene(scene)
    truth, image = shot.truth, photo_of(shot.pixels)
    fit, ideal = find_strip(image), ideal_difference(scene)
    assert truth.ideal_delta_e00 is not None
    assert truth.delta_e00 is not None
    ways = {
        "without": (None, None),
        "the strip's greys alone": (greys, None),
        "profile, strip as nominal": (None, beside.profile),
        "profile learned alone": (None, alone.profile),
        "profile and the strip's greys": (greys, beside.profile),
    }
    for name, (known, profile) in ways.items():
        found = measure(image, FIELDS, kind, fit, known, profile).measurement
        pair = found.pair
        assert pair is not None
        board = float(delta_e_00(found.fields["board"].estimate.lab, np.array(truth.board_lab)))
        floor = float(delta_e_00(found.fields["floor"].estimate.lab, np.array(truth.floor_lab)))
        out[name].append(
            (
                abs(pair.value - truth.ideal_delta_e00),
                abs(pair.value - ideal),
                abs(pair.value - truth.delta_e00),
                board,
                floor,
                pair.high - pair.low,
                float(pair.low <= truth.delta_e00 <= pair.high),
            )
        )


def main() -> None:
    """Print each way's mean and 95th percentile."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=24)
    parser.add_argument("--first", type=int, default=101)
    told = parser.parse_args()
    out: dict[str, list[tuple[float, ...]]] = defaultdict(list)
    for seed in range(told.first, told.first + told.scenes):
        try:
            one(seed, out)
        except FinishlabError as error:
            print(f"scene {seed}: {error.code}")
    heads = ("beyond ideal", "beyond profiled ideal", "truth", "board", "floor")
    for name, rows in out.items():
        table = np.array(rows)
        figures = ", ".join(
            f"{head} {np.mean(table[:, i]):.2f}/{np.percentile(table[:, i], 95):.2f}" for i, head in enumerate(heads)
        )
        print(f"{name} ({len(rows)}): {figures}, width {table[:, 5].mean():.2f}, held {table[:, 6].mean():.3f}")


if __name__ == "__main__":
    main()

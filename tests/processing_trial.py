"""What a phone's own processing does to a pair, and how often local tone mapping is told.

Run ``python tests/processing_trial.py --scenes 16``; docs/decisions/0008-photo-processing.md quotes its output. Each
scene is rendered without and with each kind of processing, all else equal, so that the differences are its own.
Everything here is rendered; local tone mapping and lamps are synthetic.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from accuracy_photos import photo_of
from render import photo as render
from render.chance import random_scene
from render.local_tone import even_out
from render.scene import Scene, truth_of

from finishlab.errors import FinishlabError
from finishlab.imaging import correction
from finishlab.measure.flow import measure

REACHES = {"narrow": 0.015, "middle": 0.04, "wide": 0.12}
"""Sigma of the base of local tone mapping over the photo's longer side."""
STRENGTHS = (0.1, 0.2, 0.3, 0.5)
TINT_PLANES = (0.001, 0.004, 0.01, 0.02, 0.05)


@dataclass(frozen=True)
class Seen:
    """What one rendered photo gave; NaN and the code of the refusal where it gave nothing."""

    variant: str
    change: float
    """The pair's CIEDE2000 as measured, less that of an ideal camera."""
    told: bool
    significance: float
    reach_mm: float
    refused: str = ""


def developed(raw: np.ndarray, scene: Scene, evened: tuple[float, float] | None = None) -> np.ndarray:
    """Return the photo of raw light that was rendered already; `evened` is strength and reach."""
    original = render.render_linear
    light = even_out(np.clip(raw, 0, 1), *evened) if evened else raw
    render.render_linear = lambda scene: light  # noqa: ARG005 - the light is the slow part, and the same
    try:
        return render.render_scene(scene).pixels
    finally:
        render.render_linear = original


def variants(scene: Scene) -> Iterator[tuple[str, np.ndarray]]:
    """Return the name and pixels of a scene under each kind of processing."""
    raw = render.render_linear(scene)
    yield "plain", developed(raw, scene)
    for name, reach in REACHES.items():
        for strength in STRENGTHS:
            yield f"local tone {name} {strength}", developed(raw, scene, (strength, reach))
    for amount in (0.0, 0.5, 1.0, 2.0):
        yield f"sharpen {amount}", developed(raw, replace(scene, sharpen=amount))
    for subsampling in ("4:4:4", "4:2:0"):
        for quality in (90, 60):
            changed = replace(scene, subsampling=subsampling, jpeg_quality=quality)
            yield f"{subsampling} quality {quality}", developed(raw, changed)
    for change in (0.01, 0.03):
        bent = replace(scene, view=replace(scene.view, distortion=change))
        yield f"distortion {change}", render.render_scene(bent).pixels
    for change in (0.05, 0.1, 0.2):
        tinted = replace(scene, light=replace(scene.light, tint_gradient=change))
        yield f"tint {change}", render.render_scene(tinted).pixels


def look(seed: int) -> list[Seen]:
    """Measure a scene under every kind of processing."""
    scene = random_scene(np.random.default_rng(seed), glare=False, size=(1600, 1200))
    ideal = truth_of(scene).ideal_delta_e00
    assert ideal is not None
    out = []
    for name, pixels in variants(scene):
        out.append(_seen(name, pixels, ideal))
        if name == "plain" or name.startswith("tint"):
            out += [_with_tint_plane(sigma, name, pixels, ideal) for sigma in TINT_PLANES]
    return out


def _seen(name: str, pixels: np.ndarray, ideal: float) -> Seen:
    try:
        found = measure(photo_of(pixels), ("board", "floor")).measurement
    except FinishlabError as error:
        return Seen(name, np.nan, told=False, significance=np.nan, reach_mm=np.nan, refused=error.code)
    assert found.pair is not None
    told = any(doubt.code == "local-tone" for doubt in found.fields["board"].doubts)
    evened = found.correction["local_tone"] or {"strength": 0.0, "standard_error": 1.0, "reach_mm": 0.0}
    significance = evened["strength"] / evened["standard_error"]
    return Seen(name, found.pair.value - ideal, told, significance, evened["reach_mm"])


def _with_tint_plane(sigma: float, name: str, pixels: np.ndarray, ideal: float) -> Seen:
    usual = correction.FitPriors
    correction.FitPriors = lambda: usual(tint_plane=sigma)  # type: ignore[assignment,misc] # for this trial alone
    try:
        return _seen(f"{name}, prior {sigma}", pixels, ideal)
    finally:
        correction.FitPriors = usual  # type: ignore[misc] # put back


def main() -> None:
    """Print one table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=16)
    parser.add_argument("--first", type=int, default=3000)
    options = parser.parse_args()
    with ProcessPoolExecutor(2) as pool:
        scenes = list(pool.map(look, range(options.first, options.first + options.scenes)))
    found = [seen for scene in scenes for seen in scene]
    plain = np.array([s.change for s in found if s.variant == "plain"])
    print(f"{options.scenes} rendered scenes; plain error: mean {np.nanmean(abs(plain)):.2f}")
    print(
        "| processing | moves the pair: mean | most | error: mean | told local tone | refused |\n"
        "|---|---|---|---|---|---|"
    )
    for name in dict.fromkeys(s.variant for s in found):
        some = [s for s in found if s.variant == name]
        change = np.array([s.change for s in some])
        moved = np.abs(change - plain)
        told, refused = sum(s.told for s in some), sum(bool(s.refused) for s in some)
        print(
            f"| {name} | {np.nanmean(moved):.2f} | {np.nanmax(moved):.2f} | {np.nanmean(np.abs(change)):.2f} "
            f"| {told} | {refused} |"
        )


if __name__ == "__main__":
    main()

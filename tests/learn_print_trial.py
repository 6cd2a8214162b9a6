"""Trial: how well a strip's print is learned from one photo taken a few steps back. Run by hand; all is rendered.

``python tests/learn_print_trial.py [COUNT] [--population]`` photographs the strip's PDF as six printers make it, or as
printers drawn from the renderer's population, over distances, angles, phones and tone curves, and prints the error of
the learned greys (root mean square over the levels, L*; absolute, and with the paper taken as known) and how often the
stated errors hold.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import numpy as np
from render.camera import CAMERAS
from strip_photo import PRINTS, TONES, Print, Shot, photo, true_lightness

from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness
from finishlab.errors import FinishlabError
from finishlab.measure.learn_print import learn_print, look_at_print


@dataclass(frozen=True, slots=True)
class Case:
    """One print learned."""

    print_name: str
    px_per_mm: float
    tone: str
    absolute: np.ndarray
    relative: np.ndarray
    doubted: np.ndarray
    doubted_relative: np.ndarray


def drawn_shot(rng: np.random.Generator, px_per_mm: float) -> Shot:
    """Return a photo as people take it."""
    return Shot(
        px_per_mm=px_per_mm,
        rotation=float(rng.normal(0.0, 8.0)) + 90.0 * int(rng.integers(0, 4)),
        tilt=float(rng.uniform(0.0, 25.0)),
        azimuth=float(rng.uniform(0.0, 180.0)),
        exposure=float(rng.uniform(0.6, 0.92)),
        tone=str(rng.choice(list(TONES))),
        camera=str(rng.choice(CAMERAS)),
        lamp=str(rng.choice(["D65", "A", "FL2", "FL11"])),
        gradient=float(rng.uniform(-0.25, 0.25)),
        curve=float(rng.uniform(-0.04, 0.01)),
        veil=float(rng.uniform(0.0, 0.015)),
        blur=float(rng.uniform(0.45, 0.8)),
        noise=float(rng.uniform(0.002, 0.008)),
        sharpen=float(rng.uniform(0.0, 0.5)),
        jpeg=int(rng.integers(85, 96)),
        demosaic=bool(rng.random() < 0.5),
        seed=int(rng.integers(1, 2**31)),
    )


def drawn_print(rng: np.random.Generator) -> Print:
    """Return a printer drawn from the renderer's population."""
    from render.printers import random_printer

    one = random_printer(rng)
    share = lambda g: (one.reflectance(g) - one.black) / (one.paper - one.black)  # noqa: E731 - a curve, handed on
    return Print("drawn", share, paper=one.paper, black=one.black, growth=one.edge, spread=one.spread)


def learned(made: Print, shot: Shot) -> Case:
    """Learn a print from a photo and compare."""
    found = learn_print([look_at_print(photo(made, shot))], number=412).greys
    truth, lightness = true_lightness(made), np.array(found.lightness)
    scale = reflectance_of_lightness(truth[-1]) / found.values[-1]
    relative = lightness_of_reflectance(np.array(found.values) * scale) - truth
    base = np.array(found.values)
    moved = np.stack([(base + np.array(change)) for _, change in found.effects])
    held = np.asarray(lightness_of_reflectance(np.maximum(moved / moved[:, -1:] * base[-1], 1e-5))) - lightness
    return Case(
        made.name,
        shot.px_per_mm,
        shot.tone,
        lightness - truth,
        np.asarray(relative),
        np.array(found.standard_error),
        np.sqrt((held**2).sum(axis=0)),
    )


def _rms(values: list[np.ndarray]) -> float:
    return float(np.sqrt(np.mean([np.mean(each**2) for each in values])))


def _report(name: str, cases: list[Case]) -> None:
    if not cases:
        return
    absolute, relative = [c.absolute for c in cases], [c.relative for c in cases]
    bias = np.mean(relative, axis=0)
    chi = np.sqrt(np.mean([(c.absolute / c.doubted) ** 2 for c in cases]))
    chi_relative = np.sqrt(np.mean([(c.relative[:-1] / c.doubted_relative[:-1]) ** 2 for c in cases]))
    worst = max(float(np.sqrt(np.mean(each**2))) for each in relative)
    figures = f"absolute {_rms(absolute):.2f}  to paper {_rms(relative):.2f} (worst {worst:.2f})"
    inner = _rms([each[1:-1] for each in relative])
    figures += f" inner {inner:.2f}"
    print(f"{name:26s} n={len(cases):3d}  {figures}  chi {chi:.2f} / {chi_relative:.2f}  bias {bias.round(1)}")


def main(count: int, *, population: bool) -> None:
    """Run the trial and print its tables."""
    rng = np.random.default_rng(5)
    cases, refused = [], []
    for turn in range(count):
        for made in (drawn_print(rng),) if population else PRINTS:
            shot = drawn_shot(rng, (1.6, 2.0, 2.4)[turn % 3])
            try:
                cases.append(learned(replace(made), shot))
            except FinishlabError as error:
                refused.append((made.name, shot.px_per_mm, shot.tone, error.code))
    for name in dict.fromkeys(case.print_name for case in cases):
        _report(name, [c for c in cases if c.print_name == name])
    for px in (1.6, 2.0, 2.4):
        _report(f"{px} px/mm", [c for c in cases if c.px_per_mm == px])
    for tone in TONES:
        _report(f"tone {tone}", [c for c in cases if c.tone == tone])
    _report("all", cases)
    print("refused:", refused)


if __name__ == "__main__":
    numbers = [int(each) for each in sys.argv[1:] if each.isdigit()]
    main(numbers[0] if numbers else 6, population="--population" in sys.argv)

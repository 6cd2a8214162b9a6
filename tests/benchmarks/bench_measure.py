"""How long a photo of 12 megapixels takes to be measured, against a plain full decode of it; and the memory it needs.

Run ``python tests/benchmarks/bench_measure.py [--runs N] [--photo FILE]``. Without a photo two are rendered, which
takes a minute or so. Bounds to watch: ratio at most 2, peak memory below 400 MB. A script and no test, since timings
depend on what else the machine does. Decoding and measuring take turns, so that both meet the same load.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Final

import cv2
import numpy as np

from finishlab import measure_photo

sys.path.append(str(Path(__file__).parents[1]))  # where the tests' renderer is
from render.chance import random_scene
from render.photo import render_scene

SIZE: Final = (4000, 3000)
MOST_RATIO: Final = 2.0
MOST_MEGABYTES: Final = 400.0

CHILD: Final = """
import pathlib, resource, sys
from finishlab import measure_photo
measure_photo(sys.argv[1], fields=("board", "floor"))
status = pathlib.Path("/proc/self/status")
if status.exists():  # getrusage would count what the starting process held, too
    print(next(line.split()[1] for line in status.read_text().splitlines() if line.startswith("VmHWM")))
else:
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""
"""Measures one photo in a fresh process and prints its peak resident memory."""


def rendered_photos(folder: Path) -> list[Path]:
    """Render board and floor beside the strip at 12 megapixels, smooth and noisy, and return the JPEGs' paths.

    A smooth picture makes a small file, which a decoder reads fast; phones write files nearer to the noisy one.
    """
    smooth = random_scene(np.random.default_rng(5), size=SIZE)
    noisy = replace(smooth, full_well=2500.0, read_noise=0.004, jpeg_quality=95, subsampling="4:4:4")
    paths = []
    for name, scene in (("smooth", smooth), ("noisy", noisy)):
        render = render_scene(scene)
        if render.jpeg is None:
            raise RuntimeError("the scene asked for no JPEG")
        paths.append(folder / f"{name}.jpg")
        paths[-1].write_bytes(render.jpeg)
    return paths


def seconds(work: Callable[[], object]) -> float:
    """Return the wall time of one call."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def peak_megabytes(photo: Path) -> float:
    """Return the peak resident memory of a fresh process that measures the photo."""
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(photo)], check=True, capture_output=True, text=True, timeout=300
    )
    peak = float(done.stdout)
    return peak / 1e6 if sys.platform == "darwin" else peak / 1e3  # bytes there, kibibytes on Linux


def run(photo: Path, runs: int) -> None:
    """Measure and print."""
    ways: dict[str, Callable[[], object]] = {
        "full decode by OpenCV": lambda: cv2.imread(str(photo)),
        "board measured": lambda: measure_photo(photo, fields=("board",)),
        "board and floor measured": lambda: measure_photo(photo, fields=("board", "floor")),
    }
    for work in ways.values():  # first calls pay for imports and tables
        work()
    times: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(runs):
        for name, work in ways.items():
            times[name].append(seconds(work))
    print(f"{photo.name}: {photo.stat().st_size / 1e6:.1f} MB, {runs} runs each, {cv2.getNumThreads()} threads")
    decode = statistics.median(times["full decode by OpenCV"])
    for name, taken in times.items():
        median = statistics.median(taken)
        print(
            f"{name:26s} {1000 * median:6.0f} ms (best {1000 * min(taken):.0f}), {median / decode:.2f} times the decode"
        )
    peak = peak_megabytes(photo)
    print(f"bounds: {MOST_RATIO:.0f} times the decode; peak memory {peak:.0f} MB of {MOST_MEGABYTES:.0f} allowed")


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=9)
    parser.add_argument("--photo", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        for photo in [asked.photo] if asked.photo else rendered_photos(Path(folder)):
            run(photo, asked.runs)


if __name__ == "__main__":
    main()

"""How far figures rest on guesses: constants marked 'common practice, no source', each off by a plausible amount.

Shared with ``docs/build_accuracy.py``. The same rendered photos are measured with every constant as it is and as it
could as well be. Each variant runs in a process of its own, ``python tests/accuracy_guesses.py JOB``, which changes the
constant before anything else has read it.
"""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from accuracy_photos import Record
    from render.scene import Scene

AS_IS: Final = -1
"""Number of the variant in which nothing is changed."""
FIRST: Final = 400_000
"""Seed of the first scene less one."""


@dataclass(frozen=True, slots=True)
class Guess:
    """A constant without a source, and what it could be as well."""

    what: str
    module: str
    name: str
    """The constant; a dot leads into what belongs to it."""
    others: tuple[Any, Any]
    path: str = "photo"
    """Which way of measuring it bears on: a name of `accuracy_ways.WAYS`."""


_COLOURS: Final = "finishlab.imaging.processing"
_GREYS: Final = "finishlab.imaging.greys"
_PRINT: Final = "finishlab.imaging.strip"
_LEARN: Final = "finishlab.measure.learn_print"
_SCREENS: Final = "finishlab.imaging.rectify"

GUESSES: Final = (
    Guess("phones boost saturation by 2 +- 7 %: -2 or 10 %", _COLOURS, "SATURATION_BOOST", ((0.98, 0.07), (1.1, 0.07))),
    Guess("spread of that boost, 7 %: 3 or 12 %", _COLOURS, "SATURATION_BOOST", ((1.02, 0.03), (1.02, 0.12))),
    Guess("papers, L* 88 to 96: 4 darker, or 91 to 98", _PRINT, "_PAPER", ((84.0, 92.0), (91.0, 98.0))),
    Guess("blacks, L* 14 to 34: 6 darker or lighter", _PRINT, "_BLACK", ((8.0, 28.0), (20.0, 40.0))),
    Guess("exponents, 0.75 to 1.25: 0.15 less or more", _PRINT, "_EXPONENT", ((0.60, 1.10), (0.90, 1.40))),
    Guess("gains, 6 to 28 %: 6 less or more", _PRINT, "_GAIN", ((0.0, 0.22), (0.12, 0.34))),
    Guess("black left by toner saving, 85 to 100 %: 70 or 95 % at least", _PRINT, "_SAVING", ((0.7, 1.0), (0.95, 1.0))),
    Guess(
        "prints that keep the tone of sRGB, 45 %, and none saving toner, 85 %: 20 and 95, or 80 and 70",
        _PRINT,
        "_SHARES",
        ((0.20, 0.95), (0.80, 0.70)),
    ),
    Guess("ink that runs, 0.03 +- 0.02 mm: 0.01 or 0.05", _SCREENS, "GROWTH", ((0.01, 0.02), (0.05, 0.02)), "learned"),
    Guess(
        "light that spreads, 0.055 +- 0.025 mm: 0.03 or 0.08",
        _SCREENS,
        "SPREAD",
        ((0.03, 0.025), (0.08, 0.025)),
        "learned",
    ),
    Guess("stray light, 0.8 % of white: none or double", _LEARN, "_GLARE", ((0.0, 0.006), (0.016, 0.006)), "learned"),
    Guess("pressed highlights in learning: half or double", _LEARN, "_TOP", ((0.02, 0.25), (0.08, 0.25)), "learned"),
    Guess("blur of a lens, 0.6 pixels: 0.4 or 1.0", _SCREENS, "_BLUR", (0.4, 1.0), "learned"),
    Guess(
        "saturation of raw files, 1.00 +- 0.03: 0.95 or 1.05",
        _COLOURS,
        "RAW_SATURATION",
        ((0.95, 0.03), (1.05, 0.03)),
        "raw",
    ),
    Guess(
        "slope of raw files, 1 +- 0.02: +- 0.005 or 0.05",
        "finishlab.imaging.correction",
        "straight_tone.__wrapped__.__defaults__",
        ((0.005,), (0.05,)),
        "raw",
    ),
    Guess("instrument reading of a grey, 0.3 L*: half or double", _GREYS, "_OWN_READING", (0.15, 0.6), "typed"),
    Guess("what such readings share, 0.2 L*: half or double", _GREYS, "_COMMON_READING", (0.1, 0.4), "typed"),
    Guess("match by eye, 1.5 L*: half or double", "finishlab.measure.learn_print", "_EYE", (0.75, 3.0), "seen"),
    Guess("a grey card, 0.5 L*: half or double", "finishlab.measure.learn_print", "_KNOWN", (0.25, 1.0), "card"),
    Guess(
        "long side of a photo by hand, 380 mm: 250 or 600",
        "finishlab.measure.by_hand",
        "_SPAN_MM",
        (250.0, 600.0),
        "hand",
    ),
)
"""Every constant marked 'common practice, no source' that a figure rests on."""

WORDS_ONLY: Final = {
    ("finishlab.imaging.sampling", "_COARSE_MM"): "how grain is described",
    ("finishlab.measure.uncertainty_budget", "_WOOD_HUE"): "when a colour is called no wood's",
    ("finishlab.measure.uncertainty_budget", "_CROSSED_DEG"): "when grains of two photos are said to cross",
    ("finishlab.matching.guards", "FAR_DAYS"): "when photos are said to lie far apart in time",
    ("finishlab.matching.guards", "SHEEN_GU"): "when gloss is said to differ",
    ("finishlab.matching.guards", "CROSSED_DEG"): "when grains are said to cross",
    ("finishlab.matching.scatter", "FEW_SPOTS"): "when spots are called few",
    ("finishlab.matching.aims", "STEP"): "how large a contrast is meant when nobody says",
}
"""Those that only decide what is said or meant: module and name -> what it decides."""


def every(count: int = len(GUESSES)) -> list[tuple[int, int]]:
    """Return guess and variant of all that is to be measured of the first guesses.

    Nothing changed comes first, once for each way of measuring.
    """
    ways: dict[str, int] = {}
    for index, guess in enumerate(GUESSES[:count]):
        ways.setdefault(guess.path, index)
    return [(index, AS_IS) for index in ways.values()] + [(i, k) for i in range(count) for k in (0, 1)]


def measured(count: int, size: tuple[int, int], index: int, variant: int) -> list[Record]:
    """Return the scenes measured with one guess changed, in a process of its own."""
    job = json.dumps([count, size, index, variant])
    done = subprocess.run([sys.executable, __file__, job], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise RuntimeError(done.stderr)
    records: list[Record] = json.loads(done.stdout)
    return records


def _change(guess: Guess, variant: int) -> None:
    """Set a constant to what it could be as well, before anything else has read it."""
    if variant == AS_IS:
        return
    holder: Any = importlib.import_module(guess.module)
    *path, last = guess.name.split(".")
    for step in path:
        holder = getattr(holder, step)
    getattr(holder, last)  # a name that is gone must not pass for a guess that does not matter
    setattr(holder, last, guess.others[variant])


def main(job: str) -> None:
    """Measure the scenes of a job and print the records."""
    count, size, index, variant = json.loads(job)
    guess = GUESSES[index]
    _change(guess, variant)
    sys.path.insert(0, str(Path(__file__).parent))
    import numpy as np
    from accuracy_ways import WAYS
    from render.chance import random_scene

    def record(seed: int) -> Record:
        scene: Scene = random_scene(np.random.default_rng(FIRST + seed), size=tuple(size), glare=False)
        said = {"seed": seed, "guess": index, "variant": variant, "path": guess.path}
        return said | WAYS[guess.path](scene)

    sys.stdout.write(json.dumps([record(seed) for seed in range(1, count + 1)]))


if __name__ == "__main__":
    main(sys.argv[1])

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
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from accuracy_photos import Record

    from finishlab.demo.scene import Scene

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


GUESSES: Final = (
    Guess(
        "saturation boost of phones, 1.10 +- 0.06: 0.05 less or more",
        "finishlab.imaging.colours",
        "SATURATION_BOOST",
        ((1.05, 0.06), (1.15, 0.06)),
    ),
    Guess(
        "its spread: half or double",
        "finishlab.imaging.colours",
        "SATURATION_BOOST",
        ((1.10, 0.03), (1.10, 0.12)),
    ),
    Guess(
        "saturation of raw files, 1.00 +- 0.03: 0.05 less or more",
        "finishlab.imaging.colours",
        "RAW_SATURATION",
        ((0.95, 0.03), (1.05, 0.03)),
        "raw",
    ),
    Guess(
        "instrument reading of a grey, 0.3 L*: half or double",
        "finishlab.imaging.greys",
        "_OWN_READING",
        (0.15, 0.6),
        "typed",
    ),
    Guess(
        "what an instrument's readings share, 0.2 L*: half or double",
        "finishlab.imaging.greys",
        "_COMMON_READING",
        (0.1, 0.4),
        "typed",
    ),
    Guess(
        "lightness of a grey card, 0.5 L*: half or double",
        "finishlab.measure.learn_greys",
        "_KNOWN",
        (0.25, 1.0),
        "card",
    ),
    Guess(
        "width of a photo by hand, 380 mm: 250 or 600", "finishlab.measure.by_hand", "_SPAN_MM", (250.0, 600.0), "hand"
    ),
)
"""Every constant marked 'common practice, no source' that a figure rests on."""

WORDS_ONLY: Final = {
    ("finishlab.imaging.texture", "_COARSE_MM"): "how grain is described",
    ("finishlab.measure.judgement", "_WOOD_HUE"): "when a colour is called no wood's",
    ("finishlab.measure.looks", "_TURNED"): "when grains are said to lie across",
    ("finishlab.matching.guards", "_LONG_APART"): "when photos are said to lie far apart in time",
    ("finishlab.matching.guards", "_GLOSS"): "when gloss is said to differ",
    ("finishlab.matching.guards", "_TURNED"): "when grains are said to lie across",
    ("finishlab.matching.floor", "_FEW"): "when spots are called few",
}
"""Those that only decide whether a sentence is said: module and name -> what it decides."""


def every() -> list[tuple[int, int]]:
    """Return guess and variant of all that is to be measured; nothing changed comes first, once for each path."""
    paths: dict[str, int] = {}
    for index, guess in enumerate(GUESSES):
        paths.setdefault(guess.path, index)
    return [(index, AS_IS) for index in paths.values()] + [(i, k) for i in range(len(GUESSES)) for k in (0, 1)]


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

    from finishlab.demo.chance import random_scene

    def record(seed: int) -> Record:
        scene: Scene = random_scene(np.random.default_rng(FIRST + seed), size=tuple(size), glare=False)
        said = {"seed": seed, "guess": index, "variant": variant, "path": guess.path}
        return said | WAYS[guess.path](scene)

    sys.stdout.write(json.dumps([record(seed) for seed in range(1, count + 1)]))


def told() -> list[dict[str, Any]]:
    """Return the guesses as JSON can hold them, for the page."""
    return [asdict(guess) for guess in GUESSES]


if __name__ == "__main__":
    main(sys.argv[1])

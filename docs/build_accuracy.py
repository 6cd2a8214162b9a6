"""Write docs/accuracy.md and its plots: how far the figures can be trusted, measured on rendered scenes.

Run ``python docs/build_accuracy.py`` (about ten minutes on two free processors); it needs the ``dev`` extra. What was
measured is kept in docs/accuracy.json, from which ``--page-only`` writes the page again without rendering. ``--quick``
measures just enough to try the script; give it a folder with ``--into``, its figures mean nothing.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "docs")]

import accuracy_cases as cases  # noqa: E402 - found beside the tests
import accuracy_page  # noqa: E402
import accuracy_plots  # noqa: E402

from finishlab.version import __version__  # noqa: E402

Records = list[dict[str, Any]]
CACHE: Final = "accuracy.json"
FULL: Final[Mapping[str, int]] = {"single": 200, "sessions": 80, "swept": 24, "budget": 32, "width": 1400, "many": 1000}
QUICK: Final[Mapping[str, int]] = {"single": 4, "sessions": 2, "swept": 1, "budget": 1, "width": 640, "many": 640}
"""How many scenes of each kind, and the width in pixels of the single photos and of all others."""
FIRST: Final = 5001
"""Seed of the first single scene: none of those that constants were chosen on."""
DIGITS: Final = 3


def size_of(width: int) -> tuple[int, int]:
    """Return width and height of a photo."""
    return width, width * 3 // 4


def jobs(plan: Mapping[str, int]) -> list[tuple[str, tuple[Any, ...]]]:
    """Return all that is to be measured: which part of the page it is for, and the arguments."""
    many, sources = size_of(plan["many"]), tuple(cases.SOURCES)
    out: list[tuple[str, tuple[Any, ...]]] = [
        ("single", (FIRST + n, size_of(plan["width"]))) for n in range(plan["single"])
    ]
    out += [("sessions", (n, many)) for n in range(1, plan["sessions"] + 1)]
    for seed in range(1, plan["swept"] + 1):
        out.append(("swept", (seed, many, "base", "")))
        out += [("swept", (seed, many, what, at)) for what, (values, _) in cases.SWEEPS.items() for at in values]
    for seed in range(1, plan["budget"] + 1):
        # the grain stays in: it is what is measured, and without it the file's own 8 bit steps would show
        alone = [tuple(o for o in sources if o in {"grain", s}) for s in sources]
        lit = [(), sources, *alone, *(tuple(o for o in sources if o != s) for s in sources)]
        out += [("budget", (seed, many, on)) for on in lit]
    return out


def run(job: tuple[str, tuple[Any, ...]]) -> tuple[str, Records]:
    """Do one job."""
    part, arguments = job
    if part == "sessions":
        return part, cases.session(*arguments)
    if part == "single":
        return part, [cases.single(*arguments)]
    return part, [cases.swept(*arguments) if part == "swept" else cases.budget(*arguments)]


def measured(plan: Mapping[str, int]) -> dict[str, Any]:
    """Measure everything, on all processors, and return it as JSON can hold it."""
    parts: dict[str, Records] = {"single": [], "sessions": [], "swept": [], "budget": []}
    with ProcessPoolExecutor() as pool:
        for done, (part, records) in enumerate(pool.map(run, jobs(plan), chunksize=4), start=1):
            parts[part] += records
            if done % 200 == 0:
                print(f"{done} of {len(jobs(plan))}", file=sys.stderr)
    plain = {"format": "finishlab/accuracy/1", "version": __version__, "plan": dict(plan)}
    return plain | {part: columns(records) for part, records in parts.items()}


def columns(records: Iterable[Mapping[str, Any]]) -> dict[str, list[Any]]:
    """Return records as one list a field, figures rounded, which keeps the file small."""
    records = list(records)
    names = dict.fromkeys(name for record in records for name in record)
    return {name: [rounded(record.get(name)) for record in records] for name in names}


def rounded(value: Any) -> Any:  # noqa: ANN401 - whatever JSON holds
    """Return a value with its figures rounded."""
    if isinstance(value, float):
        return round(value, DIGITS)
    if isinstance(value, list | tuple):
        return [rounded(v) for v in value]
    if isinstance(value, dict):
        return {key: rounded(v) for key, v in value.items()}
    return value


def main(words: list[str] | None = None) -> None:
    """Measure, keep, and write the page."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="few and small scenes; needs --into")
    parser.add_argument("--page-only", action="store_true", help="write the page from docs/accuracy.json")
    parser.add_argument("--into", type=Path, help="folder to write to instead of docs")
    options = parser.parse_args(words)
    if options.quick and options.into is None:
        parser.error("--quick writes figures that mean nothing: name a folder with --into")
    folder = options.into or ROOT / "docs"
    (folder / "pictures").mkdir(parents=True, exist_ok=True)
    cache = folder / CACHE
    if not options.page_only:
        found = measured(QUICK if options.quick else FULL)
        lines = [f"{json.dumps(part)}: {json.dumps(value)}" for part, value in found.items()]
        cache.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
    data = json.loads(cache.read_text(encoding="utf-8"))
    accuracy_plots.draw(data, folder / "pictures")
    (folder / "accuracy.md").write_text(accuracy_page.page(data), encoding="utf-8")
    print(folder / "accuracy.md")


if __name__ == "__main__":
    main()

"""Write docs/accuracy.md and its plots: how far the figures can be trusted, measured on rendered scenes.

Run ``python docs/build_accuracy.py`` (about ten minutes on two free processors); it needs the ``dev`` extra. The wide
sweeps (one thing changed at a time, and the error budget) take as long again and change little: ``--wide`` measures
them too, before a release; without it those that are kept stay. ``--only PART`` and ``--share`` measure less: each part
keeps how many scenes it rests on, and the page says it. What was measured is kept in docs/accuracy.json, from
which ``--page-only`` writes the page again without rendering. ``--quick`` measures just enough to try the script; give
it a folder with ``--into``, its figures mean nothing.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "docs")]

import accuracy_cases as cases  # noqa: E402 - found beside the tests
import accuracy_guesses as guesses  # noqa: E402
import accuracy_page  # noqa: E402
import accuracy_plots  # noqa: E402
import accuracy_prints as prints  # noqa: E402
from render.printers import PRINTERS  # noqa: E402

from finishlab.version import __version__  # noqa: E402

Records = list[dict[str, Any]]
CACHE: Final = "accuracy.json"
FORMAT: Final = "finishlab/accuracy/2"
FULL: Final[Mapping[str, int]] = {
    "nominal": 100,
    "single": 120,
    "members": 16,
    "sessions": 40,
    "guesses": 16,
    "guessed": len(guesses.GUESSES),
    "swept": 24,
    "budget": 32,
    "width": 1400,
    "many": 1000,
}
QUICK: Final[Mapping[str, int]] = {
    "nominal": 2,
    "single": 2,
    "members": 1,
    "sessions": 1,
    "guesses": 1,
    "guessed": 1,
    "swept": 1,
    "budget": 1,
    "width": 640,
    "many": 640,
}
"""How many scenes of each kind (members: for each named printer), how many guesses are varied, and the width in pixels
of the nominal photos and of all others."""
PARTS: Final[Mapping[str, tuple[str, ...]]] = {
    "usual": ("nominal", "single", "members", "sessions", "guesses"),
    "wide": ("swept", "budget"),
}
"""What is measured each time, and what only with ``--wide``."""
FIRST: Final = 5001
"""Seed of the first single scene: none of those that constants were chosen on."""
DIGITS: Final = 3


def size_of(width: int) -> tuple[int, int]:
    """Return width and height of a photo."""
    return width, width * 3 // 4


def share_of(plan: Mapping[str, int], share: float) -> dict[str, int]:
    """Return a plan with a share of its scenes, one of each kind at least."""
    return {
        what: count if what in {"width", "many", "guessed"} else max(1, round(count * share))
        for what, count in plan.items()
    }


def jobs(plan: Mapping[str, int], parts: Iterable[str]) -> list[tuple[str, tuple[Any, ...]]]:
    """Return all that is to be measured: which part of the page it is for, and the arguments."""
    many = size_of(plan["many"])
    seeds = {part: range(1, plan[part] + 1) for part in ("members", "sessions", "swept", "budget")}
    whole: dict[str, list[tuple[Any, ...]]] = {
        "nominal": [(FIRST + n, size_of(plan["width"])) for n in range(plan["nominal"])],
        "single": [(FIRST + n, many) for n in range(plan["single"])],
        "members": [(seed, many, index) for seed in seeds["members"] for index in range(len(PRINTERS))],
        "sessions": [(seed, many) for seed in seeds["sessions"]],
        "guesses": [(plan["guesses"], many, *which) for which in guesses.every(plan["guessed"])],
        "swept": [(seed, many, *which) for seed in seeds["swept"] for which in cases.every_sweep()],
        "budget": [(seed, many, on) for seed in seeds["budget"] for on in cases.every_budget()],
    }
    return [(part, arguments) for part in parts for arguments in whole[part]]


MEASURE: Final[Mapping[str, Callable[..., Records]]] = {
    "nominal": lambda *given: [prints.nominal(*given)],
    "single": lambda *given: [prints.drawn(*given)],
    "members": lambda *given: [prints.member(*given)],
    "sessions": cases.session,
    "guesses": guesses.measured,
    "swept": lambda *given: [cases.swept(*given)],
    "budget": lambda *given: [cases.budget(*given)],
}


def run(job: tuple[str, tuple[Any, ...]]) -> tuple[str, Records]:
    """Do one job."""
    part, arguments = job
    return part, MEASURE[part](*arguments)


def measured(plan: Mapping[str, int], parts: Iterable[str]) -> dict[str, Any]:
    """Measure some parts, on all processors, and return them as JSON can hold them."""
    found: dict[str, Records] = {part: [] for part in parts}
    todo = jobs(plan, found)
    with ProcessPoolExecutor() as pool:
        for done, (part, records) in enumerate(pool.map(run, todo, chunksize=2), start=1):
            found[part] += records
            if done % 100 == 0:
                print(f"{done} of {len(todo)}", file=sys.stderr)
    return {part: {"version": __version__, "plan": dict(plan), **columns(records)} for part, records in found.items()}


def columns(records: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Return records as one list a field, figures rounded, which keeps the file small."""
    records = list(records)
    names = dict.fromkeys(name for record in records for name in record)
    return {"rows": {name: [rounded(record.get(name)) for record in records] for name in names}}


def rounded(value: Any) -> Any:  # noqa: ANN401 - whatever JSON holds
    """Return a value with its figures rounded."""
    if isinstance(value, float):
        return round(value, DIGITS)
    if isinstance(value, list | tuple):
        return [rounded(v) for v in value]
    if isinstance(value, dict):
        return {key: rounded(v) for key, v in value.items()}
    return value


def kept(cache: Path) -> dict[str, Any]:
    """Return what was measured before, nothing if it is of another format."""
    data: dict[str, Any] = json.loads(cache.read_text(encoding="utf-8")) if cache.is_file() else {}
    return data if data.get("format") == FORMAT else {}


def main(words: list[str] | None = None) -> None:
    """Measure, keep, and write the page."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="few and small scenes; needs --into")
    parser.add_argument("--wide", action="store_true", help="measure the sweeps and the error budget too")
    parser.add_argument(
        "--only", choices=list(MEASURE), action="append", help="measure this part only; may be repeated"
    )
    parser.add_argument(
        "--share", type=float, default=1.0, help="measure only this share of the scenes; the page says so"
    )
    parser.add_argument("--page-only", action="store_true", help="write the page from docs/accuracy.json")
    parser.add_argument("--into", type=Path, help="folder to write to instead of docs")
    options = parser.parse_args(words)
    if options.quick and options.into is None:
        parser.error("--quick writes figures that mean nothing: name a folder with --into")
    folder = options.into or ROOT / "docs"
    (folder / "pictures").mkdir(parents=True, exist_ok=True)
    cache = folder / CACHE
    if not options.page_only:
        before = kept(cache)
        wide = options.wide or not set(PARTS["wide"]) <= set(before)
        parts = options.only or (*PARTS["usual"], *(PARTS["wide"] if wide else ()))
        plan = QUICK if options.quick else share_of(FULL, options.share)
        found = {"format": FORMAT} | before | measured(plan, parts)
        lines = [f"{json.dumps(part)}: {json.dumps(value)}" for part, value in found.items()]
        cache.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
    data = json.loads(cache.read_text(encoding="utf-8"))
    accuracy_plots.draw(data, folder / "pictures")
    (folder / "accuracy.md").write_text(accuracy_page.page(data), encoding="utf-8")
    print(folder / "accuracy.md")


if __name__ == "__main__":
    main()

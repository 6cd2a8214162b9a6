"""What docs/accuracy.md says in figures, worked out of docs/accuracy.json."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

import numpy as np
from scipy.stats import chi2

Record = Mapping[str, Any]

LEVELS: Final = (0.5, 0.68, 0.8, 0.9, 0.95, 0.99)
STEP: Final = (0.75, 1.25)
"""Differences of two distances, as the ideal camera sees them, that count as 1."""


def rows(data: Record, part: str, *, refused: bool = False) -> list[dict[str, Any]]:
    """Return a part's measurements, those that were refused only when asked for."""
    columns = data[part]["rows"]
    whole = [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]
    return [row for row in whole if refused or not row["refused"]]


def after(records: Iterable[Record], what: str = "learned", *, refused: bool = False) -> list[dict[str, Any]]:
    """Return what the same photos gave later; where that was refused only if asked.

    ``"learned"``: once their strip's print was learned. ``"again"``: measured again when all photos were in.
    """
    whole = [{**record, **record[what]} for record in records if what in record]
    return [row for row in whole if refused or not row["refused"]]


def beyond(records: Iterable[Record]) -> np.ndarray:
    """Errors of pairs beyond the ideal camera."""
    return np.array([abs(r["value"] - r["ideal"]) for r in records])


def from_truth(records: Iterable[Record]) -> np.ndarray:
    """Errors of pairs from the truth."""
    return np.array([abs(r["value"] - r["true"]) for r in records])


def held(records: Iterable[Record]) -> float:
    """Share of stated 95 % intervals of the CIEDE2000 that hold the truth."""
    return float(np.mean([r["low"] <= r["true"] <= r["high"] for r in records]))


def widths(records: Iterable[Record]) -> float:
    """Mean width of those intervals."""
    return float(np.mean([r["high"] - r["low"] for r in records]))


def held_at(surprises: Iterable[float], level: float) -> float:
    """Share of truths within the stated ellipsoid of a level (three degrees of freedom)."""
    return float(np.mean(np.array(list(surprises)) <= chi2.ppf(level, 3)))


def scales(scores: Iterable[Iterable[float]]) -> tuple[np.ndarray, np.ndarray]:
    """Root mean square and mean of errors over stated standard deviations, L*, a*, b*; about 1 and 0 when right."""
    z = np.array(list(scores), dtype=float)
    return np.sqrt((z**2).mean(axis=0)), z.mean(axis=0)


def of_floor(records: Iterable[Record], kind: str) -> list[Record]:
    """Return the records of a kind of floor, ``"print"`` or ``"wood"``."""
    return [r for r in records if r["floor_is"] == kind]


def groups(data: Record) -> dict[str, list[tuple[float, list[float]]]]:
    """Return what intervals are judged on: name -> (surprise, scores) of each measurement."""
    single, apart = rows(data, "single"), rows(data, "sessions")

    def vector(records: Iterable[Record]) -> list[tuple[float, list[float]]]:
        return [(r["d2"], r["z"]) for r in records]

    def absolute(records: Iterable[Record], field: str) -> list[tuple[float, list[float]]]:
        return [(r["absolute"][field]["d2"], r["absolute"][field]["z"]) for r in records]

    return {
        "pair in one photo, print floor": vector(of_floor(single, "print")),
        "pair in one photo, wood floor": vector(of_floor(single, "wood")),
        "pooled floor and board apart, print": vector(of_floor(apart, "print")),
        "pooled floor and board apart, wood": vector(of_floor(apart, "wood")),
        "colour of a board, absolute": absolute(single, "board"),
        "colour of a printed floor, absolute": absolute(of_floor(single, "print"), "floor"),
        "colour of a wooden floor, absolute": absolute(of_floor(single, "wood"), "floor"),
    }


STACKED: Final = "Sigma SDMerill (NPL)"
"""The one camera whose sensor has no colour filter array; no phone is made so."""


def order(records: Iterable[Record], without: str = "") -> dict[str, tuple[float, int]]:
    """Return the share of neighbouring boards of sessions in the right order, and how many pairs that is of.

    `without` leaves a camera out.

    ``"true"``: farther from the floor by 1 in truth. ``"ideal"``: the same pairs as the ideal camera orders them.
    ``"seen"``: pairs that the ideal camera sees about 1 apart, held against its order.
    """
    whole = [r for r in records if r["camera"] != without]
    boards: dict[tuple[int, int], Record] = {(r["seed"], r["step"]): r for r in whole}
    couples = [(r, boards[seed, step + 1]) for (seed, step), r in boards.items() if (seed, step + 1) in boards]
    right = [one["value"] < two["value"] for one, two in couples]
    ideal = [one["ideal"] < two["ideal"] for one, two in couples]
    gaps = [(two["value"] - one["value"], two["ideal"] - one["ideal"]) for one, two in couples]
    seen = [found * gap > 0 for found, gap in gaps if STEP[0] <= abs(gap) <= STEP[1]]
    kinds = {"true": right, "ideal": ideal, "seen": seen}
    return {name: (mean(float(v) for v in found), len(found)) for name, found in kinds.items()}


def sweep(data: Record, what: str) -> list[dict[str, Any]]:
    """Return one line for each value of what is changed: error, how far the pair moved from the base, refusals."""
    whole = rows(data, "swept", refused=True)
    base = {r["seed"]: r["value"] for r in whole if r["what"] == "base" and not r["refused"]}
    out = []
    for at in dict.fromkeys(r["at"] for r in whole if r["what"] == what):
        here = [r for r in whole if r["what"] == what and r["at"] == at]
        good = [r for r in here if not r["refused"]]
        moved = {
            stacked: [
                abs(r["value"] - base[r["seed"]])
                for r in good
                if r["seed"] in base and (r["camera"] == STACKED) is stacked
            ]
            for stacked in (False, True)
        }
        errors = beyond(good)
        out.append(
            {
                "at": at,
                "error": mean(errors),
                "p95": float(np.percentile(errors, 95)) if len(errors) else float("nan"),
                "moved": mean(moved[False] + moved[True]),
                "moved_filtered": mean(moved[False]),
                "truth": mean(from_truth(good)),
                "photos": len(here),
                "refused": len(here) - len(good),
            }
        )
    return out


def budget(data: Record) -> dict[str, tuple[float, float]]:
    """Return for each source of error what the pair is off by with it (and the grain) alone, and with all but it."""
    whole = rows(data, "budget")
    everything = max((r["on"] for r in whole), key=len)

    def error(on: set[str]) -> float:
        return mean(beyond(r for r in whole if set(r["on"]) == on))

    every = set(everything)
    out = {
        source: (
            error({"grain", source}),
            error(every - {source}),
        )
        for source in everything
    }
    full = [r for r in whole if set(r["on"]) == every]
    out["camera"] = (mean(abs(r["ideal"] - r["true"]) for r in full), error(every))
    out["everything"] = (mean(from_truth(full)), float("nan"))
    out["nothing"] = (error(set()), float("nan"))
    return out


def mean(values: Iterable[float]) -> float:
    """Return the mean, not a number of nothing."""
    values = list(values)
    return float(np.mean(values)) if values else float("nan")

"""The colours of the stair's parts as they are now, and which part's colour stands apart."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Final

from finishlab.records import DAYLIGHT
from finishlab.stair.progress import Progress
from finishlab.stair.records import StoredColour, StoredStair

__all__ = ["Lab", "colours_now"]

Lab = tuple[float, float, float]

FEWEST: Final = 4
"""Parts of one kind and state that must be measured before one can stand apart."""
_LEAST: Final = 2.0
"""CIEDE2000 below which no part stands apart: wood varies as much within one surface. The tool's own."""
_TIMES: Final = 3.0
"""How many times the others' usual distance from their middle is far. The tool's own."""


@dataclass(frozen=True, slots=True)
class Coloured:
    """The colour of a part since its last coat."""

    lab: Lab
    light: str
    note: str = ""
    """What is odd about it."""


def colours_now(stair: StoredStair, progress: Mapping[int, Progress]) -> dict[int, Coloured]:
    """Return each part's colour as it is now: the mean of what was measured in one light since its last coat.

    Daylight where there is any, else the light measured last. Kinds of one state whose colour stands apart from the
    others measured in that light are told.
    """
    by_part: dict[int, list[StoredColour]] = defaultdict(list)
    for colour in stair.colours:
        known = progress[colour.part]
        if known.order[colour.event] > known.coloured_after:
            by_part[colour.part].append(colour)
    found = {ident: _mean(colours) for ident, colours in by_part.items()}
    if len(found) >= FEWEST:
        _tell_apart(stair, progress, found)
    return found


def _mean(colours: Sequence[StoredColour]) -> Coloured:
    lights = [colour.light for colour in colours]
    light = DAYLIGHT if DAYLIGHT in lights else lights[-1]
    labs = [colour.lab for colour in colours if colour.light == light]
    mean = tuple(sum(values) / len(labs) for values in zip(*labs, strict=True))
    return Coloured((mean[0], mean[1], mean[2]), light)


def _tell_apart(stair: StoredStair, progress: Mapping[int, Progress], found: dict[int, Coloured]) -> None:
    alike: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for part in stair.parts:
        if part.ident in found:
            known = progress[part.ident]
            state = tuple(known.count(step) for step in ("stain", "seal", "topcoat"))
            alike[part.record.kind, state, found[part.ident].light].append(part.ident)
    for idents in alike.values():
        if len(idents) >= FEWEST:
            for ident in idents:
                note = _apart(found[ident].lab, [found[other].lab for other in idents if other != ident])
                if note:
                    found[ident] = replace(found[ident], note=note)


def _apart(lab: Lab, others: Sequence[Lab]) -> str:
    """Return how a colour differs from the middle of others if it lies far out, else nothing."""
    from finishlab.colorimetry.ciede2000 import delta_e_00

    middle = tuple(median(values) for values in zip(*others, strict=True))
    usual = median(float(delta_e_00(other, middle)) for other in others)
    far = float(delta_e_00(lab, middle))
    if far <= max(_LEAST, _TIMES * usual):
        return ""
    change = lab[0] - middle[0]
    how = "lighter" if change > 1 else "darker" if change < -1 else "of another hue"
    return f"{how} than the others by dE00 {far:.1f}"

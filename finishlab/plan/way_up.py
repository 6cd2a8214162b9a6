"""The way a person walks up a stair: its steps, what is left of them when some are closed, and parts in words."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import Literal

from finishlab.plan.geometry import WALKED_ON, Part
from finishlab.stair.names import level_title

__all__ = ["Climb", "Step", "alternating", "full_name", "named", "need_flight", "parted", "way_up"]

_ORDER = {"tread": 0, "landing nosing": 1, "landing board": 2}
Climb = Literal["single", "double", "none"]
"""How one gets up: step by step, over closed steps one at a time, or not at all."""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to step on, on the way up: a tread, a top nosing, half a landing, or a landing of one piece.

    Parameters
    ----------
    parts
        What it is made of; several boards only for half a landing.
    blocks
        Whether it cannot be stepped over, and nothing beside it can be stepped on: a landing of one piece.
    """

    parts: tuple[Part, ...]
    blocks: bool = False


def way_up(parts: Iterable[Part]) -> tuple[Step, ...]:
    """Return what one steps on from the bottom up.

    In each flight the treads come first, then a top nosing, then landing boards. A landing of two boards
    or more is two steps, half of its boards each, so that the other half can be walked on.
    """
    walked = sorted(
        (part for part in parts if part.kind in WALKED_ON), key=lambda part: (part.level, _ORDER[part.kind], part.place)
    )
    steps: list[Step] = []
    for (_, kind), group in itertools.groupby(walked, key=lambda part: (part.level, part.kind)):
        each = tuple(group)
        if kind != "landing board":
            steps += [Step((part,)) for part in each]
        elif len(each) == 1:
            steps.append(Step(each, blocks=True))
        else:
            half = len(each) // 2
            steps += [Step(each[:half]), Step(each[half:])]
    return tuple(steps)


def alternating(steps: Sequence[Step]) -> tuple[tuple[Step, ...], ...]:
    """Return groups to work on one after the other, none of which holds two neighbours.

    First every second step, then those between, then each landing that nothing leads past.
    """
    groups: tuple[list[Step], list[Step]] = ([], [])
    open_steps = [step for step in steps if not step.blocks]
    for number, step in enumerate(open_steps):
        groups[number % 2].append(step)
    alone = [[step] for step in steps if step.blocks]
    return tuple(tuple(group) for group in (*groups, *alone) if group)


def need_flight(parts: Iterable[Part]) -> bool:
    """Return whether some kind of part is on more than one level, so that names need their flight."""
    levels: dict[str, set[int]] = {}
    for part in parts:
        levels.setdefault(part.kind, set()).add(part.level)
    return any(len(each) > 1 for each in levels.values())


def full_name(part: Part, *, several: bool) -> str:
    """Return a part's name, its flight before it where there are several: ``flight 2 tread 7``."""
    return f"{level_title(part.level)} {part.name}" if several else part.name


def named(parts: Sequence[Part], *, several: bool) -> str:
    """Return parts in words, the numbers of a kind together: ``treads 1, 3 and 5``, ``flight 1 treads 1 and 3``."""
    groups: dict[tuple[int, str], list[Part]] = {}
    for part in parts:
        groups.setdefault((part.level if several else 0, part.kind), []).append(part)
    words, last = [], 0
    for (level, kind), group in groups.items():
        title = level_title(level) if level else ""
        # "landing 1 boards 1 to 3", not "landing 1 landing boards".
        said = kind.removeprefix("landing ") if title.startswith("landing") and level != last else kind
        where = f"{title} " if level and level != last else ""
        last = level
        words.append(where + _numbered(said, group))
    return "; ".join(words)


def _numbered(kind: str, group: Sequence[Part]) -> str:
    sides: dict[str, list[int]] = {}
    for part in sorted(group, key=lambda part: (part.place, part.side or "")):
        sides.setdefault(part.side or "", []).append(part.place)
    numbers = []
    for side, places in sides.items():
        runs = _runs(places)
        numbers += [*runs[:-1], f"{runs[-1]} {side}".strip()]
    if len(group) == 1:
        return f"{kind} {numbers[0]}"
    several = "skirt boards" if kind == "skirt" else f"{kind}s"
    return f"{several} {', '.join(numbers[:-1])} and {numbers[-1]}" if len(numbers) > 1 else f"{several} {numbers[0]}"


def _runs(places: Sequence[int]) -> list[str]:
    """Return numbers as texts, three and more in a row as ``4 to 7``."""
    found: list[list[int]] = []
    for place in places:
        if found and place == found[-1][-1] + 1:
            found[-1].append(place)
        else:
            found.append([place])
    return [
        text
        for run in found
        for text in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(place) for place in run])
    ]


def parted(steps: Sequence[Step], shut: AbstractSet[Part]) -> tuple[tuple[Part, ...], tuple[Part, ...], Climb]:
    """Return what is closed and what is open of the way up, and how one gets up."""
    walked = [part for step in steps for part in step.parts]
    barred = [any(part in shut for part in step.parts) for step in steps]
    alone = any(step.blocks and closed for step, closed in zip(steps, barred, strict=True))
    stuck = alone or any(map(all, itertools.pairwise(barred)))
    climb: Climb = "none" if stuck else "double" if any(barred) else "single"
    return tuple(part for part in walked if part in shut), tuple(part for part in walked if part not in shut), climb

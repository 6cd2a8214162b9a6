"""What an interval is made of, source by source, and which one more photo would do most to settle which board is best.

The square of a CIEDE2000 difference d scatters with the variance ``4 d^2 s'J s + 2 tr(M C M C)``, where J is the
covariance of both colours together, s the slopes of the difference, C the covariance of the difference and M the local
metric (`finishlab.colorimetry.difference`). Each source is a part of J and of C, so each has its part of that variance:
``4 d^2 s'J_i s + 2 tr(M C M C_i)``, and the parts add up to the whole.

Of boards and a floor that were found together by least squares the part of a source is how the covariance answers when
that source's variance grows: for the best weights the derivative is the source's part exactly, and since the covariance
is homogeneous in all of them the parts add up again.

A photo that may be taken is added to the evidence as one like those already there. What the errors of all colours would
be after it follows without knowing what it will show. How the means would move is as uncertain as the errors would
shrink. So it is drawn what the photo may show, and each time what would then be believed: the chance of picking the
right board after the photo, averaged, less the chance today, is the photo's worth (the expected value of sample
information: H. Raiffa, R. Schlaifer, Applied Statistical Decision Theory, 1961).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishlab.colorimetry.delta_e import CIEDE2000
from finishlab.colorimetry.difference import DeltaE, difference_intervals, of_difference
from finishlab.colorimetry.estimate import (
    SOURCES,
    LabEstimate,
    SharedEffect,
    Source,
    moves_of,
    of_tone,
    open_prints,
    print_open,
    root_of,
    scaled_table,
    source_of,
    tones,
)
from finishlab.imaging.greys import USUAL
from finishlab.matching.aims import Aim, within
from finishlab.matching.gls import Solution, solve
from finishlab.matching.scatter import Components, Observations
from finishlab.quality import Doubt, doubt

FloatArray = NDArray[np.float64]

MATTERS: Final = 0.2
"""Share of an interval from which a print that was not learned is a doubt; this tool's own."""
LEARNED_LIGHTNESS: Final = 2.0
"""What one photo from two or three steps back leaves of the doubt of a strip's greys, L*, root mean square: about what
is stated of the rendered print of the sample photos. Of usual prints it is `USUAL.standard_error`."""
_MOST_SOLVED: Final = 100
"""Boards up to which all are solved again for it; of more only those that are told, with the floor."""
_STEP: Final = 1e-3
"""By how much a source's variance is raised to see what comes of it."""


@dataclass(frozen=True, slots=True)
class Costs:
    """What one difference's interval is made of."""

    shares: Mapping[Source, float]
    """Part of the interval's variance that each source causes; they sum to 1."""
    interval: DeltaE
    """The difference as it is."""
    open_print: float
    """Part that prints cause which were not learned; at most that of the print."""
    learned: DeltaE
    """The difference as it would be with those learned; the same where none is left to learn."""
    board: str | None = None
    """Which board, of a ranking."""


def shares_of(lab1: ArrayLike, lab2: ArrayLike, joint: ArrayLike, parts: Sequence[ArrayLike]) -> list[float]:
    """Return which share of an interval's variance each part of the covariance causes.

    Parameters
    ----------
    lab1, lab2
        The two colours, shape (3,).
    joint
        Covariance of both together, shape (6, 6).
    parts
        Parts of it.

    Returns
    -------
    list
        0 for all where nothing is uncertain.
    """
    one, two = (np.asarray(lab, dtype=np.float64) for lab in (lab1, lab2))
    metric = CIEDE2000.metric((one + two) / 2.0)
    # the slopes come with the standard, here the second colour, first
    slopes = np.roll(CIEDE2000.slopes(two, one), 3)
    whole = metric @ of_difference(np.asarray(joint, dtype=np.float64)) @ metric
    square = float(CIEDE2000.difference(two, one)) ** 2

    def size(part: ArrayLike) -> float:
        of = np.asarray(part, dtype=np.float64)
        return max(4.0 * square * float(slopes @ of @ slopes) + 2.0 * float(np.sum(whole * of_difference(of))), 0.0)

    total = size(joint)
    return [size(part) / total if total > 0.0 else 0.0 for part in parts]


def pair_costs(one: LabEstimate, two: LabEstimate) -> Costs:
    """Return what the interval between two colours is made of, as `delta_e_interval` gives it."""
    parts: dict[Source, FloatArray] = {source: np.zeros((6, 6)) for source in SOURCES}
    for place, each in ((slice(3), one), (slice(3, 6), two)):
        parts["grain"][place, place] = each.own_of_photo
        parts["camera"][place, place] += np.asarray(each.own) - each.own_of_photo
    still_open, tone = np.zeros((6, 6)), np.zeros((6, 6))
    for (name, scope), moves in moves_of((one, two)).items():
        part = np.outer(moves, moves)
        parts[source_of(name)] += part
        still_open += part * print_open(name, scope)
        tone += part * of_tone(name)
    joint = np.sum(list(parts.values()), axis=0)
    return _costs(one.lab, two.lab, joint, parts, still_open, tone)


def board_costs(observed: Observations, solved: Solution, boards: Mapping[str, int]) -> tuple[Costs, ...]:
    """Return what the intervals of boards are made of, from the floor to each of them.

    Parameters
    ----------
    observed, solved
        What was observed of all boards and the floor, and what came of it.
    boards
        What the boards to be told of are called, and which of those observed each is.
    """
    picks, components = list(boards.values()), solved.components
    labs, floor = solved.colours.labs[picks].tolist(), solved.floor.lab
    joint = solved.colours.joint_with_floor()
    if observed.boards > _MOST_SOLVED:
        few = observed.only(picks)
        # without the floors beside other boards there may be none left to compare with
        if np.any(few.plank >= 0):
            observed, picks, joint = few, list(range(len(picks))), _joint(few, components)
    parts = {source: _answer(joint, observed, components, source) for source in SOURCES}
    # what is left is what the camera gets wrong of each wood, which no effect names
    parts["camera"] = parts["camera"] + joint - np.sum(list(parts.values()), axis=0)
    still_open = _answer_of(joint, observed, components, open_prints(observed.colours))
    tone = _answer_of(joint, observed, components, tones(observed.colours))
    return tuple(
        replace(
            _costs(lab, floor, joint[i], {each: part[i] for each, part in parts.items()}, still_open[i], tone[i]),
            board=name,
        )
        for name, lab, i in zip(boards, labs, picks, strict=True)
    )


def _joint(observed: Observations, components: Components) -> FloatArray:
    return solve(observed, components).colours.joint_with_floor()


def _answer(joint: FloatArray, observed: Observations, components: Components, source: Source) -> FloatArray:
    """How the covariance of board and floor together grows with a source's variance, shape (n, 6, 6)."""
    factor = 1.0 + _STEP
    raised = replace(observed, colours=scaled_table(observed.colours, {source: math.sqrt(factor)}))
    if source == "planks":
        components = replace(components, plank=_times(components.plank, factor))
    if source == "light":
        components = replace(components, photo=_times(components.photo, factor))
    return (_joint(raised, components) - joint) / _STEP


def _answer_of(
    joint: FloatArray, observed: Observations, components: Components, some: NDArray[np.bool_]
) -> FloatArray:
    """How that covariance grows with the variance of some of the shared effects, shape (n, 6, 6)."""
    if not some.any():
        return np.zeros_like(joint)
    colours = observed.colours
    vectors = colours.vectors * np.where(some, math.sqrt(1.0 + _STEP), 1.0)[:, None]
    return (_joint(replace(observed, colours=replace(colours, vectors=vectors)), components) - joint) / _STEP


def _times(matrix: Sequence[Sequence[float]], factor: float) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(value * factor for value in row) for row in matrix)


def _left_when_learned(print_share: float, tone_share: float) -> float:
    """Return the part of the variance of print and tone together that is left once the strip is learned.

    The fit weighs print against tone, so that of variances P and T before it ``P T / (P + T)`` is left, of which print
    and tone cause parts as T to P. Learning makes P smaller, and with it both.
    """
    unlearned = float(np.mean(np.square(USUAL.standard_error)))
    smaller = min(1.0, LEARNED_LIGHTNESS**2 / unlearned)
    if tone_share <= 0.0:
        return smaller
    tone = print_share / tone_share
    return smaller * (1.0 + tone) / (smaller + tone)


def _costs(
    lab1: ArrayLike,
    lab2: ArrayLike,
    joint: FloatArray,
    parts: Mapping[Source, FloatArray],
    still_open: FloatArray,
    tone: FloatArray,
) -> Costs:
    *shares, open_print, tone_share = shares_of(lab1, lab2, joint, [*parts.values(), still_open, tone])
    now = after = _interval(lab1, lab2, joint)
    if open_print > 0.0:
        gone = 1.0 - _left_when_learned(open_print, tone_share)
        after = _interval(lab1, lab2, joint - gone * (still_open + tone))
    return Costs(dict(zip(parts, shares, strict=True)), now, open_print, after)


def _interval(lab1: ArrayLike, lab2: ArrayLike, joint: FloatArray) -> DeltaE:
    value, low, high = difference_intervals(lab1, lab2, joint)
    return DeltaE(float(value), float(low), float(high))


def print_doubt(costs: Sequence[Costs]) -> Doubt | None:
    """Return the doubt that the print was not learned, where it matters to one of these intervals; else None."""
    most = max((each.open_print for each in costs), default=0.0)
    return doubt("print-not-learned", percent=round(100.0 * most)) if most >= MATTERS else None


_PARTS: Final[tuple[tuple[float, str], ...]] = (
    (0.07, "hardly any"),
    (0.15, "about a tenth"),
    (0.22, "about a fifth"),
    (0.29, "about a quarter"),
    (0.41, "about a third"),
    (0.58, "about half"),
    (0.71, "about two thirds"),
    (0.82, "about three quarters"),
    (0.93, "most"),
    (math.inf, "nearly all"),
)
"""Upper end of a share, and how it is said."""
_NAMED: Final = 0.07
"""Smallest share that is named."""
_NARROWER: Final = 0.05
"""Part of an interval's width from which its becoming narrower is worth a word."""


def part_words(share: float) -> str:
    """Return a share in words, e.g. ``"about a third"``."""
    return next(words for end, words in _PARTS if share < end)


def costs_entry(costs: Costs) -> dict[str, Any]:
    """Return one interval's costs for a document: shares of its variance, and the interval with the print learned."""
    board = {} if costs.board is None else {"board": costs.board}
    return {
        **board,
        "shares": {source: round(share, 4) for source, share in costs.shares.items()},
        "print_not_learned": round(costs.open_print, 4),
        "delta_e00": _figures(costs.interval.as_dict()),
        "delta_e00_if_learned": _figures(costs.learned.as_dict()) if costs.open_print > 0.0 else None,
        "in_words": costs_line(costs),
    }


def costs_line(costs: Costs) -> str:
    """Say what an interval is made of, the largest part first, and what learning the strip would make of it."""
    ordered = sorted(costs.shares.items(), key=lambda item: -item[1])
    named = [f"{part_words(share)} from {SOURCES[source]}" for source, share in ordered if share >= _NAMED]
    if not named:
        return ""
    whose = "the interval" if costs.board is None else f"{costs.board}'s interval"
    now, then = costs.interval, costs.learned
    told = f"Of {whose} ({now.low:.1f} to {now.high:.1f}) {named[0]}"
    verb = "come" if named[0].partition(" from ")[0].endswith("s") else "comes"
    told = told.replace(" from ", f" {verb} from ", 1) + "".join(f", {each}" for each in named[1:])
    if now.high - now.low - (then.high - then.low) > _NARROWER * (now.high - now.low):
        told += f"; with the strip's print learned it would be about {then.low:.1f} to {then.high:.1f}"
    return f"{told}."


def _figures(figures: dict[str, float]) -> dict[str, float]:
    return {name: round(value, 3) for name, value in figures.items()}


MOST_BOARDS: Final = 6
"""Boards of which it is worked out what a photo would bring: beyond them a photo settles nothing by itself."""
_SHOWN: Final = 60
_BELIEVED: Final = 250
"""What the photo may show, and what may be true after it: numbers of draws."""
_BATCH: Final = 5
"""Photos shown that are thought through together: small arrays stay near the processor."""
_BROKEN: Final = 1000.0
_WORTH: Final = 0.02
"""Growth of the chance below which a photo is called hardly worth taking."""
_NEW: Final = "the next photo"
_What = Literal["board with floor", "board", "floor"]
_EASIER: Final = 0.005
"""Chance that is given up for a photo that takes less arranging."""


@dataclass(frozen=True, slots=True)
class NextPhoto:
    """One more photo, and what it is expected to bring."""

    what: _What
    board: str | None
    """The board to photograph; None for the floor alone."""
    now: float
    """Chance that the board picked today is truly the best."""
    then: float
    """That chance after the photo, averaged over what the photo may show."""
    in_words: str = ""

    @property
    def gain(self) -> float:
        """By how much the chance of picking the right board grows."""
        return self.then - self.now


def next_photos(
    observed: Observations,
    numbers: Sequence[str],
    components: Components,
    aim: Aim,
    *,
    now: float | None = None,
    seed: int = 0,
) -> tuple[NextPhoto, ...]:
    """Return what one more photo of each board, beside the floor or alone, or of one more plank, would bring.

    Parameters
    ----------
    observed
        The boards between which it is open which is the best, at most `MOST_BOARDS`, and the floor, as measured.
    numbers
        What these boards are called, in the same order.
    components
        How planks and photos scatter.
    aim
        What the boards are compared for.
    now
        Chance that the board picked today is the best, as the ranking states it; without it, as found here.
    seed
        Seed of the draws.

    Returns
    -------
    tuple
        The photos, the one that brings most first, of equals the one that is less work; empty with fewer than two
        boards, or where the floor was not seen.
    """
    if len(numbers) < 2 or not np.any(observed.plank >= 0):
        return ()
    today = solve(observed, components)
    floor = _a_floor(observed)
    options: list[tuple[_What, str | None, Observations]] = []
    for block, name in enumerate(numbers):
        own = np.flatnonzero((observed.block == block) & (observed.plank < 0))
        seen = _in_next_photo(observed.colours.estimate(int(observed.rows[own[-1]])))
        options.append(("board", name, observed.with_photo(block, seen, None)))
        options.append(("board with floor", name, observed.with_photo(block, seen, _beside(seen, floor))))
    options.append(("floor", None, observed.with_photo(int(observed.block[-1]) + 1, None, _in_next_photo(floor))))
    found = []
    for what, board, more in options:
        before, after = _chances(today, solve(more, components), aim, np.random.default_rng(seed))
        chance = before if now is None else now
        after = min(1.0, chance + after - before)
        found.append(NextPhoto(what, board, chance, after, _in_words(what, board, chance, after)))
    return tuple(sorted(found, key=lambda photo: -photo.gain + _EASIER * (photo.what == "board with floor")))


def _a_floor(observed: Observations) -> LabEstimate:
    """Return a colour of the floor: the last of its spots or, without them, the first that was seen beside a board."""
    of_spots = observed.block[-1] >= observed.boards
    row = observed.rows[-1] if of_spots else observed.rows[np.argmax(observed.plank >= 0)]
    return observed.colours.estimate(int(row))


def _in_next_photo(estimate: LabEstimate) -> LabEstimate:
    """Return a colour as if it were seen in the next photo: what only its own photo feels belongs to that one."""
    effects = [e._replace(scope=_NEW) if e.scope.startswith("photo:") else e for e in estimate.shared]
    return replace(estimate, shared=tuple(effects))


def _beside(board: LabEstimate, floor: LabEstimate) -> LabEstimate:
    """Return the floor beside a board in the next photo; what the photo's fit does to one it does to the other."""
    of_photo = [e for e in board.shared if e.scope == _NEW]
    others: list[SharedEffect] = [e for e in floor.shared if not e.scope.startswith("photo:")]
    return replace(floor, shared=(*of_photo, *others))


def _chances(today: Solution, then: Solution, aim: Aim, rng: np.random.Generator) -> tuple[float, float]:
    """Chance of picking the best board now, and after the photo, both from the same draws."""
    before, after = _together(today), _together(then)
    size = len(before)
    mean = np.concatenate([today.colours.labs.ravel(), today.colours.floor_lab])
    shown = mean + rng.standard_normal((_SHOWN, size)) @ root_of(before - after).T
    rest = rng.standard_normal((_BELIEVED, size)) @ root_of(after).T
    best = np.concatenate([_best(aim, shown[i : i + _BATCH], rest) for i in range(0, _SHOWN, _BATCH)])
    shares = np.stack([np.mean(best == i, axis=1) for i in range(size // 3 - 1)], axis=1)
    now = float(shares.mean(axis=0).max())
    return now, max(now, float(shares.max(axis=1).mean()))  # equal but for rounding where nothing is learned


def _best(aim: Aim, shown: FloatArray, rest: FloatArray) -> NDArray[np.intp]:
    """Which board is the best in each world, shape (photos shown, worlds believed after each)."""
    believed = (shown[:, None, :] + rest[None]).reshape(len(shown), len(rest), -1, 3)
    boards, floor = believed[:, :, :-1], believed[:, :, -1:]
    scores = aim.score(boards, floor)
    if aim.limits or aim.name == "contrast":
        scores = scores + _BROKEN * ~within(aim, boards, floor)
    return np.asarray(np.argmin(scores, axis=2))


def _together(solved: Solution) -> FloatArray:
    """Covariance of all boards and the floor, shape (3n + 3, 3n + 3)."""
    colours = solved.colours
    n, k = len(colours.labs), len(colours.floor_vectors)
    spread = np.concatenate([np.moveaxis(colours.moves, 1, 0).reshape(k, -1), colours.floor_vectors], axis=1)
    joint: FloatArray = spread.T @ spread
    for i in range(n):
        joint[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += colours.own[i]
    return (joint + joint.T) / 2


def _in_words(what: _What, board: str | None, now: float, then: float) -> str:
    photo = {
        "board": f"{board} alone",
        "board with floor": f"{board} with the floor beside it",
        "floor": "one more plank of the floor",
    }[what]
    if then - now < _WORTH:
        return f"One more photo of {photo} would hardly help."
    return (
        f"One more photo of {photo} would raise the chance of picking the right board from {100 * now:.0f} % to "
        f"about {100 * then:.0f} %."
    )

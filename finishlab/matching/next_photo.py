"""Which one more photo would do most to settle which board is the best.

A photo that may be taken is added to the evidence as one like those already there. What the errors of all colours would
be after it follows without knowing what it will show. How the means would move is as uncertain as the errors would
shrink. So it is drawn what the photo may show, and each time what would then be believed: the chance of picking the
right board after the photo, averaged, less the chance today, is the photo's worth (the expected value of sample
information: H. Raiffa, R. Schlaifer, Applied Statistical Decision Theory, 1961).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
from finishlab.matching.aims import Aim, within
from finishlab.matching.gls import Solution, solve
from finishlab.matching.observations import Observations
from finishlab.matching.scatter import Components

__all__ = ["MOST_BOARDS", "NextPhoto", "next_photos"]

FloatArray = NDArray[np.float64]

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

    def as_dict(self) -> dict[str, object]:
        """Return the JSON form."""
        return {
            "what": self.what,
            "board": self.board,
            "chance_right_now": round(self.now, 4),
            "chance_right_then": round(self.then, 4),
            "in_words": self.in_words,
        }


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
    effects = [replace(e, scope=_NEW) if e.scope.startswith("photo:") else e for e in estimate.shared]
    return replace(estimate, shared=tuple(effects))


def _beside(board: LabEstimate, floor: LabEstimate) -> LabEstimate:
    """Return the floor beside a board in the next photo; what the photo's fit does to one it does to the other."""
    of_photo = [e for e in board.shared if e.scope == _NEW]
    others: list[SharedEffect] = [e for e in floor.shared if not e.scope.startswith("photo:")]
    return replace(floor, shared=(*of_photo, *others))


def _chances(today: Solution, then: Solution, aim: Aim, rng: np.random.Generator) -> tuple[float, float]:
    """Chance of picking the best board now, and after the photo, both from the same draws."""
    before, after = _joint(today), _joint(then)
    size = len(before)
    mean = np.concatenate([today.colours.labs.ravel(), today.colours.floor_lab])
    shown = mean + rng.standard_normal((_SHOWN, size)) @ _root(before - after).T
    rest = rng.standard_normal((_BELIEVED, size)) @ _root(after).T
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


def _joint(solved: Solution) -> FloatArray:
    """Covariance of all boards and the floor, shape (3n + 3, 3n + 3)."""
    colours = solved.colours
    n, k = len(colours.labs), len(colours.floor_vectors)
    spread = np.concatenate([np.moveaxis(colours.moves, 1, 0).reshape(k, -1), colours.floor_vectors], axis=1)
    joint: FloatArray = spread.T @ spread
    for i in range(n):
        joint[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += colours.own[i]
    return joint


def _root(covariance: FloatArray) -> FloatArray:
    values, axes = np.linalg.eigh((covariance + covariance.T) / 2)
    root: FloatArray = axes * np.sqrt(np.clip(values, 0.0, None))
    return root


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

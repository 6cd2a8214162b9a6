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
from finishlab.matching.components import Components
from finishlab.matching.evidence import BoardLooks, Look, PlankLooks, Weighed, weigh

__all__ = ["MOST_BOARDS", "NextPhoto", "next_photos"]

FloatArray = NDArray[np.float64]

MOST_BOARDS: Final = 6
"""Boards of which it is weighed what a photo would bring: beyond them a photo settles nothing by itself."""
_SHOWN: Final = 60
_BELIEVED: Final = 250
"""What the photo may show, and what may be true after it: numbers of draws."""
_AT_ONCE: Final = 5
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
    boards: Sequence[BoardLooks],
    planks: Sequence[PlankLooks],
    components: Components,
    aim: Aim,
    *,
    now: float | None = None,
    seed: int = 0,
) -> tuple[NextPhoto, ...]:
    """Weigh what one more photo of each board, beside the floor or alone, or of one more plank, would bring.

    Parameters
    ----------
    boards
        The boards between which it is open which is the best, at most `MOST_BOARDS`, each with all its photos.
    planks
        The floor's spots with all their photos; may be empty where the floor was seen beside boards only.
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
        boards.
    """
    boards = boards[:MOST_BOARDS]
    if len(boards) < 2:
        return ()
    today = weigh(boards, planks, components)
    floor_look = _floor_look(boards, planks)
    options: list[tuple[_What, str | None, Weighed]] = []
    for i, board in enumerate(boards):
        seen = board.looks[-1].estimate
        ways: tuple[tuple[_What, Look], ...] = (
            ("board", Look(_renamed(seen), _NEW)),
            ("board with floor", _beside(seen, floor_look)),
        )
        for what, look in ways:
            more = [*boards[:i], replace(board, looks=(*board.looks, look)), *boards[i + 1 :]]
            options.append((what, board.board, weigh(more, planks, components)))
    another = PlankLooks(_NEW, (Look(_renamed(floor_look), _NEW),))
    options.append(("floor", None, weigh(boards, [*planks, another], components)))
    found = []
    for what, name, then in options:
        before, after = _chances(today, then, aim, np.random.default_rng(seed))
        chance = before if now is None else now
        after = min(1.0, chance + after - before)
        found.append(NextPhoto(what, name, chance, after, _in_words(what, name, chance, after)))
    return tuple(sorted(found, key=lambda photo: -photo.gain + _EASIER * (photo.what == "board with floor")))


def _floor_look(boards: Sequence[BoardLooks], planks: Sequence[PlankLooks]) -> LabEstimate:
    if planks:
        return planks[-1].looks[-1].estimate
    return next(look.floor for board in boards for look in board.looks if look.floor is not None)


def _renamed(estimate: LabEstimate) -> LabEstimate:
    """Return a colour as if it were seen in the next photo: what only its own photo feels belongs to that one."""
    effects = [replace(e, scope=_NEW) if e.scope.startswith("photo:") else e for e in estimate.shared]
    return replace(estimate, shared=tuple(effects))


def _beside(board: LabEstimate, floor: LabEstimate) -> Look:
    """Return a board and the floor in the next photo; what the photo's fit does to one it does to the other."""
    seen = _renamed(board)
    of_photo = [e for e in seen.shared if e.scope == _NEW]
    others: list[SharedEffect] = [e for e in floor.shared if not e.scope.startswith("photo:")]
    return Look(seen, _NEW, replace(floor, shared=(*of_photo, *others)))


def _chances(today: Weighed, then: Weighed, aim: Aim, rng: np.random.Generator) -> tuple[float, float]:
    """Chance of picking the best board now, and after the photo, both from the same draws."""
    before, after = _joint(today), _joint(then)
    size = len(before)
    mean = np.concatenate([today.together.labs.ravel(), today.together.floor_lab])
    shown = mean + rng.standard_normal((_SHOWN, size)) @ _root(before - after).T
    rest = rng.standard_normal((_BELIEVED, size)) @ _root(after).T
    best = np.concatenate([_best(aim, shown[i : i + _AT_ONCE], rest) for i in range(0, _SHOWN, _AT_ONCE)])
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


def _joint(weighed: Weighed) -> FloatArray:
    """Covariance of all boards and the floor, shape (3n + 3, 3n + 3)."""
    together = weighed.together
    n, k = len(together.labs), len(together.floor_vectors)
    spread = np.concatenate([np.moveaxis(together.moves, 1, 0).reshape(k, -1), together.floor_vectors], axis=1)
    joint: FloatArray = spread.T @ spread
    for i in range(n):
        joint[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += together.own[i]
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

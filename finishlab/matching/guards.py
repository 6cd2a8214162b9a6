"""What forbids to take a comparison at its word: the state of board and floor, how they were prepared and photographed.

Each guard is a doubt that says what to do. They work on plain facts, so that whatever records a finish can fill them; a
fact that is not known raises no doubt of its own.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from finishlab.board import FINISHED_STATES, State
from finishlab.quality import Doubt, doubt

FAR_DAYS: Final = 30
"""Days between photos of board and floor above which both may have changed (common practice, no source)."""
SHEEN_GU: Final = 10.0
"""Difference in gloss units at 60 degrees that eyes take for a difference in colour (common practice, no source)."""
CROSSED_DEG: Final = 30.0
"""Angle between grains from which wood may look lighter or darker by it (common practice, no source)."""

_WET: Final = re.compile(
    r"\b(?:still|was|were|is|are|photographed|measured) (?:a little |slightly |rather )?(?:wet|damp|tacky)\b"
    r"|^(?:wet|damp|tacky)(?!-)\b|\bnot (?:yet |quite |fully )?dry\b|\bstill drying\b"
)
_RUG: Final = re.compile(
    r"\b(?:under|beneath|below|from under)\b.{0,20}\b(?:rug|carpet|mat|runner|furniture|sofa|cupboard)\b"
)


@dataclass(frozen=True, slots=True)
class BoardFacts:
    """What is known of a board beside its colour; None where it is not."""

    purpose: str = "candidate"
    state: State | None = None
    topcoated: bool | None = None
    dry: bool | None = None
    gloss: float | None = None
    """Gloss units at 60 degrees, measured or from the name of its sheen."""
    last_grit: int | None = None
    grain_deg: float | None = None
    """Angle of its grain to the strip."""
    dates: tuple[dt.date, ...] = ()
    """Days of its photos."""
    strips: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class FloorFacts:
    """What is known of the floor, and of the treads that go with it."""

    gloss: float | None = None
    grain_deg: float | None = None
    dates: tuple[dt.date, ...] = ()
    strips: frozenset[int] = frozenset()
    wet: tuple[str, ...] = ()
    """Spots that were wet or damp."""
    covered: tuple[str, ...] = ()
    """Spots that had lain under a rug or furniture."""
    tread_grit: int | None = None
    """Last grit the treads were sanded to."""


def board_guards(board: BoardFacts, floor: FloorFacts) -> tuple[Doubt, ...]:
    """Return what makes comparing this board with this floor doubtful."""
    found = [*_state(board), *_preparation(board, floor)]
    days = _days_apart(board.dates, floor.dates)
    if days > FAR_DAYS:
        found.append(doubt("far-dates", days=days))
    if floor.strips and not board.strips <= floor.strips:
        found.append(doubt("strips-differ", floor=_numbers(floor.strips), board=_numbers(board.strips)))
    if board.grain_deg is not None and floor.grain_deg is not None:
        apart = abs(90.0 - (90.0 - (board.grain_deg - floor.grain_deg)) % 180.0)
        if apart > CROSSED_DEG:
            found.append(doubt("grain-directions-differ", angle=round(apart)))
    return tuple(found)


def floor_guards(floor: FloorFacts) -> tuple[Doubt, ...]:
    """Return what makes the floor itself doubtful."""
    found = []
    if floor.wet:
        found.append(doubt("floor-wet", spots=", ".join(floor.wet)))
    if floor.covered:
        found.append(doubt("floor-covered", spots=", ".join(floor.covered)))
    return tuple(found)


def may_be_final(board: BoardFacts) -> bool:
    """Return whether a verdict may rest on the board: only once it is topcoated and dry, as far as is known."""
    if board.state is not None:
        return board.state in FINISHED_STATES and board.dry is not False
    return board.topcoated is True and board.dry is not False


def _state(board: BoardFacts) -> list[Doubt]:
    if board.state == "stain wet" or board.dry is False:
        return [doubt("board-wet")]
    if board.state == "bare" or (board.state is None and board.purpose == "raw"):
        return [doubt("board-bare")]
    return [] if may_be_final(board) else [doubt("not-topcoated")]


def _preparation(board: BoardFacts, floor: FloorFacts) -> list[Doubt]:
    found = []
    if board.gloss is not None and floor.gloss is not None and abs(board.gloss - floor.gloss) > SHEEN_GU:
        found.append(doubt("sheen-differs", board=round(board.gloss), floor=round(floor.gloss)))
    if board.last_grit is not None and floor.tread_grit is not None and board.last_grit != floor.tread_grit:
        found.append(doubt("grit-differs", board=board.last_grit, treads=floor.tread_grit))
    return found


@lru_cache(maxsize=4096)
def told_wet(text: str | None) -> bool:
    """Return whether words say that something is wet: ``"still damp"``, not ``"not wet"``."""
    return any(_WET.search(part.strip()) for part in re.split(r"[;,.]", (text or "").casefold()))


def told_of_floor(text: str | None) -> tuple[bool, bool]:
    """Return whether words say of a floor spot that it was wet, and that it had been covered."""
    return told_wet(text), bool(_RUG.search((text or "").casefold()))


def _days_apart(one: tuple[dt.date, ...], two: tuple[dt.date, ...]) -> int:
    """Days between the photos of both that lie nearest in time; 0 where a side has none."""
    return min((abs((a - b).days) for a in one for b in two), default=0)


def _numbers(strips: frozenset[int]) -> str:
    return ", ".join(f"{number:04d}" for number in sorted(strips))

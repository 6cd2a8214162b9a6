"""The answer, the doubts and the next steps in whole sentences, the same on the terminal and on the page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import islice
from typing import TYPE_CHECKING, Any

from finishlab.cautions import CAUTIONS as _REGISTRY
from finishlab.colorimetry.difference import DeltaE
from finishlab.matching.scatter import FEW_SPOTS
from finishlab.quality import Doubt
from finishlab.reports.comparison import chance, is_plain, next_photo_line
from finishlab.reports.rows import BoardRow, BoardRows, what_it_is

if TYPE_CHECKING:
    from finishlab.matching.ranking import RankedBoard, Ranking
    from finishlab.matching.scatter import FloorPool

__all__ = [
    "CAUTIONS",
    "answer",
    "answer_detail",
    "as_sentence",
    "chance",
    "doubts_once",
    "floor_line",
    "interval",
    "next_steps",
    "own_line",
    "place_mark",
    "profile_line",
    "profile_name",
    "tie_marks",
]

CAUTIONS = tuple((caution.title, caution.long) for caution in _REGISTRY.values())
"""Title and text of each caution, for the page."""

_MOSTLY_OWN = 0.75
"""Share of an interval's width from which on it is called the board's own without more words."""
_MOST_NAMED = 8
"""Boards named in a sentence; of more the rest is counted."""


def as_sentence(words: str) -> str:
    """Return words with a capital at the start and a full stop at the end."""
    words = words.strip()
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "!", "?")) else ".") if words else ""


def interval(difference: DeltaE) -> str:
    """Return a 95 % interval in words: ``"1.2 to 2.7"``."""
    return f"{difference.low:.1f} to {difference.high:.1f}"


def tie_marks(board: RankedBoard) -> list[str]:
    """Return the letters of the ties a board belongs to: boards that share one may change places."""
    return [_letter(tie) for tie in board.ties]


def place_mark(board: RankedBoard) -> str:
    """Return the place and, when the order among neighbours is open, the letters of its ties: ``"2 ab"``."""
    return f"{board.place} {''.join(tie_marks(board))}".strip()


def _letter(tie: int) -> str:
    """Return a to z, then aa, ab ..., as the columns of a sheet are named."""
    letters = ""
    while tie > 0:
        tie, rest = divmod(tie - 1, 26)
        letters = chr(ord("a") + rest) + letters
    return letters


def profile_name(profile: Mapping[str, Any] | None) -> str:
    """Return which camera profile a result was measured with, in a few words; the settings' entry or None."""
    if not profile:
        return "no profile"
    day = f", learned {profile['date']}" if profile.get("date") else ""
    return f"{profile['camera']} in {profile['light']}{day}"


def profile_line(profile: Mapping[str, Any]) -> str:
    """Return the sentence that stands beside a colour measured with a camera profile."""
    off = profile["left_out"]
    return (
        f"With the camera profile of {profile_name(profile)} ({profile['kind']}; chart: {profile['chart']}). Absolute "
        f"error, on chart colours it had not seen: {off['wood']:.1f} dE00 near wood's colours, {off['mean']:.1f} over "
        f"all, {off['max']:.1f} at most."
    )


def answer(ranking: Ranking) -> str:
    """Return the whole answer in one short sentence."""
    leaders = ranking.leaders if ranking.boards else ()
    if not leaders:
        return "No test board has been measured yet, so there is nothing to rank."
    if ranking.no_contrast:
        return f"No board makes this contrast: {ranking.aim.in_words}."
    goal = "the floor" if ranking.aim.name == "match" else "the contrast that was asked for"
    if len(leaders) == 1:
        return f"Board {leaders[0].board} comes closest to {goal}{_nearer(ranking)}."
    names = _listed([b.board for b in leaders])
    return f"Boards {names} come closest to {goal}; which of them is the closest stays open."


def _nearer(ranking: Ranking) -> str:
    """Return by how much the first board is nearer than the next, for the end of a sentence."""
    margin = ranking.margin
    if margin is None:
        return ""
    by = margin.by
    return f", nearer than {margin.next}, the next, by {by.value:.1f} ({by.low:.1f} to {by.high:.1f})"


def own_line(ranking: Ranking) -> str:
    """Return which part of the first board's interval is its own; empty where that is most of it."""
    first = ranking.boards[0]
    whole, own = first.score or first.delta_e00, first.own
    if own is None or len(ranking.boards) < 2 or own.high - own.low > _MOSTLY_OWN * (whole.high - whole.low):
        return ""
    of = "its interval" if is_plain(ranking) else f"the interval of its distance from the aim ({interval(whole)})"
    return f"Of {of}, {own.low:.1f} to {own.high:.1f} is its own; the rest is common to all boards and turns no order."


def answer_detail(ranking: Ranking, boards: Mapping[str, BoardRow]) -> str:
    """Return what the first board is and how it differs, in the sentences that follow the answer."""
    if not ranking.boards:
        return ""
    first = ranking.boards[0]
    row = boards.get(first.board)
    named = first.board if row is None else f"{first.board} ({what_it_is(row.record)})"
    figure = f"dE00 {first.delta_e00.value:.1f} (95 % interval {interval(first.delta_e00)})"
    if ranking.no_contrast:
        lightness = first.difference.dL
        side = f"{abs(lightness):.1f} L* {'lighter' if lightness > 0 else 'darker'} than the floor"
        return f"Nearest to it comes {named}, which is {side}."
    told = f"{named} is {figure} from the floor. {first.sentence}"
    if len(ranking.leaders) > 1 and ranking.margin is not None:
        told += f" It is{_nearer(ranking).removeprefix(',')}."
    told = f"{told} {own_line(ranking)}".rstrip()
    return told if first.final else f"{told} No verdict can rest on it yet: see the doubts."


def floor_line(floor: FloorPool) -> str:
    """Return what the floor was measured from and how much it varies in itself."""
    spots = f"{floor.spots} spot{'' if floor.spots == 1 else 's'}"
    colour = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*floor.lab)
    if floor.spread_e00 is None:
        return f"Floor: {spots}, {colour}; one spot cannot show how much the floor varies."
    return f"Floor: {spots}, {colour}; its own spots scatter by dE00 {floor.spread_e00:.1f} about their mean."


def doubts_once(ranking: Ranking, most: int | None = None) -> list[tuple[str, str]]:
    """Return each doubt once: whom it is about (``"floor"``, ``"B1, B4"``, ``"all boards"``), and its sentence.

    With `most`, only the doubts of so many first boards.
    """
    about: dict[str, list[str]] = {}
    _gather(about, "floor", ranking.floor.doubts)
    everyone: list[str] = []
    for board in islice(ranking.boards, most):
        everyone.append(board.board)
        _gather(about, board.board, board.doubts)
    every = "all boards" if len(everyone) == len(ranking.boards) else f"the first {len(everyone)} boards"
    return [
        (every if len(everyone) > 1 and who == everyone else ", ".join(who), sentence)
        for sentence, who in about.items()
    ]


def next_steps(ranking: Ranking, boards: Mapping[str, BoardRow], missing: Sequence[str] = ()) -> list[str]:
    """Return what would make the answer surer or bring the job on, the most useful first.

    Parameters
    ----------
    ranking
        The boards from the nearest on.
    boards
        What is logged of each board, by its number.
    missing
        Photos that are missing for a second light, in words; without them it is read from the first board.
    """
    leaders = ranking.leaders if ranking.boards else ()
    if not leaders:
        return ["Photograph a test board beside the strip and log it: finishlab board add PHOTO --species WOOD."]
    steps = []
    if ranking.no_contrast:
        steps.append(f"Make a board for it ({ranking.aim.in_words}), or ask for a smaller step.")
    elif ranking.next_photos:
        steps.append(next_photo_line(ranking.next_photos))
    elif len(leaders) > 1:
        names = _listed([b.board for b in leaders])
        steps.append(
            f"Photograph {names} again, each with the floor at the strip's other edge (--with-floor): one photo of "
            "both is the surest comparison."
        )
    spots = ranking.floor.spots
    if spots < FEW_SPOTS:
        steps.append(f"Measure the floor on more planks: {spots} so far, {FEW_SPOTS} or more show how much it varies.")
    first = boards.get(leaders[0].board)
    if first is not None:
        steps += _steps_for(first, missing)
    if boards and "clear-only control" not in _purposes(boards):
        steps.append(
            "Finish one board with the topcoat alone and log it with the purpose 'clear-only control': "
            "stain only darkens, so it shows the lightest you can reach."
        )
    steps.append(
        "Lay the leading boards flat on the floor, grain along the planks, and trust your eyes over any "
        "figure; then prove the recipe on one whole tread (common practice, no source)."
    )
    return steps


def _purposes(boards: Mapping[str, BoardRow]) -> frozenset[str]:
    if isinstance(boards, BoardRows):
        return boards.purposes()
    return frozenset(row.record.purpose for row in boards.values())


def _steps_for(first: BoardRow, missing: Sequence[str]) -> list[str]:
    """Return what the leading board still lacks; `missing` names the photos in a second light."""
    steps = []
    if first.record.topcoat is None:
        steps.append(f"Put the topcoat on {first.number} and measure it again once dry: it will not stay as it is.")
    if missing:
        steps += missing
    elif len({colour.light for colour in first.colours}) == 1:
        steps.append(
            "Photograph the floor and the leading boards in a second light too, daylight and evening "
            "lamps: a match holds only if it holds in both."
        )
    return steps


def _gather(about: dict[str, list[str]], who: str, doubts: Iterable[Doubt]) -> None:
    for found in doubts:
        names = about.setdefault(found.message, [])
        if who not in names:
            names.append(who)


def _listed(names: Sequence[str]) -> str:
    if len(names) > _MOST_NAMED:
        names = [*names[:_MOST_NAMED], f"{len(names) - _MOST_NAMED} more"]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"

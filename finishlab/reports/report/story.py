"""What a report says, in whole sentences and small tables: the same in the page and in the PDF."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from finishlab.reports.comparison import aim_line, colours_line, inseparable_lines, lights_rows, recipes_rows
from finishlab.reports.report.contents import MOST_TOLD, ReportContent
from finishlab.reports.sentences import (
    answer,
    answer_detail,
    as_sentence,
    chance,
    doubts_once,
    floor_line,
    interval,
    next_steps,
)

if TYPE_CHECKING:
    from finishlab.matching.across import AcrossLights
    from finishlab.matching.ranking import Ranking

__all__ = ["LABELS_WIN", "METHOD", "RENDERED", "Story", "Table", "tell"]

METHOD: Final = (
    "Each photo shows the work beside a printed grey strip. Its greys give the tone curve of the camera, the colour of "
    "the light and how it falls off across the picture, all in one fit; so the photo is brought to linear light. "
    "The surface of board or floor is found, mirrored light and foreign things are left out, and the rest is averaged "
    "as an instrument would and turned into CIELAB (illuminant D65, 2 degree observer). The difference is CIEDE2000 "
    "with its 95 % interval; a board and the floor in one photo weigh more than the two apart. The chance of being "
    "closest comes from drawing many times what the true colours may be; errors that photos share, such as those of "
    "camera and strip, are drawn once for all, because they hardly change the order. The words for a difference are "
    "bands of this tool: no tolerance for stained wood has been published."
)
RENDERED: Final = (
    "The photos behind this report are rendered.",
    "They were computed, not taken: these boards and this floor do not exist. Only the measuring is real.",
)
LABELS_WIN: Final = (
    "The label and the safety data sheet win over anything said here; "
    "for the stair itself the local code and the inspector decide."
)


@dataclass(frozen=True, slots=True)
class Table:
    """A small table with what it shows."""

    ident: str
    heading: str
    intro: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    """The first cell of each names its row."""


@dataclass(frozen=True, slots=True)
class Story:
    """The words of a report."""

    answer: str
    """One sentence."""
    detail: str
    others: tuple[str, ...]
    """The answer in each other light, a sentence each."""
    aim: str
    """What the boards are ranked for, when it is not to match."""
    open: tuple[str, ...]
    """Which boards cannot be told apart."""
    floor: tuple[str, ...]
    tables: tuple[Table, ...]
    doubts: tuple[tuple[str, str], ...]
    """Whom it is about, and the sentence."""
    steps: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    """What stands beneath the method: a label and a value."""


def tell(content: ReportContent) -> Story:
    """Return the words of a report."""
    ranking = content.ranking
    facts = [("Light", content.light)] if content.light else []
    if content.left_out:
        rest = len(content.left_out) - MOST_TOLD
        named = ", ".join(content.left_out[:MOST_TOLD]) + (f" and {rest} more" if rest > 0 else "")
        facts.append(("Not photographed in this light", named))
    return Story(
        answer=answer(ranking),
        detail=_detail(content),
        others=tuple(_others(content)),
        aim=aim_line(ranking),
        open=tuple(inseparable_lines(ranking)),
        floor=tuple(_floor(content)),
        tables=tuple(_tables(content)),
        doubts=tuple(_doubts(content)),
        steps=tuple(_steps(content)),
        facts=(*facts, *content.extra.items()),
    )


def _detail(content: ReportContent) -> str:
    if not content.ranking.boards:
        return ""
    return answer_detail(content.ranking, content.boards)


def _floor(content: ReportContent) -> list[str]:
    pool = content.ranking.floor
    lines = [floor_line(pool)]
    if content.ranking.boards:
        lines.append(colours_line(content.ranking.boards[0], pool.colours_e00))
    return [line for line in lines if line]


def _others(content: ReportContent) -> list[str]:
    rankings = {} if content.lights is None else content.lights.rankings
    return [f"By {light}: {answer(found)}" for light, found in rankings.items() if light != content.light]


def _doubts(content: ReportContent) -> list[tuple[str, str]]:
    found = doubts_once(content.told)
    if content.lights is not None:
        listed = {board.board for board in content.told.boards}
        said = {sentence for _, sentence in found}
        by_sentence: dict[str, list[str]] = {}
        for doubt in content.lights.doubts:
            by_sentence.setdefault(doubt.message, []).append("lights")
        for board in content.lights.boards:
            for doubt in board.doubts if board.board in listed else ():
                by_sentence.setdefault(doubt.message, []).append(board.board)
        found += [(", ".join(dict.fromkeys(who)), text) for text, who in by_sentence.items() if text not in said]
    return found


def _steps(content: ReportContent) -> list[str]:
    missing = () if content.lights is None else content.lights.missing
    steps = next_steps(content.ranking, content.boards, missing)
    return list(dict.fromkeys(as_sentence(step) for step in steps))


def _tables(content: ReportContent) -> list[Table]:
    tables = []
    if content.lights is not None and len(content.lights.lights) > 1 and content.lights.boards:
        tables.append(_lights(content.lights))
    if content.choices:
        tables.append(_choices(content))
    if content.recipes is not None and content.recipes.boards:
        tables.append(_recipes(content.recipes))
    return tables


def _lights(lights: AcrossLights) -> Table:
    head, rows = lights_rows(lights, MOST_TOLD)
    return Table(
        "lights",
        "In every light",
        "Boards seen in every light, the best by its worst light first. A match holds only if it holds in all of them. "
        "The figures are dE00 to the floor in that light; moves is how much farther off the board is there than in the "
        "first light; metamerism is what is left in the other light once the difference in the first is taken out "
        "(after ISO 18314-4), and cannot be told where the errors of the photos hold both none and more than 1.",
        tuple(head),
        tuple(tuple(row) for row in rows),
    )


def _choices(content: ReportContent) -> Table:
    rows = tuple(
        (
            as_sentence(choice.aim.in_words).rstrip("."),
            choice.board,
            f"{choice.score.value:.1f} ({interval(choice.score)})",
            chance(choice.probability_best),
            f"{choice.cost:.1f} farther from the other aim",
        )
        for choice in content.choices
    )
    return Table(
        "choices",
        "To match, or to stand off on purpose",
        "The best board under each aim, and what choosing it costs under the other. A step in lightness with the "
        "same undertone is "
        "a choice of its own, not a match that failed.",
        ("aim", "best board", "distance from the aim", "chance to be best", "what it costs"),
        rows,
    )


def _recipes(recipes: Ranking) -> Table:
    head, rows = recipes_rows(recipes)
    return Table(
        "recipes",
        "By recipe",
        "All boards of one recipe together; what differs from board to board of one recipe is in the interval.",
        tuple(head),
        tuple(tuple(row) for row in rows[:MOST_TOLD]),
    )

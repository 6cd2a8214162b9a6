"""The drawings of a report, made of its ranking: which boards are shown, in what order, with what words beneath."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from finishlab.matching.costs import costs_line
from finishlab.rank.sentences import tie_marks
from finishlab.report.contents import ReportContent
from finishlab.report.planes import plane_plot
from finishlab.report.plots import (
    CLIPPED,
    PlottedBoard,
    PlottedFloor,
    clipping,
    coats_plot,
    costs_plot,
    interval_plot,
    swatch_plot,
)
from finishlab.show.drawing import Drawing
from finishlab.show.pages import Chart

if TYPE_CHECKING:
    from finishlab.matching.ranking import RankedBoard
    from finishlab.report.plots import Kind

__all__ = ["charts"]

_MOST_PATHS: Final = 4
_MOST_ALIKE: Final = 3
"""Boards of one number of coats that a path shows."""
_FOR_COMPARISON: Final = {"raw", "clear-only control", "step", "witness"}


def charts(content: ReportContent, *, columns: int = 2) -> list[Chart]:
    """Return what is drawn of a report, in the order it is shown; nothing without boards.

    Parameters
    ----------
    content
        The report.
    columns
        Swatches side by side: 2 for a phone, 4 for a sheet of paper.
    """
    ranked = content.pictured
    if not ranked:
        return []
    floor = _floor(content)
    leaders = {board.board for board in content.ranking.leaders}
    boards = [_plotted(board, content, leaders) for board in ranked]
    return [
        Chart("intervals", "How far from the floor", _interval_note(content), _intervals(content, boards)),
        *_costs(content),
        Chart(
            "ab",
            "Redder or greener, yellower or bluer",
            _plane_note(floor),
            plane_plot(boards, floor, "a*b*"),
        ),
        Chart(
            "swatches",
            "Each board set into the floor",
            _swatch_note(boards, content),
            swatch_plot(boards, floor, columns=columns),
        ),
        Chart(
            "lc",
            "Lighter or darker, fuller or duller",
            "The same boards, by lightness and by how much colour they have.",
            plane_plot(boards, floor, "L*C*"),
        ),
        *_paths(content, floor, leaders),
    ]


def _floor(content: ReportContent) -> PlottedFloor:
    pool = content.ranking.floor
    planks = pool.planks or tuple((spot.number, spot.lab) for spot in content.spots if spot.lab is not None)
    return PlottedFloor(pool.lab, pool.plank_covariance, planks)


def _plotted(board: RankedBoard, content: ReportContent, leaders: set[str], coats: int = 0) -> PlottedBoard:
    row = content.boards.get(board.board)
    kind: Kind = "candidate"
    if board.board in leaders:
        kind = "leading"
    elif row is not None and row.record.purpose in _FOR_COMPARISON:
        kind = "other"
    score = board.delta_e00 if content.ranking.aim.name == "match" or board.score is None else board.score
    own = board.own if board.score in (None, score) else None
    return PlottedBoard(
        name=board.board,
        lab=board.lab,
        covariance=board.covariance,
        kind=kind,
        note=f"dE00 {board.delta_e00.value:.1f}",
        score=score,
        own=None if own is None else (own.low, own.high),
        mark="".join(tie_marks(board)),
        coats=coats,
    )


def _intervals(content: ReportContent, boards: Sequence[PlottedBoard]) -> Drawing:
    ranking = content.ranking
    if ranking.aim.name == "match":
        return interval_plot(boards, floor_spread=ranking.floor.spread_e00)
    return interval_plot(boards, floor_spread=None, what=f"distance from the aim ({ranking.aim.scored_by.name})")


def _swatch_note(boards: Sequence[PlottedBoard], content: ReportContent) -> str:
    told = (
        "Mean colours, without grain or gloss: the floor around, the board within; the ticks say where its edges are. "
        "Screens and printers differ, so judge the boards themselves."
    )
    clipped = [board.name for board in boards if clipping(board.lab) >= CLIPPED]
    if clipped:
        told += f" More colourful than a screen can show, so shown as near as it goes (*): {', '.join(clipped)}."
    rest = len(content.ranking.boards) - len(boards)
    return told + (f" The {len(boards)} nearest of {len(boards) + rest} boards are drawn." if rest else "")


def _interval_note(content: ReportContent) -> str:
    told = "The line holds the true difference in 95 of 100 cases; diamonds are boards that may be the nearest."
    if any(board.own is not None for board in content.pictured):
        told += " Only its thick part sets a board against the others: the thin one moves them all alike."
    tied = any(board.tied for board in content.ranking.boards)
    return told + (" Boards that share a letter at the left may change places." if tied else "")


def _costs(content: ReportContent) -> list[Chart]:
    """Return what the first boards' intervals are made of."""
    if not content.costs:
        return []
    bars = [(each.board or "", each.shares) for each in content.costs]
    note = costs_line(content.costs[0])
    return [Chart("costs", "What makes the line so long", note, costs_plot(bars))]


def _plane_note(floor: PlottedFloor) -> str:
    told = (
        "The nearer to the floor, the more alike in hue; the figure beside a name is how much lighter (+) or darker "
        "(-) the board is, in L*. An outline holds the board in 95 of 100 cases."
    )
    if floor.spread is not None:
        told += " Like one more plank looks only what lies inside the hatched ellipse and is as light as the floor."
    return told


def _paths(content: ReportContent, floor: PlottedFloor, leaders: set[str]) -> list[Chart]:
    """Return the coats of each stain that was tried in more than one number of coats; the leading boards' first."""
    groups: dict[tuple[str, str, str], list[PlottedBoard]] = {}
    clear: dict[tuple[str, str], list[PlottedBoard]] = {}
    for board in content.ranking.boards:
        row = content.boards.get(board.board)
        if row is None:
            continue
        record, topcoat = row.record, row.record.topcoat or ""
        wood = record.species.casefold()
        if record.stain and record.coats:
            step = _plotted(board, content, leaders, record.coats)
            _add(groups.setdefault((wood, record.stain, topcoat), []), step)
        elif topcoat and not record.stain:
            _add(clear.setdefault((wood, topcoat), []), _plotted(board, content, leaders))
    found = []
    for (wood, stain, topcoat), stained in groups.items():
        steps = [*clear.get((wood, topcoat), ()), *stained]
        if len({step.coats for step in steps}) > 1:
            found.append((not any(step.name in leaders for step in steps), wood, stain, topcoat, steps))
    found.sort(key=lambda each: each[0])
    return [
        Chart(
            f"coats{i}",
            f"Coat by coat: {stain}",
            _path_note(wood, topcoat),
            coats_plot(stain, steps, floor),
        )
        for i, (_, wood, stain, topcoat, steps) in enumerate(found[:_MOST_PATHS], start=1)
    ]


def _add(steps: list[PlottedBoard], step: PlottedBoard) -> None:
    """Add a board to a path unless nearer ones of the same number of coats fill its place."""
    if sum(other.coats == step.coats for other in steps) < _MOST_ALIKE:
        steps.append(step)


def _path_note(wood: str, topcoat: str) -> str:
    under = f"under {topcoat}" if topcoat else "without topcoat"
    return f"On {wood}, {under}. What each further coat does to lightness (L*), red (a*) and yellow (b*)."

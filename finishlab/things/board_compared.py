"""Two logged boards held against each other: their records field by field, and their colours light by light."""

from __future__ import annotations

import numpy as np

from finishlab.colorimetry.difference import delta_e_interval, describe, signed_difference
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.errors import UsageError
from finishlab.logbook import Logbook, StoredBoard
from finishlab.matching.components import estimate_components
from finishlab.matching.floor import pool_estimates
from finishlab.reports.board_comparison import BoardComparison, ColourPair, FieldPair
from finishlab.reports.finish_rows import field_rows

__all__ = ["compare_boards"]


def compare_boards(log: Logbook, first: str, second: str) -> BoardComparison:
    """Hold two boards against each other.

    The interval of their difference counts what moves both photos alike, such as one strip's greys, only once.

    Raises
    ------
    LogbookError
        ``"unknown-board"``.
    UsageError
        ``"same-board"``.
    """
    one, two = log.board(first), log.board(second)
    if one.number == two.number:
        raise UsageError("same-board", f"{one.number} is named twice.", "Name two boards.")
    fields, same = _fields(one, two)
    mine, other = _lights(one), _lights(two)
    alone = {
        one.number: [light for light in mine if light not in other],
        two.number: [light for light in other if light not in mine],
    }
    return BoardComparison(
        (one.number, two.number),
        fields,
        same,
        tuple(_colours(one, two, light) for light in mine if light in other),
        {number: only for number, only in alone.items() if only},
    )


def _fields(one: StoredBoard, two: StoredBoard) -> tuple[tuple[FieldPair, ...], int]:
    said = [{name: (label, words, value) for name, label, words, value in field_rows(b.record)} for b in (one, two)]
    mine, other = said
    # The order of a record, with what only the other board says in its place: steps after steps.
    names = sorted({*mine, *other}, key=lambda name: _place(name, [*mine], [*other]))
    pairs, same = [], 0
    for name in names:
        here, there = mine.get(name), other.get(name)
        if here is not None and there is not None and here[2] == there[2]:
            same += 1
            continue
        label = (here or there or ("", "", None))[0]
        words = (here[1] if here else None, there[1] if there else None)
        pairs.append(FieldPair(name, label, words, (here[2] if here else None, there[2] if there else None)))
    return tuple(pairs), same


_PARTS = ("preparation", "steps", "seal", "topcoat", "looking")


def _place(name: str, mine: list[str], other: list[str]) -> tuple[int, int, int]:
    path = name.split(".")
    section = 1 + _PARTS.index(path[1]) if path[0] == "finish" else 0
    step = int(path[2]) if len(path) > 3 else 0
    return section, step, mine.index(name) if name in mine else other.index(name)


def _lights(board: StoredBoard) -> list[str]:
    return list(dict.fromkeys(m.light for m in board.measurements))


def _colours(one: StoredBoard, two: StoredBoard, light: str) -> ColourPair:
    seen = [_estimates(board, light) for board in (one, two)]
    a, b = (pool_estimates(each) for each in seen)
    # Where there are repeats their scatter is in the mean already; one photo says nothing of it.
    photo = np.asarray(estimate_components((), seen).photo)
    single = sum(len(each) == 1 for each in seen)
    delta, signed = delta_e_interval(a, b, photo * single), signed_difference(b.lab, a.lab)
    counts = (len(seen[0]), len(seen[1]))
    return ColourPair(light, (a.lab, b.lab), counts, delta, signed, describe(signed, delta, one.number))


def _estimates(board: StoredBoard, light: str) -> list[LabEstimate]:
    return [m.field.estimate for m in board.measurements if m.light == light]

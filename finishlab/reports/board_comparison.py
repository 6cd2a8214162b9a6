"""Two boards side by side: every field that differs, and their colours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from finishlab.colorimetry.estimate import COLOUR_SPACE
from finishlab.reports.console import add_row, new_table, plain, print_list, print_table, say

if TYPE_CHECKING:
    from rich.console import Console

    from finishlab.colorimetry.difference import DeltaE, SignedDifference
    from finishlab.reports.rows import Lab

__all__ = ["BoardComparison", "ColourPair", "FieldPair", "comparison_document", "print_comparison"]


@dataclass(frozen=True, slots=True)
class FieldPair:
    """One field that differs."""

    field: str
    """Path in the record's JSON."""
    label: str
    words: tuple[str | None, str | None]
    """In words; None where a board does not say it."""
    values: tuple[Any, Any]
    """As in the record's JSON."""


@dataclass(frozen=True, slots=True)
class ColourPair:
    """The two boards' colours in one light, each from all its photos in it."""

    light: str
    labs: tuple[Lab, Lab]
    photos: tuple[int, int]
    delta_e00: DeltaE
    difference: SignedDifference
    """The second board minus the first."""
    in_words: str


@dataclass(frozen=True, slots=True)
class BoardComparison:
    """Two boards side by side."""

    boards: tuple[str, str]
    fields: tuple[FieldPair, ...]
    same: int
    """Fields both boards have, with the same value."""
    colours: tuple[ColourPair, ...]
    """In the lights both were measured in."""
    only_in: Mapping[str, Sequence[str]]
    """Lights in which only one board was measured, by its number."""


def comparison_document(compared: BoardComparison) -> dict[str, Any]:
    """Return ``finishlab/board-comparison/1``."""
    first, second = compared.boards
    return {
        "format": "finishlab/board-comparison/1",
        "colour_space": COLOUR_SPACE,
        "boards": [first, second],
        "fields": [{"field": f.field, "label": f.label, **_by(compared, f.values)} for f in compared.fields],
        "fields_alike": compared.same,
        "colours": [
            {
                "light": each.light,
                "lab": _by(compared, tuple([_rounded(v) for v in lab] for lab in each.labs)),
                "photos": _by(compared, each.photos),
                "delta_e00": {name: _rounded(v) for name, v in each.delta_e00.as_dict().items()},
                "difference": {name: _rounded(v) for name, v in each.difference.as_dict().items()},
                "in_words": each.in_words,
            }
            for each in compared.colours
        ],
        "one_board_only": {number: list(lights) for number, lights in compared.only_in.items()},
    }


def print_comparison(console: Console, compared: BoardComparison) -> None:
    """Print the fields that differ, side by side, and the colours."""
    first, second = compared.boards
    say(console, f"{first} beside {second}")
    if compared.fields:
        table = new_table()
        table.add_column("field", no_wrap=True)
        table.add_column(first, overflow="fold")
        table.add_column(second, overflow="fold")
        for each in compared.fields:
            add_row(table, [each.label, *(_words(word) for word in each.words)])
        console.print(table)
    else:
        say(console, "No field of their records differs.")
    if compared.same:
        say(console, f"{compared.same} other field{'' if compared.same == 1 else 's'} the same")
    if compared.colours:
        head = ["light", first, second, "dE00 (95 %)", f"{second} is"]
        print_table(console, "Colours, L* a* b*", (head, [_colour_cells(each) for each in compared.colours]))
    else:
        say(console, "Their colours cannot be compared: no light in which both were measured.")
    notes = [f"{number} alone was measured in {', '.join(lights)}." for number, lights in compared.only_in.items()]
    print_list(console, "Notes", notes)


def _colour_cells(each: ColourPair) -> list[str]:
    labs = [" ".join(f"{round(v, 1) + 0.0:.1f}" for v in lab) for lab in each.labs]
    found = each.delta_e00
    return [each.light, *labs, f"{found.value:.1f} ({found.low:.1f} to {found.high:.1f})", each.in_words]


def _words(text: str | None) -> str:
    return "-" if text is None else plain(text)


def _by(compared: BoardComparison, values: Sequence[Any]) -> dict[str, Any]:
    return dict(zip(compared.boards, values, strict=True))


def _rounded(value: float) -> float:
    return round(float(value), 3) + 0.0

"""``finishlab board compare``: two boards side by side, their records field by field, their colours light by light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

import click

from finishlab.cli.common import json_option, open_logbook, show_document
from finishlab.cli.lazy import ExampleCommand
from finishlab.errors import UsageError
from finishlab.show.document import Block, Cell, Column, Document, Interval, Line, Listing, Table

if TYPE_CHECKING:
    from finishlab.colorimetry.difference import DeltaE, SignedDifference
    from finishlab.colorimetry.estimate import LabEstimate
    from finishlab.logbook import StoredBoard

Value = TypeVar("Value")

_PARTS = ("preparation", "steps", "seal", "topcoat", "looking")


@dataclass(frozen=True, slots=True)
class _Fields:
    """One field that both boards, or one of them, have."""

    name: str
    """Path in the record's JSON."""
    label: str
    words: tuple[str | None, str | None]
    """In words; None where a board does not say it."""
    values: tuple[Any, Any]
    """As in the record's JSON."""


@dataclass(frozen=True, slots=True)
class _Colours:
    """The two boards' colours in one light, each from all its photos in it."""

    light: str
    labs: tuple[tuple[float, float, float], tuple[float, float, float]]
    photos: tuple[int, int]
    delta_e00: DeltaE
    difference: SignedDifference
    """The second board minus the first."""
    in_words: str


@click.command(cls=ExampleCommand, examples=("finishlab board compare B2 B5",))
@click.argument("first", metavar="B2")
@click.argument("second", metavar="B5")
@json_option
def compare(*, first: str, second: str, as_json: bool) -> None:
    """Show every field that differs between two boards, and how far apart their colours are in each light."""
    with open_logbook() as log:
        one, two = log.board(first), log.board(second)
    if one.number == two.number:
        raise UsageError("same-board", f"{one.number} is named twice.", "Name two boards.")
    show_document(_document(one, two), as_json=as_json)


def _document(one: StoredBoard, two: StoredBoard) -> Document:
    """Hold two boards against each other."""
    from finishlab.show import jsons

    numbers = (one.number, two.number)
    fields = _fields(one, two)
    differ = [each for each in fields if each.values[0] != each.values[1]]
    lights = [list(dict.fromkeys(m.light for m in board.measurements)) for board in (one, two)]
    colours = [_colours(one, two, light) for light in lights[0] if light in lights[1]]
    alone = [[light for light in mine if light not in other] for mine, other in (lights, lights[::-1])]
    only = {number: found for number, found in zip(numbers, alone, strict=True) if found}

    def by(values: Sequence[Value]) -> dict[str, Value]:
        return dict(zip(numbers, values, strict=True))

    data = {
        "boards": list(numbers),
        "fields": [{"field": f.name, "label": f.label, **by(f.values)} for f in differ],
        "fields_alike": len(fields) - len(differ),
        "colours": [
            {
                "light": each.light,
                "lab": by([jsons.lab(lab) for lab in each.labs]),
                "photos": by(each.photos),
                "delta_e00": jsons.difference(each.delta_e00),
                "difference": jsons.difference(each.difference),
                "in_words": each.in_words,
            }
            for each in colours
        ],
        "one_board_only": only,
    }
    blocks = [Line(f"{one.number} beside {two.number}"), *_field_blocks(numbers, differ, len(fields) - len(differ))]
    blocks += _colour_blocks(numbers, colours)
    notes = [f"{number} alone was measured in {', '.join(lights)}." for number, lights in only.items()]
    return Document("board-comparison", data, [*blocks, Listing("Notes", notes)])


def _field_blocks(numbers: tuple[str, str], differ: Sequence[_Fields], alike: int) -> list[Block]:
    """Return the fields that differ, side by side."""
    table = Table([Column("field", fold=False), *map(Column, numbers)], [(each.label, *each.words) for each in differ])
    same = [Line(f"{alike} other field{'' if alike == 1 else 's'} the same")] if alike else []
    return [table if differ else Line("No field of their records differs."), *same]


def _colour_blocks(numbers: tuple[str, str], colours: Sequence[_Colours]) -> list[Block]:
    """Return the colours, a light a line."""
    if not colours:
        return [Line("Their colours cannot be compared: no light in which both were measured.")]
    heads = [Column(name) for name in ("light", *numbers, "dE00 (95 %)", f"{numbers[1]} is")]
    rows: list[Sequence[Cell]] = [
        (
            each.light,
            *(" ".join(f"{round(v, 1) + 0.0:.1f}" for v in lab) for lab in each.labs),
            Interval(each.delta_e00.value, each.delta_e00.low, each.delta_e00.high),
            each.in_words,
        )
        for each in colours
    ]
    return [Table(heads, rows, title="Colours, L* a* b*")]


def _fields(one: StoredBoard, two: StoredBoard) -> list[_Fields]:
    """Return every field of their records, in the order of a record, steps after steps."""
    from finishlab.reports.details import field_rows

    mine, other = (
        {name: (label, words, value) for name, label, words, value in field_rows(b.record)} for b in (one, two)
    )
    none = ("", None, None)

    def place(name: str) -> tuple[int, int, int]:
        path = name.split(".")
        section = 1 + _PARTS.index(path[1]) if path[0] == "finish" else 0
        step = int(path[2]) if len(path) > 3 else 0
        return section, step, [*(mine if name in mine else other)].index(name)

    found = []
    for name in sorted(dict.fromkeys((*mine, *other)), key=place):
        here, there = mine.get(name, none), other.get(name, none)
        found.append(_Fields(name, here[0] or there[0], (here[1], there[1]), (here[2], there[2])))
    return found


def _colours(one: StoredBoard, two: StoredBoard, light: str) -> _Colours:
    """Return two boards' colours in a light.

    The interval of their difference counts what moves both photos alike, such as one strip's greys, only once.
    """
    import numpy as np

    from finishlab.colorimetry.difference import delta_e_interval, describe, signed_difference
    from finishlab.matching.scatter import estimate_components, pool_estimates

    seen: list[list[LabEstimate]] = [
        [m.field.estimate for m in board.measurements if m.light == light] for board in (one, two)
    ]
    a, b = (pool_estimates(each) for each in seen)
    # Where there are repeats their scatter is in the mean already; one photo says nothing of it.
    photo = np.asarray(estimate_components((), seen).photo)
    single = sum(len(each) == 1 for each in seen)
    delta, signed = delta_e_interval(a, b, photo * single), signed_difference(b.lab, a.lab)
    counts = (len(seen[0]), len(seen[1]))
    return _Colours(light, (a.lab, b.lab), counts, delta, signed, describe(signed, delta, one.number))

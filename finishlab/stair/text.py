"""Answers about the stair in the terminal: all of one part, and what is still short of a coat."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from finishlab.reports.console import add_row, blank, new_table, print_list, say
from finishlab.reports.terminal import print_colours, print_facts
from finishlab.stair.records import PartSizes
from finishlab.stair.rows import DueRow, PartDetail, coats_words
from finishlab.units import inches_text

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["back_words", "print_due", "print_part", "size_words"]


def size_words(sizes: PartSizes) -> str | None:
    """Return sizes in one line: ``"914 x 292 x 27 mm, nosing 30; back 905; angles left 91, right 90"``."""
    main = [sizes.words(name) for name in ("front", "height" if sizes.depth is None else "depth", "thickness")]
    words = [_times(main)] if any(main) else []
    if sizes.nosing is not None:
        words.append(f"nosing {sizes.words('nosing')}")
    if sizes.out_of_square and sizes.back_width is not None:
        words.append(f"back {back_words(sizes)}{'' if sizes.back is not None else ' by the angles'}")
    angles = [("left", sizes.left_angle), ("right", sizes.right_angle)]
    if any(value is not None for _, value in angles):
        told = ", ".join(f"{name} {value:g}" for name, value in angles if value is not None)
        words.append(f"angles {told} degrees")
    return "; ".join(words) or None


def back_words(sizes: PartSizes) -> str:
    """Return the back width, measured or by the angles, in the unit of the front."""
    if sizes.back is not None:
        return str(sizes.words("back"))
    width = sizes.back_width or 0.0
    return inches_text(width) if "front" in sizes.inches else f"{width:.0f} mm"


def _times(sides: Sequence[str | None]) -> str:
    """Return ``"36 x 11 1/2 x 1 in"``: the unit once where all have the same."""
    units = {side.rpartition(" ")[2] for side in sides if side is not None}
    if len(units) > 1:
        return " x ".join(side or "?" for side in sides)
    return f"{' x '.join('?' if side is None else side.rpartition(' ')[0] for side in sides)} {units.pop()}"


def print_part(console: Console, detail: PartDetail) -> None:
    """Print all that is known of a part; what is on it comes first."""
    for sentence in detail.finish:
        say(console, sentence)
    blank(console)
    part = detail.part
    want = ", ".join(coats_words(step, count) for step, count in part.wanted.items())
    facts = [
        ("code", part.name.code),
        ("state", part.state),
        ("to have", want or None),
        ("sizes", size_words(part.record.sizes)),
        ("wood", part.record.species),
        ("recipe", part.recipe),
        ("fixing", part.record.fixing),
        ("note", part.record.note),
        ("colour", f"it is {part.note}" if part.note else None),
    ]
    print_facts(console, part.words.capitalize(), facts)
    if detail.events:
        blank(console)
        table = new_table()
        for name in ("event", "day", "what"):
            table.add_column(name, no_wrap=True)
        table.add_column("recipe", no_wrap=True)
        table.add_column("can", overflow="fold")
        table.add_column("remarks", overflow="fold")
        for event in detail.events:
            cells = [event.number, str(event.date), event.what, event.recipe or "-", event.can or "-", event.remarks]
            add_row(table, cells)
        console.print(table)
    if detail.colours:
        print_colours(console, detail.colours)
    print_list(console, "History", detail.history)


def print_due(console: Console, rows: Sequence[DueRow], *, assumed: bool) -> None:
    """Print what is short of a coat, and what comes next."""
    if not rows:
        say(console, "No part is short of a coat.")
        return
    table = new_table()
    table.add_column("parts", overflow="fold")
    table.add_column("short of", overflow="fold")
    table.add_column("next", no_wrap=True)
    table.add_column("not before", no_wrap=True)
    table.add_column("can so far", overflow="fold")
    for row in rows:
        add_row(table, [row.words, row.short, row.next, str(row.not_before or "-"), row.can or "-"])
    console.print(table)
    if assumed:
        say(console, "Where no recipe says how many topcoats, 3 are taken (general articles); name yours: --topcoats 4")
    say(console, "The labels of the cans win.")

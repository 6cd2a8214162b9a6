"""The stair drawn in the terminal: each flight as steps, and beside each step its state in words and its colour."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from finishlab.reports.console import as_text, blank, say
from finishlab.reports.terminal import add_colour_columns, colour_cells
from finishlab.stair.names import listed
from finishlab.stair.rows import FlightShown, PartShown

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

__all__ = ["flight_heading", "grouped", "print_stair", "stair_notes"]


def print_stair(console: Console, flights: Sequence[FlightShown]) -> None:
    """Print the stair as it stands: the top flight first, in it the top step first."""
    if not flights:
        say(console, "No stair is entered yet. Begin with, e.g.: finishlab stairs add 7 landing 7")
        return
    for flight in reversed(flights):
        say(console, flight_heading(flight))
        console.print(_flight_table(console, flight))
        blank(console)
    for note in stair_notes(flights):
        say(console, f"- {note}")
    if any(part.lab is not None for flight in flights for part in flight.parts):
        say(console, "Figures: L* a* b* as measured since the last coat.")
    say(console, "Counted from the bottom up; left and right are seen from below.")


def flight_heading(flight: FlightShown) -> str:
    """Return what a flight is: ``"Flight 2 (to the attic): 7 risers, R1 honey"``."""
    name = f" ({flight.record.name})" if flight.record.name else ""
    risers = flight.record.risers
    facts = [] if risers is None else [f"{risers} riser{'' if risers == 1 else 's'}"]
    recipes = {part.recipe for part in flight.parts if part.recipe}
    facts += [next(iter(recipes))] if len(recipes) == 1 else []
    return f"{flight.title.capitalize()}{name}{': ' if facts else ''}{', '.join(facts)}"


def stair_notes(flights: Iterable[FlightShown]) -> list[str]:
    """Return what is odd about the parts' colours, and about the flights."""
    notes = []
    for flight in flights:
        treads = sum(part.record.kind == "tread" for part in flight.parts)
        wanted = flight.record.treads
        if wanted is not None and treads and treads != wanted:
            notes.append(
                f"{flight.title.capitalize()} has {treads} tread{'' if treads == 1 else 's'}; "
                f"{flight.record.risers} risers want {wanted}."
            )
        notes += [f"{part.words.capitalize()} is {part.note} ({part.light})." for part in flight.parts if part.note]
    return notes


def grouped(parts: Iterable[PartShown]) -> list[tuple[str, PartShown]]:
    """Return parts that are in one state together, with their names; a measured part stands alone."""
    groups: dict[tuple[object, ...], list[PartShown]] = {}
    for part in parts:
        own = part.name if part.lab is not None else None
        groups.setdefault((part.record.kind, part.name.side, part.state, own), []).append(part)
    return [(listed([each.name for each in alike], with_level=False), alike[0]) for alike in groups.values()]


def _flight_table(console: Console, flight: FlightShown) -> Table:
    from rich.table import Table

    measured = any(part.lab is not None for part in flight.parts)
    table = Table.grid(padding=(0, 1, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    if measured:
        add_colour_columns(console, table)
    table.add_column(overflow="fold")

    def row(line: str, name: str, part: PartShown) -> None:
        colour = colour_cells(console, part.lab) if measured else []
        table.add_row(as_text(line), as_text(name), *colour, as_text(part.state))

    steps = sorted((part for part in flight.parts if part.record.kind == "tread"), key=lambda part: -part.name.place)
    drawn = _steps(len(steps), flat=flight.record.kind == "landing", plain=not _draws_lines(console))
    top = [part for part in flight.parts if part.record.kind in {"landing nosing", "landing board"}]
    others = [part for part in flight.parts if part.record.kind not in {"tread", "landing nosing", "landing board"}]
    for index, (name, part) in enumerate(grouped(top)):
        row(drawn[0] if index == 0 else "", name, part)
    if not top:
        table.add_row(as_text(drawn[0]))
    for line, part in zip(drawn[1:], steps, strict=False):
        row(line, part.name.words(with_level=False), part)
    for name, part in grouped(others):
        row("", name, part)
    return table


def _steps(count: int, *, flat: bool, plain: bool) -> list[str]:
    """Return the lines of a flight from its top down: the floor above it, then each tread."""
    corner, edge, end = ("+", "-", "'") if plain else ("┌", "─", "┘")
    if flat:
        return [f"{corner}{edge * 9}"]
    wide = next((width for most, width in ((8, 3), (14, 2)) if count <= most), 1)
    lines = [f"{' ' * (count * wide)}{corner}{edge * 3}"]
    lines += [f"{' ' * (place * wide)}{corner}{edge * (wide - 1)}{end}" for place in reversed(range(count))]
    return lines


def _draws_lines(console: Console) -> bool:
    return console.encoding.lower().startswith("utf")

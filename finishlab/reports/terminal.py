"""Results on a terminal: tables that read the same with colour and without.

Swatches are shown where the terminal can show any colour; elsewhere figures and words say it alone. Whatever users
wrote is printed as it is, never read as markup.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import islice
from typing import TYPE_CHECKING

from finishlab.reports.comparison import (
    aim_line,
    colours_line,
    inseparable_lines,
    is_plain,
    lights_rows,
    recipes_rows,
    score_cell,
)
from finishlab.reports.console import add_row, as_text, blank, new_table, print_list, print_table, say
from finishlab.reports.rows import BoardRow, Lab, what_it_is
from finishlab.reports.sentences import (
    answer,
    answer_detail,
    chance,
    doubts_once,
    floor_line,
    interval,
    next_steps,
    place_mark,
)
from finishlab.reports.swatch import hex_colour

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from finishlab.matching.alternatives import AcrossLights, Choice
    from finishlab.matching.ranking import RankedBoard, Ranking

__all__ = [
    "add_colour_columns",
    "colour_cells",
    "print_facts",
    "print_ranking",
]

_WIDE = 110
"""From this many columns on, what a board is and how it differs stand side by side."""


def print_ranking(
    console: Console,
    ranking: Ranking,
    boards: Mapping[str, BoardRow],
    *,
    lights: AcrossLights | None = None,
    choices: Sequence[Choice] = (),
    recipes: Ranking | None = None,
    most: int | None = None,
    beside: Sequence[str] = (),
) -> None:
    """Print the answer, the ranking, what stands beside it, the doubts and what to do next.

    Parameters
    ----------
    console
        Where to; its width, its colours and whether it is a terminal are respected.
    ranking
        The boards from the nearest on.
    boards
        What is logged of each board, by its number.
    lights
        The same boards in other lights.
    choices
        The best board under each aim.
    recipes
        The ranking by recipe.
    most
        Boards shown in the table; without it all.
    beside
        What else is to be said of the intervals.
    """
    say(console, answer(ranking))
    if ranking.boards:
        say(console, answer_detail(ranking, boards))
        if aim_line(ranking):
            say(console, aim_line(ranking))
        _print_places(console, ranking, boards, most)
    blank(console)
    say(console, floor_line(ranking.floor))
    if ranking.boards and colours_line(ranking.boards[0], ranking.floor.colours_e00):
        say(console, colours_line(ranking.boards[0], ranking.floor.colours_e00))
    for line in beside:
        say(console, line)
    if lights is not None and lights.boards:
        print_table(console, "In every light, the best by its worst light first", lights_rows(lights, most or 20))
        say(
            console,
            "moves: dE00 there less dE00 in the first light; metamerism: the index after ISO 18314-4, which cannot be "
            "told where the errors of the photos hold both none and more than 1",
        )
    if recipes is not None:
        print_table(console, "Recipes, each pooled over its boards", recipes_rows(recipes, most))
        if most is not None and len(recipes.boards) > most:
            say(console, f"and {len(recipes.boards) - most} more; --most 0 shows all")
    print_list(console, "Match or contrast", [choice.in_words for choice in choices])
    print_list(console, "What stays open", inseparable_lines(ranking))
    doubts = [f"{who}: {sentence}" for who, sentence in doubts_once(ranking, most)]
    print_list(console, _doubts_title(ranking, most), doubts)
    missing = () if lights is None else lights.missing
    print_list(console, "What to do next", next_steps(ranking, boards, missing), numbered=True)


def _print_places(console: Console, ranking: Ranking, boards: Mapping[str, BoardRow], most: int | None) -> None:
    """Print the table of the boards and what its columns mean."""
    blank(console)
    console.print(_ranking_table(console, ranking, boards, most))
    if most is not None and len(ranking.boards) > most:
        say(console, f"and {len(ranking.boards) - most} more; --most 0 shows all")
    if any(board.tied for board in islice(ranking.boards, most)):
        say(console, "a, b ...: the photos leave the order of boards that share a letter open")
    say(console, "dE00: CIEDE2000 to the floor with its 95 % interval; closest: chance of being the closest board")
    if ranking.boards[0].within_limits is not None:
        say(console, "from the aim: how far off, and in brackets the chance that the limits are kept")


def _doubts_title(ranking: Ranking, most: int | None) -> str:
    if most is None or len(ranking.boards) <= most:
        return "Doubts"
    return f"Doubts of the floor and of the first {'board' if most == 1 else f'{most} boards'}"


def _ranking_table(console: Console, ranking: Ranking, boards: Mapping[str, BoardRow], most: int | None) -> Table:
    wide = console.width >= _WIDE
    colour = _shows_colour(console)
    table = new_table()
    table.add_column("place", no_wrap=True)
    table.add_column("board", no_wrap=True)
    if colour:
        table.add_column("board|floor", no_wrap=True)
    if wide:
        table.add_column("L* a* b*", no_wrap=True)
    if not is_plain(ranking):
        table.add_column("from the aim", no_wrap=True)
    table.add_column("dE00 (95 %)", no_wrap=True)
    table.add_column("closest", justify="right", no_wrap=True)
    if wide:
        table.add_column("what it is", ratio=1)
        table.add_column("beside the floor", ratio=1)
    else:
        table.add_column("what it is / beside the floor", ratio=1)
    for board in ranking.boards[:most]:
        row = boards.get(board.board)
        add_row(table, _ranking_cells(board, row, ranking, colour=colour, wide=wide))
    return table


def _ranking_cells(
    board: RankedBoard, row: BoardRow | None, ranking: Ranking, *, colour: bool, wide: bool
) -> list[str | Text]:
    recipe = "" if row is None else what_it_is(row.record)
    cells: list[str | Text] = [place_mark(board), board.board]
    if colour:
        cells.append(_swatch(board.lab, ranking.floor.lab, lines=2))
    if wide:
        cells.append(_figures(board.lab))
    if not is_plain(ranking):
        cells.append(score_cell(board))
    gap = " " if wide else "\n"
    cells += [f"{board.delta_e00.value:.1f}{gap}({interval(board.delta_e00)})", chance(board.probability_closest)]
    return [*cells, recipe, board.in_words] if wide else [*cells, f"{recipe}\n{board.in_words}".strip()]


def print_facts(console: Console, title: str, facts: Sequence[tuple[str, object]]) -> None:
    """Print names and values under a title."""
    from rich.table import Table

    say(console, title)
    grid = Table.grid(padding=(0, 2))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    for name, value in facts:
        if value is not None:
            grid.add_row(f"  {name}", as_text(str(value)))
    console.print(grid)


def add_colour_columns(console: Console, table: Table) -> None:
    """Add the columns of a colour: a swatch where colours can be shown, and the figures."""
    for name in colour_heads(console):
        table.add_column(name, no_wrap=True)


def colour_heads(console: Console) -> list[str]:
    """Return the heads for `colour_cells`."""
    return ["colour", "L* a* b*"] if _shows_colour(console) else ["L* a* b*"]


def colour_cells(console: Console, lab: Lab | None, decimals: int = 0) -> list[str | Text]:
    """Return the cells for `add_colour_columns`."""
    figures = _figures(lab, decimals)
    return [_swatch(lab), figures] if _shows_colour(console) else [figures]


def _figures(lab: Lab | None, decimals: int = 0) -> str:
    return "-" if lab is None else " ".join(f"{round(v, decimals) + 0.0:.{decimals}f}" for v in lab)


def _shows_colour(console: Console) -> bool:
    # With fewer colours a swatch would show another colour than the one measured.
    return console.is_terminal and not console.no_color and console.color_system == "truecolor"


def _swatch(lab: Lab | None, beside: Lab | None = None, lines: int = 1) -> Text:
    """Blocks of colour, edge to edge."""
    from rich.text import Text

    swatch = Text()
    for line in range(lines):
        swatch.append("\n" if line else "")
        for colour in (lab, beside):
            if colour is not None:
                swatch.append("     ", style=f"on {hex_colour(colour)}")
    return swatch

"""Recipes, standards, cans and the history, for the terminal and as JSON documents."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from finishlab.records import Batch
from finishlab.records.entries import shown_entries
from finishlab.records.finish_text import value_words
from finishlab.reports.console import add_row, new_table, print_list, say
from finishlab.reports.finish_rows import finish_rows
from finishlab.reports.recipe_rows import CanRow, RecipeRow, StandardRow
from finishlab.reports.terminal import print_facts

if TYPE_CHECKING:
    from rich.console import Console

__all__ = [
    "cans_document",
    "print_can",
    "print_cans",
    "print_recipe",
    "print_recipes",
    "print_standards",
    "recipes_document",
    "standards_document",
]


def print_recipes(console: Console, rows: Sequence[RecipeRow]) -> None:
    """Print the recipes, one a line."""
    if not rows:
        say(console, "No recipe is written down yet. Add one: finishlab recipe add NAME, or approve a board.")
        return
    table = new_table()
    table.add_column("recipe", no_wrap=True)
    for name in ("name", "boards", "parts", "standard since"):
        table.add_column(name, overflow="fold")
    for row in rows:
        parts = f"{len(row.parts)}" if row.parts else "-"
        add_row(
            table, [row.number, row.record.name, ", ".join(row.boards) or "-", parts, str(row.standard_since or "-")]
        )
    console.print(table)


def print_recipe(console: Console, row: RecipeRow) -> None:
    """Print a recipe as it is to be done, step by step."""
    facts: list[tuple[str, object]] = [("name", row.record.name), *finish_rows(row.record.finish)]
    if row.standard_since is not None:
        facts.append(("standard since", row.standard_since))
    facts += [("boards", ", ".join(row.boards) or None), ("note", row.record.note)]
    print_facts(console, f"Recipe {row.number}", facts)
    print_list(console, "Stair parts to be finished by it", [row.parts_listed] if row.parts_listed else [])


def recipes_document(rows: Sequence[RecipeRow]) -> dict[str, Any]:
    """Return recipes as a ``finishlab/recipes/1`` document."""
    return {
        "format": "finishlab/recipes/1",
        "recipes": [
            {
                "recipe": row.number,
                "record": row.record.as_dict(),
                "standard_since": None if row.standard_since is None else row.standard_since.isoformat(),
                "boards": list(row.boards),
                "parts": list(row.parts),
            }
            for row in rows
        ],
    }


def print_standards(console: Console, rows: Sequence[StandardRow]) -> None:
    """Print standards, the newest first."""
    if not rows:
        say(console, "No standard is approved yet. Approve a board: finishlab approve B3 --reason TEXT")
    for row in rows:
        approval = row.approval
        until = "" if row.ended is None else f", until {row.ended}"
        facts: list[tuple[str, object]] = [
            ("recipe", " ".join(word for word in (approval.recipe, row.name) if word)),
            ("board", approval.board),
            ("approved", f"{approval.date} by {approval.who}{until}"),
            ("reason", approval.reason),
            *finish_rows(approval.finish),
        ]
        print_facts(console, "The standard" if row.ended is None else "An earlier standard", facts)


def standards_document(rows: Sequence[StandardRow]) -> dict[str, Any]:
    """Return standards as a ``finishlab/standard/1`` document."""
    return {
        "format": "finishlab/standard/1",
        "standards": [
            {
                "recipe": row.approval.recipe,
                "name": row.name,
                "board": row.approval.board,
                "record": row.approval.as_dict(),
                "ended": None if row.ended is None else row.ended.isoformat(),
            }
            for row in rows
        ],
    }


def print_cans(console: Console, cans: Sequence[CanRow]) -> None:
    """Print the cans, one a line."""
    if not cans:
        say(console, "No can is logged yet. Add one: finishlab can add PRODUCT --kind KIND --lot LOT")
        return
    table = new_table()
    table.add_column("can", no_wrap=True)
    for name in ("product", "kind", "lot", "left", "where"):
        table.add_column(name, overflow="fold")
    for can in cans:
        record = can.record
        product = " ".join(word for word in (record.maker, record.product) if word)
        add_row(table, [can.number, product, record.kind, record.lot or "-", _left(record), record.place or "-"])
    console.print(table)


def _left(can: Batch) -> str:
    size, left = (None if litres is None else f"{round(litres, 2):g}" for litres in (can.size_l, can.left_l))
    if left is None:
        return "-" if size is None else f"of {size} L"
    return f"{left} L" if size is None else f"{left} of {size} L"


def print_can(console: Console, can: CanRow) -> None:
    """Print all that is written of a can, and what it went on."""
    record = can.record
    facts: list[tuple[str, object]] = [
        ("product", " ".join(word for word in (record.maker, record.product) if word)),
        ("kind", record.kind),
        ("lot", record.lot),
        ("left", None if _left(record) == "-" else _left(record)),
        ("where", record.place),
        ("opened", record.opened),
        ("logged", record.date),
        ("note", record.note),
    ]
    if record.label is not None:
        said = record.label.as_dict()
        label = [each for each in shown_entries(type(record.label)) if each.name in said]
        words = (f"{each.label} {value_words(record.label, each)}" for each in label)
        facts.append(("label", "; ".join(words)))
    print_facts(console, f"Can {can.number}", facts)
    print_list(console, "Went on", can.told)


def cans_document(cans: Sequence[CanRow]) -> dict[str, Any]:
    """Return cans as a ``finishlab/cans/1`` document."""
    shown = [{"can": can.number, "record": can.record.as_dict(), "went_on": list(can.went_on)} for can in cans]
    return {"format": "finishlab/cans/1", "cans": shown}

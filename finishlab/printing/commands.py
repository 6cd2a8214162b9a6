"""``finishlab labels``, ``schedule`` and ``house-file``: what is printed from the logbook."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

import click

from finishlab.cli.common import json_option, open_logbook, print_document, print_results, say, say_letters
from finishlab.cli.lazy import command
from finishlab.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from finishlab.imaging.strip import Paper

LABEL_SHEETS: Final = ("a4-plain", "letter-plain", "a4-3x7", "a4-2x4", "letter-3x10", "letter-2x5")
"""As in `finishlab.printing.labels`, which would load NumPy before help is shown."""


def _output(default: str) -> Callable[[Any], Any]:
    return click.option(
        "--output", "-o", type=click.Path(), default=default, show_default=True, metavar="FILE", help="The PDF."
    )


_paper = click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of the page."
)


@command(
    "finishlab labels B1 B2 B5 --sheet a4-3x7 --first 4",
    "finishlab labels treads --output treads.pdf --sheet letter-2x5",
    "finishlab labels B3 treads 1-6 all risers",
)
@click.argument("what", nargs=-1, metavar="[B1... | boards | PARTS]")
@_output("labels.pdf")
@click.option(
    "--sheet",
    type=click.Choice(LABEL_SHEETS),
    default="a4-plain",
    show_default=True,
    help="What is printed on: columns x rows of a label sheet, or plain paper with lines to cut along.",
)
@click.option(
    "--first", type=click.IntRange(min=1), default=1, show_default=True, metavar="N",
    help="First free label of a used sheet, counted row by row from the top left.",
)  # fmt: skip
@click.option("--outlines", is_flag=True, help="Draw the labels' outlines, to hold a print against a sheet.")
@json_option
def labels(*, what: tuple[str, ...], output: str, sheet: str, first: int, outlines: bool, as_json: bool) -> None:
    """Print labels for board backs and tread undersides; of all boards and treads if none is named.

    A label has the number, the recipe, where it belongs, the date, and a code that phones read. Stick it on with the
    arrow FRONT EDGE towards the front edge; the other arrow then points to the left end, as seen from below the stair.

    Sheets by their labels in mm: a4-3x7 63.5 x 38.1, a4-2x4 99.1 x 67.7, letter-3x10 66.7 x 25.4, letter-2x5
    101.6 x 50.8; a4-plain 90 x 52 and letter-plain 90 x 50 on plain paper.
    """
    from finishlab.printing.labels import SHEETS, label_views, labels_pdf, split_wish

    chosen = SHEETS[sheet]
    if first > chosen.labels:
        raise UsageError(
            "start-out-of-range",
            f"A sheet {sheet} has {chosen.labels} labels, so none has the number {first}.",
            f"Start at 1 to {chosen.labels}.",
        )
    _check_file(output)
    with open_logbook() as log:
        views = label_views(log, split_wish(what))
    pdf = labels_pdf(views, chosen, start=first, outlines=outlines)
    entries = [{"number": each.number, "address": each.address} for each in views]
    found = {"sheet": sheet, "start": first, "labels": entries}
    _write("labels", output, pdf, views, found if as_json else None, "The code on the label has them.")
    last = (first - 1 + len(views) - 1) % chosen.labels + 1
    count = "1 label" if len(views) == 1 else f"{len(views)} labels"
    free = f" The next free one is {last + 1}." if last < chosen.labels else ""
    say(f"{count} on {chosen.describe()}.{free} Print at 100 %, not fitted to the page.")


@command(
    "finishlab schedule",
    "finishlab schedule R2 --parts 'treads 1-6' --paper letter",
)
@click.argument("recipe", required=False, metavar="[R1]")
@click.option("--parts", default="", metavar="PARTS", help="Parts to tick. [default: those that are to get the recipe]")
@_output("schedule.pdf")
@_paper
@json_option
def schedule(*, recipe: str | None, parts: str, output: str, paper: str, as_json: bool) -> None:
    """Print a finishing schedule for the bench: the recipe's steps with times, and parts to tick coat by coat.

    Without a recipe it is that of the standard, or the only one there is. What is logged as done is ticked.
    """
    from finishlab.printing.schedule import schedule_pdf, schedule_view

    _check_file(output)
    with open_logbook() as log:
        view = schedule_view(log, recipe, parts)
    found = {
        "recipe": view.title,
        "steps": [{"title": step.title, "detail": step.detail, "time": step.time} for step in view.steps],
        "columns": list(view.columns),
        "parts": [part.name for part in view.parts if part.name],
    }
    _write("schedule", output, schedule_pdf(view, paper=cast("Paper", paper)), view, found if as_json else None)


@command(
    "finishlab house-file --output house.pdf",
    "finishlab house-file --title 'Mill Lane 4' --without-photos",
    name="house-file",
)
@_output("house-file.pdf")
@click.option("--title", metavar="TEXT", help="What stands at the top. [default: the logbook's name]")
@click.option("--without-photos", is_flag=True, help="Leave the photos out.")
@_paper
@json_option
def house_file(*, output: str, title: str | None, without_photos: bool, paper: str, as_json: bool) -> None:
    """Print a file of everything for the drawer: the standard, recipes, cans, the stair, colours, photos, care.

    Photos are small copies without the place they were taken at.
    """
    from finishlab.printing.house_file import house_pages, house_summary
    from finishlab.show.pdf import HOUSE, pages_pdf

    _check_file(output)
    with open_logbook() as log:
        pages = house_pages(log, title=title, photos=not without_photos)
    pdf = pages_pdf(pages, HOUSE, paper=cast("Paper", paper))
    _write("house-file", output, pdf, pages, house_summary(pages) if as_json else None)


def _check_file(output: str) -> None:
    if Path(output).exists() and Path(output).suffix.lower() != ".pdf":
        raise UsageError(
            "file-exists", f"The PDF would replace {output}, which is something else.", "Name a .pdf file."
        )


def _write(
    kind: str, output: str, pdf: bytes, said: object, found: Mapping[str, object] | None, more: str = ""
) -> None:
    """Write a PDF, say which letters of what it says no font has, and print its document or where it is."""
    from finishlab.files import write_atomically
    from finishlab.show.sheets import letters_missing

    write_atomically(output, pdf)
    say_letters(letters_missing(said), more)
    if found is None:
        print_results(output)
    else:
        print_document({"format": f"finishlab/{kind}/1", "output": output, **found})

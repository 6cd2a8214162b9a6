"""One value, two renderers: what a document's cells and blocks look like to people, and its JSON form."""

from __future__ import annotations

import datetime as dt
import io

import pytest
from rich.console import Console

from finishlab.colorimetry.spaces import hex_colour
from finishlab.show.document import (
    Block,
    Cell,
    Colour,
    Column,
    Document,
    Facts,
    Interval,
    Line,
    Listing,
    Paragraph,
    Share,
    Table,
)
from finishlab.show.terminal import render

OAK = (60.0, -0.2, 28.4)


def shown(*blocks: Block, width: int = 60, encoding: str = "utf-8", colour: bool = False) -> str:
    """Return what a terminal shows of blocks."""
    file = io.TextIOWrapper(io.BytesIO(), encoding=encoding, newline="")
    console = Console(
        file=file,
        width=width,
        force_terminal=colour,
        color_system="truecolor" if colour else None,
        legacy_windows=False,
    )
    render(console, Document("thing", {}, blocks))
    file.flush()
    file.seek(0)
    return file.read()


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("[b]as typed[/b]", "[b]as typed[/b]"),
        (3, "3"),
        (dt.date(2024, 5, 31), "2024-05-31"),
        (Interval(2.04, 0.0, 3.96), "2.0 (0.0 to 4.0)"),
        (Share(0.256), "26 %"),
        (Colour(OAK), "60 0 28"),
        (Colour(None), "-"),
        (None, "-"),
        ("", ""),
    ],
)
def test_each_kind_of_cell_in_a_table(cell: Cell, words: str) -> None:
    """A cell is shown as its kind asks; nothing known is a dash, an empty text stays empty, no zero has a sign."""
    lines = shown(Table((Column("name"), Column("value")), [("one", cell)])).splitlines()
    assert lines[-2].split("one", 1)[1].strip() == words


def test_a_colour_has_a_swatch_where_it_can_be_shown() -> None:
    """On a terminal of full colour a swatch of the very colour stands before the figures; elsewhere only these."""
    table = Table((Column("colour"),), [(Colour(OAK),)])
    red, green, blue = (int(hex_colour(OAK)[index : index + 2], 16) for index in (1, 3, 5))
    assert f"48;2;{red};{green};{blue}" in shown(table, colour=True)
    assert "L* a* b*" in shown(table)


def test_what_is_not_known_has_no_line_in_facts() -> None:
    """Facts leave out what is None, and show the others below their title."""
    lines = shown(Facts("Thing", [("wood", "oak"), ("note", None)])).splitlines()
    assert [line.strip() for line in lines] == ["Thing", "wood  oak"]


def test_empty_tables_and_listings_say_nothing() -> None:
    """Neither heads without rows nor a title without lines is shown."""
    assert shown(Table((Column("name"),), []), Listing("History", [])) == ""


def test_a_paragraph_wraps_at_words_and_keeps_units() -> None:
    """A figure is never parted from its unit, and the lines after the first are set in."""
    text = shown(Paragraph("cut one piece of 914 mm", 2, 4), width=21)
    assert text == "  cut one piece of\n    914 mm\n"


def test_lines_of_a_drawing_are_spelt_as_the_terminal_can() -> None:
    """Where a terminal cannot spell line drawing, plain characters stand for it."""
    steps = Table((Column(""), Column("")), [("┌──┘", "tread 1")], ruled=False)
    assert shown(steps).split() == ["┌──┘", "tread", "1"]
    assert shown(steps, encoding="ascii").split() == ["+--'", "tread", "1"]


def test_the_json_form_says_what_it_is() -> None:
    """Format and colour space come first, then the document's own values; its blocks are for people."""
    document = Document("thing", {"parts": [1]}, (Line("for people"),))
    assert document.json_form() == {"format": "finishlab/thing/1", "colour_space": "CIELAB D65 2deg", "parts": [1]}
    assert list(document.json_form())[:2] == ["format", "colour_space"]

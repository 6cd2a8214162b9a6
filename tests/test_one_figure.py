"""One figure for one thing: whatever says how far, how sure or what colour says the same of one logbook.

Random logbooks of stored measurements, no photos. What is compared is what the commands show: the answer at a glance,
in full and as JSON, the report's page and paper, the lists, a board by itself and two side by side.
"""

from __future__ import annotations

import io
import re
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from click.testing import CliRunner
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from many_boards import fill
from rich.console import Console

from finishlab.cli import finishlab
from finishlab.logbook.store import Logbook
from finishlab.rank.comparing import Comparison, compare
from finishlab.rank.documents import chance, comparison_document, ranking_data
from finishlab.report.story import gather_report, report_html, report_pages, report_pdf
from finishlab.show.document import Document, Interval
from finishlab.show.pages import Cards, Chart
from finishlab.show.terminal import render

_INTERVAL = re.compile(r"(-?\d+\.\d) to (-?\d+\.\d)")
_PERCENT = re.compile(r"(\d+) %")
_HALF = 0.0506
"""Half the last digit that is shown, and half the last that JSON holds."""


def words(value: object) -> Iterator[str]:
    """Every text in a document or in pages, cells and the words of drawings among them."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Interval):
        yield f"{value.value:.1f} ({value.low:.1f} to {value.high:.1f})"
    elif isinstance(value, Chart):
        yield from (value.heading, value.note, value.drawing.words)
    elif isinstance(value, Mapping):
        for each in value.values():
            yield from words(each)
    elif isinstance(value, list | tuple):
        for each in value:
            yield from words(each)
    elif is_dataclass(value):
        for each in fields(value):
            yield from words(getattr(value, each.name))


def numbers(value: object) -> Iterator[float]:
    """Every number in a JSON document."""
    if isinstance(value, bool):
        return
    if isinstance(value, int | float):
        yield float(value)
    elif isinstance(value, Mapping | list):
        for each in value.values() if isinstance(value, Mapping) else value:
            yield from numbers(each)


def intervals(value: object) -> Iterator[tuple[float, float]]:
    """Every interval in a JSON document."""
    if isinstance(value, Mapping):
        if {"low", "high"} <= value.keys():
            yield float(value["low"]), float(value["high"])
        for each in value.values():
            yield from intervals(each)
    elif isinstance(value, list):
        for each in value:
            yield from intervals(each)


@dataclass(frozen=True)
class Told:
    """What is said of one logbook."""

    found: Comparison
    data: dict[str, Any]
    """The JSON document."""
    glance: str
    full: str
    page: str
    cards: dict[str, dict[str, str]]
    """Board -> its figures on the page."""
    lists: dict[str, Any]
    """Command -> its JSON document."""


def document(found: Comparison, **how: bool) -> Document:
    """What the command shows."""
    kind: dict[str, Any] = {"full": False, "most": None, "as_json": False} | how
    return comparison_document(found, **kind)


def told_of(folder: Path) -> Told:
    """Ask one logbook for everything."""
    with Logbook.open(folder) as log:
        found = compare(log)
        content = gather_report(log)
        pages = report_pages(content)
        numbered = [board.board for board in found.ranking.boards]
    cards = {
        card.name: {figure.name: figure.value for figure in card.figures}
        for section in pages.sections
        for block in section.blocks
        if isinstance(block, Cards)
        for card in block.cards
    }
    asked = [("floor", "list"), ("board", "list"), ("board", "show", numbered[0])]
    asked += [("board", "compare", *numbered[:2])] if len(numbered) > 1 else []
    lists = {" ".join(each[:2]): run(folder, *each, "--json") for each in asked}
    glance, full = (" ".join(words(document(found, full=full).blocks)) for full in (False, True))
    data = document(found, as_json=True).json_form()
    return Told(found, data, glance, full, " ".join(words(pages)), cards, lists)


def run(folder: Path, *arguments: str) -> Any:
    """Run a command and read its JSON document."""
    import json

    done = CliRunner().invoke(finishlab, ["--logbook", str(folder), *arguments], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def lab_words(lab: list[float]) -> str:
    """A colour to one decimal, as pages show it."""
    return ", ".join(f"{value:.1f}" for value in lab)


def near(one: str, two: float) -> bool:
    """Whether a shown figure is one of JSON, which may round the other way in the last digit."""
    return abs(float(one) - two) < _HALF


@settings(max_examples=6, phases=[Phase.explicit, Phase.generate])
@given(st.integers(1, 9), st.booleans(), st.booleans(), st.integers(0, 10_000))
def test_every_output_of_a_logbook_says_the_same_figures(boards: int, recipes: bool, lights: bool, seed: int) -> None:
    """Differences, chances, margins and colours agree across all outputs, none stands alone; the answer is a glance."""
    with tempfile.TemporaryDirectory() as place:
        fill(Path(place), boards, recipes=recipes, lights=lights, seed=seed)
        told = told_of(Path(place))
    out = io.StringIO()
    render(Console(file=out, width=80, force_terminal=True, color_system="truecolor"), document(told.found))
    assert len(out.getvalue().splitlines()) <= 15
    ranked = told.data["ranking"]
    first, floor = ranked[0], told.lists["floor list"]["floor"]
    # the first board: how far, and how sure
    for text in (told.glance, told.full, told.page):
        shown = re.search(r"dE00 (\d+\.\d)", text)
        assert shown is not None
        assert near(shown[1], first["delta_e00"]["value"])
        assert first["board"] in text
    for text in (told.full, told.page):
        assert chance(told.found.ranking.boards[0].probability_closest) in text
    if len(ranked) > 1:
        assert chance(told.found.ranking.boards[0].probability_closest) in told.glance
        margin = told.data["margin"]
        shown = re.search(r"(-?\d+\.\d) farther \((-?\d+\.\d) to (-?\d+\.\d)\)", told.glance)
        assert shown is not None
        assert all(near(one, margin[name]) for one, name in zip(shown.groups(), ("value", "low", "high"), strict=True))
    # every board: the card of the page, the JSON document, and the lists
    listed = {each.get("board") or each.get("number"): each for each in told.lists["board list"]["boards"]}
    assert list(told.cards) == [each["board"] for each in ranked]
    for each, board in zip(ranked, told.found.ranking.boards, strict=True):
        card = told.cards[each["board"]]
        assert near(card["difference dE00"], each["delta_e00"]["value"])
        assert card["chance closest"] == chance(board.probability_closest)
        low, high = card["95 % interval"].split(" to ")
        assert near(low, each["delta_e00"]["low"])
        assert near(high, each["delta_e00"]["high"])
        measured = listed[each["board"]]
        if measured["light"] == told.data["light"]:
            shown_lab = [float(v) for v in card["L*, a*, b*"].split(", ")]
            assert all(abs(a - b) < _HALF for a, b in zip(shown_lab, measured["lab"], strict=True))
    # the floor, in figures and in the sentence about it
    at = re.search(r"Floor: \d+ spots?, L\* (-?[\d.]+), a\* (-?[\d.]+), b\* (-?[\d.]+)", told.full)
    assert at is not None
    assert all(near(one, two) for one, two in zip(at.groups(), floor["lab"], strict=True))
    assert at[0] in told.page
    # nothing is printed that no document holds
    held = [*intervals(told.data), *(each for other in told.lists.values() for each in intervals(other))]
    held += [(float(a), float(b)) for text in words(told.data) for a, b in _INTERVAL.findall(text)]
    of_lights = {} if told.found.lights is None else told.found.lights.rankings
    held += [each for ranking in of_lights.values() for each in intervals(ranking_data(ranking))]
    shares = {round(100 * value) for value in numbers(told.data) if 0.0 <= value <= 1.0}
    shares |= {int(found) for text in words(told.data) for found in _PERCENT.findall(text)} | {95, 1, 99}
    for text in (told.glance, told.full, told.page):
        for low, high in _INTERVAL.findall(text):
            assert any(near(low, a) and near(high, b) for a, b in held), f"{low} to {high}"
        for percent in _PERCENT.findall(text):
            assert any(abs(int(percent) - share) <= 1 for share in shares), f"{percent} %"


@pytest.mark.parametrize("lights", [False, True])
def test_page_and_paper_say_what_the_terminal_says(tmp_path: Path, lights: bool) -> None:
    """The written page and PDF hold each board's interval and chance as the terminal shows them."""
    fill(tmp_path, 5, recipes=True, lights=lights, seed=3)
    with Logbook.open(tmp_path) as log:
        found, content = compare(log), gather_report(log)
    sheets = pypdfium2.PdfDocument(report_pdf(content)[0])
    paper = " ".join(page.get_textpage().get_text_range() for page in sheets)
    sheets.close()
    full = " ".join(words(document(found, full=True).blocks))
    for text in (report_html(content).replace("&lt;", "<").replace("&gt;", ">"), paper):
        flat = " ".join(text.split())
        for board in found.ranking.boards:
            for figure in (
                f"{board.delta_e00.low:.1f} to {board.delta_e00.high:.1f}",
                chance(board.probability_closest),
            ):
                assert figure in flat
                assert figure in full

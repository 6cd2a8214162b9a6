"""What is printed on a terminal reads the same with colour and without, at 80 columns and at 120."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from typing import Any

import pytest
import report_samples as samples
from rich.console import Console

from finishlab.board.commands import BOARD, FLOOR
from finishlab.board.shown import colour_blocks, label_facts
from finishlab.colorimetry.spaces import hex_colour
from finishlab.matching.ranking import Ranking
from finishlab.matching.scatter import FloorPool
from finishlab.measure.results import Measurement
from finishlab.measuring import PhotoResult
from finishlab.measuring.shown import measurement_document
from finishlab.rank.comparing import Comparison
from finishlab.rank.documents import chance, comparison_document, doubts_once, next_steps, place_mark
from finishlab.show.document import Column, Document, Facts
from finishlab.show.terminal import print_rows, render

_ESCAPE = re.compile(r"\x1b\[[0-9;]*m")


def _console(width: int, colour: bool) -> tuple[Console, io.StringIO]:
    out = io.StringIO()
    console = Console(
        file=out,
        width=width,
        force_terminal=colour,
        color_system="truecolor" if colour else None,
        no_color=False,
        _environ={},
    )
    return console, out


def _show(console: Console, ranking: Ranking, *, full: bool = True, most: int | None = None, **more: Any) -> None:
    """Show a ranking as the command does."""
    found = Comparison(ranking, samples.logged_boards(), "daylight", (), **more)
    render(console, comparison_document(found, full=full, most=most, as_json=False))


def _everything(width: int, *, colour: bool) -> str:
    console, out = _console(width, colour)
    boards = samples.board_rows()
    _show(console, samples.ranking())
    render(console, measurement_document(samples.photo_results()))
    render(console, Document("", {}, BOARD.listing(list(boards.values()))))
    one = boards["B6"]
    render(
        console, Document("", {}, [Facts("Board B6", label_facts(one.record)), *colour_blocks(one.measurements, str)])
    )
    render(console, Document("", {}, FLOOR.listing(samples.spot_rows())))
    return out.getvalue()


def _ranking(width: int, *, colour: bool) -> str:
    console, out = _console(width, colour)
    _show(console, samples.ranking())
    return out.getvalue()


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("colour", [True, False])
def test_lines_fit_the_terminal(width: int, colour: bool) -> None:
    """No line is wider than the terminal, and none is cut off with an ellipsis."""
    text = _ESCAPE.sub("", _everything(width, colour=colour))
    assert max(len(line) for line in text.splitlines()) <= width
    assert "…" not in text
    assert "..." not in text.replace("a, b ...:", "")


def test_without_colour_nothing_but_text_is_printed() -> None:
    """Into a file or a pipe no escape code goes."""
    assert "\x1b" not in _everything(80, colour=False)


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("colour", [True, False])
def test_ranking_says_it_in_words_and_figures(width: int, colour: bool) -> None:
    """Place, tie letters, recipe, difference with interval and chance stand as text for every board, colour or not."""
    text = " ".join(_ESCAPE.sub("", _ranking(width, colour=colour)).split())
    assert text.startswith("Boards B4 and B2 come closest to the floor; which of them is the closest stays open.")
    for board in samples.ranking().boards:
        assert f"{place_mark(board)} {board.board} " in text
        assert f"({board.delta_e00.low:.1f} to {board.delta_e00.high:.1f})" in text
        assert chance(board.probability_closest) in text
    assert "Peat brown, 2 coats" in text
    assert "pinker" in text
    assert "Floor: 4 spots" in text
    assert "share a letter open" in text


def test_swatch_stands_beside_the_floors() -> None:
    """In true colour each board's own colour is followed at once by the floor's, edge to edge."""
    text = _ranking(80, colour=True)
    floor = _background(samples.FLOOR)
    for board in samples.ranking().boards:
        assert re.search(re.escape(_background(board.lab)) + r" +\x1b\[0m" + re.escape(floor) + " +", text), board.board


def test_swatches_need_true_colour() -> None:
    """On a terminal of 256 colours no swatch is shown, since it would show another colour than the measured one."""
    out = io.StringIO()
    console = Console(file=out, width=80, force_terminal=True, color_system="256", _environ={})
    _show(console, samples.ranking())
    assert "48;" not in out.getvalue()


def test_each_doubt_is_said_once() -> None:
    """A doubt that several boards share is one sentence, with whom it is about."""
    doubts = doubts_once(samples.ranking())
    assert [who for who, _ in doubts] == ["floor", "all boards", "B7"]
    text = " ".join(_ranking(80, colour=False).split())
    assert text.count("will change under one") == 1


def test_next_steps_follow_from_what_is_missing() -> None:
    """A tie asks for one photo of both, few spots for more planks, one light for a second, no control board for one."""
    steps = " ".join(next_steps(samples.ranking(), samples.logged_boards()))
    assert "Photograph B4 and B2 again" in steps
    assert "--with-floor" in steps
    assert "4 so far" in steps
    assert "in a second light too" in steps
    assert "topcoat alone" in steps
    only_raw = Ranking(samples.floor_pool(), (samples.ranking().boards[3],))
    steps = " ".join(next_steps(only_raw, samples.logged_boards()))
    assert "Put the topcoat on B7" in steps
    assert "again, each" not in steps


def test_users_words_are_not_markup() -> None:
    """Brackets in a name are printed, and a file name cannot send the terminal a command."""
    console, out = _console(120, False)
    render(console, Document("", {}, BOARD.listing(list(samples.board_rows().values()))))
    nasty = Measurement("0" * 16, None, samples.measurement().fields, None)
    render(console, measurement_document([PhotoResult("[bold]a\x1b[2J.jpg", nasty)]))
    assert "beech [raw]" in out.getvalue()
    assert "[bold]a?[2J.jpg" in out.getvalue()
    assert "\x1b" not in out.getvalue()


def test_failed_photos_are_named_with_what_to_do() -> None:
    """Each photo that could not be measured is named with its sentence and its hint."""
    console, out = _console(80, False)
    render(console, measurement_document(samples.photo_results()))
    text = " ".join(out.getvalue().split())
    assert "shots/none.jpg: No strip was found. Lay the strip in the photo." in text
    assert "shots/bad.jpg: This is not a photo. Name a photo." in text
    assert "55.1 9.0 0.0" in text


def test_empty_logbook_says_how_to_begin() -> None:
    """Without boards or spots the command to add one is shown."""
    console, out = _console(80, False)
    for kind in (BOARD, FLOOR):
        render(console, Document("", {}, kind.listing([])))
    assert "finishlab board add PHOTO" in out.getvalue()
    assert "finishlab floor add PHOTO" in out.getvalue()


def test_one_spot_and_one_board_are_said_plainly() -> None:
    """With one floor spot its spread is called unknown, and a lone leader is named without a tie."""
    floor = FloorPool(samples.estimate(samples.FLOOR), 1, None)
    alone = replace(samples.ranking().boards[0], ties=range(0), ratio_to_floor_spread=None)
    console, out = _console(80, False)
    _show(console, Ranking(floor, (alone,)))
    text = " ".join(out.getvalue().split())
    assert text.startswith(
        "Board B4 comes closest to the floor. B4 (ash; Peat brown, 2 coats; water-based matte) is dE00 1.2"
    )
    assert "1 spot, " in text
    assert "one spot cannot show how much the floor varies" in text
    assert "share a letter" not in text


@pytest.mark.parametrize(("probability", "words"), [(0.0, "< 1 %"), (0.004, "< 1 %"), (0.48, "48 %"), (1.0, "> 99 %")])
def test_chance_is_never_called_certain(probability: float, words: str) -> None:
    """A simulated chance of none or all is given as a bound."""
    assert chance(probability) == words


def test_swatch_colour_is_the_worked_value() -> None:
    """The mid grey of L* 53.585 is code 128 in sRGB (IEC 61966-2-1); too vivid a colour is clipped."""
    assert hex_colour((53.585, 0.0, 0.0)) == "#808080"
    assert re.fullmatch(r"#[0-9a-f]{6}", hex_colour((50.0, 120.0, -120.0)))


def _background(lab: tuple[float, float, float]) -> str:
    code = hex_colour(lab)
    red, green, blue = (int(code[i : i + 2], 16) for i in (1, 3, 5))
    return f"\x1b[48;2;{red};{green};{blue}m"


@pytest.mark.parametrize("width", [60, 100, 160])
def test_a_long_list_reads_as_a_short_one(width: int) -> None:
    """A table of many rows has the lines a table of few rows has, and keeps to the terminal's width."""
    head = [Column("board", fold=False), Column("what it is"), Column("date", fold=False)]
    rows = [[f"B{n}", "ash; walnut, 2 coats; matte, na\u00efve", f"2024-05-{n % 28 + 1:02d}"] for n in range(1, 131)]
    rows[7][1] = "beech [raw]; a stain with quite a long name " * 3
    parts = []
    for shown in (rows, rows[:50], rows[50:90], rows[90:]):
        console = Console(file=io.StringIO(), width=width, force_terminal=False)
        print_rows(console, head, shown)
        assert isinstance(console.file, io.StringIO)
        parts.append([" ".join(line.split()) for line in console.file.getvalue().splitlines()])
        assert all(len(line) <= width for line in console.file.getvalue().splitlines())
    whole = [line for line in parts[0] if line and not line.startswith("\u2500")]
    pieces = [line for part in parts[1:] for line in part if line and not line.startswith(("\u2500", "board"))]
    assert whole[1:] == pieces
    assert whole[0] == "board what it is date"


def test_the_terminal_tells_doubts_of_the_boards_it_shows() -> None:
    """With fewer boards shown than ranked, only their doubts are told, and the title says so; recipes are cut too."""
    whole = samples.ranking()
    console, out = _console(100, False)
    found = Comparison(whole, samples.logged_boards(), "daylight", ())
    named = replace(whole, boards=tuple(replace(b, board=f"R{b.place}") for b in whole.boards))
    render(console, comparison_document(replace(found, recipes=named), full=True, most=1, as_json=False))
    told = out.getvalue()
    assert "Doubts of the floor and of the first board" in told
    assert told.count(f"and {len(whole.boards) - 1} more; --most 0 shows all") == 2
    hidden = {d.message for board in whole.boards[1:] for d in board.doubts}
    shown = {d.message for d in (*whole.boards[0].doubts, *whole.floor.doubts)}
    flat = " ".join(told.split())
    assert hidden - shown
    assert not any(message in flat for message in hidden - shown)


@pytest.mark.parametrize("colour", [True, False])
def test_the_answer_is_one_glance(colour: bool) -> None:
    """At most 15 lines say what the first board is, how far, how sure, what comes next, one doubt and one step."""
    console, out = _console(80, colour)
    _show(console, samples.ranking(), full=False)
    lines = _ESCAPE.sub("", out.getvalue()).splitlines()
    text = " ".join(" ".join(lines).split())
    assert len(lines) <= 15
    assert lines[0] == "Closest to the floor: Peat brown, 2 coats, under water-based matte, on ash (B4)."
    for part in (
        "dE00 1.2 (95 %: 0.5 to 2.0)",
        "How sure: open",
        "48 %",
        "Next: Peat brown, 1 coat",
        "(B2)",
        "Do now: ",
    ):
        assert part in text
    assert text.count("Doubt (") == 1
    assert ("48;2;" in out.getvalue()) == colour
    for word in ("metamerism", "moves", "share a letter"):
        assert word not in text


@pytest.mark.parametrize("letters", [10, 80, 190])
def test_long_names_do_not_lengthen_the_answer(letters: int) -> None:
    """However long a finish is called, the answer has at most 15 lines at 80 columns, the bar of colours among them."""
    light, stain = "by the lamps of the evening", "walnut " * (letters // 7 + 1)
    boards = {
        number: replace(
            board,
            record=replace(board.record, stain=stain, topcoat="oil"),
            measurements=tuple(replace(each, light=light) for each in board.measurements),
        )
        for number, board in samples.logged_boards().items()
    }
    console, out = _console(80, True)
    found = Comparison(samples.ranking(), boards, light, ("B9", "B10"))
    render(console, comparison_document(found, full=False, most=None, as_json=False))
    assert len(out.getvalue().splitlines()) <= 15
    assert "B4" in out.getvalue()

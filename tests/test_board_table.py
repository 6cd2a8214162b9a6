"""Boards read in short for ranking: the same figures as read whole, also after changes; invented figures, no photos."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from logbook_makers import DAY, keep, make_photo, measurement
from observed import BoardSeen, PlankSeen, Seen, observations_of, solve_seen

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.colorimetry.estimate import ColourTable, LabEstimate, SharedEffect, TableBuilder
from finishlab.files import LOGBOOK_FILE
from finishlab.finish import Finish, Preparation, Topcoat
from finishlab.logbook import BoardTable, DirectPair, Logbook
from finishlab.logbook.archive import upgraded
from finishlab.logbook.merge import checked
from finishlab.matching.gls import solve
from finishlab.matching.scatter import Observations, components_of
from finishlab.rank.gathering import observations_of as gathered
from finishlab.rank.gathering import see_floor

FINISH = Finish(Preparation(grits=(80, 120)), topcoat=Topcoat(sheen="matte", gloss_gu=17.0))
LAMP = "lamp"


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Logbook]:
    """A logbook with a floor, a board in two lights with a pair, one with a finish, and one that was removed."""
    with Logbook.open(tmp_path / "log", who="tester") as opened:
        for i in range(3):
            opened.add_floor_spot(
                FloorSpotRecord(f"plank {i}", date=DAY),
                [measurement(keep(opened, tmp_path, f"f{i}.jpg"), "floor", lightness=56.0 + i)],
            )
        paired = measurement(keep(opened, tmp_path, "one.jpg"), "board", "floor", lightness=52.0)
        pair = DirectPair.of(paired)
        assert pair is not None
        opened.add_board(BoardRecord("ash", "walnut", 2, "matte", date=DAY, note="still damp"), [paired], [pair])
        opened.add_board_photos("B1", [measurement(keep(opened, tmp_path, "lamp.jpg"), lightness=49.0)], light=LAMP)
        opened.add_board(
            BoardRecord("oak", date=DAY, finish=FINISH), [measurement(keep(opened, tmp_path, "two.jpg"), strip=None)]
        )
        opened.add_board(BoardRecord("ash", date=DAY), [measurement(keep(opened, tmp_path, "three.jpg"))])
        opened.remove("B3")
        yield opened


def same(log: Logbook) -> BoardTable:
    """Hold all boards in short against those read whole; return them."""
    short = log.board_table()
    colour = short.colours.estimate
    for one, whole in zip(short.boards, log.boards(), strict=True):
        assert (one.number, one.record) == (whole.number, whole.record)
        assert one.lights == {m.light for m in whole.measurements}
        for look, m in zip(one.colours, whole.measurements, strict=True):
            assert colour(look.row) == m.field.estimate
            assert (look.photo, look.light, look.strip_number, look.version) == (
                m.photo,
                m.light,
                m.strip_number,
                m.version,
            )
            assert (look.greys_key, look.profile, look.doubts, look.grain_deg) == (
                m.greys_key,
                m.profile,
                m.doubts,
                m.grain_deg,
            )
            assert log.sampled_colours([one.number], look.light) == {one.number: m.field.colours}
        for pair, stored in zip(one.pairs, whole.pairs, strict=True):
            assert (colour(pair.board_row), colour(pair.floor_row)) == (stored.board.estimate, stored.floor.estimate)
            assert (pair.photo, pair.light, pair.delta_e00) == (stored.photo, stored.light, stored.delta_e00)
            assert (pair.floor_doubts, pair.floor_colours) == (stored.floor.doubts, stored.floor.colours)
    return short


def test_boards_of_the_table_say_what_whole_ones_say(log: Logbook) -> None:
    """Colours are equal to the last digit, records and facts the same, and a removed board is not among them."""
    short = same(log)
    assert [board.number for board in short.boards] == ["B1", "B2"]
    assert short.boards[0].pairs[0].board_row == short.boards[0].colours[0].row, "one colour is kept once"


def test_a_changed_pair_is_no_longer_its_look(log: Logbook) -> None:
    """Where the pair's board was measured otherwise than the look of the same photo, both colours are kept."""
    with sqlite3.connect(log.folder / LOGBOOK_FILE) as other:
        (text,) = other.execute("SELECT board_result FROM pairs").fetchone()
        result = json.loads(text)
        result["estimate"]["lab"][0] += 1.0
        other.execute("UPDATE pairs SET board_result = ?", [json.dumps(result)])
    other.close()
    board = same(log).boards[0]
    assert board.pairs[0].board_row != board.colours[0].row


def test_measuring_again_and_undoing_change_what_is_read_in_short(log: Logbook, tmp_path: Path) -> None:
    """Figures that were renewed, taken back, edited or logged later are read as they are now."""
    before = same(log).colours
    renewed = measurement(make_photo(tmp_path, "one.jpg")[1], "board", "floor", lightness=47.5)
    log.remeasure("B1", [renewed])
    assert same(log).colours.labs[:, 0].tolist() != before.labs[:, 0].tolist()
    log.undo()
    assert same(log).colours.labs.tolist() == before.labs.tolist()
    log.edit_board("B2", note="dry", light=LAMP)
    log.add_board(BoardRecord("ash", date=DAY), [measurement(keep(log, tmp_path, "four.jpg"))])
    assert [board.number for board in same(log).boards] == ["B1", "B2", "B4"]


def test_an_archive_gives_back_what_is_read_in_short(log: Logbook, tmp_path: Path) -> None:
    """Another logbook that took this one in reads the same colours in short."""
    with Logbook.open(tmp_path / "other") as other:
        other.merge(checked(upgraded(log.dump())))
        # only what can be read without the photos' files is compared
        assert other.board_table().colours.labs.tolist() == same(log).colours.labs.tolist()


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        ({"own_covariance": [[1.0, 5.0, 0.0], [5.0, 1.0, 0.0], [0.0, 0.0, 1.0]]}, "covariance"),
        ({"lab": [50.0, 8.0]}, "three"),
        ({"lab": None}, ""),
        ({"shared": [{"name": "fit-1", "scope": "photo:1", "vector": [1.0]}]}, "effect"),
    ],
)
def test_a_damaged_colour_is_named(
    log: Logbook, broken: dict[str, object], told: str, caplog: pytest.LogCaptureFixture
) -> None:
    """A colour that cannot be meant is left out, with a word that names its board."""
    with sqlite3.connect(log.folder / LOGBOOK_FILE) as other:
        (text,) = other.execute("SELECT result FROM measurements WHERE board_number = 2").fetchone()
        result = json.loads(text)
        result["estimate"] |= broken
        other.execute("UPDATE measurements SET result = ? WHERE board_number = 2", [json.dumps(result)])
    other.close()
    _check_left_out(log, caplog, told)


def _check_left_out(log: Logbook, caplog: pytest.LogCaptureFixture, told: str) -> None:
    colours = {board.number: len(board.colours) for board in log.board_table().boards}
    assert colours.pop("B2") == 0
    assert all(colours.values())
    assert "of board B2 in the logbook cannot be read" in caplog.text
    assert told in caplog.text


def test_text_that_is_no_json_is_a_damaged_logbook(log: Logbook, caplog: pytest.LogCaptureFixture) -> None:
    """A broken entry is left out with a word, whatever reads it."""
    with sqlite3.connect(log.folder / LOGBOOK_FILE) as other:
        other.execute("UPDATE measurements SET result = '{' WHERE board_number = 2")
    other.close()
    _check_left_out(log, caplog, "")


finite = st.floats(-100, 100)
triples = st.tuples(finite, finite, finite)
effects = st.lists(st.builds(SharedEffect, st.sampled_from("abc"), st.sampled_from("xyz"), triples), max_size=4)


@given(st.lists(st.tuples(triples, triples, effects), max_size=4), st.integers(0, 4))
def test_a_table_gives_colours_back(said: list[tuple[tuple[float, ...], ...]], cut: int) -> None:
    """Colours laid out in a table, in two that are joined, or picked out of it in any order, come out equal."""
    colours = [LabEstimate.build(np.array(lab), np.diag(np.square(own)), shared) for lab, own, shared in said]  # type: ignore[arg-type]  # effects
    whole = ColourTable.of(colours)
    for table in (whole, ColourTable.of(colours[:cut]).joined(ColourTable.of(colours[cut:]))):
        assert [table.estimate(row) for row in range(len(table))] == colours
        assert table.unsound() is None
    backwards = np.arange(len(whole))[::-1][cut:]
    picked = whole.only(backwards)
    assert [picked.estimate(row) for row in range(len(picked))] == [colours[row] for row in backwards]


@given(st.tuples(triples, triples, triples), st.sampled_from([None, float("nan"), float("inf")]))
def test_a_table_refuses_what_an_estimate_refuses(own: tuple[tuple[float, ...], ...], odd: float | None) -> None:
    """What is unsound in a table is what cannot be a `LabEstimate`."""
    rows = own if odd is None else ((odd, *own[0][1:]), own[1], own[2])
    with np.errstate(invalid="ignore"):
        square = np.array(rows) @ np.array(rows).T
    for each in (rows, square):
        builder = TableBuilder()
        builder.add((50.0, 0.0, 0.0), (np.eye(3)).tolist(), [], [], [])
        builder.add((50.0, 0.0, 0.0), np.array(each).tolist(), [], [], [])
        matrix = tuple(tuple(row) for row in np.array(each).tolist())
        try:
            LabEstimate((50.0, 0.0, 0.0), matrix)  # type: ignore[arg-type]  # three rows of three
            sound = True
        except ValueError:
            sound = False
        assert builder.build().unsound() == (None if sound else 1)


def seen(observed: Observations) -> list[tuple[object, ...]]:
    """What is observed, one by one."""
    where = zip(observed.block.tolist(), observed.photo.tolist(), observed.plank.tolist(), strict=True)
    return [(observed.colours.estimate(int(row)), *each) for row, each in zip(observed.rows, where, strict=True)]


def test_looks_laid_out_are_the_looks_as_objects(log: Logbook, tmp_path: Path) -> None:
    """Solution from the logbook's arrays, boards and floor are what the same looks give one by one."""
    log.add_board_photos("B2", [measurement(keep(log, tmp_path, "again.jpg"), lightness=51.0)])
    logged, spots, whole = log.board_table(), log.floor_spots(), log.boards()
    floor = see_floor(logged, spots, "daylight", strict=True)
    laid_out = gathered(logged, logged.boards, "daylight", floor)
    components = components_of(laid_out)
    boards = [
        BoardSeen(
            board.number,
            tuple(
                Seen(
                    m.field.estimate,
                    m.photo,
                    next((pair.floor.estimate for pair in board.pairs if pair.photo == m.photo), None),
                )
                for m in board.measurements
                if m.light == "daylight"
            ),
        )
        for board in whole
    ]
    planks = [
        PlankSeen(spot.record.spot or spot.number, tuple(Seen(m.field.estimate, m.photo) for m in spot.measurements))
        for spot in spots
    ]
    assert seen(laid_out) == seen(observations_of(boards, planks))
    one, two = solve(laid_out, components), solve_seen(boards, planks, components)
    np.testing.assert_allclose(one.colours.labs, two.colours.labs, rtol=1e-12)
    np.testing.assert_allclose(one.difference_covariance(), two.difference_covariance(), rtol=1e-9)
    assert components == components_of(observations_of(boards, planks))


def test_a_photo_of_spot_and_board_counts_once(log: Logbook, tmp_path: Path) -> None:
    """The floor in a photo that was logged as a spot too is not seen a second time beside the board."""
    both = measurement(keep(log, tmp_path, "both.jpg"), "board", "floor", lightness=53.0)
    pair = DirectPair.of(both)
    assert pair is not None
    log.add_floor_spot(FloorSpotRecord("plank 9", date=DAY), [both])
    log.add_board(BoardRecord("ash", date=DAY), [replace(both)], [pair])
    logged = log.board_table()
    floor = see_floor(logged, log.floor_spots(), "daylight", strict=True)
    looks = gathered(logged, logged.boards, "daylight", floor)
    assert not np.any(looks.plank[looks.block == looks.boards - 1] >= 0)
    assert np.count_nonzero(looks.plank >= 0) == 4 + 1, "four spots, and the floor beside B1"

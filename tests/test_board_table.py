"""Logged boards laid out for ranking, and colours in a table; what cannot be read is left out; invented figures."""

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
from logbook_makers import DAY, keep, measurement
from observed import BoardSeen, PlankSeen, Seen, observations_of, solve_seen

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.colorimetry.estimate import ColourTable, LabEstimate, SharedEffect
from finishlab.files import LOGBOOK_FILE
from finishlab.finish import Finish, Preparation, Topcoat
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import DirectPair
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
            opened.add_floor_spots(
                FloorSpotRecord(f"plank {i}", date=DAY),
                [[measurement(keep(opened, tmp_path, f"f{i}.jpg"), "floor", lightness=56.0 + i)]],
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
    colours: dict[str, int] = {board.number: len(board.measurements) for board in log.boards()}
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
    backwards = np.arange(len(whole))[::-1][cut:]
    picked = whole.only(backwards)
    assert [picked.estimate(row) for row in range(len(picked))] == [colours[row] for row in backwards]


def seen(observed: Observations) -> list[tuple[object, ...]]:
    """What is observed, one by one."""
    where = zip(observed.block.tolist(), observed.photo.tolist(), observed.plank.tolist(), strict=True)
    return [(observed.colours.estimate(int(row)), *each) for row, each in zip(observed.rows, where, strict=True)]


def test_looks_laid_out_are_the_looks_as_objects(log: Logbook, tmp_path: Path) -> None:
    """Solution from the logbook's arrays, boards and floor are what the same looks give one by one."""
    log.add_board_photos("B2", [measurement(keep(log, tmp_path, "again.jpg"), lightness=51.0)])
    spots, whole = log.floor_spots(), log.boards()
    floor = see_floor(whole, spots, "daylight", strict=True)
    laid_out = gathered(whole, "daylight", floor)
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
    log.add_floor_spots(FloorSpotRecord("plank 9", date=DAY), [[both]])
    log.add_board(BoardRecord("ash", date=DAY), [replace(both)], [pair])
    logged = log.boards()
    floor = see_floor(logged, log.floor_spots(), "daylight", strict=True)
    looks = gathered(logged, "daylight", floor)
    assert not np.any(looks.plank[looks.block == looks.boards - 1] >= 0)
    assert np.count_nonzero(looks.plank >= 0) == 4 + 1, "four spots, and the floor beside B1"

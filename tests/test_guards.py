"""Guards: what forbids to take a comparison at its word, each saying what to do."""

from __future__ import annotations

import datetime as dt
from typing import get_args

import pytest

from finishlab.board import State
from finishlab.coatings import sheen_of
from finishlab.matching.guards import (
    BoardFacts,
    FloorFacts,
    board_guards,
    floor_guards,
    may_be_final,
    told_of_floor,
    told_wet,
)
from finishlab.quality import DOUBTS

DAY = dt.date(2024, 5, 1)
READY = BoardFacts(topcoated=True, gloss=15.0, last_grit=120, grain_deg=0.0, dates=(DAY,), strips=frozenset({1}))
FLOOR = FloorFacts(gloss=18.0, grain_deg=5.0, dates=(DAY,), strips=frozenset({1, 2}), tread_grit=120)


def codes(board: BoardFacts, floor: FloorFacts = FLOOR) -> list[str]:
    """The codes of a board's doubts."""
    return [d.code for d in board_guards(board, floor)]


def test_a_board_prepared_as_it_should_be_raises_no_doubt() -> None:
    """Topcoated, of the floor's sheen, sanded as the treads, same strip, day and grain: no doubt, and it may decide."""
    assert codes(READY) == []
    assert may_be_final(READY)
    assert floor_guards(FLOOR) == ()


def test_what_is_not_known_raises_no_doubt_but_the_missing_topcoat() -> None:
    """A board of which nothing is known is only not known to be topcoated."""
    assert codes(BoardFacts()) == ["not-topcoated", "strips-differ"] or codes(BoardFacts()) == ["not-topcoated"]
    assert codes(BoardFacts(), FloorFacts()) == ["not-topcoated"]


@pytest.mark.parametrize(
    ("board", "code"),
    [
        (BoardFacts(state="bare"), "board-bare"),
        (BoardFacts(purpose="raw"), "board-bare"),
        (BoardFacts(state="stain wet"), "board-wet"),
        (BoardFacts(topcoated=True, dry=False), "board-wet"),
        (BoardFacts(state="stain dry"), "not-topcoated"),
        (BoardFacts(state="sealed", topcoated=True), "not-topcoated"),
    ],
)
def test_state_of_the_board(board: BoardFacts, code: str) -> None:
    """Bare, wet, stained only or sealed only: each has its doubt, and none may decide."""
    assert codes(board, FloorFacts()) == [code]
    assert not may_be_final(board)


@pytest.mark.parametrize("state", get_args(State))
def test_only_topcoated_and_dry_may_decide(state: State) -> None:
    """A verdict rests on topcoated or cured boards only."""
    assert may_be_final(BoardFacts(state=state)) == (state in {"topcoated", "cured"})
    assert not may_be_final(BoardFacts(state=state, dry=False))


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"gloss": 40.0}, "sheen-differs"),
        ({"last_grit": 180}, "grit-differs"),
        ({"dates": (DAY + dt.timedelta(days=31),)}, "far-dates"),
        ({"strips": frozenset({3})}, "strips-differ"),
        ({"grain_deg": 80.0}, "grain-directions-differ"),
        ({"grain_deg": -86.0}, "grain-directions-differ"),
    ],
)
def test_each_difference_from_floor_and_treads_is_doubted(changes: dict[str, object], code: str) -> None:
    """Sheen, grit, date, strip and grain: what differs is doubted, and nothing else."""
    facts = {name: getattr(READY, name) for name in READY.__dataclass_fields__}
    assert codes(BoardFacts(**{**facts, **changes})) == [code]


def test_thirty_days_apart_are_not_far_and_the_nearest_photos_count() -> None:
    """Up to 30 days no doubt; a second photo of the board nearer in time takes the doubt away."""
    facts = {name: getattr(READY, name) for name in READY.__dataclass_fields__}
    assert codes(BoardFacts(**{**facts, "dates": (DAY + dt.timedelta(days=30),)})) == []
    assert codes(BoardFacts(**{**facts, "dates": (DAY + dt.timedelta(days=90), DAY)})) == []


def test_floor_that_was_wet_or_covered_is_doubted_by_name() -> None:
    """The doubt names the spots."""
    wet, covered = floor_guards(FloorFacts(wet=("F1",), covered=("by the sofa",)))
    assert (wet.code, covered.code) == ("floor-wet", "floor-covered")
    assert "F1" in wet.message
    assert "by the sofa" in covered.message


@pytest.mark.parametrize(
    ("text", "wet", "covered"),
    [
        ("by the stair", False, False),
        ("still wet from mopping", True, False),
        ("was damp", True, False),
        ("not wet", False, False),
        ("not yet dry", True, False),
        ("wet-sanded between coats", False, False),
        ("grain raised with a wet rag", False, False),
        ("plank from under the rug", False, True),
        ("beneath the hall carpet", False, True),
        ("under the window", False, False),
    ],
)
def test_words_of_wet_and_covered(text: str, wet: bool, covered: bool) -> None:
    """Words that say it was wet or covered are told from words that do not."""
    assert told_of_floor(text) == (wet, covered)
    assert told_wet(text) == wet


@pytest.mark.parametrize(
    ("text", "gloss"),
    [
        ("water-based matte", 17.0), ("Satin polyurethane", 32.0), ("semi-gloss", 65.0), ("gloss varnish", 80.0),
        ("extra matt lacquer", 8.0), ("hardwax oil", None), (None, None), ("glossary", None),
    ],
)  # fmt: skip
def test_sheen_from_a_products_name(text: str | None, gloss: float | None) -> None:
    """The name of a topcoat promises gloss units; a name without a sheen promises none."""
    assert sheen_of(text) == gloss


@pytest.mark.parametrize(
    "code",
    ["board-bare", "board-wet", "not-topcoated", "sheen-differs", "grit-differs", "floor-wet", "floor-covered",
     "far-dates", "strips-differ", "grain-directions-differ", "not-reachable", "moves-between-lights", "order-flips",
     "one-light"],
)  # fmt: skip
def test_each_guard_says_what_to_do(code: str) -> None:
    """Every sentence holds a call to do something: put, lay, measure, photograph, sand, wipe, take, use, look."""
    words = ("put", "lay", "measure", "photograph", "sand", "wipe", "take", "use", "look", "decide", "finish")
    assert any(f"{word} " in DOUBTS[code].sentence for word in words)

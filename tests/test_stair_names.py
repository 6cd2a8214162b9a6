"""What flights and parts are called, and how many are meant at once."""

from __future__ import annotations

from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishlab.errors import FinishlabError
from finishlab.stair.names import (
    PART_KINDS,
    SIDED,
    SIDES,
    PartName,
    level_of,
    level_title,
    listed,
    parse_level,
    parse_parts,
    select,
)

LOWER: Final = [PartName(1, "tread", place) for place in range(1, 7)]
UPPER: Final = [PartName(3, "tread", place) for place in range(1, 10)]
REST: Final = [
    *(PartName(1, "riser", place) for place in range(1, 8)),
    PartName(1, "landing nosing", 1),
    PartName(1, "stringer", 1, "left"),
    PartName(1, "stringer", 1, "right"),
    *(PartName(2, "landing board", place) for place in range(1, 4)),
]
STAIR: Final = [*LOWER, *UPPER, *REST]


def chosen(text: str, names: list[PartName] = STAIR) -> str:
    """Return the codes of the parts a text means."""
    return " ".join(name.code for name in select(parse_parts(text), names))


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("2/tread 7", "2.T7"),
        ("flight 2 tread 7", "2.T7"),
        ("Flight 2, tread 7", "2.T7"),
        ("2.T7", "2.T7"),
        ("2/t7-9", "2.T7 2.T8 2.T9"),
        ("2/treads 3-5, 8", "2.T3 2.T4 2.T5 2.T8"),
        ("2/treads 1 and 3", "2.T1 2.T3"),
        ("1/odd treads", "1.T1 1.T3 1.T5"),
        ("1/even treads", "1.T2 1.T4 1.T6"),
        ("1/treads 1, risers 2", "1.T1 1.R2"),
        ("2/tread 1, tread 2, landing board 1", "L1.LB1 2.T1 2.T2"),
        ("risers 2-3", "1.R2 1.R3"),
        ("left stringer", "1.ST1L"),
        ("1.ST1R", "1.ST1R"),
        ("stringers", "1.ST1L 1.ST1R"),
        ("top nosing", "1.LN1"),
        ("landing 1", "L1.LB1 L1.LB2 L1.LB3"),
        ("landing 1 landing board 2", "L1.LB2"),
        ("L1/landing boards 2-3", "L1.LB2 L1.LB3"),
        ("landing boards", "L1.LB1 L1.LB2 L1.LB3"),
    ],
)
def test_parts_are_meant_as_people_say_them(text: str, codes: str) -> None:
    """Words, ranges, lists, odd and even, and codes mean the parts they name."""
    assert chosen(text) == codes


def test_all_treads_are_those_of_every_flight() -> None:
    """Without a flight, "all" and "odd" go over the whole stair."""
    assert chosen("all treads") == " ".join(name.code for name in [*LOWER, *UPPER])
    assert len(select(parse_parts("odd treads"), STAIR)) == 3 + 5
    assert len(select(parse_parts("all"), STAIR)) == len(STAIR)


def test_one_flight_needs_no_name() -> None:
    """Where one flight alone has treads, "tread 6" says enough."""
    assert chosen("tread 6", LOWER) == "1.T6"
    assert LOWER[5].words(with_level=False) == "tread 6"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("tread 3", "which-flight"),
        ("treads 7-9", "which-flight"),
        ("tread", "which-flight"),
        ("stringer", "which-part"),
        ("2/tread 10", "unknown-part"),
        ("1/treads 5-7", "unknown-part"),
        ("returns", "unknown-part"),
        ("banister 1", "bad-parts"),
        ("2/tread x", "bad-parts"),
        ("", "bad-parts"),
        ("treads 5-3", "place-out-of-range"),
        ("tread 0", "place-out-of-range"),
        ("left tread 3", "part-without-side"),
    ],
)
def test_what_means_no_part_or_several_is_refused(text: str, code: str) -> None:
    """A part that is not there, or that could be in two flights, is told with what to write instead."""
    with pytest.raises(FinishlabError) as refused:
        chosen(text)
    assert refused.value.code == code
    assert refused.value.hint


def test_levels_have_names() -> None:
    """Flights and landings alternate: flight 1, landing 1 above it, flight 2."""
    assert [level_title(level) for level in (1, 2, 3, 4)] == ["flight 1", "landing 1", "flight 2", "landing 2"]
    assert [parse_level(text) for text in ("flight 2", "2", "Landing 1", "L1")] == [3, 3, 2, 2]
    with pytest.raises(FinishlabError, match="no flight or landing"):
        parse_level("attic")


def test_parts_in_a_row_are_drawn_together() -> None:
    """A list names runs, and flights only where there are several."""
    assert listed(LOWER) == "treads 1-6"
    assert listed([LOWER[0], LOWER[2], REST[0]]) == "treads 1,3, riser 1"
    assert listed([LOWER[0], UPPER[0]]) == "1/tread 1, 2/tread 1"
    assert listed([REST[8]]) == "stringer 1 left"


names = st.sampled_from(PART_KINDS).flatmap(
    lambda kind: st.builds(
        PartName,
        level=st.integers(1, 9),
        kind=st.just(kind),
        place=st.integers(1, 200),
        side=st.sampled_from((None, *SIDES)) if kind in SIDED else st.none(),
    )
)


@given(found=st.lists(names, min_size=1, max_size=12, unique=True))
def test_code_words_and_list_lead_back(found: list[PartName]) -> None:
    """Code and full name of a part mean that part; a list of parts, read again, means all of them."""
    for name in found:
        assert name in select(parse_parts(name.code), found)
        assert name in select(parse_parts(name.words(with_level=True)), found)
    assert set(found) <= set(select(parse_parts(listed(found, with_level=True)), found))


@given(number=st.integers(1, 40), kind=st.sampled_from(("flight", "landing")))
def test_a_level_leads_back(number: int, kind: str) -> None:
    """The title of a level is read as that level."""
    level = level_of("flight" if kind == "flight" else "landing", number)
    assert level_title(level) == f"{kind} {number}"
    assert parse_level(level_title(level)) == level

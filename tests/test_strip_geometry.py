"""The strip's geometry keeps what the light fit, the finder, the sheet and the layout file rely on."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from render.printers import Printer

from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.imaging.finder import MODULES
from finishlab.imaging.strip import FIELD_NAMES, PAGES, STRIP, Paper, Rect, new_strip_number

PAPER = len(STRIP.greys) - 1
MIDDLE = np.array([STRIP.width / 2, STRIP.height / 2])
NUMBERS = st.integers(1, STRIP.numbers)


def overlap(one: Rect, two: Rect) -> bool:
    """Return whether two rectangles share area, beyond rounding."""
    width = min(one.right, two.right) - max(one.x, two.x)
    return width > 1e-9 and min(one.bottom, two.bottom) - max(one.y, two.y) > 1e-9


def outside(part: Rect) -> list[Rect]:
    """Return what of the plane about the strip a rectangle leaves, as four overlapping rectangles."""
    far = 1000.0
    return [
        Rect(part.x - far, -far, far, 2 * far),
        Rect(part.right, -far, far, 2 * far),
        Rect(-far, part.y - far, 2 * far, far),
        Rect(-far, part.bottom, 2 * far, far),
    ]


def apart(one: Rect, two: Rect) -> float:
    """Return the distance between two rectangles, mm."""
    dx = max(one.x - two.right, two.x - one.right, 0.0)
    dy = max(one.y - two.bottom, two.y - one.bottom, 0.0)
    return float(np.hypot(dx, dy))


@pytest.mark.parametrize("level", range(len(STRIP.greys)))
def test_each_grey_is_mirrored_about_the_middle(level: int) -> None:
    """Each grey stands at four places or more, in mirrored pairs, as often above as below, centred on the strip."""
    places = {
        (round(x, 6), round(y, 6)) for x, y in (patch.rect.centre for patch in STRIP.patches if patch.level == level)
    }
    assert len(places) >= 4
    assert np.mean(sorted(places), axis=0) == pytest.approx(MIDDLE)
    for x, y in places:
        assert (round(STRIP.width - x, 6), y) in places
    above, below = ([x for x, y in places if (y - MIDDLE[1]) * side > 1.0] for side in (-1, 1))
    assert len(above) == len(below) == 2


def test_ramps_run_opposite_ways() -> None:
    """Along either half of the strip the ramp at the floor edge runs the other way than the one at the board edge."""
    for left, right in ((0.0, MIDDLE[0]), (MIDDLE[0], STRIP.width)):
        ramps = []
        for top, bottom in ((0.0, 18.0), (28.0, STRIP.height)):
            within = [p for p in STRIP.patches if left < p.rect.centre[0] < right and top < p.rect.centre[1] < bottom]
            ramps.append([p.level for p in sorted(within, key=lambda p: p.rect.x)])
        assert ramps[0] == ramps[1][::-1]
        assert sorted(ramps[0]) == list(range(len(STRIP.greys)))


def test_greys_run_from_black_to_paper() -> None:
    """At least five greys stand between black ink and bare paper, each step within 6 to 17 units of L*."""
    assert len(STRIP.greys) >= 7
    assert STRIP.greys[0] == 0.0
    assert STRIP.greys[-1] == 1.0
    lightness = lightness_of_reflectance(Printer().reflectance(np.array(STRIP.greys)))
    assert np.diff(lightness).min() > 6.0
    assert np.diff(lightness).max() < 17.0


def test_nothing_overlaps() -> None:
    """No two tags or greys overlap, all lie on the strip, and each is read well inside its own borders."""
    whole = Rect(0.0, 0.0, STRIP.width, STRIP.height)
    for one, two in combinations([*(tag.rect for tag in STRIP.tags), *(p.rect for p in STRIP.patches)], 2):
        assert not overlap(one, two)
    for patch in STRIP.patches:
        for corner in patch.rect.corners():
            assert whole.x <= corner[0] <= whole.right
            assert whole.y <= corner[1] <= whole.bottom
        assert patch.sample.x >= patch.rect.x + 1.4
        assert patch.sample.right <= patch.rect.right - 1.4
        assert patch.sample.y >= patch.rect.y + 1.4
        assert patch.sample.bottom <= patch.rect.bottom - 1.4


def test_nothing_printed_lies_under_a_reading() -> None:
    """No grey is read where the number, a screen or a tag is printed, and no screen where anything else is."""
    tags = [tag.rect for tag in STRIP.tags]
    printed = [STRIP.number_text, *tags, *(screen.rect for screen in STRIP.screens)]
    for patch in STRIP.patches:
        assert not any(overlap(patch.sample, other) for other in printed)
    inked = [STRIP.number_text, *tags, *(patch.rect for patch in STRIP.patches if patch.level != PAPER)]
    for screen in STRIP.screens:
        assert not any(overlap(screen.rect, other) for other in inked)


def test_screens_are_lines_of_their_coverage() -> None:
    """A screen's lines cover the share of it that it says, lie inside it, and leave half a gap at both its ends."""
    for screen in STRIP.screens:
        lines, gap = screen.lines(), (1.0 - screen.coverage) * screen.pitch
        assert sum(line.width for line in lines) / screen.rect.width == pytest.approx(screen.coverage)
        assert lines[0].x - screen.rect.x == pytest.approx(gap / 2)
        assert screen.rect.right - lines[-1].right == pytest.approx(gap / 2)
        assert np.diff([line.x for line in lines]) == pytest.approx(screen.pitch)


def test_screens_can_be_printed() -> None:
    """Lines and gaps are wide enough to stay apart when ink grows by 0.06 mm an edge, and lie on a grid of 1/300 inch.

    So a printer of 300 or 600 dots to the inch prints every line of a screen alike.
    """
    dot = 25.4 / 300
    for screen in STRIP.screens:
        wide = screen.coverage * screen.pitch
        assert wide > 0.16
        assert screen.pitch - wide > 0.12 + 0.04
        for line in screen.lines():
            for value in (line.x / dot, line.width / dot):
                assert value == pytest.approx(round(value), abs=1e-6)


def test_screens_are_mirrored_along_the_strip() -> None:
    """Each screen stands at two places whose centre is the strip's to 0.05 mm.

    They are of three pitches, and span coverages from an eighth to four fifths.
    """
    kinds: dict[tuple[float, float], list[tuple[float, float]]] = {}
    for screen in STRIP.screens:
        kinds.setdefault((screen.coverage, screen.pitch), []).append(screen.rect.centre)
    for places in kinds.values():
        assert len(places) == 2
        assert np.mean(places, axis=0) == pytest.approx(MIDDLE, abs=0.05)
    assert len({round(pitch, 6) for _, pitch in kinds}) == 3
    assert min(kinds)[0] == pytest.approx(0.125)
    assert max(kinds)[0] > 0.8


def test_tags_have_a_quiet_zone() -> None:
    """White of one tag module or more lies between a tag, the greys, the number and the strip's border."""
    for tag in STRIP.tags:
        module = tag.rect.width / MODULES
        assert tag.rect.width == tag.rect.height
        inked = [p.rect for p in STRIP.patches if p.level != PAPER] + [STRIP.number_text]
        assert min(apart(tag.rect, other) for other in inked) >= module - 1e-9
        border = (tag.rect.x, tag.rect.y, STRIP.width - tag.rect.right, STRIP.height - tag.rect.bottom)
        assert min(border) >= module


@pytest.mark.parametrize("half", ["left", "right", "top", "bottom"])
def test_each_half_carries_the_whole_number(half: str) -> None:
    """Whichever half of the strip is seen, its tags carry both digits of the number."""
    whole = Rect(0.0, 0.0, STRIP.width / 2, STRIP.height)
    wide = Rect(0.0, 0.0, STRIP.width, STRIP.height / 2)
    part = {
        "left": whole,
        "right": Rect(whole.right, 0.0, whole.width, whole.height),
        "top": wide,
        "bottom": Rect(0.0, wide.bottom, wide.width, wide.height),
    }[half]
    inner = [tag for tag in STRIP.tags if not any(overlap(tag.rect, other) for other in outside(part))]
    assert {tag.digit for tag in inner} == {0, 1}


@given(NUMBERS)
def test_number_survives_the_tags(number: int) -> None:
    """Every strip number comes back from any two of its tags that carry different digits."""
    ids = STRIP.tag_ids(number)
    assert len(set(ids)) == len(STRIP.tags)
    assert max(ids) < 250
    read = []
    for tag, tag_id in zip(STRIP.tags, ids, strict=True):
        found = STRIP.read_tag(tag_id)
        assert found is not None
        assert found[0] is tag
        read.append((tag.digit, found[1]))
    for one, two in combinations(read, 2):
        if one[0] != two[0]:
            digits = dict([one, two])
            assert STRIP.number_from_digits(digits[0], digits[1]) == number


@given(NUMBERS, NUMBERS)
def test_two_numbers_differ_in_a_tag(one: int, two: int) -> None:
    """Two strips carry the same tags only if they have the same number."""
    assert (STRIP.tag_ids(one) == STRIP.tag_ids(two)) == (one == two)


@pytest.mark.parametrize("number", [0, -1, STRIP.numbers + 1])
def test_numbers_that_no_strip_has(number: int) -> None:
    """A number outside the range is refused."""
    with pytest.raises(ValueError, match="a strip number runs from 1"):
        STRIP.tag_ids(number)


def test_tag_of_no_role_is_not_the_strips() -> None:
    """A tag id beyond the six roles stands for no tag of the strip."""
    assert STRIP.read_tag(len(STRIP.tags) * STRIP.DIGITS) is None
    assert STRIP.read_tag(249) is None


def test_new_numbers_are_valid_and_differ() -> None:
    """Numbers drawn for new prints are valid, and forty of them are not all the same."""
    drawn = {new_strip_number() for _ in range(40)}
    assert len(drawn) > 1
    assert all(1 <= number <= STRIP.numbers for number in drawn)


@pytest.mark.parametrize("name", FIELD_NAMES)
def test_fields_are_large_enough(name: str) -> None:
    """A field is at least 120 x 40 mm, lies beyond its edge and within the strip's length."""
    field = STRIP.fields[name]  # type: ignore[index] # the two names
    assert field.width >= 120.0
    assert field.height >= 40.0
    assert field.x >= 0.0
    assert field.right <= STRIP.width
    if name == "board":
        assert field.y < 0.0
        assert field.bottom <= 0.0
    else:
        assert field.y >= STRIP.height


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_strip_fits_the_page(paper: Paper) -> None:
    """The strip lies on the page, centred, with 10 mm to every side for a printer's margin."""
    page, place = PAGES[paper], STRIP.place_on_page(paper)
    assert min(place.x, place.y, page[0] - place.right, page[1] - place.bottom) >= 10.0
    assert place.centre[0] == pytest.approx(page[0] / 2)
    assert (place.width, place.height) == (STRIP.width, STRIP.height)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_layout_document(paper: Paper) -> None:
    """The layout document has the contract's keys, with each field from the strip's top left."""
    layout = STRIP.layout(paper)
    assert list(layout) == ["format", "paper", "page", "strip", "fields"]
    assert layout["format"] == "finishlab/strip/1"
    assert layout["paper"] == paper
    assert layout["page"] == list(PAGES[paper])
    assert layout["strip"] == STRIP.place_on_page(paper).as_dict()
    fields = layout["fields"]
    assert isinstance(fields, dict)
    assert set(fields) == {"board", "floor"}
    for name in FIELD_NAMES:
        assert fields[name] == STRIP.fields[name].as_dict()
        assert set(fields[name]) == {"x", "y", "width", "height"}


def test_rectangle_knows_its_sides() -> None:
    """A rectangle's right, bottom, centre, corners and inset agree with each other."""
    rect = Rect(2.0, -4.0, 10.0, 6.0)
    assert (rect.right, rect.bottom, rect.centre) == (12.0, 2.0, (7.0, -1.0))
    assert rect.corners().tolist() == [[2.0, -4.0], [12.0, -4.0], [12.0, 2.0], [2.0, 2.0]]
    assert rect.inset(1.0, 2.0) == Rect(3.0, -2.0, 8.0, 2.0)

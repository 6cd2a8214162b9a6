"""The stair drawn: what the terminal and the SVG show of states, colours and what is odd."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from rich.console import Console

from finishlab.colorimetry.spaces import hex_colour
from finishlab.show.terminal import render
from finishlab.stair.documents import FlightShown, PartShown, size_words, stair_document, stair_notes
from finishlab.stair.drawing import linked_stair, stair_svg
from finishlab.stair.names import PartKind, PartName, Side
from finishlab.stair.progress import coats_words
from finishlab.stair.records import Flight, Part, PartSizes

OAK = (60.0, 10.0, 28.0)
SVG = "{http://www.w3.org/2000/svg}"


def part(kind: PartKind, place: int, state: str = "sanded", side: Side | None = None, **more: object) -> PartShown:
    """Return a part of flight 1."""
    sizes = PartSizes(front=914, depth=292)
    return PartShown(
        name=PartName(1, kind, place, side),
        words=f"{kind} {place}",
        record=Part(1, kind, place, side, sizes),
        recipe=None,
        state=state,
        fitted=False,
        last=None,
        **{"coats": {}, "wanted": {}, **more},  # type: ignore[arg-type]  # its colour and coats
    )


def flight(*parts: PartShown, risers: int = 4) -> FlightShown:
    """Return a flight of these parts."""
    return FlightShown("flight 1", Flight(risers=risers), parts)


TREADS = tuple(part("tread", place) for place in (1, 2, 3))


def printed(shown: list[FlightShown], *, encoding: str = "utf-8", colour: bool = False) -> str:
    """Return what a terminal of 80 columns shows."""
    file = io.TextIOWrapper(io.BytesIO(), encoding=encoding, newline="")
    system = "truecolor" if colour else None
    console = Console(file=file, width=80, force_terminal=colour, color_system=system)  # type: ignore[arg-type]  # one of its names
    render(console, stair_document(shown))
    file.flush()
    file.seek(0)
    return file.read()


def test_a_terminal_without_line_drawing_gets_plain_steps() -> None:
    """Where the terminal cannot spell the lines, steps are drawn with plain characters."""
    lines = printed([flight(*TREADS)], encoding="ascii").splitlines()
    assert lines[0] == "Flight 1: 4 risers"
    assert [line.split(" tread")[0].rstrip() for line in lines[2:5]] == ["      +--'", "   +--'", "+--'"]


@pytest.mark.parametrize(("count", "wide"), [(1, 3), (8, 3), (14, 2), (30, 1)])
def test_each_step_stands_on_the_one_below(count: int, wide: int) -> None:
    """A step begins where the one below it ends, and a long flight takes narrower steps."""
    treads = [part("tread", place) for place in range(1, count + 1)]
    lines = [line for line in printed([flight(*treads, risers=count + 1)]).splitlines() if "tread" in line]
    assert [line.index("┌") for line in lines] == [wide * place for place in reversed(range(count))]
    assert [line.index("┘") for line in lines] == [wide * (place + 1) for place in reversed(range(count))]


def test_a_measured_colour_is_shown_as_itself_and_in_figures() -> None:
    """A measured tread has its L*, a* and b* beside it, and a swatch where the terminal shows any colour."""
    shown = [flight(*TREADS[:2], part("tread", 3, lab=OAK, light="daylight"))]
    assert "60 10 28" in printed(shown)
    red, green, blue = (int(hex_colour(OAK)[index : index + 2], 16) for index in (1, 3, 5))
    assert f"48;2;{red};{green};{blue}" in printed(shown, colour=True)
    assert "L* a* b*" not in printed([flight(*TREADS)])


def test_parts_in_one_state_are_told_together() -> None:
    """Risers in one state share a line; sides are kept apart, and a measured one stands alone."""
    risers = (part("riser", 1), part("riser", 2), part("riser", 3, lab=OAK, light="daylight"))
    skirts = (part("skirt", 1, side="left"), part("skirt", 1, side="right", state="fitted"))
    text = printed([flight(*TREADS, *risers, *skirts)])
    for told in ("risers 1-2", "riser 3", "skirt 1 left", "skirt 1 right"):
        assert told in text


def test_what_is_odd_is_said() -> None:
    """A colour that stands apart, and treads that do not go with the risers, are told in a sentence."""
    odd = part("tread", 3, lab=OAK, light="daylight", note="lighter than the others by dE00 4.2")
    assert stair_notes([flight(*TREADS[:2], odd)]) == ["Tread 3 is lighter than the others by dE00 4.2 (daylight)."]
    assert stair_notes([flight(*TREADS[:1])]) == ["Flight 1 has 1 tread; 4 risers want 3."]
    assert "- Flight 1 has 1 tread" in printed([flight(*TREADS[:1])])


def test_the_drawing_has_each_colour_and_state() -> None:
    """A measured part is filled with its colour, others are white; each state and side is said."""
    measured = part("tread", 3, lab=OAK, light="daylight")
    skirt = part("skirt", 1, side="left", lab=OAK, light="daylight")
    drawn = stair_svg([flight(*TREADS[:2], measured, part("riser", 1, state="fitted"), part("riser", 2), skirt)])
    root = ET.fromstring(drawn)
    fills = [each.get("fill") for each in root.iter(f"{SVG}polygon")]
    assert fills.count(hex_colour(OAK)) == 2
    assert fills.count("#ffffff") == 4
    words = [text.text for text in root.iter(f"{SVG}text")]
    assert {"tread 3: sanded", "riser 1: fitted", "riser 2: sanded", "skirt 1 left: sanded"} <= set(words)
    assert words.count("L* 60 a* 10 b* 28") == 2


def test_the_drawing_shows_how_far_a_part_is_without_words() -> None:
    """Of 4 coats 1 is on: a quarter of the tread is solid in the colour of its recipe's board, the rest hatched in it.

    A tread of 914 mm is 280 px wide from x = 20, so the solid quarter ends at x = 90.
    """
    begun = part("tread", 1, coats={"stain": 1}, wanted={"stain": 1, "topcoat": 3}, recipe_number=1)
    done = part("tread", 2, coats={"stain": 1, "topcoat": 3}, wanted={"stain": 1, "topcoat": 3}, recipe_number=1)
    root = ET.fromstring(stair_svg([flight(begun, done)], {1: OAK}))
    solid = [each for each in root.iter(f"{SVG}polygon") if each.get("fill") == hex_colour(OAK)]
    widths = {each.attrib["points"]: _width(each) for each in solid}
    assert sorted(width for width in widths.values() if width > 20) == [pytest.approx(70), pytest.approx(280)]
    bars = [each for each in solid if _width(each) < 10]
    assert len(bars) > 15
    assert min(_left(each) for each in bars) >= 90


def _xs(polygon: ET.Element) -> list[float]:
    return [float(pair.split(",")[0]) for pair in polygon.attrib["points"].split()]


def _width(polygon: ET.Element) -> float:
    return max(_xs(polygon)) - min(_xs(polygon))


def _left(polygon: ET.Element) -> float:
    return min(_xs(polygon))


def test_a_finish_nobody_measured_is_grey_and_what_is_odd_or_fitted_is_marked() -> None:
    """Without a measured board the fill is grey; a bar below says fitted, a ! beside it not as planned."""
    odd = part("tread", 1, coats={"stain": 1}, wanted={"stain": 1}, deviations=("stain 2 of 1.",))
    root = ET.fromstring(stair_svg([flight(replace(odd, fitted=True))]))
    fills = [each.get("fill") for each in root.iter(f"{SVG}polygon")]
    assert fills == ["#ffffff", "#9aa0a6", "#222222"]
    assert "!" in [text.text for text in root.iter(f"{SVG}text")]


def test_texts_in_the_drawing_stay_texts() -> None:
    """A name cannot break the drawing: markup is escaped, control characters are left out."""
    named = FlightShown("flight 1", Flight(name="<b>&\x07 cellar", risers=4), TREADS)
    root = ET.fromstring(stair_svg([named]))
    assert next(root.iter(f"{SVG}text")).text == "Flight 1 (<b>& cellar): 4 risers"


def test_sizes_and_coats_in_words() -> None:
    """Sizes are said in one line, an out-of-square tread with its back; coats in the singular and the plural."""
    assert size_words(PartSizes(front=914, depth=292, thickness=27, nosing=30)) == "914 x 292 x 27 mm; nosing 30 mm"
    told = size_words(PartSizes(front=914.4, depth=266.7, left_angle=89, right_angle=90.5))
    assert told == "914.4 x 266.7 x ? mm; back 912 mm by the angles; angles left 89, right 90.5 degrees"
    assert size_words(PartSizes()) is None
    assert [coats_words("topcoat", 1), coats_words("stain", 2)] == ["1 topcoat", "2 stain coats"]


def test_each_part_of_the_drawing_on_a_screen_is_a_link_with_a_name() -> None:
    """On a page every part is reached by touch or key: a link high enough, named with its state, parts alike as one."""
    odd = part("tread", 3, coats={"topcoat": 1}, wanted={"topcoat": 3}, state="topcoat 1 of 3", deviations=("x",))
    skirt = part("skirt", 1, side="left")
    shown = [flight(*TREADS[:2], odd, part("riser", 1), part("riser", 2), skirt)]
    root = ET.fromstring(linked_stair(shown, lambda words: f'/part?is="{words}"&x', title="The <stair>"))
    links = {link.attrib["href"]: link for link in root.iter("a")}
    assert {to.split('"')[1] for to in links} == {f"1/{w}" for w in ("tread 1", "tread 2", "tread 3", "risers 1-2")} | {
        "1/skirt 1 left"
    }
    assert links['/part?is="1/tread 3"&x'].attrib["aria-label"] == "tread 3: topcoat 1 of 3; not as planned"
    heights = [float(box.attrib["height"]) for link in links.values() for box in link.iter("rect")]
    assert len(heights) == len(links)
    assert min(heights) >= 48
    assert (root.attrib["role"], root.attrib["aria-label"]) == ("group", "The <stair>")
    assert root.attrib["fill"] == "currentColor", "words take the page's ink, which is bright in the dark"

"""What a report says beside the ranking: other lights, the other aim, recipes, doubts, the next photo."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
import report_samples as samples

from finishlab.board import BoardRecord
from finishlab.board.shown import board_details, label_facts
from finishlab.colorimetry.difference import DeltaE, SignedDifference
from finishlab.finish import ColourStep, Finish, Preparation, Seal, Topcoat, ViewingConditions
from finishlab.finish.fields import MixPart
from finishlab.matching.aims import CONTRAST, MATCH, Aim
from finishlab.matching.alternatives import AcrossLights, BoardAcrossLights, Choice, named_light
from finishlab.matching.costs import NextPhoto
from finishlab.quality import doubt
from finishlab.report.pictures import charts
from finishlab.report.story import MOST_TOLD, ReportContent, report_html, report_pages
from finishlab.show.document import Facts, Listing, Table
from finishlab.show.pages import Section, Words

LAMP = "lamp 2700 K"


def section(content: ReportContent, ident: str) -> Section:
    (found,) = [each for each in report_pages(content).sections if each.ident == ident]
    return found


def tables(content: ReportContent) -> list[Table]:
    return [block for block in section(content, "ranking").blocks if isinstance(block, Table)]


def top(content: ReportContent) -> list[str]:
    return [block.text for block in report_pages(content).top if isinstance(block, Words)]


def facts(content: ReportContent, ident: str) -> list[tuple[str, object]]:
    return [row for block in section(content, ident).blocks if isinstance(block, Facts) for row in block.rows]


def steps(content: ReportContent) -> list[str]:
    return [line for block in section(content, "next").blocks if isinstance(block, Listing) for line in block.lines]


def across() -> AcrossLights:
    """Two boards in two lights; in the lamp the other one is nearer."""
    evening = samples.ranking()
    flipped = replace(evening, boards=(evening.boards[1], evening.boards[0], *evening.boards[2:]))
    return AcrossLights(
        lights=(named_light("daylight"), named_light(LAMP)),
        rankings={"daylight": samples.ranking(), LAMP: replace(flipped, light=LAMP)},
        boards=(
            BoardAcrossLights(
                "B2",
                {"daylight": DeltaE(1.6, 0.9, 2.4), LAMP: DeltaE(1.1, 0.2, 2.0)},
                {"daylight": 2, LAMP: 1},
                "daylight",
                1,
                -0.5,
                LAMP,
                DeltaE(0.8, 0.0, 2.1),
            ),
            BoardAcrossLights(
                "B4",
                {"daylight": DeltaE(1.2, 0.5, 2.0), LAMP: DeltaE(3.4, 2.0, 4.9)},
                {"daylight": 1, LAMP: 2},
                LAMP,
                2,
                2.2,
                LAMP,
                DeltaE(2.6, 1.0, 4.2),
                (doubt("one-light", light=LAMP),),
            ),
        ),
        missing=("Photograph B6 by the lamp too",),
    )


def test_every_light_stands_in_one_table() -> None:
    """Each board's difference in each light, its worst light and how far it moves stand in a row, best worst first."""
    content = samples.content(lights=across())
    (table,) = tables(content)
    assert [column.name for column in table.columns[:3]] == ["board", "daylight", LAMP]
    assert [row[0] for row in table.rows] == ["B2", "B4"]
    assert list(table.rows[1][1:5]) == ["1.2", "3.4", LAMP, "+2.2"]
    (other,) = [
        line
        for block in section(content, "ranking").blocks
        if isinstance(block, Listing)
        for line in block.lines
        if line.startswith(LAMP)
    ]
    assert other.startswith(f"{LAMP}: Boards B2, B4 and B6 come closest to the floor")
    text = report_html(content)
    assert other in text
    assert "Photograph B6 by the lamp too." in steps(content)
    assert ("B4", doubt("one-light", light=LAMP).message) in facts(content, "doubts")


def test_with_one_light_there_is_no_table_of_lights() -> None:
    """Where only one light was photographed nothing is said of others."""
    one = replace(across(), lights=(named_light("daylight"),), rankings={"daylight": samples.ranking()})
    content = samples.content(lights=one)
    assert not tables(content)
    assert "In the other lights" not in report_html(content)


def test_both_aims_and_their_cost_are_told() -> None:
    """The best board under each aim, its distance and what it costs under the other stand in a table."""
    choices = (
        Choice(MATCH, "B4", DeltaE(1.2, 0.5, 2.0), 0.52, None, CONTRAST, DeltaE(11.0, 9.0, 12.0), 8.4, "Take B4."),
        Choice(CONTRAST, "B1", DeltaE(3.2, 1.5, 5.0), 0.91, 0.8, MATCH, DeltaE(14.6, 13.0, 16.0), 13.4),
    )
    (table,) = tables(samples.content(choices=choices))
    assert [row[1] for row in table.rows] == ["B4", "B1"]
    assert table.rows[0][-1] == "8.4 farther from the other aim"
    assert "13.4" in str(table.rows[1][-1])


def test_recipes_are_ranked_beside_the_boards() -> None:
    """Recipes pooled over their boards have a table of their own."""
    (table,) = tables(samples.content(recipes=samples.ranking()))
    assert [row[1] for row in table.rows] == [b.board for b in samples.ranking().boards]


def test_the_most_useful_photo_comes_first() -> None:
    """The photo that would settle most heads what to do next."""
    photo = NextPhoto("board with floor", "B2", 0.5, 0.8, "photograph B2 with the floor once more")
    ranking = replace(samples.ranking(), next_photos=(photo,))
    assert steps(samples.content(ranking=ranking))[0] == "Photograph B2 with the floor once more."


def test_another_aim_is_named_and_drawn() -> None:
    """With a contrast the aim is said, boards show their distance from it, and the chart shows it, not the match."""
    aim = Aim("contrast", -12.0, limits=("redder",))
    darker = SignedDifference(-12.0, 0.0, 0.0, 0.0, 0.0)
    boards = tuple(
        replace(b, score=DeltaE(2.0, 1.0, 3.0), within_limits=0.4, difference=darker) for b in samples.ranking().boards
    )
    content = samples.content(ranking=replace(samples.ranking(), aim=aim, boards=boards))
    assert top(content)[-2].startswith("Ranked for: 12 L* darker than the floor, same undertone, no redder")
    assert top(content)[1].startswith("Closest to the contrast: ")
    text = report_html(content)
    assert "12 L* darker than the floor" in text
    assert "<dt>from the aim</dt><dd>2.0 (1.0 to 3.0)</dd>" in text
    assert "<dt>keeps the limits</dt><dd>40 %</dd>" in text
    (chart,) = [d.drawing for d in charts(content, content.spots) if d.ident == "intervals"]
    assert "distance from the aim" in chart.title
    assert "interval 1.0 to 3.0" in chart.words


def test_a_board_without_a_verdict_says_so() -> None:
    """A board on which no verdict may rest yet is marked."""
    first, *rest = samples.ranking().boards
    ranking = replace(samples.ranking(), boards=(replace(first, final=False), *rest))
    assert report_html(samples.content(ranking=ranking)).count("No verdict yet.") == 1


def test_the_answer_stays_short() -> None:
    """When very many boards may be the nearest, the first are named and the rest counted."""
    content = samples.many(30)
    tied = tuple(replace(board, ties=range(1, 2)) for board in content.ranking.boards)
    said = " ".join(top(replace(content, ranking=replace(content.ranking, boards=tied))))
    assert "the photos leave B2, B3, B4 and 26 more open too" in said


def test_boards_of_other_lights_are_counted_not_listed_without_end() -> None:
    """Of very many boards photographed in other lights the first are named and the rest counted."""
    named = tuple(f"B{i}" for i in range(MOST_TOLD + 5))
    told = dict(facts(samples.content(left_out=named), "method"))
    assert str(told["Not photographed in this light"]).endswith(f"B{MOST_TOLD - 1} and 5 more")


def test_details_are_labels_and_values() -> None:
    """What was written down has a row, what was not has none; a board without stain says so where that is meant."""
    rows = {number: dict(board_details(row.record)) for number, row in samples.board_rows().items()}
    assert rows["B4"] == {
        "wood": "ash",
        "stain": "Peat brown",
        "stain coats": "2",
        "topcoat": "water-based matte",
        "date": "2024-05-31",
    }
    assert "stain" not in rows["B7"]
    assert rows["B7"]["topcoat"] == "none on record"


def test_details_hold_the_whole_finish() -> None:
    """Recipe, preparation, steps in order with lot and can, seal, topcoat, state and maker have a row each."""
    finish = Finish(
        Preparation(cut="plain", grits=(80, 120), grain_raised=True),
        (
            ColourStep(kind="oil", maker="Acme", colour="honey", lot="7", can_number=3, wipe_min=10.0),
            ColourStep(mix=(MixPart("honey", 2.0), MixPart("walnut", 1.0)), mix_by="volume", applicator="rag"),
        ),
        Seal(kind="shellac", coats=1),
        Topcoat(kind="other", product="deck oil", sheen="satin", gloss_gu=30.0, coats=3),
        ViewingConditions(place="on a stair"),
    )
    record = BoardRecord("ash", recipe_number=2, state="cured", maker="Ann", finish=finish, date=dt.date(2024, 5, 31))
    assert board_details(record) == (
        ("wood", "ash"),
        ("stain", "Acme honey, then honey + walnut"),
        ("stain coats", "2"),
        ("recipe", "R2"),
        ("piece", "plain"),
        ("preparation", "grits 80-120, grain raised"),
        ("step 1", "Acme honey, oil, lot 7, C3, wiped after 10 min"),
        ("step 2", "mix 2 honey + 1 walnut by volume, with rag"),
        ("seal", "shellac, 1 coat"),
        ("topcoat", "deck oil, sheen satin, gloss at 60 degrees 30 GU, 3 coats"),
        ("lay", "on a stair"),
        ("state", "cured"),
        ("made by", "Ann"),
        ("date", "2024-05-31"),
    )


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        (None, "water polyurethane 1-part, sheen satin, 3 coats"),
        ("satin water polyurethane 1-part", "water polyurethane 1-part, sheen satin, 3 coats"),
        ("the one from the shop", "the one from the shop; water polyurethane 1-part, sheen satin, 3 coats"),
    ],
)
def test_a_topcoat_is_one_line_of_one_name(said: str | None, shown: str) -> None:
    """Said in short and in full it stands once, with whatever the short words say beyond it."""
    finish = Finish(topcoat=Topcoat(kind="water polyurethane 1-part", sheen="satin", coats=3))
    record = BoardRecord("ash", topcoat=said, finish=finish, date=dt.date(2024, 5, 31))
    for rows in (board_details(record), label_facts(record)):
        assert [value for label, value in rows if "topcoat" in label] == [shown]
    bare = replace(record, topcoat=said, finish=None, latest=dt.date.max)
    assert dict(board_details(bare))["topcoat"] == (said or "none on record")


def test_a_path_shows_few_boards_of_one_number_of_coats() -> None:
    """Of many boards with the same stain and coats the three nearest are drawn."""
    content = samples.many(12)
    same = {n: replace(row, record=replace(row.record, stain="Peat brown")) for n, row in content.boards.items()}
    (path,) = [d for d in charts(replace(content, boards=same), content.spots) if d.ident.startswith("coats")]
    assert path.drawing.words.count("1 coat:") == 3
    assert path.drawing.words.count("2 coats:") == 3


def test_coats_of_one_stain_are_drawn_with_the_clear_board() -> None:
    """Boards of one wood, stain and topcoat make a path; the board with that topcoat alone is its start."""
    content = samples.content()
    found = {d.ident: d for d in charts(content, content.spots)}
    assert [d for d in found if d.startswith("coats")] == ["coats1"]
    assert "B1, clear only" in found["coats1"].drawing.words
    assert "B2, 1 coat" in found["coats1"].drawing.words
    assert "B4, 2 coats" in found["coats1"].drawing.words
    assert "B6" not in found["coats1"].drawing.words

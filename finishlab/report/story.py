"""A report: all it shows gathered from a logbook, told as pages, and written."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Final

from finishlab.board.shown import board_details, pooled_lab, what_it_is
from finishlab.cautions import CAUTIONS
from finishlab.colorimetry.spaces import hex_colour
from finishlab.files import write_atomically
from finishlab.matching.aims import MATCH, Aim
from finishlab.rank.comparing import Comparison, compare
from finishlab.rank.documents import (
    aim_line,
    answer,
    as_sentence,
    at_a_glance,
    chance,
    colours_line,
    doubts_once,
    floor_line,
    headline,
    inseparable_lines,
    interval,
    lights_rows,
    next_steps,
    place_mark,
    recipes_rows,
)
from finishlab.record import gathered
from finishlab.report.pictures import MOST_PICTURED, charts, crops_of
from finishlab.show.document import Column, Facts, Listing, Table
from finishlab.show.html import pages_html
from finishlab.show.pages import Block, Card, Cards, Charts, Colours, Figure, Pages, Picture, Pictures, Section, Words

if TYPE_CHECKING:
    from pathlib import Path

    from finishlab.imaging.strip import Paper
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredBoard, StoredSpot
    from finishlab.matching.ranking import RankedBoard, Ranking


MOST_TOLD: Final = 60
"""Boards that are listed; of the rest their number is said."""
_TITLE: Final = "Stair finish and floor"
_RENDERED: Final = "Rendered"
"""How a rendered photo's camera is named, so that no report passes it for a photograph."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportContent(Comparison):
    """Everything a report shows: a comparison, with pictures and what it is called."""

    title: str
    """Name of the project or logbook."""
    made: str
    """Date the report was made, ISO 8601."""
    version: str
    """finishlab's version."""
    spots: tuple[StoredSpot, ...] = ()
    crops: Mapping[str, Picture] = field(default_factory=dict)
    """Pictures by board number."""
    rendered: bool = False
    """The photos are computed pictures of surfaces that do not exist; the report says so."""
    extra: Mapping[str, str] = field(default_factory=dict)
    """Further lines for the method: name -> text (strip number, camera, settings)."""

    @property
    def pictured(self) -> tuple[RankedBoard, ...]:
        """The boards that are drawn, the nearest first."""
        return tuple(self.ranking.boards[:MOST_PICTURED])

    @property
    def told(self) -> Ranking:
        """The ranking of the boards that are listed, the nearest first."""
        return replace(self.ranking, boards=self.ranking.boards[:MOST_TOLD])


def gather_report(
    log: Logbook, *, title: str | None = None, light: str | None = None, aim: Aim = MATCH, other: Aim | None = None
) -> ReportContent:
    """Rank a logbook's boards and gather all that a report shows of them.

    Parameters
    ----------
    log
        An open logbook.
    title
        What the report is headed by.
    light, aim, other
        As `finishlab.rank.comparing.compare` takes them.

    Raises
    ------
    LogbookError
        ``no-floor`` or ``no-boards`` if there is nothing to compare.
    """
    from finishlab.record import today
    from finishlab.version import __version__

    found = compare(log, light=light, aim=aim, other=other).as_measured()
    ranking = found.ranking
    shown = [log.board(board.board) for board in ranking.boards[:MOST_PICTURED]]
    spots = [spot for spot in log.floor_spots() if any(m.light == found.light for m in spot.measurements)]
    return ReportContent(
        **{each.name: getattr(found, each.name) for each in fields(found)},
        title=title or _TITLE,
        made=today().isoformat(),
        version=__version__,
        spots=tuple(spots),
        crops=crops_of(log, shown, found.light, ranking.floor.lab),
        rendered=_is_rendered(log, shown, found.light),
        extra=_extra(log, found),
    )


def report_document(content: ReportContent, *, page: Path, pdf: Path | None) -> dict[str, object]:
    """Return ``finishlab/report/1``: where a report was written, and what it says first."""
    return {
        "format": "finishlab/report/1",
        "page": str(page),
        "pdf": None if pdf is None else str(pdf),
        "title": content.title,
        "light": content.light,
        "answer": answer(content.ranking),
        "rendered": content.rendered,
        "boards": list(content.ranking.numbers),
        "crops": list(content.crops),
    }


def _is_rendered(log: Logbook, boards: Sequence[StoredBoard], light: str) -> bool:
    """Return whether a photo of a board was computed, as the demo's are."""
    from finishlab.errors import LogbookError

    for photo in {measured.photo for board in boards for measured in board.measurements if measured.light == light}:
        try:
            camera = log.photo(photo).camera_model or ""
        except LogbookError:  # its file is gone
            continue
        if camera.startswith(_RENDERED):
            return True
    return False


def _extra(log: Logbook, found: Comparison) -> dict[str, str]:
    from finishlab.strip.trials import trust_line

    strips = log.strips()
    named = ", ".join(f"{number:04d}" for number in strips)
    extra = {"Strip" if len(strips) == 1 else "Strips": named} if strips else {}
    tried = trust_line(found.trust)
    return extra | ({"Trials": tried} if tried else {})


METHOD: Final = (
    "Each photo shows the work beside a printed grey strip. Its greys give the tone curve of the camera, the colour of "
    "the light and how it falls off across the picture, all in one fit; so the photo is brought to linear light. "
    "The surface of board or floor is found, mirrored light and foreign things are left out, and the rest is averaged "
    "as an instrument would and turned into CIELAB (illuminant D65, 2 degree observer). The difference is CIEDE2000 "
    "with its 95 % interval; a board and the floor in one photo weigh more than the two apart. The chance of being "
    "closest comes from drawing many times what the true colours may be; errors that photos share, such as those of "
    "camera and strip, are drawn once for all, because they hardly change the order. The words for a difference are "
    "bands of this tool: no tolerance for stained wood has been published."
)
RENDERED: Final = (
    "The photos behind this report are rendered.",
    "They were computed, not taken: these boards and this floor do not exist. Only the measuring is real.",
)
LABELS_WIN: Final = (
    "The label and the safety data sheet win over anything said here; "
    "for the stair itself the local code and the inspector decide."
)


_RATIO: Final = "\N{MULTIPLICATION SIGN} floor\N{RIGHT SINGLE QUOTATION MARK}s spread"
_SPOTS_BESIDE: Final = "The floor\N{RIGHT SINGLE QUOTATION MARK}s spots edge to edge"
_STAGED: Final = (2, 4)
"""Fewest and most boards shown at the top: those that may be the nearest, or the two nearest."""
_COLUMNS: Final = tuple(
    Column(name, share=share)
    for name, share in (
        ("place", 0.07),
        ("board | floor", 0.13),
        ("what it is, and how it differs", 0.42),
        ("dE00 (95 %)", 0.15),
        ("closest", 0.09),
        ("L*, a*, b*", 0.14),
    )
)
_SPOTS: Final = tuple(
    Column(name, share=share) for name, share in (("spot", 0.1), ("where", 0.42), ("light", 0.24), ("L*, a*, b*", 0.24))
)


def report_pages(content: ReportContent, *, across: int = 2) -> Pages:
    """Return what a report says and shows.

    Parameters
    ----------
    content
        What it holds.
    across
        Swatches of the chart side by side: 2 for a phone, 4 for a sheet of paper.
    """
    found = headline(content.ranking, content.boards)
    doubts, cautions = _doubts(content), [(each.title, each.long) for each in CAUTIONS.values()]
    pictures, boards = tuple(_pictures(content, across)), tuple(_boards(content))
    sections = [
        Section("What to do next", (Listing("", _steps(content), numbered=True),), "next", room=30.0),
        Section("Pictures", pictures, "pictures", room=60.0, folded=True),
        Section("The boards, from the nearest on", boards, "ranking", room=60.0, folded=True),
        Section(
            "The floor", tuple(_floor(content)), "floor", room=min(60.0 + 8.0 * len(content.spots), 150.0), folded=True
        ),
        *([Section("Doubts", (Facts("", doubts),), "doubts", room=30.0, folded=True)] if doubts else []),
        Section("How this was measured", (Words(METHOD), Facts("", tuple(_facts(content)))), "method", folded=True),
        Section("Before you open a can", (Words(LABELS_WIN), Facts("", cautions)), "cautions"),
    ]
    return Pages(
        title=f"{content.title}: {found}",
        subject="Which board comes closest to the floor",
        top=tuple(_top(content, found)),
        sections=tuple(sections),
        foot=f"finishlab {content.version} · {content.title} · {content.made}",
        end=f"Made by finishlab {content.version} on {content.made}. This page holds everything it shows and loads "
        "nothing from elsewhere; its pictures carry no place and no camera data.",
    )


def _top(content: ReportContent, found: str) -> Iterator[Block]:
    ranking = content.ranking
    first = ranking.boards[0]
    light = f" · {content.light}" if content.light else ""
    yield Words(f"{content.title} · {content.made}{light}", "kicker")
    yield Words(found, "title")
    board, floor = hex_colour(first.lab), hex_colour(ranking.floor.lab)
    yield Colours(
        (floor, board, floor),
        f"Board {first.board} between the floor on its left and its right, edge to edge",
        f"In the middle {first.board}, left and right the floor, edge to edge: mean colours, without grain or gloss.",
        large=True,
    )
    for what, told in at_a_glance(ranking, content.boards):
        yield Words(told, strong=what) if what else Words(told, "lead")
    aim = aim_line(ranking)
    if aim:
        yield Words(aim)
    if content.rendered:
        yield Words(RENDERED[1], "notice", strong=RENDERED[0])


def _pictures(content: ReportContent, across: int) -> Iterator[Block]:
    crops = [_told_crop(content, number, crop) for number, crop in content.crops.items()]
    first = min(max(len(content.ranking.leaders), _STAGED[0]), _STAGED[1])
    if crops:
        yield Pictures(crops[:first], large=True)
    yield Charts(charts(content, content.spots, columns=across))
    if crops[first:]:
        yield Words("Cut from the photos", "heading")
        yield Words(
            "Above the ticks the board, below them the floor, all at one scale and corrected for the light. "
            "The photos themselves stay as they are.",
            "note",
        )
        yield Pictures(crops[first:])


def _told_crop(content: ReportContent, number: str, crop: Picture) -> Picture:
    """Say beneath a crop whose grain runs otherwise than the floor's that it looks otherwise by that."""
    crossed = any(
        doubt.code == "grain-directions-differ"
        for board in content.ranking.boards
        if board.board == number
        for doubt in board.doubts
    )
    if not crossed:
        return crop
    told = "the grain of the two runs across each other, which makes one look lighter than it is along the floor's"
    return replace(crop, caption=f"{crop.caption}; {told}")


def _beside(content: ReportContent, board: RankedBoard) -> Colours:
    figures = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*board.lab)
    colours = hex_colour(board.lab), hex_colour(content.ranking.floor.lab)
    return Colours(colours, f"Board {board.board} beside the floor: {figures}")


def _boards(content: ReportContent) -> Iterator[Block]:
    told = content.told.boards
    yield Cards(_COLUMNS, [_card(content, board) for board in told])
    notes = "Of each swatch the left half is the board, the right half the floor; dE00 is CIEDE2000 to the floor."
    if any(board.tied for board in told):
        notes += " The photos leave the order of boards that share a letter open."
    rest = len(content.ranking.boards) - len(told)
    if rest:
        notes += f" {rest} more boards are ranked behind these."
    yield Words(notes, "note")
    yield Listing("What stays open", inseparable_lines(content.ranking))
    yield from _tables(content)


def _card(content: ReportContent, board: RankedBoard) -> Card:
    row = content.boards.get(board.board)
    return Card(
        mark=place_mark(board),
        name=board.board,
        title="" if row is None else what_it_is(row.record),
        colours=_beside(content, board),
        words=board.sentence or as_sentence(board.in_words),
        figures=tuple(_figures(board)),
        warning="" if board.final else "No verdict yet.",
        details=() if row is None else board_details(row.record),
    )


def _figures(board: RankedBoard) -> Iterator[Figure]:
    score = board.score
    yield Figure("difference dE00", f"{board.delta_e00.value:.1f}", "dE00 (95 %)", large=True)
    yield Figure("95 % interval", interval(board.delta_e00), "dE00 (95 %)")
    if score is not None and score != board.delta_e00:
        yield Figure("from the aim", f"{score.value:.1f} ({interval(score)})")
    yield Figure("chance closest", chance(board.probability_closest), "closest")
    if board.within_limits is not None:
        yield Figure("keeps the limits", chance(board.within_limits))
    if board.ratio_to_floor_spread is not None:
        yield Figure(_RATIO, f"{board.ratio_to_floor_spread:.1f}")
    if board.colours_e00 is not None:
        yield Figure("colour by colour", f"{board.colours_e00:.1f}")
    yield Figure("L*, a*, b*", _lab(board.lab), "L*, a*, b*")
    if board.photos:
        yield Figure("photos (with floor)", f"{board.photos} ({board.pairs})")


def _lab(lab: Sequence[float]) -> str:
    return ", ".join(f"{value:.1f}" for value in lab)


def _floor(content: ReportContent) -> Iterator[Block]:
    pool = content.ranking.floor
    lines = [floor_line(pool)]
    if content.ranking.boards:
        lines.append(colours_line(content.ranking.boards[0], pool.colours_e00))
    yield from (Words(line) for line in lines if line)
    spots = [(spot, lab) for spot in content.spots if (lab := pooled_lab(spot)) is not None]
    if spots:
        named = ", ".join(spot.number for spot, _ in spots)
        yield Colours(tuple(hex_colour(lab) for _, lab in spots), f"{_SPOTS_BESIDE}: {named}")
        yield Table(
            _SPOTS, [(spot.number, spot.record.spot or "", spot.record.light, _lab(lab)) for spot, lab in spots]
        )


def _facts(content: ReportContent) -> Iterator[tuple[str, str]]:
    """Return what stands beneath the method: a label and a value."""
    if content.light:
        yield "Light", content.light
    if content.left_out:
        rest = len(content.left_out) - MOST_TOLD
        yield (
            "Not photographed in this light",
            ", ".join(content.left_out[:MOST_TOLD]) + (f" and {rest} more" if rest > 0 else ""),
        )
    yield from content.extra.items()


def _doubts(content: ReportContent) -> list[tuple[str, str]]:
    """Return whom each doubt is about, and its sentence."""
    found = doubts_once(content.told)
    if content.lights is not None:
        listed = {board.board for board in content.told.boards}
        said = {sentence for _, sentence in found}
        about = [("lights", content.lights.doubts)]
        about += [(each.board, each.doubts) for each in content.lights.boards if each.board in listed]
        by_sentence = gathered((doubt.message, who) for who, doubts in about for doubt in doubts)
        found += [(", ".join(dict.fromkeys(who)), text) for text, who in by_sentence.items() if text not in said]
    return found


def _steps(content: ReportContent) -> list[str]:
    missing = () if content.lights is None else content.lights.missing
    steps = next_steps(content.ranking, content.boards, missing)
    return list(dict.fromkeys(as_sentence(step) for step in steps))


def _tables(content: ReportContent) -> Iterator[Block]:
    if content.lights is not None and len(content.lights.lights) > 1 and content.lights.boards:
        yield Listing(
            "In the other lights by themselves",
            [f"{name}: {answer(other)}" for name, other in content.lights.rankings.items() if name != content.light],
        )
        yield _table(
            "In every light",
            "Boards seen in every light, the best by its worst light first. A match holds only if it holds in all of "
            "them. The figures are dE00 to the floor in that light; moves is how much farther off the board is there "
            "than in the first light; metamerism is what is left in the other light once the difference in the first "
            "is taken out (after ISO 18314-4), and cannot be told where the errors of the photos hold both none and "
            "more than 1.",
            *lights_rows(content.lights, MOST_TOLD),
        )
    if content.choices:
        rows = [
            (
                as_sentence(choice.aim.in_words).rstrip("."),
                choice.board,
                f"{choice.score.value:.1f} ({interval(choice.score)})",
                chance(choice.probability_best),
                f"{choice.cost:.1f} farther from the other aim",
            )
            for choice in content.choices
        ]
        yield _table(
            "To match, or to stand off on purpose",
            "The best board under each aim, and what choosing it costs under the other. A step in lightness with the "
            "same undertone is a choice of its own, not a match that failed.",
            ("aim", "best board", "distance from the aim", "chance to be best", "what it costs"),
            rows,
        )
    if content.recipes is not None and content.recipes.boards:
        yield _table(
            "By recipe",
            "All boards of one recipe together; what differs from board to board of one recipe is in the interval.",
            *recipes_rows(content.recipes, MOST_TOLD),
        )


def _table(title: str, note: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    return Table([Column(name) for name in head], rows, title, note)


def report_html(content: ReportContent) -> str:
    """Return a report as the text of a page."""
    return pages_html(report_pages(content))


def report_pdf(content: ReportContent, *, paper: Paper = "a4") -> tuple[bytes, str]:
    """Return a report as the bytes of a PDF, and the letters that stand as ``?`` in it, as no font here has them."""
    from finishlab.photos.profiles import matrix_profile
    from finishlab.show.pdf import REPORT, pages_pdf
    from finishlab.show.sheets import letters_missing

    pages = report_pages(content, across=4)
    return pages_pdf(pages, REPORT, matrix_profile("sRGB"), paper=paper), letters_missing(pages)


def write_report(
    content: ReportContent, *, page: Path | None = None, pdf: Path | None = None, paper: Paper = "a4"
) -> str:
    """Write a report; return the letters that no font could print in its PDF.

    Parameters
    ----------
    content
        What it holds.
    page
        Where the HTML page goes; None writes none.
    pdf
        Where the PDF goes; None writes none.
    paper
        Size of the PDF's pages.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    if page is not None:
        write_atomically(page, report_html(content).encode("utf-8", "replace"))
    if pdf is None:
        return ""
    data, missing = report_pdf(content, paper=paper)
    write_atomically(pdf, data)
    return missing

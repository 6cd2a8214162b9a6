"""Labels, schedule and house file, drawn to pixels and read back."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import cv2
import numpy as np
import pypdfium2
import pytest
import report_samples as samples
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from logbook_makers import make_photo, measurement

from finishlab.board import BoardRecord, PhotoRecord
from finishlab.cli.lazy import finishlab
from finishlab.errors import LogbookError, UsageError
from finishlab.finish import ColourStep, Finish, Preparation, Topcoat
from finishlab.imaging.strip import Paper
from finishlab.logbook.store import Logbook
from finishlab.measure.results import Measurement
from finishlab.photos.profiles import matrix_profile
from finishlab.printing.commands import LABEL_SHEETS
from finishlab.printing.house_file import house_pages
from finishlab.printing.labels import (
    QR_LEAST,
    SHEETS,
    LabelView,
    label_views,
    labels_pdf,
    qr_text,
    split_wish,
)
from finishlab.printing.schedule import SchedulePart, ScheduleStep, ScheduleView, finish_steps, schedule_pdf
from finishlab.recipe import Can, Label, Recipe
from finishlab.record import address
from finishlab.report.story import report_pdf
from finishlab.show.document import Column, Facts, Listing, Table
from finishlab.show.pages import Card, Cards, Colours, Pages, Picture, Pictures, Section, Swatch, Swatches, Words
from finishlab.show.pdf import HOUSE, REPORT, Setter, pages_pdf
from finishlab.show.sheets import (
    DEJAVU,
    POINTS_PER_MM,
    font_runs,
    letters_missing,
    line_width,
    qr_modules,
    shortened,
    unprintable,
)
from finishlab.stair.records import Flight, Part, PartEvent

DPI = 300
DAY = dt.date(2024, 5, 31)
LONG = "Golden brown oil stain in two coats under a water polyurethane with a very long name, satin, anti-slip"
LABELS = (
    LabelView("B3", "finishlab:board/B3?logbook=stairs", "R1 honey, satin", "red oak", DAY, "candidate"),
    LabelView("2/tread 7", "finishlab:part/2.T7?logbook=stairs", LONG, "flight 2, to the attic", DAY, "914 x 292 mm"),
    LabelView("riser 12", "finishlab:part/1.R12", None, "flight 1", DAY, None, "top edge", "right"),
)


class Drawn:
    """The text of a PDF's pages, and the pages at 300 dpi where they are looked at."""

    def __init__(self, pdf: bytes) -> None:
        self.pdf = pdf
        document = pypdfium2.PdfDocument(pdf)
        self.sizes, self.texts = [], []
        for page in document:
            self.sizes.append(tuple(side / POINTS_PER_MM for side in page.get_size()))
            self.texts.append(" ".join(page.get_textpage().get_text_range().split()))
            page.close()
        document.close()

    @cached_property
    def pages(self) -> list[np.ndarray]:
        """Each page, shape (H, W, 3), blue first."""
        document = pypdfium2.PdfDocument(self.pdf)
        found = []
        for page in document:
            found.append(page.render(scale=DPI / 72).to_numpy().copy())
            page.close()
        document.close()
        return found

    def part(self, x: float, y: float, width: float, height: float, page: int = 0) -> np.ndarray:
        """Return a rectangle of a page, in mm."""
        px = self.pages[page].shape[1] / self.sizes[page][0]
        py = self.pages[page].shape[0] / self.sizes[page][1]
        found: np.ndarray = self.pages[page][
            round(y * py) : round((y + height) * py), round(x * px) : round((x + width) * px)
        ]
        return found


def read_code(pixels: np.ndarray) -> tuple[str, float]:
    """Return a QR code's text and its side in mm."""
    text, corners, _ = cv2.QRCodeDetector().detectAndDecode(np.ascontiguousarray(pixels))
    assert corners is not None, "no code found"
    return text, float(np.linalg.norm(corners[0][1] - corners[0][0]) / DPI * 25.4)


@pytest.mark.parametrize("name", SHEETS)
def test_codes_are_read_on_every_sheet(name: str) -> None:
    """At 300 dpi OpenCV reads each label's code: it is at least 15 mm wide and begins with the record's address."""
    sheet = SHEETS[name]
    drawn = Drawn(labels_pdf(LABELS, sheet, start=2))
    for index, label in enumerate(LABELS, start=1):
        place = sheet.place(index)
        text, side = read_code(drawn.part(place.x, place.y, place.width, place.height))
        assert text.split("\n")[0] == label.address
        assert text.split("\n")[1].startswith(label.number)
        assert side >= QR_LEAST - 0.3


def test_code_says_what_the_label_says() -> None:
    """Where there is room the code holds all of the label's words after the address."""
    sheet = SHEETS["a4-2x4"]
    place = sheet.place(0)
    text, _ = read_code(Drawn(labels_pdf(LABELS, sheet)).part(place.x, place.y, place.width, place.height))
    assert text == "finishlab:board/B3?logbook=stairs\nB3, R1 honey, satin, red oak, 2024-05-31, candidate"


def test_code_keeps_letters_the_paper_cannot_print() -> None:
    """Letters of any script come back whole out of the code, while the paper names them as missing."""
    label = LabelView("B1", "finishlab:board/B1", "R1 بلوط")
    sheet = SHEETS["a4-plain"]
    place = sheet.place(0)
    text, _ = read_code(Drawn(labels_pdf([label], sheet)).part(place.x, place.y, place.width, place.height))
    assert text.endswith("R1 بلوط")
    assert set(letters_missing([label])) == set("بلوط")


@pytest.mark.parametrize("name", SHEETS)
def test_code_has_its_quiet_zone(name: str) -> None:
    """Four modules around each code hold no ink, except towards the label's own rim, where paper is bare as well."""
    sheet = SHEETS[name]
    drawn = Drawn(labels_pdf(LABELS[:1], sheet))
    place = sheet.place(0)
    pixels = drawn.part(place.x, place.y, place.width, place.height)
    _, corners, _ = cv2.QRCodeDetector().detectAndDecode(np.ascontiguousarray(pixels))
    (left, top), (right, bottom) = corners[0].min(axis=0), corners[0].max(axis=0)
    module = (right - left) / len(qr_modules(read_code(pixels)[0]))
    ink: np.ndarray = np.any(pixels < 128, axis=2)
    rim = 3  # a cut line may run along the label's edge
    ink[:rim], ink[-rim:], ink[:, :rim], ink[:, -rim:] = False, False, False, False
    inside = (slice(int(top) - 1, int(bottom) + 3), slice(int(left) - 1, int(right) + 3))
    ink[inside] = False
    columns = slice(max(int(left - 3.5 * module), 0), int(right + 3.5 * module))
    rows = slice(max(int(top), 0), int(bottom + 3.5 * module))
    assert not ink[rows, columns].any()


@pytest.mark.parametrize("name", SHEETS)
def test_label_outlines_are_true(name: str) -> None:
    """Each label's outline lies within 0.5 mm of the sheet's measures, and the page has the paper's size."""
    sheet = SHEETS[name]
    drawn = Drawn(labels_pdf(LABELS[:1], sheet, start=sheet.labels, outlines=True))
    assert drawn.sizes[0] == pytest.approx(sheet.page_size, abs=0.01)
    px = drawn.pages[0].shape[1] / sheet.page_size[0]
    for index in (0, sheet.labels - 2):
        place = sheet.place(index)
        middle = drawn.part(place.x - 0.9, place.y + place.height / 2 - 0.2, place.width + 1.8, 0.4)
        upright = drawn.part(place.x + place.width / 2 - 0.2, place.y - 0.9, 0.4, place.height + 1.8)
        for profile, length in ((middle.min(axis=(0, 2)), place.width), (upright.min(axis=(1, 2)), place.height)):
            edges = np.flatnonzero(profile < 230) / px - 0.9
            assert edges[np.abs(edges).argmin()] == pytest.approx(0, abs=0.5)
            assert edges[np.abs(edges - length).argmin()] == pytest.approx(length, abs=0.5)


def test_sheets_are_documented() -> None:
    """docs/print.md and the command's choices name every sheet, with its measures."""
    page = (Path(__file__).parents[1] / "docs" / "print.md").read_text(encoding="utf-8")
    for name, sheet in SHEETS.items():
        size = f"{sheet.width:.8g} x {sheet.height:.8g} | {sheet.pitch_x:.8g} x {sheet.pitch_y:.8g}"
        (row,) = [line for line in page.splitlines() if line.startswith(f"| `{name}` |")]
        assert f"{sheet.columns} x {sheet.rows}" in row
        assert size in row
    assert tuple(SHEETS) == LABEL_SHEETS


@pytest.mark.parametrize("name", SHEETS)
def test_labels_keep_inside_their_place(name: str) -> None:
    """However long the words, ink keeps 1.5 mm inside the label, and the number is whole."""
    sheet = SHEETS[name]
    label = LabelView("2/landing board 12", "finishlab:part/2.LB12", LONG * 2, "x" * 150, DAY, LONG * 3)
    drawn = Drawn(labels_pdf([label], SHEETS[name], start=2))
    place = sheet.place(1)
    ink = np.any(drawn.pages[0] < 128, axis=2)
    px = drawn.pages[0].shape[1] / sheet.page_size[0]
    if not sheet.cut_lines:
        rows, columns = np.flatnonzero(np.any(ink, axis=1)) / px, np.flatnonzero(np.any(ink, axis=0)) / px
        assert rows.min() > place.y + 1.5
        assert rows.max() < place.bottom - 1.5
        assert columns.min() > place.x + 1.5
        assert columns.max() < place.right - 1.5
    assert "2/landing board 12" in drawn.texts[0]


def test_labels_go_on_over_pages_and_start_later() -> None:
    """Labels start at the one asked for and go on over as many sheets as they need."""
    sheet = SHEETS["a4-2x4"]
    labels = [LabelView(f"B{n}", f"finishlab:board/B{n}") for n in range(1, 12)]
    drawn = Drawn(labels_pdf(labels, sheet, start=7))
    assert len(drawn.pages) == 3
    place = sheet.place(6)
    assert read_code(drawn.part(place.x, place.y, place.width, place.height))[0].startswith("finishlab:board/B1\n")
    first = sheet.place(0)
    assert drawn.part(first.x, first.y, first.width, first.height).min() == 255
    assert read_code(drawn.part(first.x, first.y, first.width, first.height, 1))[0].startswith("finishlab:board/B3\n")


def test_label_text_is_complete() -> None:
    """Number, recipe, place, date, text and both directions can be read out of the PDF."""
    words = Drawn(labels_pdf(LABELS, SHEETS["a4-2x4"])).texts[0]
    for expected in (
        "B3",
        "R1 honey, satin",
        "red oak",
        "2024-05-31",
        "LEFT END",
        "FRONT EDGE",
        "TOP EDGE",
        "to the attic",
    ):
        assert expected in words
    assert LONG.rsplit(maxsplit=1)[-1] in words


def test_left_end_points_the_right_way() -> None:
    """The arrow to the left end points left on a tread's underside and right on a riser's back."""
    sheet = SHEETS["a4-2x4"]
    drawn = Drawn(labels_pdf([LABELS[0], LABELS[2]], sheet))
    for index, tip_left in ((0, True), (1, False)):
        place = sheet.place(index)
        x = place.x + 2.0 if tip_left else place.right - 2.0 - 3.3
        ink = (drawn.part(x - 0.2, place.y + 2.5, 3.6, 3.0) < 128).any(axis=2).sum(axis=0)
        heavy = np.flatnonzero(ink == ink.max()).mean() / len(ink)
        assert heavy < 0.6 if tip_left else heavy > 0.4
        assert (ink[: len(ink) // 2].sum() > ink[len(ink) // 2 :].sum()) == tip_left


def test_same_labels_are_same_bytes() -> None:
    """The same labels give the same file."""
    sheet = SHEETS["letter-2x5"]
    assert labels_pdf(LABELS, sheet) == labels_pdf(LABELS, sheet)


@pytest.mark.parametrize("name", SHEETS)
def test_the_labels_of_a_sheet_lie_apart_and_within_its_page(name: str) -> None:
    """No two labels of a sheet overlap, and none lies beyond the page."""
    sheet = SHEETS[name]
    assert min(sheet.columns, sheet.rows) >= 1
    assert sheet.pitch_x >= sheet.width - 1e-6
    assert sheet.pitch_y >= sheet.height - 1e-6
    assert min(sheet.left, sheet.top) >= 0


@settings(max_examples=60)
@given(st.text(alphabet="abcdefg WM ", min_size=1, max_size=120), st.floats(12, 60))
def test_a_shortened_line_keeps_its_place(words: str, width: float) -> None:
    """A line is never wider than its place; it is cut only where it was, and says so."""
    found = shortened(words, width=width, cap=3.0)
    assert line_width(found, cap=3.0) <= width + 1e-6
    assert found == words or (found.endswith("…") and line_width(words, cap=3.0) > width)


def test_a_figure_keeps_its_unit() -> None:
    """A line is never broken between a figure and its unit."""
    for width in range(25, 180):
        words = Setter(HOUSE, width, 400).text("label: after 24 h, within 48 h; thinner 5 %", "plain")
        words.wrap(width, 400)
        lines = [line.words for line in words.blPara.lines] if words.frags[1:] else words.blPara.lines
        assert len(lines) > 0
        assert not any(str(line[-1][0]).rstrip(",;") in {"h", "%"} for line in lines if isinstance(line, tuple))


def test_letters_are_printed_or_named() -> None:
    """Western letters are Helvetica's; Polish ones are embedded; what has no font is a question mark, and named."""
    assert font_runs("Größe") == [("Helvetica", "Größe")]
    ((font, piece),) = font_runs("Łukasz", bold=True)
    assert (font.startswith("finishlab-"), piece) == (True, "Łukasz")
    assert font_runs("\N{ARABIC LETTER BEH}") == [("Helvetica", "?")]
    assert unprintable(["oak", None, "Łódź \N{ARABIC LETTER BEH}"]) == "\N{ARABIC LETTER BEH}"


@pytest.mark.parametrize(
    ("told", "text"),
    [
        (address("board", "B3", "my stairs & co"), "finishlab:board/B3?logbook=my%20stairs%20%26%20co"),
        (address("part", "2.T7"), "finishlab:part/2.T7"),
        (address("recipe", "R1", "Łódź"), "finishlab:recipe/R1?logbook=%C5%81%C3%B3d%C5%BA"),
    ],
)
def test_an_address_is_a_uri(told: str, text: str) -> None:
    """An address is written as documented, and a library that reads URIs finds its parts (RFC 3986)."""
    assert told == text
    read = urlsplit(told)
    assert (read.scheme, read.netloc, read.fragment) == ("finishlab", "", "")
    assert set(parse_qs(read.query)) <= {"logbook"}


def schedule(parts: int, *, done: bool = False) -> ScheduleView:
    steps = (
        ScheduleStep("Sand", "grits 80-100-120"),
        ScheduleStep(
            "Stain 1: Acme golden brown", "oil, rag, wiped after 10 min; can C1 (lot 4711)", "24 h to the next step"
        ),
        ScheduleStep("Topcoats 1 to 3", "satin; rub out with 220 between coats", "4 h between coats"),
    )
    rows = tuple(SchedulePart(f"tread {n}", {"sanded": "05-31"} if done else {}) for n in range(1, parts + 1))
    columns = ("sanded", "stain", "topcoat 1", "topcoat 2", "topcoat 3")
    return ScheduleView(
        "R1 honey, satin", "The standard.", steps, columns, rows, ("Rags burn.",), "The label wins.", DAY
    )


ABROAD = "Орех, Καρυδιά"  # noqa: RUF001 - Cyrillic and Greek on purpose


def test_greek_and_cyrillic_are_printed_wherever_names_stand(folder: Path, tmp_path: Path) -> None:
    """Labels, schedule, house file and report hold the words themselves; nothing is reported missing."""
    assert unprintable([ABROAD]) == ""
    with Logbook.open(folder) as log:
        log.edit_recipe("R1", name=ABROAD)
        log.edit_can("C1", place=ABROAD)
    for command in ("labels", "schedule", "house-file"):
        target = tmp_path / f"{command}.pdf"
        run(folder, command, "-o", str(target))
        words = " ".join(Drawn(target.read_bytes()).texts)
        assert ABROAD in words
        assert "?" not in words
    report = samples.content(title=ABROAD)
    data, missing = report_pdf(report)
    assert ABROAD in Drawn(data).texts[0]
    assert missing == ""


def test_letters_without_a_font_are_marked_and_named(folder: Path, tmp_path: Path) -> None:
    """A letter no font has stands as a question mark; what it was is said, and a note on the paper says why."""
    strange = "\N{ARABIC LETTER BEH}"
    with Logbook.open(folder) as log:
        log.edit_recipe("R1", name=f"honey {strange}")
    for command in ("schedule", "house-file"):
        target = tmp_path / f"{command}.pdf"
        told = run(folder, command, "-o", str(target)).stderr
        assert f"No font on this computer can print “{strange}”" in told
        words = " ".join(Drawn(target.read_bytes()).texts)
        assert "honey ?" in words
        assert "the logbook holds it" in words
    report = samples.content(title=f"Stairs {strange}")
    data, missing = report_pdf(report)
    assert missing == strange
    words = " ".join(Drawn(data).texts)
    assert "Stairs ?" in words
    assert "the logbook holds it" in words


def test_text_in_dejavu_takes_other_fonts_only_for_what_it_has_not() -> None:
    """In DejaVu Sans Western, Greek and Cyrillic letters are its own; a letter no font has is a question mark."""
    ((font, piece),) = font_runs("Größe Ж Ω", face=DEJAVU)
    assert (font, piece) == ("finishlab-DejaVuSans", "Größe Ж Ω")
    assert font_runs("a\N{ARABIC LETTER BEH}", face=DEJAVU) == [("finishlab-DejaVuSans", "a?")]


def test_schedule_is_one_page_for_a_flight() -> None:
    """Steps, times, fourteen parts, their columns and the cautions are on one page of the paper's size."""
    for paper, size in (("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))):
        drawn = Drawn(schedule_pdf(schedule(14), paper=paper))  # type: ignore[arg-type]  # of those two
        assert len(drawn.pages) == 1
        assert drawn.sizes[0] == pytest.approx(size, abs=0.01)
        for expected in ("R1 honey, satin", "Sand", "24 h to the next step", "tread 1", "tread 14", "topcoat 3",
                         "Rags burn.", "The label wins.", "2024-05-31"):  # fmt: skip
            assert expected in drawn.texts[0]


def font_sizes(pdf: bytes) -> list[float]:
    """Return the size in points of every letter of a PDF."""
    document = pypdfium2.PdfDocument(pdf)
    found = []
    for page in document:
        text = page.get_textpage()
        found += [pypdfium2.raw.FPDFText_GetFontSize(text, n) for n in range(text.count_chars())]
    document.close()
    return [size for size in found if size > 1]  # spaces between words have none of their own


def full_schedule(parts: int, columns: int = 6) -> ScheduleView:
    """A schedule with nine steps, two flights' names and many coats."""
    view = schedule(0)
    usual = "label: after 24 h; usual: 24 to 72 h under another product"
    steps = tuple(
        ScheduleStep(f"Stain {n}: Acme golden brown", "oil, rag, wiped after 10 min", usual) for n in range(8)
    )
    named = ("sanded", *(f"topcoat {n}" for n in range(1, columns)))
    rows = tuple(SchedulePart(f"{1 + n // 10}/tread {n % 10 + 1}", {"sanded": "05-31"}) for n in range(parts))
    cautions = ("Rags with oil can catch fire by themselves; dry them flat outdoors, never in a pile.",) * 5
    return replace(view, steps=steps, columns=named, parts=rows, cautions=cautions, usual="Usual hours hold at 21 C.")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_twenty_treads_stay_on_one_page_that_can_be_read(paper: Paper) -> None:
    """Twenty treads of two flights with eight steps of three lines are one page, and no letter is below 8 pt."""
    pdf = schedule_pdf(full_schedule(20), paper=paper)
    drawn = Drawn(pdf)
    assert len(drawn.pages) == 1
    assert all(f"2/tread {n}" in drawn.texts[0] for n in range(1, 11))
    assert "Usual hours hold at 21 C." in drawn.texts[0]
    assert min(font_sizes(pdf)) >= 8 - 1e-3
    assert min(squares(drawn.pages[0])) > 3


def test_more_coats_than_a_page_is_wide_go_on_under_the_parts_names() -> None:
    """Thirteen columns are two tables, each with every part; none is left out and none is below 8 pt."""
    pdf = schedule_pdf(full_schedule(12, columns=13))
    words = " ".join(Drawn(pdf).texts)
    assert all(f"topcoat {n}" in words for n in range(1, 13))
    assert words.count("1/tread 4") == 2
    assert min(font_sizes(pdf)) >= 8 - 1e-3


def test_schedule_has_a_box_for_each_part_and_coat() -> None:
    """Each part has one empty square box of 4.5 mm a column; what is done is ticked."""
    bare, ticked = Drawn(schedule_pdf(schedule(6))), Drawn(schedule_pdf(schedule(6, done=True)))
    boxes = squares(bare.pages[0])
    assert len(boxes) == 6 * 5
    assert boxes == pytest.approx([4.5] * 30, abs=0.15)  # not two pixels
    assert len(squares(ticked.pages[0])) == 6 * 4  # one column is ticked
    assert "05-31" in ticked.texts[0]


def squares(page: np.ndarray) -> list[float]:
    """Return the sides in mm of empty square frames, from the middle of one line to the middle of the other."""
    ink: np.ndarray = np.where(np.any(page < 128, axis=2), 255, 0).astype(np.uint8)
    outlines, (levels,) = cv2.findContours(ink, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    found = []
    for outline, (_, _, _, parent) in zip(outlines, levels, strict=True):
        if parent < 0:
            continue
        x, y, inner, inner_high = cv2.boundingRect(outline)
        _, _, outer, outer_high = cv2.boundingRect(outlines[parent])
        empty = not ink[y + 4 : y + inner_high - 4, x + 4 : x + inner - 4].any()
        whole = empty and cv2.contourArea(outline) > 0.97 * (inner - 1) * (inner_high - 1)
        if (
            whole
            and inner > 40
            and abs(inner - inner_high) < 3
            and 0 < outer - inner < 12
            and outer_high - inner_high < 12
        ):
            found.append((inner + outer) / 2 / DPI * 25.4)
    return found


def test_schedule_goes_on_overleaf() -> None:
    """Parts that one page cannot hold go on over further pages, none lost, and steps stay large enough to read."""
    drawn = Drawn(schedule_pdf(schedule(70)))
    words = " ".join(drawn.texts)
    assert len(drawn.pages) > 1
    assert all(f"tread {n}" in words for n in range(1, 71))
    assert all("topcoat 3" in text for text in drawn.texts)


def test_nothing_is_printed_off_the_page() -> None:
    """With long words and many steps, ink keeps 4 mm inside the page."""
    view = schedule(9)
    long = ScheduleView(
        LONG * 2, LONG * 2, tuple(ScheduleStep(LONG, LONG * 2, LONG) for _ in range(9)), view.columns,
        (SchedulePart("n" * 90, {}),), (LONG * 3,), LONG, DAY,
    )  # fmt: skip
    for page in Drawn(schedule_pdf(long)).pages:
        ink = np.argwhere((page < 128).any(axis=2)) / DPI * 25.4
        assert ink.min() > 4
        assert ink[:, 1].max() < 210 - 4
        assert ink[:, 0].max() < 297 - 4


def test_house_file_holds_swatches_true_and_photos() -> None:
    """Swatches have their sRGB colour to one code; text goes over pages, none lost; photos are on the page."""
    picture = cv2.imencode(".jpg", np.full((60, 90, 3), (10, 200, 30), np.uint8))[1].tobytes()
    lines = tuple((f"line {n}", LONG) for n in range(60))
    pages = Pages(
        "House", "All of it", (), foot="House",
        sections=(
            Section("Lines", (Facts("", lines),)), Section("Colours", (Swatches([Swatch("B1", "L* 50", "#a47c57")]),)),
            Section("Photos", (Pictures([Picture(picture, "B1 (daylight)", "B1")]),)),
        ),
    )  # fmt: skip
    drawn = Drawn(pages_pdf(pages, HOUSE))
    words = " ".join(drawn.texts)
    assert all(f"line {n}" in words for n in range(60))
    assert "B1 (daylight)" in words
    for colour, off in ((np.array((0x57, 0x7C, 0xA4)), 0), (np.array((10, 200, 30)), 5)):
        assert sum(np.count_nonzero(cv2.inRange(page, colour - off, colour + off)) for page in drawn.pages) > 100_000


def test_a_long_table_keeps_its_head_and_a_long_value_its_lines() -> None:
    """A table repeats its head on every sheet it needs; a value longer than a sheet goes on; nothing is lost."""
    rows = [(f"C{n}", f"word{n} " * 12) for n in range(1, 120)]
    told = "\n".join(f"entry {n}" for n in range(200))
    for look in (HOUSE, REPORT):
        table = Table([Column("number", share=0.2), Column("told", share=0.8)], rows)
        pages = Pages(
            "t", "s", (), [Section("Table", (table,)), Section("Long", (Facts("", [("name", told)]),))], "foot"
        )
        texts = Drawn(pages_pdf(pages, look)).texts
        whole = " ".join(texts)
        assert all(whole.count(f"word{n} ") == 12 for n in range(1, 120))
        assert all(f"entry {n}" in whole for n in range(200))
        with_rows = [text for text in texts if re.search(r"\bword\d+", text)]
        assert len(with_rows) > 2
        assert all("number" in text for text in with_rows)
        assert all(f"page {n}" in text for n, text in enumerate(texts, start=1))


def test_words_as_long_as_they_can_be_stop_no_sheet() -> None:
    """Names, captions, cells and cards of thousands of letters go on over sheets, and a caption is cut."""
    long, picture = "word " * 800, Picture(samples.jpeg(), "word " * 800, "wood", 120.0)
    card = Card("1", "B1", long, Colours(("#a47c57", "#777777"), "wood"), long, (), details=(("note", "other " * 800),))
    blocks = (
        Words(long), Facts("", [(long, long)]), Listing("", [long]), Table([Column("a"), Column("b")], [("a", long)]),
        Pictures([picture]),
    )  # fmt: skip
    for look, more in ((HOUSE, ()), (REPORT, (Cards([Column(name) for name in "abc"], [card]),))):
        pages = Pages("t", "s", (Words(long[:200], "title"),), [Section(long[:200], (*blocks, *more))], long)
        assert " ".join(Drawn(pages_pdf(pages, look)).texts).count("word ") > 3900


def test_a_picture_knows_its_size() -> None:
    """Width and height come from the JPEG's own header, whatever segments stand before it."""
    for height, width in ((60, 90), (300, 17)):
        data = cv2.imencode(".jpg", np.zeros((height, width, 3), np.uint8))[1].tobytes()
        assert Picture(data, "", "grey").size == (width, height)
    assert Picture(samples.jpeg(icc_profile=matrix_profile("sRGB")), "", "grey").size == (480, 288)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a logbook with a board, two recipes, cans, a stair and some work done."""
    place = tmp_path / "my stairs"
    finish = Finish(
        Preparation(grits=(80, 100, 120)),
        (ColourStep(kind="oil", colour="golden brown", can_number=1, wipe_min=10, next_h=24),),
        None,
        Topcoat(kind="water polyurethane 1-part", can_number=2, sheen="satin", coats=3, recoat_h=4, rubout_grit=220),
    )
    with Logbook.open(place, who="Anna") as log:
        path, photo = make_photo(tmp_path / "photos")
        log.keep_photo(path, photo)
        log.add_can(Can("oil stain", "golden brown", "Acme", "4711", 1.0, 0.4, "cellar shelf", date=DAY))
        label = Label(recoat_h=3, recoat_within_h=24, use_h=72, cure_d=14)
        log.add_can(Can("water polyurethane 1-part", "satin", "Northwood", "A-22", label=label, date=DAY))
        log.add_recipe(Recipe("honey, satin", finish))
        log.add_board(BoardRecord("red oak", date=DAY, recipe_number=1), [measurement(photo)])
        parts = [Part(1, "tread", n, recipe_number=1, species="red oak") for n in (1, 2, 3)]
        log.add_flights({1: Flight(risers=4)}, [*parts, Part(1, "riser", 1)])
        first = log.stair_parts()[0]
        log.log_events([(first.ident, PartEvent("sanded", DAY)),
                        (first.ident, PartEvent("coat", DAY, "stain", 1, 1, 1, deviation="wiped late"))])  # fmt: skip
    return place


def run(folder: Path, *args: str) -> Any:
    return CliRunner().invoke(
        finishlab, ["--logbook", str(folder), *args], standalone_mode=False, catch_exceptions=False
    )


@pytest.mark.parametrize(
    ("words", "every", "parts"),
    [
        (("boards",), True, ""),
        (("all", "boards"), True, ""),
        (("boards,", "all", "treads"), True, "all treads"),
        (("landing", "boards", "1-6"), False, "landing boards 1-6"),
        (("all", "landing", "boards"), False, "all landing boards"),
        (("treads", "1-6"), False, "treads 1-6"),
    ],
)
def test_all_boards_are_named_by_the_word(words: tuple[str, ...], every: bool, parts: str) -> None:
    """The word alone means every test board; the boards of a landing are parts of the stair."""
    wish = split_wish(words)
    assert (wish.boards, wish.all_boards, wish.parts) == ((), every, parts)


def test_labels_of_all_boards_and_no_treads(folder: Path) -> None:
    """With the word “boards” the test boards are labelled and nothing else."""
    with Logbook.open(folder) as log:
        assert [view.number for view in label_views(log, split_wish(("boards",)), date=DAY)] == ["B1"]


@pytest.mark.parametrize(
    ("words", "boards", "parts"),
    [
        (("B1", "b2"), ("B1", "B2"), ""),
        (("B1,B2", "treads", "3-9"), ("B1", "B2"), "treads 3-9"),
        (("treads", "1,3", "B4"), ("B4",), "treads 1 , 3"),
        ((), (), ""),
    ],
)
def test_boards_and_parts_are_told_apart(words: tuple[str, ...], boards: tuple[str, ...], parts: str) -> None:
    """Board numbers are taken out of the words; the rest names parts."""
    wish = split_wish(words)
    assert (wish.boards, wish.parts) == (boards, parts)


def test_labels_of_the_logbook(folder: Path) -> None:
    """Without names all boards and treads get a label; addresses name record and logbook; a riser reads from behind."""
    with Logbook.open(folder) as log:
        views = label_views(log, split_wish(()), date=DAY)
        riser = label_views(log, split_wish(("riser", "1")), date=DAY)[0]
    assert [view.number for view in views] == ["B1", "tread 1", "tread 2", "tread 3"]
    assert [view.address for view in views[:2]] == [
        "finishlab:board/B1?logbook=my%20stairs",
        "finishlab:part/1.T1?logbook=my%20stairs",
    ]
    assert {view.recipe for view in views} == {"R1 honey, satin"}
    assert (riser.edge, riser.left_points) == ("top edge", "right")


def test_labels_command(folder: Path, tmp_path: Path) -> None:
    """The command writes the PDF and says in JSON which label leads where."""
    target = tmp_path / "labels.pdf"
    done = run(
        folder, "labels", "B1", "treads", "2-3", "--sheet", "a4-3x7", "--first", "4", "-o", str(target), "--json"
    )
    document = json.loads(done.stdout)
    assert document["format"] == "finishlab/labels/1"
    assert [each["number"] for each in document["labels"]] == ["B1", "tread 2", "tread 3"]
    assert "The next free one is 7." in done.stderr
    place = SHEETS["a4-3x7"].place(3)
    text, _ = read_code(Drawn(target.read_bytes()).part(place.x, place.y, place.width, place.height))
    assert text.split("\n")[0] == address("board", "B1", "my stairs")


def test_labels_command_refuses(folder: Path, tmp_path: Path) -> None:
    """A start the sheet has not, and a file that is no PDF, are refused in a sentence, and nothing is written."""
    with pytest.raises(UsageError, match="none has the number 99"):
        run(folder, "labels", "--sheet", "a4-2x4", "--first", "99", "-o", str(tmp_path / "l.pdf"))
    other = tmp_path / "notes.txt"
    other.write_text("mine")
    with pytest.raises(UsageError, match="something else"):
        run(folder, "labels", "-o", str(other))
    assert other.read_text() == "mine"
    assert not (tmp_path / "l.pdf").exists()
    run(tmp_path / "empty", "can", "add", "honey", "--kind", "oil stain")
    with pytest.raises(LogbookError, match="no boards and no treads"):
        run(tmp_path / "empty", "labels", "-o", str(tmp_path / "l.pdf"))


def test_schedule_command(folder: Path, tmp_path: Path) -> None:
    """The only recipe's steps stand in order with the can's label beside the recipe; its parts are there."""
    target = tmp_path / "s.pdf"
    document = json.loads(run(folder, "schedule", "-o", str(target), "--json").stdout)
    assert [step["title"] for step in document["steps"]] == ["Sand", "Stain 1: golden brown", "Topcoats 1 to 3", "Wait"]
    assert document["steps"][1]["time"] == "recipe: 24 h to the next step"
    assert document["steps"][2]["time"] == "label: after 3 h, within 24 h; recipe: 4 h between coats"
    assert (
        document["steps"][3]["detail"]
        == "by the label: in use after 72 h, cured after 14 days; usual: socks after 24 h"
    )
    assert document["columns"] == ["sanded", "stain", "topcoat 1", "topcoat 2", "topcoat 3"]
    assert document["parts"] == ["tread 1", "tread 2", "tread 3"]
    words = Drawn(target.read_bytes()).texts[0]
    for expected in ("grits 80-100-120", "lot 4711", "Rags with oil", "05-31", "rub out with 220"):
        assert expected in words


@pytest.mark.parametrize(
    ("label", "next_h", "stain", "recoat_h", "top"),
    [
        (None, None, "usual: 24 to 72 h under another product", None, "usual: 2 to 4 h between coats"),
        (None, 30, "recipe: 30 h to the next step", 5, "recipe: 5 h between coats"),
        (
            Label(recoat_h=8), None, "label: after 8 h; usual: 24 to 72 h under another product",
            None, "label: after 8 h between coats",
        ),
        (
            Label(recoat_h=8, recoat_other_h=48), None, "label: after 48 h to the next step",
            5, "label: after 8 h; recipe: 5 h between coats",
        ),
        (Label(recoat_within_h=48), 30, "label: within 48 h; recipe: 30 h to the next step",
         None, "label: within 48 h; usual: 2 to 4 h between coats"),
    ],
)  # fmt: skip
def test_schedule_says_the_labels_hours_first_and_usual_ones_where_none_are_said(
    label: Label | None, next_h: float | None, stain: str, recoat_h: float | None, top: str
) -> None:
    """Label, then recipe; without either the usual range, called so, and the longer wait under another product."""
    finish = Finish(
        steps=(ColourStep(kind="oil", colour="honey", can_number=1, next_h=next_h),),
        topcoat=Topcoat(kind="water polyurethane 1-part", coats=3, can_number=1, recoat_h=recoat_h),
    )
    cans = {1: Can("oil stain", "honey", label=label)}
    times = {step.title: step.time for step in finish_steps(finish, cans)}
    assert times["Stain 1: honey"] == stain
    assert times["Topcoats 1 to 3"] == top


def test_schedule_follows_the_standard(folder: Path, tmp_path: Path) -> None:
    """With several recipes and no standard one must be named; once approved, the finish as approved is printed."""
    with Logbook.open(folder) as log:
        log.add_recipe(Recipe("walnut"))
    with pytest.raises(UsageError, match="several recipes"):
        run(folder, "schedule", "-o", str(tmp_path / "s.pdf"))
    with Logbook.open(folder) as log:
        log.approve("B1", date=DAY)
        log.edit_recipe("R1", finish=Finish(steps=(ColourStep(colour="changed since"),)))
    document = json.loads(run(folder, "schedule", "-o", str(tmp_path / "s.pdf"), "--json").stdout)
    assert document["steps"][1]["title"] == "Stain 1: golden brown"
    run(tmp_path / "empty", "can", "add", "honey", "--kind", "oil stain")
    with pytest.raises(LogbookError, match="no recipe yet"):
        run(tmp_path / "empty", "schedule", "-o", str(tmp_path / "s.pdf"))


def test_house_file_command(folder: Path, tmp_path: Path) -> None:
    """Standard, date, reason, lots, leftovers, deviations, colours, care and cautions are in the file."""
    with Logbook.open(folder, who="Anna") as log:
        log.approve("B1", date=DAY, reason="closest under both lamps")
    target = tmp_path / "house.pdf"
    document = json.loads(run(folder, "house-file", "--title", "Mill Lane 4", "-o", str(target), "--json").stdout)
    assert document["cans"] == 2
    assert document["photos"] == 0  # the photo's file is no picture, and is passed over
    words = " ".join(Drawn(target.read_bytes()).texts)
    for expected in (
        "Mill Lane 4", "The standard: R1 honey, satin", "on 2024-05-31 by Anna", "closest under both lamps", "4711",
        "A-22", "cellar shelf", "0.4 of 1 L", "not as the recipe: wiped late", "L* 50.0", "Care and repair",
        "never on the kept board", "can hold asbestos",
        "Oily rags", "How to read this file", "tread 3", "page 2",
    ):  # fmt: skip
        assert expected in words


def sample(log: Logbook, name: str) -> Measurement:
    """Keep a sample photo, and return an invented measurement of it."""
    source = Path(__file__).parents[1] / "sample_photos" / name
    photo = PhotoRecord(hashlib.sha256(source.read_bytes()).hexdigest(), name, 2000, 1500, None, suffix=source.suffix)
    log.keep_photo(source, photo)
    return measurement(photo)


def pictures(pages: Pages, title: str) -> list[Picture]:
    """Return the pictures of a section."""
    blocks = [block for section in pages.sections if section.title == title for block in section.blocks]
    return [picture for block in blocks if isinstance(block, Pictures) for picture in block.pictures]


def test_house_file_shows_the_stairs_parts(folder: Path) -> None:
    """Of each part the first and the latest photo are shown, small, with part, day, what it shows, and no metadata."""
    with Logbook.open(folder, who="Anna") as log:
        one, two, _ = (part.ident for part in log.stair_parts() if part.record.kind == "tread")
        names = ("board-raw.jpg", "board-clear-only.jpg", "board-honey-one-coat.jpg", "board-honey-two-coats.jpg")
        for days, (part, name, note) in enumerate(
            ((one, names[0], names[0]), (one, names[1], None), (one, names[2], "by the door"), (two, names[3], None))
        ):
            day = DAY + dt.timedelta(days=days)
            log.add_part_measurements([(part, [sample(log, name)], PartEvent("measured", day, note=note))])
        log.log_events([(one, PartEvent("coat", DAY + dt.timedelta(days=2), "topcoat", 1, 1, 2))])
        pages = house_pages(log, date=DAY)
        none = house_pages(log, date=DAY, photos=False)
    shown = pictures(pages, "Photos of the stair")
    assert [photo.caption for photo in shown] == [
        "tread 1, 2024-05-31: after stain 1, daylight",
        "tread 1, 2024-06-02: after stain 1, daylight; by the door",
        "tread 2, 2024-06-03: before anything was done, daylight",
    ]
    assert all(len(photo.jpeg) < 150_000 and b"Exif" not in photo.jpeg for photo in shown)
    assert pictures(none, "Photos of the stair") == []
    assert "tread 2, 2024-06-03: before anything was done" in " ".join(Drawn(pages_pdf(pages, HOUSE)).texts)


def test_house_file_photos_have_no_place(tmp_path: Path) -> None:
    """A photo with a place in its file comes into the house file without any of its metadata."""
    with Logbook.open(tmp_path / "log") as log:
        log.add_board(BoardRecord("red oak", date=DAY), [sample(log, "board-raw.jpg")])
        (shown,) = pictures(house_pages(log, date=DAY), "Photos")
    assert b"Exif" not in shown.jpeg
    assert b"GPS" not in shown.jpeg
    assert len(shown.jpeg) < 400_000
    assert shown.caption == "B1 (daylight)"


def test_long_texts_make_no_finer_code_than_can_be_read() -> None:
    """A code's modules stay at least 0.4 mm wide however long the words, down to the address alone."""
    label = LabelView("B1", "finishlab:board/B1?logbook=stairs", LONG * 2, "x" * 200, DAY, "y" * 200)
    for side in (15.0, 20.0, 26.0):
        assert side / len(qr_modules(qr_text(label, side=side))) >= 0.4

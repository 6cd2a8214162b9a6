"""The strip's page, drawn to pixels and measured back in millimetres."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from conftest import Run
from hypothesis import given, settings
from hypothesis import strategies as st

from finishlab.errors import OutputError
from finishlab.files import write_atomically
from finishlab.imaging.finder import detect_tags, tag_modules
from finishlab.imaging.strip import FIELD_NAMES, PAGES, STRIP, Paper, Rect
from finishlab.show.sheets import POINTS_PER_MM
from finishlab.strip.page import RULER_DROP, RULER_INDENT, module_outlines, strip_layout, strip_pdf

DPI = 400
PX = DPI / 25.4
PAPERS: tuple[Paper, ...] = ("a4", "letter")
NUMBER = 412


class Print:
    """A page drawn at 400 dpi; places are millimetres from the strip's top left corner."""

    def __init__(self, paper: Paper) -> None:
        self.paper = paper
        self.pdf = strip_pdf(paper=paper, number=NUMBER)
        document = pypdfium2.PdfDocument(self.pdf)
        page = document[0]
        self.pages = len(document)
        self.size_mm = tuple(side / POINTS_PER_MM for side in page.get_size())
        self.text = page.get_textpage().get_text_range()
        bitmap = page.render(scale=DPI / 72)
        self.rgb = bitmap.to_numpy().copy()
        self.grey = self.rgb[..., 0].astype(float)
        # The page is stretched to a whole number of pixels, so the scale is a little over 400 dpi and not quite square.
        self.px = self.grey.shape[1] / PAGES[paper][0]
        self.py = self.grey.shape[0] / PAGES[paper][1]
        place = STRIP.place_on_page(paper)
        self.origin = (place.x, place.y)
        page.close()
        document.close()

    def region(self, rect: Rect) -> np.ndarray:
        """Return the pixels that lie wholly inside a rectangle."""
        left, top = self.origin[0] + rect.x, self.origin[1] + rect.y
        rows = slice(int(np.ceil(top * self.py)), int((top + rect.height) * self.py))
        columns = slice(int(np.ceil(left * self.px)), int((left + rect.width) * self.px))
        found: np.ndarray = self.grey[rows, columns]
        return found

    def edge(self, x: float, y: float, along: str, reach: float = 0.5, half: float = 0.3) -> float:
        """Return how far (mm) the edge near (x, y) lies from there, from the share of each side in a short profile."""
        px, py = (self.origin[0] + x) * self.px, (self.origin[1] + y) * self.py
        centre, across = (px, py) if along == "x" else (py, px)
        scale = self.px if along == "x" else self.py
        band = slice(round(across - half * PX), round(across + half * PX) + 1)
        first, last = round(centre - reach * PX), round(centre + reach * PX)
        strip = self.grey[band, first:last] if along == "x" else self.grey[first:last, band].T
        profile = strip.mean(axis=0)
        before, after = profile[0], profile[-1]
        assert abs(before - after) > 10, "no edge to measure here"
        share_before = float(np.sum((profile - after) / (before - after)))
        return float((first + share_before - centre) / scale)


@pytest.fixture(scope="module", params=PAPERS)
def printed(request: pytest.FixtureRequest) -> Print:
    return Print(request.param)


def test_one_page_of_true_size(printed: Print) -> None:
    """The file is one upright page of the paper's size, to a hundredth of a millimetre."""
    assert printed.pages == 1
    assert printed.size_mm == pytest.approx(PAGES[printed.paper], abs=0.01)


def test_tags_stand_where_the_finder_looks(printed: Print) -> None:
    """Each side of each tag is within 0.05 mm of the geometry, near both of its ends."""
    for tag in STRIP.tags:
        r = tag.rect
        for share in (0.06, 0.94):
            x, y = r.x + share * r.width, r.y + share * r.height
            for at, way in (((r.x, y), "x"), ((r.right, y), "x"), ((x, r.y), "y"), ((x, r.bottom), "y")):
                assert printed.edge(*at, way) == pytest.approx(0, abs=0.05), (tag, at)


def test_tags_carry_the_strip_number(printed: Print) -> None:
    """Every module of every tag is pure black or bare paper, as the strip number's ids say."""
    for tag, tag_id in zip(STRIP.tags, STRIP.tag_ids(NUMBER), strict=True):
        white = tag_modules(tag_id)
        side = tag.rect.width / white.shape[0]
        for row, column in np.ndindex(white.shape):
            module = Rect(tag.rect.x + column * side, tag.rect.y + row * side, side, side).inset(0.1, 0.1)
            assert np.all(printed.region(module) == (255 if white[row, column] else 0))


def test_tags_have_no_seams(printed: Print) -> None:
    """No light hairline runs between black modules: the tag's black border is wholly black."""
    for tag in STRIP.tags:
        r = tag.rect
        side = r.width / 7
        for border in (
            Rect(r.x, r.y, r.width, side),
            Rect(r.x, r.bottom - side, r.width, side),
            Rect(r.x, r.y, side, r.height),
            Rect(r.right - side, r.y, side, r.height),
        ):
            assert printed.region(border.inset(0.1, 0.1)).max() == 0


def test_patches_have_their_grey(printed: Print) -> None:
    """Every patch is even all over its inside, and within one of 255 steps of its level; paper patches are bare."""
    for patch in STRIP.patches:
        inside = printed.region(patch.sample)
        assert inside.min() == inside.max()
        assert inside.mean() == pytest.approx(255 * STRIP.greys[patch.level], abs=1.0)
        if STRIP.greys[patch.level] < 1:
            assert np.ptp(printed.region(patch.rect.inset(0.1, 0.1))) == 0


def test_patches_stand_where_they_are_read(printed: Print) -> None:
    """Each side of each inked patch is within 0.05 mm of the geometry."""
    for patch in STRIP.patches:
        if STRIP.greys[patch.level] == 1:
            continue
        r = patch.rect
        (x, y) = r.centre
        for at, way in (((r.x, y), "x"), ((r.right, y), "x"), ((x, r.y), "y"), ((x, r.bottom), "y")):
            assert printed.edge(*at, way) == pytest.approx(0, abs=0.05), (patch, at)


def test_finder_reads_the_print(printed: Print) -> None:
    """At a photo's scale OpenCV finds all six tags with the strip number's ids, each corner within 0.15 mm."""
    step = 3  # about 5 pixels a millimetre
    rows, columns = (side // step for side in printed.grey.shape)
    small = printed.grey[: rows * step, : columns * step].reshape(rows, step, columns, step).mean(axis=(1, 3))
    found = dict(detect_tags(small.round().astype(np.uint8), smallest_side=50.0))
    assert sorted(found) == sorted(STRIP.tag_ids(NUMBER))
    for tag, tag_id in zip(STRIP.tags, STRIP.tag_ids(NUMBER), strict=True):
        at = (found[tag_id] + 0.5) * step / np.array([printed.px, printed.py]) - np.array(printed.origin)
        assert at == pytest.approx(tag.rect.corners(), abs=0.15)


def test_cut_line_frames_the_strip(printed: Print) -> None:
    """The cut line's inner side is the strip's border to 0.05 mm; the line is thin, light and outside."""
    for at, way, sign in (
        ((0, 23), "x", 1),
        ((STRIP.width, 23), "x", -1),
        ((62, 0), "y", 1),
        ((62, STRIP.height), "y", -1),
    ):
        px, py = (printed.origin[0] + at[0]) * printed.px, (printed.origin[1] + at[1]) * printed.py
        reach = round(0.6 * PX)
        if way == "x":
            start = round(px)
            profile = printed.grey[round(py), start - reach : start + reach]
        else:
            start = round(py)
            profile = printed.grey[start - reach : start + reach, round(px)]
        ink = 255 - profile
        centre_px = float(np.sum(ink * np.arange(start - reach, start + reach)) / ink.sum()) + 0.5
        centre = (centre_px - (px if way == "x" else py)) / PX
        width = float(ink.sum() / ink.max()) / PX
        assert sign * centre + width / 2 == pytest.approx(0, abs=0.05)
        assert width < 0.3
        assert profile.min() > 120


def test_ruler_is_true(printed: Print) -> None:
    """Below the strip a ruler has a tick each 5 mm from 0 to 150, each true to 0.05 mm, longer ones each 10."""
    top, left = STRIP.height + RULER_DROP, RULER_INDENT
    row = int((printed.origin[1] + top + 0.5) * printed.py)
    first = int((printed.origin[0] + left - 0.6) * printed.px)
    last = int((printed.origin[0] + left + 150.4) * printed.px)
    ink = 255 - printed.grey[row, first:last]
    runs = np.flatnonzero(np.diff(np.concatenate([[0], (ink > 20).astype(int), [0]])))
    ticks = [
        (first + np.average(np.arange(a, b), weights=ink[a:b]) + 0.5) / printed.px - printed.origin[0] - left
        for a, b in runs.reshape(-1, 2)
    ]
    assert len(ticks) == 31
    assert ticks == pytest.approx(list(range(0, 151, 5)), abs=0.05)
    assert ticks[-1] - ticks[0] == pytest.approx(150, abs=0.05)
    longer = 255 - printed.grey[int((printed.origin[1] + top + 0.95) * printed.py)]
    for i, mm in enumerate(range(0, 151, 5)):
        at = round((printed.origin[0] + left + mm) * printed.px)
        assert (longer[at - 2 : at + 2].max() > 100) == (i % 2 == 0), mm


def test_lines_of_the_screens_are_as_wide_as_they_say() -> None:
    """At 2400 dpi every line of every screen is measured back: place and width to 0.02 mm, black on white."""
    scale = 2400 / 72
    with pypdfium2.PdfDocument(strip_pdf(paper="a4", number=NUMBER)) as document:
        page = document[0]
        place = STRIP.place_on_page("a4")
        rect = STRIP.screens[0].rect
        high, left = (PAGES["a4"][1] - place.y - rect.bottom + 4.0) * POINTS_PER_MM, place.x * POINTS_PER_MM
        top, right = (place.y + rect.y + 4.0) * POINTS_PER_MM, (PAGES["a4"][0] - place.right) * POINTS_PER_MM
        rows = page.render(scale=scale, crop=(left, high, right, top)).to_numpy()[..., 0].astype(float)
    assert rows.shape[1] / (STRIP.width * 2400 / 25.4) == pytest.approx(1.0, abs=1e-3)
    ink = 1.0 - rows.mean(axis=0) / 255
    assert set(np.round(ink[rows.std(axis=0) == 0], 6)) >= {0.0, 1.0}
    mm = STRIP.width / ink.size
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (ink > 0).astype(int), [0]]))).reshape(-1, 2)
    found = [(float(np.average(np.arange(a, b) + 0.5, weights=ink[a:b])), float(ink[a:b].sum())) for a, b in edges]
    lines = sorted((line for screen in STRIP.screens for line in screen.lines()), key=lambda line: line.x)
    assert len(found) == len(lines)
    for (centre, width), line in zip(found, lines, strict=True):
        assert width * mm == pytest.approx(line.width, abs=0.02)
        assert centre * mm == pytest.approx(line.centre[0], abs=0.02)


def test_ink_keeps_off_what_is_read(printed: Print) -> None:
    """Between tags, greys, screens, number and edge words there is no ink: the tags' quiet zones above all."""
    for tag in STRIP.tags:
        r = tag.rect
        rim = 1.9
        zone = Rect(r.x - rim, max(r.y - rim, 0.1), r.width + 2 * rim, r.height + 2 * rim)
        height = min(zone.bottom, STRIP.height - 0.1) - zone.y
        for side in (
            Rect(zone.x, zone.y, rim - 0.1, height),
            Rect(r.right + 0.1, zone.y, rim - 0.1, height),
            Rect(zone.x, zone.y, zone.width, r.y - zone.y - 0.1),
            Rect(zone.x, r.bottom + 0.1, zone.width, rim - 0.2),
        ):
            assert printed.region(side).min() == 255, tag


def test_page_is_printed_in_black_ink_only(printed: Print) -> None:
    """The page's only colour operators are those of DeviceGray; no picture, pattern, blend or soft mask is used."""
    streams = re.findall(rb"stream\r?\n(.*?)endstream", printed.pdf, flags=re.DOTALL)
    assert len(streams) == 1
    bare = re.sub(rb"\((?:\\.|[^\\()])*\)", b"", streams[0])
    operators = {word.decode() for word in bare.split() if re.fullmatch(rb"[A-Za-z'\"*]+[0-9*]?", word)}
    assert {"g", "G"} <= operators
    assert not operators & {"rg", "RG", "k", "K", "cs", "CS", "sc", "SC", "scn", "SCN", "Do", "BI", "EI", "sh", "gs"}
    for word in (b"DeviceRGB", b"DeviceCMYK", b"ICCBased", b"/SMask", b"/Image"):
        assert word not in printed.pdf.replace(b"/ImageB /ImageC /ImageI", b"")
    assert np.array_equal(printed.rgb[..., 0], printed.rgb[..., 1])
    assert np.array_equal(printed.rgb[..., 0], printed.rgb[..., 2])


def test_page_says_how_to_use_it(printed: Print) -> None:
    """The number, both edges and the printing advice are on the page as text."""
    words = " ".join(printed.text.split())
    for expected in (
        f"strip {NUMBER:04d}",
        "BOARD EDGE",
        "FLOOR EDGE",
        "Black ink only",
        "matt paper",
        "100 %",
        "actual size",
        "100 mm",
        "One print for one project",
    ):
        assert expected in words


def test_words_stay_on_the_page(printed: Print) -> None:
    """Nothing is printed within 4 mm of the paper's edge, where a home printer cannot reach."""
    margin = round(4 * PX)
    ink = np.argwhere(printed.grey < 255)
    assert ink.min() >= margin
    assert np.all(ink.max(axis=0) < np.array(printed.grey.shape) - margin)


def test_second_scale_check_is_true(printed: Print) -> None:
    """The square below the strip is 100 mm from line to line, across and down."""
    place = STRIP.place_on_page(printed.paper)
    top = int((place.bottom + RULER_DROP + 4) * printed.py)
    rows = np.flatnonzero((printed.grey[top:, : int((place.x + 60) * PX)] < 128).sum(axis=1) > 45 * PX) + top
    left = int((place.x - 2) * PX)
    window = printed.grey[rows[0] : rows[0] + round(95 * PX), left : left + round(110 * PX)]
    columns = np.flatnonzero((window < 128).sum(axis=0) > 80 * PX) + left
    for found, scale in ((rows, printed.py), (columns, printed.px)):
        first, last = found[found < found[0] + 9], found[found > found[-1] - 9]
        assert (last.mean() - first.mean()) / scale == pytest.approx(100, abs=0.1)


@pytest.mark.parametrize("paper", PAPERS)
def test_same_page_is_same_bytes(paper: Paper, run: Run, tmp_path: Path) -> None:
    """Writing the same strip twice gives the same file, and another number another file."""
    one, two = tmp_path / "one.pdf", tmp_path / "two.pdf"
    for target in (one, two):
        assert run("strip", "--paper", paper, "--number", 7, "--output", target).exit_code == 0
    assert one.read_bytes() == two.read_bytes()
    assert one.read_bytes() != strip_pdf(paper=paper, number=8)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["one.pdf", "two.pdf"]


@pytest.mark.parametrize("paper", PAPERS)
def test_layout_has_the_contracts_shape(paper: Paper) -> None:
    """layout.json names format, paper, page, strip and both fields in millimetres; fields hold 120 x 40 mm."""
    layout = json.loads(strip_layout(paper))
    assert set(layout) == {"format", "paper", "page", "strip", "fields"}
    assert layout["format"] == "finishlab/strip/1"
    assert layout["paper"] == paper
    assert layout["page"] == list(PAGES[paper])
    assert set(layout["fields"]) == set(FIELD_NAMES)
    for rect in (layout["strip"], *layout["fields"].values()):
        assert set(rect) == {"x", "y", "width", "height"}
    board, floor = layout["fields"]["board"], layout["fields"]["floor"]
    assert board["y"] + board["height"] <= 0
    assert floor["y"] >= layout["strip"]["height"]
    for field in (board, floor):
        assert field["width"] >= 120
        assert field["height"] >= 40
    assert layout["strip"]["x"] + layout["strip"]["width"] < layout["page"][0]


def test_place_that_cannot_be_written_is_one_sentence(run: Run, tmp_path: Path) -> None:
    """A missing folder, and a folder in place of a file, are refused in a sentence and leave nothing behind."""
    folder = tmp_path / "folder"
    folder.mkdir()
    for target in (folder / "no" / "strip.pdf", folder):
        with pytest.raises(OutputError) as caught:
            write_atomically(target, strip_pdf(paper="a4", number=1))
        assert caught.value.code == "output-not-writable"
        assert str(target) in caught.value.message
        assert caught.value.hint
    assert run("strip", "--output", folder / "no" / "strip.pdf").exit_code == 1
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize("number", [0, -1, STRIP.numbers + 1])
def test_number_the_strip_cannot_carry_is_refused(number: int) -> None:
    """A strip number outside 1..1600 is a ValueError."""
    with pytest.raises(ValueError, match="strip number"):
        strip_pdf(paper="a4", number=number)


@settings(max_examples=60)
@given(st.lists(st.booleans(), min_size=49, max_size=49))
def test_outlines_enclose_exactly_the_black_modules(cells: list[bool]) -> None:
    """By the odd-even rule the outlines hold every black module's centre and no white one's, for any pattern."""
    white = np.array(cells).reshape(7, 7)
    loops = module_outlines(white)
    for row, column in np.ndindex(white.shape):
        x, y = column + 0.5, row + 0.5
        crossings = 0
        for loop in loops:
            for (ax, ay), (bx, by) in zip(loop, [*loop[1:], loop[0]], strict=True):
                assert ax == bx or ay == by
                crossings += ax == bx and ax > x and min(ay, by) < y < max(ay, by)
        assert (crossings % 2 == 1) == (not white[row, column])

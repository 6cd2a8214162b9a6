"""The report as a PDF: the page's words and pictures on paper, in the same order."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
import report_samples as samples

from finishlab.cautions import CAUTIONS
from finishlab.colorimetry.spaces import lab_to_srgb8
from finishlab.errors import OutputError
from finishlab.imaging.strip import PAGES
from finishlab.report.story import METHOD, ReportContent, report_pdf, write_report


def sheets(data: bytes) -> list[str]:
    """Return the words of each page, white space collapsed."""
    document = pypdfium2.PdfDocument(data)
    words = [" ".join(page.get_textpage().get_text_range().split()) for page in document]
    document.close()
    return words


def pdf(content: ReportContent, **options: Any) -> bytes:
    return report_pdf(content, **options)[0]


def test_the_answer_comes_first_and_all_parts_in_order() -> None:
    """The answer is on the first page; what to do next, pictures, boards, floor, doubts, method and cautions follow."""
    words = sheets(pdf(samples.content()))
    assert "Closest to the floor: Peat brown, 2 coats" in words[0]
    assert "What to do next" in words[0]
    whole = " ".join(words)
    parts = (
        "Closest to the floor: Peat brown, 2 coats",
        "The photos behind this report are rendered",
        "What to do next",
        "Each board set into the floor",
        "How far from the floor",
        "Coat by coat: Peat brown",
        "The boards, from the nearest on",
        "The floor Floor: 4 spots",
        "Doubts",
        "How this was measured",
        "Before you open a can",
    )
    places = [whole.index(part) for part in parts]
    assert places == sorted(places)
    assert " ".join(METHOD.split())[:60] in whole
    for caution in CAUTIONS.values():
        title, text = caution.title, caution.long
        assert f"{title}: {text[:30]}" in whole


def test_every_board_stands_with_its_figures_and_record() -> None:
    """Each board's place, recipe, difference, interval and chance can be read, and where its order is open."""
    whole = " ".join(sheets(pdf(samples.content())))
    for board in samples.ranking().boards:
        assert f"{board.delta_e00.low:.1f} to {board.delta_e00.high:.1f}" in whole
        assert re.search(rf"\b{board.board}\b", whole)
    assert "2 ab" in whole
    assert "Old copper, thinned one to one with clear, 1 coat" in whole


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pages_have_the_size_of_the_paper(paper: Any) -> None:
    """A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 inches, and nothing is written outside the sheet."""
    data = pdf(samples.content(), paper=paper)
    document = pypdfium2.PdfDocument(data)
    for page in document:
        width, height = page.get_size()
        assert (width / 72 * 25.4, height / 72 * 25.4) == pytest.approx(PAGES[paper], abs=0.1)
        text = page.get_textpage()
        for i in range(text.count_rects()):
            left, bottom, right, top = text.get_rect(i)
            assert left >= 20
            assert right <= width - 20
            assert 10 <= bottom < top <= height - 20
    document.close()


def test_same_content_gives_same_bytes() -> None:
    """The PDF has no date and no name of the machine in it: the same report gives the same bytes."""
    assert pdf(samples.content()) == pdf(samples.content())


def test_swatches_are_the_colours_measured() -> None:
    """The rendered pages hold each board's very colour beside the floor's, on neutral grey."""
    document = pypdfium2.PdfDocument(pdf(samples.content(crops={})))
    found: set[tuple[int, ...]] = set()
    for page in document:
        pixels = page.render(scale=2.0).to_numpy()[..., 2::-1].astype(np.uint32)
        codes = np.unique(pixels @ np.array([1 << 16, 1 << 8, 1], dtype=np.uint32))
        found |= {(int(code) >> 16, int(code) >> 8 & 255, int(code) & 255) for code in codes}
    document.close()
    for board in samples.ranking().boards:
        assert tuple(int(v) for v in lab_to_srgb8(board.lab)) in found
    assert tuple(int(v) for v in lab_to_srgb8(samples.FLOOR)) in found
    assert (0x77, 0x77, 0x77) in found


def test_words_of_users_are_never_markup() -> None:
    """What a user wrote in any script is shown as it is; markup in it neither acts nor stops the report."""
    nasty = "<b>&amp; <font size=99>Čeština Ελληνικά</font"
    whole = " ".join(sheets(pdf(samples.content(title=nasty, extra={nasty: nasty}))))
    assert whole.count(nasty) >= 2


def test_twenty_boards_stay_light() -> None:
    """With twenty boards the PDF stays below 3 MB, and each of them is in it."""
    data = pdf(samples.many(20))
    assert len(data) < 3_000_000
    whole = " ".join(sheets(data))
    assert all(re.search(rf"\bB{i}\b", whole) for i in range(1, 21))


def test_it_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    """A folder that is not there is an OutputError, and nothing is left behind."""
    write_report(samples.content(), pdf=tmp_path / "report.pdf")
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF-")
    with pytest.raises(OutputError):
        write_report(samples.content(), pdf=tmp_path / "missing" / "report.pdf")
    assert [p.name for p in tmp_path.iterdir()] == ["report.pdf"]

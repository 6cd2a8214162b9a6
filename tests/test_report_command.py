"""``finishlab report`` and the crops it cuts, on rendered photos that carry a place."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conftest import Photos, Run
from PIL import ExifTags, Image

from finishlab import Logbook
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import rgb_to_lab, srgb_to_linear
from finishlab.measuring import MeasureOptions, inspect_photo
from finishlab.photos.profiles import matrix_profile
from finishlab.report.pictures import CROP_MM, MOST_PICTURED, corrected_crop, crops_of
from finishlab.report.story import MOST_TOLD, gather_report

PLACE = {1: "N", 2: (48.0, 51.0, 29.6), 3: "E", 4: (2.0, 17.0, 40.2)}


def placed(photo: Path, folder: Path) -> Path:
    """Return a copy of a photo whose EXIF says where it was taken."""
    image = Image.open(photo)
    exif = image.getexif()
    exif[ExifTags.IFD.GPSInfo] = PLACE
    exif[ExifTags.Base.ImageDescription] = "Sampletown"
    target = folder / photo.name
    image.save(target, "JPEG", quality=95, exif=exif, icc_profile=image.info["icc_profile"])
    assert b"Sampletown" in target.read_bytes()
    return target


@pytest.fixture(scope="module")
def filled_once(photos: Photos, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The logbook that `filled` copies."""
    tmp_path = tmp_path_factory.mktemp("filled")
    run = Run(tmp_path / "logbook")
    for words in (
        ("floor", "add", placed(photos("floor1"), tmp_path), "--spot", "hall"),
        ("floor", "add", placed(photos("floor2"), tmp_path), "--spot", "stair"),
        (
            "board",
            "add",
            placed(photos("light_board"), tmp_path),
            "--species",
            "ash",
            "--stain",
            "golden",
            "--coats",
            1,
        ),
        ("board", "add", placed(photos("dark_board"), tmp_path), "--species", "ash", "--stain", "golden", "--coats", 2),
        ("board", "add", placed(photos("pair"), tmp_path), "--species", "ash", "--topcoat", "oil", "--with-floor"),
    ):
        done = run(*words)
        assert done.exit_code == 0, done.output
    return run.logbook


@pytest.fixture
def filled(run: Run, filled_once: Path) -> Run:
    """The command on a logbook with two floor spots and three boards, one beside the floor."""
    shutil.copytree(filled_once, run.logbook)
    return run


def pictures_of(page: str) -> list[bytes]:
    return [base64.b64decode(found) for found in re.findall(r"data:image/jpeg;base64,([^\"]+)", page)]


def pictures_in(pdf: bytes) -> list[bytes]:
    """Return the JPEG files in a PDF, which holds them as text (ISO 32000-1, 7.4.3)."""
    streams = re.findall(rb"/ASCII85Decode /DCTDecode \].{0,200}?stream\n(.*?)~>", pdf, re.DOTALL)
    return [base64.a85decode(each) for each in streams]


def test_it_writes_page_and_pdf(filled: Run, tmp_path: Path) -> None:
    """The answer is printed first, then where page and PDF lie; both hold every board."""
    page, pdf = tmp_path / "out.html", tmp_path / "out.pdf"
    done = filled("report", "--output", page, "--pdf", pdf, "--paper", "letter", "--title", "Our stair")
    assert done.exit_code == 0, done.output
    answer, *files = done.stdout.splitlines()
    assert answer.endswith(".")
    assert "Closest to the floor" in answer
    assert files == [f"Page: {page}", f"PDF: {pdf}"]
    text = page.read_text(encoding="utf-8")
    assert f"<h1>{answer}</h1>" in text
    assert "Our stair" in text
    assert len(pictures_of(text)) == 3
    assert "Coat by coat: golden" in text
    assert pdf.read_bytes().startswith(b"%PDF-")


def test_no_place_leaves_the_logbook(filled: Run, tmp_path: Path) -> None:
    """No picture of page or PDF has EXIF or a place, and the page's say sRGB; the kept photos stay as they were."""
    kept = sorted(p for p in (filled.logbook / "photos").rglob("*") if p.is_file())
    before = [hashlib.sha256(p.read_bytes()).hexdigest() for p in kept]
    assert any(b"Sampletown" in p.read_bytes() for p in kept)
    page, pdf = tmp_path / "out.html", tmp_path / "out.pdf"
    assert filled("report", "--output", page, "--pdf", pdf).exit_code == 0
    printed = pictures_in(pdf.read_bytes())
    assert len(printed) == 3
    for data in (*pictures_of(page.read_text(encoding="utf-8")), *printed, pdf.read_bytes(), page.read_bytes()):
        for secret in (b"Exif\x00\x00", b"Sampletown"):
            assert secret not in data
    for jpeg in pictures_of(page.read_text(encoding="utf-8")):
        image = Image.open(io.BytesIO(jpeg))
        assert dict(image.getexif()) == {}
        assert image.info["icc_profile"] == matrix_profile("sRGB")
    assert [hashlib.sha256(p.read_bytes()).hexdigest() for p in kept] == before


def test_json_says_what_was_written(filled: Run, tmp_path: Path) -> None:
    """With --json one document says where the report is and what it answers; without --pdf there is none."""
    page = tmp_path / "out.html"
    done = filled("report", "--output", page, "--json")
    assert done.exit_code == 0, done.output
    found: dict[str, Any] = json.loads(done.stdout)
    assert found["format"] == "finishlab/report/1"
    assert (found["page"], found["pdf"]) == (str(page), None)
    assert sorted(found["boards"]) == ["B1", "B2", "B3"]
    assert found["crops"] == found["boards"]
    assert found["rendered"] is False
    assert not list(tmp_path.glob("*.pdf"))


def test_what_cannot_be_written_is_told(filled: Run, tmp_path: Path) -> None:
    """One file for both, a folder that is not there, and a logbook with nothing to compare are told in one sentence."""
    same = filled("report", "--output", tmp_path / "x", "--pdf", tmp_path / "x")
    assert same.exit_code == 2
    assert "cannot both be" in same.stderr
    missing = filled("report", "--output", tmp_path / "no" / "x.html")
    assert missing.exit_code == 1
    assert "cannot be written" in missing.stderr
    empty = Run(tmp_path / "empty")("report", "--output", tmp_path / "y.html")
    assert empty.exit_code == 6
    assert not (tmp_path / "y.html").exists()


@pytest.mark.parametrize(("name", "field"), [("pair", "board"), ("pair", "floor"), ("dark_board", "board")])
def test_a_crop_has_the_colour_that_was_measured(photos: Photos, name: str, field: Any) -> None:
    """The mean light of a crop is the measured colour within CIEDE2000 1.0; it has four pixels a millimetre."""
    inspection, image = inspect_photo(photos(name), MeasureOptions((field,)))
    crop = corrected_crop(inspection, field, linear=image.info.linear)  # type: ignore[arg-type]
    assert crop.shape == (round(4 * CROP_MM[1]), round(4 * CROP_MM[0]), 3)
    mean = rgb_to_lab(srgb_to_linear(crop / 255.0).mean(axis=(0, 1)))
    assert float(delta_e_00(mean, inspection.measurement.fields[field].estimate.lab)) < 1.0
    assert np.all(crop > 0)


def test_a_board_beside_the_floor_is_shown_beside_it(filled: Run) -> None:
    """A pair's floor comes from its own photo, another board's from the place most like the whole floor."""
    with Logbook.open(filled.logbook) as log:
        floor = log.floor_spots()[1].measurements[0].field.estimate.lab
        crops = crops_of(log, [log.board("B1"), log.board("B3")], "daylight", floor)
        assert crops_of(log, [log.board("B1")], "moonlight", floor) == {}
    assert list(crops) == ["B1", "B3"]
    assert crops["B3"].caption == "Board B3 above the floor in the same photo"
    assert crops["B1"].caption == "Board B1 above the floor at F2, stair"
    width, height = crops["B1"].size
    assert height == 2 * width * CROP_MM[1] / CROP_MM[0]


def test_a_photo_that_is_gone_costs_its_crop_alone(filled: Run, tmp_path: Path) -> None:
    """When a kept photo was deleted the report is still written, without that crop, and says so."""
    with Logbook.open(filled.logbook) as log:
        log.photo_path(log.board("B2").measurements[0].photo).unlink()
    done = filled("report", "--output", tmp_path / "out.html")
    assert done.exit_code == 0, done.output
    assert "No crop could be cut of B2" in done.stderr
    assert len(pictures_of((tmp_path / "out.html").read_text(encoding="utf-8"))) == 2


def test_records_stand_as_labels_and_values(filled: Run) -> None:
    """Each board's record is on the page, a label and a value a field."""
    from finishlab.report.story import report_html

    with Logbook.open(filled.logbook) as log:
        text = report_html(gather_report(log))
    for label, value in (("wood", "ash"), ("stain", "golden"), ("stain coats", "2"), ("topcoat", "oil")):
        assert f"<dt>{label}</dt> <dd>{value}</dd>" in text


def test_a_large_logbook_is_told_in_part() -> None:
    """Of very many boards the nearest are drawn and listed, and the number of the rest is said."""
    import report_samples as samples

    from finishlab.report.story import report_html

    content = samples.many(MOST_TOLD + 7)
    text = report_html(samples.content(ranking=content.ranking, boards=content.boards, crops={}))
    assert text.count('<li>\n<span class="place">') == MOST_TOLD
    assert "7 more boards are ranked behind these" in text
    assert f"The {MOST_PICTURED} nearest of {MOST_TOLD + 7} boards are drawn" in text

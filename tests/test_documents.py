"""The JSON documents hold what the command-line contract names, in finite numbers."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import report_samples as samples
from hypothesis import given
from hypothesis import strategies as st

from finishlab.board.commands import BOARD, FLOOR
from finishlab.board.shown import what_it_is
from finishlab.errors import OutputError
from finishlab.files import write_atomically
from finishlab.matching.scatter import FloorPool
from finishlab.measuring import PhotoResult
from finishlab.measuring.shown import measurement_document
from finishlab.rank.documents import pool_document, ranking_data
from finishlab.show.document import Document
from finishlab.show.jsons import dump


def _documents() -> list[tuple[str, dict[str, Any]]]:
    return [
        ("measurement", measurement_document(samples.photo_results()).json_form()),
        ("ranking", Document("ranking", ranking_data(samples.ranking())).json_form()),
        ("boards", BOARD.document(list(samples.board_rows().values())).json_form()),
        ("floor", FLOOR.document(samples.spot_rows(), floor=pool_document(samples.floor_pool())).json_form()),
    ]


def _numbers(value: object) -> list[float]:
    if isinstance(value, dict):
        return [n for v in value.values() for n in _numbers(v)]
    if isinstance(value, list):
        return [n for v in value for n in _numbers(v)]
    return [value] if isinstance(value, float) else []


@pytest.mark.parametrize(("kind", "document"), _documents(), ids=lambda v: v if isinstance(v, str) else "")
def test_every_document_names_its_format_and_colour_space(kind: str, document: dict[str, Any]) -> None:
    """A document says its kind and version first, then the colour space, and comes back from JSON as it was."""
    assert list(document)[:2] == ["format", "colour_space"]
    assert document["format"] == f"finishlab/{kind}/1"
    assert document["colour_space"] == "CIELAB D65 2deg"
    assert json.loads(dump(document)) == document


@pytest.mark.parametrize("document", [d for _, d in _documents()], ids=[k for k, _ in _documents()])
def test_figures_are_finite_and_no_longer_than_they_can_bear(document: dict[str, Any]) -> None:
    """Every number is finite and has four decimals at most, and no zero is negative."""
    numbers = _numbers(document)
    assert len(numbers) > 10
    for number in numbers:
        assert math.isfinite(number)
        assert number == round(number, 4)
        assert math.copysign(1, number) > 0 or number != 0


def test_measurement_document_has_the_contracts_shape() -> None:
    """Each photo tells path, ok, error, strip, fields and pair; a failed one its code, message and hint, no figures."""
    good, no_strip, bad = measurement_document(samples.photo_results()).json_form()["photos"]
    for photo in (good, no_strip, bad):
        pair = [] if photo["delta_e00"] is None else ["costs"]
        assert list(photo) == ["path", "ok", "error", "strip", "fields", "delta_e00", *pair]
    assert (good["ok"], good["error"]) == (True, None)
    assert good["strip"]["found"] is True
    assert good["strip"]["number"] == 412
    assert set(good["fields"]) == {"board", "floor"}
    board = good["fields"]["board"]
    assert board["lab"] == [55.123, 9.0, 0.0]
    assert board["standard_error"] == [0.3, 0.3, 0.3]
    assert board["spread"] == {"L10": 50.1, "L90": 60.2}
    assert (board["used_share"], board["glare_share"]) == (0.9312, 0.0249)
    assert [set(d) for d in board["doubts"]] == [{"code", "message"}]
    assert good["delta_e00"] == {"value": 1.235, "low": 0.8, "high": 1.9}
    assert no_strip == {
        "path": "shots/none.jpg",
        "ok": False,
        "strip": None,
        "fields": {},
        "delta_e00": None,
        "error": {"code": "no-strip", "message": "No strip was found.", "hint": "Lay the strip in the photo."},
    }
    assert bad["error"]["code"] == "not-a-photo"


def test_refused_photo_keeps_its_figures() -> None:
    """A photo measured but refused on quality is not ok, and still shows what was measured."""
    from finishlab.errors import QualityError

    result = PhotoResult(
        "glare.jpg", samples.measurement(), QualityError("too-much-glare", "Half of it mirrors the light.")
    )
    (photo,) = measurement_document([result]).json_form()["photos"]
    assert photo["ok"] is False
    assert photo["error"]["code"] == "too-much-glare"
    assert photo["fields"]["board"]["lab"][0] == 55.123


def test_a_photo_result_is_one_or_the_other() -> None:
    """A photo with neither measurement nor error cannot be built."""
    with pytest.raises(ValueError, match="measured or it failed"):
        PhotoResult("a.jpg")


def test_ranking_document_has_the_contracts_shape() -> None:
    """The floor tells lab, spots and spread; each board its place, difference, chance, words, doubts and tie marks."""
    document = ranking_data(samples.ranking())
    assert document["floor"]["lab"] == list(samples.FLOOR)
    assert document["floor"]["spots"] == 4
    assert document["floor"]["spread_e00"] == 0.9
    first, second, third, fourth, _ = document["ranking"]
    wanted = {
        "place",
        "board",
        "delta_e00",
        "probability_closest",
        "difference",
        "ratio_to_floor_spread",
        "in_words",
        "doubts",
    }
    assert wanted <= set(first)
    assert set(first["delta_e00"]) == {"value", "low", "high"}
    assert set(first["difference"]) == {"dL", "da", "db", "dC", "dH"}
    assert [b["place"] for b in document["ranking"]] == [1, 2, 3, 4, 5]
    assert (first["ties"], second["ties"], third["ties"], fourth["ties"]) == (["a"], ["a", "b"], ["b"], [])
    assert {d["code"] for d in fourth["doubts"]} == {"one-light", "not-topcoated"}


def test_unknown_figures_are_null() -> None:
    """A spread that one spot cannot tell is null in the document, not left out and not a made-up number."""
    floor = pool_document(FloorPool(samples.estimate(samples.FLOOR), 1, None))
    assert floor["spread_e00"] is None


def test_boards_and_floor_documents_trace_each_figure() -> None:
    """Each logged colour stands beside its light, photo, strip number and version; the record is whole."""
    board = BOARD.document(list(samples.board_rows().values())).json_form()["boards"][0]
    assert board["board"] == "B4"
    assert board["record"]["species"] == "ash"
    assert board["record"]["date"] == "2024-05-31"
    (found,) = board["measurements"]
    assert (found["light"], found["photo"], found["strip"], found["version"]) == ("daylight", "b4.jpg", 412, "0.1.0")
    floor = FLOOR.document(samples.spot_rows()).json_form()
    assert floor["floor"] is None
    assert [s["spot"] for s in floor["spots"]] == ["F1", "F2", "F3", "F4"]


def test_numbers_that_are_none_are_refused() -> None:
    """A document with a NaN is refused, for JSON has none."""
    with pytest.raises(ValueError, match="JSON compliant"):
        dump({"value": float("nan")})


@given(st.text())
def test_any_text_survives(text: str) -> None:
    """Whatever a user wrote comes back from the document unchanged."""
    assert json.loads(dump({"note": text})) == {"note": text}


def test_a_file_is_written_whole(tmp_path: Path) -> None:
    """A file takes the place and the rights of an older one and leaves no other; a document ends with a line break."""
    path = tmp_path / "out.json"
    path.write_text('{"format": "finishlab/note/1"}')
    path.chmod(0o640)
    write_atomically(path, dump({"note": "Weißöl"}).encode())
    assert path.read_text(encoding="utf-8") == '{\n  "note": "Weißöl"\n}\n'
    assert path.stat().st_mode & 0o777 == 0o640
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    """A missing folder gives an OutputError with a hint."""
    with pytest.raises(OutputError) as caught:
        write_atomically(tmp_path / "missing" / "out.json", b"{}")
    assert caught.value.hint
    assert list(tmp_path.iterdir()) == []


def test_a_recipe_in_one_line() -> None:
    """A board is told by wood, stain with coats, and topcoat; what is not there is said."""
    rows = samples.board_rows()
    assert what_it_is(rows["B4"].record) == "ash; Peat brown, 2 coats; water-based matte"
    assert what_it_is(rows["B2"].record) == "ash; Peat brown, 1 coat; water-based matte"
    assert what_it_is(rows["B7"].record) == "beech [raw]; no stain; no topcoat"


def test_no_library_is_loaded_before_it_is_needed() -> None:
    """Importing what makes reports loads no PDF, template, terminal, picture or colour library.

    What sets pages with ReportLab is imported where a PDF is asked for; that nobody else imports it is seen here too.
    """
    code = (
        "import importlib, pkgutil, sys\n"
        "for room in ('printing', 'rank', 'report', 'show'):\n"
        "    package = importlib.import_module(f'finishlab.{room}')\n"
        "    for each in pkgutil.walk_packages(package.__path__, f'finishlab.{room}.'):\n"
        "        if each.name != 'finishlab.show.pdf' and not each.name.startswith('finishlab.printing.') "
        "or each.name == 'finishlab.printing.commands':\n"
        "            importlib.import_module(each.name)\n"
        "heavy = {'reportlab', 'jinja2', 'rich', 'matplotlib', 'cv2', 'skimage', 'scipy', 'colour', 'PIL'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

"""What is told of a kind of thing is said once: a column is one entry of its spec."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import report_samples as samples
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from finishlab.board.commands import BOARD, FLOOR
from finishlab.cli import finishlab
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import StoredBoard
from finishlab.recipe import Can
from finishlab.recipe.commands import CAN, RECIPE
from finishlab.record import Number, number_of
from finishlab.show.document import Document, Field, Kind
from finishlab.show.terminal import render


def _printed(document: Document) -> str:
    out = io.StringIO()
    render(Console(file=out, width=200, _environ={}), document)
    return out.getvalue()


def test_a_column_of_a_list_is_one_entry() -> None:
    """A field that is added to the spec of boards stands in their list and in their JSON, and nowhere else is asked."""
    made_by: Field[StoredBoard] = Field(lambda board: board.record.maker or "nobody", key="made_by", head="made by")
    more = replace(BOARD, fields=(*BOARD.fields, made_by))
    rows = list(samples.board_rows().values())
    document = more.document(rows, more.listing(rows))
    heads = _printed(document).splitlines()[1].split("  ")
    assert heads[-1].strip() == "made by"
    assert _printed(document).count("nobody") == len(rows)
    assert [board["made_by"] for board in document.json_form()["boards"]] == ["nobody"] * len(rows)


@pytest.mark.parametrize("kind", [BOARD, FLOOR, RECIPE, CAN], ids=lambda kind: kind.command)
def test_a_name_is_given_to_one_entry(kind: Kind[Any, Any]) -> None:
    """No two entries of a kind have one name in JSON or one head in the list, so that none hides another."""
    for names in ([each.key for each in kind.fields if each.key], [each.head for each in kind.fields if each.head]):
        assert len(names) == len(set(names))
        assert names


def test_a_can_that_a_board_names_calls_for_its_cautions(tmp_path: Path) -> None:
    """A board whose record says only from which can it was stained is warned of what is in the can."""
    with Logbook.open(tmp_path / "log") as log:
        log.add_can(Can("oil stain", "walnut"))
    rows = tmp_path / "boards.csv"
    rows.write_text("species,steps.1.can_number\nash,1\n")
    done = CliRunner().invoke(finishlab, ["--logbook", str(tmp_path / "log"), "board", "import", str(rows)])
    assert done.exit_code == 0, done.output
    assert "rags" in done.stderr
    assert done.stdout == "B1\n"


@given(st.sampled_from("BFRCH"), st.integers(1, 10**9 - 1))
def test_a_number_is_its_text_and_knows_its_count(letter: str, key: int) -> None:
    """A number reads as people write it, in JSON too, and gives back the count that tables know it by."""
    number = Number.of(letter, key)
    assert number == f"{letter}{key}"
    assert json.loads(json.dumps({"number": number})) == {"number": f"{letter}{key}"}
    assert number.key == key == number_of(letter, number)

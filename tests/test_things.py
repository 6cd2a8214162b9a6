"""What is told of a kind of thing is said once: a column is one entry of its spec."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import pytest
import report_samples as samples
from rich.console import Console

from finishlab.reports.rows import BoardRow
from finishlab.show.document import Document
from finishlab.show.jsons import json_form
from finishlab.show.terminal import render
from finishlab.things.board import BOARD
from finishlab.things.can import CAN
from finishlab.things.floor import FLOOR
from finishlab.things.kind import Field, Kind
from finishlab.things.recipe import RECIPE


def _printed(document: Document) -> str:
    out = io.StringIO()
    render(Console(file=out, width=200, _environ={}), document)
    return out.getvalue()


def test_a_column_of_a_list_is_one_entry() -> None:
    """A field that is added to the spec of boards stands in their list and in their JSON, and nowhere else is asked."""
    made_by: Field[BoardRow] = Field(lambda board: board.record.maker or "nobody", key="made_by", head="made by")
    more = replace(BOARD, fields=(*BOARD.fields, made_by))
    rows = list(samples.board_rows().values())
    document = more.document(rows, more.listing(rows))
    heads = _printed(document).splitlines()[1].split("  ")
    assert heads[-1].strip() == "made by"
    assert _printed(document).count("nobody") == len(rows)
    assert [board["made_by"] for board in json_form(document)["boards"]] == ["nobody"] * len(rows)


@pytest.mark.parametrize("kind", [BOARD, FLOOR, RECIPE, CAN], ids=lambda kind: kind.command)
def test_a_name_is_given_to_one_entry(kind: Kind[Any, Any]) -> None:
    """No two entries of a kind have one name in JSON or one head in the list, so that none hides another."""
    for names in ([each.key for each in kind.fields if each.key], [each.head for each in kind.fields if each.head]):
        assert len(names) == len(set(names))
        assert names

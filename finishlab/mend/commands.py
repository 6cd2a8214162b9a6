"""``finishlab mend``: what to do when a coat went wrong, and how to care for the stair years later."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from finishlab.cli.common import json_option, open_logbook, show_document
from finishlab.cli.lazy import command

if TYPE_CHECKING:
    from finishlab.mend.documents import PartRecord


_CARE = ("care", "years later", "maintenance", "upkeep")


@command(
    "finishlab mend",
    "finishlab mend lap marks",
    "finishlab mend still tacky --part 'tread 7'",
    "finishlab mend care --part 'treads 1-3'",
)
@click.argument("words", nargs=-1, metavar="[FAULT]")
@click.option("--part", "parts", metavar="PARTS", help="The part that has it: what is written down of it is told too.")
@json_option
def mend(*, words: tuple[str, ...], parts: str | None, as_json: bool) -> None:
    """Say what a fault is, how to tell it from its look-alikes, what to do first and what never.

    Faults are named by everyday words: lap marks, blotches, too dark, still tacky, peeling, fish eyes, bubbles, dust,
    raised grain, white haze, scratches, worn nosing, a tread that differs ... "care" tells of the years later. Without
    a fault all are listed.
    """
    from finishlab.mend.documents import care_document, fault_document, fault_of, faults_document

    text = " ".join(words).strip()
    if not text and parts is None:
        show_document(faults_document(), as_json=as_json)
        return
    care = not text or text.casefold() in _CARE
    fault = None if care else fault_of(text)
    records, board = ([], None) if parts is None else _records(parts)
    show_document(care_document(records) if fault is None else fault_document(fault, records, board), as_json=as_json)


def _records(parts: str) -> tuple[list[PartRecord], str | None]:
    """Return the records of the parts that are named, and the kept board."""
    from finishlab.mend.documents import PartRecord
    from finishlab.record import today
    from finishlab.stair.documents import parts_shown
    from finishlab.stair.progress import progress_of

    with open_logbook() as log:
        stair, standard = log.stair(), log.standard()
    board = None if standard is None else standard.approval.board
    known = parts_shown(stair), progress_of(stair.events), today()
    return [PartRecord(stair, part, *known) for part in stair.named(parts)], board

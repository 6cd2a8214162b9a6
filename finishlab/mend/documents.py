"""A fault, and the care of a stair years later, as documents."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from finishlab.cautions import Caution, cautions_for
from finishlab.coatings import COATINGS, COMMON, Coating
from finishlab.mend.faults import FAULTS, OLD_CANS, TRY_FIRST, YEARLY, Fault, look_alikes
from finishlab.mend.record import PartRecord
from finishlab.show.cautions import caution_blocks, caution_data
from finishlab.show.document import Block, Column, Document, Line, Listing, Paragraph, Table

__all__ = ["care_document", "fault_document", "faults_document"]


def faults_document() -> Document:
    """Return ``finishlab/faults/1``: what can be asked for."""
    rows = [(each.name, each.look) for each in FAULTS.values()]
    blocks = (
        Table((Column("fault", fold=False), Column("how it looks")), rows),
        Line(),
        Paragraph("One of them: finishlab mend lap marks --part “tread 7”. Years later: finishlab mend care."),
    )
    data = [{"name": each.name, "also": list(each.also), "look": each.look} for each in FAULTS.values()]
    return Document("faults", {"faults": data}, blocks)


def fault_document(fault: Fault, records: Sequence[PartRecord] = (), board: str | None = None) -> Document:
    """Return ``finishlab/mend/1``: a fault, and what the record of the parts that have it says.

    Parameters
    ----------
    fault
        The fault.
    records
        The parts that have it.
    board
        The kept board's number, None where no standard is approved.
    """
    said = [(record, record.says(fault)) for record in records]
    kinds = [kind.kind for record in records if (kind := record.last_kind) is not None]
    cautions = cautions_for([*fault.products, *kinds], ["apply", *fault.actions])
    kept = TRY_FIRST if board is None else TRY_FIRST.replace("the kept board", f"the kept board {board}")
    data = {
        "fault": fault.name,
        "look": fault.look,
        "why": fault.why,
        "look_alikes": [{"fault": other.name, "how_to_tell": how} for other, how in look_alikes(fault)],
        "first": list(fault.first),
        "never": list(fault.never),
        "try_first": kept,
        "call_a_finisher": fault.finisher,
        "source": fault.source,
        "record": [{"part": record.part.code, "words": record.words, "says": lines} for record, lines in said],
        **caution_data(cautions),
    }
    return Document("mend", data, tuple(_told(fault, said, kept, cautions)))


def _told(
    fault: Fault, said: Sequence[tuple[PartRecord, list[str]]], kept: str, cautions: Sequence[Caution]
) -> Iterator[Block]:
    """Tell cautions last, but what not to do before what to do."""
    yield Paragraph(f"{fault.name.capitalize()}: {fault.look}.")
    yield Paragraph(f"Why: {fault.why}.", 2)
    yield Listing("Is it that?", [f"{other.name}: {how}" for other, how in look_alikes(fault)])
    for record, lines in said:
        yield Listing(f"What is written down of {record.words}", lines)
    yield Listing("Never", fault.never)
    yield Listing("First", fault.first, numbered=True)
    yield Line()
    yield Paragraph(kept)
    yield Paragraph(f"Call a finisher if {fault.finisher}.")
    yield Paragraph(f"Source: {fault.source}; the label wins.")
    yield Line()
    yield from caution_blocks(cautions)


def care_document(records: Sequence[PartRecord] = ()) -> Document:
    """Return ``finishlab/care/1``: care by kind of finish, of all kinds or of those on parts; old cans."""
    found = dict.fromkeys(kind for record in records if (kind := record.last_kind) is not None and kind.mends)
    kinds = tuple(found) or tuple(kind for kind in COATINGS.values() if kind.mends)
    left = {record.part.code: _left(record) for record in records}
    aged = FAULTS["worn nosing"]
    cautions = cautions_for([kind.kind for kind in kinds], ("apply", "sand", "strip", "dispose"))
    data = {
        "kinds": [{"kind": kind.kind, "mends": kind.mends, "source": COMMON} for kind in kinds],
        "yearly": list(YEARLY),
        "old_cans": list(OLD_CANS),
        "never": list(aged.never),
        "source": COMMON,
        "record": [
            {"part": record.part.code, "words": record.words, "says": _aged(record), "left": left[record.part.code]}
            for record in records
        ],
        **caution_data(cautions),
    }
    return Document("care", data, (*_care(kinds, records), *caution_blocks(cautions)))


def _care(kinds: Sequence[Coating], records: Sequence[PartRecord]) -> Iterator[Block]:
    for record in records:
        yield Listing(f"What is written down of {record.words}", [*_aged(record), *_left(record)])
    yield Listing("By kind of finish", [f"{kind.kind}: {kind.mends}" for kind in kinds])
    yield Listing("Each year", YEARLY)
    yield Listing("Never", FAULTS["worn nosing"].never)
    yield Listing("Old cans", OLD_CANS)
    yield Line()
    yield Paragraph(TRY_FIRST)
    yield Paragraph(f"Source: {COMMON}; the label wins.")
    yield Line()


def _aged(record: PartRecord) -> list[str]:
    """Return what the record says of age and coats."""
    return record.says(FAULTS["worn nosing"])


def _left(record: PartRecord) -> list[str]:
    """Return which cans of its coats still hold something, and where they stand."""
    out = []
    for number in dict.fromkeys(event.batch_number for event in record.coats):
        can = record.stair.cans.get(number or 0)
        if can is not None and can.left_l:
            place = f", {can.place}" if can.place else ""
            opened = f", opened {can.opened}" if can.opened else ""
            out.append(f"C{number} {can.product} still holds {can.left_l:g} L{place}{opened}")
    return out

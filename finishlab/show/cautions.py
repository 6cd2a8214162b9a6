"""Cautions as a document has them: in full, with who says so where it is asked for, and what wins over them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from finishlab.cautions import DEFERS, Caution
from finishlab.show.document import Block, Document, Paragraph

__all__ = ["caution_blocks", "caution_data", "cautions_document"]


def cautions_document(cautions: Iterable[Caution]) -> Document:
    """Return ``finishlab/cautions/1``: cautions with their sources."""
    told = tuple(cautions)
    return Document("cautions", caution_data(told), tuple(caution_blocks(told, sources=True)))


def caution_data(cautions: Iterable[Caution]) -> dict[str, Any]:
    """Return what a document's JSON form says of cautions."""
    return {"cautions": [each.as_dict() for each in cautions], "defers": DEFERS}


def caution_blocks(cautions: Iterable[Caution], *, sources: bool = False) -> Iterator[Block]:
    """Give the same for people."""
    yield Paragraph("Cautions")
    for caution in cautions:
        yield Paragraph(f"{caution.title}. {caution.long}", 2, 4)
        if sources:
            yield Paragraph(f"Source: {caution.source}.", 4)
    yield Paragraph(DEFERS, 2, 2)

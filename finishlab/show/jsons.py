"""A document as JSON: it says its format and its colour space, and holds finite numbers."""

from __future__ import annotations

from typing import Any

from finishlab.colorimetry.estimate import COLOUR_SPACE
from finishlab.show.document import Document

__all__ = ["json_form"]


def json_form(document: Document) -> dict[str, Any]:
    """Return the JSON form of a document."""
    head = {"format": f"finishlab/{document.kind}/{document.version}", "colour_space": COLOUR_SPACE}
    return head | dict(document.data)

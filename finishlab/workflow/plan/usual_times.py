"""The usual hours of what a recipe names, said where neither label nor recipe says any."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from finishlab.errors import UsageError
from finishlab.stairs.liquids import Liquid, liquid

if TYPE_CHECKING:
    from finishlab.records.finish import ColourStep, Seal, Topcoat

__all__ = ["STAINS", "USUAL", "usual_liquid"]

STAINS: Final = {"oil": "oil stain", "water": "water stain", "gel": "gel stain", "dye": "water stain"}
"""Kind of a colour step -> kind of liquid; a dye is counted as a water stain."""
USUAL: Final = (
    "Usual hours hold at about 21 C and 50 % humidity (common practice, no source); they stand where neither the label "
    "nor the recipe says any."
)


def usual_liquid(section: ColourStep | Seal | Topcoat) -> Liquid | None:
    """Return the liquid whose usual figures hold for a section of a finish; None where its kind is not known."""
    kind = {"step": STAINS.get(section.kind or "", ""), "seal": "sealer"}.get(section.SECTION, section.kind or "")
    try:
        return liquid(kind)
    except UsageError:
        return None

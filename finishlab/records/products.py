"""What a finish puts on the wood, in the words people wrote: for the cautions it calls for."""

from __future__ import annotations

from collections.abc import Mapping

from finishlab.records.cans import Batch
from finishlab.records.finish import ColourStep, Finish

__all__ = ["products_of"]


def products_of(finish: Finish, cans: Mapping[int, Batch]) -> list[str]:
    """Return what a finish puts on, all words of one product in one text; then its cans' own, by their counts."""
    named = [_stain(step) for step in finish.steps]
    if finish.seal is not None:
        named.append(_together(finish.seal.kind, finish.seal.maker))
    top = finish.topcoat
    if top is not None:
        hardener = "hardener" if top.hardener_ratio else None
        named.append(_together(top.kind, top.maker, top.product, top.sheen, hardener))
    named.append(finish.preparation.conditioner or "")
    named += [_together(cans[number].kind, cans[number].product) for number in finish.cans() if number in cans]
    return [name for name in named if name]


def _stain(step: ColourStep) -> str:
    """Return a step's product as a stain, whose kind may not be known: ``walnut stain``."""
    return _together(step.kind, "stain", step.name) if step.kind or step.name else ""


def _together(*words: str | None) -> str:
    return " ".join(word for word in words if word)

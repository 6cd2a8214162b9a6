"""What a finish puts on the wood, in the words people wrote: for the cautions it calls for."""

from __future__ import annotations

from collections.abc import Mapping

from finishlab.records.cans import Batch
from finishlab.records.finish import Finish

__all__ = ["products_of"]


def products_of(finish: Finish, cans: Mapping[int, Batch]) -> list[str]:
    """Return all names of products a finish says, those of the cans it names too; `cans` by their counts."""
    named: list[str | None] = []
    for step in finish.steps:
        named += [f"{step.kind} stain" if step.kind else None, step.name]
    for each in (finish.seal, finish.topcoat):
        if each is not None:
            named += [each.kind, each.maker]
    if finish.topcoat is not None:
        named += [finish.topcoat.product, finish.topcoat.sheen, "hardener" if finish.topcoat.hardener_ratio else None]
    named.append(finish.preparation.conditioner)
    for number in finish.cans():
        if number in cans:
            named += [cans[number].kind, cans[number].product]
    return [name for name in named if name]

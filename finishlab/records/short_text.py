"""A finish in short, as stain, coats and topcoat say it, and the long form of what was only said in short."""

from __future__ import annotations

from typing import Any

from finishlab.records.boards import BoardRecord
from finishlab.records.finish import ColourStep, Finish, Topcoat
from finishlab.records.tidy import SHORT_TEXT

__all__ = ["long_form", "recipe_name", "short_form"]

_BARE = {"none", "no", "bare", "without"}


def short_form(finish: Finish) -> dict[str, Any]:
    """Return `stain`, `coats` and `topcoat` of a board as its finish says them; what it does not say is left out.

    Coats of one colour put on one after the other are one stain of several coats.
    """
    said: dict[str, Any] = {}
    names = list(dict.fromkeys(step.name or f"{step.kind} stain" for step in finish.steps if step.name or step.kind))
    if names:
        said["stain"] = ", then ".join(names)[:SHORT_TEXT]
        said["coats"] = min(len(finish.steps), 8)
    topcoat = _topcoat(finish.topcoat)
    if topcoat is not None and finish.topcoat is not None and finish.topcoat.coats != 0:
        said["topcoat"] = topcoat
    return said


def _topcoat(coat: Topcoat | None) -> str | None:
    if coat is None:
        return None
    what = coat.product if coat.kind in {None, "other"} else coat.kind
    words = [coat.maker if what is None or what == coat.product else None, coat.sheen, what]
    return " ".join(word for word in words if word)[:SHORT_TEXT] or None


def long_form(record: BoardRecord) -> Finish:
    """Return a board's finish; where only the short text was written, the little that it says."""
    if record.finish is not None:
        return record.finish
    coats = record.coats if record.coats is not None else 1
    steps: tuple[ColourStep, ...] = ()
    if record.stain is not None:
        many = coats > 1
        steps = tuple(ColourStep(colour=record.stain, coat=n if many else None) for n in range(1, min(coats, 4) + 1))
    bare = record.topcoat is None or record.topcoat.casefold() in _BARE
    return Finish(steps=steps, topcoat=None if bare else Topcoat(product=record.topcoat))


def recipe_name(record: BoardRecord) -> str:
    """Return a name for the recipe of a board: its stain, coats and topcoat."""
    said = short_form(long_form(record))
    stain = record.stain or said.get("stain") or "no stain"
    coats = record.coats if record.coats is not None else said.get("coats")
    topcoat = record.topcoat or said.get("topcoat") or "no topcoat"
    counted = f"{stain} x {coats}" if coats is not None and coats > 1 else stain
    return f"{counted}, {topcoat}"[:SHORT_TEXT]

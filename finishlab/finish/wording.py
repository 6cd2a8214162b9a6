"""A finish in words: its rows from the bare wood to the last coat, and its fields one by one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from finishlab.finish.fields import Section, specs
from finishlab.finish.finish import FINISH_PARTS, ColourStep, Finish, Preparation, Topcoat

__all__ = ["Row", "finish_changes", "finish_fields", "finish_rows"]

Row = tuple[str, str]
"""A label and its value, both in words."""


def finish_rows(finish: Finish | None) -> tuple[Row, ...]:
    """Return what is written of a finish, from the bare wood to the last coat; what is not has no row."""
    if finish is None:
        return ()
    rows = [("piece", _wood(finish.preparation)), ("preparation", _prepared(finish.preparation))]
    rows += [(f"step {number}", _step(step)) for number, step in enumerate(finish.steps, start=1)]
    if finish.seal is not None:
        rows.append(("seal", _list(_head(finish.seal, "maker", "kind"), _of(finish.seal, "lot", "can", "coats"))))
    if finish.topcoat is not None:
        rows.append(("topcoat", _topcoat(finish.topcoat)))
    if finish.looking is not None:
        rows.append(("lay", _list(finish.looking.place, _of(finish.looking, "grain"))))
    return tuple((label, value) for label, value in rows if value)


def finish_changes(before: Finish | None, after: Finish | None) -> tuple[str, ...]:
    """Return in words what differs between two finishes, one entry a field."""
    one, two = (
        {name: (label, words) for name, label, words, _ in finish_fields(f or Finish())} for f in (before, after)
    )
    told = []
    for name in dict.fromkeys((*one, *two)):
        here, there = one.get(name), two.get(name)
        if here != there:
            label = (there or here or ("", ""))[0]
            told.append(f"{label} {here[1] if here else 'none'} -> {there[1] if there else 'none'}")
    return tuple(told)


def finish_fields(finish: Finish) -> Iterator[tuple[str, str, str, Any]]:
    """Give every field that is written: its JSON name, the name people read, its value in words and as JSON.

    The JSON name is a field's path, such as ``finish.steps.1.wipe_min``.
    """
    for part in FINISH_PARTS:
        found: Any = getattr(finish, part.name)
        for number, section in enumerate(found if part.several else [found], start=1):
            path = f"{part.name}.{number}" if part.several else part.name
            called = f"step {number}: " if part.several else f"{part.name}: " if part.name in _NAMED else ""
            for each, words, value in () if section is None else section.written():
                yield f"finish.{path}.{each.name}", f"{called}{each.label}", words, value


_NAMED = ("seal", "topcoat")
"""Parts whose fields are told with the part's name."""


def _of(part: Section, *keys: str) -> str | None:
    """Return some fields with their names, in the order they are asked for."""
    known = {each.key: each for each in specs(type(part))}
    told = []
    for key in keys:
        value = getattr(part, known[key].name)
        if value is None or value == ():
            continue
        words = part.words(known[key])
        if key == "coats":
            told.append(f"{words} coat{'' if value == 1 else 's'}")
        else:
            told.append(words if key == "can" else f"{known[key].label} {words}")
    return ", ".join(told) or None


def _head(part: Section, *names: str) -> str | None:
    return " ".join(str(getattr(part, name)) for name in names if getattr(part, name)) or None


def _list(*words: str | None) -> str:
    return ", ".join(word for word in words if word)


def _wood(wood: Preparation) -> str:
    return _list(wood.cut, wood.construction, _of(wood, "size", "stock", "offcut", "moisture"))


def _prepared(wood: Preparation) -> str:
    raised = {True: "grain raised", False: "grain not raised", None: None}[wood.grain_raised]
    conditioner = f"conditioner {wood.conditioner}" if wood.conditioner else None
    return _list(_of(wood, "grits"), raised, _of(wood, "drying"), conditioner, _of(wood, "dwell", "wait"))


def _step(step: ColourStep) -> str:
    mix = _of(step, "mix")
    by = f"{mix} by {step.mix_by}" if mix and step.mix_by else mix
    tool = f"with {step.applicator}" if step.applicator else None
    rest = _of(step, "wipe", "coat", "next", "air", "rh")
    return _list(
        _head(step, "maker", "colour"), step.kind, _of(step, "lot", "can"), by, _of(step, "thinner"), tool, rest
    )


def _topcoat(coat: Topcoat) -> str:
    kind = coat.kind if coat.kind != "other" or not coat.product else None
    head = " ".join(word for word in (coat.maker, coat.product) if word) or None
    rest = ("sheen", "gloss", "coats", "lot", "can", "hardener", "mixed", "recoat", "rubout", "antislip")
    return _list(head, kind, _of(coat, *rest))

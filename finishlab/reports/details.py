"""What is written of a board and its finish, as rows of a label and a value in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any, Final

from finishlab.records import BoardRecord, ColourStep, Finish, Preparation, Topcoat
from finishlab.records.entries import Checked, entries
from finishlab.records.finish_text import value_words, written_fields
from finishlab.records.short_text import short_form

__all__ = ["Fact", "Row", "board_details", "field_rows", "finish_changes", "finish_rows", "label_facts"]

Row = tuple[str, str]
"""A label and its value, both in words."""

Fact = tuple[str, str | int | dt.date | None]
"""A label and what is written there."""

_TOPCOAT: Final = "topcoat"
"""What the row of the topcoat is called, in short or in full."""
_BOARD: Final = (
    ("species", "wood"),
    ("purpose", "made as"),
    ("state", "state"),
    ("maker", "made by"),
    ("recipe", "recipe"),
    ("stain", "stain"),
    ("coats", "stain coats"),
    ("topcoat", "topcoat"),
    ("light", "first light"),
    ("date", "date"),
    ("note", "note"),
)


def board_details(record: BoardRecord) -> tuple[Row, ...]:
    """Return what a board's record says, one row a field; what was not written down has no row."""
    short = {} if record.finish is None else short_form(record.finish)
    bare = "none" if record.purpose in {"raw", "clear-only control"} else None
    stain = record.stain or short.get("stain") or bare
    coats = record.coats if record.coats is not None else short.get("coats")
    rows: list[Fact] = [
        ("wood", record.species),
        ("stain", stain),
        ("stain coats", None if stain == bare else coats),
        ("recipe", record.recipe),
        *_finish(record, "none on record"),
        ("state", record.state),
        ("made as", None if record.purpose == "candidate" else record.purpose),
        ("made by", record.maker),
        ("date", record.date.isoformat()),
        ("note", record.note),
    ]
    return tuple((label, str(value)) for label, value in rows if value is not None)


def _finish(record: BoardRecord, without: str | None) -> list[Fact]:
    """Return the rows of a finish with one of the topcoat: in full where it is written so, else as said in short."""
    rows: list[Fact] = list(finish_rows(record.finish))
    written = dict(rows)
    said = record.topcoat
    if _TOPCOAT not in written:
        place = next((n for n, (label, _) in enumerate(rows) if label == "lay"), len(rows))
        return [*rows[:place], (_TOPCOAT, said or without), *rows[place:]]
    derived = None if record.finish is None else short_form(record.finish).get("topcoat")
    if said is not None and said != derived:
        rows = [(label, f"{said}; {value}" if label == _TOPCOAT else value) for label, value in rows]
    return rows


def label_facts(record: BoardRecord) -> list[Fact]:
    """Return what a board's label says, from the wood up to the last coat."""
    return [
        ("species", record.species),
        ("recipe", record.recipe),
        ("stain", record.stain),
        ("coats", record.coats),
        *_finish(record, None),
        ("state", record.state),
        ("purpose", record.purpose),
        ("maker", record.maker),
        ("date", record.date),
        ("note", record.note),
    ]


def finish_rows(finish: Finish | None) -> tuple[Row, ...]:
    """Return what is written of a finish, from the bare wood to the last coat; what is not has no row."""
    if finish is None:
        return ()
    rows = [("piece", _wood(finish.preparation)), ("preparation", _prepared(finish.preparation))]
    rows += [(f"step {number}", _step(step)) for number, step in enumerate(finish.steps, start=1)]
    if finish.seal is not None:
        rows.append(("seal", _list(_head(finish.seal, "maker", "kind"), _of(finish.seal, "lot", "can", "coats"))))
    if finish.topcoat is not None:
        rows.append((_TOPCOAT, _topcoat(finish.topcoat)))
    if finish.looking is not None:
        rows.append(("lay", _list(finish.looking.place, _of(finish.looking, "grain"))))
    return tuple((label, value) for label, value in rows if value)


def field_rows(record: BoardRecord) -> Iterator[tuple[str, str, str, Any]]:
    """Give every field that is written: its JSON name, the name people read, its value in words and as JSON.

    The JSON name of a finish's field is its path, such as ``finish.steps.1.wipe_min``.
    """
    plain = record.as_dict()
    for name, label in _BOARD:
        value = getattr(record, name)
        if value is not None:
            yield name, label, str(value), value if name == "recipe" else plain[name]
    yield from _finish_fields(record.finish or Finish())


def finish_changes(before: Finish | None, after: Finish | None) -> tuple[str, ...]:
    """Return in words what differs between two finishes, one entry a field."""
    one, two = (
        {name: (label, words) for name, label, words, _ in _finish_fields(f or Finish())} for f in (before, after)
    )
    told = []
    for name in dict.fromkeys((*one, *two)):
        here, there = one.get(name), two.get(name)
        if here != there:
            label = (there or here or ("", ""))[0]
            told.append(f"{label} {here[1] if here else 'none'} -> {there[1] if there else 'none'}")
    return tuple(told)


def _finish_fields(finish: Finish) -> Iterator[tuple[str, str, str, Any]]:
    parts: list[tuple[str, str, Checked | None]] = [("preparation", "", finish.preparation)]
    parts += [(f"steps.{n}", f"step {n}", step) for n, step in enumerate(finish.steps, start=1)]
    parts += [("seal", "seal", finish.seal), ("topcoat", "topcoat", finish.topcoat), ("looking", "", finish.looking)]
    for path, called, part in parts:
        if part is None:
            continue
        for each, words, value in written_fields(part):
            yield f"finish.{path}.{each.name}", f"{called}: {each.label}" if called else each.label, words, value


def _of(part: Checked, *keys: str) -> str | None:
    """Return some fields with their names, in the order they are asked for."""
    known = {each.key: each for each in entries(type(part))}
    told = []
    for key in keys:
        value = getattr(part, known[key].name)
        if value is None or value == ():
            continue
        words = value_words(part, known[key])
        if key == "coats":
            told.append(f"{words} coat{'' if value == 1 else 's'}")
        else:
            told.append(words if key == "can" else f"{known[key].label} {words}")
    return ", ".join(told) or None


def _head(part: Checked, *names: str) -> str | None:
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

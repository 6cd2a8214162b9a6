"""A finish in words: its rows from the bare wood to the last coat, and its fields one by one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from finishlab.finish.fields import FieldSpec, Section, specs
from finishlab.finish.finish import FINISH_PARTS, Finish, FinishPart

__all__ = ["Row", "finish_changes", "finish_fields", "finish_rows"]

Row = tuple[str, str]
"""A label and its value, both in words."""


_ROWS: Final[Mapping[str, Mapping[str, str]]] = {
    "preparation": {
        "piece": "cut construction size stock offcut moisture",
        "preparation": "grits raised drying conditioner dwell wait",
    },
    "steps": {"step": "maker+colour kind lot can mix thinner applicator wipe coat next air rh"},
    "seal": {"seal": "maker+kind lot can coats"},
    "topcoat": {"topcoat": "maker+product kind sheen gloss coats lot can hardener mixed recoat rubout antislip"},
    "looking": {"lay": "place grain"},
}
"""Part of a finish -> its rows, each with the keys of its fields; those in no row come last in the last one."""
_PLAIN: Final = ("maker", "colour", "kind", "product", "cut", "construction", "place", "can")
"""Fields that are told without their name."""


def finish_rows(finish: Finish | None) -> tuple[Row, ...]:
    """Return what is written of a finish, from the bare wood to the last coat; what is not has no row."""
    rows = []
    for part, number, section in _sections(finish or Finish()):
        known = {each.key: each for each in specs(part.section)}
        orders = {label: keys.split() for label, keys in _ROWS[part.name].items()}
        placed = {key for order in orders.values() for group in order for key in group.split("+")}
        orders[[*orders][-1]] += [key for key in known if key not in placed]
        for label, order in orders.items():
            groups = ([_words(section, known[key]) for key in group.split("+")] for group in order)
            told = ", ".join(words for group in groups if (words := " ".join(filter(None, group))))
            rows += [(f"{label} {number}" if part.several else label, told)] if told else []
    return tuple(rows)


def _sections(finish: Finish) -> Iterator[tuple[FinishPart, int, Section]]:
    """Give each section that is there, of several with its number."""
    for part in FINISH_PARTS:
        found: Any = getattr(finish, part.name)
        for number, section in enumerate(found if part.several else [found], start=1):
            if section is not None:
                yield part, number, section


def _words(section: Section, each: FieldSpec) -> str | None:
    """Return a field that is written down as it stands in a row."""
    value = getattr(section, each.name)
    told_beside = {"by": "mix", "kind": "product" if value == "other" else ""}.get(each.key)
    if value == each.empty or (told_beside and getattr(section, told_beside, None)):
        return None  # a way of mixing is told with the mix, and a product says more than “other”
    words = section.words(each)
    if each.key == "mix" and (by := getattr(section, "mix_by", None)):
        words += f" by {by}"
    if each.form == "flag":
        return each.label if value else each.label.replace(" ", " not ", 1)
    if each.key == "coats":
        return f"{words} coat{'' if value == 1 else 's'}"
    if each.key == "applicator":
        return f"with {words}"
    return words if each.key in _PLAIN else f"{each.label} {words}"


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
    for part, number, section in _sections(finish):
        path = f"{part.name}.{number}" if part.several else part.name
        called = f"step {number}: " if part.several else f"{part.name}: " if part.name in _NAMED else ""
        for each, words, value in section.written():
            yield f"finish.{path}.{each.name}", f"{called}{each.label}", words, value


_NAMED = ("seal", "topcoat")
"""Parts whose fields are told with the part's name."""

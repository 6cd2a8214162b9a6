"""The short written form of a section: ``oil; maker=Acme; colour=honey; wipe=10``, and each field's value as text.

Fields are separated by semicolons; a field is its key, an equals sign and its value. What stands first without an
equals sign is the kind. An empty value takes a field out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final, TypeVar

from finishlab.errors import UsageError
from finishlab.records.cans import Label
from finishlab.records.entries import Checked, Entry, MixPart, entries, shown_entries
from finishlab.records.finish import ColourStep, Finish, Looking, Preparation, Seal, Topcoat
from finishlab.records.lengths import check_likely
from finishlab.records.numbers import Number, number_of
from finishlab.records.units import UNITS, read_figure
from finishlab.units import as_typed_text, is_us, split_sizes

__all__ = [
    "SECTIONS",
    "changed",
    "likely_sides",
    "parse_fields",
    "read_value",
    "show_value",
    "step_changes",
    "unit_typed",
    "value_words",
    "written_fields",
]

Part = TypeVar("Part", bound=Checked)

SECTIONS: Final[Mapping[str, type[Checked]]] = {
    "preparation": Preparation,
    "step": ColourStep,
    "seal": Seal,
    "topcoat": Topcoat,
    "looking": Looking,
    "label": Label,
}
"""Name of a section -> its type."""

_ALIASES: Final[Mapping[str, str]] = {
    "oil pu": "oil polyurethane",
    "water pu": "water polyurethane 1-part",
    "water pu 1-part": "water polyurethane 1-part",
    "water pu 2-part": "water polyurethane 2-part",
    "water polyurethane": "water polyurethane 1-part",
}
_YES: Final = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}
_COLOUR_PART: Final = re.compile(r"\s*([0-9]*[.,]?[0-9]+)\s+(.*\S)\s*")


def parse_fields(section: type[Checked], text: str) -> dict[str, Any]:
    """Return the fields a text names, by their names in the record, each as the record keeps it.

    Raises
    ------
    UsageError
        ``"unknown-field"``, ``"field-twice"``, ``"no-equals"``, or what a value cannot be.
    """
    known = {each.key: each for each in shown_entries(section)}
    found: dict[str, Any] = {}
    for position, item in enumerate(text.split(";")):
        if not item.strip():
            continue
        key, equals, value = item.partition("=")
        if not equals:
            if position or "kind" not in known:
                raise UsageError(
                    "no-equals", f"“{item.strip()}” says no field.", f"Write field=value; {_fields(section)}"
                )
            key, value = "kind", key
        each = known.get(_key(key))
        if each is None:
            raise UsageError("unknown-field", f"There is no field “{key.strip()}” here.", _fields(section))
        if each.name in found:
            raise UsageError("field-twice", f"The {each.label} is said twice.", "Say it once.")
        found[each.name] = read_value(each, value)
        found |= unit_typed(each, value)
    return found


def changed(section: type[Part], now: Part | None, changes: Mapping[str, Any]) -> Part | None:
    """Return a section with some fields changed; None when nothing is left of it."""
    values = {each.name: getattr(now, each.name) for each in entries(section)} if now is not None else {}
    part = section(**values | dict(changes))
    return None if part.is_empty() else part


def step_changes(finish: Finish, texts: tuple[str, ...]) -> Finish:
    """Return a finish with the colour steps that texts say.

    A text that begins with a number and a colon changes that step, or adds it where it is the next; the others are the
    new steps, in order. ``coats=2`` makes two coats of one text.

    Raises
    ------
    UsageError
        ``"no-such-step"``, ``"coats-out-of-range"``, and what `parse_fields` raises.
    """
    kept, fresh = list(finish.steps), []
    for text in texts:
        numbered = re.match(r"\s*([0-9]+)\s*:(.*)", text, re.DOTALL)
        if numbered is None:
            fresh += _coats(text)
            continue
        number = int(numbered[1])
        if not 1 <= number <= len(kept) + 1:
            raise UsageError(
                "no-such-step",
                f"There is no colour step {number} to change.",
                f"Steps on record: {len(kept)}. Without a number the texts are the new steps, all of them.",
            )
        if number > len(kept):
            kept += _coats(numbered[2])
            continue
        kept[number - 1] = replace(kept[number - 1], **parse_fields(ColourStep, numbered[2]))
    return replace(finish, steps=tuple(fresh) if fresh else tuple(step for step in kept if not step.is_empty()))


def _coats(text: str) -> list[ColourStep]:
    """Return the steps of one text: several when it says ``coats=``."""
    items = [item for item in text.split(";") if _key(item.partition("=")[0]) != "coats" or "=" not in item]
    said = [
        item.partition("=")[2] for item in text.split(";") if "=" in item and _key(item.partition("=")[0]) == "coats"
    ]
    step = ColourStep(**parse_fields(ColourStep, ";".join(items)))
    if not said:
        return [] if step.is_empty() else [step]
    count = read_figure(said[-1], "", "number of coats")
    if count not in range(1, 5):
        raise UsageError("coats-out-of-range", f"A colour cannot have {said[-1].strip()} coats.", "Give 1 to 4.")
    return [replace(step, coat=number) for number in range(1, int(count) + 1)]


_OTHER_UNITS: Final = ("mm", "m2/L")
"""Units for which `unit_typed` can return another one."""


def unit_typed(each: Entry, text: str) -> dict[str, str | None]:
    """Return under ``typed_in`` the unit a figure was typed in where it is shown so, else None; nothing for others."""
    if each.unit not in _OTHER_UNITS or not text.strip():
        return {}
    if each.unit == "mm":
        return {"typed_in": "in" if is_us(text) else None}
    found = re.search(r"ft[2²]/(gal|qt)", text.lower().replace(" ", ""))
    return {"typed_in": None if found is None else f"ft2/{found[1]}"}


def value_words(part: Checked, each: Entry) -> str:
    """Return a section's field with its unit, that in which it was typed."""
    value, unit = getattr(part, each.name), getattr(part, "typed_in", None)
    if each.unit == "m2/L":
        return f"{round(value / UNITS[each.unit].get(unit or '', 1.0), 2):g} {unit or each.unit}"
    if unit is None or each.form != "size":
        return f"{show_value(each, value)} {_SHOWN.get(each.unit, each.unit)}".strip()
    return " x ".join(as_typed_text(side, inches=True).removesuffix(" in") for side in value) + " in"


def written_fields(part: Checked) -> Iterator[tuple[Entry, str, Any]]:
    """Give each field of a section that is written down, with its value in words and as JSON holds it."""
    said = part.as_dict()
    for each in shown_entries(type(part)):
        if each.name in said:
            yield each, value_words(part, each), said[each.name]


_SHOWN: Final = {"C": "°C"}


def read_value(each: Entry, text: str) -> Any:  # noqa: ANN401, PLR0911 - one type and one way out a form
    """Return a typed value as the record keeps it; blank takes the field out.

    Raises
    ------
    UsageError
        If it cannot be read.
    """
    text = text.strip()
    if not text:
        return () if each.form in {"grits", "mix"} else None
    if each.form == "number":
        return read_figure(text, each.unit, each.label)
    if each.form == "count":
        return read_figure(text, "", each.label)
    if each.form == "can":
        return number_of("C", text)
    if each.form == "flag":
        if text.casefold() not in _YES:
            raise UsageError(f"bad-{each.key}", f"“{text}” is neither yes nor no.", f"{each.key}=yes or {each.key}=no.")
        return _YES[text.casefold()]
    if each.form == "grits":
        return tuple(read_figure(grit, "", each.label) for grit in re.split(r"[-,\s]+", text) if grit)
    if each.form in {"size", "ratio"}:
        return _lengths(each, text)
    if each.form == "mix":
        return _mix(text)
    return _choice(each, text) if each.form == "choice" else text


def show_value(each: Entry, value: Any) -> str:  # noqa: ANN401 - each form has its own type
    """Return a value as people type it, without its unit."""
    if each.form == "flag":
        return "yes" if value else "no"
    if each.form == "can":
        return Number.of("C", value)
    if each.form == "grits":
        return "-".join(str(grit) for grit in value)
    if each.form in {"size", "ratio"}:
        return ("x" if each.form == "size" else ":").join(_figure(side) for side in value)
    if each.form == "mix":
        return " + ".join(f"{_figure(part.parts)} {part.colour}" for part in value)
    return _figure(value) if isinstance(value, int | float) else str(value)


def _figure(value: float) -> str:
    return repr(round(value, 6)).removesuffix(".0")


def _key(text: str) -> str:
    return text.strip().casefold().replace("_", "-").replace(" ", "-")


def _fields(section: type[Checked]) -> str:
    return f"Fields: {', '.join(each.key for each in shown_entries(section))}."


def _choice(each: Entry, text: str) -> str:
    lower = text.casefold()
    lower = _ALIASES.get(lower, lower) if each.key == "kind" else lower
    return next((choice for choice in each.choices if choice.casefold() == lower), text)


def _lengths(each: Entry, text: str) -> tuple[float, ...]:
    if each.form == "ratio":
        return tuple(read_figure(part, "", each.label) for part in text.split(":"))
    sides = split_sizes(text)
    values = tuple(read_figure(side, "mm", each.label) for side in sides)
    likely_sides(sides, values)
    return values


def likely_sides(sides: Sequence[object], values: Sequence[float]) -> None:
    """Refuse a board's length, width and thickness that were given without a unit and make no sense in millimetres."""
    names = ("length", "width", "thickness")
    texts = dict(zip(names, (str(side) for side in sides), strict=False))
    check_likely(texts, dict(zip(names, values, strict=False)), "board")


def _mix(text: str) -> tuple[MixPart, ...]:
    parts = []
    for item in text.split("+"):
        found = _COLOUR_PART.fullmatch(item)
        if found is None:
            raise UsageError("bad-mix", f"“{item.strip()}” is not a part of a mix.", "Write it as: 2 honey + 1 walnut")
        parts.append(MixPart(found[2], float(found[1].replace(",", "."))))
    return tuple(parts)

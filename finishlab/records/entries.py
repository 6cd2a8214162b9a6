"""Sections of a finish record: fields that know their name, unit and form, and check themselves when built."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from typing import Any, ClassVar, Final, Literal, Self, TypeVar, cast

from finishlab.errors import UsageError
from finishlab.records.limits import Section, check_number
from finishlab.records.tidy import line

__all__ = ["Checked", "Entry", "Form", "MixPart", "entries", "entry", "shown_entries"]

Form = Literal["text", "choice", "number", "count", "flag", "grits", "size", "ratio", "mix", "can", "unit"]
"""How a field is typed and kept: see `finishlab.records.finish_text`; a unit is kept with what was typed in it."""

Number = TypeVar("Number", int, float)
_MOST: Final = 12
"""Most grits, or parts of a mix, on record (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What a field of a section is: how it is named, typed and shown."""

    name: str
    """Name in the record and in JSON, with its unit."""
    key: str
    """Name people type."""
    label: str
    """Name people read."""
    unit: str = ""
    form: Form = "text"
    choices: tuple[str, ...] = ()
    """The trade's list; with the form `text` only suggestions."""
    own: bool = False
    """True for what belongs to one piece of wood and not to a recipe."""


def entry(
    key: str,
    label: str,
    unit: str = "",
    form: Form = "text",
    choices: tuple[str, ...] = (),
    *,
    own: bool = False,
) -> Any:  # noqa: ANN401 - as `dataclasses.field`
    """Return a dataclass field that may be left empty, with what an `Entry` says of it."""
    empty = () if form in {"grits", "mix"} else None
    made = {"key": key, "label": label, "unit": unit, "form": form, "choices": choices, "own": own}
    return field(default=cast("Any", empty), metadata=made)


_KNOWN: Final[dict[Any, tuple[Entry, ...]]] = {}


def entries(section: type[Any]) -> tuple[Entry, ...]:
    """Return what is known of a section's fields, in order."""
    if section not in _KNOWN:
        _KNOWN[section] = tuple(
            Entry(f.name, **f.metadata) for f in fields(cast("Any", section)) if "key" in f.metadata
        )
    return _KNOWN[section]


def shown_entries(section: type[Any]) -> tuple[Entry, ...]:
    """Return the fields that people type and read by name; units go with the figures that were typed in them."""
    return tuple(each for each in entries(section) if each.form != "unit")


class Checked:
    """Base of the sections: values are tidied and held against the hard limits when built."""

    __slots__ = ()
    SECTION: ClassVar[Section]

    def __post_init__(self) -> None:
        for each in entries(type(self)):
            value = getattr(self, each.name)
            object.__setattr__(self, each.name, _checked(self.SECTION, each, value))

    def is_empty(self) -> bool:
        """Return whether nothing is written down."""
        return not self.as_dict()

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form: what is written down, units in the names."""
        shown = ((each.name, getattr(self, each.name)) for each in entries(type(self)))
        return {name: _plain(value) for name, value in shown if value is not None and value != ()}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Rebuild a section from `as_dict`.

        Raises
        ------
        UsageError
            If a value cannot be meant.
        TypeError
            If there are names that are no field's.
        """
        values = {name: tuple(value) if isinstance(value, list) else value for name, value in data.items()}
        return cls(**values)


@dataclass(frozen=True, slots=True)
class MixPart:
    """One colour of a mix.

    Raises
    ------
    UsageError
        ``"no-colour"``, ``"mix-out-of-range"``.
    """

    colour: str
    parts: float

    def __post_init__(self) -> None:
        colour = line("colour", self.colour)
        if colour is None:
            raise UsageError("no-colour", "A part of the mix has no colour.", "Write it as: 2 honey + 1 walnut")
        object.__setattr__(self, "colour", colour)
        object.__setattr__(self, "parts", _number("parts", self.parts))
        check_number("step", "mix", self.parts)


def _plain(value: object) -> Any:  # noqa: ANN401 - JSON values
    if isinstance(value, tuple):
        return [{"colour": each.colour, "parts": each.parts} if isinstance(each, MixPart) else each for each in value]
    return value


def _checked(section: str, each: Entry, value: Any) -> Any:  # noqa: ANN401 - each form has its own type
    return None if value is None else _CHECKS[each.form](section, each, value)


def _text(section: str, each: Entry, value: Any) -> str | None:  # noqa: ANN401 - not known before it is checked
    text = line(each.label, value if isinstance(value, str) else str(value))
    if each.form in {"choice", "unit"} and text is not None and text not in each.choices:
        code = f"unknown-{section}-{each.key}"
        raise UsageError(code, f"“{text}” is not a {each.label}.", f"Choose one of: {', '.join(each.choices)}.")
    return text


def _mix(section: str, each: Entry, value: Any) -> tuple[MixPart, ...]:  # noqa: ANN401 - not known before it is checked
    del section
    return tuple(part if isinstance(part, MixPart) else MixPart(**part) for part in _few(each, value))


def _grits(section: str, each: Entry, value: Any) -> tuple[int, ...]:  # noqa: ANN401 - not known before it is checked
    return tuple(_count(section, each, grit) for grit in _few(each, value))


def _lengths(section: str, each: Entry, value: Any) -> tuple[float, ...]:  # noqa: ANN401 - not known before it is checked
    return tuple(_measure(section, each, side) for side in _of_length(each, value))


def _measure(section: str, each: Entry, value: object) -> float:
    return _bounded(section, each, _number(each.label, value))


def _count(section: str, each: Entry, value: object) -> int:
    return _bounded(section, each, _whole(each.label, value))


def _flag(section: str, each: Entry, value: object) -> bool:
    del section
    if not isinstance(value, bool):
        raise UsageError(f"bad-{each.key}", f"“{value}” is neither yes nor no for: {each.label}.", "Give yes or no.")
    return value


def _bounded(section: str, each: Entry, value: Number) -> Number:
    check_number(section, each.name, value)
    return value


def _few(each: Entry, values: Any) -> tuple[Any, ...]:  # noqa: ANN401 - not known before it is checked
    if not isinstance(values, tuple) or len(values) > _MOST:
        raise UsageError(f"bad-{each.key}", f"This cannot be read as {each.label}.", f"Give a list of up to {_MOST}.")
    return values


def _of_length(each: Entry, values: Any) -> tuple[Any, ...]:  # noqa: ANN401 - not known before it is checked
    length = 3 if each.form == "size" else 2
    if not isinstance(values, tuple) or len(values) != length:
        form = "150x300x19" if each.form == "size" else "10:1"
        raise UsageError(f"bad-{each.key}", f"This cannot be read as {each.label}.", f"Write it as {form}.")
    return values


def _number(label: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise UsageError("not-a-number", f"“{value}” is not a number ({label}).", "Give a number.")
    return float(value)


def _whole(label: str, value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int | float) or value % 1:
        raise UsageError("not-a-whole-number", f"“{value}” is not a whole number ({label}).", "Give a whole number.")
    return int(value)


_CHECKS: Final[Mapping[Form, Callable[[str, Entry, Any], Any]]] = {
    "text": _text,
    "choice": _text,
    "number": _measure,
    "count": _count,
    "flag": _flag,
    "grits": _grits,
    "size": _lengths,
    "ratio": _lengths,
    "mix": _mix,
    "can": _count,
    "unit": _text,
}

"""Fields of a finish: each one `FieldSpec`, by which it is named, typed, asked for, bounded, kept and worded.

The short written form of a section is ``oil; maker=Acme; colour=honey; wipe=10``: fields are separated by semicolons, a
field is its key, an equals sign and its value. What stands first without an equals sign is the kind. An empty value
takes a field out.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any, ClassVar, Final, Literal, NamedTuple, Self, TypeVar, cast

from finishlab.coatings import COATINGS
from finishlab.errors import UsageError
from finishlab.record import Number, Record, line, normalize, number_of
from finishlab.units import UNITS, as_typed_text, check_likely, is_us, read_figure, split_sizes

Form = Literal["text", "choice", "number", "count", "flag", "grits", "size", "ratio", "mix", "can", "unit"]
"""How a field is typed and kept, see `_FORMS`; a unit is kept with what was typed in it."""

Figure = TypeVar("Figure", int, float)
Part = TypeVar("Part", bound="Section")
_MOST: Final = 12
"""Most grits, or parts of a mix, on record (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class HardLimit:
    """One bound no record may pass (common practice, no source)."""

    section: str
    """The part of a record it is about."""
    field: str
    """Name of the record's field, with its unit."""
    words: str
    """What people call it."""
    unit: str = ""
    low: float | None = None
    high: float | None = None
    above_low: bool = False
    """Whether `low` itself is out too."""

    @property
    def code(self) -> str:
        """Code of the `UsageError` where the bounds are passed."""
        return f"{self.field.replace('_', '-')}-out-of-range"

    @property
    def hint(self) -> str:
        """What may be given."""
        unit = f" {self.unit}" if self.unit else ""
        if self.high is None:
            return f"Give {'more than' if self.above_low else 'at least'} {self.low:g}{unit}."
        return f"Give {self.low:g} to {self.high:g}{unit}."

    def check(self, value: Figure) -> Figure:
        """Return a number that keeps the bounds.

        Raises
        ------
        UsageError
            ``"<field>-out-of-range"`` with hyphens for underscores.
        """
        low_passed = self.low is not None and (value <= self.low if self.above_low else value < self.low)
        if not math.isfinite(value) or low_passed or (self.high is not None and value > self.high):
            unit = f" {self.unit}" if self.unit else ""
            raise UsageError(self.code, f"The {self.section}'s “{self.words}” cannot be {value:g}{unit}.", self.hint)
        return value


@dataclass(frozen=True, slots=True)
class FieldSpec:
    """What a field of a section is: how it is named, typed, bounded and shown."""

    section: str
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
    limit: HardLimit | None = None
    only_with: str = ""
    """Name of the field, or ``name=value``, without which nobody is asked for this one."""

    @property
    def empty(self) -> Any:  # noqa: ANN401 - each form has its own type
        """What the field is where nothing is written down."""
        return () if self.form in {"grits", "mix"} else None

    def read(self, text: str) -> Any:  # noqa: ANN401 - each form has its own type
        """Return a typed value as the record keeps it; blank takes the field out.

        Raises
        ------
        UsageError
            If it cannot be read.
        """
        return _FORMS[self.form].read(self, text.strip()) if text.strip() else self.empty

    def show(self, value: Any) -> str:  # noqa: ANN401 - each form has its own type
        """Return a value as people type it, without its unit."""
        return _FORMS[self.form].show(value)

    def check(self, value: Any) -> Any:  # noqa: ANN401 - not known before it is checked
        """Return a value tidied and held against the hard limits."""
        return None if value is None else _FORMS[self.form].check(self, value)

    def unit_typed(self, text: str) -> dict[str, str | None]:
        """Return under ``typed_in`` the unit a figure was typed in where it is shown so, else None; {} for others."""
        if self.unit not in {"mm", "m2/L"} or not text.strip():
            return {}
        if self.unit == "mm":
            return {"typed_in": "in" if is_us(text) else None}
        found = re.search(r"ft[2²]/(gal|qt)", text.lower().replace(" ", ""))
        return {"typed_in": None if found is None else f"ft2/{found[1]}"}

    def bounded(self, value: Figure) -> Figure:
        """Return a number that keeps the hard limit."""
        return value if self.limit is None else self.limit.check(value)


def typed(
    key: str,
    label: str,
    unit: str = "",
    form: Form | None = None,
    choices: tuple[str, ...] = (),
    *,
    own: bool = False,
    low: float | None = None,
    above: float | None = None,
    high: float | None = None,
    only_with: str = "",
) -> Any:  # noqa: ANN401 - as `dataclasses.field`
    """Return a dataclass field that may be left empty, with what its `FieldSpec` says.

    Without a form what has a unit is a number, all else a text. `low` and `high` may be reached, `above` not.
    """
    form = form or ("number" if unit else "text")
    bounds = {"low": low if above is None else above, "high": high, "above_low": above is not None}
    limit = None if (low, above, high) == (None, None, None) else {"words": label, "unit": unit, **bounds}
    said = {"key": key, "label": label, "unit": unit, "form": form, "choices": choices, "own": own}
    empty: Any = () if form in {"grits", "mix"} else None
    return field(default=empty, metadata={"spec": {**said, "only_with": only_with}, "limit": limit})


_KNOWN: Final[dict[Any, tuple[FieldSpec, ...]]] = {}


def specs(section: type[Any], *, units: bool = False) -> tuple[FieldSpec, ...]:
    """Return the fields of a section that people type and read by name, in order.

    With `units` those too that keep the unit a figure was typed in: they go with the figures.
    """
    if section not in _KNOWN:
        named = ((f.name, f.metadata) for f in fields(cast("Any", section)) if "spec" in f.metadata)
        _KNOWN[section] = tuple(_spec(section.SECTION, name, data) for name, data in named)
    return _KNOWN[section] if units else tuple(each for each in _KNOWN[section] if each.form != "unit")


def _spec(section: str, name: str, data: Mapping[str, Any]) -> FieldSpec:
    limit = None if data["limit"] is None else HardLimit(section, name, **data["limit"])
    return FieldSpec(section, name, **data["spec"], limit=limit)


class Section(Record):
    """Base of the sections: values are tidied and held against the hard limits when built; units stand in the names."""

    __slots__ = ()
    SPARSE: ClassVar[bool] = True
    SECTION: ClassVar[str]

    def __post_init__(self) -> None:
        for each in specs(type(self), units=True):
            object.__setattr__(self, each.name, each.check(getattr(self, each.name)))

    def is_empty(self) -> bool:
        """Return whether nothing is written down."""
        return all(getattr(self, each.name) in (None, ()) for each in specs(type(self), units=True))

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
        return cls(**{name: tuple(value) if isinstance(value, list) else value for name, value in data.items()})

    def words(self, each: FieldSpec) -> str:
        """Return a field with its unit, that in which it was typed."""
        value, unit = getattr(self, each.name), getattr(self, "typed_in", None)
        if each.unit == "m2/L":
            return f"{round(value / UNITS[each.unit].get(unit or '', 1.0), 2):g} {unit or each.unit}"
        if unit is None or each.form != "size":
            # 90 F are 32.222222 C: what is read needs two decimals, what is typed again all of them.
            shown = each.show(round(value, 2) if each.form == "number" else value)
            return f"{shown} {'°C' if each.unit == 'C' else each.unit}".strip()
        return " x ".join(as_typed_text(side, inches=True).removesuffix(" in") for side in value) + " in"

    def written(self) -> Iterator[tuple[FieldSpec, str, Any]]:
        """Give each field that is written down, with its value in words and as JSON holds it."""
        said = self.as_dict()
        for each in specs(type(self)):
            if each.name in said:
                yield each, self.words(each), said[each.name]


def parse_fields(section: type[Section], text: str) -> dict[str, Any]:
    """Return the fields a text names, by their names in the record, each as the record keeps it.

    Raises
    ------
    UsageError
        ``"unknown-field"``, ``"field-twice"``, ``"no-equals"``, or what a value cannot be.
    """
    known = {each.key: each for each in specs(section)}
    hint = f"Fields: {', '.join(known)}."
    found: dict[str, Any] = {}
    for position, item in enumerate(text.split(";")):
        if not item.strip():
            continue
        key, equals, value = item.partition("=")
        if not equals:
            if position or "kind" not in known:
                raise UsageError("no-equals", f"“{item.strip()}” says no field.", f"Write field=value; {hint}")
            key, value = "kind", key
        each = known.get(typed_key(key))
        if each is None:
            raise UsageError("unknown-field", f"There is no field “{key.strip()}” here.", hint)
        if each.name in found:
            raise UsageError("field-twice", f"The {each.label} is said twice.", "Say it once.")
        found |= {each.name: each.read(value), **each.unit_typed(value)}
    return found


def typed_key(text: str) -> str:
    """Return a field's key as it was typed, spelt as keys are."""
    return text.strip().casefold().replace("_", "-").replace(" ", "-")


def changed(section: type[Part], now: Part | None, changes: Mapping[str, Any]) -> Part | None:
    """Return a section with some fields changed; None when nothing is left of it."""
    values = {each.name: getattr(now, each.name) for each in specs(section, units=True)} if now is not None else {}
    part = section(**values | dict(changes))
    return None if part.is_empty() else part


@dataclass(frozen=True, slots=True)
class MixPart(Record):
    """One colour of a mix.

    Raises
    ------
    UsageError
        ``"no-colour"``, ``"not-a-number"``.
    """

    colour: str
    parts: float

    def __post_init__(self) -> None:
        colour = line("colour", self.colour)
        if colour is None:
            raise UsageError("no-colour", "A part of the mix has no colour.", "Write it as: 2 honey + 1 walnut")
        normalize(self, colour=colour, parts=_number("parts", self.parts))


# Each form's value, as it is checked in a record, read from a text and shown.


def _check_text(each: FieldSpec, value: Any) -> str | None:  # noqa: ANN401 - not known before it is checked
    text = line(each.label, value if isinstance(value, str) else str(value))
    if each.form in {"choice", "unit"} and text is not None and text not in each.choices:
        code = f"unknown-{each.section}-{each.key}"
        raise UsageError(code, f"“{text}” is not a {each.label}.", f"Choose one of: {', '.join(each.choices)}.")
    return text


def _check_mix(each: FieldSpec, value: Any) -> tuple[MixPart, ...]:  # noqa: ANN401 - not known before it is checked
    parts = tuple(part if isinstance(part, MixPart) else MixPart(**part) for part in _few(each, value))
    for part in parts:
        each.bounded(part.parts)
    return parts


def _check_sides(each: FieldSpec, value: Any) -> tuple[float, ...]:  # noqa: ANN401 - not known before it is checked
    length, form = (3, "150x300x19") if each.form == "size" else (2, "10:1")
    if not isinstance(value, tuple) or len(value) != length:
        raise UsageError(f"bad-{each.key}", f"This cannot be read as {each.label}.", f"Write it as {form}.")
    return tuple(_check_number(each, side) for side in value)


def _check_number(each: FieldSpec, value: object) -> float:
    return each.bounded(_number(each.label, value))


def _check_count(each: FieldSpec, value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int | float) or value % 1:
        raise UsageError(
            "not-a-whole-number", f"“{value}” is not a whole number ({each.label}).", "Give a whole number."
        )
    return each.bounded(int(value))


def _check_flag(each: FieldSpec, value: object) -> bool:
    if not isinstance(value, bool):
        raise UsageError(f"bad-{each.key}", f"“{value}” is neither yes nor no for: {each.label}.", "Give yes or no.")
    return value


def _few(each: FieldSpec, values: Any) -> tuple[Any, ...]:  # noqa: ANN401 - not known before it is checked
    if not isinstance(values, tuple) or len(values) > _MOST:
        raise UsageError(f"bad-{each.key}", f"This cannot be read as {each.label}.", f"Give a list of up to {_MOST}.")
    return values


def _number(label: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise UsageError("not-a-number", f"“{value}” is not a number ({label}).", "Give a number.")
    return float(value)


_YES: Final = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}
_COLOUR_PART: Final = re.compile(r"\s*([0-9]*[.,]?[0-9]+)\s+(.*\S)\s*")


def _read_flag(each: FieldSpec, text: str) -> bool:
    if text.casefold() not in _YES:
        raise UsageError(f"bad-{each.key}", f"“{text}” is neither yes nor no.", f"{each.key}=yes or {each.key}=no.")
    return _YES[text.casefold()]


def _read_choice(each: FieldSpec, text: str) -> str:
    lower = text.casefold()
    lower = _kinds_called().get(lower, lower) if each.key == "kind" else lower
    return next((choice for choice in each.choices if choice.casefold() == lower), text)


def _kinds_called() -> dict[str, str]:
    """Return the kinds that records know, by the other names of each coating; of several the first one."""
    return {
        name + tail: kind
        for each in COATINGS.values()
        for kind in reversed(each.recorded)
        for tail in ("", kind.removeprefix(each.kind))
        for name in (each.kind, *each.also)
    }


def _read_size(each: FieldSpec, text: str) -> tuple[float, ...]:
    sides = split_sizes(text)
    values = tuple(read_figure(side, "mm", each.label) for side in sides)
    likely_sides(sides, values)
    return values


def likely_sides(sides: Sequence[object], values: Sequence[float]) -> None:
    """Refuse a board's length, width and thickness that were given without a unit and make no sense in millimetres."""
    names = ("length", "width", "thickness")
    texts = dict(zip(names, (str(side) for side in sides), strict=False))
    check_likely(texts, dict(zip(names, values, strict=False)), "board")


def _read_mix(_each: FieldSpec, text: str) -> tuple[MixPart, ...]:
    parts = []
    for item in text.split("+"):
        found = _COLOUR_PART.fullmatch(item)
        if found is None:
            raise UsageError("bad-mix", f"“{item.strip()}” is not a part of a mix.", "Write it as: 2 honey + 1 walnut")
        parts.append(MixPart(found[2], float(found[1].replace(",", "."))))
    return tuple(parts)


def _figure(value: float) -> str:
    return repr(round(value, 6)).removesuffix(".0")


class _Form(NamedTuple):
    """How the fields of one form are handled."""

    check: Callable[[FieldSpec, Any], Any]
    read: Callable[[FieldSpec, str], Any] = lambda _, text: text
    show: Callable[[Any], str] = str


_FORMS: Final[Mapping[Form, _Form]] = {
    "text": _Form(_check_text),
    "unit": _Form(_check_text),
    "choice": _Form(_check_text, _read_choice),
    "number": _Form(_check_number, lambda each, text: read_figure(text, each.unit, each.label), _figure),
    "count": _Form(_check_count, lambda each, text: read_figure(text, "", each.label), _figure),
    "can": _Form(_check_count, lambda _, text: number_of("C", text), lambda value: Number.of("C", value)),
    "flag": _Form(_check_flag, _read_flag, lambda value: "yes" if value else "no"),
    "grits": _Form(
        lambda each, value: tuple(_check_count(each, grit) for grit in _few(each, value)),
        lambda each, text: tuple(read_figure(grit, "", each.label) for grit in re.split(r"[-,\s]+", text) if grit),
        lambda value: "-".join(str(grit) for grit in value),
    ),
    "size": _Form(_check_sides, _read_size, lambda value: "x".join(_figure(side) for side in value)),
    "ratio": _Form(
        _check_sides,
        lambda each, text: tuple(read_figure(part, "", each.label) for part in text.split(":")),
        lambda value: ":".join(_figure(side) for side in value),
    ),
    "mix": _Form(
        _check_mix, _read_mix, lambda value: " + ".join(f"{_figure(part.parts)} {part.colour}" for part in value)
    ),
}

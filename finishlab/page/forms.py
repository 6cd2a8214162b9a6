"""Forms made of what commands take: each option is a field of its own kind, each section of a finish a group of them.

What an option may be, its choices and its help stand with the command; here is only how it is asked for on a page.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, Literal

from finishlab.errors import FinishlabError

if TYPE_CHECKING:
    import click

    from finishlab.finish.fields import FieldSpec
    from finishlab.page.asking import Value

__all__ = ["LENGTH", "Field", "Group", "changes", "fields_of", "finish_changes", "finish_groups", "given"]

LENGTH: Final = "length"
"""Unit of a field that takes millimetres or inches, as the visitor chose."""
_CALLED: Final = {"left": "what is left"}
"""Options whose name alone could be mistaken beside a field."""
Look = Literal["text", "number", "date", "choice", "box", "lines"]

_UNITS: Final = {"PERCENT": "%", "DEGREES": "degrees", "HOURS": "h", "L*": "L*", "LENGTH": LENGTH, "HEIGHT": LENGTH}
"""What stands for a value in a help and says its unit. Other capitals say none; signs say how it is written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One thing that is asked for."""

    name: str
    """In the form."""
    label: str
    """In English; the page looks it up."""
    hint: str = ""
    unit: str = ""
    look: Look = "text"
    choices: tuple[str, ...] = ()
    """All there are of a choice; of a text those that are likely."""
    low: float | None = None
    high: float | None = None
    needed: bool = False
    value: str = ""
    """What stands there before anything is typed; ``"yes"`` in a box that is ticked."""

    @property
    def option(self) -> str:
        """What it is called by the command."""
        return self.name.rpartition(".")[2]


@dataclass(frozen=True, slots=True)
class Group:
    """Fields under a heading."""

    title: str
    fields: tuple[Field, ...]

    @property
    def filled(self) -> bool:
        """Whether anything stands in it."""
        return any(each.value for each in self.fields)


def fields_of(
    command: click.Command, names: Sequence[str], values: Mapping[str, object] | None = None, *, before: str = ""
) -> list[Field]:
    """Return options and arguments of a command as fields, with the values that stand there.

    Parameters
    ----------
    command
        The command.
    names
        Options by their long name, with ``_`` for ``-``.
    values
        What stands there now, by the same names.
    before
        Put before a field's name, where a form has other fields of the same names.
    """
    found = {_called(param): param for param in command.params}
    fields = [_field(name, found[name], (values or {}).get(name)) for name in names]
    return [replace(field, name=f"{before}{field.name}") for field in fields]


def _called(param: click.Parameter) -> str:
    """Return an option's long name as code writes it, and an argument's own."""
    return param.opts[0].removeprefix("--").replace("-", "_")


def _field(name: str, param: click.Parameter, value: object) -> Field:
    help_, _, rest = (getattr(param, "help", None) or "").partition(" [default")
    metavar = param.metavar or ""
    field = Field(
        name=name,
        label=_CALLED.get(name, name.replace("_", " ")),
        hint=help_ + (f" [default{rest}" if rest else ""),
        unit=_UNITS.get(metavar, "" if metavar.strip("[]").replace("...", "").isalnum() else metavar),
        needed=param.required,
        value=_words(value),
    )
    return replace(field, **_looks(param))


def _looks(param: click.Parameter) -> dict[str, Any]:
    import click

    kind = param.type
    if getattr(param, "is_flag", False):
        return {"look": "box", "unit": ""}
    if param.multiple or param.nargs == -1:
        return {"look": "lines"}
    if isinstance(kind, click.Choice):
        return {"look": "choice", "choices": tuple(str(each) for each in kind.choices)}
    if isinstance(kind, click.IntRange | click.FloatRange):
        whole = isinstance(kind, click.IntRange)
        return {"look": "number" if whole else "text", "low": kind.min, "high": kind.max}
    return {"look": "date"} if param.metavar == "DATE" else {}


def _words(value: object) -> str:
    if value is True:
        return "yes"
    if isinstance(value, list | tuple):
        return "\n".join(str(each) for each in value)
    return "" if value is None or value is False else str(value)


def given(fields: Sequence[Field], typed: Mapping[str, str]) -> dict[str, Value]:
    """Return what was typed as options: texts, flags, and one value a line where several may be given."""
    options: dict[str, Value] = {}
    for field in fields:
        text = typed.get(field.name, "").strip()
        if field.look == "box":
            options[field.option] = text == "yes"
        elif field.look == "lines":
            options[field.option] = [line.strip() for line in text.splitlines() if line.strip()]
        elif text:
            options[field.option] = text
    return options


def changes(fields: Sequence[Field], typed: Mapping[str, str]) -> dict[str, str]:
    """Return the fields in which something else stands than before; a text in which nothing stands now is empty."""
    now = {each.name: _tidy(typed[each.name]) for each in fields if each.name in typed}
    return {each.name: now[each.name] for each in fields if each.name in now and now[each.name] != _tidy(each.value)}


def _tidy(text: str) -> str:
    return "\n".join(line.strip() for line in text.strip().splitlines())


_ANOTHER: Final = "another step"


def finish_groups(finish: Mapping[str, Any] | None, *, own: bool = True) -> list[Group]:
    """Return all fields of a finish, a group for each of its parts and each colour step, and one for a further step.

    Parameters
    ----------
    finish
        JSON form of the finish as it stands.
    own
        Whether those too that belong to one piece of wood and not to a recipe.
    """
    from finishlab.finish import FINISH_PARTS, MOST_STEPS

    groups = []
    for part in FINISH_PARTS:
        said = (finish or {}).get(part.name)
        if not part.several:
            groups.append(Group(part.title, tuple(_section(part.section, part.option, said, own=own))))
            continue
        steps: list[Mapping[str, Any] | None] = [*(said or [])]
        if len(steps) < MOST_STEPS:
            steps.append(None)
        for number, step in enumerate(steps, 1):
            title = _ANOTHER if step is None else f"step {number}"
            groups.append(Group(title, tuple(_section(part.section, f"{part.option}.{number}", step, own=own))))
    return [group for group in groups if group.fields]


def _section(section: type[Any], prefix: str, said: Mapping[str, Any] | None, *, own: bool) -> Iterator[Field]:
    from finishlab.finish.fields import specs

    values = None if not said else section.from_dict(dict(said))
    for each in specs(section):
        if own or not each.own:
            value = None if values is None else getattr(values, each.name)
            yield _spec_field(each, f"{prefix}.{each.key}", "" if value in {None, ()} else each.show(value))


def _spec_field(each: FieldSpec, name: str, value: str) -> Field:
    if each.form == "flag":
        choices: tuple[str, ...] = ("yes", "no")
        return Field(name=name, label=each.label, look="choice", choices=choices, value=value)
    return Field(
        name=name,
        label=each.label,
        unit=each.unit,
        look="choice" if each.form == "choice" else "text",
        choices=each.choices,
        value=value,
    )


def finish_changes(groups: Sequence[Group], typed: Mapping[str, str]) -> dict[str, list[str]]:
    """Return what was changed in a finish as its options take it: ``{"step": ["2: wipe=5"], "seal": ["coats="]}``.

    Raises
    ------
    FinishlabError
        If a value holds a semicolon, which would begin another field.
    """
    options: dict[str, list[str]] = {}
    for group in groups:
        found = changes(group.fields, typed)
        for name, text in found.items():
            if ";" in text:
                raise FinishlabError("semicolon", f"“{text}” holds a semicolon.", f"Write {name} without one.")
        if found:
            option, *number = next(iter(found)).split(".")[:-1]
            said = "; ".join(f"{name.rpartition('.')[2]}={text}" for name, text in found.items())
            options.setdefault(option, []).append(f"{number[0]}: {said}" if number else said)
    return options

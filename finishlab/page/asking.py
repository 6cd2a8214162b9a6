"""The doorway to the commands: what each of them takes, as fields of a form, and what it says when it is run.

Nothing is weighed, worded or checked a second time here. A command line is built of a command that stands in `MAY_ASK`,
options that this package's own code names, and values; no value can become an option, and no text that came over the
network can name a file. It is run in this process, and what it shows comes back as values. What an option may be, its
choices and its help stand with the command; here is only how it is asked for on a page.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import click

from finishlab.cli.failures import exit_code_of, listening
from finishlab.cli.lazy import Logged, Source, finishlab
from finishlab.errors import ExitCode, FinishlabError, UsageError

if TYPE_CHECKING:
    from finishlab.show.document import Block, Document

Value = str | int | float | bool | Path | Sequence[str] | None
"""Of an option: True for a flag, a sequence for one given several times, None or False for one that is left out."""

_MAY_ASK: Final = {
    "": "approve cautions history house-file labels redo report schedule standard status strip undo",
    "board": "add compare edit list remove show",
    "can": "add edit list remove show",
    "floor": "add edit list remove show",
    "plan": "calendar cutting floor quantities risers",
    "recipe": "add edit list remove show",
    "stairs": "add add-parts due edit edit-event log measure part remove walk",
    "strip": "learn",
}
"""Group of commands -> those of it that the page may run; none that reads or writes elsewhere, unless told the file."""
MAY_ASK: Final = frozenset(f"{group} {name}".strip() for group, names in _MAY_ASK.items() for name in names.split())
_LENGTHS: Final = frozenset({"LENGTH", "HEIGHT", "WxDxT", "WxHxT"})
"""What stands for a length in the help of an option."""
_BARE: Final = re.compile(r"[\d./x -]*\d ?")
"""Lengths without a unit: ``36x11 1/2x1``."""
_MIXED: Final = "stairs measure"
"""The command whose words are parts first, and then photos."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a command had to say."""

    documents: tuple[Document, ...]
    results: tuple[str, ...]
    """Lines that are no document: the numbers given, the files written."""
    said: tuple[str, ...]
    """Sentences for whoever watches: cautions, second thoughts, how to take it back."""
    errors: tuple[FinishlabError, ...]
    exit_code: int

    @property
    def document(self) -> Document:
        """The one document that was shown."""
        (only,) = self.documents
        return only

    @property
    def blocks(self) -> list[Block]:
        """All that was said: the documents' blocks, and the lines."""
        from finishlab.show.document import Line

        told = [block for each in self.documents for block in each.blocks]
        return [*told, *(Line(text, whole=True) for text in self.results)]


class RefusedError(Exception):
    """A command ended with an exit code that is not 0.

    Parameters
    ----------
    asked
        What it said.
    """

    def __init__(self, asked: Asked) -> None:
        super().__init__("; ".join(error.message for error in asked.errors))
        self.asked = asked


def ask(folder: Path, command: str, *arguments: str | Path, inches: bool = False, **options: Value) -> Asked:
    """Run a command on a logbook and return what it shows.

    Parameters
    ----------
    folder
        The logbook.
    command
        One of `MAY_ASK`.
    *arguments
        What stands behind the command; taken as they are, whatever they begin with.
    inches
        Whether a length without a unit is meant in inches and not in millimetres.
    **options
        Options by their long name, with ``_`` for ``-``; a trailing ``_`` is taken off. A file is a `Path`, which only
        this package's own code makes.

    Raises
    ------
    RefusedError
        If the command failed.
    """
    _refuse_unlisted(command, options, arguments)
    words = [*command.split(), *option_words(_in_inches(command, options) if inches else options)]
    if arguments:
        words += ["--", *(str(argument) for argument in arguments)]
    with listening() as heard:
        line = ["--logbook", str(folder), *words]
        code = exit_code_of(lambda: finishlab.main(line, prog_name="finishlab", standalone_mode=False))
    asked = Asked(tuple(heard.documents), tuple(heard.results), tuple(heard.said), tuple(heard.errors), code)
    if code != ExitCode.DONE:
        raise RefusedError(asked)
    return asked


def option_words(options: Mapping[str, Value]) -> list[str]:
    """Return options as a command line has them."""
    words: list[str] = []
    for name, value in options.items():
        if value is True:
            words.append(_option(name))
        elif value is not None and value is not False:
            several = value if isinstance(value, Sequence) and not isinstance(value, str) else [value]
            words += [f"{_option(name)}={each}" for each in several]
    return words


def _in_inches(command: str, options: Mapping[str, Value]) -> dict[str, Value]:
    """Return options with the unit behind each length that has none."""
    lengths = {_option(name) for name, param in options_of(command).items() if param.metavar in _LENGTHS}

    def told(value: Value) -> Value:
        if isinstance(value, str):
            return f"{value}in" if _BARE.fullmatch(value) else value
        return [f"{told(each)}" for each in value] if isinstance(value, Sequence) else value

    return {name: told(value) if _option(name) in lengths else value for name, value in options.items()}


def _option(name: str) -> str:
    return "--" + name.rstrip("_").replace("_", "-")


def _refuse_unlisted(command: str, options: Mapping[str, Value], arguments: Sequence[str | Path]) -> None:
    """Refuse what the page may not ask.

    Raises
    ------
    UsageError
        ``"not-for-the-page"``.
    """
    if command not in MAY_ASK:
        raise _not_allowed(f"The page does not run “{command}”.")
    files = {_option(name) for name, param in options_of(command).items() if _is_file(param)}
    for name, value in options.items():
        if _option(name) in files and not isinstance(value, Path | None):
            raise _not_allowed(f"The page does not name files for {_option(name)}.")
    texts = [argument for argument in arguments if not isinstance(argument, Path)]
    named = not files.isdisjoint(map(_option, arguments_of(command)))
    if (texts and named) or (command == _MIXED and any(map(_may_be_file, texts))):
        raise _not_allowed(f"The page does not name files for “{command}”.")


def _may_be_file(text: str) -> bool:
    """Return whether a text that should name parts could name a file."""
    try:
        return any(mark in text for mark in "/\\\0") or any(Path(word).exists() for word in text.split())
    except (OSError, ValueError):
        return True


def _is_file(param: click.Parameter) -> bool:
    return isinstance(param.type, click.Path | click.File)


def command_of(path: str) -> click.Command:
    """Return a command by its name, such as ``"board edit"``."""
    found: click.Command = finishlab
    context = click.Context(found)
    for word in path.split():
        child = found.get_command(context, word) if isinstance(found, click.Group) else None
        if child is None:
            raise _not_allowed(f"There is no command “{path}”.")
        found = child
    return found


def _not_allowed(message: str) -> UsageError:
    return UsageError("not-for-the-page", message, "Use the command line for it.")


# -- What a command takes, as fields of a form ------------------------------------------------------------------------

LENGTH: Final = "length"
"""Unit of a field that takes millimetres or inches, as the visitor chose."""
_CALLED: Final = {
    "can add left": "what is left",
    "can edit left": "what is left",
    "labels what": "boards, parts of the stair, or both",
    "stairs add riser": "riser boards",
    "stairs add words": "risers of each flight, and landings between",
}
"""Command and option or argument -> what it is called where its name alone could be mistaken, or says nothing."""
_NOT_ASKED: Final = frozenset({"json", "clear", "like", "from", "row", "ask", "confirm_floor", "zone", "full", "most"})
"""What no form asks for unless it is named: how to tell, and other ways to say the same."""
_FEW: Final = 40
"""Names of what is logged that are offered, the newest; all there are of a choice."""
_OPEN: Final = frozenset({"light", "PART"})
"""What is logged and may be called otherwise too."""
Look = Literal["text", "number", "decimal", "date", "time", "choice", "box", "lines"]
Offered = Callable[[Sequence[Source]], Mapping[str, str | None]]
"""Gives what is logged of some kinds, each with a word on it."""

_UNITS: Final = {
    **dict.fromkeys(("DEGREES", "DEG"), "degrees"),
    **dict.fromkeys(("LENGTH", "HEIGHT"), LENGTH),
    "PERCENT": "%",
    "HOURS": "h",
    "MIN": "min",
    "C": "°C",
    "L*": "L*",
    "HH:MM": "",
}
"""What stands for a value in a help and says its unit. Other capitals say none; signs say how it is written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One thing that is asked for."""

    name: str
    """In the form, and of the command."""
    label: str
    """In English; the page looks it up."""
    hint: str = ""
    default: str = ""
    """What holds where it stays empty."""
    unit: str = ""
    look: Look = "text"
    choices: tuple[str, ...] = ()
    """All there are of a choice; of a text those that are likely."""
    said: Mapping[str, str] = field(default_factory=dict)
    """Choice -> what is read of it, where that is not the choice itself."""
    needed: bool = False
    value: str = ""
    """What stands there before anything is typed; ``"yes"`` in a box that is ticked."""


@dataclass(frozen=True, slots=True)
class Group:
    """Fields under a heading."""

    title: str
    fields: tuple[Field, ...]


def options_of(command: str) -> dict[str, click.Parameter]:
    """Return options and arguments of a command by their long names, as code writes them."""
    return {param.opts[0].removeprefix("--").replace("-", "_"): param for param in command_of(command).params}


def arguments_of(command: str) -> list[str]:
    """Return the names of what stands behind a command."""
    return [name for name, param in options_of(command).items() if param.param_type_name == "argument"]


def fields_of(
    command: str,
    values: Mapping[str, object] | None = None,
    *,
    names: Sequence[str] | None = None,
    without: Sequence[str] = (),
    offered: Offered = lambda _: {},
) -> list[Field]:
    """Return options and arguments of a command as fields, with the values that stand there.

    Parameters
    ----------
    command
        The command.
    values
        What stands there now, by the names of `options_of`.
    names
        Which; all unless told, but files, what is `_NOT_ASKED` and what `finish_groups` asks for.
    without
        Those of all that are left out.
    offered
        Gives what can be chosen of the logbook.
    """
    from finishlab.finish import FINISH_PARTS

    found, now = options_of(command), values or {}
    if names is None:
        left_out = {*_NOT_ASKED, *without, *(part.option for part in FINISH_PARTS)}
        names = [name for name, param in found.items() if name not in left_out and not _is_file(param)]
    return [
        _field(_CALLED.get(f"{command} {name}", name.replace("_", " ")), name, found[name], now.get(name), offered)
        for name in names
    ]


def _field(label: str, name: str, param: click.Parameter, value: object, offered: Offered) -> Field:
    metavar = "" if isinstance(param, click.Argument) else param.metavar or ""
    look = _looks(param, _words(value), offered)
    help_, _, default = (getattr(param, "help", None) or "").removesuffix("]").partition(" [default: ")
    field = Field(
        name=name,
        label=label,
        hint=_EXAMPLE.sub("", help_) if look["look"] in _LOOKS.values() else help_,
        default=default,
        unit=_UNITS.get(metavar, "" if metavar.isalnum() else metavar),
        needed=param.required,
        value=_words(value),
    )
    return replace(field, **look)


_LOOKS: Final[Mapping[str, Look]] = {"DATE": "date", "HH:MM": "time"}
_EXAMPLE: Final = re.compile(r", e\.g\. [^.]*")
"""How a day is typed; who chooses it from a calendar need not know."""


def _looks(param: click.Parameter, value: str, offered: Offered) -> dict[str, Any]:
    kind = param.type
    if getattr(param, "is_flag", False):
        return {"look": "box", "unit": ""}
    if getattr(param, "multiple", False):
        return {"look": "lines"}
    if isinstance(kind, Logged):
        return _logged(kind.what, value, offered)
    if isinstance(kind, click.Choice):
        return {"look": "choice", "choices": tuple(str(each) for each in kind.choices)}
    if isinstance(kind, click.types.IntParamType | click.types.FloatParamType):
        return {"look": "number" if isinstance(kind, click.types.IntParamType) else "decimal"}
    return {"look": _LOOKS.get(param.metavar or "", "text")}


def _logged(what: Sequence[Source], value: str, offered: Offered) -> dict[str, Any]:
    """Return what is logged as a choice, or as likely texts where it is much or may be called otherwise."""
    found = offered(what)
    newest = [*found][-_FEW:][::-1]
    choice = len(found) <= _FEW and _OPEN.isdisjoint(what)
    kept = [value] if choice and value and value not in found else []
    said = {name: f"{name}: {word}" for name, word in found.items() if word and choice}
    return {"look": "choice" if choice else "text", "choices": (*kept, *newest), "said": said, "unit": ""}


def _words(value: object) -> str:
    if value is True:
        return "yes"
    if isinstance(value, list | tuple):
        return "\n".join(str(each) for each in value)
    return "" if value is None or value is False else str(value)


def given(fields: Sequence[Field], typed: Mapping[str, str]) -> dict[str, Value]:
    """Return what was typed as options: texts, flags, and one value a line where several may be given."""
    options: dict[str, Value] = {}
    for each in fields:
        text = typed.get(each.name, "").strip()
        if each.look == "box":
            options[each.name] = text == "yes"
        elif each.look == "lines":
            options[each.name] = [line.strip() for line in text.splitlines() if line.strip()]
        elif text:
            options[each.name] = text
    return options


def changes(fields: Sequence[Field], typed: Mapping[str, str]) -> dict[str, str]:
    """Return the fields in which something else stands than before; a text in which nothing stands now is empty."""
    now = {each.name: _tidy(typed[each.name]) for each in fields if each.name in typed}
    return {each.name: now[each.name] for each in fields if each.name in now and now[each.name] != _tidy(each.value)}


def _tidy(text: str) -> str:
    return "\n".join(line.strip() for line in text.strip().splitlines())


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
            title = "another step" if step is None else f"step {number}"
            groups.append(Group(title, tuple(_section(part.section, f"{part.option}.{number}", step, own=own))))
    return [group for group in groups if group.fields]


def _section(section: type[Any], prefix: str, said: Mapping[str, Any] | None, *, own: bool) -> Iterator[Field]:
    from finishlab.finish.fields import specs

    values = None if not said else section.from_dict(dict(said))
    for each in specs(section):
        if own or not each.own:
            value = None if values is None else getattr(values, each.name)
            yield Field(
                name=f"{prefix}.{each.key}",
                label=each.label,
                unit=each.unit,
                look="choice" if each.form in {"choice", "flag"} else "text",
                choices=("yes", "no") if each.form == "flag" else each.choices,
                value="" if value in {None, ()} else each.show(value),
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

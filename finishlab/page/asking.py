"""The doorway to the commands: a command line is run in this process, and what it shows comes back as values.

Nothing is weighed, worded or checked a second time here. A command line is built of a command that stands in `MAY_ASK`,
options that this package's own code names, and values; no value can become an option, and no text that came over the
network can name a file.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from finishlab.cli.failures import exit_code_of, listening
from finishlab.errors import ExitCode, FinishlabError, UsageError

if TYPE_CHECKING:
    import click

    from finishlab.show.document import Document

__all__ = ["MAY_ASK", "Asked", "RefusedError", "Value", "ask", "command_of", "option_words"]

Value = str | int | float | bool | Path | Sequence[str] | None
"""Of an option: True for a flag, a sequence for one given several times, None or False for one that is left out."""

_MAY_ASK: Final = {
    "": "approve cautions history house-file labels measure mend rank redo report schedule standard status strip undo",
    "board": "add compare edit list remove show",
    "can": "add edit list remove show",
    "floor": "add edit list remove show",
    "plan": "calendar cutting floor quantities risers",
    "recipe": "add edit list remove show",
    "stairs": "add add-parts deviations due edit edit-event log measure part remove show",
    "strip": "learn show",
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


def ask(
    folder: Path,
    command: str,
    *arguments: str | Path,
    may_fail: bool = False,
    inches: bool = False,
    **options: Value,
) -> Asked:
    """Run a command on a logbook and return what it shows.

    Parameters
    ----------
    folder
        The logbook.
    command
        One of `MAY_ASK`.
    *arguments
        What stands behind the command; taken as they are, whatever they begin with.
    may_fail
        Whether a failure is part of the answer instead of an error.
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
    from finishlab.cli.lazy import finishlab

    with listening() as heard:
        line = ["--logbook", str(folder), *words]
        code = exit_code_of(lambda: finishlab.main(line, prog_name="finishlab", standalone_mode=False))
    asked = Asked(tuple(heard.documents), tuple(heard.results), tuple(heard.said), tuple(heard.errors), code)
    if code != ExitCode.DONE and not may_fail:
        raise RefusedError(asked)
    return asked


def option_words(options: Mapping[str, Value]) -> list[str]:
    """Return options as a command line has them."""
    words: list[str] = []
    for name, value in options.items():
        option = _option(name)
        if value is None or value is False:
            continue
        if value is True:
            words.append(option)
        else:
            several = value if isinstance(value, Sequence) and not isinstance(value, str) else [value]
            words += [f"{option}={each}" for each in several]
    return words


def _in_inches(command: str, options: Mapping[str, Value]) -> dict[str, Value]:
    """Return options with the unit behind each length that has none."""
    lengths = {option for param in command_of(command).params if param.metavar in _LENGTHS for option in param.opts}

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
    files = _file_params(command)
    for name, value in options.items():
        if _option(name) in files and not isinstance(value, Path | None):
            raise _not_allowed(f"The page does not name files for {_option(name)}.")
    texts = [argument for argument in arguments if not isinstance(argument, Path)]
    if ("" in files and texts) or (command == _MIXED and any(_may_be_file(text) for text in texts)):
        raise _not_allowed(f"The page does not name files for “{command}”.")


def _may_be_file(text: str) -> bool:
    """Return whether a text that should name parts could name a file."""
    try:
        return any(mark in text for mark in "/\\\0") or any(Path(word).exists() for word in text.split())
    except (OSError, ValueError):
        return True


def _file_params(command: str) -> set[str]:
    """Return the options of a command that name a file, and an empty text where its arguments do."""
    import click

    found = command_of(command)
    return {
        option
        for param in found.params
        if isinstance(param.type, click.Path | click.File)
        for option in (param.opts if isinstance(param, click.Option) else [""])
    }


def command_of(path: str) -> click.Command:
    """Return a command by its name, such as ``"board edit"``."""
    import click

    from finishlab.cli.lazy import finishlab

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

"""What is said beside the result: sentences on stderr, or to another face that listens; failures, exit codes."""

from __future__ import annotations

import contextlib
import logging
import os
import sys
import traceback
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, TextIO

import click

from finishlab.errors import DEBUG, ExitCode, FinishlabError, OutputError, UsageError, internal_error
from finishlab.files import SAID
from finishlab.record import harmless

if TYPE_CHECKING:
    from finishlab.show.document import Document

INTERRUPTED: Final = 130
"""Exit code after Ctrl-C: 128 and the signal's number, as shells have it."""


@dataclass(slots=True)
class Heard:
    """All that a command would have put on a terminal, in the order of each."""

    documents: list[Document] = field(default_factory=list)
    results: list[str] = field(default_factory=list)
    """Lines for stdout that are no document: the numbers given, the files written."""
    said: list[str] = field(default_factory=list)
    """Sentences for stderr."""
    errors: list[FinishlabError] = field(default_factory=list)


_LISTENER: ContextVar[Heard | None] = ContextVar("finishlab.heard", default=None)


def heard() -> Heard | None:
    """Return who listens in this context; None where a command speaks to a terminal."""
    return _LISTENER.get()


@contextmanager
def listening() -> Iterator[Heard]:
    """Collect what commands say inside, in this thread and context alone; nobody is there to be asked."""
    listener = Heard()
    before = _LISTENER.set(listener)
    try:
        yield listener
    finally:
        _LISTENER.reset(before)


class _Says(logging.Handler):
    """Says what finishlab's own modules remark."""

    def emit(self, record: logging.LogRecord) -> None:
        """Say it on stderr."""
        tell(record.getMessage())


_SAYS: Final = _Says()


def show_error(error: FinishlabError) -> None:
    """Print what is wrong and what to do next, on stderr."""
    if (listener := heard()) is not None:
        listener.errors.append(error)
        return
    tell(f"Error: {error.message}")
    if error.hint:
        tell(f"  {error.hint}")


def tell(text: str) -> None:
    """Say something on stderr; where that cannot be written nobody hears it, and the work goes on."""
    if (listener := heard()) is not None:
        listener.said.append(harmless(text))
        return
    try:
        click.echo(_marked(harmless(text)), err=True)
    except BrokenPipeError:
        raise
    except OSError:
        _mute(sys.stderr)


_MARKS: Final = {"Error:": "red", "Caution:": "yellow", "Worth a thought:": "cyan"}
"""Beginning of a sentence -> its colour on a terminal."""


def _marked(text: str) -> str:
    """Return a sentence with its beginning in bold and colour; click takes both out where nobody sees them."""
    mark = next((mark for mark in _MARKS if text.startswith(mark)), None)
    if mark is None:
        return text
    colour = None if os.environ.get("NO_COLOR") else _MARKS[mark]
    return click.style(mark, fg=colour, bold=True) + text.removeprefix(mark)


def exit_code_of(command: Callable[[], object]) -> int:
    """Run a command; print whatever stops it and return the exit code."""
    try:
        code = command()
        sys.stdout.flush()
    except (KeyboardInterrupt, click.Abort):
        tell("Interrupted; nothing more was done.")
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read the output has gone; that needs no word.
        _mute(sys.stdout)
        return int(ExitCode.FAILURE)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        return int(ExitCode.USAGE)
    except Exception as error:  # noqa: BLE001 - the last stop before a traceback
        return _told(_unwritten(error) or error)
    return code if isinstance(code, int) else int(ExitCode.DONE)


def _unwritten(error: Exception) -> OutputError | None:
    """Return what to say if an error came from writing the output; None if it came from elsewhere."""
    if not isinstance(error, OSError) or error.filename is not None or heard() is not None:
        return None
    try:
        # The stream does not say that it failed, but another try fails as the first did.
        sys.stdout.write("\n")
        sys.stdout.flush()
    except OSError as again:
        _mute(sys.stdout)
        return OutputError(
            "output-not-writable",
            f"The output cannot be written: {(again.strerror or str(again)).lower()}.",
            "Make room or send it elsewhere. What the command had to log may be done; see: finishlab history",
        )
    return None


def _mute(stream: TextIO) -> None:
    """Let a stream that cannot be written lead nowhere, so that the interpreter's last flush does not complain."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _told(error: Exception) -> int:
    """Print an error as a sentence; return its exit code."""
    named = failure_of(error)
    if named.code == "unexpected" and os.environ.get(DEBUG):
        traceback.print_exception(error)
    else:
        show_error(named)
    return int(named.exit_code)


def failure_of(error: Exception) -> FinishlabError:
    """Return an error as a sentence with what to do."""
    if isinstance(error, click.ClickException):
        return _usage(error)
    if isinstance(error, ValueError) and "null byte" in str(error):
        return UsageError("bad-name", "No file or folder has the letter NUL in its name.", "Name another.")
    return error if isinstance(error, FinishlabError) else internal_error(error)


def _usage(error: click.ClickException) -> UsageError:
    """Return what was wrong with the command line, with where its help is."""
    message = " ".join(error.format_message().split())
    context = getattr(error, "ctx", None)
    path = context.command_path if context is not None else "finishlab"
    return UsageError("usage", message, f"See: {path} --help")


@contextmanager
def quiet_libraries() -> Iterator[None]:
    """Keep the libraries' remarks off stderr; what matters of them is said by a doubt or an error.

    Warnings that were asked for, with ``-W`` or ``PYTHONWARNINGS``, or with ``FINISHLAB_DEBUG``, still come.
    """
    with warnings.catch_warnings():
        if not sys.warnoptions and not os.environ.get(DEBUG):
            warnings.simplefilter("ignore")
        silent = logging.NullHandler()
        root = logging.getLogger()
        # Without any handler Python prints what libraries log.
        root.addHandler(silent)
        SAID.addHandler(_SAYS)
        SAID.setLevel(logging.INFO)
        try:
            yield
        finally:
            root.removeHandler(silent)
            SAID.removeHandler(_SAYS)
            SAID.setLevel(logging.NOTSET)

"""The one place where failures become a sentence on stderr and an exit code."""

from __future__ import annotations

import logging
import os
import sys
import traceback
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

import click

from finishlab.errors import ExitCode, FinishlabError, UsageError
from finishlab.workflow.unforeseen import DEBUG, unexpected

__all__ = ["INTERRUPTED", "exit_code_of", "quiet_libraries", "show_error"]

INTERRUPTED: Final = 130
"""Exit code after Ctrl-C: 128 and the signal's number, as shells have it."""


def show_error(error: FinishlabError) -> None:
    """Print what is wrong and what to do next, on stderr."""
    click.echo(f"Error: {error.message}", err=True)
    if error.hint:
        click.echo(f"  {error.hint}", err=True)


def exit_code_of(command: Callable[[], object]) -> int:
    """Run a command; print whatever stops it and return the exit code."""
    try:
        code = command()
        sys.stdout.flush()
    except (KeyboardInterrupt, click.Abort):
        click.echo("Interrupted; nothing more was done.", err=True)
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read the output has gone; the interpreter shall not complain when it flushes at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return int(ExitCode.FAILURE)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        return int(ExitCode.USAGE)
    except Exception as error:  # noqa: BLE001 - the last stop before a traceback
        return _told(error)
    return code if isinstance(code, int) else int(ExitCode.DONE)


def _told(error: Exception) -> int:
    """Print an error as a sentence; return its exit code."""
    if isinstance(error, click.ClickException):
        error = _usage(error)
    if not isinstance(error, FinishlabError):
        if os.environ.get(DEBUG):
            traceback.print_exception(error)
            return int(ExitCode.FAILURE)
        error = unexpected(error)
    show_error(error)
    return int(error.exit_code)


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
        try:
            yield
        finally:
            root.removeHandler(silent)

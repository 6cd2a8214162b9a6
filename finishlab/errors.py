"""Every failure finishlab can name: one root exception, a stable code, a sentence, a hint, an exit code.

A message is built from typed values where it is raised, so that the sentence says what is wrong with *this* photo or
board; the hint says what to do next. The command line prints both, JSON carries both, and nothing else maps failures to
exit codes.
"""

from __future__ import annotations

from enum import IntEnum
from typing import ClassVar, Final

DEBUG: Final = "FINISHLAB_DEBUG"
"""Environment variable that lets tracebacks and library warnings through."""


class ExitCode(IntEnum):
    """Exit codes of the command, fixed by the command-line contract."""

    DONE = 0
    FAILURE = 1
    USAGE = 2
    PHOTO_UNREADABLE = 3
    NO_STRIP = 4
    QUALITY = 5
    LOGBOOK = 6


class FinishlabError(Exception):
    """Root of every failure the tool reports.

    Parameters
    ----------
    code
        Stable machine-readable name, lower case with hyphens, e.g. ``"no-strip"``.
    message
        One sentence that says what is wrong.
    hint
        One sentence that says what to do about it.
    """

    exit_code: ClassVar[ExitCode] = ExitCode.FAILURE

    def __init__(self, code: str, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.hint = hint

    def __reduce__(self) -> tuple[type[FinishlabError], tuple[str, str, str]]:
        """Let a failure travel from a worker process whole: pickle would rebuild it from its message alone."""
        return type(self), (self.code, self.message, self.hint)

    def as_dict(self) -> dict[str, str]:
        """Return the JSON form used by every document: code, message and hint."""
        return {"code": self.code, "message": self.message, "hint": self.hint}


class UsageError(FinishlabError):
    """The command was given something it cannot mean."""

    exit_code = ExitCode.USAGE


class PhotoError(FinishlabError):
    """A photo cannot be opened, decoded or trusted to be a photo."""

    exit_code = ExitCode.PHOTO_UNREADABLE


class NoStripError(FinishlabError):
    """No grey strip is in the photo, or too little of it to measure beside."""

    exit_code = ExitCode.NO_STRIP


class QualityError(FinishlabError):
    """The photo was measured, but the result is not good enough to give."""

    exit_code = ExitCode.QUALITY


class LogbookError(FinishlabError):
    """The logbook cannot be opened, read or written, or does not hold what was asked for."""

    exit_code = ExitCode.LOGBOOK


class OutputError(FinishlabError):
    """A file that was asked for cannot be written."""


class MissingLibraryError(FinishlabError):
    """A system library that an installed package needs is not there."""


def internal_error(error: BaseException, where: str = "") -> FinishlabError:
    """Return a failure nobody foresaw as one sentence."""
    text = " ".join(f"{error}".split())
    what = type(error).__name__ + (f": {text}" if text else "")
    return FinishlabError(
        "unexpected",
        f"Something went wrong that should not{f' with {where}' if where else ''} ({what}).",
        f"Please report it; set {DEBUG}=1 to see where it happened.",
    )

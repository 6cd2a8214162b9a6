"""Failures nobody foresaw, as one sentence; loads nothing, so that it works when something else cannot be loaded."""

from __future__ import annotations

from typing import Final

from finishlab.errors import FinishlabError

__all__ = ["DEBUG", "unexpected"]

DEBUG: Final = "FINISHLAB_DEBUG"
"""Environment variable that lets tracebacks and library warnings through."""


def unexpected(error: BaseException, where: str = "") -> FinishlabError:
    """Return the failure nobody foresaw as one sentence."""
    text = " ".join(f"{error}".split())
    what = type(error).__name__ + (f": {text}" if text else "")
    return FinishlabError(
        "unexpected",
        f"Something went wrong that should not{f' with {where}' if where else ''} ({what}).",
        f"Please report it; set {DEBUG}=1 to see where it happened.",
    )

"""The command line: a thin face over the workflow. Commands are loaded when they are called."""

from __future__ import annotations

import sys

from finishlab.cli.root import finishlab

__all__ = ["finishlab", "main"]


def main() -> None:
    """Run the command with the arguments it was started with, and end the process."""
    for stream in (sys.stdout, sys.stderr):
        # A name a terminal cannot spell is shown in its escaped form; in JSON that is a valid escape too.
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    finishlab.main()

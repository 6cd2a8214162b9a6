"""The command line: a thin face over the workflow. Commands are loaded when they are called."""

from __future__ import annotations

import gc
import os
import sys
from pathlib import Path

from finishlab.cli.lazy import finishlab

__all__ = ["finishlab", "main"]


def main() -> None:
    """Run the command with the arguments it was started with, and end the process."""
    # Read when NumPy is loaded. The matrices here are small: several threads on one of them wait more than they work.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # What a command makes it mostly keeps to its end; looking for garbage took 4 to 8 % of its time.
    gc.set_threshold(100_000, 20, 20)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by whoever started the command, and so wanted by nobody
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - open to the end
        stream = getattr(sys, name)
        # A name a terminal cannot spell is shown in its escaped form; in JSON that is a valid escape too.
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    finishlab.main()

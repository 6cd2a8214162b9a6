"""Files that take long to make, made once a session even where several workers ask for them."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

import pytest

__all__ = ["made_once", "session_folder"]

LONGEST: Final = 120.0
"""Seconds after which a worker that was making a file is taken for dead, and the file is made here."""


def session_folder(factory: pytest.TempPathFactory, name: str) -> Path:
    """Return a folder that all workers of this session share."""
    base = factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / f"shared-{name}"
    folder.mkdir(exist_ok=True)
    return folder


def made_once(path: Path, make: Callable[[Path], object]) -> Path:
    """Return `path`, made by the first who asks; `make` is given a place beside it, which is moved there when done."""
    lock, began = path.with_name(f"{path.name}.lock"), time.monotonic()
    while not path.exists():
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL))
        except FileExistsError:
            if time.monotonic() - began < LONGEST:
                time.sleep(0.02)
                continue
        part = path.with_name(f"{os.getpid()}-{path.name}")
        try:
            if not path.exists():
                make(part)
                part.rename(path)
        finally:
            with contextlib.suppress(OSError):
                lock.unlink(missing_ok=True)
    return path

"""Write a file whole or not at all: the one way anything is put where a reader may be looking."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from finishlab.errors import OutputError

__all__ = ["whole_file", "write_atomically"]


def write_atomically(path: str | Path, content: bytes) -> None:
    """Write a file of this content as `whole_file` does."""
    with whole_file(path) as stream:
        stream.write(content)


@contextlib.contextmanager
def whole_file(path: str | Path) -> Iterator[IO[bytes]]:
    """Give a file to write that lies beside `path` and is moved into place at the end; a reader never sees half of it.

    What is no file, such as a pipe or ``/dev/stdout``, is written to as it stands and never replaced.

    Raises
    ------
    OutputError
        ``output-not-writable`` if the folder is missing, may not be written, or `path` is a folder.
    """
    target = Path(path)
    temporary: Path | None = None
    try:
        if target.is_dir():
            raise IsADirectoryError(21, "it is a folder")
        if target.exists() and not target.is_file():
            with target.open("wb") as stream:
                yield stream
            return
        mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask()
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        temporary = Path(name)
        with os.fdopen(handle, "wb") as stream:
            yield stream
        temporary.chmod(mode)
        temporary.replace(target)
    except OSError as error:
        raise OutputError(
            "output-not-writable",
            f"{target} cannot be written: {(error.strerror or str(error)).lower()}.",
            "Name a file in a folder that exists and that you may write to.",
        ) from error
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)


def _umask() -> int:
    # The mask can only be read by setting it; a temporary file would otherwise be readable by its owner alone.
    mask = os.umask(0o022)
    os.umask(mask)
    return mask

"""``--logbook``, which is accepted before or after the command, and the folder it names."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

import click

from finishlab.errors import UsageError

__all__ = ["LOGBOOK_ENV", "logbook_folder", "logbook_option"]

LOGBOOK_ENV: Final = "FINISHLAB_LOGBOOK"
_CHOSEN: Final = "finishlab.logbook"


def logbook_option(*, hidden: bool) -> click.Option:
    """Return the option; only the first one, before the command, is shown in a help."""
    return click.Option(
        ["--logbook"],
        type=click.Path(path_type=Path),
        metavar="DIR",
        # Taken as often as it is given, so that the second of two is refused and not the first forgotten.
        multiple=True,
        expose_value=False,
        is_eager=True,
        callback=_choose,
        hidden=hidden,
        help=f"Folder of the logbook, before or after the command; made on first use. "
        f"[env: {LOGBOOK_ENV}; else in your own data folder]",
    )


def logbook_folder() -> Path:
    """Return the folder the user means, whether it is there or not."""
    chosen: Path | None = click.get_current_context().meta.get(_CHOSEN)
    if chosen is None and os.environ.get(LOGBOOK_ENV):
        chosen = Path(os.environ[LOGBOOK_ENV])
    if chosen is None:
        import platformdirs

        chosen = Path(platformdirs.user_data_dir("finishlab", appauthor=False))
    return chosen.expanduser()


def _choose(ctx: click.Context, param: click.Parameter, given: tuple[Path, ...]) -> None:
    """Keep the folder for all contexts of this call.

    Raises
    ------
    UsageError
        ``"two-logbooks"``.
    """
    del param
    for folder in given:
        before = ctx.meta.setdefault(_CHOSEN, folder)
        if before != folder:
            raise UsageError(
                "two-logbooks", f"--logbook names two folders: {before} and {folder}.", "Give --logbook once."
            )

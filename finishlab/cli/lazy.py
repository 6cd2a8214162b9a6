"""Commands imported only when they are called, so that help comes at once; their examples, and ``--logbook``."""

from __future__ import annotations

import difflib
import importlib
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import click
from click.shell_completion import CompletionItem

from finishlab.cli.completion import with_completion
from finishlab.errors import UsageError

__all__ = ["LOGBOOK_ENV", "ExampleCommand", "LazyGroup", "logbook_folder", "logbook_option"]

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
    # Of a name that is nobody's the ~ stays, and opening the logbook says so.
    return Path(os.path.expanduser(chosen))  # noqa: PTH111 - the path's own raises


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


_LOGBOOK: Final = logbook_option(hidden=True)


class _WithLogbook(click.Command):
    """A command that takes ``--logbook`` too; help shows it once, before the command."""

    def __init__(self, *args: Any, **extra: Any) -> None:  # noqa: ANN401 - click's own
        super().__init__(*args, **extra)
        for param in self.params:
            with_completion(param)

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        """Return the command's own parameters, and the logbook below the first command."""
        own = super().get_params(ctx)
        return own if ctx.parent is None else [*own, _LOGBOOK]


class LazyGroup(_WithLogbook, click.Group):
    """A group that knows its commands by where they are.

    Parameters
    ----------
    lazy
        Name -> (``"module:object"``, one line of help), in the order in which help shows them.
    """

    def __init__(self, *args: Any, lazy: Mapping[str, tuple[str, str]], **extra: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **extra)
        self.lazy = dict(lazy)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands, in the order of the work."""
        del ctx
        return list(self.lazy)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return a command; its line in the help stands here and nowhere else."""
        del ctx
        if cmd_name not in self.lazy:
            return None
        place, line = self.lazy[cmd_name]
        module, _, name = place.partition(":")
        command: click.Command = getattr(importlib.import_module(module), name)
        command.short_help = line
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that is named; a mistyped one is answered with those that look like it."""
        name = args[0]
        if name not in self.lazy and not name.startswith("-") and not ctx.resilient_parsing:
            near = difflib.get_close_matches(name, self.lazy)
            meant = f" Did you mean {' or '.join(f'“{each}”' for each in near)}?" if near else ""
            raise click.UsageError(f"There is no command “{ctx.command_path} {name}”.{meant}", ctx)
        return super().resolve_command(ctx, args)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Return the commands and options that begin so, without importing any."""
        lines = ((name, line) for name, (_, line) in self.lazy.items() if name.startswith(incomplete))
        named = [CompletionItem(name, help=line) for name, line in lines]
        return named + click.Command.shell_complete(self, ctx, incomplete)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing them."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in self.lazy.items()])


class ExampleCommand(_WithLogbook):
    """A command whose help ends with examples.

    Parameters
    ----------
    examples
        Command lines, shown as they are.
    """

    def __init__(self, *args: Any, examples: Sequence[str], **extra: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **extra)
        self.examples = tuple(examples)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the examples."""
        with formatter.section("Examples" if len(self.examples) > 1 else "Example"):
            for line in self.examples:
                formatter.write(f"{'':>{formatter.current_indent}}{line}\n")
        super().format_epilog(ctx, formatter)

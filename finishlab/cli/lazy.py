"""Commands that are imported only when they are called, so that help comes at once; and commands with examples."""

from __future__ import annotations

import importlib
from collections.abc import Mapping, Sequence
from typing import Any

import click

__all__ = ["ExampleCommand", "LazyGroup"]


class LazyGroup(click.Group):
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
        """Import and return a command."""
        del ctx
        if cmd_name not in self.lazy:
            return None
        module, _, name = self.lazy[cmd_name][0].partition(":")
        command: click.Command = getattr(importlib.import_module(module), name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing them."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in self.lazy.items()])


class ExampleCommand(click.Command):
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

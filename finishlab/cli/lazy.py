"""The command: its commands, imported only when they are called so that help comes at once; what a shell completes.

What an argument or option takes is read off the word that stands for it in the help: ``B3`` is a board, ``PARTS`` are
parts of the stair. A new command that says ``R1`` there is completed like the others.
"""

from __future__ import annotations

import difflib
import importlib
import os
import re
import shlex
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import click
from click.shell_completion import BashComplete, CompletionItem, add_completion_class

from finishlab.cli.failures import exit_code_of, quiet_libraries
from finishlab.errors import FinishlabError, UsageError
from finishlab.version import __version__

if TYPE_CHECKING:
    from finishlab.logbook.store import Logbook


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


def command(*examples: str, name: str | None = None) -> Callable[[Callable[..., Any]], ExampleCommand]:
    """Return what makes a command of a function: its docstring is the help, which ends with the examples."""
    return click.command(name, cls=ExampleCommand, examples=examples)


class LazyGroup(_WithLogbook, click.Group):
    """A group that knows its commands, or where they are.

    Parameters
    ----------
    lazy
        Name -> (``"module:object"``, one line of help), the first in the order in which help shows them.
    """

    def __init__(self, *args: Any, lazy: Mapping[str, tuple[str, str]] | None = None, **extra: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **extra)
        self.lazy: dict[str, tuple[str | click.Command, str]] = dict(lazy or {})

    def has(
        self, name: str, line: str, *examples: str, words: str | None = None
    ) -> Callable[[Callable[..., Any]], ExampleCommand]:
        """Return what makes a command of a function that comes next in the group.

        Parameters
        ----------
        name
            What is typed.
        line
            Its line in the group's help.
        examples
            At the end of its own help.
        words
            Its own help, where that is not the function's docstring.
        """

        def made(function: Callable[..., Any]) -> ExampleCommand:
            found = click.command(name, cls=ExampleCommand, examples=examples, help=words, short_help=line)(function)
            self.lazy[name] = found, line
            return found

        return made

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands, in the order of the work."""
        del ctx
        return list(self.lazy)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, imported where it must be; its line in the help stands here and nowhere else."""
        del ctx
        place, line = self.lazy.get(cmd_name, (None, ""))
        if isinstance(place, str):
            module, _, name = place.partition(":")
            found: click.Command = getattr(importlib.import_module(module), name)
            found.short_help = line
            return found
        return place

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


Source = Literal["B", "F", "R", "C", "H", "PART", "strip", "camera", "light"]

Words = Iterable[tuple[str, str | None]]
"""What can be typed, each with a word on it."""


def _boards(log: Logbook) -> Words:
    from finishlab.board.shown import what_it_is

    return ((each.number, what_it_is(each.record)) for each in log.boards())


def _cans(log: Logbook) -> Words:
    for each in log.cans():
        can = each.record
        yield each.number, " ".join(filter(None, (can.maker, can.product, can.lot and f"(lot {can.lot})")))


def _parts(log: Logbook) -> Words:
    stair = log.stair()
    alone = len({part.name.level for part in stair.parts}) == 1  # then a part is known without its flight
    return ((part.code.partition(".")[2] if alone else part.code, stair.words(part)) for part in stair.parts)


_LOGGED: Final[Mapping[Source, Callable[[Logbook], Words]]] = {
    "B": _boards,
    "F": lambda log: ((each.number, each.record.spot) for each in log.floor_spots()),
    "R": lambda log: ((each.number, each.record.name) for each in log.recipes()),
    "C": _cans,
    "H": lambda log: ((each.number, each.record.kind) for each in log.trials()),
    "PART": _parts,
    "strip": lambda log: ((str(number), None) for number in log.strips()),
    "camera": lambda log: ((each.camera, each.light) for each in log.camera_profiles()),
    "light": lambda log: ((light, None) for light in log.lights_logged()),
}


@add_completion_class
class QuotedBash(BashComplete):
    """Completion for bash that quotes what has spaces, such as the kinds of a can; click's own takes it apart."""

    name = "bash"

    def format_completion(self, item: CompletionItem) -> str:
        """Return a line of the answer."""
        return f"{item.type},{shlex.quote(item.value) if item.type == 'plain' else item.value}"


class Logged(click.types.StringParamType):
    """A text that names something that was logged, which a shell can complete."""

    def __init__(self, *what: Source) -> None:
        self.what = what

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Return what is logged and begins so."""
        del param
        return _begun(ctx, self.what, incomplete)


def logged(*what: Source) -> Callable[[click.Context, click.Parameter, str], list[CompletionItem]]:
    """Return what completes a parameter that is no plain text, for click's ``shell_complete``."""
    return lambda ctx, _, incomplete: _begun(ctx, what, incomplete)


def _begun(ctx: click.Context, what: Iterable[Source], incomplete: str) -> list[CompletionItem]:
    """Return what is logged of some kinds and begins as was typed."""
    with ctx.scope(cleanup=False):
        found = logged_words(logbook_folder(), what)
    begun = incomplete.casefold()
    return [CompletionItem(word, help=said or None) for word, said in found if word.casefold().startswith(begun)]


def logged_words(folder: Path, what: Iterable[Source]) -> list[tuple[str, str | None]]:
    """Return what is logged of some kinds, each with a word on it; nothing where no logbook can be read."""
    from finishlab.logbook.store import Logbook

    try:
        log_or_none = Logbook.open_existing(folder)
        if log_or_none is None:
            return []
        with log_or_none as log:
            return list(dict.fromkeys(pair for each in what for pair in _LOGGED[each](log)))
    except (FinishlabError, OSError):  # completing is no place to say what is wrong
        return []


def with_completion(param: click.Parameter) -> None:
    """Let a shell complete a parameter whose word in the help names something that is logged."""
    found = re.findall(r"\b[BFRCH](?=\d)|PART|\bT(?=\d)", param.metavar or "")
    what: list[Any] = ["PART" if each == "T" else each for each in dict.fromkeys(found)]
    if "--light" in param.opts:
        what.append("light")
    if what and param.type is click.STRING:
        param.type = Logged(*what)


COMMANDS: Final = {
    "start": ("finishlab.guide:start", "Go through the first hour, step by step."),
    "status": ("finishlab.guide:status", "Say how far the job is, and what is next."),
    "strip": ("finishlab.strip.commands:strip", "Write the grey strip to print, as a PDF."),
    "measure": ("finishlab.measuring.commands:measure", "Measure the colours in photos; nothing is logged."),
    "pick": ("finishlab.measuring.commands:pick", "Without a strip: click greys and surface in the photo."),
    "floor": ("finishlab.board.commands:floor", "Log and look up places of the floor."),
    "board": ("finishlab.board.commands:board", "Log and look up test boards."),
    "camera": ("finishlab.strip.camera_commands:camera", "Teach finishlab how a camera sees colours, with a chart."),
    "recipe": ("finishlab.recipe.commands:recipe", "Write down finishes that boards and treads share."),
    "can": ("finishlab.recipe.commands:can", "Log cans of stain and finish, and where the rest is."),
    "approve": ("finishlab.recipe.commands:approve", "Make a board's recipe the standard for the treads."),
    "standard": ("finishlab.recipe.commands:standard", "Show the approved standard, and with --all the earlier ones."),
    "stairs": ("finishlab.stair.commands:stairs", "Enter the stair, log and look up its parts."),
    "rank": ("finishlab.rank.commands:rank", "Say which board comes closest to the floor."),
    "trial": ("finishlab.strip.commands:trial", "Try your own phone, print and room against a known truth."),
    "report": ("finishlab.report.commands:report", "Write the answer with its pictures, as a page and a PDF."),
    "remeasure": ("finishlab.measuring.commands:remeasure", "Measure logged photos again, with what is known today."),
    "plan": ("finishlab.plan.commands:plan", "Plan the stair: quantities, cutting, days, risers, floor."),
    "mend": ("finishlab.mend.commands:mend", "Say what to do when a coat went wrong, and years later."),
    "page": ("finishlab.page.commands:page", "Photograph, look up and log from a phone or a browser."),
    "cautions": ("finishlab.cli.common:cautions", "Show every caution with its source."),
    "labels": ("finishlab.printing.commands:labels", "Print labels for board backs and tread undersides."),
    "schedule": ("finishlab.printing.commands:schedule", "Print a finishing schedule for the bench."),
    "house-file": ("finishlab.printing.commands:house_file", "Print a file of everything for the drawer."),
    "history": ("finishlab.logbook.commands:history", "Show what was changed: who, when, what."),
    "undo": ("finishlab.logbook.commands:undo", "Take back what the last command changed."),
    "redo": ("finishlab.logbook.commands:redo", "Bring back what undo took back."),
    "export": ("finishlab.logbook.commands:export", "Write the whole logbook into one archive."),
    "import": ("finishlab.logbook.commands:import_", "Take an archive into the logbook: nothing twice, nothing lost."),
    "check": ("finishlab.logbook.commands:check", "See that the logbook is sound; move aside what is not."),
    "backup": ("finishlab.logbook.commands:backup", "Copy the logbook into another folder, also while it is in use."),
    "demo": ("finishlab.demo:demo", "Try it all on rendered sample photos."),
}
"""Name -> where the command is, and its line in the help."""

_CONTEXT: Final = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


class RootGroup(LazyGroup):
    """The group that turns whatever stops a command into a sentence and an exit code."""

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,  # noqa: FBT001, FBT002 - click's own
        **extra: Any,  # noqa: ANN401 - click's own
    ) -> Any:  # noqa: ANN401 - click's own
        """Run the command line; in standalone mode the process ends with the contract's exit code."""

        def run() -> object:
            # Names are given, so that help reads the same however the command was started.
            name = prog_name or "finishlab"
            return click.Group.main(
                self, args=args, prog_name=name, complete_var=complete_var, standalone_mode=False, **extra
            )

        if not standalone_mode:
            return run()
        with quiet_libraries():
            code = exit_code_of(run)
        sys.exit(code)

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - click's own
        """Run the command; Ctrl-C and a closed pipe are told from click's own ways with them."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            raise click.Abort from None


@click.group(
    cls=RootGroup,
    lazy=COMMANDS,
    params=[logbook_option(hidden=False)],
    context_settings=_CONTEXT,
    epilog=("First: finishlab start. Labels and safety data sheets win over anything said here."),
)
@click.version_option(__version__, prog_name="finishlab", message="%(prog)s %(version)s")
def finishlab() -> None:
    """Find the stair finish that goes well with a floor.

    Print the grey strip, photograph floor and test boards beside it, log them, and read which board comes closest.
    """

"""The command itself: its commands, and what holds for all of them."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any, Final

import click

from finishlab.cli.failures import exit_code_of, quiet_libraries
from finishlab.cli.lazy import LazyGroup, logbook_option
from finishlab.version import __version__

__all__ = ["COMMANDS", "finishlab"]

COMMANDS: Final = {
    "start": ("finishlab.guide:start", "Go through the first hour, step by step."),
    "status": ("finishlab.guide:status", "Say how far the job is, and what is next."),
    "strip": ("finishlab.strip.commands:strip", "Write the grey strip to print, as a PDF."),
    "measure": ("finishlab.measuring.commands:measure", "Measure the colours in photos; nothing is logged."),
    "pick": ("finishlab.measuring.commands:pick", "Without a strip: click greys and surface in the photo."),
    "floor": ("finishlab.board.floor_commands:floor", "Log and look up places of the floor."),
    "board": ("finishlab.board.commands:board", "Log and look up test boards."),
    "camera": ("finishlab.strip.camera_commands:camera", "Teach finishlab how a camera sees colours, with a chart."),
    "recipe": ("finishlab.recipe.commands:recipe", "Write down finishes that boards and treads share."),
    "can": ("finishlab.recipe.cans:can", "Log cans of stain and finish, and where the rest is."),
    "approve": ("finishlab.recipe.commands:approve", "Make a board's recipe the standard for the treads."),
    "standard": ("finishlab.recipe.commands:standard", "Show the approved standard, and with --all the earlier ones."),
    "stairs": ("finishlab.stair.commands:stairs", "Enter the stair, log and look up its parts."),
    "rank": ("finishlab.rank.commands:rank", "Say which board comes closest to the floor."),
    "trial": ("finishlab.strip.trial_commands:trial", "Try your own phone, print and room against a known truth."),
    "report": ("finishlab.report.commands:report", "Write the answer with its pictures, as a page and a PDF."),
    "remeasure": ("finishlab.measuring.commands:remeasure", "Measure logged photos again, with what is known today."),
    "plan": ("finishlab.plan.commands:plan", "Plan the stair: quantities, cutting, days, risers, floor."),
    "mend": ("finishlab.mend.commands:mend", "Say what to do when a coat went wrong, and years later."),
    "cautions": ("finishlab.cli.cautions:cautions", "Show every caution with its source."),
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
    "demo": ("finishlab.demo.commands:demo", "Try it all on rendered sample photos."),
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

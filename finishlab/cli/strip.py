"""``finishlab strip``: the page to print, and what its greys really are."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

import click
from click.core import ParameterSource

from finishlab.cli.common import json_option, print_document, say
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from finishlab.imaging.strip import Paper

_COMMANDS: Final[Mapping[str, tuple[str, str]]] = {
    "learn": ("finishlab.cli.strip_learn:learn", "Learn the greys of one printed strip."),
    "list": ("finishlab.cli.strip_learn:list_strips", "List the strips whose greys were learned."),
    "show": ("finishlab.cli.strip_learn:show", "Show what is known of a strip's greys."),
    "forget": ("finishlab.cli.strip_learn:forget", "Take a strip for a usual print again."),
}


class _StripGroup(LazyGroup, ExampleCommand):
    """Writes the strip when it is called alone; its commands are about a strip that is printed."""

    def collect_usage_pieces(self, ctx: click.Context) -> list[str]:
        """Return the usage of the command alone: the commands below have their own help."""
        del ctx
        return ["[OPTIONS]", "[COMMAND]"]


@click.group(
    cls=_StripGroup,
    lazy=_COMMANDS,
    invoke_without_command=True,
    short_help="Write the grey strip to print, as a PDF.",
    examples=(
        "finishlab strip --output strip.pdf --paper letter",
        "finishlab strip learn --number 412 --lightness 0:24.1 --lightness 3:55.2 --lightness 7:93.5",
    ),
)
@click.option(
    "--output", "-o", type=click.Path(), default="strip.pdf", show_default=True, metavar="FILE", help="The PDF."
)
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of the page.")
@click.option(
    "--eye-page",
    type=click.Path(),
    metavar="FILE",
    help="Also write a page to match the print's greys by eye, as a PDF.",
)
@click.option("--layout", type=click.Path(), metavar="FILE", help="Also write where strip and fields lie, as JSON.")
@click.option(
    "--number",
    type=click.IntRange(1, 1600),
    metavar="N",
    help="The strip's number, 1 to 1600, to print the same strip again. [default: a new one]",
)
@json_option
@click.pass_context
def strip(
    ctx: click.Context,
    *,
    output: str,
    paper: str,
    eye_page: str | None,
    layout: str | None,
    number: int | None,
    as_json: bool,
) -> None:
    """Write the grey strip to print, as a PDF.

    Print it at 100 %, in black ink only, on plain matt paper. One strip serves one project, floor and boards alike. The
    commands below tell finishlab what the greys of a printed strip really are.
    """
    if ctx.invoked_subcommand is not None:
        _refuse_options(ctx, ctx.invoked_subcommand)
        return
    from finishlab.files import write_atomically
    from finishlab.imaging.strip import STRIP, new_strip_number
    from finishlab.printing.eye_page import eye_page_pdf
    from finishlab.printing.strip import strip_layout, strip_pdf

    _check_files(output, eye_page, layout)
    page = cast("Paper", paper)
    chosen = new_strip_number() if number is None else number
    write_atomically(output, strip_pdf(paper=page, number=chosen))
    if eye_page is not None:
        write_atomically(eye_page, eye_page_pdf(paper=page, number=chosen))
    if layout is not None:
        write_atomically(layout, strip_layout(page))
    if as_json:
        print_document({**STRIP.layout(page), "number": chosen, "output": output})
    else:
        click.echo(output)
    say(f"Strip {chosen:04d} on {paper} paper. Print it at 100 %, black ink only, and check the ruler.")


def _check_files(output: str, eye_page: str | None, layout: str | None) -> None:
    """Refuse names that would replace something else than an earlier strip, page or layout."""
    also = ((eye_page, ".pdf", "page for the eye"), (layout, ".json", "layout"))
    wanted = [(output, ".pdf", "strip"), *((name, *rest) for name, *rest in also if name is not None)]
    for name, suffix, what in wanted:
        if Path(name).exists() and Path(name).suffix.lower() != suffix:
            raise UsageError(
                "file-exists", f"The {what} would replace {name}, which is something else.", f"Name a {suffix} file."
            )
    for name, _, what in wanted[1:]:
        if Path(output).resolve() == Path(name).resolve():
            raise UsageError("one-file-twice", f"Strip and {what} cannot both be {output}.", "Name two files.")
    if Path(output).exists():
        say(f"{output} is replaced; photos beside an earlier print of it cannot be compared with the new strip's.")


def _refuse_options(ctx: click.Context, command: str) -> None:
    """Refuse options of the page to print before a command that prints none: they would be lost."""
    given: list[Any] = [
        each.opts[0]
        for each in ctx.command.params
        if each.name is not None and ctx.get_parameter_source(each.name) is ParameterSource.COMMANDLINE
    ]
    if given:
        raise UsageError(
            "option-before-command",
            f"{given[0]} belongs to the page to print, not to “{command}”.",
            f"Write options after it: finishlab strip {command} --help",
        )

"""``finishlab report``: the answer with its pictures, as a page and as a PDF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from finishlab.cli.common import json_option, open_logbook, print_document, print_results, say, say_letters
from finishlab.cli.lazy import command
from finishlab.errors import UsageError
from finishlab.rank.commands import aim_options, other_aim, read_aim
from finishlab.record import harmless

if TYPE_CHECKING:
    from finishlab.imaging.strip import Paper


@command(
    "finishlab report",
    'finishlab report --light "evening lamp" --output evening.html',
    "finishlab report --pdf report.pdf --paper letter",
    "finishlab report --aim contrast --darker 12 --output contrast.html",
)
@aim_options
@click.option("--title", metavar="TEXT", help="What stands above the answer, such as the name of the stair.")
@click.option(
    "--output",
    "-o",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path("report.html"),
    show_default=True,
    metavar="FILE",
    help="The page: one HTML file that holds all it shows.",
)
@click.option(
    "--pdf", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help="Also write the report as a PDF."
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of the PDF's pages."
)
@json_option
def report(
    *,
    light: str | None,
    title: str | None,
    output: Path,
    pdf: Path | None,
    paper: str,
    as_json: bool,
    **wanted: Any,  # noqa: ANN401 - the aim's options
) -> None:
    """Write the answer with its pictures, as a page and a PDF.

    The answer comes first, then crops from the photos, charts and swatches, the boards, the doubts, how it was
    measured, what to do next, and cautions. The page loads nothing from elsewhere, opens on a phone and prints on A4
    and Letter. Its pictures carry no place and no camera data; the logbook's photos stay as they are.
    """
    from finishlab.report.story import gather_report, report_document, write_report

    if pdf is not None and pdf.expanduser().resolve() == output.expanduser().resolve():
        raise UsageError("same-output", f"Page and PDF cannot both be {pdf}.", "Name two files.")
    aim = read_aim(**wanted)
    with open_logbook() as log:
        content = gather_report(log, title=title, light=light, aim=aim, other=other_aim(aim))
    page, pdf = output.expanduser(), None if pdf is None else pdf.expanduser()
    say_letters(write_report(content, page=page, pdf=pdf, paper=cast("Paper", paper)))
    if as_json:
        print_document(report_document(content, page=page, pdf=pdf))
        return
    from finishlab.rank.documents import headline

    print_results(harmless(headline(content.ranking, content.boards)))
    print_results(f"Page: {page}")
    if pdf is not None:
        print_results(f"PDF: {pdf}")
    missing = [b.board for b in content.pictured if b.board not in content.crops]
    if missing:
        say(f"No crop could be cut of {', '.join(missing)}: measured by hand, or its photo is not to be had.")

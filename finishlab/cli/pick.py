"""``finishlab pick``: name greys and surface by clicking in the photo."""

from __future__ import annotations

from pathlib import Path

import click

from finishlab.cli.common import json_option, measure_all, report_failures, say, show_document
from finishlab.cli.lazy import ExampleCommand


@click.command(
    cls=ExampleCommand,
    examples=("finishlab pick board.jpg",),
)
@click.argument("photo", type=click.Path())
@click.option("--save-picture", type=click.Path(), metavar="OUT.png", help="The photo with all that was found in it.")
@json_option
def pick(*, photo: str, save_picture: str | None, as_json: bool) -> int:
    """Show a photo, take clicks for greys of known lightness and for the surface, and measure.

    The line that measures the same without the window is printed on stderr. Needs a screen.
    """
    from finishlab.cli.measure import check_picture_name
    from finishlab.cli.pick_window import PickWindow, open_screen
    from finishlab.show.measurements import measurement_document
    from finishlab.workflow.batch import How

    check_picture_name(save_picture)
    root = open_screen()
    try:
        window = PickWindow(root, Path(photo))
    except BaseException:
        root.destroy()
        raise
    picked = window.run()
    if picked is None:
        say("Nothing was picked; nothing was measured.")
        return 0
    say(picked.command(photo))
    greys, area = picked.chosen()
    results = measure_all([photo], How(greys=greys, area=area), save_picture)
    if as_json or results[0].measurement is not None:
        show_document(measurement_document(results), as_json=as_json)
    return report_failures(results)

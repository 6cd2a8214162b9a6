"""``finishlab measure``: colours from photos, without logging them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from finishlab.cli.common import (
    area_options,
    json_option,
    measure_all,
    photos_argument,
    report_failures,
    say,
    show_document,
    trust_known,
    with_learned,
)
from finishlab.cli.lazy import ExampleCommand
from finishlab.errors import UsageError

if TYPE_CHECKING:
    from finishlab.imaging.strip import FieldName
    from finishlab.measure import GreyArea, SurfaceArea, SurfaceKind


def check_picture_name(name: str | None) -> None:
    """Check that a picture can be written under this name.

    Raises
    ------
    UsageError
        ``picture-not-png``.
    """
    if name is not None and Path(name).suffix.lower() != ".png":
        raise UsageError("picture-not-png", f"{name} is not the name of a PNG.", "End the name in .png.")


@click.command(
    cls=ExampleCommand,
    examples=(
        "finishlab measure board.jpg --save-picture check.png",
        "finishlab measure photos/ --field both --json",
        "finishlab measure board.jpg --grey 120,80,60,40:50 --area 900,400,300,200",
        "finishlab measure board.jpg --grey 120,80,60,40:50 --polygon 900,400,1300,420,1280,700,910,690",
    ),
)
@photos_argument
@click.option(
    "--field",
    type=click.Choice(["board", "floor", "both"]),
    default="board",
    show_default=True,
    help="Which edge of the strip; both give their difference too.",
)
@click.option(
    "--floor-is",
    type=click.Choice(["print", "wood"]),
    default="print",
    show_default=True,
    help="What the floor's face is made of: vinyl and laminate are printed.",
)
@area_options
@click.option("--light", metavar="TEXT", help="The light, to choose the camera's learned profile. [default: daylight]")
@click.option("--no-profile", is_flag=True, help="Leave the camera's learned profile out.")
@click.option(
    "--save-picture",
    type=click.Path(),
    metavar="OUT.png",
    help="The photo with all that was found in it, and why; also of one that is refused.",
)
@json_option
def measure(
    *,
    photos: tuple[str, ...],
    field: str,
    floor_is: str,
    greys: tuple[GreyArea, ...],
    area: SurfaceArea | None,
    light: str | None,
    no_profile: bool,
    save_picture: str | None,
    as_json: bool,
) -> int:
    """Measure the colours in photos; nothing is logged.

    A folder stands for the photos in it. With several photos each is tried, whatever happens to the others.
    Where a logbook has learned the strip's own greys they are used.
    """
    from finishlab.show.measurements import measurement_document
    from finishlab.strip.trials import trust_entry, trust_line, trusted
    from finishlab.workflow.batch import How

    check_picture_name(save_picture)
    fields = cast("tuple[FieldName, ...]", ("board", "floor") if field == "both" else (field,))
    how = with_learned(How(fields, cast("SurfaceKind", floor_is), greys, area), light, profile=not no_profile)
    trust = trust_known()
    results = trusted(measure_all(photos, how, save_picture), trust)
    tried = trust_entry(trust)
    more = {} if tried is None else {"trials": tried}
    beside = [line for line in (trust_line(trust),) if line]
    if as_json or any(result.measurement is not None for result in results):
        show_document(measurement_document(results, failures=False, beside=beside, **more), as_json=as_json)
    code = report_failures(results)
    good = sum(result.error is None for result in results)
    if code and len(results) > 1:
        say(f"{good} of {len(results)} photos were measured.")
    return code

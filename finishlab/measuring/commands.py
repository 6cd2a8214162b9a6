"""The commands ``measure``, ``pick`` and ``remeasure``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from finishlab.cli.common import (
    area_options,
    json_option,
    measure_all,
    open_logbook,
    photos_argument,
    print_document,
    print_results,
    report_failures,
    said_in_logbook,
    say,
    show_document,
    with_learned,
)
from finishlab.cli.failures import INTERRUPTED, show_error
from finishlab.cli.lazy import command
from finishlab.errors import UsageError
from finishlab.measuring import InterruptedMeasuringError, MeasureOptions
from finishlab.measuring.picking import PickWindow, open_screen

if TYPE_CHECKING:
    from finishlab.imaging.strip import FieldName
    from finishlab.measure.areas import GreyArea, SurfaceArea
    from finishlab.measure.results import SurfaceKind
    from finishlab.measuring.logged import Remeasured


def check_picture_name(name: str | None) -> None:
    """Check that a picture can be written under this name.

    Raises
    ------
    UsageError
        ``picture-not-png``.
    """
    if name is not None and Path(name).suffix.lower() != ".png":
        raise UsageError("picture-not-png", f"{name} is not the name of a PNG.", "End the name in .png.")


@command(
    "finishlab measure board.jpg --save-picture check.png",
    "finishlab measure photos/ --field both --json",
    "finishlab measure board.jpg --grey 120,80,60,40:50 --area 900,400,300,200",
    "finishlab measure board.jpg --grey 120,80,60,40:50 --polygon 900,400,1300,420,1280,700,910,690",
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
    from finishlab.matching.trials import Trust
    from finishlab.measuring.shown import measurement_document
    from finishlab.strip.trials import trust_entry, trust_in, trust_line, trusted

    check_picture_name(save_picture)
    fields = cast("tuple[FieldName, ...]", ("board", "floor") if field == "both" else (field,))
    how = with_learned(
        MeasureOptions(fields, cast("SurfaceKind", floor_is), greys, area), light, profile=not no_profile
    )
    trust = said_in_logbook(trust_in, Trust())  # where it cannot be read that is told already
    stopped = 0
    try:
        measured = measure_all(photos, how, save_picture)
    except InterruptedMeasuringError as stop:
        measured, stopped = stop.results, stop.asked
    results = trusted(measured, trust)
    tried = trust_entry(trust)
    more = {} if tried is None else {"trials": tried}
    beside = [line for line in (trust_line(trust),) if line]
    if as_json or any(result.measurement is not None for result in results):
        show_document(measurement_document(results, failures=False, beside=beside, **more), as_json=as_json)
    code = report_failures(results)
    good = sum(result.error is None for result in results)
    if stopped:
        say(f"Interrupted; {good} of {stopped} photos were measured.")
        return INTERRUPTED
    if code and len(results) > 1:
        say(f"{good} of {len(results)} photos were measured.")
    return code


@command("finishlab pick board.jpg")
@click.argument("photo", type=click.Path(readable=False))
@click.option("--save-picture", type=click.Path(), metavar="OUT.png", help="The photo with all that was found in it.")
@json_option
def pick(*, photo: str, save_picture: str | None, as_json: bool) -> int:
    """Show a photo, take clicks for greys of known lightness and for the surface, and measure.

    The line that measures the same without the window is printed on stderr. Needs a screen.
    """
    from finishlab.measuring.shown import measurement_document

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
    results = measure_all([photo], MeasureOptions(greys=greys, area=area), save_picture)
    if as_json or results[0].measurement is not None:
        show_document(measurement_document(results), as_json=as_json)
    return report_failures(results)


@command("finishlab remeasure", "finishlab remeasure F1 F2 B3", "finishlab remeasure 'tread 7'")
@click.argument("numbers", nargs=-1, metavar="[B1|F1|PART]...")
@json_option
def remeasure(numbers: tuple[str, ...], *, as_json: bool) -> int:
    """Measure logged photos again, with today's version and what is known today of strips and cameras.

    Without a number, all of them. Each photo is measured in the way it was; the old figures stay in the history. A
    board, spot or stair part with a photo that fails is left as it was.
    """
    from finishlab.measuring.logged import remeasure as measure_again

    with open_logbook() as log:
        found = measure_again(log, numbers)
    if as_json:
        print_document({"format": "finishlab/remeasured/1", "subjects": [_again(each) for each in found]})
    for each in found:
        if each.errors:
            say(f"{each.number} is left as it was:")
            for error in each.errors:
                show_error(error)
        elif not each.before:
            say(f"{each.number} has no photo to measure again.")
        elif not as_json:
            print_results(_told_again(each))
    if not found:
        say("Nothing is logged yet.")
    return max((int(error.exit_code) for each in found for error in each.errors), default=0)


def _again(found: Remeasured) -> dict[str, Any]:
    """Return number, colours before and after, why they moved, and failures of a board, a spot or a part."""
    return {
        "number": found.number,
        "ok": not found.errors,
        "before": [[round(value, 3) for value in each.field.estimate.lab] for each in found.before],
        "after": [[round(value, 3) for value in each.field.estimate.lab] for each in found.after],
        "why": [list(each) for each in _reasons(found)],
        "errors": [error.as_dict() for error in found.errors],
    }


def _reasons(found: Remeasured) -> list[tuple[str, ...]]:
    from finishlab.measuring.logged import why_moved

    pairs = zip(found.before, found.after, strict=False)  # none after a failure
    return [why_moved(old, new.settings, new.version) for old, new in pairs]


def _told_again(found: Remeasured) -> str:
    """Return by how much a subject's colours moved, and why: a line, and one more for each reason."""
    from finishlab.colorimetry.delta_e import delta_e_00
    from finishlab.measuring.logged import SAME

    labs = [(o.field.estimate.lab, n.field.estimate.lab) for o, n in zip(found.before, found.after, strict=True)]
    if all(delta_e_00(old, new) <= SAME for old, new in labs):
        return f"{found.number}: as it was"
    moves = "; ".join(_moved(old, new) for old, new in labs)
    why = list(dict.fromkeys(reason for reasons in _reasons(found) for reason in reasons))
    unknown = f"finishlab measures otherwise than it did, still as version {found.after[0].version}"
    return "\n".join([f"{found.number}: L* a* b* moved by {moves}", *(f"  {each}" for each in why or [unknown])])


def _moved(old: tuple[float, float, float], new: tuple[float, float, float]) -> str:
    return " ".join(f"{after - before:+.2f}" for before, after in zip(old, new, strict=True))

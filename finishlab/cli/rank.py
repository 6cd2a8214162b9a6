"""``finishlab rank``: the answer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.common import json_option, open_logbook, out, print_document
from finishlab.cli.lazy import ExampleCommand
from finishlab.errors import UsageError

if TYPE_CHECKING:
    from finishlab.matching.aims import Aim
    from finishlab.workflow.comparing import Comparison

_LIMITS = ("redder", "greener", "yellower", "bluer", "lighter", "darker")


def _limit_options(command: Any) -> Any:  # noqa: ANN401 - a decorator passes its command on
    """Add ``--no-redder`` and its like."""
    for limit in reversed(_LIMITS):
        text = f"Only boards that are no {limit} than the floor come first."
        command = click.option(f"--no-{limit}", f"no_{limit}", is_flag=True, help=text)(command)
    return command


@click.command(
    cls=ExampleCommand,
    short_help="Say which board comes closest to the floor.",
    examples=(
        "finishlab rank",
        'finishlab rank --light "evening lamp"',
        "finishlab rank --no-redder",
        "finishlab rank --aim contrast --darker 12",
    ),
)
@click.option(
    "--light",
    metavar="TEXT",
    help="The light whose photos are compared. [default: the one with most boards beside a measured floor]",
)
@click.option(
    "--aim",
    type=click.Choice(["match", "contrast"]),
    default="match",
    show_default=True,
    help="Match the floor, or stand off from it on purpose with the same undertone.",
)
@click.option("--lighter", type=click.FloatRange(1, 60), metavar="L*", help="Contrast: lighter than the floor by this.")
@click.option("--darker", type=click.FloatRange(1, 60), metavar="L*", help="Contrast: darker than the floor by this.")
@click.option(
    "--hue-within",
    type=click.FloatRange(1, 90),
    metavar="DEGREES",
    help="Contrast: how far the undertone (hue angle) may be off. [default: 8]",
)
@_limit_options
@click.option("--texture", is_flag=True, help="Count lightness half, as for textiles: CIEDE2000 with kL = 2.")
@click.option("--cmc", is_flag=True, help="Rank by CMC(2:1) instead of CIEDE2000.")
@click.option(
    "--top",
    type=click.IntRange(0),
    default=20,
    show_default=True,
    metavar="N",
    help="Boards shown in the table; 0 shows all. --json always holds all.",
)
@json_option
def rank(*, light: str | None, as_json: bool, top: int, **wanted: Any) -> None:  # noqa: ANN401 - the options above
    """Say which board comes closest to the floor, and how sure that is.

    Every photo counts at its weight: a board and the floor in one photo more than the two apart. With photos in
    several lights each is ranked by itself and by its worst light.
    """
    from finishlab.workflow.comparing import compare

    aim = _aim(**wanted)
    with open_logbook() as log:
        found = compare(log, light=light, aim=aim, other=_other(aim))
    if as_json:
        print_document(_document(found))
        return
    _show(found, top)


def _aim(
    *,
    aim: str,
    lighter: float | None,
    darker: float | None,
    hue_within: float | None,
    texture: bool,
    cmc: bool,
    **limits: bool,
) -> Aim:
    from finishlab.colorimetry.formulas import CIEDE2000, CIEDE2000_TEXTURE, CMC_2_1
    from finishlab.matching.aims import HUE_WITHIN, LIMITS, Aim

    if texture and cmc:
        raise UsageError("two-formulas", "--texture and --cmc name two formulas.", "Choose one of them.")
    if lighter is not None and darker is not None:
        raise UsageError("two-steps", "A contrast is lighter or darker, not both.", "Choose one of them.")
    step = lighter if darker is None else -darker
    if aim == "match" and (step is not None or hue_within is not None):
        raise UsageError(
            "step-without-contrast",
            "--lighter, --darker and --hue-within belong to a contrast.",
            "Add --aim contrast.",
        )
    return Aim(
        "contrast" if aim == "contrast" else "match",
        step,
        HUE_WITHIN if hue_within is None else hue_within,
        tuple(limit for limit in LIMITS if limits[f"no_{limit}"]),
        CIEDE2000_TEXTURE if texture else CMC_2_1 if cmc else CIEDE2000,
    )


def _other(aim: Aim) -> Aim:
    """Return the aim the choice is weighed against, with the same limits as far as it can bear them."""
    from finishlab.matching.aims import Aim

    if aim.name == "contrast":
        return Aim(formula=aim.formula)
    undertone = tuple(limit for limit in aim.limits if limit not in {"lighter", "darker"})
    step = 12.0 if "darker" in aim.limits else -12.0 if "lighter" in aim.limits else None
    return Aim("contrast", step, limits=undertone, formula=aim.formula)


def _document(found: Comparison) -> dict[str, Any]:
    from finishlab.reports.comparison import choices_entry, lights_entry, recipes_entry
    from finishlab.reports.documents import ranking_document

    return {
        **ranking_document(found.ranking),
        "light": found.light,
        "left_out": list(found.left_out),
        "lights": None if found.lights is None else lights_entry(found.lights),
        "choices": choices_entry(found.choices),
        "recipes": None if found.recipes is None else recipes_entry(found.recipes),
    }


def _show(found: Comparison, top: int) -> None:
    from finishlab.reports.terminal import print_ranking

    console = out()
    print_ranking(
        console,
        found.ranking,
        found.boards,
        lights=found.lights,
        choices=found.choices,
        recipes=found.recipes,
        most=top or None,
    )
    left_out = f" Photographed in other lights only: {', '.join(found.left_out)}." if found.left_out else ""
    console.print(f"\nLight: {found.light}.{left_out}", markup=False, highlight=False)

"""``finishlab rank``: the answer; and what boards are ranked for, as several commands take it: aim, limits, formula."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import click

from finishlab.cli.common import json_option, open_logbook, options, show_document
from finishlab.cli.lazy import command
from finishlab.errors import UsageError

if TYPE_CHECKING:
    from finishlab.matching.aims import Aim

_LIMITS: Final = ("redder", "greener", "yellower", "bluer", "lighter", "darker")


_STEP: Final = click.FloatRange(1, 60)

aim_options = options(
    click.option(
        "--light",
        metavar="TEXT",
        help="The light whose photos are compared. [default: the one with most boards beside a measured floor]",
    ),
    click.option(
        "--aim",
        type=click.Choice(["match", "contrast"]),
        default="match",
        show_default=True,
        help="Match the floor, or stand off from it on purpose with the same undertone.",
    ),
    click.option("--lighter", type=_STEP, metavar="L*", help="Contrast: lighter than the floor by this."),
    click.option("--darker", type=_STEP, metavar="L*", help="Contrast: darker than the floor by this."),
    click.option(
        "--hue-within",
        type=click.FloatRange(1, 90),
        metavar="DEGREES",
        help="Contrast: how far the undertone (hue angle) may be off. [default: 8]",
    ),
    *(
        click.option(
            f"--no-{limit}",
            f"no_{limit}",
            is_flag=True,
            help=f"Only boards that are no {limit} than the floor come first.",
        )
        for limit in _LIMITS
    ),
    click.option("--texture", is_flag=True, help="Count lightness half, as for textiles: CIEDE2000 with kL = 2."),
    click.option("--cmc", is_flag=True, help="Rank by CMC(2:1) instead of CIEDE2000."),
)
"""Adds ``--light``, and ``--aim`` and what belongs to it, whose values `read_aim` takes."""


def read_aim(
    *,
    aim: str,
    lighter: float | None,
    darker: float | None,
    hue_within: float | None,
    texture: bool,
    cmc: bool,
    **limits: bool,
) -> Aim:
    """Return the aim that the options of `aim_options` name.

    Raises
    ------
    UsageError
        ``two-formulas``, ``two-steps`` or ``step-without-contrast``.
    """
    from finishlab.colorimetry.delta_e import CIEDE2000, CIEDE2000_TEXTURE, CMC_2_1
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


def other_aim(aim: Aim) -> Aim:
    """Return the aim the choice is weighed against, with the same limits as far as it can bear them."""
    from finishlab.matching.aims import Aim

    if aim.name == "contrast":
        return Aim(formula=aim.formula)
    undertone = tuple(limit for limit in aim.limits if limit not in {"lighter", "darker"})
    step = 12.0 if "darker" in aim.limits else -12.0 if "lighter" in aim.limits else None
    return Aim("contrast", step, limits=undertone, formula=aim.formula)


@command(
    "finishlab rank",
    "finishlab rank --full",
    'finishlab rank --light "evening lamp"',
    "finishlab rank --no-redder",
    "finishlab rank --aim contrast --darker 12",
)
@aim_options
@click.option("--full", is_flag=True, help="All of it: every board, lights, aims, doubts, what to do next.")
@click.option(
    "--most",
    type=click.IntRange(0),
    default=20,
    show_default=True,
    metavar="N",
    help="With --full: boards shown in the table; 0 shows all. --json always holds all.",
)
@json_option
def rank(*, light: str | None, as_json: bool, full: bool, most: int, **wanted: Any) -> None:  # noqa: ANN401 - the options above
    """Say which board comes closest to the floor, and how sure that is.

    Every photo counts at its weight: a board and the floor in one photo more than the two apart. With photos in
    several lights each is ranked by itself and by its worst light.
    """
    from finishlab.rank.comparing import compare
    from finishlab.rank.documents import comparison_document

    aim = read_aim(**wanted)
    with open_logbook() as log:
        found = compare(log, light=light, aim=aim, other=other_aim(aim), full=full or as_json)
    document = comparison_document(found, full=full, most=most or None, as_json=as_json)
    show_document(document, as_json=as_json)

"""``finishlab plan calendar``: which day brings what, so that the stair can be climbed all the while."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.common import json_option, out, print_document
from finishlab.cli.lazy import ExampleCommand
from finishlab.errors import UsageError
from finishlab.plan.options import csv_option, stair_options, write_text

if TYPE_CHECKING:
    from finishlab.cautions import Action, Caution
    from finishlab.plan.stair_plan import StairPlan


@click.command(
    cls=ExampleCommand,
    short_help="Plan the days so that the stair can be climbed all the while.",
    examples=(
        'finishlab plan calendar --treads 13 --coat "oil stain" --coat "oil polyurethane" --coat "oil polyurethane"',
        "finishlab plan calendar --away --start 2026-12-01",
        "finishlab plan calendar --from stair.toml --ics stair.ics --csv stair.csv",
    ),
)
@stair_options(sized=False)
@click.option("--coat", "coats", multiple=True, metavar="KIND", help="The coats in their order; repeat.")
@click.option("--start", metavar="DATE", help="First day, e.g. 2026-12-01. [default: tomorrow]")
@click.option("--hours", metavar="FROM-TO", help="When somebody works, e.g. 7:30-17:00. [default: 8-18]")
@click.option("--days", metavar="DAYS", help="Days of work, e.g. mon-sat. [default: all]")
@click.option("--away", is_flag=True, help="Treads are finished away from the stair and fitted afterwards.")
@click.option("--set", "set_h", type=click.FloatRange(0, 1000), metavar="HOURS", help="With --away: until glue is set.")
@click.option("--by-part", is_flag=True, help="Part by part instead of day by day.")
@csv_option
@click.option("--ics", "ics_file", type=click.Path(), metavar="FILE", help="Also write an iCalendar file.")
@json_option
def calendar(
    *,
    stair: StairPlan,
    from_file: bool,
    by_part: bool,
    csv_file: str | None,
    ics_file: str | None,
    as_json: bool,
    **options: Any,  # noqa: ANN401 - each of its own type
) -> None:
    """Plan the days so that the stair can be climbed all the while.

    Without --treads or --from it is for the logged stair and its recipe.

    Every second tread is worked on at a time; no two neighbours are wet or missing together, no step stays open
    over night, and no recoat window is missed. Times without a label are usual ones, on the side of waiting.
    """
    from finishlab.plan.documents import calendar_csv, calendar_document, calendar_ics
    from finishlab.plan.stair_plan import calendar_of
    from finishlab.plan.text import print_calendar, print_cautions, print_parts

    plan = _told(stair, options, from_file=from_file)
    found = calendar_of(plan)
    cautions = _cautions(plan)
    if csv_file is not None:
        write_text(csv_file, calendar_csv(plan, found))
    if ics_file is not None:
        write_text(ics_file, calendar_ics(plan, found))
    if as_json:
        print_document(calendar_document(plan, found, cautions))
        return
    (print_parts if by_part else print_calendar)(out(), plan, found)
    print_cautions(out(), cautions)


def _told(stair: StairPlan, options: dict[str, Any], *, from_file: bool) -> StairPlan:
    """Return the plan with what the options say put in."""
    import datetime as dt

    from finishlab.plan.hours import parse_days, parse_hours
    from finishlab.records import parse_date, today

    if from_file and (options["coats"] or options["away"]):
        raise UsageError(
            "file-and-coats", "The file names coats and what is finished away.", "Leave out --coat and --away."
        )
    if not from_file:
        stair = _of_options(stair, options)
    if options["start"] is not None:
        stair = replace(stair, start=parse_date(options["start"]))
    elif stair.start is None:
        stair = replace(stair, start=today() + dt.timedelta(days=1))
    if options["hours"] is not None:
        first, last = parse_hours(options["hours"])
        stair = replace(stair, hours=replace(stair.hours, first=first, last=last))
    if options["days"] is not None:
        stair = replace(stair, hours=replace(stair.hours, days=parse_days([options["days"]])))
    if options["set_h"] is not None:
        stair = replace(stair, fitting=replace(stair.fitting, set_hours=options["set_h"]))
    return stair


def _of_options(stair: StairPlan, options: dict[str, Any]) -> StairPlan:
    from finishlab.plan.entered import product_of

    if not stair.parts:
        raise UsageError(
            "no-stair",
            "The stair is not described.",
            "Give --treads with --coat, or a file with --from; see: finishlab plan example",
        )
    if not options["coats"] and not stair.products:
        raise UsageError("no-coats", "No coat is named.", "Name them in their order, for example --coat “oil stain”.")
    # Coats of a product that follow each other share its recoat window, so each named coat is a product of one coat.
    products = tuple(product_of(kind) for kind in options["coats"])
    return replace(stair, products=products or stair.products, away=("tread", "return") if options["away"] else ())


def _cautions(plan: StairPlan) -> tuple[Caution, ...]:
    from finishlab.cautions import cautions_for

    actions: list[Action] = ["apply", "sand", "wet stair", "dispose"]
    if plan.away:
        actions.append("fit")
    return cautions_for((f"{each.kind} {each.name}" for each in plan.products), actions)

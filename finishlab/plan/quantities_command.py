"""``finishlab plan quantities``: how much stain and finish to buy."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.common import json_option, out, print_document
from finishlab.cli.lazy import ExampleCommand
from finishlab.errors import UsageError
from finishlab.plan.options import csv_option, need_treads, stair_options, write_text

if TYPE_CHECKING:
    from finishlab.plan.stair_plan import StairPlan


@click.command(
    cls=ExampleCommand,
    short_help="Say how much stain and finish to buy.",
    examples=(
        'finishlab plan quantities --treads 13 --front 36in --depth 11.5in --thickness 1in --liquid "oil stain"',
        "finishlab plan quantities --recipe R1",
        "finishlab plan quantities --product walnut --can 1qt=18.50",
        "finishlab plan quantities --from stair.toml --csv quantities.csv",
    ),
)
@stair_options(sized=True)
@click.option("--liquid", metavar="KIND", help='What is applied: "oil stain", "water polyurethane" ...')
@click.option("--product", metavar="NAME", help="Which product of the recipe or file the options are meant for.")
@click.option("--coats", type=click.IntRange(0, 8), metavar="N", help="On top and edges. [default: 1, or the recipe's]")
@click.option("--under", type=click.IntRange(0, 8), metavar="N", help="Coats on the underside. [default: 1]")
@click.option("--coverage", metavar="TEXT", help='What the label says: "125 ft2/qt", "400-500 ft2/gal", "12 m2/L".')
@click.option("--waste", type=click.FloatRange(0, 99), metavar="PERCENT", help="Lost in can and rag. [default: 15]")
@click.option("--can", "cans", multiple=True, metavar="SIZE=PRICE", help="A size on sale, 1qt or 1qt=18.50; repeat.")
@csv_option
@json_option
def quantities(
    *,
    stair: StairPlan,
    from_file: bool,
    liquid: str | None,
    product: str | None,
    csv_file: str | None,
    as_json: bool,
    **said: Any,  # noqa: ANN401 - each of its own type
) -> None:
    """Say how much stain and finish to buy.

    Without --treads or --from it is for the logged stair and its recipe: sizes and prices are those of the recipe's
    logged cans, what a litre covers is their labels'. Options win over both.

    Labels differ up to threefold: without --coverage the answer is a range. Areas hold both faces, edges and
    nosing.
    """
    from finishlab.cautions import cautions_for
    from finishlab.plan.documents import quantities_csv, quantities_document
    from finishlab.plan.entered import product_of, with_said
    from finishlab.plan.stair_plan import quantities_of
    from finishlab.plan.text import print_cautions, print_quantities
    from finishlab.units import is_us

    need_treads(stair)
    if liquid is not None and from_file and stair.products:
        raise UsageError("file-and-liquid", "The file names its products.", "Leave out --liquid.")
    if liquid is not None:
        if product is not None:
            raise UsageError("liquid-and-product", "--liquid is the product.", "Leave out --product, or --liquid.")
        coats = 1 if said["coats"] is None else said["coats"]
        stair = replace(stair, products=(product_of(liquid, **{**said, "coats": coats}),))
    elif stair.products:
        stair = replace(stair, products=with_said(stair.products, which=product, **said))
    if any(is_us(text) for text in (said["coverage"] or "", *said["cans"])):
        stair = replace(stair, us=True)
    found = quantities_of(stair)
    names = [f"{each.product.kind} {each.product.name}" for each in found]
    cautions = cautions_for(names, ("apply", "dispose", "choose sheen"))
    if csv_file is not None:
        write_text(csv_file, quantities_csv(found))
    if as_json:
        print_document({**quantities_document(found, cautions), "not_counted": stair.not_counted or None})
        return
    print_quantities(out(), stair, found)
    print_cautions(out(), cautions)

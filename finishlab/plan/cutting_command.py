"""``finishlab plan cutting``: what to cut the treads to, and how many boards to buy."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from finishlab.cli.common import json_option, out, print_document
from finishlab.cli.lazy import ExampleCommand
from finishlab.plan.options import csv_option, need_treads, stair_options, write_text

if TYPE_CHECKING:
    from finishlab.plan.stair_plan import StairPlan


@click.command(
    cls=ExampleCommand,
    short_help="Say what to cut the treads to, and how many boards to buy.",
    examples=(
        "finishlab plan cutting --treads 13 --front 36in --depth 10.5in --thickness 1in --stock 96inx11.5in=62",
        "finishlab plan cutting",
        "finishlab plan cutting --from stair.toml --csv cutting.csv",
    ),
)
@stair_options(sized=True, products=False)
@click.option("--stock", "boards", multiple=True, metavar="LxW=PRICE", help="A board on sale, 96inx12in=85; repeat.")
@click.option("--kerf", metavar="LENGTH", help="Width of a saw cut. [default: 3.2 mm]")
@click.option("--allowance", metavar="LENGTH", help="Added to each length for cutting to fit. [default: 25 mm or 1 in]")
@click.option(
    "--spare", type=click.IntRange(0, 20), default=1, show_default=True, metavar="N", help="Treads more than needed."
)
@csv_option
@json_option
def cutting(
    *,
    stair: StairPlan,
    from_file: bool,
    boards: tuple[str, ...],
    kerf: str | None,
    allowance: str | None,
    spare: int,
    csv_file: str | None,
    as_json: bool,
) -> None:
    """Say what to cut the treads to, and how many boards to buy.

    Without --treads or --from it is for the logged stair.

    Out-of-square treads come with their back width, sides and both diagonals to check. Boards narrower than a tread
    are taken to be glued up.
    """
    from finishlab.cautions import cautions_for
    from finishlab.plan.cutting import ALLOWANCE, KERF, plan_cutting
    from finishlab.plan.documents import cutting_csv, cutting_document
    from finishlab.plan.entered import parse_stock
    from finishlab.plan.text import print_cautions, print_cutting
    from finishlab.records.lengths import read_length
    from finishlab.units import MM_PER_INCH, is_us

    del from_file
    need_treads(stair)
    stock = tuple(parse_stock(text) for text in boards) or stair.stock
    us = stair.us or any(is_us(text) for text in (*boards, kerf or "", allowance or ""))
    usual = MM_PER_INCH if us else ALLOWANCE
    found = plan_cutting(
        [part for part in stair.parts if part.kind == "tread"],
        stock,
        kerf=KERF if kerf is None else read_length(kerf, "saw cut", "width"),
        allowance=_allowance(allowance, usual),
        spares=spare,
    )
    cautions = cautions_for((), ("sand", "fit"))
    if csv_file is not None:
        write_text(csv_file, cutting_csv(found))
    if as_json:
        print_document(cutting_document(found, cautions))
        return
    print_cutting(out(), replace(stair, us=us), found)
    print_cautions(out(), cautions)


def _allowance(text: str | None, usual: float) -> float:
    """Return what is added to each length, mm; 0 is meant here."""
    from finishlab.records.lengths import read_length

    if text is None:
        return usual
    return 0.0 if text.strip() == "0" else read_length(text, "cutting", "allowance")

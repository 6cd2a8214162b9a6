"""``finishlab plan example``: a plan's file to change into one's own."""

from __future__ import annotations

from typing import Final

import click

from finishlab.cli.lazy import ExampleCommand

EXAMPLE: Final = """\
# A stair and its products, for "finishlab plan ... --from stair.toml".
# Lengths take a unit (36in, 914mm); without one they are millimetres. Labels win over every usual figure:
# copy coverage and times from your own cans. What you leave out is planned with usual figures.

start = 2026-12-01

[work]
hours = "8-18"
days = "mon-sat"
off = [2026-12-25]
coat_h = 1                # hours one coat takes for the parts done together
rub_out_h = 1

[away]                    # leave this table out if everything is finished on the stair
parts = ["tread"]
ready_h = 48              # hours after the last coat before a tread is handled
fit_h = 1                 # hours to take one tread out and fit the new one
set_h = 24                # hours until glue holds; 0 for screws

[[flight]]                # from the bottom up; left and right seen from below
risers = 8                # has 7 treads: the last step is the landing
tread = { front = "36in", depth = "11.5in", thickness = "1 1/16in", edge = "half-round" }
riser = { front = "36in", depth = "7.5in", thickness = "3/4in" }
landing = { boards = 6, front = "36in", depth = "6in", thickness = "3/4in" }

[[flight.odd]]            # a tread that differs: what is not named is as above
tread = 3
left = 89.0               # angles inside the tread, at its front edge
right = 90.5

[[flight]]
risers = 6
tread = { front = "36in", depth = "11.5in", thickness = "1 1/16in", edge = "half-round" }
landing_nosing = { front = "36in", depth = "3.5in", thickness = "3/4in" }

[[product]]               # in the order in which they go on
kind = "riser paint"
coats = 2
cans = ["1qt=22"]

[[product]]
name = "Golden brown"
kind = "oil stain"
coverage = "125 ft2/qt"
recoat_h = [24, 72]       # from, to; one number if the label names no end
cans = ["1qt=18.50"]

[[product]]
name = "Satin floor finish"
kind = "water polyurethane"
coats = 3
under = 1                 # coats on the underside
waste = 10                # percent
recoat_h = [2, 24]
late_h = 48               # the window missed, it may follow after so many hours and a rub-out
socks_h = 24
use_d = 3
cure_d = 14
cans = ["1qt=34", "1gal=99"]

[stock]
boards = ["96inx12in=85", "48inx12in=45"]
"""


@click.command(
    cls=ExampleCommand,
    short_help="Print a plan's file to change into your own.",
    examples=("finishlab plan example",),
)
def example() -> None:
    """Print a plan's file to change into your own: the stair, its products and the days of work.

    Write it to a file with: finishlab plan example > stair.toml
    """
    click.echo(EXAMPLE, nl=False)

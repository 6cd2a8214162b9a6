"""Which steps can be walked on: what is logged of coats against the hours of their labels, worked out here by hand."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from finishlab.cli.lazy import finishlab
from finishlab.logbook.store import Logbook
from finishlab.plan.days import walking_document
from finishlab.stair.names import parse_parts

NIGHT = dt.datetime.fromisoformat("2024-06-03T20:00")
"""Monday evening, local time, in which nobody changes the clock."""


class Stair:
    """Five risers with four treads, and a can each of a slow stain and a quick topcoat."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "log"
        self("stairs add 5")
        self("can add honey --kind", "oil stain", "--label", "recoat=8; walk-on=40")
        self("can add satin --kind", "water polyurethane 1-part", "--label", "walk-on=3")

    def __call__(self, words: str, *more: str) -> str:
        """Run a command line; what it prints."""
        result = CliRunner().invoke(finishlab, ["--logbook", str(self.folder), *words.split(), *more])
        assert result.exit_code == 0, result.output
        return result.stdout

    def at(self, now: dt.datetime) -> dict[str, Any]:
        """Return what can be walked on at a moment."""
        with Logbook.open(self.folder) as log:
            return dict(walking_document(log, now).data)

    def opens(self, now: dt.datetime) -> dict[str, str]:
        """Return the closed steps, and from when each is open."""
        return {each["part"]: each["from"] for each in self.at(now)["closed"]}


@pytest.fixture
def stair(tmp_path: Path) -> Stair:
    """Return the stair with nothing done."""
    return Stair(tmp_path)


def test_a_slow_coat_below_closes_a_step_longer_than_the_quick_one_over_it(stair: Stair) -> None:
    """40 h after the stain on Sunday 10:00 is Tuesday 02:00, whatever the topcoat of Monday evening allows."""
    stair("stairs log treads 1-2 stain --can C1 --date 2024-06-02 --time 10:00")
    stair("stairs log treads 2-3 topcoat --can C2 --date 2024-06-03 --time 19:00")
    tuesday = "2024-06-04T02:00"
    assert stair.opens(NIGHT) == {"1.T1": tuesday, "1.T2": tuesday, "1.T3": "2024-06-03T22:00"}
    assert stair.opens(NIGHT.replace(hour=22)) == {"1.T1": tuesday, "1.T2": tuesday}
    assert stair.opens(dt.datetime.fromisoformat("2024-06-04T02:00")) == {}


def test_without_an_hour_a_coat_was_given_as_late_as_can_be(stair: Stair) -> None:
    """A coat of a day long past ended with that day; one logged on its own day ended when it was logged."""
    stair("stairs log tread 1 topcoat --can C2 --date 2024-06-03")
    assert stair.opens(NIGHT) == {"1.T1": "2024-06-04T03:00"}
    before = dt.datetime.now(tz=dt.UTC).astimezone().replace(tzinfo=None)
    stair("stairs log tread 2 topcoat --can C2")
    found = dt.datetime.fromisoformat(stair.opens(before)["1.T2"])
    assert dt.timedelta(hours=3, minutes=-1) < found - before < dt.timedelta(hours=3, minutes=5)


def test_what_nobody_says_the_kind_of_takes_longest(stair: Stair) -> None:
    """A topcoat without can and recipe is taken for oil polyurethane, 24 h (common practice, no source)."""
    stair("stairs log tread 1 topcoat --date 2024-06-03 --time 12:00")
    stair("stairs log tread 2 touched-up --date 2024-06-03 --time 12:00")
    assert stair.opens(NIGHT) == {"1.T1": "2024-06-04T12:00", "1.T2": "2024-06-04T12:00"}
    assert "usual of oil polyurethane" in stair.at(NIGHT)["closed"][0]["since"]


def test_sanding_takes_the_coat_away_and_what_is_not_stepped_on_closes_nothing(stair: Stair) -> None:
    """A sanded tread is dry again; a wet riser or a fitted tread closes no step, and the glue is not known."""
    stair("stairs log tread 1 topcoat --can C2 --date 2024-06-03 --time 19:00")
    stair("stairs log tread 1 sanded --date 2024-06-03")
    stair("stairs log riser 2 topcoat --can C2 --date 2024-06-03 --time 19:00")
    stair("stairs log tread 4 fitted --date 2024-06-03")
    found = stair.at(NIGHT)
    assert found["closed"] == []
    assert [way["climb"] for way in found["ways"]] == ["single"]
    assert "tread 4: fitted on 2024-06-03" in found["notes"][0]
    assert "fitted" not in stair.at(NIGHT + dt.timedelta(days=2))["notes"][0]


def test_how_one_gets_up_is_told_from_hour_to_hour(stair: Stair) -> None:
    """Every second tread closed: double steps; two beside one another: no way up; then all open again."""
    stair("stairs log treads 1,3 topcoat --can C2 --date 2024-06-03 --time 19:00")
    ways = [(way["from"][-5:], way["climb"]) for way in stair.at(NIGHT)["ways"]]
    assert ways == [("20:00", "double"), ("22:00", "single")]
    stair("stairs log tread 2 topcoat --can C2 --date 2024-06-03 --time 18:30")
    ways = [(way["from"][-5:], way["climb"]) for way in stair.at(NIGHT)["ways"]]
    assert ways == [("20:00", "none"), ("21:30", "double"), ("22:00", "single")]


def test_the_command_says_it_and_what_it_does_not_know(stair: Stair) -> None:
    """Closed steps come with the caution; and always that nobody logged where the parts lie."""
    told = " ".join(stair("stairs walk").split())
    assert "every step can be walked on, as far as is logged" in told
    assert "Where the parts lie is not logged" in told
    stair("stairs log tread 2 topcoat --can C2")
    told = " ".join(stair("stairs walk").split())
    assert "keep off tread 2" in told or "step only on treads" in told
    assert "Block the stair" in told or "block the stair" in told
    found = json.loads(stair("stairs walk --json"))
    assert (found["format"], [each["part"] for each in found["closed"]]) == ("finishlab/stair-walk/1", ["1.T2"])
    assert parse_parts(found["closed"][0]["part"])[0].places == (2,)

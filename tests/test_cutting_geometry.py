"""Cutting through the command, held against plane geometry that is worked out here by other means.

The checks share no code with the plan: a tread is set out again from the sides and diagonals that are printed, as on
the bench with two tapes, and its angles and its back are then measured on that drawing.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from conftest import Run
from hypothesis import assume, given
from hypothesis import strategies as st

from finishlab.cautions import CAUTIONS
from finishlab.coatings import COMMON
from finishlab.errors import UsageError
from finishlab.plan.parts import Shape
from finishlab.plan.woodwork import Stock, plan_cutting
from finishlab.stair.names import PartName
from finishlab.units import limit_text

SIZES = ("--treads", 3, "--front", 914, "--depth", 292, "--thickness", 27, "--stock", "2400x300")


def piece(run: Run, *words: object, name: str = "tread 3") -> dict[str, Any]:
    """Return what is cut for one tread."""
    done = run("plan", "cutting", *words, "--json")
    assert done.exit_code == 0, done.stderr
    found: dict[str, Any] = next(each for each in json.loads(done.stdout)["pieces"] if each["name"] == name)
    return found


def set_out(outline: dict[str, Any]) -> tuple[complex, complex]:
    """Return the back corners of a tread, found with two tapes from its front corners at 0 and front."""

    def crossing(from_left: float, from_right: float) -> complex:
        x = (from_left**2 - from_right**2 + front**2) / (2 * front)
        return complex(x, math.sqrt(from_left**2 - x**2))

    front: float = outline["front_mm"]
    (left, right), (to_back_right, to_back_left) = outline["sides_mm"], outline["diagonals_mm"]
    return crossing(left, to_back_left), crossing(to_back_right, right)


def test_a_measured_back_and_one_square_side_give_the_other_angle(run: Run) -> None:
    """Front 914, back 864, left 90, depth 292: the right side runs in by 50 mm over 292, 80.28 degrees, 296.25 mm long.

    By hand: atan(292 / 50) = 80.283 degrees; sqrt(292^2 + 50^2) = 296.250; diagonals sqrt(864^2 + 292^2) = 912.009 and
    sqrt(914^2 + 292^2) = 959.510. It was cut as a rectangle of 914.
    """
    outline = piece(run, *SIZES, "--odd", "3:back=864,left=90")["outline"]
    assert outline["back_mm"] == 864
    assert outline["angles_deg"] == [90.0, 80.28]
    assert outline["angles_worked_out"] == ["right"]
    assert outline["sides_mm"] == [292.0, 296.25]
    assert outline["diagonals_mm"] == [912.01, 959.51]


def test_a_measured_back_is_kept_beside_a_leaning_side(run: Run) -> None:
    """Front 920, depth 300, left 91.5: the back that was measured, 908, is cut, not the 928 that a square right gives.

    By hand: the left corner goes out by 300 tan 1.5 = 7.856 mm, so the right one comes in by 12 + 7.856 = 19.856:
    atan(300 / 19.856) = 86.213 degrees.
    """
    words = ("--treads", 3, "--front", 920, "--depth", 300, "--thickness", 27, "--stock", "2400x300")
    outline = piece(run, *words, "--odd", "3:back=908,left=91.5")["outline"]
    assert outline["back_mm"] == 908
    assert outline["angles_deg"] == [91.5, 86.21]


def test_the_logged_back_is_cut_too(run: Run) -> None:
    """The same of a logged tread: `stairs edit` with front, back and one angle; a back alone is asked for an angle."""
    assert run("stairs", "add", "4", "--tread", "914x292x27", "--no-risers", "--no-top-nosing").exit_code == 0
    assert run("stairs", "edit", "tread 2", "--back", 864).exit_code == 0
    refused = run("plan", "cutting", "--stock", "2400x300")
    assert refused.exit_code == 2
    assert "864 mm at the back, and no angle says which side leans" in refused.stderr
    assert run("plan", "quantities", "--liquid", "oil stain").exit_code == 0, "areas need no angle"
    assert run("stairs", "edit", "tread 2", "--left-angle", 90).exit_code == 0
    found = piece(run, "--stock", "2400x300", name="tread 2")["outline"]
    assert (found["back_mm"], found["angles_deg"]) == (864, [90.0, 80.28])


@given(
    st.floats(500, 1500),
    st.floats(200, 400),
    st.floats(70, 110),
    st.floats(70, 110),
    st.sampled_from(["both", "left", "right", "back"]),
)
def test_what_is_cut_has_the_angles_and_the_back_that_were_measured(
    front: float, depth: float, left: float, right: float, told: str
) -> None:
    """Set out with two tapes from the printed sides and diagonals, a tread has the sizes it was measured with.

    True corners are made here with tangents; the tread is told by two angles, or by its back and one angle. The back
    edge of the drawing is parallel to the front, at the depth, as wide as measured, and both angles are right to 0.02
    degrees.
    """
    out_left, out_right = (depth * math.tan(math.radians(90 - angle)) for angle in (left, right))
    back = front - out_left - out_right
    assume(back > 150)
    shape = Shape(
        front,
        depth,
        27,
        back=None if told == "both" else back,
        left=None if told == "right" else left,
        right=None if told == "left" else right,
    )
    (cut,) = plan_cutting({PartName(1, "tread", 1): shape}, [Stock(4000, 500)], allowance=0, spares=0).pieces
    names = ("front_mm", "back_mm", "depth_mm")
    outline: dict[str, Any] = dict(zip(names, cut.outline, strict=False))
    outline |= {"sides_mm": cut.outline[3:5], "diagonals_mm": cut.outline[5:]}
    back_left, back_right = set_out(outline)
    assert back_left.imag == pytest.approx(depth, abs=0.01)
    assert back_right.imag == pytest.approx(depth, abs=0.01)
    assert abs(back_right - back_left) == pytest.approx(back, abs=0.02)
    assert math.degrees(math.atan2(back_left.imag, back_left.real)) == pytest.approx(left, abs=0.02)
    inward = front - back_right
    assert math.degrees(math.atan2(-inward.imag, inward.real)) == pytest.approx(right, abs=0.02)
    reach = [0.0, front, back_left.real, back_right.real]
    assert cut.length == pytest.approx(max(reach) - min(reach), abs=0.02)


def test_readings_that_differ_by_less_than_a_gauge_shows_are_solved() -> None:
    """Angles of 89 and 89.5 and a back of 906 on 914: 906.4 by the angles; the tape wins, the angles share the rest.

    By hand: 914 - 292 (cot 89 + cot 89.5) = 914 - 292 * 0.026181 = 906.355. Against 880 the readings cannot both be
    right.
    """
    solved = Shape(914, 292, 27, back=906, left=89, right=89.5)
    assert solved.back_mm == 906
    assert solved.angles == pytest.approx((89, 89.5), abs=0.05)
    with pytest.raises(UsageError, match="906 mm wide, not 880 mm"):
        Shape(914, 292, 27, back=880, left=89, right=89.5)


def test_a_winder_is_no_mistake() -> None:
    """A winder with a corner of 28 degrees, which a logged part may have, can be planned."""
    assert Shape(1000, 300, 27, left=28, right=90).back_mm == pytest.approx(1000 - 300 / math.tan(math.radians(28)))


def test_strips_are_named_with_their_width(run: Run) -> None:
    """A tread of 292 mm out of boards of 110 mm: 3 strips of 97.33 mm, since 2 would be 146 (by hand: 292 / 3)."""
    words = ("--treads", 1, "--front", 914, "--depth", 292, "--thickness", 27, "--stock", "2400x110")
    found = piece(run, *words, name="tread 1")
    assert (found["strips"], found["strip_width_mm"]) == (3, 97.33)
    assert "glued up of 3 strips of 97.3 mm once jointed" in " ".join(run("plan", "cutting", *words).stdout.split())


def test_each_figure_of_the_cutting_says_who_says_so(run: Run) -> None:
    """Kerf, allowance and spare are marked as common practice until they are given, in text and JSON."""
    data = json.loads(run("plan", "cutting", *SIZES, "--json").stdout)
    assert data["sources"] == {"kerf_mm": COMMON, "allowance_mm": COMMON, "spares": COMMON}
    given_ = ("--kerf", "4mm", "--allowance", "30mm", "--spare", 2)
    assert set(json.loads(run("plan", "cutting", *SIZES, *given_, "--json").stdout)["sources"].values()) == {"as given"}
    text = " ".join(run("plan", "cutting", *SIZES).stdout.split())
    assert text.count(COMMON) == 4, "the three figures and how wood is acclimatised"
    assert "moisture meter shows 6 to 9 %" in text


# -- risers and floor


def test_limits_are_rounded_so_that_what_is_read_holds(run: Run) -> None:
    """7 3/4 in are 196.85 mm: at most 196.8 mm is printed, never 197, which would fail (by hand: 7.75 * 25.4)."""
    text = " ".join(run("plan", "risers", "--riser", "190mm", "--count", 14).stdout.split())
    assert "model code at most 196.8 mm" in text
    assert limit_text(19.05, most=False) == "19.1 mm"
    assert limit_text(196.85, most=True, us=True) == "7 3/4 in (196.8 mm)"


@given(st.floats(-300, 300), st.booleans(), st.booleans())
def test_a_limit_as_read_is_never_beyond_the_limit(mm: float, most: bool, us: bool) -> None:
    """Read back, a least is not below the limit and a most not above it, and within 1/32 in or a tenth of it."""
    text = limit_text(mm, most=most, us=us)
    read = float(text.rsplit("(", 1)[-1].removesuffix(")").removesuffix(" mm"))
    assert (read <= mm + 1e-4) if most else (read >= mm - 1e-4)
    assert abs(read - mm) <= 0.1001


def test_the_thinnest_and_thickest_tread_are_named(run: Run) -> None:
    """Risers 7.5, floors +1/4, treads of 1 in taken out: new ones from 1 1/16 to 1 7/16 in hold.

    By hand, t being what is added: first 7.25 + t, last 7.75 - t, between 7.5. |7.25 + t - 7.75 + t| <= 3/8 gives t
    from 1/16 to 7/16, and the other limits are wider. So 1 + 1/16 to 1 + 7/16.
    """
    floors = ("--lower-added", "1/4in", "--upper-added", "1/4in")
    words = ("--riser", "7.5in", "--count", 14, *floors, "--tread-now", "1in")
    text = " ".join(run("plan", "risers", *words).stdout.split())
    assert "new treads from 1 1/16 in (27 mm) to 1 7/16 in (36.5 mm) thick" in text
    data = json.loads(run("plan", "risers", *words, "--json").stdout)
    assert data["thickness_allowed_mm"] == [26.99, 36.51]


def test_treads_that_must_become_lower_are_told_so(run: Run) -> None:
    """Riser 200 in front of 180s: only lower treads hold, and that is said.

    By hand: first 200 + t, between 180, last 180 - t; 200 + t <= 196.85, 200 + t - 180 <= 9.525 and 200 + t - (180 - t)
    <= 9.525: t at most -10.475 and at most -5.2375; 180 - t - 180 <= 9.525: t at least -9.525: nothing. With a last of
    175: 175 - t - 180 <= 9.525 gives t from -14.525 to -10.475.
    """
    words = ("--riser", "200mm", "--riser", "180mm", "--riser", "180mm", "--riser", "175mm")
    text = " ".join(run("plan", "risers", *words).stdout.split())
    assert "each tread becomes between 10.5 mm and 14.5 mm lower" in text


def test_no_nosing_is_asked_of_deep_treads(run: Run) -> None:
    """From 11 in on the model code asks no nosing: 1/2 in holds there, not at 10 1/2 in; 1 3/8 in never does."""
    words = ("plan", "risers", "--riser", "7.5in", "--count", 13)
    for depth, nosing, holds in (
        ("11in", "1/2in", True), ("10.5in", "1/2in", False), ("11in", "1 3/8in", False), ("10.5in", "1in", True),
    ):  # fmt: skip
        done = run(*words, "--tread-depth", depth, "--nosing", nosing, "--json")
        assert json.loads(done.stdout)["holds"] is holds, (depth, nosing)
    assert json.loads(run(*words, "--tread-depth", "10.5in", "--json").stdout)["nosing_to_measure"]
    assert not json.loads(run(*words, "--tread-depth", "11in", "--json").stdout)["nosing_to_measure"]


def codes(run: Run, *words: object) -> set[str]:
    """Return the cautions of a plan."""
    return {each["code"] for each in json.loads(run("plan", *words, "--json").stdout)["cautions"]}


def test_old_floors_and_higher_treads_bring_their_cautions(run: Run) -> None:
    """Asbestos with a floor and with risers; handrail and guard where treads become higher, and not where they stay."""
    floor = ("floor", "--room", "15m2", "--box", "2m2")
    assert {"asbestos", "lead-paint"} <= codes(run, *floor)
    assert "asbestos" in codes(run, *SIZES[:0], "cutting", *SIZES)
    assert {"asbestos", "handrail"} <= codes(run, "risers", "--riser", "190mm", "--count", 3, "--tread-added", "20mm")
    assert "handrail" not in codes(run, "risers", "--riser", "190mm", "--count", 3)
    text = " ".join(run("plan", *floor).stdout.split())
    assert CAUTIONS["asbestos"].title in text
    assert "floating floor needs its gap" in text
    assert "10 % waste (common practice, no source)" in text


def test_sanding_an_old_riser_brings_lead_and_a_new_tread_does_not(run: Run, tmp_path: Path) -> None:
    """Risers, skirts and stringers keep their old paint: lead is said when they are sanded; of a tread, dust alone."""
    del tmp_path
    assert run("stairs", "add", "4", "--tread", "914x292x27", "--no-top-nosing").exit_code == 0
    assert "lead" not in run("stairs", "log", "tread 1", "sanded").stderr
    assert "lead" in run("stairs", "log", "riser 1", "sanded").stderr


def test_rags_are_said_at_every_oil_coat(run: Run) -> None:
    """Two oil coats on one day bring the caution about rags twice, vapour once; water brings neither."""
    assert run("stairs", "add", "4", "--tread", "914x292x27", "--no-risers", "--no-top-nosing").exit_code == 0
    assert run("can", "add", "Honey", "--kind", "oil stain").exit_code == 0
    assert run("can", "add", "Satin Polyurethane", "--kind", "water polyurethane 1-part").exit_code == 0
    said = [run("stairs", "log", f"tread {n}", "stain", "--can", "C1").stderr for n in (1, 2)]
    assert all("catch fire" in each for each in said)
    assert "vapour" not in said[1]
    assert "catch fire" not in run("stairs", "log", "tread 3", "topcoat", "--can", "C2").stderr

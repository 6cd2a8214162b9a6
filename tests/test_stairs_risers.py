"""The riser check, against figures worked out by hand and the model code's."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishlab.errors import UsageError
from finishlab.plan.woodwork import CODE, WHO_DECIDES, check_risers
from finishlab.units import MM_PER_INCH


def inches(*values: float) -> list[float]:
    """Return lengths in mm."""
    return [value * MM_PER_INCH for value in values]


def in_inches(values: tuple[float, ...]) -> list[float]:
    """Return lengths in inches."""
    return [value / MM_PER_INCH for value in values]


def test_a_thick_tread_fails() -> None:
    """Risers of 7.5 in, treads +3/4 in, both floors +1/4 in: 8.0, 7.5 and 7.0 in, which fails (arithmetic)."""
    tread, floor = inches(0.75, 0.25)
    found = check_risers(inches(7.5, 7.5, 7.5, 7.5), tread_added=tread, lower_added=floor, upper_added=floor)
    assert in_inches(found.after) == pytest.approx([8.0, 7.5, 7.5, 7.0])
    assert [figure.holds for figure in found.figures] == [False, False]
    assert not found.holds


def test_a_thin_tread_holds() -> None:
    """The same with treads +3/8 in: 7.625, 7.5 and 7.375 in, a range of 0.25 in, which holds (arithmetic)."""
    tread, floor = inches(0.375, 0.25)
    found = check_risers(inches(7.5, 7.5, 7.5), tread_added=tread, lower_added=floor, upper_added=floor)
    assert in_inches(found.after) == pytest.approx([7.625, 7.5, 7.375])
    assert found.variation / MM_PER_INCH == pytest.approx(0.25)
    assert found.holds


def test_the_model_codes_figures_are_limits_that_still_hold() -> None:
    """Riser 7 3/4, variation 3/8, tread 10, nosing 3/4 to 1 1/4 in (IRC 2018, R311.7) hold exactly, and no less."""
    assert "2018" in CODE
    assert "inspector" in WHO_DECIDES
    just = check_risers(inches(7.75, 7.375), tread_depth=254.0, nosing=inches(1.25)[0])
    assert just.holds
    for risers, depth, nosing in (
        ((7.76, 7.5), 10, 1),
        ((7.75, 7.36), 10, 1),
        ((7.5, 7.5), 9.99, 1),
        ((7.5, 7.5), 10, 0.7),
    ):
        found = check_risers(inches(*risers), tread_depth=inches(depth)[0], nosing=inches(nosing)[0])
        assert [figure.holds for figure in found.figures].count(False) == 1


def test_a_single_riser_has_no_tread() -> None:
    """One riser stands between two floors: treads change nothing."""
    found = check_risers([180.0], tread_added=20, lower_added=10, upper_added=5)
    assert found.after == (175.0,)
    assert found.tread_allowed is None


@given(st.lists(st.floats(170, 196), min_size=2, max_size=15), st.floats(-10, 25), st.floats(0, 20), st.floats(0, 20))
def test_the_thickness_allowed_is_the_one_that_holds(
    risers: list[float], tread: float, lower: float, upper: float
) -> None:
    """Inside the thicknesses named the check holds, outside it fails; only first and last riser change."""
    found = check_risers(risers, tread_added=tread, lower_added=lower, upper_added=upper)
    assert found.after[1:-1] == tuple(risers[1:-1])
    assert sum(found.after) == pytest.approx(sum(risers) - lower + upper)
    allowed = found.tread_allowed
    if allowed is None or not allowed[0] - 0.02 <= tread <= allowed[1] + 0.02:
        assert not found.holds
    elif allowed[0] + 0.02 < tread < allowed[1] - 0.02:
        assert found.holds


@pytest.mark.parametrize(("risers", "code"), [([], "no-risers"), ([190, 0], "bad-riser"), ([190, 5], "bad-riser")])
def test_impossible_risers_are_refused(risers: list[float], code: str) -> None:
    """No riser, one of no height, and one that vanishes are refused."""
    with pytest.raises(UsageError) as refused:
        check_risers(risers, tread_added=10)
    assert refused.value.code == code

"""A field whose middle holds two very different surfaces is refused in words; what merely lies beside one is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rendered import corrected_field, streaks

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import lab_to_rgb
from finishlab.errors import ExitCode, QualityError
from finishlab.imaging.rectify import CorrectedImage
from finishlab.imaging.strip import FieldName
from finishlab.imaging.surface import find_surface

Lab = tuple[float, float, float]
OAK: Lab = (62.0, 8.0, 24.0)
WALNUT: Lab = (42.0, 8.0, 16.0)
NAMES: tuple[FieldName, FieldName] = ("board", "floor")


def beside(left: Lab, right: Lab, at: float, *, field: FieldName = "board", slant: float = 0.0) -> CorrectedImage:
    """Return two streaky surfaces, the border `at` millimetres from the left end, leaning by `slant` mm."""
    image = corrected_field(left, field=field, px_per_mm=4.0, grain=streaks(5, 40.0, 1.5, px_per_mm=4.0)[0])
    rows, columns = np.mgrid[0 : image.inside.shape[0], 0 : image.inside.shape[1]] / image.px_per_mm
    beyond = columns > at + slant * (rows / rows.max() - 0.5)
    other = corrected_field(right, field=field, px_per_mm=4.0, grain=streaks(6, 40.0, 1.5, px_per_mm=4.0)[0])
    return replace(image, rgb=np.where(beyond[..., None], other.rgb, image.rgb))


@pytest.mark.parametrize("field", NAMES)
@pytest.mark.parametrize("at", [62.0, 75.0, 90.0])
@pytest.mark.parametrize("slant", [0.0, 12.0])
def test_two_boards_side_by_side_are_refused(field: FieldName, at: float, slant: float) -> None:
    """Two boards whose border runs through the field's middle are refused with exit code 5 and the place told."""
    with pytest.raises(QualityError, match="Two different surfaces") as caught:
        find_surface(beside(OAK, WALNUT, at, field=field, slant=slant), field)
    assert caught.value.code == "two-surfaces"
    assert caught.value.exit_code == ExitCode.QUALITY
    told = float(caught.value.message.split("border ")[1].split(" mm")[0])
    assert told == pytest.approx(at, abs=3.0)
    assert field in caught.value.hint


@pytest.mark.parametrize("bench", [(20.0, 0.0, 2.0), (88.0, 0.0, 3.0)])
def test_a_board_that_ends_at_the_middle_is_refused(bench: Lab) -> None:
    """A board that fills one half of the strip's edge, bare bench the other, is refused: either could be meant."""
    for image in (beside(OAK, bench, 75.0), beside(bench, OAK, 75.0)):
        with pytest.raises(QualityError) as caught:
            find_surface(image, "board")
        assert caught.value.code == "two-surfaces"


@pytest.mark.parametrize("at", [30.0, 42.0, 112.0, 125.0])
def test_a_border_outside_the_middle_is_left_out(at: float) -> None:
    """With the border away from the middle the surface at the middle is taken, and the other is left out."""
    image = beside(OAK, WALNUT, at)
    found = find_surface(image, "board")
    columns = (np.arange(image.inside.shape[1]) + 0.5) / image.px_per_mm
    other = columns > at if at > 75.0 else columns < at
    assert found.mask[:, other].mean() < 0.02
    assert found.mask[:, ~other].mean() > 0.75


@pytest.mark.parametrize("at", [70.0, 80.0])
def test_planks_of_one_floor_are_not_refused(at: float) -> None:
    """Two planks that differ as those of one floor may, dE00 6 and less, are not refused."""
    other = (OAK[0] - 6.0, OAK[1] + 1.0, OAK[2] + 1.0)
    assert 4.0 < float(delta_e_00(np.array(OAK), np.array(other))) < 6.0
    found = find_surface(beside(OAK, other, at, field="floor"), "floor")
    assert found.used_share > 0.3


def test_a_board_that_fills_only_the_near_part_is_not_refused() -> None:
    """A border along the strip is the board's far side: the board is taken, the bench beyond left out."""
    image = beside(OAK, OAK, 75.0)
    rows = np.arange(image.inside.shape[0])[:, None, None] / image.px_per_mm
    dark = np.asarray(lab_to_rgb(np.array((25.0, 0.0, 0.0))))
    found = find_surface(replace(image, rgb=np.where(rows < 22.0, dark, image.rgb).astype(np.float32)), "board")
    assert found.used_share == pytest.approx(18.0 / 42.0, abs=0.05)


@pytest.mark.parametrize("seed", range(4))
def test_a_gradual_change_is_not_refused(seed: int) -> None:
    """A board that darkens from one end to the other by as much as two boards differ has no border to refuse."""
    grain = streaks(seed, 40.0, 1.5, px_per_mm=4.0)[0]
    slope = np.linspace(1.35, 0.65, grain.shape[1])
    image = corrected_field(OAK, px_per_mm=4.0, grain=grain * slope)
    try:
        find_surface(image, "board")
    except QualityError as error:
        assert error.code != "two-surfaces"  # noqa: PT017 - any other outcome is as it was

"""Two lights: what a light's name says, what moves between lights, and which photo is missing."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from observed import BoardSeen, PlankSeen, Seen, solve_seen
from render.spectral import Material, finish, print_material

from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.colorimetry.spaces import lab_from_reflectance
from finishlab.matching.alternatives import AcrossLights, compare_lights, named_light
from finishlab.matching.ranking import Ranking, rank_colours
from finishlab.matching.scatter import Components, FloorSpot, pool_floor
from finishlab.rank.documents import lights_entry, lights_rows

LIGHTS = {"D65": "daylight", "A": "lamp 2856 K", "LED-B1": "led 2700 k", "LED-B3": "led 4000k"}
"""Published illuminants (CIE 015:2018), and what a user may call them."""


@pytest.mark.parametrize(
    ("text", "kind", "kelvin"),
    [
        ("daylight", "daylight", None),
        ("north window, overcast", "daylight", None),
        ("lamp 2700 k", "lamp", 2700),
        ("led 4000k", "lamp", 4000),
        ("daylight led 6500 k", "lamp", 6500),
        ("evening lamp", "lamp", None),
        ("3 000 k over the stair", "lamp", 3000),
        ("flash", "other", None),
        ("hall 12 k", "other", None),
    ],
)
def test_what_a_light_is_called(text: str, kind: Literal["daylight", "lamp", "other"], kelvin: int | None) -> None:
    """The kind and the colour temperature are read from free words; a lamp's word wins over daylight's."""
    found = named_light(text)
    assert (found.text, found.kind, found.kelvin) == (text, kind, kelvin)


def exact(lab: np.ndarray, sigma: float = 0.1) -> LabEstimate:
    """A colour measured well."""
    return LabEstimate.build(lab, np.eye(3) * sigma**2)


def ranked(floor: np.ndarray, boards: dict[str, np.ndarray], light: str) -> Ranking:
    """A ranking of well-measured boards against five planks of one colour."""
    planks = [PlankSeen(f"F{i}", (Seen(exact(floor), f"f{i} {light}"),)) for i in range(5)]
    looks = [BoardSeen(name, (Seen(exact(lab), f"{name} {light}"),)) for name, lab in boards.items()]
    calm = Components(plank=((0.01, 0, 0), (0, 0.01, 0), (0, 0, 0.01)), photo=((0.0,) * 3,) * 3)
    weighed = solve_seen(looks, planks, calm)
    pool = pool_floor([FloorSpot(plank.spot, (plank.photos[0].estimate,)) for plank in planks])
    return rank_colours(pool, weighed.colours, list(boards), light=light, count=400)


def under(light: str, floor: Material, boards: dict[str, Material]) -> Ranking:
    """The ranking of materials as they look under a published illuminant."""
    labs = {name: lab_from_reflectance(np.array(board.mean), light) for name, board in boards.items()}
    return ranked(lab_from_reflectance(np.array(floor.mean), light), labs, LIGHTS[light])


@pytest.fixture(scope="module")
def rendered() -> AcrossLights:
    """A printed floor with inks unlike wood, a wood that equals it by day, and a print of the same inks.

    Spectra of measured wood and of chart patches, integrated under D65, A and two white LEDs.
    """
    wood = finish("crosscut", stains={"brown": 0.25, "golden": 0.1})
    floor = print_material(wood.lab, inks="stress")
    near = (wood.lab[0] + 1.0, wood.lab[1], wood.lab[2] + 0.5)
    boards = {"metameric": wood, "plain": print_material(near, inks="stress")}
    rankings = {LIGHTS[light]: under(light, floor, boards) for light in LIGHTS}
    return compare_lights([named_light(name) for name in rankings], rankings)


def test_metameric_pair_is_flagged_and_the_plain_one_is_not(rendered: AcrossLights) -> None:
    """Alike by day, wood and print part under A and white LEDs and are doubted; print and print stay together."""
    found = {b.board: b for b in rendered.boards}
    assert found["metameric"].by_light["daylight"].value < 0.1
    assert found["metameric"].move is not None
    assert found["metameric"].move > 1.5
    assert [d.code for d in found["metameric"].doubts] == ["moves-between-lights"]
    assert "errors" not in found["metameric"].doubts[0].message
    assert found["metameric"].metamerism is not None
    assert found["metameric"].metamerism.low > 1.0
    assert abs(found["plain"].move or 0.0) < 0.3
    assert found["plain"].doubts == ()
    assert found["plain"].metamerism is not None
    assert found["plain"].metamerism.value < 0.3


def test_order_by_the_worst_light_is_not_that_of_daylight(rendered: AcrossLights) -> None:
    """The metameric board leads by day; by its worst light the plain one does, and the flip is doubted."""
    day = rendered.rankings["daylight"]
    assert day.boards[0].board == "metameric"
    assert [b.board for b in rendered.boards] == ["plain", "metameric"]
    assert [b.worst_place for b in rendered.boards] == [1, 2]
    (flip,) = rendered.doubts
    assert flip.code == "order-flips"
    assert flip.figures["first"] == "metameric"
    assert flip.figures["best"] == "plain"


def test_wood_on_wood_does_not_move() -> None:
    """A stained wood beside another of its kind moves by less than 0.5 from daylight to lamp, and is not doubted."""
    floor = finish("crosscut", stains={"brown": 0.25})
    boards = {"B1": finish("crosscut", stains={"brown": 0.3})}
    rankings = {LIGHTS[light]: under(light, floor, boards) for light in ("D65", "A")}
    (found,) = compare_lights([named_light(name) for name in rankings], rankings).boards
    assert abs(found.move or 0.0) < 0.5
    assert found.doubts == ()


def test_a_move_within_the_errors_is_called_so() -> None:
    """A move above 1 that each light's interval covers is doubted all the same, and said to be perhaps error."""
    one, two = (DeltaE(1.0, 0.0, 3.0), DeltaE(2.3, 0.2, 4.0))
    rankings = {}
    for light, found in (("daylight", one), ("lamp", two)):
        ranking = ranked(np.array([55.0, 8.0, 22.0]), {"B1": np.array([56.0, 8.0, 22.0])}, light)
        rankings[light] = replace(ranking, boards=(replace(ranking.boards[0], delta_e00=found),))
    (board,) = compare_lights([named_light(name) for name in rankings], rankings).boards
    assert "may be no more than the photos' errors" in board.doubts[0].message


def test_metamerism_that_photos_cannot_tell_is_said_so() -> None:
    """Where an index may be none and may be more than 1 the table says that it cannot be told; otherwise its figure."""
    rankings = {}
    for light in ("daylight", "lamp"):
        ranking = ranked(np.array([55.0, 8.0, 22.0]), {"B1": np.array([56.0, 8.0, 22.0])}, light)
        unsure = replace(ranking.boards[0], covariance=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))
        rankings[light] = replace(ranking, boards=(unsure,))
    lights = compare_lights([named_light(name) for name in rankings], rankings)
    index = lights.boards[0].metamerism
    assert index is not None
    assert lights_rows(lights, 1)[1][0][-1] == f"cannot be told (0.0 to {index.high:.1f})"
    assert lights_entry(lights)["boards"][0]["metamerism_told"] is False
    sure = replace(lights, boards=(replace(lights.boards[0], metamerism=DeltaE(0.3, 0.0, 0.9)),))
    assert lights_rows(sure, 1)[1][0][-1] == "0.3 (0.0 to 0.9)"
    assert lights_entry(sure)["boards"][0]["metamerism_told"] is True


def test_unsettled_orders_flip_without_a_doubt() -> None:
    """Two boards that no photo tells apart may change places between lights; nothing is said of it."""
    floor = np.array([55.0, 8.0, 22.0])
    one, two = floor + np.array([2.0, 0, 0]), floor + np.array([2.05, 0, 0])
    rankings = {
        "daylight": ranked(floor, {"B1": one, "B2": two}, "daylight"),
        "lamp": ranked(floor, {"B1": two, "B2": one}, "lamp"),
    }
    assert compare_lights([named_light(name) for name in rankings], rankings).doubts == ()


@pytest.mark.parametrize(
    ("lights", "words"),
    [
        (("daylight",), "the lamps that light the stair in the evening"),
        (("lamp 2700 k",), "daylight from an overcast sky"),
        (("daylight", "window"), "the lamps that light the stair in the evening"),
    ],
)
def test_missing_photo_is_named(lights: tuple[str, ...], words: str) -> None:
    """In daylight alone the lamp is missing, by lamp alone daylight; two daylights are not two lights."""
    floor = np.array([55.0, 8.0, 22.0])
    rankings = {name: ranked(floor, {"B1": floor + 1.0}, name) for name in lights}
    (said,) = compare_lights([named_light(name) for name in lights], rankings).missing
    assert words in said
    assert "B1" in said


def test_leader_without_a_photo_by_lamp_is_named() -> None:
    """When the best board by day was not photographed by lamp, that photo is asked for."""
    floor = np.array([55.0, 8.0, 22.0])
    rankings = {
        "daylight": ranked(floor, {"B1": floor + 1.0, "B2": floor + 4.0}, "daylight"),
        "lamp": ranked(floor, {"B2": floor + 4.0}, "lamp"),
    }
    found = compare_lights([named_light(name) for name in rankings], rankings)
    assert found.missing == ("Photograph B1 in the light “lamp” too, beside the floor.",)
    assert [b.board for b in found.boards] == ["B2"]

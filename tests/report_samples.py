"""A made-up logbook for the tests of the reports: figures chosen by hand, no photo behind them."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import replace
from typing import Any

import numpy as np
from PIL import Image

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.difference import DeltaE, signed_difference
from finishlab.colorimetry.estimate import LabEstimate
from finishlab.errors import NoStripError, PhotoError
from finishlab.logbook.stored import StoredBoard, StoredMeasurement, StoredPair, StoredSpot
from finishlab.matching.ranking import RankedBoard, Ranking
from finishlab.matching.scatter import FloorPool
from finishlab.measure.results import FieldMeasurement, Measurement, Spread, StripReading
from finishlab.measuring import PhotoResult
from finishlab.quality import doubt
from finishlab.record import Number
from finishlab.report.story import ReportContent
from finishlab.show.pages import Picture

FLOOR = (56.2, 9.1, 23.4)
_DATE = dt.date(2024, 5, 31)
_BOARDS = (
    ("B4", "ash", "Peat brown", 2, "water-based matte", (55.1, 9.0, 22.3), 0.48, range(1, 2)),
    ("B2", "ash", "Peat brown", 1, "water-based matte", (57.6, 8.2, 23.9), 0.43, range(1, 3)),
    (
        "B6",
        "beech",
        "Old copper, thinned one to one with clear",
        1,
        "hardwax oil",
        (52.8, 12.9, 24.6),
        0.09,
        range(2, 3),
    ),
    ("B7", "beech [raw]", None, None, None, (70.2, 9.8, 18.4), 0.0, range(0)),
    ("B1", "ash", None, None, "water-based matte", (73.4, 5.1, 21.9), 0.002, range(0)),
)


def estimate(lab: tuple[float, float, float], sigma: float = 0.3) -> LabEstimate:
    return LabEstimate.build(np.array(lab), np.eye(3) * sigma**2)


_MADE = dt.datetime(2024, 5, 31, 12, tzinfo=dt.UTC)
_FLAT = ((0.0, 0.0, 0.0),) * 3


def measured(photo: str, lab: tuple[float, float, float]) -> StoredMeasurement:
    """One photo's colour by daylight."""
    found = FieldMeasurement("board", "wood", estimate(lab), Spread(lab[0] - 4, lab[0] + 4, _FLAT), 0.9, 0.0)
    return StoredMeasurement(photo, found, "daylight", 412, "0.1.0", {}, _MADE)


def board_rows() -> dict[str, StoredBoard]:
    rows = {}
    for number, species, stain, coats, topcoat, lab, _, _ in _BOARDS:
        record = BoardRecord(species=species, stain=stain, coats=coats, topcoat=topcoat, date=_DATE)
        found = measured(f"{number.lower()}.jpg", lab)
        pair = StoredPair(found.photo, found.field, found.field, DeltaE(1.2, 0.7, 1.9), "daylight", _MADE)
        rows[number] = StoredBoard(Number(number), record, (found,), (pair,), _MADE)
    return rows


def logged_board(number: str, record: BoardRecord) -> StoredBoard:
    """A board with one photo by daylight."""
    return StoredBoard(Number(number), record, (measured(number, FLOOR),), (), _MADE)


def logged_boards() -> dict[str, StoredBoard]:
    return {number: replace(row, pairs=()) for number, row in board_rows().items()}


def spot(name: str, lab: tuple[float, float, float], number: int = 1) -> StoredSpot:
    record = FloorSpotRecord(spot=name, date=_DATE)
    return StoredSpot(Number.of("F", number), record, (measured(f"floor-{number}.jpg", lab),), _MADE)


def spot_rows() -> tuple[StoredSpot, ...]:
    rows = []
    for i, shift in enumerate((-1.2, 0.3, 0.9, 0.0), start=1):
        lab = (FLOOR[0] + shift, FLOOR[1], FLOOR[2] + shift / 2)
        rows.append(spot(f"plank {i} by the stair", lab, i))
    return tuple(rows)


def floor_pool() -> FloorPool:
    return FloorPool(estimate(FLOOR), 4, 0.9, (doubt("few-spots", spots=4),))


def ranking() -> Ranking:
    ranked = []
    for place, (number, _, _, _, topcoat, lab, probability, ties) in enumerate(_BOARDS, start=1):
        value = float(delta_e_00(lab, FLOOR))
        delta = DeltaE(value, max(0.0, value - 0.7), value + 0.8)
        signed = signed_difference(lab, FLOOR)
        doubts = [doubt("one-light", light="daylight")]
        if topcoat is None:
            doubts.append(doubt("not-topcoated"))
        ranked.append(
            RankedBoard(
                place=place,
                board=number,
                lab=lab,
                delta_e00=delta,
                probability_closest=probability,
                difference=signed,
                ratio_to_floor_spread=value / 0.9,
                ties=ties,
                doubts=tuple(doubts),
            )
        )
    return Ranking(floor=floor_pool(), boards=tuple(ranked))


def measurement() -> Measurement:
    covariance = ((4.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    board = FieldMeasurement(
        "board",
        "wood",
        estimate((55.12345, 9.0, -0.00001)),
        Spread(50.1, 60.2, covariance),
        0.9312,
        0.0249,
        {"glare": 0.0249},
        (doubt("glare", percent=2.49),),
    )
    floor = FieldMeasurement("floor", "print", estimate(FLOOR), Spread(53.0, 59.0, covariance), 0.98, 0.0)
    strip = StripReading(412, 6, ((10.0, 20.0), (990.0, 21.0), (989.0, 260.0), (11.0, 259.0)), 5.2, 3.2, 0.5, 0.04)
    return Measurement("0123456789abcdef", strip, {"board": board, "floor": floor}, DeltaE(1.234567, 0.8, 1.9))


def photo_results() -> list[PhotoResult]:
    return [
        PhotoResult("shots/one.jpg", measurement()),
        PhotoResult(
            "shots/none.jpg", error=NoStripError("no-strip", "No strip was found.", "Lay the strip in the photo.")
        ),
        PhotoResult("shots/bad.jpg", error=PhotoError("not-a-photo", "This is not a photo.", "Name a photo.")),
    ]


def jpeg(grey: int = 120, **options: object) -> bytes:
    """A picture for a page."""
    out = io.BytesIO()
    Image.new("RGB", (480, 288), (grey, grey, grey)).save(out, "JPEG", **options)
    return out.getvalue()


def crop(number: str, grey: int = 120) -> Picture:
    return Picture(jpeg(grey), f"Board {number} above the floor", f"Board {number} above the floor, cut out", 120.0)


def content(**changes: Any) -> ReportContent:
    """A report of the boards above."""
    numbers = [board.board for board in ranking().boards]
    values: dict[str, Any] = {
        "title": "Stair at number nine",
        "made": "2024-06-01",
        "version": "0.1.0",
        "ranking": ranking(),
        "boards": logged_boards(),
        "light": "daylight",
        "left_out": (),
        "spots": spot_rows(),
        "crops": {number: crop(number, 80 + 20 * i) for i, number in enumerate(numbers)},
        "rendered": True,
        "extra": {"Strip": "0412"},
    }
    return ReportContent(**(values | changes))


def many(count: int) -> ReportContent:
    """A report of so many boards, with grainy crops as heavy as real ones."""
    rng = np.random.default_rng(7)
    boards, rows, crops = [], {}, {}
    labs = np.array(FLOOR) + rng.normal(0.0, (5.0, 2.0, 3.0), (count, 3))
    labs = labs[np.argsort(delta_e_00(labs, FLOOR))]
    for place, lab in enumerate(labs.tolist(), start=1):
        number = f"B{place}"
        lab3 = (lab[0], lab[1], lab[2])
        value = float(delta_e_00(lab3, FLOOR))
        delta = DeltaE(value, max(0.0, value - 1.0), value + 1.2)
        signed = signed_difference(lab3, FLOOR)
        covariance = ((0.4, 0.0, 0.1), (0.0, 0.9, -0.4), (0.1, -0.4, 1.2))
        boards.append(RankedBoard(place, number, lab3, delta, 1 / count, signed, value / 0.9, covariance=covariance))
        record = BoardRecord(species="ash", stain=f"Peat brown {place}", coats=1 + place % 2, topcoat="oil", date=_DATE)
        rows[number] = logged_board(number, record)
        grain = np.clip(rng.normal(120, 9, (288, 480, 1)) + np.array([20, 0, -25]), 0, 255).astype(np.uint8)
        out = io.BytesIO()
        Image.fromarray(grain).save(out, "JPEG", quality=86)
        crops[number] = Picture(out.getvalue(), f"Board {number}", f"Board {number}", 120.0)
    return content(ranking=Ranking(floor_pool(), tuple(boards)), boards=rows, crops=crops, rendered=False)

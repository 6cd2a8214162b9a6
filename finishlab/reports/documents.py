"""The JSON documents of the command-line contract: each says its format and its colour space, and holds finite numbers.

Figures are rounded to what they can bear: CIELAB and CIEDE2000 to three decimals, shares and probabilities to four.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.estimate import COLOUR_SPACE
from finishlab.quality import Doubt
from finishlab.reports.costs import costs_of_photo, photo_costs_entry
from finishlab.reports.rows import BoardRow, ColourRow, PhotoResult, SpotRow
from finishlab.reports.sentences import answer, tie_marks

if TYPE_CHECKING:
    from finishlab.matching.floor import FloorPool
    from finishlab.matching.ranking import RankedBoard, Ranking
    from finishlab.measure import FieldMeasurement, StripReading, Texture
    from finishlab.reports.report.contents import ReportContent

__all__ = [
    "boards_document",
    "cameras_document",
    "colour_document",
    "dump",
    "floor_document",
    "measurement_document",
    "ranking_document",
    "report_document",
]

Document = dict[str, Any]


def measurement_document(results: Iterable[PhotoResult]) -> Document:
    """Return ``finishlab/measurement/1``: every photo that was tried, measured or not."""
    return _document("measurement", photos=[_photo(result) for result in results])


def ranking_document(ranking: Ranking) -> Document:
    """Return ``finishlab/ranking/1``: the floor, and the boards from the nearest on."""
    return _document(
        "ranking",
        floor=_pool(ranking.floor),
        ranking=[_ranked(board) for board in ranking.boards],
        aim=ranking.aim.as_dict(),
        next_photos=[photo.as_dict() for photo in ranking.next_photos],
        answer=answer(ranking),
        margin=None if ranking.margin is None else ranking.margin.as_dict(),
        contrast_made=not ranking.no_contrast if ranking.boards and ranking.aim.name == "contrast" else None,
    )


def boards_document(boards: Iterable[BoardRow]) -> Document:
    """Return ``finishlab/boards/1``: the logged boards with their records and colours."""
    return _document("boards", boards=[_board(board) for board in boards])


def floor_document(spots: Sequence[SpotRow], pool: FloorPool | None = None) -> Document:
    """Return ``finishlab/floor/1``: the floor's spots and, when it is given, their pool."""
    return _document(
        "floor",
        floor=None if pool is None else _pool(pool),
        spots=[
            {
                "spot": spot.number,
                "record": spot.record.as_dict(),
                "lab": None if spot.lab is None else _lab(spot.lab),
                "measurements": [colour_document(colour) for colour in spot.colours],
            }
            for spot in spots
        ],
    )


def report_document(content: ReportContent, *, page: str, pdf: str | None) -> Document:
    """Return ``finishlab/report/1``: where a report was written, and what it says first."""
    return _document(
        "report",
        page=page,
        pdf=pdf,
        title=content.title,
        light=content.light,
        answer=answer(content.ranking),
        rendered=content.rendered,
        boards=list(content.ranking.numbers),
        crops=list(content.crops),
    )


def cameras_document(profiles: Iterable[Mapping[str, Any]]) -> Document:
    """Return ``finishlab/cameras/1``: camera profiles as they are stored."""
    return _document("cameras", cameras=[dict(profile) for profile in profiles])


def dump(document: Mapping[str, Any]) -> str:
    """Return a document as text with a line break at its end.

    Raises
    ------
    ValueError
        If a number in it is not finite; JSON has no such numbers.
    """
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _document(kind: str, **content: object) -> Document:
    return {"format": f"finishlab/{kind}/1", "colour_space": COLOUR_SPACE, **content}


def _photo(result: PhotoResult) -> Document:
    measurement = result.measurement
    profile = None if measurement is None else measurement.settings.get("camera_profile")
    costs = costs_of_photo(result)
    return {
        "path": result.path,
        "ok": result.error is None,
        "error": None if result.error is None else result.error.as_dict(),
        "strip": None if measurement is None or measurement.strip is None else _strip(measurement.strip),
        "fields": {} if measurement is None else {name: _field(found) for name, found in measurement.fields.items()},
        "delta_e00": None if measurement is None or measurement.pair is None else _difference(measurement.pair),
        **({} if costs is None else {"costs": photo_costs_entry(costs)}),
        **({} if profile is None else {"camera_profile": profile}),
    }


def _strip(strip: StripReading) -> Document:
    return {
        "found": True,
        "number": strip.number,
        "tags_seen": strip.tags_seen,
        "corners": [[_rounded(x, 2), _rounded(y, 2)] for x, y in strip.corners],
        "px_per_mm": _rounded(strip.px_per_mm),
        "tilt_deg": _rounded(strip.tilt_deg, 2),
        "rotation_deg": _rounded(strip.rotation_deg, 2),
        "residual_mm": _rounded(strip.residual_mm),
    }


def _field(found: FieldMeasurement) -> Document:
    return {
        "lab": _lab(found.estimate.lab),
        "standard_error": _lab(found.estimate.standard_error),
        "spread": {"L10": _rounded(found.spread.L10), "L90": _rounded(found.spread.L90)},
        "used_share": _rounded(found.used_share, 4),
        "glare_share": _rounded(found.glare_share, 4),
        "left_out": {reason: _rounded(share, 4) for reason, share in found.left_out.items()},
        "surface": found.kind,
        "texture": _texture(found.texture),
        "doubts": _doubts(found.doubts),
    }


def _pool(floor: FloorPool) -> Document:
    return {
        "lab": _lab(floor.lab),
        "spots": floor.spots,
        "spread_e00": _rounded(floor.spread_e00),
        "colours_e00": _rounded(floor.colours_e00),
        "doubts": _doubts(floor.doubts),
    }


def _ranked(board: RankedBoard) -> Document:
    return {
        "place": board.place,
        "ties": tie_marks(board),
        "board": board.board,
        "lab": _lab(board.lab),
        "delta_e00": _difference(board.delta_e00),
        "probability_closest": _rounded(board.probability_closest, 4),
        "difference": {name: _rounded(value) for name, value in board.difference.as_dict().items()},
        "ratio_to_floor_spread": _rounded(board.ratio_to_floor_spread),
        "in_words": board.in_words,
        "sentence": board.sentence,
        "score": _difference(board.score or board.delta_e00),
        "score_own": None if board.own is None else {"low": _rounded(board.own.low), "high": _rounded(board.own.high)},
        "probability_within_limits": _rounded(board.within_limits, 4),
        "inseparable": list(board.inseparable),
        "colours_e00": _rounded(board.colours_e00),
        "figure_e00": _rounded(board.figure_e00),
        "photos": board.photos,
        "direct_pairs": board.pairs,
        "final": board.final,
        "doubts": _doubts(board.doubts),
    }


def _board(board: BoardRow) -> Document:
    return {
        "board": board.number,
        "record": board.record.as_dict(),
        "lab": None if board.lab is None else _lab(board.lab),
        "light": board.light,
        "measurements": [colour_document(colour) for colour in board.colours],
        "direct_pairs": [_difference(pair) for pair in board.pairs],
    }


def colour_document(colour: ColourRow) -> Document:
    """Return the JSON form of one measured colour."""
    return {
        "lab": _lab(colour.lab),
        "standard_error": _lab(colour.standard_error),
        "spread": None
        if colour.spread_lightness is None
        else {"L10": _rounded(colour.spread_lightness[0]), "L90": _rounded(colour.spread_lightness[1])},
        "texture": _texture(colour.texture),
        "light": colour.light,
        "photo": colour.photo,
        "strip": colour.strip_number,
        "camera_profile": None if colour.camera_profile is None else dict(colour.camera_profile),
        "version": colour.version,
        "doubts": _doubts(colour.doubts),
    }


def _texture(texture: Texture | None) -> Document | None:
    return None if texture is None else {name: _rounded(value) for name, value in asdict(texture).items()}


def _difference(difference: DeltaE) -> Document:
    return {name: _rounded(value) for name, value in difference.as_dict().items()}


def _doubts(doubts: Iterable[Doubt]) -> list[Document]:
    return [{"code": doubt.code, "message": doubt.message} for doubt in doubts]


def _lab(values: Iterable[float]) -> list[float | None]:
    return [_rounded(value) for value in values]


def _rounded(value: float | None, decimals: int = 3) -> float | None:
    """Round a figure; one that is not a finite number is said to be unknown, never written as NaN."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), decimals) + 0.0  # the sum turns -0.0 into 0.0

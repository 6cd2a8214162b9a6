"""Makes a logbook of very many boards at once, without photos: invented colours, documents as measuring writes them.

Run ``python tests/many_boards.py DIR [boards]``. Each board has one photo of its own, with the effects,
sampled colours, texture and settings of a measured one; every fifth has the floor beside it. The floor is ten spots
over several photos. With ``--recipes`` a quarter of the boards name one of 40 recipes and carry its finish; with
``--lights`` every third board has a second photo, by the lamp.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
from sqlalchemy import Connection, insert, update
from sqlalchemy.orm import Session

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.colorimetry.difference import delta_e_interval
from finishlab.colorimetry.estimate import WOOD_ALONE, LabEstimate, SharedEffect
from finishlab.finish import Finish
from finishlab.logbook import writing as rows
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import DirectPair
from finishlab.logbook.tables import (
    BoardRow,
    CounterRow,
    FloorSpotRow,
    MeasurementRow,
    PairRow,
    PhotoRow,
    RecipeRow,
    StripRow,
)
from finishlab.measure.results import FieldMeasurement, Measurement, Spread, StripReading, Texture
from finishlab.quality import Doubt, doubt
from finishlab.recipe import Recipe

FLOOR: Final = np.array([56.0, 8.0, 22.0])
DAY: Final = dt.date(2024, 5, 31)
STRIPS: Final = (1043, 1044)
CAMERAS: Final = ("Acme One", "Acme Two", "Acme Three")
SPOTS: Final = 10
PHOTOS_OF_A_SPOT: Final = 2
STAINS: Final = ("honey", "walnut brown", "smoke grey", None)
AT_ONCE: Final = 1000
RECIPES: Final = 40
LAMP: Final = "evening lamp"


def photo(name: str) -> str:
    """Return the hash of a photo that was never taken."""
    return hashlib.sha256(name.encode()).hexdigest()


def colour(name: str, lab: np.ndarray, sha256: str, rng: np.random.Generator) -> FieldMeasurement:
    """Return a field's measurement with everything a measured one holds."""
    camera, strip = CAMERAS[int(rng.integers(3))], STRIPS[int(rng.integers(2))]

    def effects(scope: str, names: tuple[str, ...], size: float) -> list[SharedEffect]:
        moves = rng.normal(0, size, (len(names), 3)).tolist()
        return [SharedEffect(each, scope, (v[0], v[1], v[2])) for each, v in zip(names, moves, strict=True)]

    shared = effects(f"photo:{sha256[:16]}", ("fit-1", "fit-2", "fit-3"), 0.1)
    shared += effects(f"strip:{strip}", ("print-black", "print-gamma", "print-paper"), 0.6)
    shared += effects(f"camera:{camera}", ("saturation", "camera-1", "camera-2"), 0.9)
    root = rng.normal(0, 0.2, (3, 3))
    spread = rng.normal(0, 0.8, (3, 3))
    colours = np.round(lab + rng.normal(0, 1.5, (32, 3)), 2).tolist()
    doubts: tuple[Doubt, ...] = (doubt("knot", percent=1),) if rng.random() < 0.2 else ()
    return FieldMeasurement(
        name="board" if name == "board" else "floor",
        kind="wood" if name == "board" else "print",
        estimate=LabEstimate.build(
            lab, root @ root.T + (WOOD_ALONE if name == "board" else 0.01 * np.eye(3)), shared, wood=name == "board"
        ),
        spread=Spread(
            float(lab[0]) - 2.0, float(lab[0]) + 2.0, tuple(tuple(row) for row in (spread @ spread.T).tolist())
        ),
        used_share=float(rng.uniform(0.9, 1.0)),
        glare_share=0.0,
        left_out={"knot": 0.0076} if doubts else {},
        doubts=doubts,
        texture=Texture(*rng.uniform(0.4, 1.2, 3).tolist(), *rng.normal(0.0, 5.0, 2).tolist()),
        colours=tuple((c[0], c[1], c[2]) for c in colours),
    )


def measured(sha256: str, fields: dict[str, FieldMeasurement]) -> Measurement:
    """Return the measurement of a photo with the figures and settings real ones have."""
    any_field = next(iter(fields.values()))
    strip = next(int(e.scope[6:]) for e in any_field.estimate.shared if e.scope.startswith("strip:"))
    corners = ((1030.9, 238.4), (1010.2, 1279.2), (762.3, 1263.6), (790.8, 246.2))
    greys = {
        "source": "nominal",
        "key": "nominal",
        "lightness": [25.26, 37.4, 45.49, 55.0, 64.77, 74.58, 84.31, 94.74],
        "standard_error": [2.85, 2.11, 1.93, 1.75, 1.55, 1.35, 1.23, 1.26],
    }
    return Measurement(
        photo_id=sha256[:16],
        strip=StripReading(strip, 6, corners, 5.36, 12.3, 91.4, 0.148),
        fields=fields,  # type: ignore[arg-type]  # both are names of fields
        pair=None,
        correction={"residual_percent": 0.189, "misfit": 0.389, "veiling_glare": [0.01, 0.009, 0.009], "blur_mm": 0.4},
        settings={"fields": list(fields), "floor_is": "print", "px_per_mm": 4.0, "print": greys},
        version="0.1.0",
    )


def finish_of(number: int) -> Finish:
    """Return the finish of a recipe, each a little different."""
    return Finish.from_dict(
        {
            "preparation": {"cut": "plain", "grits": [80, 100, 120], "grain_raised": True, "drying_h": 2.0},
            "steps": [{"kind": "water", "maker": "Acme", "colour": f"shade {number}", "wipe_min": 5.0, "coat": 1}],
            "seal": {"kind": "shellac", "coats": 1},
            "topcoat": {"kind": "hardwax oil", "maker": "Acme", "sheen": "matte", "coats": 2},
        }
    )


def board_record(number: int, *, recipes: bool) -> BoardRecord:
    """Return the record of a board, of one in many kinds."""
    of_recipe = recipes and number % 4 == 0
    return BoardRecord(
        "ash" if number % 3 else "cherry",
        stain=STAINS[number % 4],
        coats=None if STAINS[number % 4] is None else 1 + number % 3,
        topcoat="hardwax oil, matte" if number % 7 else None,
        date=DAY - dt.timedelta(days=number % 50),
        purpose="clear-only control" if number % 500 == 3 else "candidate",
        note="offcut of the third tread" if number % 11 == 0 else None,
        recipe_number=1 + number // 4 % RECIPES if of_recipe else None,
        finish=finish_of(1 + number // 4 % RECIPES) if of_recipe else None,
    )


class Filler:
    """Writes rows a thousand at once, past the logbook's own ways, which write one board at a time."""

    def __init__(self, connection: Connection, session: Session, rng: np.random.Generator) -> None:
        self._connection = connection
        self._session = session
        self._rng = rng
        self._waiting: dict[Any, list[dict[str, Any]]] = {}
        self._now = rows.now()

    def add(self, table: Any, **values: Any) -> None:
        """Put a row on the pile."""
        self._waiting.setdefault(table, []).append(values)

    def write(self) -> None:
        """Write the piles, tables that others name first."""
        for table in (PhotoRow, RecipeRow, BoardRow, FloorSpotRow, MeasurementRow, PairRow):
            waiting = self._waiting.pop(table, [])
            if waiting:
                self._connection.execute(insert(table), waiting)

    def photo(self, name: str) -> str:
        """Add a photo."""
        sha256 = photo(name)
        said = {"file_name": f"{name}.jpg", "suffix": ".jpg", "size": 1, "width": 4000, "height": 3000}
        self.add(PhotoRow, sha256=sha256, kept=self._now, **said)
        return sha256

    def measurement(self, owner: dict[str, int], sha256: str, light: str, fields: dict[str, FieldMeasurement]) -> None:
        """Add a measurement of a board or spot."""
        wanted = "floor" if "spot_number" in owner else "board"
        values = rows.measured_values(self._session, measured(sha256, fields), wanted)  # type: ignore[arg-type]  # names of fields
        owned = {"board_number": None, "spot_number": None, "part_id": None} | owner
        self.add(MeasurementRow, **owned, photo_sha256=sha256, light=light, **values)

    def spot(self, number: int, lights: tuple[str, ...]) -> None:
        """Add a spot of the floor, each with a few photos."""
        record = FloorSpotRecord(f"plank {number}", surface="vinyl", date=DAY)
        self.add(FloorSpotRow, number=number, created=self._now, **rows.record_values(record))
        lab = FLOOR + self._rng.normal(0, 1, 3)
        for light in lights:
            for repeat in range(PHOTOS_OF_A_SPOT):
                sha256 = self.photo(f"floor {number} {light} {repeat}")
                seen = colour("floor", lab + self._rng.normal(0, 0.2, 3), sha256, self._rng)
                self.measurement({"spot_number": number}, sha256, light, {"floor": seen})

    def board(self, number: int, record: BoardRecord, lights: tuple[str, ...]) -> None:
        """Add a board with one photo a light, every fifth with the floor beside it."""
        self.add(BoardRow, number=number, created=self._now, **rows.record_values(record))
        lab = FLOOR + self._rng.normal(0, 6, 3)
        for light in lights:
            sha256 = self.photo(f"board {number} {light}")
            seen = colour("board", lab + self._rng.normal(0, 0.3, 3), sha256, self._rng)
            self.measurement({"board_number": number}, sha256, light, {"board": seen})
            if number % 5 == 0:
                beside = colour("floor", FLOOR + self._rng.normal(0, 1, 3), sha256, self._rng)
                off = delta_e_interval(beside.estimate, seen.estimate)
                pair = rows.paired_values(DirectPair(sha256[:16], seen, beside, off))
                self.add(PairRow, board_number=number, photo_sha256=sha256, light=light, **pair)


def fill(folder: Path, boards: int, *, recipes: bool = False, lights: bool = False, seed: int | None = None) -> None:
    """Fill a new logbook."""
    rng = np.random.default_rng(boards if seed is None else seed)
    with Logbook.open(folder) as log, Session(log._engine) as session, session.begin():  # noqa: SLF001 - thousands of rows in one go
        session.add_all(StripRow(number=number, first_seen=rows.now()) for number in STRIPS)
        session.flush()
        filler = Filler(session.connection(), session, rng)
        if recipes:
            for number in range(1, RECIPES + 1):
                values = rows.record_values(Recipe(f"shade {number}", finish_of(number)))
                filler.add(RecipeRow, number=number, created=rows.now(), **values)
        for number in range(1, SPOTS + 1):
            filler.spot(number, ("daylight", LAMP) if lights else ("daylight",))
        filler.write()
        for number in range(1, boards + 1):
            lit = ("daylight", LAMP) if lights and number % 3 == 0 else ("daylight",)
            filler.board(number, board_record(number, recipes=recipes), lit)
            if number % AT_ONCE == 0:
                filler.write()
        filler.write()
        for table, last in ((BoardRow, boards), (FloorSpotRow, SPOTS), (RecipeRow, RECIPES if recipes else 0)):
            named = CounterRow.name == table.__tablename__
            session.execute(update(CounterRow).where(named).values(last=last))
        rows.note_change(session, "tests", "import", "B1")  # a logbook without a history counts as empty


def folders(place: Path, counts: tuple[int, ...], **kinds: bool) -> Iterator[tuple[int, Path]]:
    """Make several logbooks."""
    for count in counts:
        folder = place / f"{count}"
        fill(folder, count, **kinds)
        yield count, folder


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if not word.startswith("--")]
    fill(
        Path(words[0]),
        int(words[1]) if len(words) > 1 else 10_000,
        recipes="--recipes" in sys.argv,
        lights="--lights" in sys.argv,
    )

"""What is told of boards and floor spots: as rows, in words, for JSON; two boards held against each other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from finishlab.board import BoardRecord
from finishlab.errors import LogbookError
from finishlab.finish import Finish, Row, finish_fields, finish_rows
from finishlab.record import Light, counted
from finishlab.show import jsons
from finishlab.show.document import (
    Block,
    Cell,
    Colour,
    Column,
    Document,
    Interval,
    Lab,
    Line,
    Listing,
    Table,
    lab_words,
)

if TYPE_CHECKING:
    from finishlab.colorimetry.difference import DeltaE
    from finishlab.colorimetry.estimate import LabEstimate
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredBoard, StoredMeasurement, StoredSpot
    from finishlab.measure.results import Texture  # measuring loads OpenCV; showing its results does not


def what_it_is(record: BoardRecord) -> str:
    """Return a board's recipe in one line: wood, stain and coats, topcoat."""
    return f"{record.species}; {stain_words(record)}; {record.topcoat or 'no topcoat'}"


def stain_words(record: BoardRecord) -> str:
    """Return a board's stain, and how many coats of it where that is said."""
    said = f", {counted(record.coats, 'coat')}" if record.stain and record.coats is not None else ""
    return f"{record.stain or 'no stain'}{said}"


Namer = Callable[[str], str]


def photo_namer(log: Logbook) -> Namer:
    """Return what turns a photo's hash into the name the user's file had, and the start of the hash.

    Of a file that is called by its own hash, and of one that is gone, the start of the hash is all there is to say.
    """

    def name(sha256: str) -> str:
        try:
            file = log.photo(sha256).file_name
        except LogbookError:
            file = sha256
        return sha256[:16] if file.startswith(sha256) else f"{file} ({sha256[:8]})"

    return name


def pooled_lab(thing: StoredBoard | StoredSpot, light: Light | None = None) -> Lab | None:
    """Return a thing's colour: that of its photos in `light`, or in its own; of all if it has none in that."""
    from finishlab.colorimetry.estimate import pool_estimates

    lit = light or thing.record.light
    found = [m for m in thing.measurements if m.light == lit] or thing.measurements
    return pool_estimates([m.field.estimate for m in found]).lab if found else None


def pooled_light(board: StoredBoard, light: Light | None = None) -> Light | None:
    """Return the light of what `pooled_lab` gives; None where it is of several, or there is nothing."""
    lit = light or board.record.light
    there = board.lights
    return lit if lit in there else there.pop() if len(there) == 1 else None


def pairs_beside(board: StoredBoard, light: Light | None = None, *, in_doubt: bool = False) -> list[DeltaE]:
    """Return the differences measured with the floor in the same photo; or those of what may not be the floor."""
    return [pair.delta_e00 for pair in board.pairs if pair.in_doubt == in_doubt and light in {None, pair.light}]


def recipe_colours(log: Logbook) -> dict[int, Lab]:
    """Return the colour of each recipe's finish as measured on a board: the approved one, else the one logged last."""
    standard = log.standard()
    approved = None if standard is None else standard.approval.board
    found: dict[int, Lab] = {}
    for board in sorted(log.boards(), key=lambda board: board.number == approved):
        lab, number = pooled_lab(board), board.record.recipe_number
        if lab is not None and number is not None:
            found[number] = lab
    return found


def colour_document(found: StoredMeasurement, name: Namer = str) -> dict[str, Any]:
    """Return the JSON form of one measured colour; `name` turns its photo's hash into what is shown."""
    field = found.field
    return {
        **jsons.entry(field.estimate, "lab standard_error"),
        "spread": jsons.entry(field.spread, "L10 L90"),
        "texture": jsons.texture(field.texture),
        "light": found.light,
        "photo": name(found.photo),
        "strip": found.strip_number,
        "camera_profile": None if found.profile is None else dict(found.profile),
        "version": found.version,
        "doubts": jsons.doubts(found.doubts),
    }


def profile_name(profile: Mapping[str, Any] | None) -> str:
    """Return which camera profile a result was measured with, in a few words; the settings' entry or None."""
    if not profile:
        return "no profile"
    day = f", learned {profile['date']}" if profile.get("date") else ""
    return f"{profile['camera']} in {profile['light']}{day}"


def profile_line(profile: Mapping[str, Any]) -> str:
    """Return the sentence that stands beside a colour measured with a camera profile."""
    from finishlab.colorimetry.spaces import chart_words

    off, chart = profile["left_out"], chart_words(str(profile["chart"]))
    return (
        f"With the camera profile of {profile_name(profile)} ({profile['kind']}; chart: {chart}). Absolute "
        f"error, on chart colours it had not seen: {off['wood']:.1f} dE00 near wood's colours, {off['mean']:.1f} over "
        f"all, {off['max']:.1f} at most."
    )


def lights(thing: StoredBoard | StoredSpot) -> str:
    """Return the lights it was measured in; that of its record while it is not measured."""
    return ", ".join(dict.fromkeys(found.light for found in thing.measurements)) or thing.record.light


def past(log: Logbook, number: str) -> Listing:
    """Return what was done to a thing."""
    from finishlab.logbook.stored import change_line

    return Listing("History", [change_line(change) for change in log.history(number)])


Fact = tuple[str, str | int | dt.date | None]
"""A label and what is written there."""

_TOPCOAT: Final = "topcoat"
"""What the row of the topcoat is called, in short or in full."""
_BOARD: Final = {
    "species": "wood",
    "purpose": "made as",
    "state": "state",
    "maker": "made by",
    "recipe": "recipe",
    "stain": "stain",
    "coats": "stain coats",
    "topcoat": "topcoat",
    "light": "first light",
    "date": "date",
    "note": "note",
}
"""Field of a board's record -> the name people read."""
_BELOW: Final = ("species", "stain", "coats", "recipe")
_ABOVE: Final = ("state", "purpose", "maker", "date", "note")
"""What is told before a board's finish, and after it."""


def board_details(record: BoardRecord) -> tuple[Row, ...]:
    """Return what a board's record says, one row a field; what was not written down has no row."""
    short = {} if record.finish is None else record.finish.in_short()
    bare = "none" if record.purpose in {"raw", "clear-only control"} else None
    stain = record.stain or short.get("stain") or bare
    coats = record.coats if record.coats is not None else short.get("coats")
    purpose = None if record.purpose == "candidate" else record.purpose
    said = {"stain": stain, "coats": None if stain == bare else coats, "purpose": purpose}
    below, above = (
        [(_BOARD[name], said[name] if name in said else getattr(record, name)) for name in names]
        for names in (_BELOW, _ABOVE)
    )
    rows = [*below, *_finish(record, "none on record"), *above]
    return tuple((label, str(value)) for label, value in rows if value is not None)


def _finish(record: BoardRecord, without: str | None) -> list[Fact]:
    """Return the rows of a finish with one of the topcoat: in full where it is written so, else as said in short."""
    rows: list[Fact] = list(finish_rows(record.finish))
    written = dict(rows)
    said = record.topcoat
    if _TOPCOAT not in written:
        place = next((n for n, (label, _) in enumerate(rows) if label == "lay"), len(rows))
        return [*rows[:place], (_TOPCOAT, said or without), *rows[place:]]
    derived = None if record.finish is None else record.finish.in_short().get("topcoat")
    if said is not None and said != derived:
        rows = [(label, f"{said}; {value}" if label == _TOPCOAT else value) for label, value in rows]
    return rows


def label_facts(record: BoardRecord) -> list[Fact]:
    """Return what a board's label says, from the wood up to the last coat."""
    below = [(name, getattr(record, name)) for name in ("species", "recipe", "stain", "coats")]
    return [*below, *_finish(record, None), *((name, getattr(record, name)) for name in _ABOVE)]


def field_rows(record: BoardRecord) -> Iterator[tuple[str, str, str, Any]]:
    """Give every field that is written: its JSON name, the name people read, its value in words and as JSON.

    The JSON name of a finish's field is its path, such as ``finish.steps.1.wipe_min``.
    """
    plain = record.as_dict()
    for name, label in _BOARD.items():
        value = getattr(record, name)
        if value is not None:
            yield name, label, str(value), value if name == "recipe" else plain[name]
    yield from finish_fields(record.finish or Finish())


def colour_blocks(colours: Sequence[StoredMeasurement], name: Namer) -> list[Block]:
    """Return what was measured, photo by photo; `name` turns a photo's hash into what is shown."""
    if not colours:
        return [Line("Not measured yet.")]
    columns = (
        Column("light", least=min(12, max(len(found.light) for found in colours))),
        Column("L* a* b*"),
        *(Column(name, fold=False) for name in ("+-", "L* 10-90 %", "grain", "strip")),
        Column("photo"),
    )
    blocks: list[Block] = [Table(columns, [_row(found, name) for found in colours])]
    if any(found.field.texture is not None for found in colours):
        blocks.append(Line("grain: scatter of L* within 8 mm, and its angle to the strip where it has one"))
    blocks += [Line(text) for text in dict.fromkeys(profile_line(c.profile) for c in colours if c.profile)]
    return [*blocks, Listing("Doubts", list(dict.fromkeys(doubt.message for c in colours for doubt in c.doubts)))]


def _row(found: StoredMeasurement, name: Namer) -> list[Cell]:
    estimate, spread = found.field.estimate, found.field.spread
    strip = None if found.strip_number is None else f"{found.strip_number:04d}"
    lab = Colour(estimate.lab, decimals=1)
    tenths = f"{spread.L10:.0f} to {spread.L90:.0f}"
    errors = lab_words(estimate.standard_error, 1)
    return [found.light, lab, errors, tenths, _grain(found.field.texture), strip, name(found.photo)]


def _grain(texture: Texture | None) -> str | None:
    if texture is None:
        return None
    angle = texture.to_strip_deg
    return f"{texture.contrast:.1f}" if angle is None else f"{texture.contrast:.1f} at {abs(angle):.0f} deg"


_PARTS = ("preparation", "steps", "seal", "topcoat", "looking")


_Field = tuple[str, str, tuple[str | None, ...], tuple[Any, ...]]
"""One field that two boards, or one of them, have: its path in the record's JSON, the name people read, what each says
in words (None where it does not) and in JSON."""


def comparison_document(one: StoredBoard, two: StoredBoard) -> Document:
    """Hold two boards against each other."""
    numbers = (one.number, two.number)
    fields = _fields(one, two)
    differ = [each for each in fields if each[3][0] != each[3][1]]
    lights = [list(dict.fromkeys(m.light for m in board.measurements)) for board in (one, two)]
    colours = [_colours(one, two, light) for light in lights[0] if light in lights[1]]
    alone = [[light for light in mine if light not in other] for mine, other in (lights, lights[::-1])]
    only = {number: found for number, found in zip(numbers, alone, strict=True) if found}

    data = {
        "boards": list(numbers),
        "fields": [
            {"field": name, "label": label, **dict(zip(numbers, values, strict=True))}
            for name, label, _, values in differ
        ],
        "fields_alike": len(fields) - len(differ),
        "colours": [told for told, _ in colours],
        "one_board_only": only,
    }
    blocks = [Line(f"{one.number} beside {two.number}"), *_field_blocks(numbers, differ, len(fields) - len(differ))]
    blocks += _colour_blocks(numbers, [row for _, row in colours])
    notes = [f"{number} alone was measured in {', '.join(lights)}." for number, lights in only.items()]
    return Document("board-comparison", data, [*blocks, Listing("Notes", notes)])


def _field_blocks(numbers: tuple[str, str], differ: Sequence[_Field], alike: int) -> list[Block]:
    """Return the fields that differ, side by side."""
    heads = [Column("field", fold=False), *map(Column, numbers)]
    table = Table(heads, [(label, *words) for _, label, words, _ in differ])
    same = [Line(f"{counted(alike, 'other field')} the same")] if alike else []
    return [table if differ else Line("No field of their records differs."), *same]


def _colour_blocks(numbers: tuple[str, str], rows: Sequence[Sequence[Cell]]) -> list[Block]:
    """Return the colours, a light a line."""
    if not rows:
        return [Line("Their colours cannot be compared: no light in which both were measured.")]
    heads = [Column(name) for name in ("light", *numbers, "dE00 (95 %)", f"{numbers[1]} is")]
    return [Table(heads, rows, title="Colours, L* a* b*")]


def _fields(one: StoredBoard, two: StoredBoard) -> list[_Field]:
    """Return every field of their records, in the order of a record, steps after steps."""
    mine, other = (
        {name: (label, words, value) for name, label, words, value in field_rows(b.record)} for b in (one, two)
    )
    none = ("", None, None)

    def place(name: str) -> tuple[int, int, int]:
        path = name.split(".")
        section = 1 + _PARTS.index(path[1]) if path[0] == "finish" else 0
        step = int(path[2]) if len(path) > 3 else 0
        return section, step, [*(mine if name in mine else other)].index(name)

    found: list[_Field] = []
    for name in sorted(dict.fromkeys((*mine, *other)), key=place):
        here, there = mine.get(name, none), other.get(name, none)
        found.append((name, here[0] or there[0], (here[1], there[1]), (here[2], there[2])))
    return found


def _colours(one: StoredBoard, two: StoredBoard, light: str) -> tuple[dict[str, Any], Sequence[Cell]]:
    """Return two boards' colours in a light, each from all its photos in it: for JSON, and as a row.

    The interval of their difference counts what moves both photos alike, such as one strip's greys, only once.
    """
    import numpy as np

    from finishlab.colorimetry.difference import delta_e_interval, describe, signed_difference
    from finishlab.colorimetry.estimate import pool_estimates
    from finishlab.matching.scatter import estimate_components

    seen: list[list[LabEstimate]] = [
        [m.field.estimate for m in board.measurements if m.light == light] for board in (one, two)
    ]
    a, b = (pool_estimates(each) for each in seen)
    # Where there are repeats their scatter is in the mean already; one photo says nothing of it.
    photo = np.asarray(estimate_components((), seen).photo)
    single = sum(len(each) == 1 for each in seen)
    delta, signed = delta_e_interval(a, b, photo * single), signed_difference(b.lab, a.lab)
    words = describe(signed, delta, one.number)
    told = {
        "light": light,
        "lab": {one.number: jsons.lab(a.lab), two.number: jsons.lab(b.lab)},
        "photos": {one.number: len(seen[0]), two.number: len(seen[1])},
        "delta_e00": jsons.difference(delta),
        "difference": jsons.difference(signed),
        "in_words": words,
    }
    interval = Interval(delta.value, delta.low, delta.high)
    return told, (light, lab_words(a.lab, 1), lab_words(b.lab, 1), interval, words)

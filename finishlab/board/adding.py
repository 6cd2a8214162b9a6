"""``finishlab board add``: photos of test boards into the logbook, held first against what is there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

import click

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.board.commands import (
    FLOOR,
    MANY,
    board_summary,
    boards_document,
    found_words,
    photos_summary,
    place_words,
    product_words,
    refuse_other_floor,
    spot_summary,
)
from finishlab.board.files import EXAMPLE, Shown, by_name, read_name, read_table, table_beside
from finishlab.board.shown import what_it_is
from finishlab.cli.common import (
    area_options,
    checked_light,
    confirm_floor_option,
    doubt_lines,
    due_cautions,
    json_option,
    measure_all,
    new_light_option,
    on_terminal,
    open_logbook,
    photos_argument,
    print_results,
    report_failures,
    say,
    say_undo,
    show_document,
    untouched,
)
from finishlab.cli.lazy import command
from finishlab.errors import UsageError
from finishlab.finish.commands import ask_missing, draft_options, record_options, typed
from finishlab.finish.entering import Draft, draft_like, is_unstained, new_warnings
from finishlab.measuring import MeasureOptions, expand_photos
from finishlab.record import DAYLIGHT, Light, counted, first_of, normalise_light, today

if TYPE_CHECKING:
    from finishlab.finish.entering import FinishTexts
    from finishlab.imaging.strip import FieldName
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredBoard, StoredSpot
    from finishlab.measure.areas import GreyArea, SurfaceArea
    from finishlab.measure.results import SurfaceKind
    from finishlab.measuring import PhotoResult
    from finishlab.show.document import Document


_RECORD: Final = ("species", "stain", "coats", "topcoat", "purpose", "note", "date", "state", "maker")


@dataclass(slots=True)
class _Plan:
    """One board, or one place of the floor, and the photos to be logged of it."""

    draft: Draft | None
    """The new board; None for the floor, and for photos of a logged board."""
    record: BoardRecord | FloorSpotRecord | None
    number: str | None = None
    """The logged board that the photos are of."""
    shown: bool = False
    """Whether it was shown what it is before it is logged."""
    photos: dict[Light, list[tuple[Path, bool]]] = field(default_factory=dict)
    """Light -> its photos, each with whether the floor lies beside the board in it."""
    results: dict[Light, list[PhotoResult]] = field(default_factory=dict)
    """Light -> what was measured in its photos."""


@command(
    'finishlab board add board.jpg --species ash --stain walnut --coats 2 --topcoat "satin polyurethane"',
    "finishlab board add photos/ --species ash",
    "finishlab board add photos/boards.csv",
    "finishlab board add both.jpg --species ash --stain walnut --with-floor",
    'finishlab board add next.jpg --like B1 --step "oil; colour=walnut; wipe=10" --state topcoated',
    "finishlab board add board.jpg --from board.toml --ask",
    "finishlab board add one.jpg two.jpg --each --species ash --stain walnut",
    'finishlab board add lamp.jpg --to B1 --light "evening lamp"',
)
@photos_argument
@record_options(new=True)
@draft_options
@click.option("--with-floor", is_flag=True, help="The floor lies at the strip's floor edge: keep that pair too.")
@click.option(
    "--floor-is",
    type=click.Choice(["print", "wood"]),
    default="print",
    show_default=True,
    help="With --with-floor: what the floor's face is made of.",
)
@click.option("--each", is_flag=True, help="Each photo is a board of its own: log as many alike.")
@click.option("--to", "number", metavar="B1", help="Add the photos to a logged board: another light, or repeats.")
@click.option("--yes", is_flag=True, help="Of a folder: log what was read from names or table, without asking.")
@new_light_option
@confirm_floor_option
@area_options
@json_option
def add(
    *,
    photos: tuple[str, ...],
    light: str | None,
    with_floor: bool,
    floor_is: str,
    each: bool,
    number: str | None,
    yes: bool,
    new_light: bool,
    confirm_floor: bool,
    greys: tuple[GreyArea, ...],
    area: SurfaceArea | None,
    as_json: bool,
    finish_texts: FinishTexts,
    **written: Any,  # noqa: ANN401 - the record's fields, each of its own type
) -> int:
    """Measure photos of test boards and log them; print their numbers.

    Several photos are repeats of one board; with --each they are as many boards of one record. Of a folder each photo
    is what its name says (walnut-2-coats-satin.jpg, raw.jpg, floor-by-the-door.jpg), or a row of the table beside it
    (CSV: photo, species, stain, coats, topcoat, light, with_floor, spot); it is shown before it is logged. Unless
    every photo is good, nothing is logged. A board with a topcoat and no stain is the clear-only control unless told
    otherwise.
    """
    given = {name: written[name] for name in _RECORD if written[name] is not None}
    _check_given(number, given, finish_texts, each=each, paired_by_hand=with_floor and bool(greys or area))
    options = MeasureOptions(floor_is=cast("SurfaceKind", floor_is), greys=greys, area=area)
    with open_logbook(make=number is None) as log:
        # Unknown boards, and what cannot be meant, are told before anything is measured.
        if number is not None:
            lit = normalise_light(light or log.board(number).record.light)
            plans = [_Plan(None, None, number, photos={lit: [(path, with_floor) for path, _ in expand_photos(photos)]})]
        else:
            draft = _draft(log, given, light, finish_texts)
            plans = [] if each else _folder_plans(log, photos, draft, with_floor=with_floor, yes=yes)
            plans = plans or _plain_plans(draft, photos, with_floor=with_floor, each=each)
        plans = [_in_checked_light(log, plan, new=new_light) for plan in plans]
        _measure(log, plans, options)
        every = _every(plans)
        code = report_failures(every)
        if code:
            say(untouched(every))
            return code
        _check(log, plans, floor_is, confirmed=confirm_floor)
        with log.at_once():
            logged = [each for plan in plans for each in _logged(log, plan)]
            lines = _lines(log, logged, plans)
        if as_json:
            show_document(_document(log, logged, plans[0]), as_json=True)
    if not as_json:
        print_results("\n".join(each.number for each in logged))
    for line in lines:
        say(line)
    if len(logged) >= MANY:
        say_undo()
    return 0


def _plain_plans(draft: Draft, photos: Sequence[str], *, with_floor: bool, each: bool) -> list[_Plan]:
    """Return one board of all photos, or with `each` as many of one record."""
    record = _record(draft)
    named = [path for path, _ in expand_photos(photos)]
    groups = [[path] for path in named] if each else [named]
    return [_Plan(draft, record, photos={record.light: [(path, with_floor) for path in group]}) for group in groups]


def _record(draft: Draft) -> BoardRecord:
    """Return a draft's record; coats of a stain that is not named are asked about."""
    record = draft.record()
    if not record.coats or not is_unstained(record):
        return record
    coats = f"{counted(record.coats, 'coat')} of stain"
    if not on_terminal():
        raise UsageError("coats-without-stain", f"{coats}, and no stain is named.", "Name it with --stain.")
    stain = click.prompt(f"{coats}: which (Enter for none)", default="", show_default=False, err=True).strip()
    said = {"stain": stain} if stain else {"coats": None}
    return replace(draft, fields={**draft.fields, **said}).record()


def _in_checked_light(log: Logbook, plan: _Plan, *, new: bool) -> _Plan:
    lights = {light: checked_light(log, light, new=new) for light in plan.photos}
    plan.photos = {lights[light]: photos for light, photos in plan.photos.items()}
    if plan.record is not None:
        plan.record = replace(plan.record, light=lights.get(plan.record.light, plan.record.light))
    return plan


def _every(plans: Sequence[_Plan]) -> list[PhotoResult]:
    return [result for plan in plans for part in plan.results.values() for result in part]


def _measure(log: Logbook, plans: Sequence[_Plan], options: MeasureOptions) -> None:
    """Measure the photos of all plans, those of one light and kind at once."""
    groups: dict[tuple[Light, tuple[FieldName, ...]], list[Path]] = {}
    for plan in plans:
        for light, shots in plan.photos.items():
            for path, beside in shots:
                groups.setdefault((light, _fields(plan, beside=beside)), []).append(path)
    found: dict[tuple[Light, Path], list[PhotoResult]] = {}
    for (light, fields), paths in groups.items():
        how = replace(options, fields=fields).with_calibration(log, light)
        for result in measure_all([str(path) for path in dict.fromkeys(paths)], how):
            found.setdefault((light, Path(result.path)), []).append(result)
    for plan in plans:
        for light, shots in plan.photos.items():
            plan.results[light] = [result for path, _ in shots for result in found[light, path]]


def _fields(plan: _Plan, *, beside: bool) -> tuple[FieldName, ...]:
    if isinstance(plan.record, FloorSpotRecord):
        return ("floor",)
    return ("board", "floor") if beside else ("board",)


def _check(log: Logbook, plans: Sequence[_Plan], floor_is: str, *, confirmed: bool) -> None:
    """Hold what was measured against itself and what is logged; refuse mixed boards, note what is doubtful."""
    from finishlab.measuring.logged import doubt_floor, doubt_light, floor_seen, refuse_mixed

    surface = "wood" if floor_is == "wood" else None
    floors: dict[Light, list[PhotoResult]] = {}
    for plan in plans:
        for light, part in plan.results.items():
            if isinstance(plan.record, FloorSpotRecord):
                floors.setdefault(light, []).extend(part)
            else:
                refuse_mixed(part)
    for light, part in floors.items():
        refuse_other_floor(part, floor_seen(log, light), confirmed=confirmed)
    for plan in plans:
        for light, part in plan.results.items():
            told = doubt_light(log, part, light)
            if not confirmed and not isinstance(plan.record, FloorSpotRecord):
                seen = floor_seen(log, light, cast("Any", surface))
                told = doubt_floor(told, seen.with_these(floors.get(light, ())))
            plan.results[light] = told


def _logged(log: Logbook, plan: _Plan) -> Sequence[StoredBoard | StoredSpot]:
    """Log what was measured: further photos of a board, a new board with all its lights, or places of the floor."""
    from finishlab.measuring.logged import log_board, log_board_photos, log_floor_spots

    number, board = plan.number, None
    for light, part in plan.results.items():
        if isinstance(plan.record, FloorSpotRecord):
            return log_floor_spots(log, replace(plan.record, light=light), part, dated=False)
        if number is None and plan.record is not None and plan.draft is not None:
            dated = "date" in plan.draft.fields
            board = log_board(log, replace(plan.record, light=light), part, dated=dated, with_floor=True)
            number = board.number
        else:
            board = log_board_photos(log, str(number), part, light=light, with_floor=True)
    return [] if board is None else [board]


def _document(log: Logbook, logged: Sequence[StoredBoard | StoredSpot], plan: _Plan) -> Document:
    from finishlab.logbook.stored import StoredBoard

    light = None if plan.number is None else next(iter(plan.results))
    document = boards_document([each for each in logged if isinstance(each, StoredBoard)], light)
    spots = [FLOOR.entry(FLOOR.row(log, each)) for each in logged if not isinstance(each, StoredBoard)]
    return replace(document, made={**document.data, **({"floor_spots": spots} if spots else {})})


def _lines(log: Logbook, logged: Sequence[StoredBoard | StoredSpot], plans: Sequence[_Plan]) -> list[str]:
    """Return what was logged of these plans, a line each, what is doubtful, and what can hurt somebody."""
    from finishlab.logbook.stored import StoredBoard

    boards = [each for each in logged if isinstance(each, StoredBoard)]
    slips = [slip.message for board in boards for slip in new_warnings(log, board)] if plans[0].number is None else []
    if plans[0].number is not None:
        ((light, part),) = plans[0].results.items()
        lines = [photos_summary(boards[0], len(part), light)]
    elif plans[0].shown:
        lines = [_found(each, plan) for each, plan in zip(logged, plans, strict=True)]
    else:
        lines = [board_summary(each) if isinstance(each, StoredBoard) else spot_summary(each) for each in logged]
    lines += [*doubt_lines(_every(plans)), *(f"Worth a thought: {message}" for message in dict.fromkeys(slips))]
    lines += due_cautions(log, product_words(log, *(board.record for board in boards)))
    return lines


def _found(thing: StoredBoard | StoredSpot, plan: _Plan) -> str:
    """Return what was found of a thing; what it is was shown before it was logged."""
    from finishlab.logbook.stored import StoredBoard

    names = ", ".join(path.name for shots in plan.photos.values() for path, _ in shots)
    found = found_words(thing) if isinstance(thing, StoredBoard) else place_words(thing)
    return f"{thing.number} ({names}){found.replace(',', ':', 1)}."


def _check_given(
    number: str | None, given: dict[str, Any], texts: FinishTexts, *, each: bool, paired_by_hand: bool
) -> None:
    """Refuse what cannot go together, such as a record for a board that has one."""
    if paired_by_hand:
        raise UsageError(
            "with-floor-needs-strip", "A pair with the floor needs the strip.", "Leave out --with-floor, or the areas."
        )
    if each and number is not None:
        raise UsageError("each-of-one-board", f"The photos cannot be boards and {number}.", "Leave out --each or --to.")
    named = [*given, *texts.given()]
    if number is not None and named:
        raise UsageError(
            "record-of-logged-board",
            f"With --to the board's record stays as it is, so --{named[0]} has no place.",
            f"Change the record with: finishlab board edit {number}",
        )


def _draft(log: Logbook, given: dict[str, Any], light: str | None, texts: FinishTexts) -> Draft:
    """Return the new board's record from whatever says something of it, after asking where that is wanted."""
    draft = Draft() if texts.like is None else draft_like(log, texts.like)
    draft = draft.with_said(log.recipe, typed(given if light is None else given | {"light": light}, texts))
    if texts.ask:
        draft = ask_missing(draft)
    return draft


def _folder_plans(log: Logbook, photos: Sequence[str], draft: Draft, *, with_floor: bool, yes: bool) -> list[_Plan]:
    """Return what a folder's photos are to be logged as, shown before; nothing where no folder is named.

    Where nothing says what a photo shows, and the options do, all of them are photos of one board.
    """
    tables = [Path(path) for path in photos if Path(path).suffix.lower() == ".csv"]
    pictures = [path for path in photos if Path(path) not in tables] or [str(table.parent) for table in tables]
    folders = [Path(path) for path in pictures if Path(path).is_dir()]
    named = expand_photos(pictures)
    if not (folders or tables) or any(error is not None for _, error in named):
        return []  # what is wrong with a folder is told with what is wrong with other photos
    beside = tables or [one for folder in folders if (one := table_beside(folder)) is not None]
    table = {name: shown for each in beside for name, shown in read_table(each).items()}
    shown = {path: by_name(table, path) if table else read_name(path.stem) for path, _ in named}
    if not any(shown.values()) and any(draft.fields.get(name) for name in ("stain", "topcoat", "purpose")):
        return []
    missing = sorted(set(table) - {name for path, _ in named for name in (path.name, path.stem)})
    if missing:
        raise UsageError(
            "no-such-photo", f"The table names {missing[0]}, and no such photo is there.", "Mend its name."
        )
    found = _all_told(shown, table=bool(table))
    plans = _grouped(log, found, draft, with_floor=with_floor)
    _show_back(found, plans, yes=yes)
    return plans


def _all_told(shown: Mapping[Path, Shown | None], *, table: bool) -> dict[Path, Shown]:
    """Return what each photo shows, after asking about those of which nothing says it."""
    told = {path: Shown("left out") if each is None and table else each for path, each in shown.items()}
    silent = [path.name for path, each in told.items() if each is None]
    if silent and not on_terminal():
        raise UsageError(
            "photo-not-told",
            f"Nothing says what {first_of(silent, 3)} shows.",
            f"Name the photos as {EXAMPLE}, put a table beside them, or describe one board with --stain.",
        )
    found: dict[Path, Shown] = {}
    for path, each in told.items():
        answer = each
        while answer is None:
            text = click.prompt(
                f"{path.name} shows (such as walnut 2 coats satin; raw; floor by the door; Enter leaves it out)",
                default="",
                show_default=False,
                err=True,
            ).strip()
            answer = read_name(text) if text else Shown("left out")
        found[path] = answer
    return found


def _grouped(log: Logbook, told: Mapping[Path, Shown], draft: Draft, *, with_floor: bool) -> list[_Plan]:
    """Return the boards and places that photos show: those that say the same of a board are of one."""
    usual = normalise_light(draft.fields.get("light") or DAYLIGHT)
    plans: dict[object, _Plan] = {}
    for number, (path, shown) in enumerate(told.items()):
        light = shown.light or usual
        if shown.kind == "floor":
            record = FloorSpotRecord(shown.spot, cast("Any", shown.surface or "vinyl"), light, None, today())
            # Without a name each photo is a place of its own; one place in two lights is two spots.
            key: object = ("floor", shown.spot or number, light)
            plan = plans.setdefault(key, _Plan(None, record, shown=True))
        elif shown.kind == "board":
            key = repr(shown.said)
            if key not in plans:
                draft = _with_wood(draft, shown)
                whole = draft.with_said(log.recipe, [shown.said])
                whole = replace(whole, fields={**whole.fields, "light": light})
                plans[key] = _Plan(whole, _record(whole), shown=True)
            plan = plans[key]
        else:
            continue
        plan.photos.setdefault(light, []).append((path, with_floor or shown.with_floor))
    for plan in plans.values():
        # A board's own light is daylight where it has it.
        plan.photos = dict(sorted(plan.photos.items(), key=lambda each: each[0] != usual))
    return list(plans.values())


def _with_wood(draft: Draft, shown: Shown) -> Draft:
    """Return a draft with a wood, asked for once where neither it nor what a photo shows has one."""
    said = draft.fields.get("species") or shown.said.fields.get("species")
    if said is not None or not on_terminal():
        return draft  # without one its record says what is missing
    return replace(draft, fields={**draft.fields, "species": click.prompt("Wood of the boards", err=True)})


def _show_back(told: Mapping[Path, Shown], plans: Sequence[_Plan], *, yes: bool) -> None:
    """Say what each photo will be logged as, and see that somebody agrees.

    Raises
    ------
    UsageError
        ``"not-confirmed"``.
    """
    lines = {}
    for plan in plans:
        for light, shots in plan.photos.items():
            for path, beside in shots:
                record = plan.record
                if isinstance(record, BoardRecord):
                    purpose = "" if record.purpose == "candidate" else f" ({record.purpose})"
                    what = f"{what_it_is(record)}{purpose}{', beside the floor' if beside else ''}"
                else:
                    what = f"floor: {(record.spot if record else None) or 'a place of its own'}"
                lines[path] = what if light == DAYLIGHT else f"{what}; {light}"
    width = max(len(path.name) for path in told)
    for path in told:
        say(f"  {path.name:<{width}}  {lines.get(path, 'left out')}")
    boards = sum(isinstance(plan.record, BoardRecord) for plan in plans)
    counts = {"board": boards, "floor photo": len(plans) - boards}
    what = " and ".join(counted(count, name) for name, count in counts.items() if count)
    if yes:
        return
    if on_terminal() and click.confirm(f"Log this ({what})", default=True, err=True):
        return
    raise UsageError(
        "not-confirmed",
        f"Nothing was logged yet: {what} would be.",
        "Log them as shown with --yes, or mend names or table.",
    )

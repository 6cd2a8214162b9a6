"""``finishlab history``, ``undo``, ``redo``; ``check``; ``export``, ``import``, ``backup``."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import click

from finishlab.cli.common import json_option, open_logbook, print_document, print_results, say, show_document
from finishlab.cli.lazy import command, logbook_folder
from finishlab.errors import ExitCode, LogbookError
from finishlab.record import first_of, harmless, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from finishlab.logbook.history import Undone
    from finishlab.logbook.merge import MergeResult
    from finishlab.logbook.stored import Change


_SAMPLE = 5
_NEWEST = 20
_NAMED = 12


@command("finishlab history", "finishlab history B3", "finishlab history standard", "finishlab history 2.T7")
@click.argument("subject", metavar="[B3|F2|R1|C2|T7|standard]", required=False)
@click.option("--last", type=click.IntRange(1), metavar="N", help=f"Only the newest. [without a subject: {_NEWEST}]")
@json_option
def history(*, subject: str | None, last: int | None, as_json: bool) -> None:
    """Show what was changed, first to last: who, when, what; also of what is removed.

    What one command did stands together. Without a subject, the newest changes of the whole logbook.
    """
    from finishlab.logbook.stored import change_entry

    newest = last if last is not None or subject is not None else _NEWEST
    with open_logbook() as log:
        changes = log.history(subject, last=newest)
    if as_json:
        entries = [{"subject": change.subject, **change_entry(change)} for change in changes]
        print_document({"format": "finishlab/history/1", "changes": entries})
        return
    if not changes:
        say("Nothing is logged yet.")
    for _, together in groupby(changes, key=lambda change: change.made):
        for line in _lines(list(together), named=subject is None):
            print_results(harmless(line))


def _lines(together: Sequence[Change], *, named: bool) -> list[str]:
    """Return what one command did, a line for what several things have alike; all but the first are set in."""
    from finishlab.logbook.stored import change_line

    alike: dict[str, list[str]] = {}
    for change in together:
        alike.setdefault(change_line(change), []).append(change.subject)
    told = [f"{first_of(names, _NAMED)}: {line}" if named else line for line, names in alike.items()]
    return [told[0], *(f"  {line}" for line in told[1:])]


@command("finishlab undo", "finishlab undo B3", "finishlab undo 2.T7", 'finishlab undo "flight 1"')
@click.argument("subject", metavar="[B3|F2|R1|C2|T7|standard]", required=False)
@json_option
def undo(*, subject: str | None, as_json: bool) -> None:
    """Take back what the last command changed, in the whole logbook or of one subject; again for the one before.

    Nothing is lost: it is a change of its own, and redo brings back what was taken back.
    """
    with open_logbook() as log:
        _tell("Taken back", "undo", log.undo(subject), as_json=as_json)


@command("finishlab redo", "finishlab redo B3")
@click.argument("subject", metavar="[B3|F2|R1|C2|T7|standard]", required=False)
@json_option
def redo(*, subject: str | None, as_json: bool) -> None:
    """Bring back what the last undo took back; again for the one before, until something new is logged."""
    with open_logbook() as log:
        _tell("Brought back", "redo", log.redo(subject), as_json=as_json)


def _tell(said: str, step: str, done: Sequence[Undone], *, as_json: bool) -> None:
    from finishlab.logbook.stored import change_entry, change_line

    if as_json:
        changes = [
            {"subject": each.subject, "change": change_entry(each.change), "entry": change_entry(each.entry)}
            for each in done
        ]
        print_document({"format": f"finishlab/{step}/1", "changes": changes})
        return
    subjects: dict[str, list[str]] = {}
    for each in done:
        subjects.setdefault(change_line(each.change), []).append(each.subject)
    for line, names in subjects.items():
        say(f"{said}, of {first_of(names, _NAMED)}: {line}.")


@command("finishlab check", "finishlab check --repair", "finishlab check --sample 0")
@click.option("--repair", is_flag=True, help="Move aside what cannot be read, and put right what can be.")
@click.option(
    "--sample", type=click.IntRange(0), default=_SAMPLE, metavar="N", help="Measure so many photos again [5]."
)
@json_option
def check(*, repair: bool, sample: int, as_json: bool) -> int:
    """See that the logbook is sound: database, entries, every kept photo; some photos are measured again.

    With --repair nothing is deleted: what no command can read goes into the folder "aside" of the logbook. Where
    the database itself is damaged, what can still be read becomes a logbook of its own there.
    """
    from finishlab.logbook.audit import Finding
    from finishlab.logbook.backup import save_readable
    from finishlab.logbook.database import login_name
    from finishlab.measuring.logged import measure_sample
    from finishlab.measuring.shown import check_document

    saved = None
    try:
        with open_logbook() as log:
            found, again = log.audit(repair=repair), measure_sample(log, sample)
    except LogbookError as error:
        if not repair or error.code != "logbook-damaged":
            raise
        found, again = [Finding("database", error.message)], []
    if repair and any(each.code == "database" and not each.mended for each in found):
        saved = save_readable(logbook_folder(), login_name())
    document = check_document(found, again, repair=repair, saved=saved)
    show_document(document, as_json=as_json)
    return 0 if document.data["sound"] else int(ExitCode.LOGBOOK)


_NOT_CLEANED = "nobody can say what else it tells. finishlab backup copies it as it is."
_PLACE = click.Path(path_type=Path)
_WORDS = {
    "boards": ("board", "boards"),
    "floor_spots": ("floor spot", "floor spots"),
    "recipes": ("recipe", "recipes"),
    "batches": ("can", "cans"),
    "trials": ("trial", "trials"),
    "parts": ("stair part", "stair parts"),
    "part_events": ("entry about parts", "entries about parts"),
    "photos": ("photo", "photos"),
    "measurements": ("measurement", "measurements"),
}


def counted(number: int, name: str) -> str:
    """Return a number with its noun."""
    one, many = _WORDS[name]
    return f"{number} {one if number == 1 else many}"


@command("finishlab export stairs.zip", "finishlab export figures.zip --without-photos", name="export")
@click.argument("archive", metavar="FILE.zip", type=_PLACE)
@click.option("--without-photos", is_flag=True, help="Leave the photos out.")
@json_option
def export(*, archive: Path, without_photos: bool, as_json: bool) -> None:
    """Write the whole logbook into one archive: JSON with its schema, CSV tables, photos.

    Of a photo goes along the picture with its colours, turning, time and camera model: no place, no serial number, no
    owner. Names, dates and notes go along as they were written.
    """
    from finishlab.logbook.archive import export_logbook

    with open_logbook() as log:
        done = export_logbook(log, archive, photos=not without_photos)
    for name in done.missing:
        say(f"The photo {name} in the logbook's folder is gone or changed; its figures are in the archive.")
    for name in done.kept_back:
        say(f"The photo {name} stays here, its figures are in the archive: {_NOT_CLEANED}")
    if as_json:
        print_document({"format": "finishlab/export/1", "file": str(archive), **plain(done)})
        return
    parts = (counted(done.boards, "boards"), counted(done.floor_spots, "floor_spots"), counted(done.photos, "photos"))
    say(f"{archive} holds {parts[0]}, {parts[1]} and {parts[2]}, with all their history.")


@command("finishlab import stairs.zip", name="import")
@click.argument("archive", metavar="FILE.zip", type=_PLACE)
@json_option
def import_(*, archive: Path, as_json: bool) -> None:
    """Take an archive into the logbook, empty or used: nothing twice, nothing lost.

    What the logbook holds already is known again. A number that is taken here is given anew, and told.
    """
    from finishlab.logbook.archive import import_logbook

    with open_logbook(make=True) as log:
        done = import_logbook(log, archive)
    if as_json:
        print_document(
            {
                "format": "finishlab/import/1",
                "added": {name: number for name, number in done.added.items() if name in _WORDS},
                "renewed": done.renewed,
                "kept": done.kept,
                "renumbered": [{"archive": old, "logbook": new} for old, new in done.renumbered],
            }
        )
        return
    for line in _told(done):
        say(line)


def _told(done: MergeResult) -> list[str]:
    new = [counted(done.added[name], name) for name in _WORDS if done.added.get(name)]
    lines = [f"Taken in: {', '.join(new)}." if new else "The logbook held all of it already."]
    if done.renewed:
        lines.append(f"Brought up to date: {', '.join(done.renewed)}.")
    lines += [f"{old} of the archive is {now} here." for old, now in done.renumbered]
    lines += [f"{each} was changed here and there: yours stays, the other stands in its history." for each in done.kept]
    return lines


@command("finishlab backup /media/usb/stairs")
@click.argument("folder", metavar="FOLDER", type=_PLACE)
@json_option
def backup(*, folder: Path, as_json: bool) -> int:
    """Copy the logbook into another folder, also while it is in use.

    The copy is a logbook like this one, originals and all, with the places they were taken at: open it with --logbook
    FOLDER. Naming the same folder again brings the copy up to date.
    """
    with open_logbook() as log:
        done = log.backup(folder)
    if as_json:
        print_document({"format": "finishlab/backup/1", "folder": str(folder), **plain(done)})
    for name in done.missing:
        say(f"The photo {name} is not in the copy: its file is gone from the logbook, or is no longer what was kept.")
    say(
        f"{folder} now holds a copy of the logbook with {counted(done.photos, 'photos')}, as the camera wrote them: "
        "they may name the places they were taken at."
    )
    return int(ExitCode.LOGBOOK) if done.missing else 0

"""``finishlab export``, ``import`` and ``backup``: a whole logbook in one file or folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from finishlab.cli.common import json_option, open_logbook, print_document, say
from finishlab.cli.lazy import ExampleCommand

if TYPE_CHECKING:
    from finishlab.logbook.exchange.taking_in import TakenIn

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


@click.command(
    "export",
    cls=ExampleCommand,
    examples=("finishlab export stairs.zip", "finishlab export figures.zip --without-photos"),
)
@click.argument("archive", metavar="FILE.zip", type=_PLACE)
@click.option("--without-photos", is_flag=True, help="Leave the photos out.")
@json_option
def export(*, archive: Path, without_photos: bool, as_json: bool) -> None:
    """Write the whole logbook into one archive: JSON with its schema, CSV tables, photos.

    Of a photo goes along the picture with its colours, turning, time and camera model: no place, no serial number, no
    owner. Names, dates and notes go along as they were written.
    """
    from finishlab.workflow.exchange import export_logbook

    with open_logbook() as log:
        done = export_logbook(log, archive, photos=not without_photos)
    for name in done.missing:
        say(f"The photo {name} in the logbook's folder is gone or changed; its figures are in the archive.")
    for name in done.kept_back:
        say(f"The photo {name} stays here, its figures are in the archive: {_NOT_CLEANED}")
    if as_json:
        counts = {"boards": done.boards, "floor_spots": done.floor_spots, "photos": done.photos}
        print_document(
            {
                "format": "finishlab/export/1",
                "file": str(archive),
                **counts,
                "missing": list(done.missing),
                "kept_back": list(done.kept_back),
            }
        )
        return
    parts = (counted(done.boards, "boards"), counted(done.floor_spots, "floor_spots"), counted(done.photos, "photos"))
    say(f"{archive} holds {parts[0]}, {parts[1]} and {parts[2]}, with all their history.")


@click.command(
    "import",
    cls=ExampleCommand,
    examples=("finishlab import stairs.zip",),
)
@click.argument("archive", metavar="FILE.zip", type=_PLACE)
@json_option
def import_(*, archive: Path, as_json: bool) -> None:
    """Take an archive into the logbook, empty or used: nothing twice, nothing lost.

    What the logbook holds already is known again. A number that is taken here is given anew, and told.
    """
    from finishlab.workflow.exchange import import_logbook

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


def _told(done: TakenIn) -> list[str]:
    new = [counted(done.added[name], name) for name in _WORDS if done.added.get(name)]
    lines = [f"Taken in: {', '.join(new)}." if new else "The logbook held all of it already."]
    if done.renewed:
        lines.append(f"Brought up to date: {', '.join(done.renewed)}.")
    lines += [f"{old} of the archive is {now} here." for old, now in done.renumbered]
    lines += [f"{each} was changed here and there: yours stays, the other stands in its history." for each in done.kept]
    return lines


@click.command(
    cls=ExampleCommand,
    examples=("finishlab backup /media/usb/stairs",),
)
@click.argument("folder", metavar="FOLDER", type=_PLACE)
@json_option
def backup(*, folder: Path, as_json: bool) -> None:
    """Copy the logbook into another folder, also while it is in use.

    The copy is a logbook like this one, originals and all: open it with --logbook FOLDER. Naming the same folder again
    brings the copy up to date.
    """
    with open_logbook() as log:
        photos = log.backup(folder)
    if as_json:
        print_document({"format": "finishlab/backup/1", "folder": str(folder), "photos": photos})
    say(f"{folder} now holds a copy of the logbook with {counted(photos, 'photos')}.")

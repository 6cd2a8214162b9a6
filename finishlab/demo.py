"""``finishlab demo``: the whole way on rendered photos, by the very commands a user would type.

Everything in it is invented: a hall with a vinyl floor printed in a smoked-larch look, and a stair to be clad in
cherry, which is redder than the floor. Two water stains are tried, a walnut brown that takes the red down and a honey
that keeps it, alone and mixed. The photos are rendered by `render.story_scenes`; no such floor or board exists.
"""

from __future__ import annotations

import contextlib
import io
import json
import shlex
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import click

from finishlab.cli.common import json_option, print_document, say
from finishlab.cli.lazy import command, finishlab
from finishlab.errors import FinishlabError, OutputError, UsageError
from finishlab.logbook.photo_files import file_hash

FOLDER: Final = "sample_photos"
"""Where the rendered photos lie."""
EVENING: Final = "evening lamp"

_SPOTS: Final = ("beside the stair", "middle of the hall", "near the front door", "under the window", "kitchen doorway")
"""Places of the floor; their photos are called so too."""
_SPOTS_BY_LAMP: Final = _SPOTS[:3]
_OIL: Final = "--topcoat 'hardwax oil, matte'"
_VARNISH: Final = "--topcoat 'water varnish, matte'"
_HONEY: Final = "--stain 'honey water stain'"
_WALNUT: Final = "--stain 'walnut brown water stain'"
_MIX: Final = "--stain 'two parts walnut brown to one part honey'"
_BOARDS: Final[Mapping[str, str]] = {
    "raw.jpg": "--purpose raw --note 'sanded to 120'",
    "clear-only.jpg": f"{_OIL} --purpose 'clear-only control'",
    "honey-one-coat.jpg": f"{_HONEY} --coats 1 {_OIL}",
    "honey-two-coats.jpg": f"{_HONEY} --coats 2 {_OIL}",
    "honey-two-coats-varnish.jpg": f"{_HONEY} --coats 2 {_VARNISH}",
    "walnut-one-coat.jpg": f"{_WALNUT} --coats 1 {_VARNISH} --note 'offcut of the third tread'",
    "walnut-one-coat-oil.jpg": f"{_WALNUT} --coats 1 {_OIL}",
    "walnut-two-coats.jpg": f"{_WALNUT} --coats 2 {_VARNISH} --with-floor",
    "mix-one-coat.heic": f"{_MIX} --coats 1 {_OIL}",
    "mix-two-coats.jpg": f"{_MIX} --coats 2 {_OIL} --with-floor --note 'mixed by volume'",
}
"""Photo of each test board, from B1 on, and what the user writes down of it."""
_BOARDS_BY_LAMP: Final[Mapping[str, str]] = {
    "B7": "walnut-one-coat-oil-evening.jpg",
    "B8": "walnut-two-coats-evening.jpg",
    "B10": "mix-two-coats-evening.jpg",
}


def commands() -> Iterator[tuple[str, ...]]:
    """Yield what a user would type, after ``finishlab``: the print first, then the photos by daylight and by lamp."""
    yield ("strip", "learn", f"{FOLDER}/strip-from-three-steps-back.jpg")
    for where in _SPOTS:
        yield _floor_add(where)
    for name, written in _BOARDS.items():
        yield ("board", "add", f"{FOLDER}/board-{name}", "--species", "cherry", *shlex.split(written))
    for where in _SPOTS_BY_LAMP:
        yield (*_floor_add(where, "-evening"), "--light", EVENING)
    for number, name in _BOARDS_BY_LAMP.items():
        yield ("board", "add", f"{FOLDER}/board-{name}", "--to", number, "--light", EVENING)


def _floor_add(where: str, when: str = "") -> tuple[str, ...]:
    photo = f"{FOLDER}/floor-{where.replace(' ', '-')}{when}.jpg"
    return ("floor", "add", photo, "--spot", where, "--surface", "vinyl")


def _photos(home: Path) -> list[Path]:
    """Return the photos that the commands name."""
    return [home / word for words in commands() for word in words if word.startswith(f"{FOLDER}/")]


MARK: Final = "demo.json"
"""The file that tells a demo's folder from any other."""
PAGE: Final = "report.html"
PDF: Final = "report.pdf"
_PAGES: Final = (PAGE, PDF, "ranking.html")
"""What a demo writes, the page's former name too."""
_FORMAT: Final = "finishlab/demo-folder/1"
_DATABASE: Final = ("logbook.db", "logbook.db-wal", "logbook.db-shm", "logbook.db-journal")
_KEPT: Final = "photos"


def samples_home() -> Path:
    """Return the folder that holds `FOLDER`: the installed package, or the project in an editable checkout.

    Raises
    ------
    FinishlabError
        ``"no-sample-photos"`` if neither has all of them.
    """
    package = Path(__file__).resolve().parent
    for home in (package, package.parent):
        if all(photo.is_file() for photo in _photos(home)):
            return home
    raise FinishlabError(
        "no-sample-photos",
        "The sample photos of the demo are not all installed with finishlab.",
        "Install finishlab again; in a checkout, make them: python -m make_samples",
    )


def prepare(folder: Path, home: Path) -> bool:
    """Make a folder ready for the demo; return whether an earlier demo in it was cleared away.

    Of an earlier demo only what it made itself is deleted.

    Parameters
    ----------
    folder
        Where the demo goes.
    home
        From `samples_home`.

    Raises
    ------
    UsageError
        ``"demo-not-a-folder"``, or ``"demo-folder-used"`` if something else lies there.
    OutputError
        ``"demo-folder-unwritable"``.
    """
    if folder.exists() and not folder.is_dir():
        raise UsageError("demo-not-a-folder", f"{folder} is not a folder.", "Name a folder with --into.")
    samples = sorted(map(file_hash, _photos(home)))
    try:
        again = _clear(folder) if folder.exists() and any(folder.iterdir()) else False
        folder.mkdir(parents=True, exist_ok=True)
        mark = {"format": _FORMAT, "note": "A demo with rendered photos; it may be made anew.", "photos": samples}
        (folder / MARK).write_text(json.dumps(mark, indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise OutputError(
            "demo-folder-unwritable",
            f"The demo cannot be made in {folder} ({error.strerror or error}).",
            "Name a folder you may write to with --into.",
        ) from error
    return again


def _clear(folder: Path) -> bool:
    """Delete an earlier demo."""
    own = _own_photos(folder)
    kept = [path for path in (folder / _KEPT).rglob("*") if path.is_file()]
    if own is None or any(path.stem not in own for path in kept):
        why = "holds no demo" if own is None else "holds photos that the demo did not put there"
        raise UsageError(
            "demo-folder-used", f"{folder} is not empty and {why}.", "Name a new or empty folder with --into."
        )
    for path in (*(folder / name for name in (*_DATABASE, *_PAGES)), *kept):
        path.unlink(missing_ok=True)
    return True


def _own_photos(folder: Path) -> frozenset[str] | None:
    """Return the hashes of the photos an earlier demo kept here, None if there was no demo."""
    try:
        mark = json.loads((folder / MARK).read_text(encoding="utf-8"))
        return frozenset(mark["photos"]) if mark["format"] == _FORMAT else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


_LIGHTS: Final = ("daylight", EVENING)
_TITLE: Final = "Demo: stair treads of cherry for a smoked-larch floor"


@command("finishlab demo", "finishlab demo --into /tmp/stairs")
@click.option(
    "--into",
    type=click.Path(path_type=Path),
    default=Path("finishlab-demo"),
    show_default=True,
    metavar="DIR",
    help="New or empty folder for the demo's logbook and report; an earlier demo in it is made anew.",
)
@json_option
def demo(*, into: Path, as_json: bool) -> int:
    """Try it all on rendered sample photos.

    A logbook is made by the very commands a user would type, then the boards are ranked and a report is written. Floor
    and boards are invented and their photos are computed; only the measuring is real.
    """
    folder, home = into.expanduser().absolute(), samples_home()
    if prepare(folder, home):
        say(f"The earlier demo in {folder} is made anew.")
    say("The photos of this demo are rendered: computed, not taken. Floor, boards and stains are invented.\n")
    say(f"$ cd {_word(str(home))}\n$ export FINISHLAB_LOGBOOK={_word(str(folder))}")
    told: set[str] = set()
    with contextlib.chdir(home):
        for words in commands():
            code = _log(folder, words, told)
            if code:
                return code
        if not as_json:
            for light in _LIGHTS:
                _rank(folder, light)
        documents = _rankings(folder) if as_json else {}
        _report(folder)
    if as_json:
        print_document(
            {
                "format": "finishlab/demo/1",
                "colour_space": "CIELAB D65 2deg",
                "rendered": True,
                "logbook": str(folder),
                "page": str(folder / PAGE),
                "pdf": str(folder / PDF),
                "rankings": documents,
            }
        )
    else:
        click.echo(f"\nLogbook: {folder}\nPage: {folder / PAGE}\nPDF: {folder / PDF}")
    return 0


def _rankings(folder: Path) -> dict[str, Any]:
    """Return light -> its ranking as a ``finishlab/ranking/1`` document."""
    from finishlab.logbook.store import Logbook
    from finishlab.rank.comparing import rank_boards
    from finishlab.rank.documents import ranking_data
    from finishlab.show.document import Document

    with Logbook.open(folder) as log:
        return {
            light: Document("ranking", ranking_data(rank_boards(log, light=light))).json_form() for light in _LIGHTS
        }


def _report(folder: Path) -> None:
    """Write the report; what the command says of it is said by the demo itself."""
    words = ("report", "--title", _TITLE, "--output", str(folder / PAGE), "--pdf", str(folder / PDF))
    say(f"\n$ finishlab {_line(words)}")
    with contextlib.redirect_stdout(io.StringIO()):
        _run(folder, words)


def _log(folder: Path, words: Sequence[str], told: set[str]) -> int:
    """Run one command that logs something; what it says goes to stderr, cautions only the first time."""
    say(f"\n$ finishlab {_line(words)}")
    talk = io.StringIO()
    try:
        with contextlib.redirect_stderr(talk), contextlib.redirect_stdout(talk):
            code = _run(folder, words)
    finally:
        for line in talk.getvalue().splitlines():
            if not (line.startswith("Caution:") and line in told):
                say(line)
            told.add(line)
    return code


def _rank(folder: Path, light: str) -> None:
    words = ("rank",) if light == _LIGHTS[0] else ("rank", "--light", light)
    say(f"\n$ finishlab {_line(words)}")
    sys.stderr.flush()
    _run(folder, words)
    click.echo()
    sys.stdout.flush()


def _run(folder: Path, words: Sequence[str]) -> int:
    """Run a command line as the shell would, but in this process; failures are raised."""
    code = finishlab.main(["--logbook", str(folder), *words], standalone_mode=False)
    return code if isinstance(code, int) else 0


def _line(words: Sequence[str]) -> str:
    return " ".join(_word(word) for word in words)


def _word(word: str) -> str:
    return f'"{word}"' if " " in word or "," in word else word

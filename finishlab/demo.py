"""``finishlab demo``: the whole way on rendered photos, by the very commands a user would type; and its story.

Everything in the story is invented: a hall with a vinyl floor printed in a smoked-larch look, and a stair to be clad in
cherry, which is redder than the floor. Two water stains are tried, a walnut brown that takes the red down and a honey
that keeps it, alone and mixed. The photos are rendered by `render.story_scenes`; no such floor or board exists.
"""

from __future__ import annotations

import contextlib
import io
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import click

from finishlab.cli.common import json_option, print_document, say
from finishlab.cli.lazy import command, finishlab
from finishlab.errors import FinishlabError, OutputError, UsageError
from finishlab.logbook.photo_files import file_hash

FOLDER: Final = "sample_photos"
"""Where the rendered photos lie."""
STRIP_NUMBER: Final = 1043
"""One strip for the whole project."""
SPECIES: Final = "cherry"
DAY: Final = "2024-05-11"
"""The invented day of all photos, ISO 8601."""
EVENING: Final = "evening lamp"

WALNUT: Final = "walnut brown water stain"
HONEY: Final = "honey water stain"
STAINS: Final = (WALNUT, HONEY)

Topcoat = Literal["hardwax oil, matte", "water varnish, matte"]
_OIL: Final[Topcoat] = "hardwax oil, matte"
_VARNISH: Final[Topcoat] = "water varnish, matte"


@dataclass(frozen=True, slots=True)
class StoryPhoto:
    """One photo of the story.

    Raises
    ------
    ValueError
        If the time is not one of the clock.
    """

    file: str
    time: str
    """When on the invented day, ``"HH:MM"``."""
    about: str
    """What a user would meet in it, in plain words."""
    evening: bool = False
    """Taken by the lamp in the evening instead of by daylight."""
    colours: Literal["sRGB", "Display P3"] = "sRGB"
    """Colour space of the file."""

    def __post_init__(self) -> None:
        hours, minutes = self.time.split(":")
        if not (0 <= int(hours) < 24 and 0 <= int(minutes) < 60):
            raise ValueError(f"{self.time!r} is no time of day")


@dataclass(frozen=True, slots=True)
class StorySpot:
    """One place of the floor."""

    number: str
    """The number the logbook will give it."""
    where: str
    photo: StoryPhoto
    evening: StoryPhoto | None = None
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """How this plank's print differs from the floor's usual colour, CIELAB."""


@dataclass(frozen=True, slots=True)
class StoryBoard:
    """One test board: what the user writes down, and what it is made of.

    Raises
    ------
    ValueError
        If stain and coats do not go together.
    """

    number: str
    """The number the logbook will give it."""
    purpose: Literal["raw", "clear-only control", "candidate"]
    photo: StoryPhoto
    stain: str | None = None
    """The stain as the user names it."""
    parts: tuple[tuple[str, float], ...] = ()
    """Share of each stain in one coat."""
    coats: int = 0
    topcoat: Topcoat | None = None
    with_floor: bool = False
    """Whether the floor lies at the strip's floor edge in the same photo."""
    evening: StoryPhoto | None = None
    note: str | None = None

    def __post_init__(self) -> None:
        if (self.stain is None) != (self.coats == 0) or (self.stain is None) == bool(self.parts):
            raise ValueError("a stain has coats and parts; without one there are none")


def _by_lamp(file: str, time: str, about: str = "by the warm lamp over the stair, a pool of light") -> StoryPhoto:
    return StoryPhoto(file, time, about, evening=True)


STAND_BACK: Final = StoryPhoto("strip-from-three-steps-back.jpg", "09:50", "the strip alone, from three steps back")
"""What the strip's print is learned from."""

SPOTS: Final = (
    StorySpot(
        "F1",
        "beside the stair",
        StoryPhoto("floor-beside-the-stair.jpg", "10:05", "plain daylight from one side"),
        _by_lamp("floor-beside-the-stair-evening.jpg", "20:30"),
        (0.7, 0.4, 0.3),
    ),
    StorySpot(
        "F2",
        "middle of the hall",
        StoryPhoto("floor-middle-of-the-hall.jpg", "10:08", "strip laid across the planks, a seam in the floor field"),
        _by_lamp("floor-middle-of-the-hall-evening.jpg", "20:34"),
        (-1.3, -0.3, -0.6),
    ),
    StorySpot(
        "F3",
        "near the front door",
        StoryPhoto("floor-near-the-front-door.jpg", "10:12", "the phone held askew, light from the door"),
        _by_lamp("floor-near-the-front-door-evening.jpg", "20:37"),
        (1.6, -0.5, 0.5),
    ),
    StorySpot(
        "F4",
        "under the window",
        StoryPhoto("floor-under-the-window.jpg", "10:15", "uneven light, and the window mirrored a little"),
        None,
        (-0.8, 0.6, 0.9),
    ),
    StorySpot(
        "F5",
        "kitchen doorway",
        StoryPhoto("floor-kitchen-doorway.jpg", "10:18", "colours saved as Display P3", colours="Display P3"),
        None,
        (-0.2, -0.2, -1.1),
    ),
)

BOARDS: Final = (
    StoryBoard("B1", "raw", StoryPhoto("board-raw.jpg", "11:00", "a bare board, plain daylight"), note="sanded to 120"),
    StoryBoard(
        "B2",
        "clear-only control",
        StoryPhoto("board-clear-only.jpg", "11:06", "a small knot in the board"),
        topcoat=_OIL,
    ),
    StoryBoard(
        "B3",
        "candidate",
        StoryPhoto("board-honey-one-coat.jpg", "11:12", "the strip turned a quarter in the photo"),
        stain=HONEY,
        parts=((HONEY, 1.0),),
        coats=1,
        topcoat=_OIL,
    ),
    StoryBoard(
        "B4",
        "candidate",
        StoryPhoto("board-honey-two-coats.jpg", "11:18", "the window mirrored in the board"),
        stain=HONEY,
        parts=((HONEY, 1.0),),
        coats=2,
        topcoat=_OIL,
    ),
    StoryBoard(
        "B5",
        "candidate",
        StoryPhoto("board-honey-two-coats-varnish.jpg", "11:24", "photographed from well off straight above"),
        stain=HONEY,
        parts=((HONEY, 1.0),),
        coats=2,
        topcoat=_VARNISH,
    ),
    StoryBoard(
        "B6",
        "candidate",
        StoryPhoto("board-walnut-one-coat.jpg", "11:30", "an offcut smaller than the board field, on a pale bench"),
        stain=WALNUT,
        parts=((WALNUT, 1.0),),
        coats=1,
        topcoat=_VARNISH,
        note="offcut of the third tread",
    ),
    StoryBoard(
        "B7",
        "candidate",
        StoryPhoto("board-walnut-one-coat-oil.jpg", "11:36", "uneven light"),
        stain=WALNUT,
        parts=((WALNUT, 1.0),),
        coats=1,
        topcoat=_OIL,
        evening=_by_lamp("board-walnut-one-coat-oil-evening.jpg", "20:40"),
    ),
    StoryBoard(
        "B8",
        "candidate",
        StoryPhoto("board-walnut-two-coats.jpg", "11:42", "floor in the same photo"),
        stain=WALNUT,
        parts=((WALNUT, 1.0),),
        coats=2,
        topcoat=_VARNISH,
        with_floor=True,
        evening=_by_lamp("board-walnut-two-coats-evening.jpg", "20:44"),
    ),
    StoryBoard(
        "B9",
        "candidate",
        StoryPhoto("board-mix-one-coat.heic", "11:48", "a HEIC file in Display P3", colours="Display P3"),
        stain="two parts walnut brown to one part honey",
        parts=((WALNUT, 2 / 3), (HONEY, 1 / 3)),
        coats=1,
        topcoat=_OIL,
    ),
    StoryBoard(
        "B10",
        "candidate",
        StoryPhoto("board-mix-two-coats.jpg", "11:54", "floor in the same photo"),
        stain="two parts walnut brown to one part honey",
        parts=((WALNUT, 2 / 3), (HONEY, 1 / 3)),
        coats=2,
        topcoat=_OIL,
        with_floor=True,
        evening=_by_lamp("board-mix-two-coats-evening.jpg", "20:48"),
        note="mixed by volume",
    ),
)


def photos() -> Iterator[StoryPhoto]:
    """Yield every photo of the story once: the strip's, then the floor's."""
    yield STAND_BACK
    for thing in (*SPOTS, *BOARDS):
        yield thing.photo
        if thing.evening is not None:
            yield thing.evening


def commands() -> Iterator[tuple[str, ...]]:
    """Yield what a user would type, after ``finishlab``: the print first, then the photos by daylight and by lamp."""
    yield ("strip", "learn", f"{FOLDER}/{STAND_BACK.file}")
    for spot in SPOTS:
        yield _floor_add(spot, spot.photo)
    for board in BOARDS:
        yield _board_add(board)
    for spot in SPOTS:
        if spot.evening is not None:
            yield (*_floor_add(spot, spot.evening), "--light", EVENING)
    for board in BOARDS:
        if board.evening is not None:
            yield ("board", "add", f"{FOLDER}/{board.evening.file}", "--to", board.number, "--light", EVENING)


def _floor_add(spot: StorySpot, photo: StoryPhoto) -> tuple[str, ...]:
    return ("floor", "add", f"{FOLDER}/{photo.file}", "--spot", spot.where, "--surface", "vinyl")


def _board_add(board: StoryBoard) -> tuple[str, ...]:
    words = ["board", "add", f"{FOLDER}/{board.photo.file}", "--species", SPECIES]
    if board.stain is not None:
        words += ["--stain", board.stain, "--coats", str(board.coats)]
    if board.topcoat is not None:
        words += ["--topcoat", board.topcoat]
    if board.purpose != "candidate":
        words += ["--purpose", board.purpose]
    if board.with_floor:
        words.append("--with-floor")
    if board.note is not None:
        words += ["--note", board.note]
    return tuple(words)


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
        if all((home / FOLDER / photo.file).is_file() for photo in photos()):
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
    samples = sorted(file_hash(home / FOLDER / photo.file) for photo in photos())
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


_LIGHTS: Final = ("daylight", "evening lamp")
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

"""How far the job is, step by step, and what is next; ``finishlab status`` tells it, ``finishlab start`` goes on."""

from __future__ import annotations

import os
import shlex
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import click

from finishlab.board import CLEAR_ONLY
from finishlab.cli.common import json_option, on_terminal, open_logbook, say, show_document
from finishlab.cli.failures import exit_code_of
from finishlab.cli.lazy import command, logbook_folder
from finishlab.errors import FinishlabError
from finishlab.record import DAYLIGHT, counted
from finishlab.show.document import Block, Column, Document, Line, Paragraph, Table

if TYPE_CHECKING:
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredBoard, StoredSpot
    from finishlab.rank.comparing import Comparison


StepName = Literal["print", "learn", "floor", "boards", "check", "answer", "second light", "standard", "stair"]
State = Literal["done", "partly", "open"]
"""``"partly"``: the job can go on, and more makes the answer surer."""

FIRST_HOUR: Final[tuple[StepName, ...]] = ("print", "learn", "floor", "boards", "check", "answer")
"""What `finishlab start` walks through; the others come later."""
STRIP_FILE: Final = "strip.pdf"
"""The page that `finishlab strip` writes unless told; where it lies in the folder, the strip counts as printed."""
_TITLES: Final[Mapping[StepName, str]] = {
    "print": "Print the strip",
    "learn": "Learn its print",
    "floor": "Photograph the floor",
    "boards": "Photograph the boards",
    "check": "Mend what is doubtful",
    "answer": "Read the answer",
    "second light": "Look in a second light",
    "standard": "Approve a recipe",
    "stair": "Finish the stair",
}
_BOARDS: Final = 2
"""Boards that are needed for a choice."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the job."""

    name: StepName
    state: State
    found: str
    """What the logbook holds of it."""
    missing: str = ""
    """What is to be done, in one sentence; empty when it is done."""
    command: str = ""
    """The command for it."""

    @property
    def title(self) -> str:
        """What is to be done."""
        return _TITLES[self.name]

    def entry(self) -> dict[str, str | None]:
        """Return the JSON form."""
        told = ("title", "state", "found", "missing", "command")
        return {"step": self.name, **{name: getattr(self, name) or None for name in told}}


@dataclass(frozen=True, slots=True)
class Guide:
    """The job as the logbook shows it."""

    steps: tuple[Step, ...]
    """In the order of the work."""

    def step(self, name: StepName) -> Step:
        """Return a step by its name."""
        return next(step for step in self.steps if step.name == name)

    @property
    def next(self) -> Step | None:
        """What is most worth doing now; None when all is done.

        What nothing goes on without comes before what makes the answer surer, and that before the rest. Once a recipe
        is approved the choice is made, and only the rest is left.
        """
        chosen = self.step("standard").state == "done"
        first = [] if chosen else [step for step in self.steps if step.name in FIRST_HOUR]
        waiting = [step for step in first if step.state == "open"]
        waiting += [step for step in first if step.state == "partly"]
        waiting += [step for step in self.steps if step.name not in FIRST_HOUR and step.state != "done"]
        return next(iter(waiting), None)


def read_guide(log: Logbook | None, folder: Path) -> Guide:
    """Return how far the job is.

    Parameters
    ----------
    log
        The logbook; None where nothing was ever logged.
    folder
        Where the user works: a strip that was written there counts as printed.
    """
    boards, spots = ((), []) if log is None else (log.boards(), log.floor_spots())
    found = None if log is None or not boards else _compared(log)
    return Guide(
        (
            *_strip_steps(log, folder),
            _floor(spots),
            _boards(boards),
            _check(found),
            _answer(found),
            _second_light(boards, spots, found),
            _standard(log, found),
            _stair(log),
        )
    )


def _compared(log: Logbook) -> Comparison | None:
    """Return the boards ranked; None where there is nothing to compare yet."""
    from finishlab.rank.comparing import compare

    try:
        return compare(log, full=False)
    except FinishlabError:
        return None


def _strip_steps(log: Logbook | None, folder: Path) -> Iterator[Step]:
    learned = () if log is None else tuple(each.number for each in log.learned_greys() if each.number is not None)
    used = () if log is None else log.strips()
    known = sorted({*learned, *used})
    written = (folder / STRIP_FILE).is_file()
    names = ", ".join(f"{number:04d}" for number in known)
    if known or written:
        yield Step("print", "done", f"strip {names}" if known else f"{STRIP_FILE} is written")
    else:
        missing = "Print it at 100 %, black ink only, on plain matt paper, and hold a rule against its ruler."
        command = f"finishlab strip --output {STRIP_FILE}"
        yield Step("print", "open", "no strip yet", missing, command)
    unlearned = [number for number in known if number not in learned]
    if known and not unlearned:
        yield Step("learn", "done", f"strip {names}")
    else:
        which = ", ".join(f"{number:04d}" for number in unlearned)
        found = f"strip {which} is taken for a usual print" if which else "nothing yet"
        missing = "Step back two or three steps and photograph the strip alone: it tells what your printer did."
        yield Step("learn", "open", found, missing, "finishlab strip learn PHOTO")


def _floor(spots: Sequence[StoredSpot]) -> Step:
    from finishlab.matching.scatter import FEW_SPOTS

    lights = Counter(light for spot in spots for light in {each.light for each in spot.measurements})
    photographed = max(lights.values(), default=0)  # a spot seen again by lamp is no further plank
    few = FEW_SPOTS - photographed
    found = counted(photographed, "spot") if photographed else "no spot yet"
    if few <= 0:
        return Step("floor", "done", found)
    more = counted(few, "more plank" if photographed else "plank")
    missing = f"Photograph {more}, the floor against the strip's floor edge, in even light."
    state: State = "partly" if photographed else "open"
    return Step("floor", state, found, missing, "finishlab floor add PHOTO...")


def _boards(boards: Sequence[StoredBoard]) -> Step:
    controls = sum(board.record.purpose == CLEAR_ONLY for board in boards)
    found = counted(len(boards), "board") if boards else "no board yet"
    command = 'finishlab board add PHOTO --species WOOD --stain STAIN --coats 2 --topcoat "hardwax oil"'
    if len(boards) < _BOARDS:
        missing = "Photograph each board against the strip's board edge; best with the floor at the other edge."
        return Step("boards", "open", found, missing, command)
    if not controls:
        missing = "Finish one board with the topcoat alone: stain only darkens, so it shows the lightest you can reach."
        command = 'finishlab board add PHOTO --species WOOD --topcoat "hardwax oil"'
        return Step("boards", "partly", f"{found}, none clear-only", missing, command)
    return Step("boards", "done", f"{found}, {controls} of them clear-only")


def _check(found: Comparison | None) -> Step:
    """Return the doubt that is to be mended first: the one that could change the answer."""
    if found is None:
        return Step("check", "open", "nothing to check yet", "Photograph floor and boards first.")
    from finishlab.rank.comparing import deciding_doubt

    doubtful = deciding_doubt(found.ranking)
    if doubtful is None:
        return Step("check", "done", "no doubt could change the answer")
    who, sentence = doubtful
    command = "finishlab floor add PHOTO..." if who == "floor" else f"finishlab board add PHOTO --to {who}"
    return Step("check", "partly", f"{who} is doubtful", f"{who}: {sentence}", command)


def _answer(found: Comparison | None) -> Step:
    from finishlab.rank.documents import headline

    if found is None:
        missing = "It takes photos of the floor and of a board in one light."
        return Step("answer", "open", "no answer yet", missing, "finishlab rank")
    return Step("answer", "done", headline(found.ranking, found.boards), "", "finishlab rank")


def _second_light(boards: Sequence[StoredBoard], spots: Sequence[StoredSpot], found: Comparison | None) -> Step:
    of_boards = {light for board in boards for light in board.lights}
    of_floor = {each.light for spot in spots for each in spot.measurements}
    both = sorted(of_boards & of_floor, key=lambda light: (light != DAYLIGHT, light))
    told = ", ".join(both) or "no light yet"
    if len(both) > 1:
        return Step("second light", "done", told)
    board = "B1" if found is None else found.ranking.boards[0].board
    missing = "Photograph floor and leading boards by the evening lamps too: a match has to hold in both."
    command = f'finishlab board add PHOTO --to {board} --light "evening lamp"'
    if len(of_floor) < 2:
        command = 'finishlab floor add PHOTO... --light "evening lamp"'
    return Step("second light", "open", told, missing, command)


def _standard(log: Logbook | None, found: Comparison | None) -> Step:
    standard = None if log is None else log.standard()
    if standard is not None:
        return Step("standard", "done", f"R{standard.approval.recipe_number}, {standard.approval.date}")
    board = "B1" if found is None else found.ranking.boards[0].board
    missing = "Lay the leading boards on the floor, trust your eyes, prove the recipe on one tread, and approve it."
    return Step("standard", "open", "none yet", missing, f'finishlab approve {board} --reason "as the floor"')


def _stair(log: Logbook | None) -> Step:
    """Return how far the parts of the stair are."""
    from finishlab.stair.documents import parts_shown
    from finishlab.stair.progress import coats_words

    stair = None if log is None else log.stair()
    if stair is None or not stair.parts:
        missing = "Enter the stair: so many treads from the bottom up, and their size."
        return Step("stair", "open", "no part entered", missing, "finishlab stairs add 14 --tread 36inx11.5inx1in")
    shown = parts_shown(stair).values()
    short = [part for part in shown if any(part.coats.get(step, 0) < n for step, n in part.wanted.items())]
    found = f"{len(shown) - len(short)} of {counted(len(shown), 'part')} finished"
    if not short:
        return Step("stair", "done", found)
    first = short[0]
    step = next(step for step, n in first.wanted.items() if first.coats.get(step, 0) < n)
    missing = f"{counted(len(short), 'part')} are short of a coat, {first.words} of {coats_words(step, 1)} first."
    return Step("stair", "open", found, missing, "finishlab stairs due")


def status_document(guide: Guide) -> Document:
    """Return ``finishlab/status/1``: how far each step is, and what is next."""
    following = guide.next
    data: dict[str, Any] = {
        "steps": [step.entry() for step in guide.steps],
        "next": None if following is None else following.entry(),
    }
    columns = [Column(""), Column(""), Column("", fold=True)]
    rows = [(step.state, step.title, step.found) for step in guide.steps]
    return Document("status", data, (Table(columns, rows, ruled=False), *_next_blocks(following)))


def _next_blocks(following: Step | None) -> Iterator[Block]:
    yield Line()
    if following is None:
        yield Line("All is done.")
        return
    yield Paragraph(f"Next: {following.missing}")
    if following.command:
        yield Line(f"  {following.command}", whole=True)


Words = tuple[str, ...]


@command(
    "finishlab status",
    "finishlab status --json",
)
@json_option
def status(*, as_json: bool) -> None:
    """Say how far the job is, what is missing, which doubt to mend first, and the next command."""
    with open_logbook() as log:
        guide = read_guide(log, Path.cwd())
    show_document(status_document(guide), as_json=as_json)


@command(
    "finishlab start",
    "finishlab start --json",
)
@json_option
def start(*, as_json: bool) -> None:
    """Go through the first hour: print the strip, photograph it, the floor and the boards, and read the answer.

    On a terminal it asks, logs and goes on; what is left open with Enter can be done later. Elsewhere it says how far
    the job is and the next command.
    """
    if as_json or not on_terminal():
        show_document(status_document(_guide()), as_json=as_json)
        return
    say("Enter leaves a step for later; Ctrl-C ends. Where you leave off, finishlab start goes on.")
    _walk()


def _guide() -> Guide:
    """Return how far the job is; no logbook is made where there is none."""
    from finishlab.logbook.store import Logbook

    log = Logbook.open_existing(logbook_folder())
    if log is None:
        return read_guide(None, Path.cwd())
    with log:
        return read_guide(log, Path.cwd())


def _walk() -> None:
    """Ask and run, step by step, until the answer is shown or all that is open was left for later."""
    for number, name in enumerate(FIRST_HOUR, start=1):
        step = _guide().step(name)
        say(f"\n{number}. {step.title}: {step.found.rstrip('.')}.")
        if name == "answer":
            if step.state == "done":
                _run(("rank",))
                say("\nHow far the job is, and what is next: finishlab status")
            else:
                say(f"{step.missing} finishlab start goes on from here.")
            return
        if step.state == "done" or name not in _ASKED:
            say(step.missing) if step.missing else None
            continue
        say(step.missing)
        while not all(_run(words) == 0 for words in _ASKED[name]()):
            say("That did not work; answer again, or leave it with Enter.")


def _ask_print() -> Iterator[Words]:
    paper = click.prompt("Paper", type=click.Choice(["a4", "letter"]), default="a4", err=True)
    yield ("strip", "--output", STRIP_FILE, "--paper", paper)
    click.prompt("Print it, check its ruler, cut it out, and press Enter", default="", show_default=False, err=True)


def _ask_learn() -> Iterator[Words]:
    photos = _photos("Photo of the strip from a few steps back")
    if photos:
        yield ("strip", "learn", *photos)


def _ask_floor() -> Iterator[Words]:
    from finishlab.board import SURFACES

    photos = _photos("Photos of the floor, or their folder")
    if photos:
        surface = click.prompt("What the floor is", type=click.Choice(SURFACES), default=SURFACES[0], err=True)
        yield ("floor", "add", *photos, "--surface", surface)


def _ask_boards() -> Iterator[Words]:
    """Ask for one board after another: its photos, what it is, and whether the floor is in the photo too.

    Of a folder `board add` reads from names or a table what each photo shows, and asks for the rest itself.
    """
    wood = ""
    while photos := _photos("Photos of one board, or the folder with all of them"):
        wood = _text("Its wood", wood)
        words = ["board", "add", *photos, "--species", wood]
        folder = any(Path(photo).is_dir() for photo in photos)
        stain = "" if folder else _text("Stain (Enter for none)")
        if stain:
            words += ["--stain", stain, "--coats", str(click.prompt("Coats of it", type=int, default=1, err=True))]
        topcoat = _text("Topcoat and sheen (Enter for none, or where names or a table say it)")
        words += ["--topcoat", topcoat] if topcoat else []
        if not folder and click.confirm("Does the floor lie at the strip's floor edge in the photo", err=True):
            words.append("--with-floor")
        yield tuple(words)


_ASKED: Final[Mapping[str, Callable[[], Iterator[Words]]]] = {
    "print": _ask_print,
    "learn": _ask_learn,
    "floor": _ask_floor,
    "boards": _ask_boards,
}
"""Step -> what asks for it and gives the commands to run; none when it is left for later."""


def _text(question: str, default: str = "") -> str:
    said: str = click.prompt(question, default=default, show_default=bool(default), err=True)
    return said.strip()


def _photos(question: str) -> Words:
    """Ask for files, as a shell takes them; none when Enter is pressed."""
    text = _text(question)
    try:
        words = shlex.split(text, posix=os.name != "nt")
    except ValueError:  # a quote that is not closed: the whole line is a name
        words = [text]
    return tuple(str(Path(word).expanduser()) for word in words)


def _run(words: Sequence[str]) -> int:
    """Run a command line as it would be typed, and return its exit code."""
    from finishlab.cli.lazy import finishlab

    say(f"$ finishlab {shlex.join(words)}")
    return exit_code_of(lambda: finishlab.main(["--logbook", str(logbook_folder()), *words], standalone_mode=False))

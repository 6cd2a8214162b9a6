"""How much the log bears: commands killed at any moment, archives and databases altered, the usual commands after it.

``python tests/campaign.py --kills 500 --archives 500 --databases 500`` prints the figures that docs/reliability.md
quotes; tests/test_reliability.py does the same a few times. What is altered and when is drawn from a seed, so that a
round that fails can be run again.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import multiprocessing
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Final, NoReturn

from click.testing import CliRunner
from logbook_makers import DAY, keep, measurement, old_logbook, trial

from finishlab.board import BoardRecord, FloorSpotRecord, PhotoRecord
from finishlab.cli import finishlab
from finishlab.imaging.greys import greys_of_readings
from finishlab.logbook.archive import export_logbook
from finishlab.logbook.store import Logbook
from finishlab.logbook.stored import DirectPair
from finishlab.recipe import Can
from finishlab.stair.records import Flight, Part, PartEvent

READING: Final = (
    ("board", "list"),
    ("floor", "list"),
    ("recipe", "list"),
    ("can", "list"),
    ("standard",),
    ("stairs", "show"),
    ("stairs", "due"),
    ("rank",),
    ("history",),
    ("camera", "list"),
    ("trial", "show"),
    ("export", "out.zip"),
)
"""What must work whatever came in."""
CHANGING: Final = (("board", "edit", "B1", "--note", "after"), ("can", "edit", "C1", "--lot", "8"), ("undo",))
ODD: Final[tuple[Any, ...]] = (
    None,
    "",
    "x",
    "x" * 100_000,
    "\x1b[31mred",
    "2024-99-99",
    "9999-12-31",
    "../../etc/passwd",
    0,
    -1,
    1e308,
    9223372036854775807,
    10**30,
    0.5,
    True,
    [],
    {},
    [[1]],
    {"x": 1},
)
"""Values that stand where they should not."""


@dataclass
class Figures:
    """What came of the rounds of one kind."""

    rounds: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    """Rounds in which a promise was broken, by seed, with what happened."""

    def line(self, name: str) -> str:
        """Return them in one line."""
        told = ", ".join(f"{count} {what}" for what, count in sorted(self.outcomes.items()))
        return f"{name}: {self.rounds} rounds; {told}; {len(self.faults)} broke a promise"


def fill(folder: Path) -> Path:
    """Make a logbook that holds one of each; return its folder."""
    with Logbook.open(folder / "log", who="somebody") as log:
        both = measurement(keep(log, folder, "board.jpg"), "board", "floor")
        pair = DirectPair.of(both)
        assert pair is not None
        log.add_can(Can("oil stain", "walnut", date=DAY))
        log.add_board(BoardRecord("ash", stain="walnut", date=DAY), [both], [pair])
        log.add_board(BoardRecord("oak", stain="honey", date=DAY), [measurement(keep(log, folder, "b2.jpg"))])
        log.add_floor_spots(FloorSpotRecord("door", date=DAY), [[measurement(keep(log, folder, "f.jpg"), "floor")]])
        log.approve("B1")
        parts = [Part(1, "tread", place, recipe_number=1) for place in (1, 2)]
        log.add_flights({1: Flight(risers=3), 2: Flight("landing")}, parts)
        log.log_events([(1, PartEvent("sanded", DAY)), (1, PartEvent("coat", DAY, "stain", 1, None, 1))])
        seen = measurement(keep(log, folder, "tread.jpg"), strip=None)
        log.add_part_measurements([(1, [seen], PartEvent("measured", DAY))])
        log.learn_strip(greys_of_readings({7: [93.0]}, number=412))
        log.add_trials([trial()])
        log.edit_board("B2", note="hello")
        log.remove("B2")
        log.undo()
    return folder / "log"


HANG_S: Final = 10.0
"""Seconds of processor time after which a command counts as hung; others may use the machine meanwhile."""


@dataclass(frozen=True, slots=True)
class Ran:
    """How a command ended."""

    exit_code: int
    output: str
    stdout: str = ""
    stderr: str = ""


class _HungError(BaseException):
    """Not to be caught by what runs."""


def _hung(_signal: int, _frame: object) -> NoReturn:
    raise _HungError


def run(log: Path, *words: str) -> Ran:
    """Run a command in this process on a logbook; stop it when it takes too long."""
    env = {"FINISHLAB_LOGBOOK": str(log), "FINISHLAB_DEBUG": "", "COLUMNS": "100"}
    before = signal.signal(signal.SIGPROF, _hung)
    signal.setitimer(signal.ITIMER_PROF, HANG_S)
    try:
        result = CliRunner(env=env).invoke(finishlab, words)
    except _HungError:
        return Ran(-1, f"hung for more than {HANG_S} s of processor time")
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)
    return Ran(result.exit_code, result.output, result.stdout, result.stderr)


def said_badly(result: Ran) -> str | None:
    """Return what is wrong with how a command ended, whatever its answer is; None if nothing."""
    text = result.output
    if "Traceback" in text or "Something went wrong" in text or result.exit_code not in range(7):
        return " ".join(text[-300:].split())
    if "\x1b" in text or "\x07" in text:
        return "a control character reached the terminal"
    return None


def broken_commands(log: Path, commands: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """Yield what is wrong with commands that should work."""
    for words in commands:
        result = run(log, *(str(log.parent / word) if word == "out.zip" else word for word in words))
        if result.exit_code or said_badly(result):
            yield f"{' '.join(words)}: {said_badly(result) or ' '.join(result.output.split())[-300:]}"


# Archives


def places_in(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the way to every value in a JSON document."""
    for key, inner in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield (*at, key)
        yield from places_in(inner, (*at, key))


def alter(document: dict[str, Any], chance: random.Random) -> str:
    """Change one place of an archive's document; return what was done."""
    table = chance.choice(sorted(name for name, rows in document["tables"].items() if rows))
    rows = document["tables"][table]
    what = chance.choice(("value", "value", "value", "drop", "twice", "swap"))
    if what == "drop":
        rows.pop(chance.randrange(len(rows)))
        return f"{table}: a row dropped"
    if what == "twice":
        rows.append(dict(chance.choice(rows)))
        return f"{table}: a row twice"
    *way, last = chance.choice(list(places_in(rows)))
    inner: Any = rows
    for key in way:
        inner = inner[key]
    if what == "swap":
        way_there = chance.choice(list(places_in(rows)))
        other: Any = rows
        for key in way_there:
            other = other[key]
        inner[last] = json.loads(json.dumps(other))
        return f"{table}: {[*way, last]} = {list(way_there)}"
    inner[last] = chance.choice(ODD)
    return f"{table}: {[*way, last]} = {str(inner[last])[:40]!r}"


def altered(good: Path, into: Path, chance: random.Random) -> str:
    """Write an archive that differs from a good one in one place; return what was done."""
    with zipfile.ZipFile(good) as file:
        members = {name: file.read(name) for name in file.namelist()}
    if chance.random() < 0.15:
        into.write_bytes(good.read_bytes())
        return spoil(into, chance)
    document = json.loads(members["logbook.json"])
    done = alter(document, chance)
    members["logbook.json"] = json.dumps(document).encode()
    with zipfile.ZipFile(into, "w") as file:
        for name, content in members.items():
            file.writestr(name, content)
    return done


def spoil(path: Path, chance: random.Random) -> str:
    """Change some bytes of a file, or cut it."""
    content = bytearray(path.read_bytes())
    if chance.random() < 0.3:
        del content[chance.randrange(len(content)) :]
        done = f"cut at {len(content)}"
    else:
        places = [chance.randrange(len(content)) for _ in range(chance.randrange(1, 20))]
        for place in places:
            content[place] = chance.randrange(256)
        done = f"bytes at {places[:3]} ..."
    path.write_bytes(content)
    return done


def try_archives(rounds: int, folder: Path, seed: int = 1) -> Figures:
    """Import altered archives into a new logbook; what came in must leave every command at work."""
    good = folder / "good.zip"
    log = fill(folder)
    assert run(log, "export", str(good)).exit_code == 0
    plain = {text.split(":")[0] for text in broken_commands(log, READING)}
    figures = Figures(rounds)
    for number in range(seed, seed + rounds):
        place = folder / f"archive-{number}"
        place.mkdir()
        done = altered(good, place / "a.zip", random.Random(number))  # noqa: S311 - a draw, no secret
        result = run(place / "log", "import", str(place / "a.zip"))
        bad = said_badly(result)
        figures.outcomes["taken in" if result.exit_code == 0 else "refused"] += 1
        wrong = [f"import: {bad}"] if bad else []
        if result.exit_code == 0:
            wrong += [w for w in broken_commands(place / "log", (*READING, *CHANGING)) if w.split(":")[0] not in plain]
        elif result.exit_code not in {3, 6}:
            wrong.append(f"import: code {result.exit_code}")
        figures.faults += [f"archive {number} ({done}): {each}" for each in wrong]
        shutil.rmtree(place)
    return figures


# Databases


def try_databases(rounds: int, folder: Path, seed: int = 1) -> Figures:
    """Alter a logbook's database by its bytes or by its rows; every command answers or refuses in a sentence.

    Where single rows were altered, the lists go on; after ``check --repair`` every command works again. Of a database
    with damaged pages what can be read is saved as a logbook.
    """
    log = fill(folder)
    plain = {text.split(":")[0] for text in broken_commands(log, READING)}
    figures = Figures(rounds)
    for number in range(seed, seed + rounds):
        chance = random.Random(number)  # noqa: S311 - a draw, no secret
        place = folder / f"database-{number}"
        shutil.copytree(log, place / "log")
        of_rows = chance.random() < 0.6
        done = (
            _alter_row(place / "log" / "logbook.db", chance) if of_rows else spoil(place / "log" / "logbook.db", chance)
        )
        wrong = []
        for words in (*READING, ("check", "--sample", "0")):
            result = run(place / "log", *(str(place / word) if word == "out.zip" else word for word in words))
            bad = said_badly(result)
            figures.outcomes["answered" if result.exit_code == 0 else "refused in a sentence"] += 1
            wrong += [f"{' '.join(words)}: {bad}"] if bad else []
            if of_rows and result.exit_code and words[0] not in {"export", "check", "standard"}:
                wrong.append(f"{' '.join(words)}: {' '.join(result.output.split())[-200:]}")
        repaired = run(place / "log", "check", "--repair", "--sample", "0", "--json")
        wrong += [f"check --repair: {bad}"] if (bad := said_badly(repaired)) else []
        if of_rows:
            after = run(place / "log", "check", "--sample", "0")
            wrong += [f"check after repair: {after.output[-200:]}"] if after.exit_code else []
            wrong += [w for w in broken_commands(place / "log", READING) if w.split(":")[0] not in plain | {"standard"}]
        elif '"saved"' in repaired.stdout:
            figures.outcomes["saved what could be read of it"] += 1
            left = Path(json.loads(repaired.stdout)["saved"]["folder"])
            wrong += [f"of what was saved: {w}" for w in broken_commands(left, (("can", "list"), ("history",)))]
        figures.faults += [f"database {number} ({done}): {each}" for each in wrong if each.split(":")[0] not in plain]
        shutil.rmtree(place)
    return figures


def _alter_row(database: Path, chance: random.Random) -> str:
    """Put an odd value into one column of one row, as another program could."""
    with sqlite3.connect(database) as other:
        tables = [name for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        table = chance.choice([name for name in sorted(tables) if name not in {"alembic_version", "sqlite_sequence"}])
        keys = [key for (key,) in other.execute(f"SELECT rowid FROM {table}")]  # noqa: S608 - a table of ours
        columns = [row[1] for row in other.execute(f"PRAGMA table_info({table})") if not row[5]]
        if not keys or not columns:
            return f"{table}: nothing"
        column, value = (
            chance.choice(columns),
            chance.choice(("", "x", "{", "{}", "[]", "\x1b[31m", -1, 2**62, b"\xff", 0.5)),
        )
        place = (value, chance.choice(keys))
        try:
            other.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", place)  # noqa: S608 - a table of ours
        except sqlite3.IntegrityError:
            return f"{table}.{column}: refused by the database"
    other.close()
    return f"{table}.{column} = {value!r}"


# Kills

COMMANDS: Final = (
    ("floor", "add", "PHOTO", "--spot", "SPOT", "--confirm-floor", *("--grey", "0,0,20,20:50", "--area", "20,0,20,20")),
    ("board", "add", "PHOTO", "--species", "SPOT", *("--grey", "0,0,20,20:50", "--area", "20,0,20,20")),
    ("can", "add", "SPOT", "--kind", "oil stain"),
    ("board", "edit", "B1", "--note", "SPOT"),
    ("undo",),
    ("redo",),
    ("backup", "BACKUP"),
    ("import", "ARCHIVE"),
)
"""What is killed."""
OLDER: Final = ("0004", "0001", "0005", "0002", "0006", "0003")
"""The steps a logbook can be at that was left alone for years."""


def try_kills(rounds: int, folder: Path, seed: int = 1) -> Figures:
    """Kill the real command at a random moment of its work, over and over on one logbook; what it said stays.

    After each kill the logbook must be sound but for files the next write clears, and after the next write sound.
    """
    log = fill(folder)
    figures, chance = Figures(rounds), random.Random(seed)  # noqa: S311 - a draw, no secret
    acknowledged: set[str] = set()
    seen: set[str] = set()
    spans: dict[tuple[Sequence[str], bool], Watched] = {}
    for number in range(seed, seed + rounds):
        command, anew = chance.choice(COMMANDS), number % ANEW == 0
        if (command, anew) not in spans:
            shutil.copytree(log, folder / "tried", ignore_dangling_symlinks=True)
            words = words_of(command, folder, number, copy="tried-copy")
            spans[command, anew] = _watched(folder / "tried", words, anew=anew)
            for used in ("tried", "tried-copy"):
                shutil.rmtree(folder / used, ignore_errors=True)
        words = words_of(command, folder, number)
        aim = spans[command, anew].aim(chance)
        done = _watched(log, words, aim, anew=anew)
        figures.outcomes[_told(done, after=f"s{number}" in _known(log))] += 1
        ended, told = done.ended, done.told
        wrong = [] if ended in {None, 0, 1, 2, 3, 5, 6} else [f"code {ended}: {told[-200:]}"]
        wrong += [told[-200:]] if "Traceback" in told or "Something went wrong" in told else []
        if ended == 0 and (words[1:2] == ["add"] or words[0] == "import"):
            acknowledged.add(f"s{number}")
        wrong += _unsound(log, acknowledged)
        figures.faults += [
            f"kill {number} ({' '.join(words[:2])}, {aim}): {each}" for each in wrong if each not in seen
        ]
        seen.update(wrong)
    return figures


def _told(done: Watched, *, after: bool) -> str:
    if done.ended is not None:
        return f"ended with {done.ended}"
    if after:
        return "killed after its write"
    return "killed before it wrote" if done.wrote is None else "killed while it wrote"


def try_migrations(rounds: int, folder: Path, seed: int = 1) -> Figures:
    """Kill the first command on a logbook of each older step while it is brought up; the next one finds it whole."""
    steps = OLDER[:rounds]
    olds = {step: old_logbook(step, folder / step) for step in steps}
    figures, chance = Figures(rounds), random.Random(seed)  # noqa: S311 - a draw, no secret
    spans: dict[str, Watched] = {}
    for number in range(seed, seed + rounds):
        old, place = olds[steps[number % len(steps)]], folder / f"old-{number}"
        if old.name not in spans:
            shutil.copytree(old, place)
            spans[old.name] = _watched(place, ["board", "list"])
            shutil.rmtree(place)
        shutil.copytree(old, place)
        done = _watched(place, ["board", "list"], spans[old.name].aim(chance))
        at = "before" if _step(place) == old.name else "at today's step"
        figures.outcomes[f"killed {at}" if done.ended is None else f"ended with {done.ended}"] += 1
        result = run(place, "board", "list")
        wrong = [] if result.exit_code == 0 and "B2" in result.output else [result.output[-200:]]
        with Logbook.open(place) as opened:
            wrong += [each.what for each in opened.audit() if each.code != "photo-missing"]  # old ones are kept without
        figures.faults += [f"migration {number}: {each}" for each in wrong]
        shutil.rmtree(place)
    return figures


def _step(log: Path) -> str:
    """Return the step a database is at."""
    with sqlite3.connect(log / "logbook.db") as other:
        (step,) = other.execute("SELECT version_num FROM alembic_version").fetchone()
    other.close()
    return str(step).partition("_")[0]


def _photo(folder: Path, number: int) -> Path:
    """Return a new small PNG of two even fields, which is measured by hand."""
    import numpy as np

    from finishlab.photos import write_png

    path = folder / f"photo-{number}.png"
    pixels = np.full((20, 40, 3), 119, np.uint8)
    pixels[:, 20:] = (150, 100 + number % 50, 60 + number % 90)
    pixels += np.random.default_rng(number).integers(0, 3, pixels.shape, np.uint8)
    write_png(path, pixels)
    return path


ANEW: Final = 8
"""One command of so many is started as a user starts it, the others from a process that has loaded the program."""


@dataclass(frozen=True, slots=True)
class Watched:
    """How a command went: when it wrote first and when it ended, s after its start; None for what it did not."""

    ended: int | None
    told: str
    wrote: float | None
    took: float

    def aim(self, chance: random.Random) -> Aim:
        """Return a moment to kill it at: most of them soon after its first write."""
        if self.wrote is not None and chance.random() < 0.7:
            return Aim(chance.random() ** 2 * (self.took - self.wrote), after_write=True)
        return Aim(chance.uniform(0.05, 1.1) * self.took)


@dataclass(frozen=True, slots=True)
class Aim:
    """When to kill: s after the start, or after the first write."""

    seconds: float
    after_write: bool = False


def _signs(log: Path) -> set[tuple[str, int, int]]:
    """Return what a command on the logbook changes first: journal, database, photos on their way, a backup begun."""
    signs = set()
    copy = log.with_name("copy" if log.name == "log" else f"{log.name}-copy")
    for place in (log, log / "photos" / ".incoming", copy, copy / "photos" / ".incoming"):
        try:
            signs |= {(e.path, e.stat().st_size, e.stat().st_mtime_ns) for e in os.scandir(place) if e.is_file()}
        except OSError:
            continue  # not there, or gone while it was looked at
    return {sign for sign in signs if not sign[0].endswith("-shm") and (sign[1] or not sign[0].endswith("-wal"))}


def _watched(log: Path, words: Sequence[str], aim: Aim | None = None, *, anew: bool = False) -> Watched:
    """Run the real command in a process of its own, and kill it at a moment if one is given."""
    said = log.with_name("said.txt")
    signs, wrote, killed = _signs(log), None, False
    running = _begun(log, words, said, anew=anew)
    start = time.monotonic()
    while running.poll() is None:
        now = time.monotonic() - start
        if wrote is None and _signs(log) != signs:
            wrote = now
        since = now if aim is None or not aim.after_write else None if wrote is None else now - wrote
        if aim is not None and since is not None and since >= aim.seconds and not killed:
            running.kill()
            killed = True
        time.sleep(0.0002)
    ended = running.poll()
    told = said.read_text(encoding="utf-8", errors="replace") if said.exists() else ""
    return Watched(None if ended == -signal.SIGKILL else ended, told, wrote, time.monotonic() - start)


def _begun(log: Path, words: Sequence[str], said: Path, *, anew: bool) -> subprocess.Popen[bytes] | Forked:
    env = {"FINISHLAB_LOGBOOK": str(log), "FINISHLAB_DEBUG": "", "OPENBLAS_NUM_THREADS": "1"}
    if not anew:
        return Forked(list(words), env, str(said))
    with said.open("wb") as out:
        command = [sys.executable, "-m", "finishlab.cli", *words]
        return subprocess.Popen(command, env=os.environ | env, stdout=out, stderr=subprocess.STDOUT)


class Forked:
    """A command in a process of its own, forked from one that has run commands already: it begins with its work."""

    _server: Connection | None = None

    def __init__(self, words: list[str], env: dict[str, str], said: str) -> None:
        if Forked._server is None:
            spawn = multiprocessing.get_context("spawn")
            Forked._server, theirs = spawn.Pipe()
            spawn.Process(target=_serve, args=(theirs,), daemon=True).start()
        self._pipe = Forked._server
        self._pipe.send((words, env, said))
        self._pid: int = self._pipe.recv()
        self._code: int | None = None

    def poll(self) -> int | None:
        """Return the exit code, None while it runs; minus the signal's number where one ended it."""
        if self._code is None and self._pipe.poll():
            self._code = self._pipe.recv()
        return self._code

    def kill(self) -> None:
        """Kill it, unless it has just ended."""
        with suppress(ProcessLookupError):
            os.kill(self._pid, signal.SIGKILL)


def _serve(pipe: Connection) -> None:
    """Load what commands need, then fork a process for each command that comes."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        for number, command in enumerate(COMMANDS):
            run(folder / "log", *words_of(command, folder, number))
    while True:
        try:
            words, env, said = pipe.recv()
        except EOFError:
            return
        pid = os.fork()
        if pid == 0:
            _command(words, env, said)
        pipe.send(pid)
        pipe.send(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]))


def _command(words: list[str], env: dict[str, str], said: str) -> NoReturn:
    """Run a command and end this process with its code."""
    from finishlab.cli import main

    os.environ.update(env)
    out = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    for stream in (1, 2):
        os.dup2(out, stream)
    sys.argv = ["finishlab", *words]
    code = 1
    try:
        main()
    except SystemExit as end:
        code = int(end.code or 0)
    finally:
        sys.stdout.flush()
        os._exit(code)


def words_of(command: Sequence[str], folder: Path, number: int, copy: str = "copy") -> list[str]:
    """Return the words of one of `COMMANDS`, with a new photo and name, and an archive that holds them."""
    made = {
        "PHOTO": lambda: str(_photo(folder, number)),
        "ARCHIVE": lambda: str(_archive(folder, number)),
        "BACKUP": lambda: str(folder / copy),
        "SPOT": lambda: f"s{number}",
    }
    return [made.get(word, lambda word=word: word)() for word in command]


def _archive(folder: Path, number: int) -> Path:
    """Return an archive of a board with a photo that no logbook holds yet."""
    path = folder / f"sent-{number}.zip"
    path.unlink(missing_ok=True)
    with Logbook.open(folder / f"sender-{number}", who="another") as log:
        photo = _photo(folder, 10_000 + number)
        sha256 = hashlib.sha256(photo.read_bytes()).hexdigest()
        record = PhotoRecord(sha256, photo.name, 40, 20, suffix=".png")
        log.keep_photo(photo, record)
        log.add_board(BoardRecord(f"s{number}"), [measurement(record)])
        export_logbook(log, path)
    shutil.rmtree(folder / f"sender-{number}")
    return path


def _known(log: Path) -> set[str]:
    """Return what the history says was logged, by the names the rounds gave."""
    with Logbook.open(log) as opened:
        return {str(v) for change in opened.history() for v in (change.after or {}).values() if isinstance(v, str)}


def _unsound(log: Path, acknowledged: set[str]) -> Iterator[str]:
    """Yield what is wrong with a logbook after a kill, and after the next write."""
    known = _known(log)
    with Logbook.open(log) as opened:
        yield from (f"{name} was acknowledged and is not there" for name in sorted(acknowledged - known))
        yield from (each.what for each in opened.audit() if each.code != "stray-file")
        opened.edit_can("C1", lot=str(time.time()))
        yield from (f"after the next write: {each.what}" for each in opened.audit())
    left = list((log / "photos" / ".incoming").glob("*"))
    yield from (f"left over: {path.name[:40]}" for path in left)


def main() -> None:
    """Run what is asked for, and print the figures."""
    asked = argparse.ArgumentParser(description=__doc__)
    tries: dict[str, Callable[[int, Path, int], Figures]] = {
        "kills": try_kills,
        "migrations": try_migrations,
        "archives": try_archives,
        "databases": try_databases,
    }
    for name in tries:
        asked.add_argument(f"--{name}", type=int, default=0, metavar="ROUNDS")
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    for name, attempt in tries.items():
        if rounds := getattr(given, name):
            with tempfile.TemporaryDirectory() as scratch:
                found = attempt(rounds, Path(scratch), given.seed)
            sys.stdout.write("\n".join([found.line(name), *found.faults, ""]))
            sys.stdout.flush()


if __name__ == "__main__":
    main()

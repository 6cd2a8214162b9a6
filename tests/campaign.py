"""How much the log bears: commands killed at any moment, archives and databases altered, the usual commands after it.

``python tests/campaign.py --kills 500 --archives 500 --databases 500`` prints the figures that docs/reliability.md
quotes; tests/test_reliability.py does the same a few times. What is altered and when is drawn from a seed, so that a
round that fails can be run again.
"""

from __future__ import annotations

import argparse
import json
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
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from click.testing import CliRunner, Result
from logbook_makers import DAY, keep, measurement, take_back, trial

from finishlab.board import BoardRecord, FloorSpotRecord
from finishlab.cli import finishlab
from finishlab.imaging.greys import greys_of_readings
from finishlab.logbook import DirectPair, Logbook
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
        log.add_floor_spot(FloorSpotRecord("door", date=DAY), [measurement(keep(log, folder, "f.jpg"), "floor")])
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


def run(log: Path, *words: str) -> Result:
    """Run a command in this process on a logbook."""
    env = {"FINISHLAB_LOGBOOK": str(log), "FINISHLAB_DEBUG": "", "COLUMNS": "100"}
    return CliRunner(env=env).invoke(finishlab, words)


def said_badly(result: Result) -> str | None:
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

    Where single rows were altered, the lists go on; after ``check --repair`` every command works again.
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
        if of_rows:
            run(place / "log", "check", "--repair", "--sample", "0")
            after = run(place / "log", "check", "--sample", "0")
            wrong += [f"check after repair: {after.output[-200:]}"] if after.exit_code else []
            wrong += [w for w in broken_commands(place / "log", READING) if w.split(":")[0] not in plain | {"standard"}]
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
"""What is killed; of an old logbook, which is brought up to date first, the first command is."""


def try_kills(rounds: int, folder: Path, seed: int = 1) -> Figures:
    """Kill the real command at a random moment, over and over on one logbook; what it acknowledged must be there.

    After each kill the logbook must be sound but for files the next write clears, and after the next write sound.
    """
    log = fill(folder)
    archive = folder / "sent.zip"
    assert run(log, "export", str(archive)).exit_code == 0
    figures, chance = Figures(rounds), random.Random(seed)  # noqa: S311 - a draw, no secret
    begun = time.monotonic()
    assert _killed(log, ["can", "add", "first", "--kind", "oil stain"], 100.0)[0] == 0
    whole = time.monotonic() - begun
    acknowledged: set[str] = set()
    for number in range(seed, seed + rounds):
        words = words_of(chance.choice(COMMANDS), folder, number)
        ended, told = _killed(log, words, chance.uniform(0.3, 2.5) * whole)
        killed = "killed after its write" if f"s{number}" in _known(log) else "killed"
        figures.outcomes[killed if ended is None else f"ended with {ended}"] += 1
        wrong = [] if ended in {None, 0, 1, 2, 3, 5, 6} else [f"code {ended}: {told[-200:]}"]
        wrong += [told[-200:]] if "Traceback" in told or "Something went wrong" in told else []
        if ended == 0 and words[1:2] == ["add"]:
            acknowledged.add(f"s{number}")
        wrong += _unsound(log, acknowledged)
        figures.faults += [f"kill {number} ({' '.join(words[:2])}): {each}" for each in wrong]
    return figures


def try_migrations(rounds: int, folder: Path, seed: int = 1) -> Figures:
    """Kill the first command on an older logbook while it is brought up to date; the next one finds it whole."""
    log = fill(folder)
    take_back(log / "logbook.db", "0004_camera_profiles")
    for beside in log.glob("logbook.db-*"):
        beside.unlink()
    figures, chance = Figures(rounds), random.Random(seed)  # noqa: S311 - a draw, no secret
    begun = time.monotonic()
    shutil.copytree(log, folder / "first")
    assert _killed(folder / "first", ["board", "list"], 100.0)[0] == 0
    whole = time.monotonic() - begun
    for number in range(seed, seed + rounds):
        place = folder / f"old-{number}"
        shutil.copytree(log, place)
        ended, _ = _killed(place, ["board", "list"], chance.uniform(0.3, 1.1) * whole)
        step = _step(place)
        figures.outcomes[f"killed at {step}" if ended is None else f"ended with {ended}"] += 1
        result = run(place, "board", "list")
        wrong = [] if result.exit_code == 0 and "B2" in result.output else [result.output[-200:]]
        with Logbook.open(place) as opened:
            wrong += [each.what for each in opened.audit()]
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


def _killed(log: Path, words: Sequence[str], after: float) -> tuple[int | None, str]:
    """Run the real command and kill it after some seconds; return its exit code (None if killed) and words."""
    env = os.environ | {"FINISHLAB_LOGBOOK": str(log), "FINISHLAB_DEBUG": ""}
    command = [sys.executable, "-m", "finishlab.cli", *words]
    with subprocess.Popen(command, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as running:
        try:
            told = running.communicate(timeout=after)[0]
        except subprocess.TimeoutExpired:
            running.send_signal(signal.SIGKILL)
            told = running.communicate()[0]
    return (None if running.returncode == -signal.SIGKILL else running.returncode), told


def words_of(command: Sequence[str], folder: Path, number: int) -> list[str]:
    """Return the words of one of `COMMANDS`, with a new photo and name; ``sent.zip`` in the folder is the archive."""
    files = {"BACKUP": folder / "copy", "ARCHIVE": folder / "sent.zip"}
    named = {name: str(path) for name, path in files.items()} | {"SPOT": f"s{number}"}
    return [str(_photo(folder, number)) if word == "PHOTO" else named.get(word, word) for word in command]


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

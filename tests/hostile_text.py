"""Files of text as nobody means them: boards and recipes in TOML and CSV, plans in TOML, changed and given to commands.

``python tests/hostile_text.py --cases 5000`` tries that many and prints the figures for docs/reliability.md. Each case
follows from its number alone. A refusal must be a sentence with the code for it and leave the logbook byte for byte;
what is taken in must leave the logbook sound, its lists at work, and be taken back by undo.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Final

from campaign import broken_commands, fill, run, said_badly

from finishlab.logbook.store import Logbook

__all__ = ["KINDS", "hostile", "tried"]

BOARD: Final = """species = "ash"
stain = "walnut"
coats = 2
topcoat = "oil polyurethane"
light = "daylight"
note = '''two
lines'''
date = 2024-05-31

[preparation]
cut = "plain"
size_mm = [300, 150, 19]
moisture_percent = 8.5
grits = [80, 120, 150]
grain_raised = true
conditioner_dwell_min = "5 min"

[[steps]]
kind = "oil"
colour = "walnut"
mix = "2 honey + 1 walnut"
thinner_percent = 10
wipe_min = 5
next_h = 24

[[steps]]
kind = "gel"
colour = "black"
coat = 2
air_c = "70F"

[topcoat_coat]
kind = "hardwax oil"
sheen = "satin"
hardener_ratio = "10:1"
"""
TABLE: Final = """species,stain,coats,topcoat,date,note,preparation.grits,steps.1.kind,steps.1.colour,finish.seal
ash,walnut,2,oil polyurethane,2024-05-31,by the door,80-120-150,oil,walnut,shellac; coats=1
oak,honey,1,,2024-06-01,"a, b",,water,,
ash,,,,,,,,,
"""
KINDS: Final[dict[str, tuple[str, tuple[tuple[str, ...], ...]]]] = {
    "board.toml": (
        BOARD.replace("[topcoat_coat]", "[finish.topcoat]"),
        (("board", "edit", "B2", "--from", "FILE"), ("board", "edit", "B1", "--from", "FILE", "--clear", "topcoat")),
    ),
    "boards.csv": (TABLE, (("board", "import", "FILE"), ("board", "edit", "B2", "--from", "FILE", "--row", "1"))),
    "stair.toml": (
        (resources.files("finishlab.plan") / "example.toml").read_text(encoding="utf-8"),
        tuple(("plan", what, "--from", "FILE") for what in ("quantities", "cutting", "calendar")),
    ),
}
"""A file's name -> what it holds when it is well, the commands that read it."""
ODD: Final = (
    *("", " ", "0", "-1", "0.5", "1e999", "-1e308", "nan", "inf", "9" * 400, "1_000", "0x7fffffffffffffff", "10" * 12),
    *(
        "true",
        "[]",
        "{}",
        "[[1]]",
        "[1, 2, 3, 4]",
        '{ a = "b" }',
        "[" * 3000,
        "{a=" * 300,
        '"' * 3,
        "'''",
        "#",
        "=",
        ",",
    ),
    *("0001-01-01", "9999-12-31", "2024-02-30", "2024-05-31T25:00:00Z", "07:32:00", "1979-05-27T00:32:00.999-07:00"),
    *(
        '"x"',
        '"\\ud800"',
        '"\\u0000"',
        '"\\u001b[31mred"',
        '"\\u202eevil"',
        "\x1b]0;x\x07",
        "\0",
        "\ufeff",
        "\r",
        "é" * 300,
    ),
    *(
        '"=1+1"',
        "=HYPERLINK(1)",
        '"../../etc/passwd"',
        '"1/0in"',
        '"1e308mi"',
        '"-3in"',
        '"1 1/16"',
        '"½in"',
        '"٣in"',
        '"5 min"',
    ),
    *(
        '"x"' + "*" * 5000,
        f'"{"x" * 100_000}"',
        "steps.99999999999999999999.kind",
        "a.b.c.d",
        "finish.finish",
        '"B1"',
        '"R99"',
    ),
)
"""What stands where something else should."""
_VALUE: Final = re.compile(r"(?<==)[^\n#]+|\"[^\"\n]*\"|[\w.]+")


def hostile(number: int) -> tuple[str, tuple[str, ...], bytes]:
    """Return a case: the file's name, the command that reads it, and the file."""
    chance = random.Random(number)  # noqa: S311 - a draw, no secret
    name = chance.choice(list(KINDS))
    text, commands = KINDS[name]
    for _ in range(chance.choice((1, 1, 2, 3))):
        text = _changed(text, chance, "," if name.endswith(".csv") else None)
    data = bytearray(text.encode("utf-8", "surrogatepass"))
    if chance.random() < 0.15:
        for _ in range(chance.randrange(1, 4)):
            at = chance.randrange(len(data) + 1)
            data[at:at] = bytes(chance.randrange(256) for _ in range(chance.randrange(1, 4)))
    return name, chance.choice(commands), bytes(data)


def _changed(text: str, chance: random.Random, delimiter: str | None) -> str:
    """Change a text in one way: a value, a line, a word or a cell."""
    lines = text.split("\n")
    at, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    way = chance.choice(("value", "value", "value", "value", "drop", "twice", "swap", "cut", "cell"))
    if way == "value" and (found := list(_VALUE.finditer(text))):
        place = chance.choice(found)
        return text[: place.start()] + chance.choice(ODD) + text[place.end() :]
    if way == "drop":
        del lines[at]
    elif way == "twice":
        lines.insert(other, lines[at])
    elif way == "swap":
        lines[at], lines[other] = lines[other], lines[at]
    elif way == "cut":
        return text[: chance.randrange(len(text) + 1)]
    elif way == "cell" and delimiter:
        cells = lines[at].split(delimiter)
        cells.insert(chance.randrange(len(cells) + 1), chance.choice(ODD))
        lines[at] = delimiter.join(cells)
    return "\n".join(lines)


def tried(number: int, log: Path) -> tuple[str, list[str]]:
    """Give one case to its command; return ``taken in`` or ``refused``, and what is wrong with how it went."""
    name, words, data = hostile(number)
    file = log.with_name(name)
    file.write_bytes(data)
    before = (log / "logbook.db").read_bytes()
    result = run(log, *(str(file) if word == "FILE" else word for word in words))
    bad = said_badly(result)
    wrong = [f"{bad}"] if bad else []
    if result.exit_code:
        if result.exit_code != 2:
            wrong.append(f"code {result.exit_code}: {result.output[-200:]}")
        if not result.stderr.startswith("Error: "):
            wrong.append(f"no sentence: {result.output[-200:]}")
        if (log / "logbook.db").read_bytes() != before:
            wrong.append("refused, and the logbook is another")
        return "refused", wrong
    return "taken in", wrong + (list(_after(log)) if words[0] != "plan" else [])


def _after(log: Path) -> Iterator[str]:
    """Yield what is wrong after something was taken in; it is taken back by then."""
    yield from broken_commands(log, (("board", "list"), ("recipe", "list"), ("history",), ("rank",)))
    with Logbook.open(log) as opened:
        yield from (each.what for each in opened.audit())
    yield from broken_commands(log, (("undo",),))


def main() -> int:
    """Run the campaign; the exit code is 1 if a promise was broken."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=5000)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    counts: Counter[str] = Counter()
    broken = 0
    with tempfile.TemporaryDirectory() as folder:
        log = fill(Path(folder))
        for number in range(options.first, options.first + options.cases):
            what, wrong = tried(number, log)
            counts[f"{hostile(number)[0]} {what}"] += 1
            broken += bool(wrong)
            for each in wrong:
                sys.stdout.write(f"{number} ({' '.join(hostile(number)[1])}): {each[:400]}\n")
                sys.stdout.flush()
    told = ", ".join(f"{count} {what}" for what, count in sorted(counts.items()))
    sys.stdout.write(f"{options.cases} cases: {told}; {broken} broke a promise\n")
    return int(broken > 0)


if __name__ == "__main__":
    raise SystemExit(main())

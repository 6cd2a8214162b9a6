"""Logbooks as every released step of the tables left them: they open with every figure unchanged."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import pytest
from campaign import READING, broken_commands, run
from logbook_makers import OLD_LOGBOOKS, old_logbook

from finishlab.logbook.migrations import HEAD
from finishlab.logbook.store import Logbook

STEPS: Final = tuple(sorted(path.name[:4] for path in OLD_LOGBOOKS.glob("*.sql.gz")))
ANSWERS: Final[dict[str, Any]] = json.loads((OLD_LOGBOOKS / "answers.json").read_text(encoding="utf-8"))
pytestmark = pytest.mark.usefixtures("real_migrations")


def rows(log: Path) -> dict[str, dict[Any, dict[str, Any]]]:
    """Return all that a database holds: table -> key -> column -> value, JSON read."""
    found: dict[str, dict[Any, dict[str, Any]]] = {}
    with closing(sqlite3.connect(log / "logbook.db")) as database:
        database.row_factory = sqlite3.Row
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
            table = database.execute(f"SELECT * FROM {name}").fetchall()  # noqa: S608 - a table of ours
            found[name] = {row[0]: {key: plain(row[key]) for key in row.keys()} for row in table}  # noqa: SIM118 - a row
    return found


def plain(value: Any) -> Any:
    """Return a value, one in JSON read."""
    return json.loads(value) if isinstance(value, str) and value[:1] in ("{", "[") else value


def test_every_step_is_there() -> None:
    """Each step of the tables that a program was released with has its logbook, the last one too."""
    versions = Path(__file__).parent.parent / "finishlab" / "logbook" / "migrations" / "versions"
    assert sorted(path.name[:4] for path in versions.glob("0*.py")) == list(STEPS) == sorted(ANSWERS)


@pytest.mark.parametrize("step", STEPS)
def test_every_value_is_what_it_was(step: str, tmp_path: Path) -> None:
    """Each value of each row that the older program wrote stands there unchanged after today's has opened it."""
    log = old_logbook(step, tmp_path / "log")
    before = rows(log)
    assert before.pop("alembic_version").keys() != {HEAD} or step == HEAD[:4]
    Logbook.open(log).close()
    after = rows(log)
    changed = []
    for table, old in before.items():
        for key, row in old.items():
            now = after[table].get(key, {})
            changed += [
                f"{table} {key} {name}: {value!r} -> {now.get(name, 'gone')!r}"
                for name, value in row.items()
                if now.get(name, "gone") != value
            ]
    assert changed == []


@pytest.mark.parametrize("step", STEPS)
def test_every_answer_is_what_it_was(step: str, tmp_path: Path) -> None:
    """Colours and their errors, records, parts, recipes and cans are told as that program told them."""
    log, told = old_logbook(step, tmp_path / "log"), ANSWERS[step]

    def ask(*words: str) -> Any:
        return json.loads(run(log, *words, "--json").stdout)

    for each in ask("board", "list")["boards"]:
        old = told["boards"].pop(each["board"])
        assert each["lab"] == old["lab"]
        assert [m["standard_error"] for m in each["measurements"]] == old["standard_error"]
        assert each["record"].items() >= old["record"].items()
    for each in ask("floor", "list")["spots"]:
        old = told["floor"].pop(each["spot"])
        assert (each["lab"], [m["standard_error"] for m in each["measurements"]]) == (old["lab"], old["standard_error"])
    for each in [part for flight in ask("stairs", "show")["flights"] for part in flight["parts"]]:
        old = told["parts"].pop(each["part"])
        assert {"state": each["state"], "coats": each["coats"], "sizes": each["record"]["sizes"]} == old
    for each in ask("recipe", "list")["recipes"]:
        assert each["record"]["finish"] == told["recipes"].pop(each["recipe"])
    for each in ask("can", "list")["cans"]:
        assert each["record"].items() >= told["cans"].pop(each["can"]).items()
    assert not any(told.values()), "the older program told of more"


@pytest.mark.parametrize("step", STEPS)
def test_every_command_works_on_it(step: str, tmp_path: Path) -> None:
    """Lists, ranking, stair, history, check and export take it, and it goes on: a change is logged and taken back."""
    log = old_logbook(step, tmp_path / "log")
    known = () if int(step) > 2 else (("standard",), ("stairs", "show"), ("stairs", "due"))
    asked = [words for words in READING if words not in known]
    assert list(broken_commands(log, [*asked, ("board", "edit", "B1", "--note", "after"), ("undo",)])) == []
    with Logbook.open(log) as opened:
        assert {each.code for each in opened.audit()} == {"photo-missing"}

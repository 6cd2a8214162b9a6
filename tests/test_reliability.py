"""What docs/reliability.md promises, by command: kills, altered archives and databases, full disks, check, backup."""

from __future__ import annotations

import json
import os
import resource
import shutil
import sqlite3
import struct
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import campaign
import pytest
from logbook_makers import make_photo

from finishlab.logbook.photo_files import kept_files, photo_place
from finishlab.logbook.store import Logbook


@pytest.fixture(scope="module")
def filled_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `filled` copies: a logbook ``log`` and an archive of it, ``good.zip``."""
    folder = tmp_path_factory.mktemp("filled")
    assert campaign.run(campaign.fill(folder), "export", str(folder / "good.zip")).exit_code == 0
    return folder


@pytest.fixture
def filled(filled_once: Path, tmp_path: Path) -> Path:
    """A logbook that holds one of each."""
    shutil.copytree(filled_once, tmp_path, dirs_exist_ok=True)
    return tmp_path / "log"


def sql(log: Path, *statements: str) -> None:
    """Change a logbook's database as another program would."""
    with sqlite3.connect(log / "logbook.db") as other:
        for each in statements:
            other.execute(each)
    other.close()


# The campaign, a few rounds of it


def test_what_is_killed_ends_well_when_it_is_let_be(filled: Path, tmp_path: Path) -> None:
    """Each command that the campaign kills does its work: else the kills would say nothing."""
    for number, command in enumerate(campaign.COMMANDS):
        result = campaign.run(filled, *campaign.words_of(command, tmp_path, number))
        assert (result.exit_code, campaign.said_badly(result)) == (0, None), result.output


def test_killed_at_any_moment(tmp_path: Path) -> None:
    """Killed commands lose nothing that was acknowledged, leave a sound logbook, and the next write clears up."""
    assert campaign.try_kills(50, tmp_path).faults == []


@pytest.mark.usefixtures("real_migrations")
def test_killed_while_brought_up_to_date(tmp_path: Path) -> None:
    """An older logbook, killed on its way to today's tables, is at one step or the other, and whole."""
    assert campaign.try_migrations(2, tmp_path).faults == []


def test_altered_archives(tmp_path: Path) -> None:
    """An altered archive is refused in a sentence, or what came in leaves every command at work."""
    assert campaign.try_archives(10, tmp_path).faults == []


def test_altered_databases(tmp_path: Path) -> None:
    """On an altered database each command answers or refuses in a sentence; after a repair all of them work."""
    assert campaign.try_databases(3, tmp_path).faults == []


# Archives


def rewritten(good: Path, into: Path, change: Callable[[dict[str, bytes]], None], packing: int = 0) -> Path:
    """Write an archive anew with its members changed."""
    with zipfile.ZipFile(good) as file:
        members = {name: file.read(name) for name in file.namelist()}
    change(members)
    with zipfile.ZipFile(into, "w", packing) as file:
        for name, content in members.items():
            file.writestr(name, content)
    return into


def in_tables(change: Callable[[dict[str, list[dict[str, object]]]], None]) -> Callable[[dict[str, bytes]], None]:
    """Return what changes the tables of an archive's members."""

    def changed(members: dict[str, bytes]) -> None:
        document = json.loads(members["logbook.json"])
        change(document["tables"])
        members["logbook.json"] = json.dumps(document).encode()

    return changed


HOSTILE: dict[str, Callable[[dict[str, bytes]], None]] = {
    "a long note": in_tables(lambda t: t["recipes"][0].update(note="x" * 100_000)),
    "a place beyond any": in_tables(lambda t: t["parts"][0].update(place=2**63 - 1)),
    "a number beyond 64 bits": in_tables(lambda t: t["boards"][0].update(number=10**30)),
    "a pair outside its interval": in_tables(lambda t: t["pairs"][0].update(de00_value=99.0)),
    "a colour that is none": in_tables(lambda t: t["measurements"][0].update(result={"x": 1})),
    "a name that is none": in_tables(lambda t: t["boards"][0].update(uuid="x")),
    "a photo outside": in_tables(lambda t: t["photos"][0].update(sha256="../../../../etc/passwd")),
    "half a letter": in_tables(lambda t: t["boards"][0].update(species="\ud800")),
    "one row twice": in_tables(lambda t: t["boards"].append(dict(t["boards"][0]))),
    "no number": lambda m: m.update({"logbook.json": m["logbook.json"].replace(b"50.0", b"NaN", 1)}),
    "no end": lambda m: m.update({"logbook.json": m["logbook.json"].replace(b"50.0", b"1e999", 1)}),
    "nesting": lambda m: m.update({"logbook.json": b"[" * 200_000}),
    "digits without end": lambda m: m.update({"logbook.json": b'{"a": ' + b"9" * 100_000 + b"}"}),
    "no tables": lambda m: m.update({"logbook.json": b'{"format": "finishlab/logbook/1", "tables": 3}'}),
}
"""What is wrong with an archive -> what makes it so."""


def refused(result: campaign.Ran) -> None:
    """See that an import ended in one sentence and code 6."""
    assert (result.exit_code, campaign.said_badly(result)) == (6, None), result.output
    assert result.output.startswith("Error: ")


@pytest.mark.parametrize("fault", HOSTILE)
def test_what_no_command_may_log_no_archive_brings(filled: Path, tmp_path: Path, fault: str) -> None:
    """An archive with one impossible entry is refused whole, and the logbook stays as it was."""
    bad = rewritten(tmp_path / "good.zip", tmp_path / "bad.zip", HOSTILE[fault])
    before = campaign.run(filled, "board", "list", "--json").output
    refused(campaign.run(filled, "import", str(bad)))
    assert campaign.run(filled, "board", "list", "--json").output == before


@pytest.mark.parametrize("packing", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_an_archive_packed_otherwise_is_refused(filled: Path, tmp_path: Path, packing: int) -> None:
    """Only what finishlab packs is unpacked: other ways of packing hide bombs, or need what is not installed."""
    refused(
        campaign.run(
            filled, "import", str(rewritten(tmp_path / "good.zip", tmp_path / "b.zip", lambda _: None, packing))
        )
    )


@pytest.mark.usefixtures("filled")
def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    """A photo that is packed a hundred times smaller, and a text that says it has gigabytes, are not read."""
    with zipfile.ZipFile(tmp_path / "good.zip") as file:
        row = json.loads(file.read("logbook.json"))["tables"]["photos"][0]
    photo = {f"photos/{row['sha256']}{row['suffix']}": b"\0" * 40_000_000}
    bomb = rewritten(tmp_path / "good.zip", tmp_path / "bomb.zip", lambda m: m.update(photo), zipfile.ZIP_DEFLATED)
    refused(campaign.run(tmp_path / "new", "import", str(bomb)))
    assert list(kept_files(tmp_path / "new")) == []
    lying = (tmp_path / "good.zip").read_bytes()
    place = lying.rindex(b"logbook.json") - 46 + 24  # of the size in the central directory
    (tmp_path / "lying.zip").write_bytes(lying[:place] + struct.pack("<L", 1_900_000_000) + lying[place + 4 :])
    refused(campaign.run(tmp_path / "new", "import", str(tmp_path / "lying.zip")))


def test_what_has_no_end_is_no_archive(filled: Path, tmp_path: Path) -> None:
    """A device, a named pipe and a loop of links are refused at once."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to("loop")
    for path in ("/dev/zero", str(tmp_path / "pipe"), str(tmp_path / "loop")):
        refused(campaign.run(filled, "import", path))


# One bad row


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE boards SET date = '2024-99-99' WHERE number = 2",
        "UPDATE boards SET created = 'x' WHERE number = 2",
        "UPDATE measurements SET result = '{' WHERE board_number = 2",
        "UPDATE measurements SET settings = -1 WHERE board_number = 2",
        "UPDATE measurements SET settings = '{\"print\": 3}' WHERE board_number = 2",
        "UPDATE pairs SET de00_low = 99",
        "UPDATE trials SET measured = '{}'",
        "UPDATE recipes SET note = printf('%.5000c', 'x')",
        "UPDATE parts SET place = 0 WHERE id = 1",
        "UPDATE part_events SET coat = '{' WHERE kind = 'coat'",
        "UPDATE changes SET who = CAST(x'1b5b33316dff' AS TEXT) WHERE id = 3",
        "UPDATE changes SET after = '{' WHERE id = 3",
        "UPDATE photos SET taken = 'never', file_name = CAST(x'1b5b336d' AS TEXT)",
    ],
)
def test_one_bad_row_takes_nothing_else_along(filled: Path, statement: str) -> None:
    """Lists, ranking, stair and history go on without it; check finds it, and moves it aside by --repair."""
    sql(filled, statement)
    for words in (("board", "list"), ("floor", "list"), ("rank",), ("stairs", "show"), ("can", "list"), ("history",)):
        result = campaign.run(filled, *words)
        assert (result.exit_code, campaign.said_badly(result)) == (0, None), result.output
    done = campaign.run(filled, "check", "--sample", "0", "--json")
    assert done.exit_code == 6
    assert json.loads(done.stdout)["findings"]
    assert campaign.run(filled, "check", "--repair", "--sample", "0").exit_code == 0
    assert list((filled / "aside").glob("*/entries.json"))
    assert campaign.run(filled, "check", "--sample", "0").exit_code == 0
    assert campaign.run(filled, "export", str(filled.parent / "after.zip")).exit_code == 0


def test_check_finds_photos_and_moves_strange_files_aside(filled: Path) -> None:
    """A changed, a lost and a strange file are named; repair moves what is wrong aside and deletes nothing."""
    first, second, third, _ = kept_files(filled)
    first.write_bytes(b"changed")
    second.unlink()
    stray = third.with_name(f"{third.name[:2]}{'0' * 62}.jpg")
    stray.write_bytes(b"stray")
    found = json.loads(campaign.run(filled, "check", "--json", "--sample", "0").stdout)["findings"]
    assert sorted(each["code"] for each in found) == ["photo-changed", "photo-missing", "stray-file"]
    assert campaign.run(filled, "check", "--repair", "--sample", "0").exit_code == 6
    assert {path.read_bytes() for path in (filled / "aside").glob("*/*.jpg")} == {b"changed", b"stray"}
    left = json.loads(campaign.run(filled, "check", "--json", "--sample", "0").stdout)["findings"]
    assert [each["code"] for each in left] == ["photo-missing", "photo-missing"]


def destroy(log: Path, name: str, sql_of: str = "rootpage") -> None:
    """Overwrite the page of the database at which a table begins."""
    with sqlite3.connect(log / "logbook.db") as other:
        (page,) = other.execute(f"SELECT {sql_of} FROM sqlite_master WHERE name = ?", [name]).fetchone()  # noqa: S608
        (size,) = other.execute("PRAGMA page_size").fetchone()
        other.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    other.close()
    with (log / "logbook.db").open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xff" * size)


@pytest.mark.parametrize("table", ["measurements", "boards", "counters", "photos", "row_images"])
def test_what_is_left_of_a_destroyed_page_is_saved(filled: Path, table: str) -> None:
    """A page is overwritten: repair saves the rest as a logbook, says what is torn, and leaves the damaged one."""
    destroy(filled, table)
    before = (filled / "logbook.db").read_bytes()
    assert campaign.run(filled, "check", "--sample", "0").exit_code == 6
    done = campaign.run(filled, "check", "--repair", "--sample", "0", "--json")
    assert (done.exit_code, campaign.said_badly(done)) == (6, None), done.output
    said = json.loads(done.stdout)["saved"]
    assert table in said["torn"]
    assert said["entries"] > 20
    assert (filled / "logbook.db").read_bytes() == before
    left = Path(said["folder"])
    after = json.loads(campaign.run(left, "check", "--sample", "0", "--json").stdout)["findings"]
    assert {each["code"] for each in after} <= {"stray-file"}  # of photos whose entry is lost
    assert "B1" in campaign.run(left, "board", "list").output or table in {"boards", "photos", "measurements"}
    assert "C1" in campaign.run(left, "can", "list").output
    assert campaign.run(left, "can", "add", "more", "--kind", "oil stain").exit_code == 0


@pytest.mark.parametrize("share", [0.4, 0.7, 0.95])
def test_of_a_file_that_is_cut_off_the_beginning_is_saved(filled: Path, share: float) -> None:
    """SQLite opens no file that is shorter than its head says; what the beginning holds is saved all the same."""
    with sqlite3.connect(filled / "logbook.db") as other:
        other.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    other.close()
    os.truncate(filled / "logbook.db", int(share * (filled / "logbook.db").stat().st_size))
    done = campaign.run(filled, "check", "--repair", "--sample", "0", "--json")
    assert (done.exit_code, campaign.said_badly(done)) == (6, None), done.output
    said = json.loads(done.stdout)["saved"]
    assert said["entries"] > 0
    assert said["torn"]
    assert campaign.run(Path(said["folder"]), "check", "--sample", "0").exit_code in {0, 6}
    assert campaign.run(Path(said["folder"]), "can", "add", "more", "--kind", "oil stain").exit_code == 0


def test_a_database_that_is_none_any_more_is_refused(filled: Path) -> None:
    """Where nothing can be read that is said, and nothing is left behind."""
    (filled / "logbook.db").write_bytes(b"\xff" * 20_000)
    done = campaign.run(filled, "check", "--repair")
    assert (done.exit_code, campaign.said_badly(done)) == (6, None)
    assert "Restore the folder from a backup" in done.stderr
    assert not list((filled / "aside").glob("*"))


def test_a_photo_that_nothing_names_is_found(filled: Path) -> None:
    """A photo's row left alone by a program that was killed is told and moved aside with its file; others stay.

    What is removed or taken back still has its photo: the history names it.
    """
    assert campaign.run(filled, "board", "remove", "B1").exit_code == 0
    photo = keep_only(filled)
    (said,) = json.loads(campaign.run(filled, "check", "--json", "--sample", "0").stdout)["findings"]
    assert (said["code"], photo[:16] in said["what"]) == ("photo-unnamed", True)
    assert campaign.run(filled, "check", "--repair", "--sample", "0").exit_code == 0
    assert [path.name[:64] for path in (filled / "aside").glob("*/*.jpg")] == [photo]
    assert campaign.run(filled, "check", "--sample", "0").exit_code == 0


def keep_only(log: Path) -> str:
    """Keep a photo and write its row, and nothing that names it; return its hash."""
    path, record = make_photo(log.parent, "left.jpg")
    place = photo_place(log, record.sha256, ".jpg")
    place.parent.mkdir(exist_ok=True)
    shutil.copy(path, place)
    sql(
        log,
        "INSERT INTO photos (sha256, file_name, width, height, suffix, size, kept) VALUES "  # noqa: S608 - our own
        f"('{record.sha256}', 'left.jpg', 40, 30, '.jpg', 9, '2024-05-31 10:00:00.000000')",
    )
    return record.sha256


# What a logbook is, and where it lies


def test_another_program_s_database_stays_as_it_is(tmp_path: Path) -> None:
    """A database that is no logbook is refused, and neither it nor its folder is changed."""
    with sqlite3.connect(tmp_path / "logbook.db") as other:
        other.execute("CREATE TABLE letters (text)")
    other.close()
    before = (tmp_path / "logbook.db").read_bytes()
    for words in (("board", "list"), ("can", "add", "x", "--kind", "oil stain")):
        result = campaign.run(tmp_path, *words)
        assert (result.exit_code, campaign.said_badly(result)) == (6, None)
    assert (tmp_path / "logbook.db").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["logbook.db"]


def test_a_full_disk_is_read_from(filled: Path) -> None:
    """Where nothing can be written any more, lists still come; what would change something says why, with code 6."""

    def no_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))

    def full(*words: str) -> subprocess.CompletedProcess[str]:
        env = os.environ | {"FINISHLAB_LOGBOOK": str(filled), "FINISHLAB_DEBUG": "", "PYTHONDONTWRITEBYTECODE": "1"}
        command = [sys.executable, "-m", "finishlab.cli", *words]
        return subprocess.run(command, env=env, preexec_fn=no_room, capture_output=True, text=True, check=False)

    read = full("board", "list")
    assert (read.returncode, "B1" in read.stdout) == (0, True), read.stderr
    changed = full("board", "edit", "B1", "--note", "x")
    assert (changed.returncode, changed.stderr[:7], "Traceback" in changed.stderr) == (6, "Error: ", False)


@pytest.mark.parametrize("name", ["~nobody-of-this-name/x", "a\0b"])
def test_a_name_that_no_folder_has(name: str) -> None:
    """A home that is nobody's, or a NUL, as the logbook's name gets a sentence."""
    result = campaign.run(Path("unused"), "--logbook", name, "board", "list")
    assert (result.exit_code in {2, 6}, campaign.said_badly(result)) == (True, None), result.output


# Backups


def test_a_backup_goes_on_where_it_was_cut_short(filled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A first backup that was killed is taken up again, by a relative path too, and so is every later one."""
    monkeypatch.chdir(filled.parent)
    (filled.parent / "copy" / "photos").mkdir(parents=True)
    (filled.parent / "copy" / f".{'0' * 32}.db").write_bytes(b"half")
    for _ in range(2):
        done = campaign.run(filled, "backup", "copy")
        assert done.exit_code == 0, done.output
        assert "may name the places" in done.stderr
    assert sorted(path.name for path in (filled.parent / "copy").iterdir()) == ["logbook.db", "photos"]
    with Logbook.open(filled) as log, Logbook.open(filled.parent / "copy") as copy:
        assert copy.dump() == log.dump()


def test_a_backup_counts_what_it_copied(filled: Path) -> None:
    """Photos that are gone or changed are named and not counted, with code 6; one the copy has already stays in it."""
    first, second, *others = kept_files(filled)
    first.unlink()
    second.write_bytes(b"changed")
    done = campaign.run(filled, "backup", str(filled.parent / "copy"), "--json")
    assert done.exit_code == 6
    said = json.loads(done.stdout)
    assert (said["photos"], len(said["missing"])) == (len(others), 2)
    others[0].unlink()
    said = json.loads(campaign.run(filled, "backup", str(filled.parent / "copy"), "--json").stdout)
    assert (said["photos"], len(said["missing"])) == (len(others), 2)


def test_a_damaged_database_takes_no_good_backup_s_place(filled: Path) -> None:
    """Integrity is checked before an earlier backup is replaced."""
    assert campaign.run(filled, "backup", str(filled.parent / "copy")).exit_code == 0
    before = (filled.parent / "copy" / "logbook.db").read_bytes()
    with sqlite3.connect(filled / "logbook.db") as other:
        (root,) = other.execute("SELECT rootpage FROM sqlite_master WHERE name = 'ix_boards_uuid'").fetchone()
        (size,) = other.execute("PRAGMA page_size").fetchone()
        other.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    other.close()
    with (filled / "logbook.db").open("r+b") as file:
        file.seek((root - 1) * size + 8)
        file.write(b"\xff" * 64)
    done = campaign.run(filled, "backup", str(filled.parent / "copy"))
    assert (done.exit_code, campaign.said_badly(done)) == (6, None), done.output
    assert (filled.parent / "copy" / "logbook.db").read_bytes() == before

"""Photographing on the page: each photo is answered, logged once by its own command, and none can harm the server."""

from __future__ import annotations

import json
import os
import re
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from conftest import Run, amount
from hostile_photos import corpus
from httpx2 import Response
from page_kills import HARMLESS, kill_round
from page_visits import Visits, visiting
from PIL import Image

from finishlab.errors import FinishlabError, PhotoError
from finishlab.logbook.store import Logbook
from finishlab.page import bench as benches
from finishlab.page.bench import Bench, bench_of, finish
from finishlab.page.workers import Limits, Workers

SAMPLES = Path(__file__).parent.parent / "sample_photos"
FLOOR = SAMPLES / "floor-kitchen-doorway.jpg"
BOARD = SAMPLES / "board-walnut-one-coat-oil.jpg"
PAIR = SAMPLES / "board-walnut-two-coats.jpg"
STRIP = SAMPLES / "strip-from-three-steps-back.jpg"
HEIC = SAMPLES / "board-mix-one-coat.heic"
WALNUT = {"species": "cherry", "stain": "walnut", "coats": "2", "topcoat": "satin varnish", "light": "daylight"}
_HIDDEN = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)">')


@pytest.fixture(scope="module", autouse=True)
def _workers_end() -> Iterator[None]:
    yield
    benches.end()


@dataclass(frozen=True)
class Phone:
    """A phone that photographs on the page."""

    page: Visits

    def send(self, *photos: Path | tuple[str, bytes]) -> Response:
        """Send photos as the form does, from files or as name and content; return the page that answers."""
        named = [(each.name, each.read_bytes()) if isinstance(each, Path) else each for each in photos]
        return self.page.send("/photograph", files=[("photos", (*each, "image/jpeg")) for each in named])

    def form(self, seen: Response, kind: str, **fields: str) -> tuple[str, dict[str, Any]]:
        """Return address and fields of the form that logs all photos of a page of answers."""
        ids = re.findall(r'id="photo-([0-9a-f]{16})"', seen.text)
        data: dict[str, Any] = {**dict(_HIDDEN.findall(seen.text)), "photo": ids, "kind": kind, **fields}
        return f"/photograph/seen?photos={','.join(ids)}", data

    def log(self, seen: Response, kind: str, **fields: str) -> Response:
        """Log all photos of a page of answers as one kind."""
        address, data = self.form(seen, kind, **fields)
        return self.page.client.post(address, data=data)


@pytest.fixture
def phone(page: Visits) -> Phone:
    """A phone, paired with the page."""
    return Phone(page)


def logged(run: Run, what: str, key: str) -> list[Mapping[str, Any]]:
    """Return what is logged of a kind, as the command lists it."""
    found: list[Mapping[str, Any]] = json.loads(run(what, "list", "--json").output)[key]
    return found


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of all work that is given to workers from now on, but what follows an answer."""
    names: list[str] = []
    given = Workers.do

    def noted(self: Workers, work: Any, *args: object) -> Any:
        if work is not finish:
            names.append(work.__name__)
        return given(self, work, *args)

    monkeypatch.setattr(Workers, "do", noted)
    return names


# -- what a photo is answered, and how it is logged


def test_a_floor_photo_is_answered_and_logged(phone: Phone, run: Run, asked: list[str]) -> None:
    """A photo of the floor is answered with what it shows, and logged as a place of it without measuring it again."""
    seen = phone.send(FLOOR)
    assert "Strip found." in seen.text
    assert "It looks like the floor." in seen.text
    assert "print of strip 1043 is not learned" in seen.text
    done = phone.log(seen, "floor", surface="vinyl", light="daylight")
    assert done.status_code == 200
    assert "<strong>F1</strong>" in done.text
    assert [each["spot"] for each in logged(run, "floor", "spots")] == ["F1"]
    assert asked == ["glance"]


def test_a_board_beside_the_floor_is_logged_as_the_command_logs_it(phone: Phone, run: Run, tmp_path: Path) -> None:
    """A board beside the floor gets the number, colour and pair that ``board add --with-floor`` gives it."""
    seen = phone.send(PAIR)
    assert "It looks like a board beside the floor." in seen.text
    done = phone.log(seen, "pair", **WALNUT, floor_is="print")
    assert "<strong>B1</strong>" in done.text
    assert "Write it on the back" in done.text
    other = Run(tmp_path / "other")
    words = [f"--{name}={value}" for name, value in WALNUT.items()]
    assert other("board", "add", PAIR, "--with-floor", *words).exit_code == 0
    for mine, its in zip(logged(run, "board", "boards"), logged(other, "board", "boards"), strict=True):
        assert mine["record"] == its["record"]
        assert mine["lab"] == its["lab"]
        assert mine["direct_pairs"] == its["direct_pairs"]


def test_the_print_is_learned_from_afar(phone: Phone, run: Run, asked: list[str]) -> None:
    """The strip from a few steps back is told from one to measure beside, and its print is learned of what was read."""
    seen = phone.send(STRIP)
    assert "the strip from a few steps back" in seen.text
    done = phone.log(seen, "strip")
    assert "<strong>1043</strong>" in done.text
    assert json.loads(run("strip", "list", "--json").output)["strips"][0]["number"] == 1043
    assert asked == ["glance"]
    assert "not learned" not in phone.send(BOARD).text


def test_a_tread_is_logged_with_its_colour(phone: Phone, run: Run) -> None:
    """A tread's photo gives the tread its colour; a part that is not there is refused, and what was typed stands."""
    run("stairs", "add", "3", "--tread", "914x292x27")
    seen = phone.send(HEIC)
    refused = phone.log(seen, "tread", words="tread 9")
    assert refused.status_code == 409
    assert 'value="tread 9"' in refused.text
    done = phone.log(seen, "tread", words="tread 2")
    assert "<strong>tread 2</strong>" in done.text
    assert "L*" in run("stairs", "part", "tread", "2").output


def test_several_photos_at_once(phone: Phone, run: Run) -> None:
    """Photos of one form are answered each, and logged together: those that are ticked, the others later."""
    seen = phone.send(*SAMPLES.glob("floor-*hall.jpg"), FLOOR, BOARD)
    assert seen.text.count("Strip found.") == 3
    address, data = phone.form(seen, "floor")
    board = data["photo"].pop()
    done = phone.page.client.post(address, data=data)
    assert f'href="/photograph/seen?photos={board}"' in done.text
    assert len(logged(run, "floor", "spots")) == 2


def test_the_last_ones_fields_are_filled_in(phone: Phone, run: Run) -> None:
    """A form begins with wood, stain and light as the last board had them; a name that says more is believed."""
    run("board", "add", PAIR, *(f"--{name}={value}" for name, value in WALNUT.items()))
    text = phone.send(("IMG_0412.jpg", BOARD.read_bytes())).text
    for name in ("species", "stain", "coats", "topcoat", "light"):
        assert re.search(rf'name="{name}"[^>]* value="{WALNUT[name]}"', text), name
    text = phone.send(("honey-1-coat-hardwax-oil.jpg", BOARD.read_bytes())).text
    for name, value in (("species", "cherry"), ("stain", "honey"), ("coats", "1"), ("topcoat", "hardwax oil")):
        assert re.search(rf'name="{name}"[^>]* value="{value}"', text), name


def test_what_is_wrong_is_said_in_the_visitor_s_language(phone: Phone) -> None:
    """Of a photo without a strip it is said that there is none and what to do, in German too; it cannot be logged."""
    out = BytesIO()
    Image.new("RGB", (800, 600), (90, 120, 60)).save(out, "JPEG")
    phone.page.send("/settings", {"language": "de", "units": "mm"})
    text = phone.send(("leer.jpg", out.getvalue())).text
    assert "Kein Streifen gefunden." in text
    assert "Den ganzen Streifen flach" in text
    assert 'name="kind"' not in text
    text = phone.send(BOARD, ("seite.jpg", b"<html>")).text
    assert "seite.jpg ist kein Foto." in text
    assert "Streifen gefunden." in text


# -- once only


def test_a_form_sent_again_shows_what_was_logged(phone: Phone, run: Run) -> None:
    """A form that is sent twice, as the same form or as a new one, logs once, and shows the number both times."""
    seen = phone.send(BOARD)
    address, data = phone.form(seen, "board", **WALNUT)
    for once in (data["once"], data["once"], "another"):
        done = phone.page.client.post(address, data={**data, "once": once})
        assert "<strong>B1</strong>" in done.text
    assert len(logged(run, "board", "boards")) == 1
    assert "Logged as B1." in phone.send(BOARD).text


def test_a_photo_sent_twice_waits_once(phone: Phone, logbook: Path, asked: list[str]) -> None:
    """A photo that comes again after a network broke is the same photo, and is not looked at again."""
    first, again = phone.send(BOARD), phone.send(BOARD)
    assert str(first.url) == str(again.url)
    assert len(list((logbook / "photos" / ".waiting").glob("*.jpg"))) == 1
    assert asked == ["glance"]


def test_a_refused_form_logs_nothing(phone: Phone, run: Run) -> None:
    """Where one of several photos cannot be logged none is, what was typed stands, and the sentence names the photo."""
    seen = phone.send(BOARD)
    refused = phone.log(seen, "board", **WALNUT | {"coats": "99"})
    assert refused.status_code == 422
    assert 'value="99"' in refused.text
    assert not (run.logbook / "logbook.db").exists() or logged(run, "board", "boards") == []


# -- what may come


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("empty.jpg", b"", "empty.jpg is empty."),
        ("page.jpg", b"<html><script>alert(1)</script>", "page.jpg is not a photo."),
        ("huge.png", corpus()["huge by its head"], "megapixels"),
        ("bomb.png", corpus()["ninety by ninety thousand"], "megapixels"),
        ("nan.tif", corpus()["not a number"], "nan.tif"),
        ("cut.jpg", corpus()["jpeg"][:200], "cut.jpg"),
        ("<b>.jpg", corpus()["one pixel"], "&lt;b&gt;.jpg"),
    ],
)
def test_a_hostile_file_costs_a_sentence(phone: Phone, name: str, content: bytes, said: str) -> None:
    """What is no photo, or a photo made to do harm, is answered with one sentence; the page goes on."""
    found = phone.send((name, content))
    assert said in found.text
    assert found.status_code in {200, 422}
    assert "Traceback" not in found.text
    assert phone.page.get("/photograph").status_code == 200


@pytest.mark.parametrize("name", ["../../outside.jpg", "/etc/outside.jpg", "..\\outside.jpg", "a\0b.jpg", "x" * 300])
def test_a_file_name_is_never_a_path(phone: Phone, tmp_path: Path, name: str) -> None:
    """Whatever a phone calls a photo, it is written under the hash of what stands in it, in one folder."""
    before = set(tmp_path.rglob("*"))
    phone.send((name, BOARD.read_bytes()))
    new = {path for path in set(tmp_path.rglob("*")) - before if path.is_file()}
    assert new
    assert {path.parent for path in new} == {tmp_path / "logbook" / "photos" / ".waiting"}
    assert all(re.fullmatch(r"[0-9a-f]{64}\.\w+", path.name) for path in new)


@pytest.mark.parametrize("name", ["../../IMG 2041.jpg", "C:\\\\photos\\\\IMG 2041.jpg"])
def test_the_record_keeps_the_phone_s_own_name(phone: Phone, run: Run, logbook: Path, name: str) -> None:
    """A photo stands in the record under the name the phone gave it, as the command line writes it: no folder in it."""
    phone.log(phone.send((name, BOARD.read_bytes())), "board", **WALNUT)
    (board,) = logged(run, "board", "boards")
    (measured,) = board["measurements"]
    with Logbook.open(logbook) as log:
        assert log.photo(measured["photo"]).file_name == "IMG 2041.jpg"
        assert log.photo_path(measured["photo"]).parent.parent == logbook / "photos"


def test_a_picture_tells_nothing_of_the_place(phone: Phone) -> None:
    """The picture that is shown of a photo has nothing of its metadata, and stands under its id only."""
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (52.0, 30.0, 0.0)}  # GPS (CIPA DC-008)
    out = BytesIO()
    Image.open(BOARD).save(out, "JPEG", quality=92, exif=exif)
    seen = phone.send(("garage.jpg", out.getvalue()))
    (address,) = re.findall(r'src="(/photograph/picture/[0-9a-f]{16})"', seen.text)
    picture = phone.page.get(address)
    assert picture.headers["content-type"] == "image/jpeg"
    assert Image.open(BytesIO(picture.content)).getexif() == Image.Exif()
    assert phone.page.get("/photograph/picture/..%2f..%2flogbook.db").status_code == 404
    assert phone.page.get("/photograph/picture/*").status_code == 422


def test_a_photo_too_large_is_refused_as_it_comes(logbook: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a photo beyond the bound nothing is kept."""
    monkeypatch.setattr(benches, "MOST_BYTES", 1000)
    bench = bench_of(logbook)
    with pytest.raises(PhotoError, match="is larger than") as refused:
        bench.take("large.jpg", BytesIO(BOARD.read_bytes()))
    assert refused.value.code == "photo-too-large"
    assert not list(bench.place.iterdir())


def test_what_waits_is_cleared(logbook: Path) -> None:
    """What a killed server left half written goes at the next start, what is a day old when the next photo comes."""
    workers = Workers(1)
    bench = Bench(logbook, workers)
    kept = bench.take("board.jpg", BytesIO(BOARD.read_bytes()))
    dead, mine = bench.place / "999999999.ab.part", bench.place / f"{os.getpid()}.ab.part"
    dead.touch()
    mine.touch()
    bench = Bench(logbook, workers)
    assert not dead.exists()
    assert mine.exists()
    old = time.time() - 90_000
    os.utime(kept.path, (old, old))
    bench.take("floor.jpg", BytesIO(FLOOR.read_bytes()))
    assert bench.find(kept.photo) is None


def test_looking_makes_no_logbook(phone: Phone, logbook: Path) -> None:
    """Looking at photos logs nothing: there is no database until something is logged."""
    phone.send(BOARD)
    assert not (logbook / "logbook.db").exists()


def test_a_photo_that_harms_is_looked_at_once(phone: Phone, asked: list[str]) -> None:
    """What a photo that gave no answer cost is not paid again each time its page is looked at."""
    seen = phone.send(("cut.jpg", corpus()["jpeg"][:200]))
    for _ in range(2):
        assert "cut.jpg" in phone.page.get(str(seen.url)).text
    assert asked == ["glance"]


# -- processes with limits


@pytest.fixture(scope="module")
def small() -> Iterator[Workers]:
    """One worker with tight limits."""
    workers = Workers(1, Limits(seconds=1.0, memory=900_000_000))
    yield workers
    workers.close()


@pytest.mark.parametrize(
    ("work", "argument", "code"),
    [
        (time.sleep, 60.0, "photo-took-too-long"),
        (bytearray, 3_000_000_000, "photo-needs-memory"),
        (os._exit, 3, "worker-ended"),
        (int, "no number", "unexpected"),
    ],
)
def test_work_beyond_its_limits_costs_one_worker(small: Workers, work: Any, argument: Any, code: str) -> None:
    """Work that takes too long or too much memory, ends its process or fails is told by one error; the next is done."""
    with pytest.raises(FinishlabError) as failed:
        small.run(work, argument)
    assert failed.value.code == code
    assert small.run(abs, -3) == 3


def test_the_same_work_is_not_done_twice(small: Workers, asked: list[str]) -> None:
    """What was answered is known, and so is what somebody says is known; what failed is tried again."""
    small.know("known", max, 1, 2)
    assert small.run(max, 1, 2) == "known"
    assert [small.run(min, 1, 2), small.run(min, 1, 2)] == [1, 1]
    for _ in range(2):
        with pytest.raises(FinishlabError):
            small.run(int, "x")
    assert asked == ["min", "int", "int"]


def test_too_many_photos_at_once_are_refused() -> None:
    """Where too many photos wait for a worker the next is refused at once, so that other pages are still served."""
    workers = Workers(1, Limits(waiting=0))
    with pytest.raises(FinishlabError) as failed:
        workers.run(abs, -1)
    assert failed.value.code == "photos-waiting"


def test_two_logbooks_have_their_own_photos(tmp_path: Path) -> None:
    """A photo that waits in one logbook is none of another's."""
    with visiting(tmp_path / "one") as one, visiting(tmp_path / "two") as two:
        address = str(Phone(one).send(BOARD).url)
        assert "not here any more" in two.get(address).text


# -- a server that is killed


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are looked for in /proc")
@pytest.mark.parametrize("after", [0.05, 0.3][: amount(1, 2)])
def test_a_killed_server_leaves_nothing_half_there(tmp_path: Path, after: float) -> None:
    """Killed while a photo comes and while it is logged, a server leaves no half photo or board, and no process.

    A form that is sent again logs once. ``python tests/page_kills.py`` does fifty rounds, killed at other moments.
    """
    found = kill_round(tmp_path / "logbook", after)
    assert set(+found) <= HARMLESS

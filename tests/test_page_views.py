"""The page's views: what they show is what the commands say, and what is typed is written as the commands write it."""

from __future__ import annotations

import html
import io
import json
import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from conftest import Photos, Run
from page_visits import Visits, visiting
from PIL import ExifTags, Image

from finishlab.cautions import CAUTIONS
from finishlab.guide import read_guide
from finishlab.page import app
from finishlab.page.asking import Field, changes, command_of, fields_of, finish_changes, finish_groups, given
from finishlab.page.reading import words_in
from finishlab.page.views import CHANGES, PRINTED, THINGS, TOLD, View
from finishlab.page.workers import Kept
from finishlab.quality import DOUBTS

LOGGED: Final = (
    "/",
    "/next",
    "/ranking",
    "/plan",
    "/print",
    "/history",
    *(view.address for view in TOLD),
    *(thing.address for thing in THINGS),
    "/recipes/new",
    "/cans/new",
    "/boards/B1",
    "/boards/B1/edit",
    "/boards/B1/approve",
    "/floor/F1",
    "/floor/F1/edit",
    "/recipes/R1",
    "/recipes/R1/edit",
    "/cans/C1",
    "/cans/C1/edit",
)
"""Pages of a logbook with boards, floor, a recipe, a can and a stair."""


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory, photos: Photos) -> Path:
    """A logbook with two places of the floor, two boards, a recipe, a can and a stair; a photo says where it is."""
    folder = tmp_path_factory.mktemp("filled")
    run = Run(folder / "logbook")
    placed = _placed(photos("pair"), folder / "pair.jpg")
    done = [
        run("floor", "add", photos("floor1"), photos("floor2")),
        run("board", "add", placed, "--species", "oak", "--stain", "walnut", "--coats", "1", "--with-floor"),
        run("board", "add", photos("dark_board"), "--species", "oak", "--stain", "walnut", "--coats", "2"),
        run("recipe", "add", "walnut, satin", "--step", "water; colour=walnut; coats=2", "--top", "water pu; coats=3"),
        run("can", "add", "walnut", "--kind", "water stain", "--lot", "W-7", "--size", "1L"),
        run("stairs", "add", "3", "--tread", "900x280x25"),
    ]
    assert [each.output for each in done if each.exit_code] == []
    return folder / "logbook"


def _placed(source: Path, target: Path) -> Path:
    """Return a copy of a photo that says where it was taken."""
    with Image.open(source) as image:
        exif = image.getexif()
        exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitudeRef] = "N"
        exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (48.0, 12.0, 0.0)
        image.save(target, quality=95, exif=exif, icc_profile=image.info["icc_profile"])
    return target


@pytest.fixture
def logbook(tmp_path: Path, filled: Path) -> Path:
    """A copy of the filled logbook."""
    shutil.copytree(filled, tmp_path / "logbook")
    return tmp_path / "logbook"


@pytest.fixture(scope="module")
def reading(filled: Path) -> Iterator[Visits]:
    """A browser that only looks."""
    with visiting(filled) as visits:
        yield visits


OWN: Final = re.compile("zz-[a-z]+")
"""Words that nobody can translate: the user wrote them."""
ENGLISH: Final = re.compile(r"\b(the|of|and|is|are|with|from|than|which|since|until|not|no|yet)\b")
"""Words that no German sentence has."""
JOB: Final = (
    "board edit B1 --stain zz-stain --note zz-note",
    "recipe edit R1 --name zz-recipe --note zz-note",
    "can add zz-can --kind 'hardwax oil' --lot zz-lot --size 1L --place zz-place",
    "can edit C1 --label pot-life=4",
    "approve B1 --reason zz-note",
    "stairs add 5 landing 4 --tread 900x280x25 --recipe R1 --landing-boards 3",
    "stairs log '2/treads 1-3' stain --can C1 --date 2026-10-01 --time 14:30 --air 5 --mixed 08:00",
    "stairs log '2/treads 2-4' topcoat 2 --can C2 --date 2026-10-02",
    "stairs log '2/tread 4' fitted --note zz-note",
    "stairs edit '2/tread 2' --front 920 --note zz-note",
    "stairs edit-event E1 --note zz-note",
)
"""What makes of the filled logbook a job that is under way, and not quite as it was planned."""


def test_only_what_the_user_wrote_stays_as_it_is(logbook: Path) -> None:
    """On the German pages of a job under way no sentence of the program is English."""
    done = [Run(logbook)(*shlex.split(line)) for line in JOB]
    assert [each.output for each in done if each.exit_code] == []
    more: tuple[str, ...] = (
        "/stair",
        "/stair/part?parts=2.T2",
        "/stair/part?parts=2.T4",
        "/stair/part?parts=2.T5",
        "/stair/events/E1",
    )
    more += ("/ranking?aim=contrast&lighter=12", "/plan/quantities?coats=2", "/stair/log?what=fitted&parts=2.T2")
    english: set[str] = set()
    with visiting(logbook) as page:
        for address in (*LOGGED, *more):
            found = page.get(address, **{"accept-language": "de"}).text
            english |= {html.unescape(each) for each in re.findall(r'<span lang="en">(.*?)</span>', found, re.DOTALL)}
            told = re.sub(
                r"<svg.*?</svg>|</?(a|span|strong)\b[^>]*>", "", found[found.index("<main") :], flags=re.DOTALL
            )
            english |= {html.unescape(each) for each in re.findall(r">([^<>]+)<", told) if ENGLISH.search(each)}
    assert {each for each in english if not OWN.search(each) and not each.startswith("Quelle: ")} == set()


@pytest.mark.parametrize("address", LOGGED)
def test_every_page_is_whole(reading: Visits, address: str) -> None:
    """Each page answers in both languages, with a heading, without a style or a script of its own, and no key shown."""
    for language in ("en", "de"):
        found = reading.get(address, **{"accept-language": language})
        assert found.status_code == 200, address
        assert f'lang="{language}"' in found.text
        assert found.text.count("<h1>") == 1
        assert not re.search(r"<script(?! src=)|<style|\sstyle=|\son\w+=", found.text)
        assert "</html>" in found.text


def test_no_link_leads_nowhere(reading: Visits) -> None:
    """Whatever the pages link to, or ask a browser to load, is there."""
    assert 'href="/boards/B1"' in reading.get("/boards").text
    to = {link for address in LOGGED for link in re.findall(r'(?:href|src)="(/[^"#]*)', reading.get(address).text)}
    asked = {html.unescape(link) for link in to if not link.endswith((".pdf", ".png", ".webmanifest"))}
    assert {link for link in asked if reading.get(link).status_code != 200} == set()


def test_an_empty_logbook_has_a_start(page_of_nothing: Visits) -> None:
    """Before anything is logged, the guide says what is first, and the other pages say that there is nothing yet."""
    assert "Print the strip" in page_of_nothing.get("/").text
    for address in ("/boards", "/floor", "/ranking", "/next", "/plan/quantities", "/history", "/print", "/cans"):
        found = page_of_nothing.get(address)
        assert found.status_code == 200, address
        assert "</html>" in found.text
    assert not (page_of_nothing.folder / "logbook.db").exists()


@pytest.fixture
def page_of_nothing(tmp_path: Path) -> Iterator[Visits]:
    """A browser on a logbook that is not made yet."""
    with visiting(tmp_path / "none") as visits:
        yield visits


def _plain(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def _letters(text: str) -> str:
    return re.sub(r"\W+", "", text)


def test_the_ranking_is_the_command_s(reading: Visits, filled: Path) -> None:
    """The page gives the answer that ``finishlab rank`` gives, word for word, and its figures."""
    shown = _letters(_plain(reading.get("/ranking").text))
    full = Run(filled)("rank", "--full", columns=400).stdout
    sentences = [
        re.sub(r"^\d+\. ", "", line) for line in full.splitlines() if line.endswith(".") and "  " not in line.strip()
    ]
    assert len(sentences) > 5
    assert [line for line in sentences if _letters(line) not in shown] == []
    for board in json.loads(Run(filled)("rank", "--json").stdout)["ranking"]:
        assert f"{board['delta_e00']['value']:.1f}".replace(".", "") in shown


def test_an_aim_is_a_tap_away(reading: Visits, filled: Path) -> None:
    """The link to a contrast shows what ``rank --aim contrast --darker 12`` says first."""
    first = Run(filled)("rank", "--aim", "contrast", "--darker", "12", columns=400).stdout.splitlines()[0]
    assert 'href="?aim=contrast&amp;darker=12"' in reading.get("/ranking").text
    assert _letters(first) in _letters(_plain(reading.get("/ranking?aim=contrast&darker=12").text))


def test_what_cannot_be_meant_is_told_beside_what_was_typed(reading: Visits) -> None:
    """A wrong option gives the command's sentence, and the form keeps every field."""
    found = reading.get("/plan/quantities?treads=13&front=many&depth=280&thickness=25&liquid=oil+stain")
    assert found.status_code == 422
    assert 'role="alert"' in found.text
    assert 'value="many"' in found.text
    assert 'value="13"' in found.text
    both = reading.get("/ranking?aim=match&darker=12")
    assert both.status_code == 422
    assert "Add “aim” contrast." in both.text


def test_an_edit_writes_what_was_changed_alone(page: Visits, run: Run) -> None:
    """Of all fields of the form only those that differ are written: one new, one emptied, one of the finish."""
    before = _record(run, "B1")
    fields = _fields(page, "/boards/B1/edit")
    fields |= {"species": "ash", "coats": "", "step.1.wipe": "8", "top.sheen": "satin"}
    found = page.send("/boards/B1/edit", fields)
    assert found.status_code == 200
    after = _record(run, "B1")
    assert {name for name in before | after if before.get(name) != after.get(name)} >= {"species", "finish"}
    assert after["species"] == "ash"
    assert after["finish"]["steps"] == [{"wipe_min": 8.0}]
    assert after["finish"]["topcoat"] == {"sheen": "satin"}
    assert (after["stain"], after["light"], after["date"]) == (before["stain"], before["light"], before["date"])
    assert "B1 changed" in _plain(found.text)


def test_an_edit_that_fails_keeps_what_was_typed(page: Visits, run: Run) -> None:
    """A value that cannot be is told, the form shows it again, and nothing is written."""
    fields = _fields(page, "/boards/B1/edit") | {"species": "elm", "date": "yesterday"}
    found = page.send("/boards/B1/edit", fields)
    assert found.status_code == 422
    assert 'value="elm"' in found.text
    assert _record(run, "B1")["species"] == "oak"


def test_no_text_of_a_user_becomes_markup(page: Visits, run: Run) -> None:
    """What was written as HTML into every field of text is read as letters, on every page that shows it."""
    hostile = '"><script>x</script><img src=x onerror=y>'
    fields = _fields(page, "/boards/B1/edit")
    fields |= {f"{name}": f"{hostile} {name}" for name in ("species", "stain", "topcoat", "note", "maker", "light")}
    assert page.send("/boards/B1/edit", fields).status_code == 200
    assert json.dumps(_record(run, "B1")).replace('\\"', '"').count(hostile) == 6
    addresses = ("/", "/boards", "/boards/B1", "/boards/B1/edit", "/history", "/ranking", f"/ranking?light={hostile}")
    shown = [page.get(address).text for address in addresses]
    assert [text for text in shown if "<script>x" in text or "<img src=x" in text] == []
    assert sum("&lt;script&gt;x" in text for text in shown) > 4


def test_what_was_done_can_be_taken_back(page: Visits, run: Run) -> None:
    """A removed board is gone from the list, undo brings it back, redo takes it away again."""

    def boards() -> list[str]:
        return [each["board"] for each in json.loads(run("board", "list", "--json").stdout)["boards"]]

    hidden = page.hidden("/boards/B2/edit")
    assert page.client.post("/boards/B2/remove", data=hidden).status_code == 200
    assert boards() == ["B1"]
    assert page.send("/history", {"step": "undo"}).status_code == 200
    assert boards() == ["B1", "B2"]
    assert page.send("/history", {"step": "redo"}).status_code == 200
    assert boards() == ["B1"]


def test_new_things_are_written_down(page: Visits, run: Run) -> None:
    """A can and a recipe are logged by a form as by their commands."""
    assert page.send("/cans/new", {"product": "oil", "kind": "hardwax oil", "lot": "9"}).status_code == 200
    assert json.loads(run("can", "show", "C2", "--json").stdout)["cans"][0]["record"]["lot"] == "9"
    assert page.send("/recipes/new", {"name": "plain", "top.kind": "hardwax oil", "top.coats": "2"}).status_code == 200
    assert "hardwax oil" in run("recipe", "show", "R2").stdout
    assert page.send("/boards/B1/approve", {"reason": "as the floor"}).status_code == 200
    assert json.loads(run("standard", "--json").stdout)["standards"][0]["board"] == "B1"


@pytest.mark.parametrize("view", PRINTED, ids=lambda view: view.command)
def test_what_is_printed_comes_as_a_pdf(reading: Visits, view: View, filled: Path) -> None:
    """Strip, labels, house file and report come as a PDF to keep; the schedule, which wants a standard, says so."""
    before = sorted(filled.rglob("*"))
    found = reading.get(view.address)
    if view.command == "schedule" and found.status_code != 200:
        assert 'role="alert"' in found.text
        return
    assert found.content.startswith(b"%PDF-")
    assert found.headers["content-disposition"].startswith("attachment")
    assert [path for path in sorted(filled.rglob("*")) if path not in before and path.suffix == ".pdf"] == []


def test_pictures_tell_nothing_but_the_picture(reading: Visits) -> None:
    """A photo that says where it was taken is served without it, upright and small, by number alone."""
    for size, side in (("small", 480), ("large", 1600)):
        found = reading.get(f"/boards/B1/photo/1/{size}")
        assert found.headers["content-type"] == "image/jpeg"
        assert b"Exif" not in found.content
        assert b"GPS" not in found.content
        with Image.open(io.BytesIO(found.content)) as image:
            assert max(image.size) <= side
            assert dict(image.getexif()) == {}
    beside = reading.get("/boards/B1/beside-floor")
    assert beside.content.startswith(b"\xff\xd8\xff")
    assert b"Exif" not in beside.content


@pytest.mark.parametrize(
    "address",
    [
        *(
            "/boards/B1/photo/2/small",
            "/boards/B1/photo/0/small",
            "/boards/B1/photo/-1/small",
            "/floor/F1/photo/x/small",
        ),
        *("/boards/B1/photo/1/huge", "/boards/B9/photo/1/small", "/boards/B9/beside-floor", "/boards/B1/photo/%31/x"),
        *("/boards/..%2f..%2flogbook.db/photo/1/small", "/boards/B1/photo/..%2f..%2flogbook.db/small"),
    ],
)
def test_there_are_no_other_pictures(reading: Visits, address: str) -> None:
    """What is no photo of a logged thing is refused in a sentence; no address names a file."""
    found = reading.get(address)
    assert found.status_code in {404, 409, 422}
    assert found.headers["content-type"].startswith("text/html")


def test_forms_ask_for_what_commands_take() -> None:
    """A choice has the command's choices, a count takes digits, a flag a box, what may be repeated a line each."""
    fields = {each.name: each for each in fields_of("plan quantities", names=("edge", "waste", "can_size", "coats"))}
    assert fields["edge"].choices == ("square", "half-round")
    assert fields["coats"].look == "number"
    assert fields["can_size"].look == "lines"
    assert fields["waste"].unit == "%"
    away = fields_of("plan calendar", {"away": "yes"}, names=("away",))
    assert (away[0].look, away[0].value) == ("box", "yes")
    assert given([*fields.values(), *away], {"can_size": "1qt\n\n 5L ", "edge": "", "away": "yes"}) == {
        "can_size": ["1qt", "5L"],
        "away": True,
    }


def test_a_bare_length_is_in_the_visitor_s_units(page: Visits) -> None:
    """A length without a unit is millimetres or inches, as the visitor chose, and the field says which."""
    asked = "/plan/quantities?treads=13&front=36&depth=11.5&thickness=1&liquid=oil+stain"
    assert page.get(asked).status_code == 422
    assert "Front (mm)" in page.get(asked).text
    page.send("/settings", {"language": "en", "units": "in"})
    inches = page.get(asked)
    assert inches.status_code == 200
    assert "Front (in)" in inches.text
    assert 'value="36"' in inches.text
    said = asked.replace("=36&", "=36in&").replace("=11.5&", "=11.5in&").replace("=1&", "=1in&")
    assert re.findall(r"needs [^<]*", page.get(said).text) == re.findall(r"needs [^<]*", inches.text) != []


def test_only_what_differs_is_changed() -> None:
    """A field that was not sent, or whose text is the same but for blanks, is no change; an emptied one is."""
    fields = [
        Field(name="a", label="a", value="x"),
        Field(name="b", label="b", value="y\nz"),
        Field(name="c", label="c"),
    ]
    assert changes(fields, {"a": " x ", "b": "y\r\nz\r\n", "c": ""}) == {}
    assert changes(fields, {"a": "", "c": "1"}) == {"a": "", "c": "1"}


def test_a_finish_is_changed_section_by_section() -> None:
    """Changes come out as the options take them: a step by its place, a further step behind the last."""
    groups = finish_groups({"steps": [{"kind": "oil", "wipe_min": 10.0}], "topcoat": {"coats": 2}})
    assert [group.title for group in groups[1:4]] == ["step 1", "another step", "the sealer"]
    typed = {"step.1.kind": "oil", "step.1.wipe": "5", "step.2.kind": "dye", "top.coats": ""}
    assert finish_changes(groups, typed) == {"step": ["1: wipe=5", "2: kind=dye"], "top": ["coats="]}
    own = {field.name for group in finish_groups(None) for field in group.fields}
    assert own > {field.name for group in finish_groups(None, own=False) for field in group.fields}


def test_commands_named_in_a_text_are_links() -> None:
    """A command that has a page is a link to it, with what stood behind it gone; others stay as they are."""
    links = app.links_in("en")
    prose = links.reader.prose
    undo = prose("Take it back with: finishlab undo")
    assert undo == 'Take it back with: <a href="/history">History</a>'
    assert prose("Begin with: finishlab backup FOLDER") == "Begin with: finishlab backup FOLDER"
    assert prose("Look at B10 <now>") == 'Look at <a href="/boards/B10">B10</a> &lt;now&gt;'
    edit = prose("Say it, for example: finishlab recipe edit R1 --step “1: kind=oil”")
    assert edit == 'Say it, for example: <a href="/recipes/R1/edit">Change R1</a>'
    approve = links.page_of('finishlab approve B3 --reason "as the floor"')
    assert approve == ("/boards/B3/approve", "Approve for the treads")
    assert links.page_of("finishlab plan quantities --recipe R1") == ("/plan/quantities", "What to buy")
    assert links.page_of("finishlab board edit") == ("/boards", "Boards")


_FIRST: Final = {"boards": "B1", "floor": "F1", "recipes": "R1", "cans": "C1"}


def test_links_name_pages_that_there_are(reading: Visits) -> None:
    """Each command that a page says it does exists, is one page's, and leads to it."""
    named = [(command, route) for route in app.all_routes() for command in route.commands]
    assert len({command for command, _ in named}) == len(named) > 30
    for command, route in named:
        command_of(command)
        number = _FIRST.get(route.address.split("/")[1], "")
        to = app.links_in("en").page_of(f"finishlab {command} {number}".rstrip())
        assert to is not None, command
        assert to[0] == re.sub(r"{\w+}", number, route.address)
        assert reading.get(to[0]).status_code == 200, to


def test_what_is_kept_is_made_once_and_not_without_end() -> None:
    """The same is not made twice, and the oldest goes where there is too much."""
    made: list[str] = []

    def make(name: str) -> bytes:
        made.append(name)
        return bytes(40)

    kept = Kept[bytes](100, len)
    for name in ("a", "b", "a", "c", "a", "b"):
        kept.get(name, lambda name=name: make(name))  # type: ignore[misc]  # bound now
    assert made == ["a", "b", "c", "b"]
    with pytest.raises(ValueError, match="no"):
        kept.get("d", lambda: int("no").to_bytes())
    assert kept.get("d", lambda: b"d") == b"d"


def _record(run: Run, number: str) -> dict[str, Any]:
    found = json.loads(run("board", "show", number, "--json").stdout)["boards"][0]["record"]
    return dict(found)


def _fields(page: Visits, address: str) -> dict[str, str]:
    """Return the fields of a page's form as they stand there."""
    text = page.get(address).text
    inputs = re.findall(r'<input id="f-[^"]*" name="([^"]*)" type="\w+" value="([^"]*)"', text)
    chosen = re.findall(r'<select id="f-[^"]*" name="([^"]*)".*?</select>', text, re.DOTALL)
    selects = re.findall(r'<select id="f-[^"]*" name="[^"]*".*?</select>', text, re.DOTALL)
    values = [(re.findall(r'<option value="([^"]*)" selected', each) or [""])[0] for each in selects]
    return {name: html.unescape(value) for name, value in [*inputs, *zip(chosen, values, strict=True)]}


def test_documents_are_told_in_german() -> None:
    """Every doubt, caution and step of the guide, and whatever the forms ask for, has its German words."""
    german = words_in("de")
    doubts = [re.sub(r"{(\w+)(:[^}]*)?}", "7", kind.sentence) for kind in DOUBTS.values()]
    cautions = [text for each in CAUTIONS.values() for text in (each.title, each.short, each.long, each.spoken)]
    steps = [text for step in read_guide(None, Path()).steps for text in (step.title, step.state, step.missing)]
    commands: list[tuple[str, tuple[str, ...]]] = [
        *((view.command, tuple(view.fixed)) for view in (*TOLD, *PRINTED, *CHANGES)),
        *((f"{thing.command} edit", thing.without) for thing in THINGS),
        *(
            ("rank", ()),
            ("stairs log", ("words",)),
            ("stairs edit", ("name", "risers")),
            ("stairs edit-event", ("numbers",)),
        ),
    ]
    asked = [field for command, without in commands for field in fields_of(command, without=without)]
    asked += [field for group in finish_groups(None) for field in group.fields]
    words = {
        *doubts,
        *cautions,
        *filter(None, steps),
        *(text for each in asked for text in (each.label, each.hint, each.default, *each.choices) if text),
    }
    assert sorted(text for text in words if german.of(text) == text and re.search("[a-z]{3}", text)) == []


def test_what_stands_in_a_sentence_is_told_too() -> None:
    """Figures, numbers and names stay; directions of a difference and doubts within a line are put in German."""
    german = words_in("de")
    assert german.of(
        "Too few places of the floor were measured (so far: 3); five planks or more show its own spread."
    ) == ("Zu wenige Stellen des Bodens sind gemessen (bisher: 3); fünf Dielen oder mehr zeigen, wie er selbst streut.")
    assert german.of(
        "B4: 6 % of the surface mirrors the light and was left out; turn the work or the light."
    ).startswith("B4: 6 %")
    assert german.of("close, much lighter, a touch bluer and a touch greener than the floor") == (
        "nah, viel heller, eine Spur blauer und eine Spur grüner als der Boden"
    )
    assert german.of("{0.__class__} than the floor") == "{0.__class__} than the floor"
    assert german.of("my {own} note") == "my {own} note"
    assert words_in("en").of("close") == "close"


def test_every_page_of_the_list_is_there() -> None:
    """Each address of the list of pages is a route's that has a name."""
    assert set(app.ORDER) <= {route.address for route in app.all_routes() if route.title}

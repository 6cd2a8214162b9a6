"""The page's frame: forms that fail and forms that meet a change, languages, what every page holds to."""

from __future__ import annotations

import re
import string
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import Run
from page_visits import Visits, visiting

from finishlab.cli.common import say
from finishlab.errors import UsageError
from finishlab.logbook.store import Logbook
from finishlab.page import app
from finishlab.page.app import Answer, Onward, Page, Route, Visit
from finishlab.page.reading import LANGUAGES, words_for, words_in

PAGE = Path(app.__file__).parent


def _notes(visit: Visit) -> Answer:
    """Show a form about R1 that begins with what R1 says, or with what was typed."""
    with Logbook.open(visit.folder) as log:
        notes = log.recipe("R1").record.note or ""
    return Page("Notes", "notes.html.j2", {"notes": notes})


def _write_notes(visit: Visit) -> Answer:
    if visit.form.text("notes") == "boom":
        say("said before it failed")
        raise UsageError("boom", "That <b>cannot</b> be.", "Say something else.")
    return Onward("/notes", visit.do("recipe edit", "R1", note=visit.form.text("notes")).said)


NOTES = (Route("/notes", show=_notes, do=_write_notes),)
TEMPLATE = """{% extends "base.html.j2" %}{% block content %}
{% call forms.form(about="R1") %}{{ forms.field("notes", "Notes", notes) }}{{ forms.button("Keep") }}{% endcall %}
{% endblock %}"""


@pytest.fixture
def notes(logbook: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> Iterator[Visits]:
    """A paired browser on a page with a form about one thing."""
    from jinja2 import ChoiceLoader, DictLoader

    run("recipe", "add", "plain", "--note", "as it was")
    environment = app._environment()  # noqa: SLF001 - with one template more
    assert environment.loader is not None
    environment.loader = ChoiceLoader([environment.loader, DictLoader({"notes.html.j2": TEMPLATE})])
    monkeypatch.setattr(app, "_environment", lambda: environment)
    with visiting(logbook, routes=NOTES) as visits:
        yield visits


def _logged(folder: Path) -> str:
    with Logbook.open(folder) as log:
        return log.recipe("R1").record.note or ""


# -- forms


def test_what_is_typed_is_logged_as_the_command_logs_it(notes: Visits) -> None:
    """A form about a thing that nobody else changed is written."""
    assert notes.send("/notes", {"notes": "two coats"}).status_code == 200
    assert _logged(notes.folder) == "two coats"


def test_a_form_that_fails_comes_back_as_it_was_typed(notes: Visits) -> None:
    """Where the work fails, the same form comes with the sentence, the hint and what was typed; all of it escaped."""
    answer = notes.send("/notes", {"notes": "boom"})
    assert answer.status_code == 422
    assert "That &lt;b&gt;cannot&lt;/b&gt; be.</strong> Say something else." in answer.text
    assert 'value="boom"' in answer.text
    assert _logged(notes.folder) == "as it was"


def test_a_change_made_meanwhile_is_shown_and_nothing_typed_is_lost(notes: Visits, run: Run) -> None:
    """A form opened before somebody else changed the same thing is not written over that: both are shown first."""
    fields = {**notes.hidden("/notes"), "notes": 'mine "quoted"'}
    run("recipe", "edit", "R1", "--note", "theirs")
    answer = notes.client.post("/notes", data=fields)
    assert answer.status_code == 409
    assert "theirs" in answer.text
    assert answer.text.count("mine &#34;quoted&#34;") == 2
    assert _logged(notes.folder) == "theirs"


def test_after_a_conflict_mine_can_be_written_all_the_same(notes: Visits, run: Run) -> None:
    """The page of a conflict is a form itself, with all fields: sent, it writes them; the other change is history."""
    fields = {**notes.hidden("/notes"), "notes": "mine"}
    run("recipe", "edit", "R1", "--note", "theirs")
    conflict = notes.client.post("/notes", data=fields).text
    form = conflict[conflict.index("<form") :]
    again = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', form))
    assert notes.client.post("/notes", data=again).status_code == 200
    assert _logged(notes.folder) == "mine"
    assert "theirs" in run("history", "R1").stdout


def test_another_thing_changed_meanwhile_is_no_conflict(notes: Visits, run: Run) -> None:
    """Two people at work on different things do not stop each other."""
    fields = {**notes.hidden("/notes"), "notes": "mine"}
    run("recipe", "add", "another")
    assert notes.client.post("/notes", data=fields).status_code == 200
    assert _logged(notes.folder) == "mine"


def test_a_page_left_open_learns_that_it_is_old(page: Visits, run: Run) -> None:
    """Each page carries the newest entry it knows of; what it can ask for says when there is a newer one."""
    run("recipe", "add", "plain")
    carried = re.search(r'data-state="(\d+)"', page.get("/settings").text)
    assert carried is not None
    assert page.get("/state").json() == {"state": int(carried[1])}
    run("recipe", "add", "another")
    assert page.get("/state").json()["state"] > int(carried[1])


# -- languages


def test_a_language_and_units_are_kept(page: Visits) -> None:
    """A language that is chosen holds for the pages after it, whatever the browser asks for."""
    assert 'lang="en"' in page.get("/settings").text
    assert 'lang="de"' in page.get("/settings", **{"accept-language": "fr, de-AT;q=0.8"}).text
    found = page.send("/settings", {"language": "de", "units": "in"})
    assert 'lang="de"' in found.text
    assert 'lang="de"' in page.get("/settings", **{"accept-language": "en"}).text


def test_a_bare_length_is_in_the_unit_that_was_chosen(page: Visits) -> None:
    """What was asked in one unit is no answer for the other: 7.5 is a riser in inches, and none in millimetres."""
    risers = "/plan/risers?riser=7.5&count=13&tread_added=1"
    for unit, refused in (("mm", True), ("in", False), ("mm", True)):
        page.send("/settings", {"units": unit})
        assert ("7.5 mm makes no sense" in page.get(risers).text) is refused


def _places(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("language", sorted(set(LANGUAGES) - {"en"}))
def test_a_language_is_complete(language: str) -> None:
    """Each language has every text of the page that English has, with the same places, and none more."""
    english, other = words_in("en").own, words_in(language).own
    assert set(other) == set(english)
    for key, text in english.items():
        assert _places(other[key]) == _places(text), key
        assert other[key].strip(), key


def test_every_text_that_is_used_is_there() -> None:
    """Keys in templates and views stand in the catalogue; of those put together, some that begin so."""
    used = set()
    for path in [*PAGE.glob("templates/*.j2"), *PAGE.glob("*.py")]:
        used |= set(re.findall(r"""\b(?:w|words|title)\(?=?["']([a-z_]+\.[a-z_]+)["']""", path.read_text("utf-8")))
    assert len(used) > 20
    known = set(words_in("en").own)
    assert {key for key in used if not key.endswith("_")} <= known
    assert all(any(each.startswith(key) for each in known) for key in used)


def test_an_unknown_language_is_answered_in_english() -> None:
    """The first language that is known counts, as RFC 9110 orders them; else English."""
    assert words_for("fr, de;q=0.5, en;q=0.4").language == "de"
    assert words_for("xx").language == words_for("").language == "en"


# -- what every page holds to


def test_no_template_needs_what_the_policy_forbids() -> None:
    """No template has a script, a style or a handler of its own in it, which the policy would not let run."""
    for path in PAGE.glob("templates/*.j2"):
        text = path.read_text("utf-8")
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", text), path.name
        assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", text)), path.name
        assert "safe" not in re.findall(r"\|\s*(\w+)", text), path.name
        assert not re.search(r"https?://(?!www\.w3\.org/)", text), path.name


def test_every_form_is_begun_by_the_macro() -> None:
    """No template writes a form that posts by hand, but the macro and the page that pairs."""
    by_hand = {path.name for path in PAGE.glob("templates/*.j2") if 'method="post"' in path.read_text("utf-8")}
    assert by_hand == {"macros.html.j2", "refused.html.j2"}

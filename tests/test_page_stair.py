"""The stair on the page: drawn to touch, chosen from, logged to through the command, and when it can be walked on."""

from __future__ import annotations

import json
import re
from html import unescape
from urllib.parse import parse_qs, urlsplit

import pytest
from conftest import Run
from httpx2 import Response
from page_visits import Visits

from finishlab.logbook.store import Logbook

CHOSEN = "1.T1=part&1.T3=part"


@pytest.fixture
def stair(page: Visits, run: Run) -> Visits:
    """Return a browser on a logbook with a stair of five risers, a recipe and two cans."""
    for line in ("recipe add honey --step oil", "stairs add 5 --tread 914x292x27 --recipe R1"):
        run(*line.split())
    run("can", "add", "honey", "--kind", "oil stain")
    run("can", "add", "clear", "--kind", "water polyurethane 1-part")
    return page


def events(page: Visits) -> list[str]:
    """Return what is logged of parts: ``"1.T1 topcoat 1 C2"``."""
    with Logbook.open(page.folder) as log:
        stair = log.stair()
    codes = {part.ident: part.code for part in stair.parts}
    told = []
    for event in stair.events:
        what = f"{event.step} {event.coat}" if event.kind == "coat" else event.kind
        told.append(f"{codes[event.part]} {what}" + (f" C{event.batch_number}" if event.batch_number else ""))
    return told


def sent(page: Visits, query: str, **fields: str) -> Response:
    """Fill in the form for what was done and send it."""
    return page.send("/stair/log", fields, shown=f"/stair/log?{query}")


def test_the_stair_is_a_drawing_of_links_to_records(stair: Visits) -> None:
    """Each part of the drawing leads to a page that holds its record, and from there to what can be logged of it."""
    shown = stair.get("/stair").text
    links = [unescape(to) for to in re.findall(r'<a href="(/stair/part[^"]*)" aria-label', shown)]
    named = [parse_qs(urlsplit(to).query)["parts"][0] for to in links]
    assert named == ["1/landing nosing 1", "1/tread 4", "1/tread 3", "1/tread 2", "1/tread 1", "1/risers 1-5"]
    for to in links:
        assert stair.get(to).status_code == 200
    record = stair.get(links[1]).text
    assert "No finish is on tread 4 yet" in record
    assert 'value="1.T4"' in record
    assert 'name="what" value="topcoat"' in record


def test_what_is_chosen_is_logged_once_through_the_command(stair: Visits) -> None:
    """A topcoat on two treads is logged as the command does it; the same form sent again logs nothing more."""
    fields = {**stair.hidden(f"/stair/log?{CHOSEN}&what=topcoat"), "can": "C2", "date": "2024-06-01", "time": "10:00"}
    for _ in range(2):
        found = stair.client.post("/stair/log", data=fields)
        assert found.status_code == 200
    assert events(stair) == ["1.T1 topcoat 1 C2", "1.T3 topcoat 1 C2"]
    assert "treads 1,3: topcoat 1 of R1 from C2 on 2024-06-01." in found.text


def test_groups_of_parts_are_chosen_by_one_box(stair: Visits) -> None:
    """Odd treads are a box of their own, and mean what they mean on the command line."""
    assert 'name="1/odd treads"' in stair.get("/stair").text
    sent(stair, "1%2Fodd+treads=part&1.R2=part&what=sanded")
    assert events(stair) == ["1.T1 sanded", "1.T3 sanded", "1.R2 sanded"]


def test_fields_are_filled_in_as_they_were_the_last_time(stair: Visits, run: Run) -> None:
    """The next coat comes from the same can by the same rag; the first from the can that the recipe names."""
    run("stairs", "log", "tread", "1", "stain", "--can", "C1", "--applicator", "old shirt", "--air", "19")
    form = stair.get("/stair/log?1.T2=part&what=stain").text
    assert '<option value="C1" selected>' in form
    assert 'value="old shirt"' in form
    assert 'value="19"' in form
    run("recipe", "edit", "R1", "--top", "water pu; coats=3; can=C2")
    assert '<option value="C2" selected>' in stair.get("/stair/log?1.T2=part&what=topcoat").text


def test_cautions_stand_at_the_form_and_after_logging(stair: Visits) -> None:
    """Where an oil stain may be named, rags and wet treads are warned of before it is logged, rags after it again."""
    form = stair.get(f"/stair/log?{CHOSEN}&what=stain").text
    assert form.index("Rags with oil") < form.index("<button")
    assert "Block the stair at top and bottom" in form
    assert "catch fire" in sent(stair, f"{CHOSEN}&what=stain", can="C1").text
    assert "causes cancer" in stair.get("/stair/log?1.T2=part&what=sanded").text
    assert "catch fire" not in stair.get("/stair/log?1.T2=part&what=sanded").text


def test_what_was_changed_meanwhile_is_shown_and_nothing_typed_is_lost(stair: Visits, run: Run) -> None:
    """Another phone's coat on the same tread stops a form opened before it; sent all the same, it is logged."""
    fields = {**stair.hidden("/stair/log?1.T1=part&what=topcoat"), "note": "by the door", "can": "C2"}
    run("stairs", "log", "tread", "1", "topcoat", "--can", "C2")
    found = stair.client.post("/stair/log", data=fields)
    assert found.status_code == 409
    assert "by the door" in found.text
    assert events(stair) == ["1.T1 topcoat 1 C2"]
    again = found.text.partition("<form")[2].partition("</form>")[0]
    kept = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', again)
    assert stair.client.post("/stair/log?1.T1=part&what=topcoat", data=dict(kept)).status_code == 200
    assert events(stair) == ["1.T1 topcoat 1 C2", "1.T1 topcoat 2 C2"]


def test_a_slip_is_taken_back_unless_something_else_was_logged_since(stair: Visits, run: Run) -> None:
    """Take back undoes the last change; shown before another change, it undoes nothing."""
    run("stairs", "log", "tread", "1", "sanded")
    before = undo_form(stair)
    run("stairs", "log", "tread", "2", "sanded")
    assert stair.client.post("/history", data=before).status_code >= 400
    assert events(stair) == ["1.T1 sanded", "1.T2 sanded"]
    found = stair.client.post("/history", data=undo_form(stair))
    assert (found.status_code, found.url.path) == (200, "/stair")
    assert events(stair) == ["1.T1 sanded"]


def undo_form(page: Visits) -> dict[str, str]:
    """Return the hidden fields of the form that takes back."""
    form = page.get("/stair").text.partition('action="/history"')[2].partition("</form>")[0]
    return {**dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', form)), "step": "undo"}


def test_a_stair_that_is_not_there_is_entered_first(page: Visits, run: Run) -> None:
    """With nothing entered the stair's page is the form that enters it, through the command, which may refuse."""
    assert "7 landing 7" in page.get("/stair").text
    fields = {"words": "4 landing 3", "tread": "36x11.5x1in", "landing_boards": "2", "returns": "left"}
    refused = page.send("/stair/add", {**fields, "words": "many"}, shown="/stair/add")
    assert refused.status_code == 422, refused.text[1000:1800]
    assert 'value="36x11.5x1in"' in refused.text, "what was typed stands there again"
    page.send("/stair/add", {**fields, "no_risers": "yes"}, shown="/stair/add")
    shown = json.loads(run("stairs", "show", "--json").stdout)
    assert [flight["flight"] for flight in shown["flights"]] == ["flight 1", "landing 1", "flight 2"]
    assert {part["record"]["kind"] for each in shown["flights"] for part in each["parts"]} == {
        *("tread", "landing nosing", "landing board", "return")
    }


def test_nothing_chosen_is_said(stair: Visits) -> None:
    """A form without parts or without what was done says so, with the failure's status, and logs nothing."""
    for query in ("what=topcoat", "1.T1=part", "1.T99=part&what=topcoat", "1.T1=part&what=eaten"):
        assert stair.get(f"/stair/log?{query}").status_code in {409, 422}
    assert events(stair) == []


def test_what_may_be_stepped_on_and_what_is_due_stand_on_the_page(stair: Visits, run: Run) -> None:
    """A coat given just now closes its tread on the page, and the parts short of a coat are listed."""
    run("stairs", "log", "tread", "2", "topcoat", "--can", "C2")
    shown = stair.get("/stair").text
    assert "tread 2" in shown.partition('id="tonight"')[2].partition('id="due"')[0]
    assert "2 topcoats" in shown.partition('id="due"')[2]


def test_the_stair_speaks_german(stair: Visits, run: Run) -> None:
    """Names and states of parts are in the visitor's language, their figures kept."""
    run("stairs", "log", "tread", "2", "topcoat")
    stair.send("/settings", {"language": "de"})
    shown = stair.get("/stair").text
    assert 'aria-label="Stufe 2: Deckschicht 1 von 3"' in shown
    assert "Lauf 1: 5 Setzstufen" in shown
    assert "ungerade Stufen" in shown


def test_what_is_written_of_parts_is_changed(stair: Visits, run: Run) -> None:
    """Where chosen parts differ a field is empty and stays; what is emptied is taken out; inches stay inches."""
    run("stairs", "edit", "tread", "1", "--front", "36in")
    query = "/stair/edit?1.T1=part&1.T2=part"
    form = stair.get(query).text
    assert 'name="front" type="text" value=""' in form
    assert 'value="292 mm"' in form
    stair.send(query, {"note": "by the door", "thickness": ""})
    with Logbook.open(stair.folder) as log:
        one, two = log.stair().named("treads 1-2")
    assert (one.record.sizes.words("front"), two.record.sizes.words("front")) == ("36 in", "914 mm")
    assert {(each.record.note, each.record.sizes.thickness) for each in (one, two)} == {("by the door", None)}


def test_what_was_logged_is_changed_and_taken_out(stair: Visits, run: Run) -> None:
    """The record leads to each event; another can is kept by the command, and an event can be left out."""
    run("stairs", "log", "tread", "1", "topcoat", "--can", "C1", "--air", "19")
    assert 'href="/stair/events/E1"' in stair.get("/stair/part?parts=1.T1").text
    stair.send("/stair/events/E1", {"can": "C2", "air": ""})
    assert events(stair) == ["1.T1 topcoat 1 C2"]
    removing = stair.get("/stair/events/E1").text.partition('action="/stair/remove"')[2]
    stair.client.post("/stair/remove", data=dict(re.findall(r'name="(\w+)" value="([^"]*)"', removing)))
    assert events(stair) == []
    assert stair.get("/stair/events/E9").status_code == 409


def test_further_parts_are_entered(stair: Visits) -> None:
    """Returns that were forgotten are entered with their size; what the command cannot read is said by it."""
    assert stair.send("/stair/add-parts", {"parts": "wings 1-2"}).status_code == 422
    stair.send("/stair/add-parts", {"parts": "returns 1-2 left", "front": "292mm"})
    with Logbook.open(stair.folder) as log:
        assert [part.record.sizes.front for part in log.stair().named("returns 1-2 left")] == [292, 292]

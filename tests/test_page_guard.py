"""Attacks on the page: each is refused, and the logbook stands as it was.

The rules are those of the Fetch standard (Origin), Fetch Metadata, RFC 6265bis (cookies) and CSP level 3.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from conftest import Run
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from page_visits import HOST, Live, Visits, living, visiting

from finishlab.logbook.database import last_change
from finishlab.page import guard, server
from finishlab.page.app import Answer, Onward, Page, Route, Sent, Visit, all_routes, application
from finishlab.page.guard import CODE_TRIES, Guard, Pairing


def _note(visit: Visit) -> Answer:
    """Log a recipe by the name that was typed; a form such as any view has."""
    return Onward("/note", visit.do("recipe add", visit.form.text("name")).results)


def _noting(visit: Visit) -> Answer:
    del visit
    return Page("Note", "settings.html.j2", {"languages": {}})


NOTES = (Route("/note", show=_noting, do=_note, most_bytes=300_000),)
"""One form that writes, so that what an attack would have written can be looked for."""


@pytest.fixture
def notes(logbook: Path, run: Run) -> Iterator[Visits]:
    """A paired browser on a page with a form that writes."""
    run("recipe", "add", "plain")
    with visiting(logbook, routes=NOTES) as visits:
        yield visits


@pytest.fixture
def live(logbook: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> Iterator[Live]:
    """A server with little patience."""
    run("recipe", "add", "plain")
    monkeypatch.setattr(server, "HEAD_SECONDS", 0.3)
    monkeypatch.setattr(guard, "_QUIET", 0.3)
    with living(logbook, NOTES) as found:
        yield found


# -- pairing


def test_a_stranger_gets_nothing_from_any_address(stranger: Visits, run: Run) -> None:
    """Without a cookie, and with a wrong one, each address of each view is refused, looked at or posted to."""
    run("recipe", "add", "cherry-of-the-house")
    before = last_change(stranger.folder)
    for cookie in ("", "finishlab_8455=wrong"):
        for route in all_routes():
            address = re.sub(r"\{\w+(:\w+)?\}", "1", route.address)
            for answer in (
                stranger.get(address, cookie=cookie),
                stranger.client.post(address, data={"token": ""}, headers={"cookie": cookie}),
            ):
                assert answer.status_code == 403, address
                assert "cherry" not in answer.text
    assert last_change(stranger.folder) == before


def test_a_cookie_is_out_of_reach_of_scripts_and_of_other_sites(stranger: Visits) -> None:
    """The cookie is HttpOnly and SameSite=Strict, and its value is long and never the same."""
    values = set()
    for _ in range(2):
        stranger.client.cookies.clear()
        answer = stranger.client.post("/pair", data={"code": stranger.pairing.code}, follow_redirects=False)
        cookie = answer.headers["set-cookie"]
        assert {"httponly", "samesite=strict", "path=/"} <= {part.strip().lower() for part in cookie.split(";")}
        values.add(cookie.split(";")[0])
    assert len(values) == 2
    assert all(len(value) > 50 for value in values)


def test_a_code_and_a_link_pair_one_browser_each(stranger: Visits) -> None:
    """What was used to pair does not pair again; looking at a link does not use it up."""
    for kind in ("code", "key", "link"):
        given = stranger.pairing.link() if kind == "link" else getattr(stranger.pairing, kind)
        stranger.client.cookies.clear()
        assert f'value="{given}"' in stranger.get(f"/pair?key={given}").text
        first = stranger.client.post("/pair", data={"code": given}, follow_redirects=False)
        again = stranger.client.post("/pair", data={"code": given}, follow_redirects=False)
        assert (first.status_code, again.status_code) == (303, 403)
        stranger.pairing.__dict__["_not_before"] = 0.0  # the wait after a wrong one is tested below


def test_guessing_is_slow_and_ends_with_another_code() -> None:
    """After each wrong code even the right one has to wait, longer each time; after five another one holds."""
    now = [0.0]
    told: list[str] = []
    pairing = Pairing(lambda: told.append(pairing.code), clock=lambda: now[0])
    first, waits = pairing.code, []
    for _ in range(CODE_TRIES):
        assert pairing.pair("wrong") is None
        waited = 0.0
        while pairing._not_before > now[0]:  # noqa: SLF001 - only the clock says how long
            assert pairing.pair(pairing.code) is None
            now[0] += 1.0
            waited += 1.0
        waits.append(waited)
    assert waits == [1.0, 2.0, 4.0, 8.0, 16.0]
    assert told == [pairing.code] != [first]
    assert pairing.pair(first) is None


def test_a_typed_code_may_have_blanks(stranger: Visits) -> None:
    """A code is taken as it is read aloud: in two groups of four."""
    code = stranger.pairing.code
    assert stranger.pairing.pair(f" {code[:4]} {code[4:]}") is not None


# -- other sites


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_form_from_elsewhere_is_refused(notes: Visits, headers: dict[str, str]) -> None:
    """A form that another site makes a paired browser send is refused before it is read, whatever it holds."""
    before = last_change(notes.folder)
    assert notes.send("/note", {"name": "evil"}, **headers).status_code == 403
    assert last_change(notes.folder) == before


@pytest.mark.parametrize("whose", ["", "wrong", "other"])
def test_a_form_without_its_visitors_token_is_refused(notes: Visits, whose: str) -> None:
    """A form counts only with the token of the visitor it was made for, not with another visitor's."""
    before = last_change(notes.folder)
    if whose == "other":
        found = notes.pairing.pair(notes.pairing.code)
        assert found is not None
        whose = found[1].token
    assert notes.send("/note", {"name": "evil", "token": whose}).status_code == 403
    assert last_change(notes.folder) == before


def test_its_own_form_is_taken(notes: Visits) -> None:
    """What the tests above refuse is taken when it comes from the page itself."""
    before = last_change(notes.folder)
    answer = notes.send("/note", {"name": "mine"}, origin=f"http://{HOST}", **{"sec-fetch-site": "same-origin"})
    assert answer.status_code == 200
    assert last_change(notes.folder) == before + 1


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8455", "127.0.0.1", "127.0.0.1:80", "", f"{HOST}.evil"])
def test_a_name_that_leads_here_by_somebody_elses_hand_is_refused(notes: Visits, host: str) -> None:
    """Rebinding: a page elsewhere lets its own name lead to this computer, and is refused for that name."""
    answer = notes.get("/note", host=host)
    assert answer.status_code == 421
    assert "form" not in answer.text


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "OPTIONS"])
def test_other_methods_are_refused(notes: Visits, method: str) -> None:
    """Only looking and posting are answered."""
    assert notes.client.request(method, "/note").status_code == 405


# -- what is sent out


def test_no_answer_may_be_framed_kept_or_run_from_elsewhere(notes: Visits, stranger: Visits) -> None:
    """Every answer, a refusal too, has the policy that lets nothing inline or from elsewhere run, and is not kept."""
    for answer in (notes.get("/note"), notes.get("/nothing"), stranger.get("/"), notes.get("/note", host="evil")):
        policy = dict(part.strip().split(" ", 1) for part in answer.headers["content-security-policy"].split(";"))
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
        assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
        assert "unsafe" not in answer.headers["content-security-policy"]
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"


def test_nothing_outside_the_static_folder_is_served(live: Live, logbook: Path) -> None:
    """No spelling of a path upwards leads out of the folder of style and icons."""
    tries = (
        *("/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/static/....//app.py"),
        *("/static//etc/passwd", f"/static/{logbook}/logbook.db", "/static/..\\app.py", "/static/%00", "/static/"),
    )
    for path in tries:
        head = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{live.port}\r\nConnection: close\r\n\r\n"
        answer = live.talk(head.encode())
        assert answer.split(b" ")[1] in {b"404", b"405", b"403"}, path
        assert b"import" not in answer
        assert b"SQLite" not in answer
        assert b"root:" not in answer


# -- too much, too slow


def _paired(live: Live) -> bytes:
    found = live.pairing.pair(live.pairing.code)
    assert found is not None
    return f"Cookie: finishlab_{live.port}={found[0]}".encode()


def test_a_body_that_says_it_is_huge_is_refused_unread(live: Live, logbook: Path) -> None:
    """An upload of 1 GB is refused by what its head says, before a byte of it has come."""
    head = b"POST /note HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n%b\r\nContent-Length: 1073741824\r\n\r\n"
    assert live.talk(head % (live.port, _paired(live))).startswith(b"HTTP/1.1 413 ")
    assert last_change(logbook) == 1


def test_a_body_that_grows_is_refused_on_the_way(live: Live, logbook: Path) -> None:
    """An upload that does not say how large it is is refused once it is larger than its page takes."""
    head = (
        b"POST /note HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n%b\r\nTransfer-Encoding: chunked\r\n"
        b"Content-Type: multipart/form-data; boundary=x\r\n\r\n"
    )
    with live.connected() as connection:
        connection.sendall(head % (live.port, _paired(live)))
        piece = b'--x\r\nContent-Disposition: form-data; name="f"; filename="f"\r\n\r\n' + b"0" * 100_000
        for _ in range(4):
            connection.sendall(b"%x\r\n%b\r\n" % (len(piece), piece))
        assert connection.recv(65536).startswith(b"HTTP/1.1 413 ")
    assert last_change(logbook) == 1


@pytest.mark.parametrize("begun", [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: x\r\nX-Slow: "])
def test_a_head_that_does_not_come_is_not_waited_for(live: Live, begun: bytes) -> None:
    """A client that opens a connection and dawdles is cut off, and others are answered meanwhile."""
    with live.connected() as slow:
        slow.sendall(begun)
        quick = live.talk(b"GET /pair HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nConnection: close\r\n\r\n" % live.port)
        assert quick.startswith(b"HTTP/1.1 200 ")
        with contextlib.suppress(ConnectionResetError):
            assert slow.recv(10) == b""


def test_a_body_that_does_not_come_is_not_waited_for(live: Live, logbook: Path) -> None:
    """A form whose body stops coming is answered that it was too slow, and nothing is written."""
    head = b"POST /note HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n%b\r\nContent-Length: 100\r\n"
    kind = b"Content-Type: application/x-www-form-urlencoded\r\n\r\nname=ha"
    assert live.talk(head % (live.port, _paired(live)) + kind).startswith(b"HTTP/1.1 408 ")
    assert last_change(logbook) == 1


def test_an_answer_that_is_not_read_is_not_kept_for_ever(
    logbook: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A client that asks for much and reads nothing is cut off, and the server forgets the answer."""
    run("recipe", "add", "plain")
    monkeypatch.setattr(server, "_UNREAD_SECONDS", 0.5)
    large = Route("/large", show=lambda _: Sent(b"0" * 30_000_000, "application/octet-stream"))
    with living(logbook, [large]) as found, found.connected() as slow:
        head = b"GET /large HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n%b\r\n\r\n"
        slow.sendall(head % (found.port, _paired(found)))
        time.sleep(2.0)
        came = 0
        with contextlib.suppress(ConnectionResetError):
            while piece := slow.recv(1 << 20):
                came += len(piece)
    assert came < 30_000_000


def test_more_connections_than_are_served_are_sent_away(
    logbook: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where too many connections are open, the next is told so at once; when they are gone, it is served."""
    run("recipe", "add", "plain")
    monkeypatch.setattr(server, "_CONNECTIONS", 4)
    with living(logbook, NOTES) as found:
        ask = b"GET /pair HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nConnection: close\r\n\r\n" % found.port
        with contextlib.ExitStack() as idle:
            for _ in range(4):
                idle.enter_context(found.connected()).sendall(b"GET")
            assert found.talk(ask).startswith(b"HTTP/1.1 503 ")
        for _ in range(100):  # the server learns that they are gone when it next looks
            answer = found.talk(ask)
            if answer.startswith(b"HTTP/1.1 200 "):
                break
        assert answer.startswith(b"HTTP/1.1 200 ")


_PATHS = st.sampled_from(["", "/", "/boards", "/pair", "/static/page.css", "/static/../app.py", "//evil", "/boards/B1"])
_NAMES = st.sampled_from(
    ["host", "cookie", "origin", "content-length", "sec-fetch-site", "accept-language", "content-type", "x"]
)
_VALUES = st.text(st.characters(max_codepoint=255), max_size=30) | st.sampled_from(
    [HOST, "9" * 5000, "-1", "finishlab_8455=x", "multipart/form-data", "multipart/form-data; boundary=", "null"]
)


@pytest.fixture(scope="module")
def outside(tmp_path_factory: pytest.TempPathFactory) -> Guard:
    """All pages of a logbook, without a server."""
    return application(tmp_path_factory.mktemp("outside"), Pairing(), frozenset({HOST}))


@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@given(
    method=st.sampled_from(["GET", "POST", "HEAD", "PUT", "", "G\xff"]),
    path=_PATHS | st.text(max_size=30),
    heads=st.lists(st.tuples(_NAMES, _VALUES), max_size=5),
    body=st.binary(max_size=40),
)
def test_no_request_of_a_stranger_breaks_the_server_or_gets_in(
    outside: Guard, method: str, path: str, heads: list[tuple[str, str]], body: bytes
) -> None:
    """Whatever a stranger sends is answered with a refusal, the page to pair, or what lies open to all."""
    head = [(b"host", HOST.encode())] + [(name.encode(), value.encode("latin-1")) for name, value in heads]
    scope = {"type": "http", "method": method, "path": path, "headers": head, "query_string": b"", "root_path": ""}
    scope |= {"scheme": "http", "http_version": "1.1", "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 8455)}
    sent: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    asyncio.run(outside(scope, receive, send))
    status = sent[0]["status"]
    assert status < 500
    assert status != 303
    assert status != 200 or path == "/pair" or path.startswith("/static/")


def test_a_form_has_an_end_of_fields(notes: Visits) -> None:
    """A form of ten thousand fields is refused."""
    before = last_change(notes.folder)
    answer = notes.send("/note", {f"field{n}": "x" for n in range(10_000)})
    assert answer.status_code in {400, 413}
    assert last_change(notes.folder) == before


# -- sent twice, and changed meanwhile


def test_a_form_that_is_sent_twice_is_done_once(notes: Visits) -> None:
    """The same form again, as a browser sends it after a broken connection, gets the first one's answer."""
    before = last_change(notes.folder)
    fields = {**notes.hidden("/note"), "name": "twice"}
    answers = [notes.client.post("/note", data=fields, follow_redirects=False) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [303, 303]
    assert last_change(notes.folder) == before + 1


def test_a_form_sent_at_the_same_moment_by_two_hands_is_done_once(notes: Visits) -> None:
    """Of the same form sent four times at once, one is done and all are answered alike."""
    before = last_change(notes.folder)
    fields = {**notes.hidden("/note"), "name": "at once"}
    answers: list[int] = []

    def send() -> None:
        answers.append(notes.client.post("/note", data=fields, follow_redirects=False).status_code)

    threads = [threading.Thread(target=send) for _ in range(4)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert answers == [303] * 4
    assert last_change(notes.folder) == before + 1

"""Starting and ending the page: addresses, ports, the command itself; page and command line at work on one logbook."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import threading
from collections import Counter
from pathlib import Path
from typing import Any, Final, Self

import pytest
from conftest import Run
from page_visits import Live, Visits, living

from finishlab.errors import UsageError
from finishlab.page import server

COMMAND: Final = (sys.executable, "-W", "error", "-m", "finishlab.cli")


class _Probe:
    """A socket that thinks this computer has an address."""

    def __init__(self, address: str | None) -> None:
        self.address = address

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing was opened."""

    def connect(self, where: tuple[str, int]) -> None:
        """Choose a network, where there is one."""
        assert where[0].startswith("198.51.100.")
        if self.address is None:
            raise OSError(101, "Network is unreachable")

    def getsockname(self) -> tuple[str, int]:
        """Return the address chosen."""
        return self.address or "", 1


def _with_address(address: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("finishlab.page.server.socket.socket", lambda *_: _Probe(address))


@pytest.mark.parametrize("address", ["192.168.1.20", "10.0.0.7", "172.16.4.2", "169.254.8.8"])
def test_a_private_address_is_taken(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Addresses of RFC 1918, and those computers give themselves (RFC 3927), are in a network of one's own."""
    _with_address(address, monkeypatch)
    assert server.lan_address() == address


@pytest.mark.parametrize(
    ("address", "code"),
    [(None, "no-network"), ("127.0.0.1", "no-network"), ("8.8.8.8", "open-network"), ("100.64.0.1", "open-network")],
)
def test_no_other_address_is_listened_on(address: str | None, code: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a network, and where the internet or a provider's other customers see the computer, nothing is opened."""
    _with_address(address, monkeypatch)
    with pytest.raises(UsageError) as refused:
        server.lan_address()
    assert refused.value.code == code


def test_a_port_that_is_taken_is_told() -> None:
    """A second page on the same port says what to do."""
    (first,) = server.bound([server.LOOPBACK], 0)
    with first, pytest.raises(UsageError, match=r"Port \d+ of this computer cannot be used"):
        server.bound([server.LOOPBACK], first.getsockname()[1])


def _answer(port: int, head: str) -> str:
    with socket.create_connection(("127.0.0.1", port), 20.0) as connection:
        connection.sendall(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n{head}\r\n".encode())
        return b"".join(iter(lambda: connection.recv(65536), b"")).decode()


def test_the_command_serves_until_it_is_ended(logbook: Path) -> None:
    """The command says where it is, answers there and nowhere else, and ends well with Ctrl-C; no logbook is made."""
    words = [*COMMAND, "--logbook", str(logbook), "page", "--port", "0", "--json"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL) as process:
        assert process.stdout is not None
        text = ""
        while not text.endswith("}\n"):
            text += process.stdout.readline().decode()
        said = json.loads(text)
        assert said["format"] == "finishlab/page/1"
        (address,) = said["addresses"]
        port = int(address.rstrip("/").rpartition(":")[2])
        assert _answer(port, "").startswith("HTTP/1.1 403 ")
        with socket.socket() as elsewhere:
            assert elsewhere.connect_ex(("127.0.0.2", port)) != 0
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=60)
    assert process.returncode == 0
    assert f"type {said['code'][:4]} {said['code'][4:]}" in told.decode()
    assert told.decode().endswith("The page is closed.\n")
    assert not logbook.exists()


@pytest.fixture
def live(logbook: Path, run: Run) -> Any:
    """A server on a logbook with a recipe."""
    run("recipe", "add", "first")
    with living(logbook) as found:
        yield found


def test_page_and_command_line_write_at_once(page: Visits, run: Run) -> None:
    """Two browsers and two command lines log at the same time: nothing is lost and nothing is there twice."""
    run("recipe", "add", "first")
    named = [f"{face} {which} {number}" for face in ("page", "command") for which in (0, 1) for number in range(3)]

    def by_page(names: list[str]) -> None:
        for name in names:
            assert page.send("/recipes/new", {"name": name}).status_code == 200

    def by_command(names: list[str]) -> None:
        for name in names:
            subprocess.run(
                [*COMMAND, "--logbook", str(page.folder), "recipe", "add", name], capture_output=True, check=True
            )

    threads = [
        threading.Thread(target=by_page, args=([n for n in named if n.startswith(f"page {k}")],)) for k in (0, 1)
    ]
    threads += [
        threading.Thread(target=by_command, args=([n for n in named if n.startswith(f"command {k}")],)) for k in (0, 1)
    ]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    logged = json.loads(run("recipe", "list", "--json").stdout)["recipes"]
    assert Counter(each["record"]["name"] for each in logged) == Counter([*named, "first"])
    assert len({each["recipe"] for each in logged}) == len(logged)


def test_many_browsers_at_once_are_all_answered(live: Live) -> None:
    """Eight paired browsers ask at the same time, again and again: every answer is the page that was asked for."""
    found = live.pairing.pair(live.pairing.code)
    assert found is not None
    cookie = f"Cookie: finishlab_{live.port}={found[0]}\r\n"
    answers: list[str] = []

    def look() -> None:
        answers.extend(_answer(live.port, cookie) for _ in range(5))

    threads = [threading.Thread(target=look) for _ in range(8)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert len(answers) == 40
    assert all(each.startswith("HTTP/1.1 200 ") and each.endswith("</html>") for each in answers)

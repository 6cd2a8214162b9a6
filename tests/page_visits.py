"""Visitors of the page in this process, for its tests: paired or not, and the forms they send."""

from __future__ import annotations

import re
import socket
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from httpx2 import Response
from starlette.testclient import TestClient

from finishlab.page.app import Route, application
from finishlab.page.guard import Pairing

HOST: Final = "127.0.0.1:8455"
_HIDDEN: Final = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)">')


@dataclass(frozen=True)
class Visits:
    """A browser and the page it looks at."""

    folder: Path
    pairing: Pairing
    client: TestClient

    def get(self, address: str, **headers: str) -> Response:
        """Return the answer to a look at an address."""
        return self.client.get(address, headers=headers)

    def hidden(self, address: str) -> dict[str, str]:
        """Return the hidden fields of the first form on a page."""
        text = self.get(address).text
        form = text[text.index("<form") : text.index("</form>")]
        return dict(_HIDDEN.findall(form))

    def send(
        self,
        address: str,
        fields: Mapping[str, Any] | None = None,
        *,
        files: Any = None,
        shown: str = "",
        **headers: str,
    ) -> Response:
        """Fill in the first form of the page at `shown`, or at the address itself, and send it."""
        data = {**self.hidden(shown or address), **(fields or {})}
        return self.client.post(address, data=data, files=files, headers=headers)


@contextmanager
def visiting(
    folder: Path, *, paired: bool = True, pairing: Pairing | None = None, routes: Sequence[Route] | None = None
) -> Iterator[Visits]:
    """Give a browser on the page of a logbook."""
    pairing = pairing or Pairing()
    guard = application(folder, pairing, frozenset({HOST}), routes)
    with TestClient(guard, base_url=f"http://{HOST}", raise_server_exceptions=True) as client:
        if paired:
            assert client.post("/pair", data={"code": pairing.code}, follow_redirects=False).status_code == 303
        yield Visits(folder, pairing, client)


@dataclass(frozen=True)
class Live:
    """A server of the page on this computer."""

    pairing: Pairing
    port: int

    def talk(self, sent: bytes, *, seconds: float = 20.0) -> bytes:
        """Send bytes as they are, and return all that is answered until the server ends the connection."""
        with self.connected(seconds) as connection:
            connection.sendall(sent)
            return b"".join(iter(lambda: connection.recv(65536), b""))

    def connected(self, seconds: float = 20.0) -> socket.socket:
        """Return a connection to it."""
        return socket.create_connection(("127.0.0.1", self.port), seconds)


@contextmanager
def living(folder: Path, routes: Sequence[Route] | None = None) -> Iterator[Live]:
    """Serve the page of a logbook from a thread."""
    from finishlab.page.server import bound, served

    pairing = Pairing()
    sockets = bound(["127.0.0.1"], 0)
    port = sockets[0].getsockname()[1]
    server = served(application(folder, pairing, frozenset({f"127.0.0.1:{port}"}), routes))
    thread = threading.Thread(target=server.run, kwargs={"sockets": sockets})
    thread.start()
    try:
        yield Live(pairing, port)
    finally:
        server.should_exit = True
        thread.join()

"""The page's server killed while a photo comes and while it is logged, again and again: nothing may be half there.

``python tests/page_kills.py --rounds 50`` prints what was found. A round begins with a logbook without boards. A server
is killed with half of a photo sent; the next one gets all of it, and is killed at some moment of logging it; the third
must find a logbook that is whole, and log the photo when the form is sent again: once in all.
"""

from __future__ import annotations

import argparse
import json
import re
import select
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from click.testing import CliRunner
from httpx2 import Client, HTTPError
from page_visits import visiting

from finishlab.cli import finishlab

__all__ = ["HARMLESS", "Server", "hidden", "kill_round", "serving"]

PHOTO: Final = Path(__file__).parent.parent / "sample_photos" / "board-walnut-one-coat-oil.jpg"
LONGEST: Final = 120.0
"""Seconds for a server to start on a computer that does much else."""
LOGGING: Final = 1.0
"""Seconds within which a server is killed that logs: longer than logging takes."""
_HIDDEN: Final = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)">')
LEFT: Final = "stray-file"
"""Code of a photo's file that no row names."""
HARMLESS: Final = frozenset({"logged before the kill", "rounds"})
"""What may be found."""
BOARD: Final = {"kind": "board", "species": "cherry", "stain": "walnut", "coats": "1", "light": "daylight"}


@dataclass
class Server:
    """A running server, and a browser that is paired with it."""

    process: subprocess.Popen[str]
    client: Client
    port: int

    def send(self) -> str:
        """Send the photo; return its id."""
        return sent(self.client)

    def send_half(self) -> None:
        """Send the first half of the photo, and no more."""
        named, edge, content = hidden(self.client, "/photograph"), "edge", PHOTO.read_bytes()
        fields = "".join(
            f'--{edge}\r\ncontent-disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
            for name, value in named.items()
        )
        head = f'--{edge}\r\ncontent-disposition: form-data; name="photos"; filename="b.jpg"\r\n\r\n'
        body = f"{fields}{head}".encode() + content
        cookie = "; ".join(f"{name}={value}" for name, value in self.client.cookies.items())
        lines = (
            "POST /photograph HTTP/1.1",
            f"host: 127.0.0.1:{self.port}",
            f"origin: http://127.0.0.1:{self.port}",
            f"cookie: {cookie}",
            f"content-type: multipart/form-data; boundary={edge}",
            f"content-length: {len(body) + 20}",
        )
        with socket.create_connection(("127.0.0.1", self.port)) as to:
            to.sendall("\r\n".join((*lines, "", "")).encode() + body[: len(body) // 2])
            time.sleep(0.2)
            self.kill()

    def log(self, photo: str, kill_after: float) -> None:
        """Send the form that logs the photo as a board, and kill the server so many seconds later."""
        address, data = filled(self.client, photo)
        threading.Timer(kill_after, self.kill).start()
        with suppress(HTTPError):
            self.client.post(address, data=data)
        self.process.wait()

    def kill(self) -> None:
        """Kill the server outright."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


def hidden(client: Client, address: str) -> dict[str, str]:
    """Return the hidden fields of a page's forms."""
    return dict(_HIDDEN.findall(client.get(address).text))


def sent(client: Client) -> str:
    """Send the photo; return its id."""
    files = {"photos": (PHOTO.name, PHOTO.read_bytes(), "image/jpeg")}
    found = client.post("/photograph", data=hidden(client, "/photograph"), files=files)
    return str(re.findall(r'id="photo-([0-9a-f]{16})"', found.text)[0])


def filled(client: Client, photo: str) -> tuple[str, dict[str, str]]:
    """Return address and fields of the form that logs the photo as a board."""
    address = f"/photograph/seen?photos={photo}"
    return address, hidden(client, address) | BOARD | {"photo": photo}


@contextmanager
def serving(folder: Path) -> Iterator[Server]:
    """Give a server on a logbook, in a session of its own."""
    words = [sys.executable, "-m", "finishlab.cli", "--logbook", str(folder), "page", "--no-browser", "--port", "0"]
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as process:
        try:
            place = _line(process.stdout, "http").strip()
            code = _line(process.stderr, "type").rpartition("type ")[2].strip()
            with Client(base_url=place, follow_redirects=True, timeout=LONGEST) as client:
                _paired(client, code)
                yield Server(process, client, int(place.rstrip("/").rpartition(":")[2]))
        finally:
            process.kill()


def _line(stream: Any, word: str) -> str:
    while select.select([stream], [], [], LONGEST)[0]:
        line: str = stream.readline()
        if word in line or not line:
            return line
    raise TimeoutError(word)


def _paired(client: Client, code: str) -> None:
    end = time.monotonic() + LONGEST
    while time.monotonic() < end:
        with suppress(HTTPError):
            client.post("/pair", data={"code": code})
            return
        time.sleep(0.1)
    raise TimeoutError("pairing")


def kill_round(folder: Path, after: float) -> Counter[str]:
    """Kill servers on a new logbook; return what was found.

    Parameters
    ----------
    folder
        The logbook's, not made yet.
    after
        Seconds after a form that logs was sent at which its server is killed.

    Returns
    -------
    Counter
        Of ``"half a photo"``, ``"half a board"``, ``"not sound"``, ``"process left"``, ``"not logged once"``, all of
        which must be 0, and of ``"logged before the kill"``.
    """
    found: Counter[str] = Counter()
    CliRunner().invoke(finishlab, ["--logbook", str(folder), "recipe", "add", "plain"])
    with serving(folder) as server:
        server.send_half()
        found["process left"] += not _alone(server.process.pid)
    with serving(folder) as server:
        waiting = folder / "photos" / ".waiting"
        found["half a photo"] += any(path.stat().st_size for path in waiting.glob("*")) if waiting.is_dir() else 0
        photo = server.send()
        server.log(photo, after)
        found["process left"] += not _alone(server.process.pid)
    # The photo's file comes before its row; what is left of a kill between the two is cleared by the next who writes.
    found["not sound"] += bool(_faults(folder) - {LEFT})
    boards = _boards(folder)
    found["rounds"] += 1
    found["logged before the kill"] += len(boards)
    found["half a board"] += any(not each["measurements"] for each in boards)
    with visiting(folder) as page:
        client = page.client
        if sent(client) != photo or ("Logged as B1" in client.get(f"/photograph/seen?photos={photo}").text) != bool(
            boards
        ):
            found["not logged once"] += 1
        address, data = filled(client, photo)
        client.post(address, data=data)
    boards = _boards(folder)
    found["not logged once"] += len(boards) != 1 or len(boards[0]["measurements"]) != 1
    found["not sound"] += bool(_faults(folder))
    return found


def _boards(folder: Path) -> list[dict[str, Any]]:
    """Return the boards that are logged, as the command lists them; none where nothing was ever logged."""
    done = CliRunner().invoke(finishlab, ["--logbook", str(folder), "board", "list", "--json"])
    boards: list[dict[str, Any]] = json.loads(done.stdout)["boards"] if done.exit_code == 0 else []
    return boards


def _faults(folder: Path) -> set[str]:
    """Return the codes of what the command that checks a logbook finds."""
    done = CliRunner().invoke(finishlab, ["--logbook", str(folder), "check", "--json"])
    return {each["code"] for each in json.loads(done.stdout)["findings"]}


def _alone(session: int) -> bool:
    """Return whether all processes of a session end soon, as the workers of a killed server do."""
    end = time.monotonic() + 30.0
    while time.monotonic() < end:
        if not any(_session(place) == session for place in Path("/proc").glob("[0-9]*/stat")):
            return True
        time.sleep(0.05)
    return False


def _session(place: Path) -> int | None:
    try:
        fields = place.read_text().rpartition(")")[2].split()
    except OSError:
        return None
    return int(fields[3]) if fields[0] != "Z" else None


def main() -> int:
    """Run the rounds; the exit code is 1 if anything was half there."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=50)
    options = parser.parse_args()
    found: Counter[str] = Counter()
    rng = np.random.default_rng(16)
    folder = Path(tempfile.mkdtemp())
    for number in range(options.rounds):
        found += kill_round(folder / str(number), float(rng.uniform(0.0, LOGGING)))
        sys.stdout.write(f"{dict(found)}\n")
        sys.stdout.flush()
        shutil.rmtree(folder / str(number))
    return int(bool(set(+found) - HARMLESS))


if __name__ == "__main__":
    raise SystemExit(main())

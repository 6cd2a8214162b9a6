"""The page under load, by hand: interleaved writes by page and command line, and eight browsers for a minute.

``python tests/page_load.py --writes 500 --seconds 60 --logbook FOLDER`` prints the figures of docs/page.md. Each part
starts a server of its own, as a user does, and looks at the logbook afterwards by the command line.
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import json
import os
import random
import re
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

COMMAND: Final = (sys.executable, "-m", "finishlab.cli")
PAGES: Final = ("/", "/boards", "/floor", "/ranking", "/next", "/recipes", "/plan", "/print", "/history", "/photograph")
_HIDDEN: Final = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)">')


@dataclass
class Server:
    """A server of the page, in a process of its own."""

    process: subprocess.Popen[str]
    port: int
    code: str

    def memory(self) -> float:
        """Return the resident memory of the server and its workers, megabytes."""
        pids = [self.process.pid]
        with contextlib.suppress(OSError):
            children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text(encoding="ascii")
            pids += [int(pid) for pid in children.split()]
        total = 0.0
        for pid in pids:
            with contextlib.suppress(OSError):
                found = re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{pid}/status").read_text(encoding="ascii"))
                total += int(found[1]) / 1024 if found else 0.0
        return total


@contextlib.contextmanager
def serving(folder: Path) -> Iterator[Server]:
    """Start a server on a logbook, and end it as Ctrl-C does."""
    words = [*COMMAND, "--logbook", str(folder), "page", "--port", "0", "--json", "--no-browser"]
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL, text=True
    ) as process:
        assert process.stdout is not None
        text = ""
        while not text.endswith("}\n"):
            text += process.stdout.readline()
        said = json.loads(text)
        port = urllib.parse.urlsplit(said["addresses"][0]).port
        assert port is not None
        yield Server(process, port, said["code"])
        process.send_signal(signal.SIGINT)


class Browser:
    """A paired browser: one cookie, one connection."""

    def __init__(self, port: int, cookie: str) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.headers = {"Cookie": cookie, "Origin": f"http://127.0.0.1:{port}"}

    @classmethod
    def paired(cls, server: Server) -> Browser:
        """Return a browser that has typed the code."""
        made = cls(server.port, "")
        status, headers, _ = made.asked("POST", "/pair", {"code": server.code})
        assert status == http.HTTPStatus.SEE_OTHER
        return cls(server.port, headers["set-cookie"].split(";")[0])

    def asked(
        self, method: str, address: str, fields: dict[str, str] | None = None
    ) -> tuple[int, http.client.HTTPMessage, str]:
        """Return status, headers and text of an answer."""
        body = urllib.parse.urlencode(fields) if fields is not None else None
        kind = {"Content-Type": "application/x-www-form-urlencoded"} if body else {}
        self.connection.request(method, address, body, self.headers | kind)
        answer = self.connection.getresponse()
        return answer.status, answer.headers, answer.read().decode("utf-8", "replace")

    def sent(self, address: str, fields: dict[str, str]) -> int:
        """Fill in the first form of a page and send it."""
        _, _, text = self.asked("GET", address)
        form = text[text.index("<form") : text.index("</form>")]
        return self.asked("POST", address, {**dict(_HIDDEN.findall(form)), **fields})[0]


def called(folder: Path, *words: str) -> str:
    """Run the command line and return what it prints."""
    return subprocess.run(
        [*COMMAND, "--logbook", str(folder), *words], capture_output=True, text=True, check=True
    ).stdout


def interleaved(folder: Path, count: int) -> dict[str, int]:
    """Log so many recipes, half by two browsers and half by the command line, at the same time; count what is there."""
    called(folder, "recipe", "add", "first")
    each = count // 4
    with serving(folder) as server:
        browsers = [Browser.paired(server)]
        # Codes are good for one browser each; a second connection with the first one's cookie is as good here.
        browsers.append(Browser(server.port, browsers[0].headers["Cookie"]))
        failed: list[str] = []

        def by_page(which: int) -> None:
            for number in range(each):
                status = browsers[which].sent("/recipes/new", {"name": f"page {which} {number}"})
                failed.extend([f"page {which} {number}: {status}"] if status != http.HTTPStatus.SEE_OTHER else [])

        def by_command(which: int) -> None:
            for number in range(each):
                called(folder, "recipe", "add", f"command {which} {number}")

        threads = [threading.Thread(target=work, args=(which,)) for work in (by_page, by_command) for which in (0, 1)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    for line in failed:
        print(line)
    names = Counter(
        each["record"]["name"] for each in json.loads(called(folder, "recipe", "list", "--json"))["recipes"]
    )
    wanted = {f"{face} {which} {number}" for face in ("page", "command") for which in (0, 1) for number in range(each)}
    return {
        "written": len(wanted),
        "lost": len(wanted - set(names)),
        "doubled": sum(times > 1 for times in names.values()),
        "entries of the history": len(json.loads(called(folder, "history", "--last", "1000000", "--json"))["changes"])
        - 1,
    }


def crowded(folder: Path, seconds: float, clients: int = 8) -> dict[str, object]:
    """Let browsers look at page after page; return how long pages took, milliseconds, and the memory, megabytes."""
    with serving(folder) as server:
        cookie = Browser.paired(server).headers["Cookie"]
        first = Browser(server.port, cookie)
        for page in PAGES:
            first.asked("GET", page)
        took: dict[str, list[float]] = {page: [] for page in PAGES}
        failed: Counter[int] = Counter()
        before, most, end = server.memory(), [0.0], time.monotonic() + seconds

        def look(seed: int) -> None:
            browser, draw = Browser(server.port, cookie), random.Random(seed)  # noqa: S311 - no secret
            while time.monotonic() < end:
                page = draw.choice(PAGES)
                began = time.monotonic()
                status, _, _ = browser.asked("GET", page)
                took[page].append(1000.0 * (time.monotonic() - began))
                failed[status] += 1
                most[0] = max(most[0], server.memory())
                time.sleep(draw.uniform(0.5, 1.5))  # a person looks at what came

        threads = [threading.Thread(target=look, args=(seed,)) for seed in range(clients)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        every = sorted(one for times in took.values() for one in times)
        return {
            "pages": len(every),
            "statuses": dict(failed),
            "median": round(statistics.median(every), 1),
            "95 %": round(every[int(0.95 * len(every))], 1),
            "by page": {page: round(statistics.median(times), 1) for page, times in took.items() if times},
            "memory before, most, after": [round(value) for value in (before, most[0], server.memory())],
        }


def main() -> None:
    """Do what is asked for, each part on a logbook of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--writes", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=0.0)
    parser.add_argument("--logbook", type=Path, help="A filled one to look at; it is not changed.")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if given.writes:
            print("interleaved writes:", interleaved(folder / "writes", given.writes), flush=True)
        if given.seconds:
            print("eight browsers:", crowded(given.logbook, given.seconds), flush=True)
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()

"""How long a photo of 12 megapixels takes from the phone's button to the answer, against measuring it alone.

Run ``python tests/benchmarks/bench_page.py [--runs N] [--photo FILE]``. A server is started as a user starts it. Each
run sends the photo as another one (a byte more behind its end), waits for the page that answers, and measures the same
photo in this process, in turns, so that all meet the same load. Bound to watch: from what was sent to the answer no
more than 1.5 times the measuring. A script and no test, since timings depend on what else the machine does.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

sys.path.append(str(Path(__file__).parents[1]))  # where the tests' server is
from bench_measure import rendered_photos
from page_kills import Server, hidden, serving

from finishlab.measuring import MeasureOptions, inspect_photo

MOST_RATIO: Final = 1.5


def sent(server: Server, content: bytes) -> tuple[float, float]:
    """Send a photo; return the seconds until it is there, and from then until its answer is."""
    fields = hidden(server.client, "/photograph")
    began = time.perf_counter()
    taken = server.client.post(
        "/photograph", data=fields, files={"photos": ("IMG_0001.jpg", content, "image/jpeg")}, follow_redirects=False
    )
    there = time.perf_counter()
    answer = server.client.get(taken.headers["location"])
    if "Strip found" not in answer.text:
        raise RuntimeError("the photo was not answered")
    return there - began, time.perf_counter() - there


def run(server: Server, photo: Path, runs: int) -> None:
    """Measure and print."""
    how, content = MeasureOptions(("board", "floor")), photo.read_bytes()
    inspect_photo(photo, how)
    sent(server, content)  # the first calls pay for imports and tables
    transfer, answer, alone = [], [], []
    for number in range(runs):
        moved, found = sent(server, content + bytes([1 + number % 255]) * (1 + number // 255))
        transfer.append(moved)
        answer.append(found)
        began = time.perf_counter()
        inspect_photo(photo, how)
        alone.append(time.perf_counter() - began)
    began = time.perf_counter()
    words = [sys.executable, "-m", "finishlab.cli", "measure", "--field", "both", str(photo)]
    subprocess.run(words, check=True, capture_output=True)
    command = time.perf_counter() - began
    print(f"{photo.name}: {len(content) / 1e6:.1f} MB, {runs} runs each")
    for name, times in (("sent", transfer), ("then answered", answer), ("measured alone", alone)):
        print(f"{name:16s} {1000 * statistics.median(times):6.0f} ms (best {1000 * min(times):.0f})")
    ratio, best = statistics.median(answer) / statistics.median(alone), min(answer) / min(alone)
    print(f"answered in {ratio:.2f} times the measuring (best of each: {best:.2f}); at most {MOST_RATIO} is the bound")
    print(f"the command measure, once, with starting it: {1000 * command:.0f} ms")


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=9)
    parser.add_argument("--photo", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, serving(Path(folder) / "logbook") as server:
        for photo in [asked.photo] if asked.photo else rendered_photos(Path(folder)):
            run(server, photo, asked.runs)


if __name__ == "__main__":
    main()

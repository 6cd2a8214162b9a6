"""Picking greys and surface by clicks: the model by itself, and the window on a virtual screen with real clicks."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator

import numpy as np
import pytest
from click.testing import CliRunner
from conftest import Photos, Run
from hypothesis import given
from hypothesis import strategies as st

from finishlab.cli import finishlab
from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.errors import UsageError
from finishlab.measure.areas import GreyArea, PixelPolygon, PixelRect
from finishlab.measuring.picking import KNOWN_GREYS, Picking, preview

TOOLS = ("Xvfb", "xdotool")


# -- the model


def test_two_clicks_make_a_grey_and_two_a_surface() -> None:
    """Two corners, in any order, name a rectangle of full-size pixels; the line to repeat it names both."""
    picking = Picking((4000, 3000), (1000, 750))
    assert picking.missing == "a grey of known lightness"
    picking.click(30, 20, 50.0)
    picking.click(10, 40, 50.0)
    assert picking.greys == [GreyArea(PixelRect(42, 82, 81, 81), 50.0)]
    assert picking.missing == "the surface to measure"
    picking.choose("area")
    picking.click(100, 100, 0.0)
    picking.click(200, 300, 0.0)
    assert picking.missing == ""
    assert picking.area == PixelRect(402, 402, 401, 801)
    line = "finishlab measure 'my board.jpg' --grey 42,82,81,81:50 --area 402,402,401,801"
    assert picking.command("my board.jpg") == line


def test_a_polygon_is_clicked_corner_by_corner_and_closed() -> None:
    """Clicks of the polygon tool are its corners in order; closed it is the surface, named by --polygon."""
    picking = Picking((500, 400), (500, 400))
    picking.click(1, 1, 49.5)
    picking.click(20, 20, 49.5)
    picking.choose("polygon")
    for x, y in ((100, 100), (300, 110), (200, 300)):
        picking.click(x, y, 0.0)
    picking.close()
    assert picking.area == PixelPolygon(((100, 100), (300, 110), (200, 300)))
    assert picking.command("b.jpg").endswith("--grey 1,1,20,20:49.5 --polygon 100,100,300,110,200,300")


def test_what_cannot_be_a_surface_is_said_and_the_clicks_stay() -> None:
    """A polygon that crosses itself is refused; its corners stay, so that the last can be taken back."""
    picking = Picking((500, 400), (500, 400))
    picking.choose("polygon")
    for x, y in ((0, 0), (100, 100), (100, 0), (0, 100)):
        picking.click(x, y, 0.0)
    with pytest.raises(UsageError, match="cross"):
        picking.close()
    picking.undo()
    picking.close()
    assert picking.area == PixelPolygon(((0, 0), (100, 100), (100, 0)))


def test_a_grey_without_a_lightness_is_not_taken() -> None:
    """A grey whose L* is no number, or cannot be, is refused, and the corner waits for a better one."""
    picking = Picking((500, 400), (500, 400))
    picking.click(1, 1, float("nan"))
    with pytest.raises(UsageError, match="no lightness"):
        picking.click(9, 9, float("nan"))
    assert picking.greys == []
    picking.click(9, 9, 60.0)
    assert picking.greys == [GreyArea(PixelRect(1, 1, 9, 9), 60.0)]


def test_undo_goes_back_step_by_step() -> None:
    """Undo takes back corners first, then greys and surfaces, the last first; an earlier surface comes back."""
    picking = Picking((500, 400), (500, 400))
    picking.click(1, 1, 50.0)
    picking.click(9, 9, 50.0)
    picking.choose("area")
    for x in (10, 20, 30, 40):
        picking.click(x, x, 0.0)
    assert picking.area == PixelRect(30, 30, 11, 11)
    picking.click(3, 3, 0.0)
    picking.undo()
    assert picking.corners == []
    picking.undo()
    assert picking.area == PixelRect(10, 10, 11, 11)
    picking.undo()
    picking.undo()
    picking.undo()
    assert picking.area is None
    assert not picking.greys
    with pytest.raises(UsageError, match="a grey of known lightness"):
        picking.command("b.jpg")


@given(
    st.tuples(st.integers(50, 12000), st.integers(50, 9000)),
    st.integers(1, 12),
    st.floats(0, 1, exclude_max=True),
    st.floats(0, 1, exclude_max=True),
)
def test_every_click_lands_in_the_photo_where_it_was_seen(
    full: tuple[int, int], factor: int, across: float, down: float
) -> None:
    """A pixel of the shown photo and the full-size pixel it stands for are at one place, within one shown pixel."""
    shown = (max(1, full[0] // factor), max(1, full[1] // factor))
    picking = Picking(full, shown)
    click = int(across * shown[0]), int(down * shown[1])
    place = picking.to_full(*click)
    assert 0 <= place[0] < full[0]
    assert 0 <= place[1] < full[1]
    assert np.abs(np.array(picking.to_shown(*place)) - click).max() <= 1.0


def test_known_greys_are_what_their_names_say() -> None:
    """The cards' L* is the CIE 1976 lightness of 18 and 90 % (49.5, 96.0)."""
    assert KNOWN_GREYS["18 % grey card"] == round(float(lightness_of_reflectance(0.18)), 1) == 49.5
    assert KNOWN_GREYS["90 % white card"] == round(float(lightness_of_reflectance(0.90)), 1) == 96.0


def test_the_preview_fits_its_room_and_knows_the_full_size(photos: Photos) -> None:
    """A photo is shown upright, as large as the room allows, and never enlarged."""
    pixels, full = preview(photos("straight"), (600, 900))
    assert pixels.shape == (450, 600, 3)
    assert full == (1200, 900)
    assert preview(photos("straight"), (5000, 5000))[0].shape == (900, 1200, 3)


# -- the command and its window


def test_without_a_screen_one_sentence_says_so(run: Run, photos: Photos, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a display the command fails with one sentence and what to do instead; no traceback."""
    pytest.importorskip("tkinter", reason="this Python has no tkinter")
    monkeypatch.delenv("DISPLAY", raising=False)
    if sys.platform in ("win32", "darwin"):
        pytest.skip("this system always has a screen")
    result = run("pick", photos("straight"))
    assert result.exit_code == 1
    assert result.stdout == ""
    assert "needs a screen" in result.stderr
    assert "--grey X,Y,W,H:L" in result.stderr


def test_without_tkinter_one_sentence_says_so(run: Run, photos: Photos, monkeypatch: pytest.MonkeyPatch) -> None:
    """A Python without tkinter gets a sentence, not an import error."""
    monkeypatch.setitem(sys.modules, "tkinter", None)
    result = run("pick", photos("straight"))
    assert result.exit_code == 1
    assert "without tkinter" in result.stderr


@pytest.fixture
def screen(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """A virtual screen of 1600 x 1200 pixels."""
    if missing := [tool for tool in TOOLS if shutil.which(tool) is None]:
        pytest.skip(f"needs {' and '.join(missing)}")
    pytest.importorskip("tkinter", reason="this Python has no tkinter")
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "1600x1200x24", "-nolisten", "tcp"],  # noqa: S607 - on PATH
        pass_fds=(write,),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    with os.fdopen(read) as answer:
        number = answer.readline().strip()  # written when the server is ready
    monkeypatch.setenv("DISPLAY", f":{number}")
    yield f":{number}"
    server.terminate()
    server.wait()


def xdo(*words: object) -> str:
    """Send something to the virtual screen."""
    command = ["xdotool", *map(str, words)]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def click_at(x: float, y: float) -> None:
    """Click at a place of the screen."""
    xdo("mousemove", round(x), round(y), "sleep", 0.1, "click", 1, "sleep", 0.1)


def window_of(process: subprocess.Popen[str]) -> tuple[int, int]:
    """Wait for the window and return its top left corner on the screen."""
    for _ in range(300):
        found = subprocess.run(
            ["xdotool", "search", "--onlyvisible", "--name", "finishlab pick"],  # noqa: S607 - on PATH
            check=False,
            capture_output=True,
            text=True,
        ).stdout.split()
        if found:
            place = dict(
                line.split("=") for line in xdo("getwindowgeometry", "--shell", found[0]).split() if "=" in line
            )
            time.sleep(0.5)  # the window is there before its contents are
            return int(place["X"]), int(place["Y"])
        assert process.poll() is None, process.communicate()
        time.sleep(0.1)
    raise AssertionError("no window came up")


def test_clicks_in_the_window_measure_and_give_the_line(screen: str, photos: Photos) -> None:
    """Clicked on a real window, a grey and a surface are measured, and the line printed gives the same document."""
    path = photos("straight")
    with subprocess.Popen(
        [sys.executable, "-m", "finishlab.cli", "pick", str(path), "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "DISPLAY": screen},
    ) as process:
        left, top = window_of(process)
        # The photo is 1000 pixels high at most, so it is shown at its own size, 1200 x 900, in the window's corner.
        homography = photos.truth("straight").homography
        from test_workflow import pixels_of

        from finishlab.imaging.strip import STRIP

        grey = pixels_of(STRIP.patches[4].sample, homography)
        for x, y in ((grey.x, grey.y), (grey.x + grey.width - 1, grey.y + grey.height - 1)):
            click_at(left + x, top + y)
        xdo("key", "Return", "sleep", 0.1)  # too early: the window says what is missing and stays
        assert process.poll() is None
        choice = left + 120, top + 900 + 20  # the second of the tools below the photo
        click_at(*choice)
        for x, y in ((400, 220), (800, 340)):
            click_at(left + x, top + y)
        xdo("key", "Return")
        out, err = process.communicate(timeout=60)
    assert process.returncode == 0, err
    rect = f"{grey.x},{grey.y},{grey.width},{grey.height}:49.5"
    assert f"--grey {rect} --area 400,220,401,121" in err
    typed = CliRunner().invoke(finishlab, ["measure", str(path), "--json", "--grey", rect, "--area", "400,220,401,121"])
    assert typed.exit_code == 0
    assert out == typed.stdout


def test_a_closed_window_measures_nothing(screen: str, photos: Photos) -> None:
    """Escape closes the window; nothing is measured, and that is no failure."""
    with subprocess.Popen(
        [sys.executable, "-m", "finishlab.cli", "pick", str(photos("straight"))],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "DISPLAY": screen},
    ) as process:
        left, top = window_of(process)
        xdo("mousemove", left + 50, top + 50, "key", "Escape")
        out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (0, "")
    assert "nothing was measured" in err


def test_area_and_polygon_are_one_thing(run: Run) -> None:
    """Naming the surface both ways is a usage error, told before the photo is opened."""
    result = run("measure", "x.jpg", "--grey", "1,1,9,9:50", "--area", "1,1,9,9", "--polygon", "1,1,90,1,9,90")
    assert result.exit_code == 2
    assert "named twice" in result.stderr

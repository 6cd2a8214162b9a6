"""``finishlab camera``, and what measuring and logging do with what it learned; on rendered photos."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from conftest import BASE, CAMERA, Photos, Run
from photo_samples import jpeg_photo
from render.chart import ChartCard
from render.photo import render_scene
from render.view import View, homography, project

from finishlab.colorimetry.spaces import chart_lab, chart_words, edition_named
from finishlab.imaging.strip import Rect
from finishlab.logbook.store import Logbook

CHART = replace(
    BASE,
    board=None,
    chart=ChartCard(Rect(44.0, -75.0, 102.0, 70.0)),
    view=View(1400, 1050, strip_share=0.6, tilt=3.0, aim=(95.0, -12.0)),
    seed=31,
)
EDITION = ("--edition", "mean of 30")


@pytest.fixture(scope="session")
def chart(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A rendered photo of the chart beside the strip, by the camera of all other photos."""
    path = tmp_path_factory.mktemp("chart") / "chart.jpg"
    pixels = render_scene(replace(CHART, jpeg_quality=None)).pixels
    path.write_bytes(jpeg_photo(pixels, exif=CAMERA))
    return path


@pytest.fixture
def learned(run: Run, chart: Path) -> Run:
    """The command, on a logbook that knows the camera in daylight."""
    done = run("camera", "learn", chart, *EDITION)
    assert done.exit_code == 0, done.output
    return run


def test_learning_names_camera_light_edition_and_error(run: Run, chart: Path) -> None:
    """`camera learn` prints the camera and its light, and says chart edition and error."""
    done = run("camera", "learn", chart, *EDITION)
    assert done.exit_code == 0
    assert done.stdout == "Test One in daylight\n"
    said = " ".join(done.stderr.split())
    assert "chart: 24-patch chart, mean of 30" in said
    assert "Absolute error, on chart colours it had not seen" in said
    assert "boosts saturation by" in said


@pytest.mark.parametrize(
    ("typed", "kept"),
    [("ColorChecker 2005", "2005"), ("FROM november 2014", "from November 2014"), ("ISO 17321-1", "ISO 17321-1")],
)
def test_an_edition_is_named_by_its_years_or_as_a_library_names_it(typed: str, kept: str) -> None:
    """No maker's name is needed for a chart; what a colour library calls it is understood, and so are old logbooks."""
    assert edition_named(typed) == kept
    assert chart_lab(typed) == chart_lab(kept)
    assert chart_words(typed) == f"24-patch chart, {kept}"
    assert chart_words("9 patches named by hand") == "9 patches named by hand"


def test_learning_beside_a_strip_learns_its_greys(learned: Run, photos: Photos) -> None:
    """The strip in the chart's photo is known from then on, and measuring it says so."""
    greys = json.loads(learned("strip", "list", "--json").stdout)["strips"]
    assert [each["source"] for each in greys] == ["photo"]
    photo = json.loads(learned("measure", photos("light_board"), "--json").stdout)["photos"][0]
    assert photo["strip"]["number"] == greys[0]["number"]


def test_patches_can_be_named_by_hand(run: Run, chart: Path) -> None:
    """With --grey and --patch no chart is looked for; one without the other, or with an edition, is refused."""
    labs = list(chart_lab("mean of 30").values())
    assert CHART.chart is not None
    corners = project(homography(CHART.view), CHART.chart.corners())
    places = [
        corners[0] + (i % 6 + 0.5) / 6 * (corners[1] - corners[0]) + (i // 6 + 0.5) / 4 * (corners[3] - corners[0])
        for i in range(24)
    ]
    rects = [f"{x - 7:.0f},{y - 7:.0f},14,14" for x, y in places]
    greys = [word for i in range(18, 24) for word in ("--grey", f"{rects[i]}:{labs[i][0]:.2f}")]
    patches = [word for i in range(24) for word in ("--patch", f"{rects[i]}:" + ",".join(f"{v:.2f}" for v in labs[i]))]
    done = run("camera", "learn", chart, *greys, *patches)
    assert done.exit_code == 0, done.output
    assert "24 patches named by hand" in " ".join(done.stderr.split())
    assert run("camera", "learn", chart, *patches).exit_code == 2
    assert run("camera", "learn", chart, *greys, *patches, *EDITION).exit_code == 2
    assert run("camera", "learn", chart, *greys, "--patch", "1,2,3,4:50").exit_code == 2


def test_the_learned_camera_is_listed_shown_and_forgotten(learned: Run) -> None:
    """`list` and `show` give the profile, as text and as one document; after `forget` it is gone."""
    assert "Test One" in learned("camera", "list").stdout
    document = json.loads(learned("camera", "show", "test one", "--json").stdout)
    assert document["format"] == "finishlab/cameras/1"
    assert document["cameras"][0]["chart"] == "mean of 30"
    assert len(document["cameras"][0]["coefficients"]) == 3
    assert "mean of 30" in learned("camera", "show", "Test One").stdout
    assert learned("camera", "forget", "Test One").exit_code == 0
    assert json.loads(learned("camera", "list", "--json").stdout)["cameras"] == []
    gone = learned("camera", "show", "Test One")
    assert gone.exit_code == 6
    assert "no profile" in gone.stderr


def test_measuring_uses_the_profile_unless_told_not_to(learned: Run, photos: Photos) -> None:
    """`measure` tells the profile in text and document; `--no-profile` and another light leave it out."""
    photo = photos("light_board")
    with_it = json.loads(learned("measure", photo, "--json").stdout)["photos"][0]
    assert with_it["camera_profile"]["chart"] == "mean of 30"
    text = learned("measure", photo).stdout
    assert "camera profile of Test One" in " ".join(text.split())
    for option in (("--no-profile",), ("--light", "evening lamp")):
        without = json.loads(learned("measure", photo, *option, "--json").stdout)["photos"][0]
        assert "camera_profile" not in without
        assert without["fields"]["board"]["lab"] != with_it["fields"]["board"]["lab"]


def test_measuring_makes_no_logbook(run: Run, photos: Photos) -> None:
    """Looking for a profile does not make a logbook where there is none."""
    assert run("measure", photos("light_board")).exit_code == 0
    assert not run.logbook.exists()


def test_logging_uses_the_profile_of_the_same_light_only(learned: Run, photos: Photos) -> None:
    """A board logged in daylight is measured with the profile, one in lamp light without."""
    assert learned("board", "add", photos("light_board"), "--species", "ash").exit_code == 0
    assert learned("board", "add", photos("dark_board"), "--species", "ash", "--light", "lamp").exit_code == 0
    boards = json.loads(learned("board", "list", "--json").stdout)["boards"]
    told = [board["measurements"][0]["camera_profile"] for board in boards]
    assert told[0]["camera"] == "Test One"
    assert told[1] is None


def test_mixing_profiles_is_doubted(run: Run, chart: Path, photos: Photos) -> None:
    """A floor measured without a profile and a board with one get the doubt `profiles-differ`."""
    assert run("floor", "add", photos("floor1")).exit_code == 0
    assert run("camera", "learn", chart, *EDITION).exit_code == 0
    assert run("board", "add", photos("light_board"), "--species", "ash").exit_code == 0
    ranking = json.loads(run("rank", "--json").stdout)
    assert "profiles-differ" in [d["code"] for d in ranking["ranking"][0]["doubts"]]
    assert run("floor", "add", photos("floor2")).exit_code == 0
    assert run("floor", "remove", "F1").exit_code == 0
    ranking = json.loads(run("rank", "--json").stdout)
    assert "profiles-differ" not in [d["code"] for d in ranking["ranking"][0]["doubts"]]


def test_learning_again_takes_the_place_and_keeps_the_history(learned: Run, chart: Path) -> None:
    """A second profile of one camera and light holds instead of the first, whose entry stays in the database."""
    assert learned("camera", "learn", chart, "--edition", "ISO 17321-1").exit_code == 0
    with Logbook.open(learned.logbook) as log:
        (kept,) = log.camera_profiles()
        assert (kept.camera, kept.light, kept.chart) == ("Test One", "daylight", "ISO 17321-1")
        assert log.photo(kept.photo_id).file_name == "chart.jpg"


def test_corners_can_be_given(run: Run, chart: Path) -> None:
    """With --corners the chart is not looked for; words that are no corner are refused."""
    corners = project(homography(CHART.view), CHART.chart.corners()) if CHART.chart else np.zeros((4, 2))
    named = [f"{x:.0f},{y:.0f}" for x, y in corners]
    assert run("camera", "learn", chart, *EDITION, "--corners", *named).exit_code == 0
    wrong = run("camera", "learn", chart, "--corners", "a,b", *named[1:])
    assert wrong.exit_code == 2
    assert "is not a corner" in wrong.stderr


def test_a_photo_without_a_chart_teaches_nothing(run: Run, photos: Photos) -> None:
    """Exit code 4 and a sentence; no profile is kept."""
    done = run("camera", "learn", photos("pair"))
    assert done.exit_code == 4
    assert "No 24-patch chart" in done.stderr
    assert not run.logbook.exists()


def test_what_was_done_to_a_camera_is_told_and_taken_back(learned: Run) -> None:
    """The history calls a profile a profile; `undo` of forgetting it lets it hold again."""
    before = learned("camera", "list").stdout
    assert learned("camera", "forget", "Test One").exit_code == 0
    told = learned("history").stdout
    assert "profile learned" in told
    assert "profile forgotten" in told
    assert learned("undo").exit_code == 0
    assert learned("camera", "list").stdout == before

"""The workflow: photos found, measured and logged, boards compared with the floor; on rendered photos."""

from __future__ import annotations

import datetime as dt
import pickle
import shutil
from pathlib import Path

import numpy as np
import pytest
from conftest import STRIP_NUMBER, Photos
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from render.printers import Printer
from render.view import project
from rendered import greys_of_print

from finishlab import (
    BoardRecord,
    FloorSpotRecord,
    GreyArea,
    Logbook,
    MeasureOptions,
    PixelRect,
    errors,
    log_board,
    log_board_photos,
    log_floor_spots,
    measure_photo,
    measure_photos,
    rank_boards,
)
from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import lightness_of_reflectance
from finishlab.errors import ExitCode, FinishlabError, LogbookError, NoStripError, PhotoError, QualityError, UsageError
from finishlab.imaging.strip import STRIP, Rect
from finishlab.logbook.stored import change_line
from finishlab.measuring import PhotoResult, expand_photos, inspect_photo, picture_paths, worst_exit_code
from finishlab.measuring.logged import photo_day
from finishlab.measuring.shown import picture_of
from finishlab.photos import read_photo
from finishlab.rank.comparing import compare


def pixels_of(rect: Rect, homography: np.ndarray) -> PixelRect:
    """Return the largest upright rectangle of pixels in a rectangle of the strip frame seen straight from above."""
    corners = project(homography, rect.corners())
    (left, top), (right, bottom) = np.ceil(corners.min(axis=0)), np.floor(corners.max(axis=0))
    return PixelRect(int(left), int(top), int(right - left), int(bottom - top))


def greys_of(photos: Photos, name: str) -> list[GreyArea]:
    """Return the strip's greys in a rendered photo as someone would name them by hand."""
    reflectance = Printer().reflectance(np.array(STRIP.greys))
    homography = photos.truth(name).homography
    return [
        GreyArea(pixels_of(p.sample, homography), round(float(lightness_of_reflectance(reflectance[p.level])), 1))
        for p in STRIP.patches
    ]


def true_lab(photos: Photos, name: str, field: str) -> tuple[float, float, float]:
    """Return the true colour of a surface in a rendered photo."""
    truth = photos.truth(name)
    lab = truth.board_lab if field == "board" else truth.floor_lab
    assert lab is not None
    return lab


def measured(photos: Photos, *names: str, fields: tuple[str, ...] = ("board",)) -> list[PhotoResult]:
    """Measure photos by name."""
    return measure_photos([photos(name) for name in names], MeasureOptions(fields))  # type: ignore[arg-type] # any field


# -- finding photos


def test_a_folder_stands_for_its_photos_by_name(tmp_path: Path) -> None:
    """A folder gives the photos in it, sorted; hidden files, other files and folders in it are left out."""
    for name in ("b.JPG", "a.heic", "notes.txt", ".hidden.jpg"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "c.jpg").mkdir()
    assert [(path.name, error) for path, error in expand_photos([tmp_path])] == [("a.heic", None), ("b.JPG", None)]


def test_a_photo_named_twice_is_measured_once(tmp_path: Path) -> None:
    """A photo named by itself and with its folder counts once, where it was named first."""
    for name in ("a.jpg", "b.jpg"):
        (tmp_path / name).write_bytes(b"x")
    assert [path.name for path, _ in expand_photos([tmp_path / "b.jpg", tmp_path])] == ["b.jpg", "a.jpg"]


def test_an_empty_folder_is_an_error_that_names_it(tmp_path: Path) -> None:
    """A folder without photos gives an error of its own and does not stop the others."""
    ((path, error),) = expand_photos([tmp_path])
    assert path == tmp_path
    assert isinstance(error, PhotoError)
    assert str(tmp_path) in error.message


# -- measuring


def test_a_rendered_pair_is_measured_near_the_truth(photos: Photos) -> None:
    """Beside a print that was not learned board and floor are found within 6 dE00, their difference within 0.5.

    How dark such a print is stays open, so both are found too light or too dark together; the interval of their
    difference holds the truth.
    """
    truth = photos.truth("pair")
    found = measure_photo(photos("pair"), fields=("board", "floor"))
    assert found.strip is not None
    assert found.strip.number == STRIP_NUMBER
    assert delta_e_00(found.fields["board"].estimate.lab, true_lab(photos, "pair", "board")) < 6.0
    assert delta_e_00(found.fields["floor"].estimate.lab, true_lab(photos, "pair", "floor")) < 6.0
    assert found.pair is not None
    assert truth.delta_e00 is not None
    assert abs(found.pair.value - truth.delta_e00) < 0.5
    assert found.pair.low <= truth.delta_e00 <= found.pair.high


def test_a_large_photo_is_measured_reduced_or_whole_as_the_strip_needs(photos: Photos, tmp_path: Path) -> None:
    """A photo decoded small is measured so only where the strip is large in it; places are given at full size."""
    with Image.open(photos("straight")) as small:
        far = Image.new("RGB", (small.width * 3, small.height * 3), (90, 85, 80))
        far.paste(small, (small.width, small.height))
        for factor, start, reduced in ((4.0, small, True), (1.25, far, False)):
            place = tmp_path / f"{factor}.jpg"
            size = (round(start.width * factor), round(start.height * factor))
            start.resize(size, Image.Resampling.BICUBIC).save(place, quality=90)
            inspection, image = inspect_photo(place)
            strip = inspection.measurement.strip
            assert strip is not None
            assert (image.scale < 1.0) == reduced
            assert strip.px_per_mm == pytest.approx(0.62 * 1200 * factor / 190, rel=0.01)


def test_what_can_not_be_meant_is_refused_before_a_photo_is_opened() -> None:
    """Unknown fields, a grey without an area and two fields by hand are usage errors."""
    grey, area = GreyArea(PixelRect(0, 0, 9, 9), 50.0), PixelRect(0, 0, 90, 90)
    for options in ({"fields": ()}, {"fields": ("lid",)}, {"greys": (grey,)}, {"area": area}):
        with pytest.raises(UsageError):
            measure_photo("no such photo.jpg", **options)
    with pytest.raises(UsageError, match="only one surface"):
        MeasureOptions(("board", "floor"), greys=(grey,), area=area)


def test_by_hand_the_strips_greys_give_the_colour_the_strip_gives(photos: Photos) -> None:
    """With the strip's greys named by hand, the colour is within 0.5 dE00 of the one measured beside the strip."""
    homography = photos.truth("straight").homography
    area = pixels_of(STRIP.fields["board"], homography)
    known = greys_of_print(Printer(), STRIP_NUMBER)
    by_strip = measure_photo(photos("straight"), strip_greys=[known]).fields["board"]
    found = measure_photo(photos("straight"), greys=greys_of(photos, "straight"), area=area)
    assert found.strip is None
    assert set(found.fields) == {"board"}
    assert delta_e_00(found.fields["board"].estimate.lab, by_strip.estimate.lab) < 0.5
    assert "no-strip-used" in [d.code for d in found.fields["board"].doubts]
    assert found.settings["area"] == str(area)


def test_one_grey_does_and_says_that_it_is_one(photos: Photos) -> None:
    """One grey gives a colour within 2 dE00 here, with a doubt about it and more uncertainty than many give."""
    homography = photos.truth("straight").homography
    area = pixels_of(STRIP.fields["board"], homography)
    greys = greys_of(photos, "straight")
    many = measure_photo(photos("straight"), greys=greys, area=area).fields["board"]
    middle = next(grey for grey in greys if 50 < grey.lightness < 60)
    one = measure_photo(photos("straight"), greys=[middle], area=area).fields["board"]
    assert delta_e_00(one.estimate.lab, many.estimate.lab) < 2.0
    assert {"no-strip-used", "one-grey"} <= {d.code for d in one.doubts}
    assert np.trace(one.estimate.total_covariance()) > 1.5 * np.trace(many.estimate.total_covariance())


@given(st.permutations(range(6)))
@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_greys_that_contradict_each_other_are_refused(photos: Photos, order: list[int]) -> None:
    """Greys whose lightness cannot be true together give no colour, in whatever order they are named by mistake."""
    greys = greys_of(photos, "straight")[:12:2]
    named = [GreyArea(grey.rect, greys[other].lightness) for grey, other in zip(greys, order, strict=True)]
    area = PixelRect(320, 200, 500, 140)
    if named == greys:
        measure_photo(photos("straight"), greys=named, area=area)
        return
    with pytest.raises(QualityError, match="disagree"):
        measure_photo(photos("straight"), greys=named, area=area)


@pytest.mark.parametrize("error", [-2.0, 2.0])
def test_a_grey_that_is_a_little_off_is_taken(photos: Photos, error: float) -> None:
    """A grey named 2 L* too light or too dark among others is no contradiction; the colour hardly moves."""
    greys = greys_of(photos, "straight")
    area = PixelRect(320, 200, 500, 140)
    true = measure_photo(photos("straight"), greys=greys, area=area).fields["board"]
    greys[4] = GreyArea(greys[4].rect, greys[4].lightness + error)
    off = measure_photo(photos("straight"), greys=greys, area=area).fields["board"]
    assert delta_e_00(off.estimate.lab, true.estimate.lab) < 0.5


def test_a_grey_that_is_clipped_is_refused(photos: Photos) -> None:
    """A grey too bright for the photo is not taken for a known lightness."""
    paper = GreyArea(pixels_of(STRIP.patches[0].sample, photos.truth("straight").homography), 94.0)
    with pytest.raises(QualityError, match="too bright"):
        measure_photo(photos("clipped"), greys=[paper], area=PixelRect(320, 200, 500, 140))


@pytest.mark.parametrize("text", ["", "1,2,3", "1,2,3,4,5", "a,b,c,d", "1.5,2,3,4", "-1,2,3,4", "1,2,0,4", "1,2,3,"])
def test_a_malformed_rectangle_is_named(text: str) -> None:
    """A rectangle that is none is a usage error with the text in it."""
    with pytest.raises(UsageError) as caught:
        PixelRect.parse(text)
    assert f"“{text}”" in caught.value.message


@pytest.mark.parametrize("text", ["1,2,3,4", "1,2,3,4:", "1,2,3,4:grey", "1,2,3,4:0", "1,2,3,4:101", "1,2,3,4:nan"])
def test_a_malformed_grey_is_named(text: str) -> None:
    """A grey without a possible lightness is a usage error with the text in it."""
    with pytest.raises(UsageError) as caught:
        GreyArea.parse(text)
    assert "1,2,3,4" in caught.value.message


def test_rectangles_read_back_as_written() -> None:
    """A rectangle and a grey print as they are typed."""
    assert str(GreyArea.parse("120,80,60,40:49.5")) == "120,80,60,40:49.5"


def test_the_picture_by_hand_shows_areas_and_colour(photos: Photos) -> None:
    """The checking picture of a photo without strip outlines what was named and holds the colour found."""
    grey = greys_of(photos, "straight")[4]
    area = PixelRect(320, 200, 400, 140)
    inspection, image = inspect_photo(photos("straight"), MeasureOptions(greys=(grey,), area=area))
    picture = picture_of(inspection, image)
    assert picture.shape == (900, 1200, 3)
    changed = (picture.astype(int) - image.encoded).any(axis=-1)
    assert changed[grey.rect.y - 2 : grey.rect.y, grey.rect.x].all()
    assert changed[200:340, 318].all()


# -- batches


def test_every_photo_is_tried_and_the_worst_code_is_the_answer(photos: Photos, tmp_path: Path) -> None:
    """In worker processes too, a photo that fails does not stop the others, and failures keep type, code and hint."""
    no_photo = tmp_path / "n.jpg"
    no_photo.write_text("no photo")
    gone = [tmp_path / f"gone{number}.jpg" for number in range(3)]
    names: list[Path] = [photos("no_strip"), no_photo, photos("pair"), *gone]
    done: list[int] = []
    results = measure_photos(names, workers=2, on_start=done.append, on_done=lambda: done.append(0))
    assert [r.path for r in results] == [str(name) for name in names]
    assert [r.error and r.error.code for r in results] == [
        "no-strip", "not-a-photo", None, *["photo-not-found"] * 3,
    ]  # fmt: skip
    assert isinstance(results[0].error, NoStripError)
    assert results[0].error.hint
    assert results[2].measurement == measure_photo(photos("pair"))
    assert worst_exit_code(results) == ExitCode.NO_STRIP
    assert done == [6, 0, 0, 0, 0, 0, 0]


def test_what_nobody_foresaw_is_one_photos_failure(photos: Photos, monkeypatch: pytest.MonkeyPatch) -> None:
    """A programming error in one photo becomes its failure, unless debugging asks for the traceback."""

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr("finishlab.measuring.inspect_photo", broken)
    monkeypatch.delenv("FINISHLAB_DEBUG", raising=False)
    (result,) = measured(photos, "pair")
    assert result.error is not None
    assert result.error.code == "unexpected"
    assert "ZeroDivisionError: by nothing" in result.error.message
    monkeypatch.setenv("FINISHLAB_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        measured(photos, "pair")


@pytest.mark.parametrize("name", sorted(n for n in vars(errors) if n.endswith("Error")))
def test_failures_travel_between_processes_whole(name: str) -> None:
    """A failure comes out of a worker process with its type, code, message and hint."""
    error = getattr(errors, name)("some-code", "A sentence.", "A hint.")
    back = pickle.loads(pickle.dumps(error))  # noqa: S301 - our own
    assert type(back) is type(error)
    assert back.as_dict() == error.as_dict()


def test_pictures_of_several_photos_do_not_overwrite_each_other() -> None:
    """One photo's picture has the name given; several have the photo's in theirs, and a number where that repeats."""
    assert picture_paths("c.png", [Path("a.jpg")]) == [Path("c.png")]
    several = picture_paths("o/c.png", [Path("x/a.jpg"), Path("y/a.jpg"), Path("b.jpg")])
    assert several == [Path("o/c-a.png"), Path("o/c-a-2.png"), Path("o/c-b.png")]
    assert picture_paths(None, [Path("a.jpg")]) == [None]


# -- logging


def test_a_logged_board_is_traced_to_its_photo(photos: Photos, logbook: Path) -> None:
    """The log keeps the photo's bytes, the strip's number, version and settings beside the figures."""
    with Logbook.open(logbook) as log:
        board = log_board(log, BoardRecord("ash"), measured(photos, "light_board"), dated=False)
        (found,) = board.measurements
        assert log.photo_path(found.photo).read_bytes() == photos("light_board").read_bytes()
        assert log.photo(found.photo).camera_model == "Test One"
        assert found.strip_number == STRIP_NUMBER
        assert found.version
        assert found.settings["fields"] == ["board"]
        assert log.strips() == (STRIP_NUMBER,)


def test_a_photo_dates_its_record(photos: Photos, logbook: Path) -> None:
    """Unless a date is given, the record has the day the photo was taken."""
    assert photo_day(photos("light_board")) == dt.date(2024, 5, 11)
    given = BoardRecord("ash", date=dt.date(2024, 5, 20))
    with Logbook.open(logbook) as log:
        results = measured(photos, "light_board")
        assert log_board(log, given, results).record.date == given.date
        log.remove("B1")
        assert log_board(log, given, results, dated=False).record.date == dt.date(2024, 5, 11)


def test_a_photo_is_logged_once(photos: Photos, logbook: Path, tmp_path: Path) -> None:
    """The same photo is refused for another board, for another floor spot, and twice in one call, under any name."""
    copy = tmp_path / "copy.jpg"
    shutil.copy(photos("pair"), copy)
    with Logbook.open(logbook) as log:
        log_board(log, BoardRecord("ash"), measured(photos, "pair"))
        with pytest.raises(LogbookError, match="logged as B1 already"):
            log_board(log, BoardRecord("ash"), measure_photos([copy]))
        with pytest.raises(LogbookError, match="named before it"):
            log_floor_spots(log, FloorSpotRecord(), measure_photos([photos("pair"), copy], MeasureOptions(("floor",))))
        assert [b.number for b in log.boards()] == ["B1"]
        assert log.floor_spots() == []
        log_floor_spots(log, FloorSpotRecord(), measured(photos, "pair", fields=("floor",)))
        with pytest.raises(LogbookError, match="logged as F1 already"):
            log_floor_spots(log, FloorSpotRecord(), measure_photos([copy], MeasureOptions(("floor",))))


def test_a_photo_that_changed_since_it_was_measured_is_not_logged(
    photos: Photos, logbook: Path, tmp_path: Path
) -> None:
    """The kept photo is the measured one, or nothing is logged."""
    copy = tmp_path / "copy.jpg"
    shutil.copy(photos("pair"), copy)
    results = measure_photos([copy])
    shutil.copy(photos("light_board"), copy)
    with Logbook.open(logbook) as log:
        with pytest.raises(LogbookError, match="not the one that was measured"):
            log_board(log, BoardRecord("ash"), results)
        assert log.boards() == []


def test_one_failed_photo_leaves_the_log_untouched(photos: Photos, logbook: Path) -> None:
    """A failure among several results is raised and none of them is logged."""
    with Logbook.open(logbook) as log:
        with pytest.raises(NoStripError):
            log_board(log, BoardRecord("ash"), measured(photos, "light_board", "no_strip"))
        assert log.boards() == []
        assert not list((logbook / "photos").rglob("*.jpg"))


def test_photos_without_a_spot_are_spots_of_their_own(photos: Photos, logbook: Path) -> None:
    """Two photos give two spots; with the spot's name they are repeats of one, also when logged one by one."""
    results = measured(photos, "floor1", "floor2", fields=("floor",))
    with Logbook.open(logbook) as log:
        assert [s.number for s in log_floor_spots(log, FloorSpotRecord(), results)] == ["F1", "F2"]
        log.remove("F1")
        log.remove("F2")
        for result in results:
            log_floor_spots(log, FloorSpotRecord(spot="By the stair"), [result])
        log_board(log, BoardRecord("ash"), measured(photos, "light_board"))
        assert rank_boards(log).floor.spots == 1


# -- comparing


def test_the_nearer_board_comes_first_and_the_interval_holds_the_truth(photos: Photos, logbook: Path) -> None:
    """Two boards and two floor spots of one strip are ranked as their true differences are."""
    with Logbook.open(logbook) as log:
        log_floor_spots(log, FloorSpotRecord(), measured(photos, "floor1", "floor2", fields=("floor",)))
        log_board(log, BoardRecord("ash", topcoat="satin"), measured(photos, "light_board"))
        log_board(log, BoardRecord("ash"), measured(photos, "dark_board"))
        ranking = rank_boards(log)
    floor = np.mean([true_lab(photos, "floor1", "floor"), true_lab(photos, "floor2", "floor")], axis=0)
    true = {
        number: float(delta_e_00(true_lab(photos, name, "board"), floor))
        for number, name in (("B1", "light_board"), ("B2", "dark_board"))
    }
    assert [b.board for b in ranking.boards] == sorted(true, key=lambda number: true[number])
    for board in ranking.boards:
        assert board.delta_e00.low <= true[board.board] <= board.delta_e00.high
        codes = {d.code for d in board.doubts}
        assert ("not-topcoated" in codes) == (board.board == "B2")
    assert {"few-spots", "one-light"} <= {d.code for d in ranking.floor.doubts}


def test_without_floor_spots_the_floors_beside_the_boards_serve(photos: Photos, logbook: Path) -> None:
    """A direct pair is kept with its board, and its floor is ranked against when no spot was logged."""
    with Logbook.open(logbook) as log:
        results = measured(photos, "pair", fields=("board", "floor"))
        board = log_board(log, BoardRecord("ash"), results, with_floor=True)
        assert len(board.pairs) == 1
        found = compare(log)
        assert found.ranking.floor.spots == 1
        assert results[0].measurement is not None
        assert results[0].measurement.pair is not None
        assert found.ranking.boards[0].delta_e00.value == pytest.approx(results[0].measurement.pair.value)


def test_boards_beside_another_strip_are_doubted(photos: Photos, logbook: Path) -> None:
    """A board photographed beside another strip than the floor says so."""
    with Logbook.open(logbook) as log:
        log_floor_spots(log, FloorSpotRecord(), measured(photos, "floor1", fields=("floor",)))
        log_board(log, BoardRecord("ash"), measured(photos, "other_strip"))
        (board,) = rank_boards(log).boards
    assert "0412 and 0413" in next(d.message for d in board.doubts if d.code == "strips-differ")


def test_the_light_is_the_one_with_most_boards_beside_a_measured_floor(photos: Photos, logbook: Path) -> None:
    """Boards are compared in one light; the rest is named, and another light can be asked for."""
    with Logbook.open(logbook) as log:
        log_floor_spots(log, FloorSpotRecord(light="Lamp"), measured(photos, "floor1", fields=("floor",)))
        log_board(log, BoardRecord("ash"), measured(photos, "light_board"))
        log_board(log, BoardRecord("ash"), measured(photos, "dark_board"))
        log_board_photos(log, "B1", measured(photos, "pair"), light="lamp")
        lamp = compare(log)
        assert (lamp.light, [b.board for b in lamp.ranking.boards], lamp.left_out) == ("lamp", ["B1"], ("B2",))
        with pytest.raises(LogbookError, match="floor was not photographed in the light “daylight”"):
            compare(log, light="daylight")
        with pytest.raises(LogbookError, match="“candle”"):
            compare(log, light="candle")


def test_a_floor_in_another_light_serves_with_a_doubt(photos: Photos, logbook: Path) -> None:
    """When no light holds both, boards are still compared, and each says that the lights differ."""
    with Logbook.open(logbook) as log:
        log_floor_spots(log, FloorSpotRecord(light="lamp"), measured(photos, "floor1", fields=("floor",)))
        log_board(log, BoardRecord("ash"), measured(photos, "light_board"))
        found = compare(log)
    assert found.light == "daylight"
    assert "lights-differ" in {d.code for d in found.ranking.boards[0].doubts}


def test_an_empty_logbook_says_what_is_missing(logbook: Path) -> None:
    """Without a floor there is nothing to rank, and the sentence says so."""
    with Logbook.open(logbook) as log, pytest.raises(LogbookError, match="floor has not been measured"):
        rank_boards(log)


def test_the_history_tells_what_was_changed(photos: Photos, logbook: Path) -> None:
    """A line of the history names who, what, and each field before and after."""
    with Logbook.open(logbook, who="Kim") as log:
        log_board(log, BoardRecord("ash", coats=2), measured(photos, "light_board"))
        log.edit_board("B1", coats=None, stain="walnut")
        log.remove("B1")
        lines = [change_line(change) for change in log.history("B1")]
    assert lines[0].endswith("logged by Kim: 1 photo in daylight")
    assert lines[1].endswith("changed by Kim: coats “2” -> none; stain none -> “walnut”") or lines[1].endswith(
        "changed by Kim: stain none -> “walnut”; coats “2” -> none"
    )
    assert lines[2].endswith("removed by Kim")


def test_every_failure_has_an_exit_code_of_the_contract() -> None:
    """A photo's failures are told apart by their exit codes, and the root's is 1."""
    assert FinishlabError("a", "b").exit_code == ExitCode.FAILURE
    assert [PhotoError.exit_code, NoStripError.exit_code, QualityError.exit_code] == [3, 4, 5]


@pytest.mark.parametrize("name", ["dark", "no_strip", "hidden_strip"])
def test_a_refused_photo_gets_its_picture_too(photos: Photos, tmp_path: Path, name: str) -> None:
    """A photo that gives no figure is drawn with what is known of it and the reason; the failure is told as before."""
    target = tmp_path / "why.png"
    (alone,) = measure_photos([photos(name)])
    (result,) = measure_photos([photos(name)], picture=target)
    assert result.error is not None
    assert alone.error is not None
    assert result.error.code == alone.error.code
    picture = read_photo(target).encoded
    assert picture.shape[0] > 900
    assert picture.shape[1] == 1200
    dark = picture[900:].max(axis=(1, 2)) < 60
    assert dark.any(), "the reason stands white on black under the photo"


def test_no_picture_of_what_is_no_photo(tmp_path: Path) -> None:
    """A file that cannot be read leaves no picture."""
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"\xff\xd8\xff\xe0 nothing")
    (result,) = measure_photos([broken], picture=tmp_path / "why.png")
    assert result.error is not None
    assert not (tmp_path / "why.png").exists()

"""What many tests stand on: workers, an empty logbook at no cost, rendered photos made once a session, the command."""

from __future__ import annotations

import gc
import os
import sqlite3
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Final

# Before NumPy is loaded: tests run beside one another already, and the matrices here are too small for two threads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
import numpy as np
import pytest
from click.testing import CliRunner, Result
from hypothesis import settings
from made_once import made_once, session_folder
from photo_samples import exif_block, jpeg_photo
from render.camera import Tone
from render.paper import PrintedStrip
from render.photo import render_scene
from render.scene import Scene, Surface, Truth, truth_of
from render.spectral import finish, print_material
from render.texture import Texture
from render.view import View
from sqlalchemy import Engine

from finishlab.cli import finishlab
from finishlab.files import LOGBOOK_FILE
from finishlab.imaging.strip import Rect
from finishlab.logbook import database
from finishlab.logbook.migrations import HEAD
from finishlab.logbook.store import Logbook

if TYPE_CHECKING:
    from page_visits import Visits


def amount(usual: int, wide: int) -> int:
    """Return how often a trial is repeated: `usual` in the suite, `wide` where FINISHLAB_WIDE is set.

    What repeats one claim in many random worlds costs most of the suite's time; the wide amounts are for a release.
    """
    return wide if os.environ.get("FINISHLAB_WIDE") else usual


COVERING: Final = frozenset(
    """
    assignment by_hand cli_camera cli_record colorimetry_spaces comparing correction errors_of_colours estimate exchange
    formulas glare guards learn_print logbook logbook_database measure overlay print_and_tone records rectify_resample
    reliability strip_geometry strip_greys surface two_lights undo undo_stair
    """.split()  # noqa: SIM905 - thirty names in quotes would be thirty lines
)
"""Files of tests in which coverage is counted: the fewest and quickest of the core's own that show what all of them do.

Following every line makes a test half as slow again. What only the others come across is not counted.
"""
MOST_WORKERS: Final = 8
"""More would each load the libraries for a handful of files."""
_UPGRADE: Final = database._upgrade  # noqa: SLF001 - what is put in its place here is all that it does

# A run asks what the last one asked, so that red means changed code; `--hypothesis-profile=search` asks new ones.
# No case is judged by its time.
settings.register_profile("steady", derandomize=True, database=None, deadline=None)
settings.register_profile("search", derandomize=False, deadline=None)
settings.load_profile("steady")

STRIP_NUMBER: Final = 412
CAMERA: Final = exif_block(make="Test", model="One", original="2024:05:11 10:30:00", offset="+00:00")
BASE: Final = Scene(
    strip=PrintedStrip(number=STRIP_NUMBER),
    view=View(1200, 900, strip_share=0.62, rotation=2.0, tilt=5.0),
    tone=Tone(contrast=0.2),
    saturation=1.1,
)
"""A good photo: board and floor beside the strip, even light, no glare."""


def board(golden: float, seed_name: str) -> Surface:
    """Return a stained board, the darker the more stain."""
    wood = finish("crosscut", lighten=0.16, stains={"golden": golden, "red-brown": golden / 2}, name=seed_name)
    return Surface(wood, Rect(20.0, -150.0, 150.0, 150.0), Texture(direction=90.0, grain=0.2, pores=0.01))


def floor(lab: tuple[float, float, float]) -> Surface:
    """Return a printed floor of a colour."""
    texture = Texture(grain=0.2, pores=0.01, plank_mm=180.0, seam_offset_mm=190.0)
    return Surface(print_material(lab, name="floor"), Rect(-300.0, 46.0, 800.0, 500.0), texture)


SCENES: Final[dict[str, Scene]] = {
    "floor1": replace(BASE, board=None, floor=floor((55.0, 7.0, 22.0)), seed=11),
    "floor2": replace(BASE, board=None, floor=floor((56.5, 6.5, 21.0)), seed=12),
    "light_board": replace(BASE, board=board(0.15, "light"), floor=None, seed=13),
    "dark_board": replace(BASE, board=board(0.60, "dark"), floor=None, seed=14),
    "pair": replace(BASE, board=board(0.30, "middle"), floor=floor((55.0, 7.0, 22.0)), seed=15),
    "other_strip": replace(BASE, floor=None, strip=PrintedStrip(number=413), seed=16),
    "straight": replace(BASE, view=View(1200, 900, strip_share=0.62, rotation=0.0, tilt=0.0), seed=17),
    "half_strip": replace(BASE, view=View(1200, 900, strip_share=0.62, rotation=0.0, tilt=0.0), seed=17),
    "hidden_strip": replace(BASE, view=View(1200, 900, strip_share=0.62, rotation=0.0, tilt=0.0), seed=17),
    "no_strip": replace(BASE, strip=None, seed=18),
    "blurred": replace(BASE, blur_px=9.0, seed=19),
    "clipped": replace(BASE, seed=20),
    "dark": replace(BASE, exposure=0.012, seed=21),
}
"""Name of a photo -> what it shows."""


@dataclass(frozen=True)
class Photos:
    """The rendered photos, by name."""

    folder: Path

    def __call__(self, name: str) -> Path:
        """Return the file of a photo, rendered now if it was not asked for before."""
        return made_once(self.folder / f"{name}.jpg", lambda path: path.write_bytes(self._taken(name)))

    @staticmethod
    def _taken(name: str) -> bytes:
        pixels = _spoiled(name, render_scene(replace(SCENES[name], jpeg_quality=None)).pixels)
        return jpeg_photo(pixels, exif=CAMERA)

    def truth(self, name: str) -> Truth:
        """Return the truth about a photo."""
        return truth_of(SCENES[name])


def _spoiled(name: str, pixels: np.ndarray) -> np.ndarray:
    """Return the pixels after what no scene does: the strip cut or covered, or an exposure far too long."""
    height, width = pixels.shape[:2]
    strip = slice(int(0.38 * height), int(0.62 * height))
    pixels = pixels.copy()
    if name == "half_strip":
        return pixels[:, : width // 2]
    if name == "hidden_strip":
        pixels[strip, int(0.27 * width) :] = 90
        pixels[strip.start : height // 2, :] = 90
    elif name == "clipped":
        pixels = np.minimum(pixels * 2.4, 255.0).astype(np.uint8)
    return pixels


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Return how many workers share the tests: one a processor for the suite, none where files or tests are named."""
    if config.args_source is pytest.Config.ArgsSource.ARGS:
        return 0
    # Read when a worker is started: pictures that come and go leave their memory to the next, which the system would
    # otherwise take back and clear again, a fourteenth of the time. Of the GNU C library; others pass it over.
    for name in ("MALLOC_MMAP_THRESHOLD_", "MALLOC_TRIM_THRESHOLD_"):
        os.environ.setdefault(name, str(1 << 30))
    return min(MOST_WORKERS, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1)


def pytest_collection_finish() -> None:
    """Look for garbage less often: what tests hold is large, and searching it takes longer than running them."""
    gc.set_threshold(20_000, 10, 10)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Stop counting coverage while a test runs that is not counted."""
    for item in items:
        if item.path.stem.removeprefix("test_") not in COVERING:
            item.add_marker("no_cover")


@pytest.fixture(scope="session", autouse=True)
def _new_logbooks_are_copied(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Give a new logbook the tables of one that was migrated once, a tenth of the time that migrations take.

    Programs that a test starts, and tests that ask for `real_migrations`, migrate.
    """
    folder = tmp_path_factory.mktemp("template")
    Logbook.open(folder).close()
    template = sqlite3.connect(folder / LOGBOOK_FILE, check_same_thread=False)  # the page opens logbooks in threads

    def upgrade(engine: Engine, revision: str) -> None:
        with engine.connect() as connection:
            empty = engine.dialect.name == "sqlite" and database.stored_revision(connection) is None
            driver = connection.connection.driver_connection
            connection.rollback()
            if empty and revision == HEAD and isinstance(driver, sqlite3.Connection):
                template.backup(driver)
                return
        _UPGRADE(engine, revision)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(database, "_upgrade", upgrade)
        yield
    template.close()


@pytest.fixture
def real_migrations(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let new logbooks come up by the migrations, as they do for users."""
    monkeypatch.setattr(database, "_upgrade", _UPGRADE)


@pytest.fixture(scope="session")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Photos:
    """The rendered photos, shared by all workers."""
    return Photos(session_folder(tmp_path_factory, "photos"))


@dataclass(frozen=True)
class Run:
    """The command, run in this process on a logbook of its own."""

    logbook: Path

    def __call__(self, *args: object, columns: int = 100, answers: str = "") -> Result:
        """Run it with these arguments; the terminal has so many columns, and these lines are typed into it."""
        env = {"FINISHLAB_LOGBOOK": str(self.logbook), "FINISHLAB_DEBUG": "", "COLUMNS": str(columns)}
        return CliRunner(env=env).invoke(finishlab, [str(arg) for arg in args], input=answers)


@pytest.fixture
def logbook(tmp_path: Path) -> Path:
    """The folder of a logbook that is not made yet."""
    return tmp_path / "logbook"


@pytest.fixture
def run(logbook: Path) -> Run:
    """The command, on a logbook that is not made yet."""
    return Run(logbook)


@pytest.fixture
def page(logbook: Path) -> Iterator[Visits]:
    """A paired browser on the page of the logbook."""
    from page_visits import visiting  # loads what other tests need not

    with visiting(logbook) as visits:
        yield visits


@pytest.fixture
def stranger(logbook: Path) -> Iterator[Visits]:
    """A browser that is not paired, on the page of the logbook."""
    from page_visits import visiting

    with visiting(logbook, paired=False) as visits:
        yield visits


@pytest.fixture(scope="session")
def colour() -> ModuleType:
    """colour-science, whose import warns when a plot library is missing."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    module: ModuleType = colour
    return module

"""What scripts may rely on: the names the package offers, what loading it costs, and the example of docs/python.md."""

from __future__ import annotations

import importlib
import inspect
import os
import re
import subprocess
import sys
from importlib import resources
from importlib.metadata import entry_points, version
from pathlib import Path
from typing import Final

import pytest

import finishlab

ROOT: Final = Path(__file__).parents[1]
HEAVY: Final = (
    "PIL",
    "alembic",
    "colour",
    "cv2",
    "jinja2",
    "pillow_heif",
    "reportlab",
    "rich",
    "scipy",
    "skimage",
    "sqlalchemy",
)
"""Libraries that take long to load."""
LOADED: Final = f"print(sorted(set({HEAVY!r}) & set(sys.modules)))"
"""Prints which of them a program has loaded."""

OLDER = {"How": "MeasureOptions"}
"""Older name that scripts may go on using -> what it is called now."""


def run(program: str, *words: str, folder: Path | None = None) -> str:
    """Run a Python program in a fresh process with warnings as errors; return what it prints."""
    settings = {name: value for name, value in os.environ.items() if name != "FINISHLAB_LOGBOOK"}
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", program, *words],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env=settings,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout


def test_offered_names_are_there_and_documented() -> None:
    """Every name the package offers can be had from it, is the thing of that name, says what it is and is listed."""
    for name in finishlab.__all__:
        thing = getattr(finishlab, name)
        assert name in dir(finishlab), name
        if name == "__version__":
            assert re.fullmatch(r"\d+\.\d+\.\d+", thing)
        elif inspect.isfunction(thing) or inspect.isclass(thing):
            assert thing.__name__ == OLDER.get(name, name)
            assert inspect.getdoc(thing), name


def test_the_job_can_be_done_from_python() -> None:
    """What the command line does can be called: measuring, the logbook and the ranking, with their types."""
    assert set(finishlab.__all__) >= {
        "FinishlabError",
        "Logbook",
        "Measurement",
        "Ranking",
        "measure_photo",
        "rank_boards",
    }


def test_unknown_names_are_refused() -> None:
    """A name the package does not offer is an AttributeError, as anywhere."""
    with pytest.raises(AttributeError, match="has no attribute 'no_such_name'"):
        finishlab.no_such_name  # type: ignore[attr-defined]  # noqa: B018 - the look-up is what fails


def test_public_functions_document_parameters_and_failures() -> None:
    """The docstring of a public function names each parameter, and what it raises when it documents raising."""
    for name in finishlab.__all__:
        thing = getattr(finishlab, name)
        if not inspect.isfunction(thing):
            continue
        text = inspect.getdoc(thing) or ""
        if "Parameters\n" in text:
            for parameter in inspect.signature(thing).parameters:
                assert re.search(rf"^[\w, ]*\b{parameter}\b[\w, ]*$", text, re.MULTILINE), f"{name}: {parameter}"


def test_importing_the_package_loads_no_heavy_library() -> None:
    """``import finishlab`` loads none of the heavy libraries; they come with the first use."""
    assert run(f"import sys, finishlab; {LOADED}").strip() == "[]"


@pytest.mark.parametrize("words", [("--help",), ("--version",), ("measure", "--help"), ("board", "add", "--help")])
def test_help_loads_no_heavy_library(words: tuple[str, ...]) -> None:
    """Help and version answer without OpenCV, colour-science, scikit-image, SQLAlchemy, SciPy or their like."""
    program = f"""
import sys
from finishlab.cli import main
try:
    main()
except SystemExit as end:
    assert not end.code, end.code
{LOADED}
"""
    assert run(program, *words).splitlines()[-1] == "[]"


def test_measuring_and_ranking_need_no_spectra() -> None:
    """The measuring and matching rooms import without colour-science, which only rendering and tests need."""
    loaded = run(f"import sys, finishlab.measure.flow, finishlab.matching.ranking, finishlab.photos; {LOADED}")
    assert "colour" not in loaded


def test_the_command_is_installed() -> None:
    """The installed package has the command `finishlab`, and one version in all places."""
    (command,) = entry_points(group="console_scripts", name="finishlab")
    assert callable(command.load())
    assert version("finishlab") == finishlab.__version__


def test_the_package_says_that_it_is_typed() -> None:
    """Type checkers of other projects read its annotations: the marker file is part of the package."""
    assert resources.files(finishlab).joinpath("py.typed").is_file()


def test_every_module_can_be_imported() -> None:
    """Every module can be imported, and what it offers in its `__all__` is there; ruff holds the docstrings."""
    files = [path.relative_to(ROOT).with_suffix("") for path in (ROOT / "finishlab").rglob("*.py")]
    names = {path.as_posix().replace("/", ".") for path in files if path.name not in {"__main__", "env"}}
    assert len(names) > 100, "the walk found hardly any module, so it is broken"
    for name in sorted(names):
        module = importlib.import_module(name.removesuffix(".__init__"))
        assert all(hasattr(module, each) for each in getattr(module, "__all__", ())), name


def test_the_example_of_the_page_runs(tmp_path: Path) -> None:
    """The Python example of docs/python.md runs as it stands, beside the sample photos, and ranks a board."""
    page = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    (tmp_path / "sample_photos").symlink_to(ROOT / "sample_photos")
    printed = run(example, folder=tmp_path).splitlines()
    assert len(printed) == 3
    assert printed[-1].startswith("1 B1 ")
    assert (tmp_path / "my-stair").is_dir()

"""What is loaded when: help and names come at once, libraries when they are used."""

from __future__ import annotations

import subprocess
import sys
from typing import Final

import pytest

import finishlab
import finishlab.measure
from finishlab.cli.root import COMMANDS

HEAVY: Final = (
    "PIL", "alembic", "colour", "cv2", "jinja2", "matplotlib", "numpy", "orjson", "pillow_heif", "reportlab", "rich",
    "scipy", "skimage", "sqlalchemy",
)  # fmt: skip

BLAS: Final = "OPENBLAS_NUM_THREADS"


def loaded_after(code: str) -> set[str]:
    """Run code in a fresh interpreter; return which of the heavy libraries it loaded."""
    ask = f"import sys\n{code}\nprint(*(name for name in {HEAVY!r} if name in sys.modules), file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    return set(done.stderr.split())


def call(*args: str) -> str:
    """Return code that runs the command as its entry point does."""
    return (
        f"sys.argv = ['finishlab', *{args!r}]\n"
        "from finishlab.cli import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code"
    )


@pytest.mark.parametrize("args", [("--help",), ("--version",), ("board", "--help"), ("floor", "--help")])
def test_help_loads_no_library(args: tuple[str, ...]) -> None:
    """The help of the command and its groups loads none of the libraries that do the work."""
    assert loaded_after(call(*args)) == set()


@pytest.mark.parametrize("name", [name for name in COMMANDS if name not in ("floor", "board", "demo")])
def test_help_of_a_command_loads_no_library(name: str) -> None:
    """The help of one command loads no image, number or database library either."""
    assert loaded_after(call(name, "--help")) == set()


def test_importing_the_package_loads_nothing() -> None:
    """``import finishlab`` is light; names are loaded when they are used."""
    assert loaded_after("import finishlab, finishlab.workflow, finishlab.measure") == set()


def test_result_types_do_not_load_opencv() -> None:
    """Reading results, as the logbook does, needs no image library."""
    loaded = loaded_after("from finishlab.measure import Measurement\nfrom finishlab.measure.results import Spread")
    assert not loaded & {"cv2", "skimage", "PIL", "scipy"}


def test_listing_boards_loads_no_image_library() -> None:
    """Looking boards up needs the database and no image library."""
    code = f"{call('recipe', 'add', 'plain')}\n{call('board', 'list')}"
    loaded = loaded_after(f"import os, tempfile\nos.environ['FINISHLAB_LOGBOOK'] = tempfile.mkdtemp()\n{code}")
    assert "sqlalchemy" in loaded
    assert not loaded & {"cv2", "skimage", "PIL", "scipy", "colour"}


def test_ranking_loads_no_library_for_one_sum() -> None:
    """Ranking pairs sampled colours by its own arithmetic: SciPy takes longer to load than all of that."""
    code = (
        "from finishlab.matching.transport import transport_distance\n"
        "import finishlab.workflow.comparing, finishlab.reports.terminal\n"
        "assert transport_distance([[50.0, 0.0, 0.0]], [[50.0, 0.0, 0.0], [51.0, 0.0, 0.0]]) > 0.0"
    )
    assert not loaded_after(code) & {"cv2", "skimage", "PIL", "scipy", "colour"}


@pytest.mark.parametrize(("given", "found"), [(None, "1"), ("4", "4")])
def test_matrices_are_worked_on_by_one_thread(given: str | None, found: str) -> None:
    """The command sets one thread before NumPy is loaded, unless the user set another number."""
    said = "os.environ.pop('OPENBLAS_NUM_THREADS', None)" if given is None else f"os.environ[{BLAS!r}] = {given!r}"
    code = f"import os, sys\n{said}\n{call('--version')}\nprint(os.environ[{BLAS!r}], 'numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == f"{found} False"


@pytest.mark.parametrize("name", finishlab.__all__)
def test_every_public_name_can_be_had(name: str) -> None:
    """Each name the package offers is there and is listed by dir()."""
    assert getattr(finishlab, name) is not None
    assert name in dir(finishlab)


@pytest.mark.parametrize("name", finishlab.measure.__all__)
def test_every_name_of_measure_can_be_had(name: str) -> None:
    """Each name the measuring room offers is there and is listed by dir()."""
    assert getattr(finishlab.measure, name) is not None
    assert name in dir(finishlab.measure)


@pytest.mark.parametrize("module", [finishlab, finishlab.measure])
def test_an_unknown_name_is_an_attribute_error(module: object) -> None:
    """A name that is not offered fails as any module's attribute does."""
    with pytest.raises(AttributeError, match="has no attribute 'no_such_name'"):
        module.no_such_name  # type: ignore[attr-defined] # noqa: B018

"""What is loaded when: help and names come at once, libraries when they are used."""

from __future__ import annotations

import subprocess
import sys
from typing import Final

import pytest
from build_reference import commands

HEAVY: Final = (
    "PIL", "alembic", "colour", "cv2", "jinja2", "matplotlib", "numpy", "pillow_heif", "reportlab", "rich",
    "scipy", "segno", "skimage", "sqlalchemy", "starlette", "uvicorn",
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


def test_help_loads_no_library() -> None:
    """The help of the command, of each group and of each command loads none of the libraries that do the work."""
    words = [["--version"], *([*path.split()[1:], "--help"] for path, *_ in commands())]
    assert ["board", "--help"] in words
    code = f"""
from finishlab.cli import main
for words in {words!r}:
    sys.argv = ["finishlab", *words]
    try:
        main()
    except SystemExit as end:
        assert not end.code, (words, end.code)
    loaded = set({HEAVY!r}) & set(sys.modules)
    assert not loaded, (words, loaded)
"""
    assert loaded_after(code) == set()


def test_importing_the_package_loads_nothing() -> None:
    """``import finishlab`` is light; names are loaded when they are used."""
    assert loaded_after("import finishlab, finishlab.rank") == set()


def test_result_types_do_not_load_opencv() -> None:
    """Reading results, as the logbook does, needs no image library."""
    loaded = loaded_after("from finishlab.measure.results import Measurement")
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
        "from finishlab.colorimetry.delta_e import transport_distance\n"
        "import finishlab.rank.comparing, finishlab.rank.documents\n"
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

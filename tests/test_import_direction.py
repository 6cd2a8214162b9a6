"""The house rules of docs/architecture.md: imports point one way, a library has one doorway, a file has one subject."""

from __future__ import annotations

import ast
import sys
from pathlib import Path
from typing import Final, NamedTuple

import pytest

import finishlab

PACKAGE: Final = Path(finishlab.__file__).parent

LAYERS: Final = (
    ("errors",),
    ("version",),
    ("quality", "units", "coatings", "files"),
    ("cautions",),
    ("record",),
    ("finish", "toml_file"),
    ("recipe",),
    ("board",),
    ("finish/wording", "stair/records", "strip"),
    ("colorimetry",),
    ("imaging",),
    ("measure",),
    ("matching", "plan/figures"),
    ("photos", "logbook"),
    ("show",),
    ("board/shown",),
    ("measuring",),
    ("stair/progress", "strip/page"),
    ("strip/learning", "finish/entering"),
    ("rank", "mend/documents"),
    (
        "printing",
        "report",
        "plan/documents",
        "strip/documents",
        "logbook/documents",
    ),
    ("cli",),
    ("finish/commands", "rank/commands"),
    (
        "stair/commands",
        "plan/commands",
        "printing/commands",
        "logbook/commands",
        "measuring/commands",
        "strip/commands",
        "guide",
        "demo",
        "recipe/commands",
        "report/commands",
        "board/commands",
        "mend/commands",
    ),
    ("page",),
)
"""Rooms from left to right; a room imports from itself and from rooms further left, never from one beside it."""

INSIDE: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    "finish": {
        "finish": ("fields",),
        "finish/wording": ("warnings",),
        "finish/entering": ("entering",),
        "finish/commands": ("commands",),
    },
    "recipe": {
        "recipe/commands": ("commands",),
    },
    "measuring": {
        "measuring": ("shown", "logged"),
        "measuring/commands": ("commands", "picking"),
    },
    "rank": {
        "rank": ("gathering", "comparing", "documents"),
        "rank/commands": ("commands",),
    },
    "report": {
        "report": ("pictures", "story"),
        "report/commands": ("commands",),
    },
    "board": {
        "board/shown": ("shown",),
        "board/commands": ("commands", "adding", "checks", "files"),
    },
    "logbook": {
        "logbook/documents": ("archive",),
        "logbook/commands": ("commands",),
    },
    "stair": {
        "stair/records": ("names", "records"),
        "logbook": ("store",),
        "stair/progress": ("progress", "documents", "entering", "drawing"),
        "stair/commands": ("commands",),
    },
    "mend": {
        "mend/documents": ("documents",),
        "mend/commands": ("commands",),
    },
    "plan": {
        "plan/figures": ("calendar", "drying", "parts", "stair_plan", "woodwork"),
        "plan/documents": ("documents", "days", "entered", "logged"),
        "plan/commands": ("commands",),
    },
    "strip": {
        "strip/page": ("page",),
        "strip/learning": ("trials",),
        "strip/documents": ("greys",),
        "strip/commands": ("commands", "camera_commands"),
    },
    "printing": {
        "printing": ("house_file", "labels", "schedule"),
        "printing/commands": ("commands",),
    },
}
"""A subject's folder -> the rooms in it -> their modules.

What is written down and pure figures know nothing of the logbook, documents nothing of commands. A subject's store is
part of the logbook's room: both build on the tables, and the logbook offers what the store does.
"""

RENDERER: Final = Path(__file__).parent / "render"
RENDERER_USES: Final = ("finishlab.colorimetry", "finishlab.imaging", "render")
"""What the renderer of the tests' photos may use of ours: what pixels and colours mean."""


def _modules(room: str) -> tuple[str, ...]:
    """Return the modules of a room that lies in subjects' folders."""
    return tuple(f"finishlab.{subject}.{name}" for subject, rooms in INSIDE.items() for name in rooms.get(room, ()))


COMMANDS: Final = tuple(name for subject in INSIDE for name in _modules(f"{subject}/commands"))
STORES: Final = _modules("logbook")

DOORWAYS: Final = {
    "PIL": ("finishlab.photos",),
    "alembic": ("finishlab.logbook",),
    "click": (
        "finishlab.cli",
        "finishlab.demo",
        "finishlab.guide",
        "finishlab.page",
        *COMMANDS,
    ),
    "colour": ("finishlab.colorimetry",),
    "cv2": ("finishlab.imaging",),
    "h11": ("finishlab.page.server",),
    "jinja2": ("finishlab.show", "finishlab.page"),
    "markupsafe": ("finishlab.show", "finishlab.page"),
    "matplotlib": (
        "finishlab.report.plots",
        "finishlab.report.pictures",
        "finishlab.show.drawing",
        "finishlab.show.sheets",
    ),
    "numpy": ("finishlab",),
    "pillow_heif": ("finishlab.photos",),
    "platformdirs": ("finishlab.cli",),
    "rawpy": ("finishlab.photos.files",),
    "reportlab": ("finishlab.show", "finishlab.printing.schedule"),
    "rich": ("finishlab.show", "finishlab.cli"),
    "scipy": ("finishlab.imaging",),
    "segno": ("finishlab.page.commands",),
    "simplejpeg": ("finishlab.photos.files",),
    "skimage": ("finishlab.imaging",),
    "sqlalchemy": ("finishlab.logbook", *STORES),
    "starlette": ("finishlab.page",),
    "uvicorn": ("finishlab.page.server",),
}
"""Outside library -> the rooms or modules that may import it."""

MOST_LINES: Final = 600
"""One file has one subject; past this length it has likely more than one."""
LONGER: Final[dict[str, str]] = {
    "finishlab.stair.store": "rows are read and written by the same few functions",
}
"""Module that may be longer -> the reason why it is one subject all the same."""


class Import(NamedTuple):
    """One import, wherever in a module it stands."""

    importer: str
    line: int
    imported: str


def module_name(path: Path, home: Path = PACKAGE.parent) -> str:
    """Return the dotted name of a module's file, from the folder its package lies in."""
    parts = path.relative_to(home).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(path: Path, home: Path = PACKAGE.parent) -> list[Import]:
    """Return every import of a file, those inside functions and for type checkers too."""
    name = module_name(path, home)
    package = name if path.name == "__init__.py" else name.rpartition(".")[0]
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [Import(name, node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*above, *([node.module] if node.module else [])])
            # `from finishlab import photos` names a room only together with what it imports.
            found += [Import(name, node.lineno, f"{base}.{alias.name}") for alias in node.names]
    return found


def room(module: str) -> str:
    """Return the room a module of ours, or a name in one, is in; the package itself has none."""
    parts = module.split(".")
    if len(parts) > 2 and parts[1] in INSIDE:
        return next((room for room, names in INSIDE[parts[1]].items() if parts[2] in names), parts[1])
    return parts[1] if len(parts) > 1 else ""


def inside(module: str, places: tuple[str, ...]) -> bool:
    """Return whether a module is one of the places or lies in one."""
    return any(module == place or module.startswith(f"{place}.") for place in places)


def may_import(importer: str, imported: str) -> bool:
    """Return whether the rules let one module of ours import from another."""
    here, there = room(importer), room(imported)
    if here == there or not here:  # the package's own __init__ offers names of every room
        return True
    layer = {name: number for number, names in enumerate(LAYERS) for name in names}
    return there in layer and layer[there] < layer[here]


FILES: Final = sorted(PACKAGE.rglob("*.py"))
IMPORTS: Final = [found for path in FILES for found in imports_of(path)]


def listed(wrong: list[Import]) -> str:
    """Return imports one a line, for a failing test."""
    return "\n".join(f"{each.importer}, line {each.line}, imports {each.imported}" for each in wrong)


def test_imports_point_one_way() -> None:
    """A module imports only from its own room and from rooms to its left."""
    ours = [each for each in IMPORTS if each.imported.split(".")[0] == "finishlab"]
    assert len(ours) > 100, "the walk found hardly any import, so it is broken"
    wrong = [each for each in ours if not may_import(each.importer, each.imported)]
    assert not wrong, listed(wrong)


def test_the_renderer_stays_with_the_tests() -> None:
    """The photos' renderer uses only what pixels and colours mean, and nothing that is installed knows of it."""
    used = {each.imported for path in sorted(RENDERER.glob("*.py")) for each in imports_of(path, RENDERER.parent)}
    ours = {name for name in used if name.split(".")[0] in {"finishlab", "render"}}
    assert "render.view.homography" in ours
    assert not [name for name in ours if not inside(name, RENDERER_USES)]
    assert not [each for each in IMPORTS if each.imported.split(".")[0] == "render"]


def test_every_room_has_its_place() -> None:
    """Whatever stands in the package is a room of the list: a new room must be given its place in the order first."""
    named = {module_name(path) for path in FILES}
    rooms = {room(name) for name in named if name.removeprefix("finishlab.") not in INSIDE} - {"", "__main__"}
    assert rooms <= {name for layer in LAYERS for name in layer}


def test_every_outside_library_has_one_doorway() -> None:
    """An outside library is imported only in its room, so that it can be replaced there; a new one needs a doorway."""
    outside = [
        each
        for each in IMPORTS
        if (top := each.imported.split(".")[0]) != "finishlab" and top not in sys.stdlib_module_names
    ]
    assert {each.imported.split(".")[0] for each in outside} >= {"numpy", "cv2", "PIL", "sqlalchemy"}
    wrong = [each for each in outside if not inside(each.importer, DOORWAYS.get(each.imported.split(".")[0], ()))]
    assert not wrong, listed(wrong)


@pytest.mark.parametrize(
    ("importer", "imported", "allowed"),
    [
        ("finishlab.measure.flow", "finishlab.imaging.finder", True),
        ("finishlab.imaging.finder", "finishlab.measure.flow", False),
        ("finishlab.photos", "finishlab.logbook.store", False),
        ("finishlab.show.html", "finishlab.report.story", False),
        ("finishlab.rank", "finishlab.photos", True),
        ("finishlab.colorimetry.spaces", "finishlab", False),
        ("finishlab.rank", "finishlab.demo", False),
        ("finishlab.cli.lazy", "finishlab.demo", False),
        ("finishlab.demo", "finishlab.cli.common", True),
        ("finishlab", "finishlab.rank", True),
        ("finishlab.logbook.store", "finishlab.stair.store.StairStore", True),
        ("finishlab.stair.store", "finishlab.logbook.tables", True),
        ("finishlab.stair.records", "finishlab.stair.store", False),
        ("finishlab.plan.calendar", "finishlab.logbook", False),
        ("finishlab.plan.documents", "finishlab.plan.commands", False),
        ("finishlab.page.views", "finishlab.stair.commands", True),
        ("finishlab.stair.commands", "finishlab.page.asking", False),
    ],
)
def test_the_rule_tells_right_from_wrong(importer: str, imported: str, allowed: bool) -> None:
    """The rule used above allows a step to the left and refuses one to the right or to the side."""
    assert may_import(importer, imported) is allowed


def test_no_cycle_of_modules() -> None:
    """Within a room, too, no module needs itself through others, so that each can be read and tested alone."""
    names = {module_name(path) for path in FILES}
    top_level: dict[str, set[str]] = {name: set() for name in names}
    for path in FILES:
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("finishlab"):
                for alias in node.names:
                    whole = f"{node.module}.{alias.name}"
                    top_level[module_name(path)].add(whole if whole in names else node.module)
    done: set[str] = set()

    def visit(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, " -> ".join([*trail, name])
        if name in done:
            return
        for other in top_level.get(name, set()):
            visit(other, (*trail, name))
        done.add(name)

    for name in sorted(names):
        visit(name, ())


def test_a_long_module_has_its_reason() -> None:
    """A module of more than 600 lines stands in the list with its reason, and none there has become shorter since."""
    long = {module_name(path) for path in FILES if len(path.read_text(encoding="utf-8").splitlines()) > MOST_LINES}
    assert long == set(LONGER)
    assert all(LONGER.values())

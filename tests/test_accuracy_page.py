"""docs/accuracy.md: one command writes it, and what stands in the folder fits together."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any, Final

import accuracy_page
import pytest

DOCS: Final = Path(__file__).parents[1] / "docs"


def kept() -> dict[str, Any]:
    """Return what was measured."""
    data: dict[str, Any] = json.loads((DOCS / "accuracy.json").read_text(encoding="utf-8"))
    return data


def test_page_says_what_was_measured() -> None:
    """The page is what the kept measurements give; if not, run ``python docs/build_accuracy.py --page-only``."""
    assert (DOCS / "accuracy.md").read_text(encoding="utf-8") == accuracy_page.page(kept())


def test_page_has_every_section_and_says_that_scenes_are_rendered() -> None:
    """Every section has its heading, and the first paragraph says that everything is measured on rendered scenes."""
    text = (DOCS / "accuracy.md").read_text(encoding="utf-8")
    assert re.findall(r"^## (.*)$", text, re.MULTILINE) == list(accuracy_page.SECTIONS)
    assert "rendered scenes" in text.split("\n## ")[0]


def test_every_published_figure_names_its_source() -> None:
    """Each published figure stands on the page in one line with its source, or with that it has none."""
    text = (DOCS / "accuracy.md").read_text(encoding="utf-8")
    for what, figure, source in accuracy_page.PUBLISHED:
        assert source
        assert f"| {what} | {figure} | {source} |" in text


def test_plots_are_small() -> None:
    """Every picture the page shows is there and below 150 KB."""
    names = re.findall(r"\]\((pictures/[^)]+)\)", (DOCS / "accuracy.md").read_text(encoding="utf-8"))
    assert len(names) == 4
    assert all(0 < (DOCS / name).stat().st_size < 150_000 for name in names)


def test_goals_are_said_as_they_are() -> None:
    """A figure beyond its goal is called missed, with by how much; one at it is called reached."""
    goal = accuracy_page._goal  # noqa: SLF001 - what decides the words
    assert goal(0.35, 0.35) == "reached"
    assert goal(0.41, 0.35) == "missed by 0.06"
    assert goal(96.0, 97.0, least=True, digits=1) == "missed by 1.0"
    assert goal(float("nan"), 0.35) == "not measured"


def test_quick_run_writes_everything(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A test-sized run measures, keeps, and writes the page with every section and plot from what it kept.

    What only ``--wide`` measures stands as it was kept. A guess that is changed is felt.
    """
    pytest.importorskip("matplotlib")
    import build_accuracy

    wide = {part: kept()[part] for part in ("format", *build_accuracy.PARTS["wide"])}
    (tmp_path / build_accuracy.CACHE).write_text(json.dumps(wide), encoding="utf-8")
    build_accuracy.main(["--quick", "--into", str(tmp_path)])
    assert str(tmp_path / "accuracy.md") in capsys.readouterr().out
    text = (tmp_path / "accuracy.md").read_text(encoding="utf-8")
    data = json.loads((tmp_path / "accuracy.json").read_text(encoding="utf-8"))
    assert text == accuracy_page.page(data)
    assert set(data) == {"format", *build_accuracy.MEASURE}
    assert all(data[part]["plan"]["width"] == build_accuracy.QUICK["width"] for part in build_accuracy.PARTS["usual"])
    guessed = data["guesses"]["rows"]
    assert len(set(guessed["true"])) == 1, "a guess changes nothing but what is measured"
    assert len(set(guessed["value"])) == 3, "each other boost of saturation is felt"
    assert re.findall(r"^## (.*)$", text, re.MULTILINE) == list(accuracy_page.SECTIONS)
    assert {path.name for path in (tmp_path / "pictures").iterdir()} == {
        "accuracy-printers.svg",
        "accuracy-budget.svg",
        "accuracy-sweeps.svg",
        "accuracy-reliability.svg",
    }
    first = {path.name: path.read_bytes() for path in (tmp_path / "pictures").iterdir()}
    build_accuracy.main(["--page-only", "--into", str(tmp_path)])
    assert first == {path.name: path.read_bytes() for path in (tmp_path / "pictures").iterdir()}


@pytest.mark.parametrize("part", ["swept", "budget"])
def test_wide_parts_are_measured(part: str) -> None:
    """A sweep and a part of the error budget are measured, each with the fields that are kept of it."""
    pytest.importorskip("matplotlib")
    import build_accuracy

    found = build_accuracy.run(build_accuracy.jobs(build_accuracy.QUICK, [part])[0])
    assert found[0] == part
    assert set(build_accuracy.columns(found[1])["rows"]) == set(kept()[part]["rows"])


def test_quick_run_does_not_touch_the_docs(capsys: pytest.CaptureFixture[str]) -> None:
    """A test-sized run without a folder of its own is a mistake, and said to be one."""
    pytest.importorskip("matplotlib")
    import build_accuracy

    with pytest.raises(SystemExit):
        build_accuracy.main(["--quick"])
    assert "--into" in capsys.readouterr().err

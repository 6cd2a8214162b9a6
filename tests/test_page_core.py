"""The page's frame: pairing, forms, conflicts, languages; what a visitor may ask."""

from __future__ import annotations

from conftest import Run
from page_visits import Visits


def test_a_paired_browser_sees_the_start(page: Visits, run: Run) -> None:
    """Once paired by the code, a browser is shown how far the job is."""
    run("recipe", "add", "plain")
    assert page.get("/").status_code == 200
    assert "Print the strip" in page.get("/").text


def test_a_stranger_sees_nothing(stranger: Visits, run: Run) -> None:
    """Without pairing every address answers with the request to pair, and no word of the logbook."""
    run("recipe", "add", "plain")
    found = stranger.get("/")
    assert found.status_code == 403
    assert 'name="code"' in found.text
    assert "R1" not in found.text


def test_settings_are_kept(page: Visits) -> None:
    """A language that is chosen holds for the pages after it."""
    assert 'lang="en"' in page.get("/settings").text
    found = page.send("/settings", {"language": "de", "units": "in"})
    assert found.status_code == 200
    assert 'lang="de"' in found.text

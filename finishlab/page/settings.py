"""Pages about the page itself: pairing, language and units, whether a page is old, the home screen's manifest."""

from __future__ import annotations

import json
from typing import Final

from finishlab.page.app import Answer, Onward, Page, Route, Sent, Visit
from finishlab.page.texts import LANGUAGES

__all__ = ["ROUTES"]


def _state(visit: Visit) -> Answer:
    return Sent(json.dumps({"state": visit.state}).encode(), "application/json")


def _settings(visit: Visit) -> Answer:
    return Page(visit.words("settings.title"), "settings.html.j2", {"languages": LANGUAGES})


def _set(visit: Visit) -> Answer:
    language, units = visit.form.text("language"), visit.form.text("units")
    if language in LANGUAGES:
        visit.visitor.language = language
    if units in {"mm", "in"}:
        visit.visitor.units = units
    return Onward("/settings")


ROUTES: Final = (
    Route("/state", show=_state),
    Route("/settings", show=_settings, do=_set, title="settings.title"),
)

"""The answer and the way to it: how far the job is, the ranking with its pictures, and what is best done next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode

from finishlab.errors import FinishlabError, LogbookError
from finishlab.page import forms, reading
from finishlab.page.app import Answer, Route, Sent, Visit
from finishlab.page.asking import RefusedError, Value, command_of, option_words
from finishlab.page.reading import asked_of, kept, markup, page, page_of, reader
from finishlab.show.document import Block, Document, Listing

__all__ = ["ROUTES"]

_AIM: Final = (
    *("lighter", "darker", "hue_within", "no_redder", "no_greener", "no_yellower", "no_bluer", "no_lighter"),
    *("no_darker", "texture", "cmc"),
)
"""Options of the ranking beside light and aim."""
_CROPPED: Final = 6
"""Boards of the ranking that are shown as they look."""


def _guide(visit: Visit) -> Document:
    """Return how far the job is, also before anything is logged."""
    from finishlab.guide import read_guide, status_document

    asked = asked_of(visit, "status")
    if asked.documents:
        return asked.document
    if any(error.code != "logbook-empty" for error in asked.errors):
        raise RefusedError(asked)
    return status_document(read_guide(None, visit.folder))


def _start(visit: Visit) -> Answer:
    data = _guide(visit).data
    read = reader(visit.words)
    steps = [{**step, "said": read.prose(str(step["found"]))} for step in data["steps"]]
    following = data["next"]
    values = {
        "steps": steps,
        "next": following,
        "missing": read.prose(following["missing"]) if following else "",
        "to": page_of(visit.words, following["command"] or "") if following else None,
        "pages": _STEP_PAGES,
    }
    return page(visit, "start.title", "start.html.j2", values)


_STEP_PAGES: Final = {
    "print": "/print",
    "floor": "/floor",
    "boards": "/boards",
    "answer": "/ranking",
    "standard": "/standard",
}
"""Step of the guide -> where what was done of it is seen."""


@dataclass(frozen=True, slots=True)
class _Ranked:
    """The answer for one light and aim, told once for people at a glance and in full, and once for programs."""

    glance: Document
    full: Document
    data: Mapping[str, Any]

    @property
    def documents(self) -> tuple[Document, ...]:
        """What people read."""
        return self.glance, self.full


def _ranked(visit: Visit, query: Mapping[str, str]) -> _Ranked:
    """Return the answer, weighed once for each state of the logbook: it takes a second.

    Raises
    ------
    FinishlabError
        If there is nothing to compare, or the aim cannot be meant.
    """
    fields = forms.fields_of(command_of("rank"), ("light", "aim", *_AIM), query)
    options = forms.given(fields, query)
    key = tuple(sorted((name, str(value)) for name, value in options.items() if value))
    found: _Ranked = kept(visit, ("ranked", key), lambda: _weighed(visit.folder, options))
    return found


def _weighed(folder: Path, options: Mapping[str, Value]) -> _Ranked:
    """Do as ``rank`` does, once for its three ways of telling."""
    from finishlab.logbook.store import Logbook
    from finishlab.rank.commands import other_aim, read_aim
    from finishlab.rank.comparing import compare
    from finishlab.rank.documents import comparison_document

    wanted = command_of("rank").make_context("rank", option_words(options)).params
    light = wanted.pop("light")
    aim = read_aim(**{name: wanted[name] for name in wanted if name not in {"full", "most", "as_json"}})
    log = Logbook.open_existing(folder)
    if log is None:
        raise LogbookError("logbook-empty", "Nothing is logged yet.", "Begin with: finishlab start")
    with log:
        found = compare(log, light=light, aim=aim, other=other_aim(aim))
    glance, full = (comparison_document(found, full=each, most=_MOST, as_json=False) for each in (False, True))
    return _Ranked(glance, full, comparison_document(found, full=True, most=None, as_json=True).data)


_MOST: Final = 60
"""Boards in the ranking's table, as the report has it."""


def _ranking(visit: Visit) -> Answer:
    fields = forms.fields_of(command_of("rank"), ("light", *_AIM), visit.query)
    values: dict[str, Any] = {"fields": fields, "switches": _aims(visit), "lights": []}
    values |= {"glance": "", "full": "", "pictured": [], "pictured_light": ""}
    try:
        ranked = _ranked(visit, visit.query)
    except FinishlabError as error:
        return page(
            visit, "ranking.title", "ranking.html.j2", values, errors=[error], status=422 if visit.query else 200
        )
    lights = [each["light"] for each in (ranked.data["lights"] or {}).get("compared", ())] or [ranked.data["light"]]
    light, query = ranked.data["light"], {name: value for name, value in visit.query.items() if name != "light"}
    values |= {
        "glance": markup(visit, ranked.glance.blocks),
        "full": markup(visit, ranked.full.blocks),
        "lights": [(each, f"?{urlencode({**query, 'light': each})}", each == light) for each in lights],
        "pictured": [board["board"] for board in ranked.data["ranking"][:_CROPPED]],
        "pictured_light": f"?{urlencode({'light': light})}",
    }
    return page(visit, "ranking.title", "ranking.html.j2", values)


_STEPS: Final = {
    "match": {},
    "darker": {"aim": "contrast", "darker": "12"},
    "lighter": {"aim": "contrast", "lighter": "12"},
}
"""Aims that are a tap away; other steps and limits stand in the form. `rank` weighs a match against twelve L* too."""


def _aims(visit: Visit) -> list[tuple[str, str, bool]]:
    """Return key, address and whether it is the aim shown, of each aim that is a tap away."""
    rest = {
        name: value for name, value in visit.query.items() if name not in {"aim", "lighter", "darker", "hue_within"}
    }
    now = (
        "match" if visit.query.get("aim", "match") == "match" else "lighter" if visit.query.get("lighter") else "darker"
    )
    return [(name, f"?{urlencode({**rest, **query})}", name == now) for name, query in _STEPS.items()]


def _crop(visit: Visit) -> Answer:
    ranked = _ranked(visit, {"light": visit.query["light"]} if visit.query.get("light") else {})
    number, light = visit.path["number"], ranked.data["light"]
    if number not in {board["board"] for board in ranked.data["ranking"]}:
        raise reading.no_picture(number)
    return Sent(
        reading.crop(visit.folder, number, light, tuple(ranked.data["floor"]["lab"]), visit.state), "image/jpeg"
    )


def _next(visit: Visit) -> Answer:
    """Show what is most worth doing: of the job, for the answer, and on the stair."""
    following = _guide(visit).data["next"]
    blocks: list[Block] = []
    try:
        full = _ranked(visit, {}).full
        blocks += [block for block in full.blocks if isinstance(block, Listing) and block.title == _TO_DO]
    except FinishlabError:  # nothing to compare yet: the guide says what is missing
        pass
    due = asked_of(visit, "stairs due")
    blocks += [block for each in due.documents for block in each.blocks]
    values = {
        "next": following,
        "missing": reader(visit.words).prose(following["missing"]) if following else "",
        "to": page_of(visit.words, following["command"] or "") if following else None,
        "blocks": markup(visit, blocks),
    }
    return page(visit, "next.title", "next.html.j2", values)


_TO_DO: Final = "What to do next"
"""Title of what the ranking's document says of it."""


ROUTES: Final = (
    Route("/", show=_start, title="start.title"),
    Route("/ranking", show=_ranking, title="ranking.title"),
    Route("/next", show=_next, title="next.title"),
    Route("/boards/{number}/beside-floor", show=_crop),
)

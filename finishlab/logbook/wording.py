"""What the history says, in words and for JSON."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from finishlab.finish.finish import Finish
from finishlab.finish.wording import finish_changes
from finishlab.recipe.records import Label
from finishlab.stair.records import PartSizes, size_facts
from finishlab.units import left_text

if TYPE_CHECKING:
    from finishlab.logbook import Change

__all__ = ["change_entry", "change_line"]

_CALLED: Final = {
    "recipe_number": ("recipe", "R"),
    "batch_number": ("can", "C"),
    "size_l": ("size", ""),
    "left_l": ("left", ""),
}
"""Stored field -> what people call it, and what stands before its number."""
_VOLUMES: Final = ("size_l", "left_l")
"""Fields in litres."""
_TOLD: Final = {
    "add": "logged",
    "add-photos": "photos added",
    "approve": "approved",
    "check": "checked, and what could not be read moved aside,",
    "edit-event": "event changed",
    "remove-event": "event taken back",
    "edit": "changed",
    "forget": "greys forgotten",
    "learn": "greys learned",
    "log": "logged",
    "remeasure": "measured again",
    "import": "taken in",
    "remove": "removed",
    "take-photos": "photos taken out",
    "redo": "brought back",
    "undo": "taken back",
}
_TOLD_OF_CAMERA: Final = {"forget": "profile forgotten", "learn": "profile learned"}


def change_line(change: Change) -> str:
    """Return a change of the history in one line."""
    when = f"{change.made.astimezone():%Y-%m-%d %H:%M}"
    line = f"{when} {_told(change, change.what)} by {change.who}"
    before, after = change.before or {}, change.after or {}
    kind = change.what
    if kind in {"undo", "redo"}:
        undone = after.get("undone") or {}
        line += f", “{_told(change, undone.get('what', ''))}”"
        kind = str(undone.get("as"))
    details = _of_kind(kind, before, after)
    return f"{line}: {details}" if details else line


def _told(change: Change, what: str) -> str:
    camera = change.subject.startswith("camera ") and what in _TOLD_OF_CAMERA
    return _TOLD_OF_CAMERA[what] if camera else _TOLD.get(what, what)


def _of_kind(kind: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    """Return what a kind of change says beyond its name."""
    if kind in {"edit", "edit-event"}:
        return _details(before, after)
    if kind == "approve":
        return _approved(after)
    if kind == "import":
        return _taken_in(after)
    if kind in {"log", "remove-event"}:
        return _event(after if kind == "log" else before)
    return _photos(after)


def _approved(standard: Mapping[str, Any]) -> str:
    if not standard.get("recipe_number"):
        return "no standard"
    board = f" on board B{standard['board_number']}" if standard.get("board_number") else ""
    reason = f", {standard['reason']}" if standard.get("reason") else ""
    return f"R{standard['recipe_number']}{board}{reason}"


def _taken_in(said: Mapping[str, Any]) -> str:
    if "number_in_archive" in said:
        return f"{said['number_in_archive']} of an archive"
    if "not_taken" in said:
        return "it was changed in the archive too; what was here stayed"
    return "an archive"


def _event(said: Mapping[str, Any]) -> str:
    coat = f"{said.get('step')} {said.get('coat')}" if said.get("kind") == "coat" else said.get("kind")
    can = f" from C{said['batch_number']}" if said.get("batch_number") else ""
    photos = _photos(said)
    return f"{coat}{can} on {said.get('date')}{f', {photos}' if photos else ''}"


def change_entry(change: Change) -> dict[str, Any]:
    """Return a change of the history for a JSON document."""
    return {
        "made": change.made.isoformat(),
        "who": change.who,
        "what": change.what,
        "before": None if change.before is None else dict(change.before),
        "after": None if change.after is None else dict(change.after),
    }


def _details(before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    changed = [name for name in before if name in after and before[name] != after[name]]
    told = [line for name in changed if name != "finish" for line in _field(name, before[name], after[name])]
    if "finish" in changed:
        # Stored as it was checked then; it is read, not judged again.
        one, two = (Finish.from_dict(each["finish"] or {}) for each in (before, after))
        told += finish_changes(one, two)
    return "; ".join(told)


def _field(name: str, before: Any, after: Any) -> list[str]:  # noqa: ANN401 - each field has its own type
    """Return what became of a field, in the words people type; of one with fields of its own, each that moved."""
    if isinstance(before, Mapping) or isinstance(after, Mapping):
        one, two = _words_of(name, before or {}), _words_of(name, after or {})
        return [
            f"{name}, {called} {_shown(one.get(called))} -> {_shown(two.get(called))}"
            for called in dict.fromkeys((*one, *two))
            if one.get(called) != two.get(called)
        ]
    called, prefix = _CALLED.get(name, (name.replace("_", " "), ""))
    if name in _VOLUMES:
        before, after = left_text(before, None), left_text(after, None)
    shown = (_shown(f"{prefix}{value}" if prefix and value is not None else value) for value in (before, after))
    return [f"{called} {' -> '.join(shown)}"]


def _words_of(name: str, said: Mapping[str, Any]) -> dict[str, str]:
    """Return what a field of fields says, in the words and units people typed."""
    if name == "label":
        label = Label.from_dict(said)
        return {each.label: words for each, words, _ in label.written()}
    if name == "sizes":
        return size_facts(PartSizes.from_dict(said))
    return {key.replace("_", " "): str(value) for key, value in said.items()}


def _photos(after: Mapping[str, Any]) -> str:
    count = len(after.get("photos") or ())
    light = after.get("light")
    told = f"{count} photo{'' if count == 1 else 's'}" if count else ""
    return f"{told} in {light}" if told and light else told


def _shown(value: object) -> str:
    return "none" if value is None else f"“{value}”"

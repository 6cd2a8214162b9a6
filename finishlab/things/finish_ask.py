"""Asking on the terminal for what a board's record does not say yet."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import Any, Final

import click

from finishlab.cli.common import say
from finishlab.errors import UsageError
from finishlab.records import CLEAR_ONLY, STATES, ColourStep, Finish
from finishlab.records.entries import Checked, Entry, entries, shown_entries
from finishlab.records.finish import MOST_STEPS
from finishlab.records.finish_text import changed, parse_fields, read_value, unit_typed
from finishlab.things.entering import SECTIONS, Draft

__all__ = ["ask_missing", "on_terminal"]

_END: Final = "."
_CLEAR: Final = ("raw", CLEAR_ONLY)
_TITLES: Final = {
    "preparation": "the wood and its preparation",
    "seal": "the sealer",
    "topcoat": "the topcoat",
    "looking": "how it lay when it was photographed",
}
_ONLY_WITH: Final[Mapping[str, Callable[[Mapping[str, Any]], bool]]] = {
    "drying_h": lambda said: bool(said.get("grain_raised")),
    "conditioner_dwell_min": lambda said: bool(said.get("conditioner")),
    "conditioner_wait_h": lambda said: bool(said.get("conditioner")),
    "mix_by": lambda said: bool(said.get("mix")),
    "hardener_ratio": lambda said: said.get("kind") == "water polyurethane 2-part",
    "mixed_h": lambda said: said.get("kind") == "water polyurethane 2-part",
}
"""Fields that are asked for only where others make sense of them."""


class _EnoughError(Exception):
    """The user has said all he wants to say."""


def on_terminal() -> bool:
    """Return whether somebody can answer."""
    return sys.stdin.isatty()


def ask_missing(draft: Draft) -> Draft:
    """Ask for each thing a draft does not say, the wood first, and return it with the answers.

    An empty answer leaves a field open, a full stop ends the asking. An answer that cannot be meant is told and asked
    for again.

    Raises
    ------
    UsageError
        ``"no-terminal"``.
    """
    if not on_terminal():
        raise UsageError("no-terminal", "Nobody can be asked: this is no terminal.", "Leave out --ask.")
    say("Enter leaves a field open; a full stop ends the questions.")
    values = dict(draft.fields)
    finish = draft.finish
    try:
        for name, question, choices in (("species", "wood", ()), ("state", "state", STATES), ("maker", "made by", ())):
            if values.get(name) is None:
                answer = _ask(question, choices, partial(_one_of, choices))
                values |= {} if answer is None else {name: answer}
        for part in _parts(str(values.get("purpose"))):
            for answered in _asked(part, finish):
                finish = answered  # at once: what was said before a full stop is kept
    except _EnoughError:
        pass
    said = {name: value for name, value in values.items() if value != draft.fields.get(name)}
    return draft.with_finish(finish, said)


def _parts(purpose: str) -> Iterator[str]:
    yield "preparation"
    if purpose not in _CLEAR:
        yield "steps"
    if purpose != "raw":
        yield from ("seal", "topcoat")
    yield "looking"


def _asked(part: str, finish: Finish) -> Iterator[Finish]:
    """Give the finish after each answer."""
    if part == "steps":
        if not finish.steps:
            yield from _asked_steps(finish)
        return
    kind = SECTIONS[part]
    now: Any = getattr(finish, part)
    open_fields = [each for each in shown_entries(kind) if now is None or getattr(now, each.name) in {None, ()}]
    if part == "seal" and now is not None and now.kind == "none":
        return
    if open_fields:
        say(f"Now {_TITLES[part]}.")
    said = {} if now is None else {each.name: getattr(now, each.name) for each in entries(kind)}
    for each in open_fields:
        if _skipped(part, each, said):
            continue
        answer = _ask_entry(kind, each, said)
        if answer is not None:
            said |= answer
            section: Any = changed(kind, None, said)
            finish = replace(finish, **{part: section})
            yield finish


def _skipped(part: str, each: Entry, said: Mapping[str, Any]) -> bool:
    if each.name in _ONLY_WITH and not _ONLY_WITH[each.name](said):
        return True
    # Without a kind, or with none, there is nothing more to know of a sealer.
    return part == "seal" and each.name != "kind" and said.get("kind") in {None, "none"}


def _asked_steps(finish: Finish) -> Iterator[Finish]:
    """Ask for the colour steps until one is left open."""
    say("Now the colour steps, in order: oil; maker=Acme; colour=honey; lot=7; wipe=10")
    for number in range(1, MOST_STEPS + 1):
        answer = _ask(f"step {number}", (), lambda text: ColourStep(**parse_fields(ColourStep, text)))
        if answer is None:
            return
        finish = replace(finish, steps=(*finish.steps, answer))
        yield finish


def _ask_entry(kind: type[Checked], each: Entry, said: Mapping[str, Any]) -> Any:  # noqa: ANN401 - each form's own type
    unit = f" ({each.unit})" if each.unit else ""
    choices = ("yes", "no") if each.form == "flag" else each.choices

    def read(text: str) -> Any:  # noqa: ANN401 - each form's own type
        value = read_value(each, text)
        found = {each.name: value, **unit_typed(each, text)}
        kind(**{**said, **found})  # held against its limits at once
        return found

    return _ask(f"{each.label}{unit}", choices, read)


def _one_of(choices: tuple[str, ...], text: str) -> str:
    if choices and text not in choices:
        raise UsageError("unknown-choice", f"“{text}” is none of these.", f"Choose one of: {', '.join(choices)}.")
    return text


def _ask(question: str, choices: tuple[str, ...], read: Callable[[str], Any]) -> Any:  # noqa: ANN401 - as `read`
    """Ask until an answer can be read; None for an empty one."""
    shown = f"  {question} [{', '.join(choices)}]" if choices else f"  {question}"
    while True:
        text = click.prompt(shown, default="", show_default=False, err=True).strip()
        if text == _END:
            raise _EnoughError
        if not text:
            return None
        try:
            return read(text)
        except UsageError as error:
            say(f"  {error.message} {error.hint}")

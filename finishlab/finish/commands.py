"""Options that say how a board was finished, for every command that writes one down; and asking for what is missing."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any, Final, TypeVar, cast

import click

from finishlab.board import CLEAR_ONLY, MAX_COATS, PURPOSES, STATES
from finishlab.cli.common import BeginningChoice, on_terminal, options, say
from finishlab.errors import UsageError
from finishlab.finish import FINISH_PARTS, MOST_STEPS, ColourStep, Finish, FinishPart
from finishlab.finish.entering import FinishTexts, entered_texts, read_record_file
from finishlab.finish.fields import FieldSpec, Section, changed, parse_fields, specs

if TYPE_CHECKING:
    from finishlab.finish.entering import Draft, Entered
    from finishlab.finish.warnings import FinishWarning


Command = TypeVar("Command", bound=Callable[..., Any])

CLEARABLE: Final = (
    *("stain", "coats", "topcoat", "note", "state", "maker", "recipe"),
    *(part.name if part.several else part.option for part in FINISH_PARTS),
)
"""What ``--clear`` takes out: fields of the record, and parts of its finish."""

_END: Final = "."
_FIRST: Final = (("species", "wood", ()), ("state", "state", STATES), ("maker", "made by", ()))
"""Field of the record, question and choices: what is asked before the finish."""


def part_options(*, own: bool = True) -> Callable[[Command], Command]:
    """Return what adds the options of a finish's parts; the command is given one dict of texts as `parts`.

    With `own` those too of what belongs to one piece of wood.
    """
    offered = [each for each in FINISH_PARTS if own or each.name != "looking"]

    def added(command: Command) -> Command:
        @functools.wraps(command)
        def gathered(*args: object, **others: Any) -> object:  # noqa: ANN401 - click's own
            said = {each.name: others.pop(f"part_{each.name}") for each in offered}
            return command(*args, parts={name: text for name, text in said.items() if text not in {None, ()}}, **others)

        return options(*map(_part_option, offered))(cast("Command", gathered))

    return added


def _part_option(part: FinishPart) -> Callable[[Any], Any]:
    return click.option(
        f"--{part.option}", f"part_{part.name}", metavar="FIELDS", multiple=part.several, help=part.help
    )


_TEXT: Final = {"metavar": "TEXT"}
_FIELDS: Final[tuple[tuple[str, dict[str, Any], str], ...]] = (
    ("species", {"metavar": "WOOD"}, "The wood."),
    ("stain", _TEXT, "Stain, or stains mixed."),
    ("coats", {"type": click.IntRange(0, MAX_COATS), "metavar": "N"}, "Coats of stain."),
    ("topcoat", _TEXT, "Topcoat and sheen."),
    ("purpose", {"type": BeginningChoice(PURPOSES)}, "What the board is for."),
    ("light", _TEXT, "The light of its first photos; they move with it."),
    ("note", _TEXT, "Anything else."),
    ("date", {"metavar": "DATE"}, "Day of its first photos."),
)
"""Field of a board's record, how its option is typed, and its help."""
_OF_A_NEW_ONE: Final = {
    "species": "The wood; needed for a new board.",
    "topcoat": "Topcoat and sheen; left out, the board counts as not topcoated.",
    "purpose": "What the board is for. [default: candidate]",
    "light": "The light it was taken in. [default: daylight]",
    "date": "Day of the photo, e.g. 2024-05-31. [default: as the photo says]",
}
"""Their help where the board is not logged yet, where it is another."""


def record_options(*, new: bool) -> Callable[[Command], Command]:
    """Return what adds the options of a board's own fields."""
    words = _OF_A_NEW_ONE if new else {}
    return options(*(click.option(f"--{name}", help=words.get(name, said), **how) for name, how, said in _FIELDS))


_SOURCES: Final = (
    click.option("--state", type=click.Choice(STATES), help="How far the finish has come."),
    click.option("--maker", metavar="NAME", help="Who made the board."),
    click.option("--recipe", metavar="R1", help="Its recipe, by number or name; its finish is the recipe's."),
    part_options(),
    click.option("--like", metavar="B3", help="As this board's record; whatever else is said wins."),
    click.option("--from", "file", metavar="FILE", type=click.Path(), help="The record from a TOML or CSV file."),
    click.option("--row", type=click.IntRange(1), metavar="N", help="With --from: the row of a CSV file with several."),
    click.option("--ask", is_flag=True, help="Ask for whatever is missing."),
)


def draft_options(command: Command) -> Command:
    """Add the options; the command is given them as one `finish_texts`."""

    @functools.wraps(command)
    def gathered(*args: object, parts: dict[str, Any], **others: Any) -> object:  # noqa: ANN401 - click's own

        sources = {name: others.pop(name) for name in ("recipe", "like", "file", "row", "ask")}
        return command(*args, finish_texts=FinishTexts(parts, **sources), **others)

    return options(*_SOURCES)(cast("Command", gathered))


def typed(fields: Mapping[str, Any], texts: FinishTexts) -> list[Entered]:
    """Return what a file and the options say, the stronger last."""
    said = [] if texts.file is None else [read_record_file(texts.file, texts.row)]
    return [*said, entered_texts(fields, texts)]


def say_warnings(warnings: Iterable[FinishWarning]) -> None:
    """Say what is likely a slip in a record."""
    for warning in warnings:
        say(f"Worth a thought: {warning.message}")


class _EnoughError(Exception):
    """The user has said all he wants to say."""


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
        for name, question, choices in _FIRST:
            if values.get(name) is None:
                answer = _ask(question, choices, partial(_one_of, choices))
                values |= {} if answer is None else {name: answer}
        for part in _parts(str(values.get("purpose"))):
            for answered in _asked_steps(part, finish) if part.several else _asked(part, finish):
                finish = answered  # at once: what was said before a full stop is kept
    except _EnoughError:
        pass
    said = {name: value for name, value in values.items() if value != draft.fields.get(name)}
    return draft.with_finish(finish, said)


def _parts(purpose: str) -> Iterator[FinishPart]:
    bare: dict[str, tuple[str, ...]] = {"raw": ("steps", "seal", "topcoat"), CLEAR_ONLY: ("steps",)}
    left_out = bare.get(purpose, ())
    return (part for part in FINISH_PARTS if part.name not in left_out)


def _asked(part: FinishPart, finish: Finish) -> Iterator[Finish]:
    """Give the finish after each answer."""
    now: Any = getattr(finish, part.name)
    said = {} if now is None else {each.name: getattr(now, each.name) for each in specs(part.section, units=True)}
    still_open = [each for each in specs(part.section) if said.get(each.name) in {None, ()}]
    if part.name == "seal" and said.get("kind") == "none":
        return
    if still_open:
        say(f"Now {part.title}.")
    for each in still_open:
        if _skipped(part, each, said):
            continue
        answer = _ask_field(part.section, each, said)
        if answer is not None:
            said |= answer
            section: Any = changed(part.section, None, said)
            finish = replace(finish, **{part.name: section})
            yield finish


def _skipped(part: FinishPart, each: FieldSpec, said: Mapping[str, Any]) -> bool:
    """Return whether others make no sense of a field: of a sealer without a kind there is nothing more to know."""
    name, equals, wanted = each.only_with.partition("=")
    if name and not (said.get(name) == wanted if equals else said.get(name)):
        return True
    return part.name == "seal" and each.name != "kind" and said.get("kind") in {None, "none"}


def _asked_steps(part: FinishPart, finish: Finish) -> Iterator[Finish]:
    """Ask for the colour steps until one is left open."""
    if finish.steps:
        return
    say(f"Now {part.title}")
    for number in range(1, MOST_STEPS + 1):
        answer = _ask(f"step {number}", (), lambda text: ColourStep(**parse_fields(ColourStep, text)))
        if answer is None:
            return
        finish = replace(finish, steps=(*finish.steps, answer))
        yield finish


def _ask_field(kind: type[Section], each: FieldSpec, said: Mapping[str, Any]) -> Any:  # noqa: ANN401 - each form's own
    unit = f" ({each.unit})" if each.unit else ""

    def read(text: str) -> Any:  # noqa: ANN401 - each form's own type
        found = {each.name: each.read(text), **each.unit_typed(text)}
        kind(**{**said, **found})  # held against its limits at once
        return found

    return _ask(f"{each.label}{unit}", ("yes", "no") if each.form == "flag" else each.choices, read)


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

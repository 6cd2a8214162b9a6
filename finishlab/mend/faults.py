"""What goes wrong with a finish on a stair, read from one table, `faults.toml`; how the everyday word for it is found.

A further fault is one entry there. All of it is **common practice, no source**, unless marked; the label always wins.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from finishlab.cautions import Action
from finishlab.coatings import COMMON
from finishlab.errors import UsageError

Ask = Literal["coats", "waits", "wood", "neighbours", "colour", "age"]
"""What of the record of a part matters: its coats with product and day, the waits between them and how damp it was, its
wood, the cans its neighbours got, its colour beside theirs, how old it is."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that goes wrong."""

    name: str
    also: tuple[str, ...]
    """Everyday words for it."""
    look: str
    unlike: tuple[tuple[str, str], ...]
    """A look-alike, by its name, and how to tell it from this."""
    why: str
    first: tuple[str, ...]
    never: tuple[str, ...]
    finisher: str
    """When to call one."""
    ask: tuple[Ask, ...]
    actions: tuple[Action, ...] = ("sand",)
    products: tuple[str, ...] = ()
    """What the mending takes, for its cautions."""
    source: str = COMMON


def _read(text: str) -> tuple[str, tuple[str, ...], tuple[str, ...], dict[str, Fault]]:
    table = tomllib.loads(text)
    faults = (Fault(**{name: _frozen(value) for name, value in each.items()}) for each in table["fault"])
    found = {each.name: each for each in faults}
    return table["try_first"], _frozen(table["old_cans"]), _frozen(table["yearly"]), found


def _frozen(value: Any) -> Any:  # noqa: ANN401 - of TOML
    if isinstance(value, dict):
        return tuple(value.items())
    return tuple(value) if isinstance(value, list) else value


TRY_FIRST, OLD_CANS, YEARLY, FAULTS = _read(Path(__file__).with_name("faults.toml").read_text(encoding="utf-8"))
"""What is said of every fault; of old cans; what is done each year; and name -> fault."""

_LIKE: Final = 0.78
"""Likeness of two words from which one is taken for a slip of the other (`difflib`'s ratio). This tool's own."""


def fault_of(text: str) -> Fault:
    """Return the fault that everyday words mean.

    The name itself, else the longest name or word of it that stands in the text, else one that is a slip away.

    Raises
    ------
    UsageError
        ``"unknown-fault"``, with those that are like it.
    """
    words = " ".join(re.findall(r"[a-z']+", text.casefold()))
    named = {name: each for each in FAULTS.values() for name in (*each.also, each.name)}
    found = [name for name in named if re.search(rf"\b{re.escape(name)}\b", words)]
    if found:
        return named[max(found, key=len)]
    near = difflib.get_close_matches(words, named, n=3, cutoff=_LIKE)
    if near and len({named[name].name for name in near}) == 1:
        return named[near[0]]
    like = difflib.get_close_matches(words, named, n=3, cutoff=0.5)
    meant = list(dict.fromkeys(named[name].name for name in like))
    hint = f"Did you mean: {', '.join(meant)}?" if meant else f"Choose one of: {', '.join(FAULTS)}."
    raise UsageError("unknown-fault", f"“{text}” is not a fault that is known here.", hint)


def look_alikes(fault: Fault) -> tuple[tuple[Fault, str], ...]:
    """Return what is easily taken for a fault, and how to tell."""
    return tuple((FAULTS[name], how) for name, how in fault.unlike)

"""The parts of docs/accuracy.md about printers and about guesses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

import accuracy_figures as fig
import numpy as np
from accuracy_guesses import AS_IS, GUESSES, WORDS_ONLY
from render.printers import PRINTERS

Rows = list[dict[str, Any]]

NAMED: Final = tuple(printer.name for printer in PRINTERS)
KINDS: Final[Mapping[str, str]] = {
    "managed": "any that takes a grey as sRGB",
    "half-tone": "any half-tone",
    "toner saving": "any that saves toner",
}
_MOVES: Final = 0.3
"""A guess that moves a pair by more deserves better than a guess."""
_WAYS: Final[Mapping[str, str]] = {
    "photo": "one photo",
    "learned": "print learned",
    "raw": "camera raw",
    "typed": "greys typed in",
    "seen": "greys by eye",
    "card": "greys by a card",
    "hand": "by hand",
}


def by_printer(data: Mapping[str, Any]) -> dict[str, Rows]:
    """Return the measurements by printer: each named one, and the drawn ones by kind and all together."""
    members, drawn = fig.rows(data, "members"), fig.rows(data, "single")
    out = {name: [r for r in members if r["printer"] == name] for name in NAMED}
    out |= {words: [r for r in drawn if r["print_kind"] == kind] for kind, words in KINDS.items()}
    return out | {"any": drawn}


def _cells(records: Iterable[Mapping[str, Any]]) -> str:
    """Return mean, 95th percentile, share of intervals that hold, and median of value over truth."""
    whole = list(records)
    if not whole:
        return "- | - | - | -"
    errors = fig.beyond(whole)
    ratio = float(np.median([r["value"] / r["true"] for r in whole]))
    return f"{errors.mean():.2f} | {np.percentile(errors, 95):.2f} | {100 * fig.held(whole):.0f} % | {ratio:.2f}"


def printers(data: Mapping[str, Any]) -> str:
    """Return the section on printers."""
    found = by_printer(data)
    lines = [
        "The named printers print the very same scenes, all else equal. Error of a pair beyond the ideal camera, share of ",
        "stated 95 % intervals that hold the truth, and the median of figure over truth; then the same photos measured ",
        "again after the print was learned from one photo of the strip from a few steps back, and by how much the greys ",
        "so learned are off (root mean square, L*): as they are, and with the paper taken as known, whose own lightness no ",
        "photo of greys can tell from the light. All rendered.\n\n",
        "![error against printer](pictures/accuracy-printers.svg)\n\n",
        "| printer | mean | 95th | holds | figure / truth | learned: mean | 95th | holds | figure / truth | greys off | of |\n",
        "|---|---|---|---|---|---|---|---|---|---|---|\n",
    ]
    for name, records in found.items():
        learned = fig.after(records)
        off = [fig.mean(r[key] for r in learned) for key in ("greys_off", "greys_off_shape")]
        shown = " / ".join("-" if np.isnan(v) else f"{v:.1f}" for v in off)
        lines.append(f"| {name} | {_cells(records)} | {_cells(learned)} | {shown} | {len(records)} |\n")
    lines += [_worst(found), _not_learned(data)]
    return "".join(lines)


def _worst(found: Mapping[str, Rows]) -> str:
    """Say which named printer is worst, before and after learning."""
    lines = []
    for words, pick in (("Not learned", list), ("Learned", fig.after)):
        some = {name: rows for name in NAMED if (rows := pick(found[name]))}
        if not some:
            continue
        error = max(some, key=lambda name: fig.beyond(some[name]).mean())
        holds = min(some, key=lambda name: fig.held(some[name]))
        lines.append(
            f"{words}, the worst named printer by error is *{error}* ({fig.beyond(some[error]).mean():.2f}), by intervals "
            f"*{holds}* ({100 * fig.held(some[holds]):.0f} %). "
        )
    return "\n" + "".join(lines) + "\n"


def _not_learned(data: Mapping[str, Any]) -> str:
    """Say how often learning was refused, and why."""
    whole = [*fig.rows(data, "members", refused=True), *fig.rows(data, "single", refused=True)]
    codes = [code for r in whole if (code := r["learned"]["refused"]) and not r["refused"]]
    told = ", ".join(f"{code} {codes.count(code)}" for code in sorted(set(codes)))
    return f"Of {len(whole)} photos from a few steps back, refused: {told or 'none'}.\n"


def guesses(data: Mapping[str, Any]) -> str:
    """Return the section on guesses."""
    whole = fig.rows(data, "guesses")
    plan = data["guesses"]["plan"]
    lines = [
        "Constants marked 'common practice, no source' that a figure rests on, each off by a plausible amount: the same ",
        f"{plan['guesses']} rendered scenes (any printer) measured again. *Moved*: the pair's figure, on average, the larger ",
        "of the two; beside it error beyond the ideal camera and the share of intervals that hold, as it is and off. So few ",
        "scenes tell a large effect from none, not the second digit.\n\n",
        "| guess | way | moved | error as it is | off | holds as it is | off |\n|---|---|---|---|---|---|---|\n",
    ]
    much = []
    for index, guess in enumerate(GUESSES):
        base = {r["seed"]: r for r in whole if r["path"] == guess.path and r["variant"] == AS_IS}
        others = [[r for r in whole if r["guess"] == index and r["variant"] == k and r["seed"] in base] for k in (0, 1)]
        if not base or not all(others):
            lines.append(f"| {guess.what} | {_WAYS[guess.path]} | - | - | - | - | - |\n")
            continue
        moved = max(fig.mean(abs(r["value"] - base[r["seed"]]["value"]) for r in rows) for rows in others)
        errors = " / ".join(f"{fig.beyond(rows).mean():.2f}" for rows in others)
        holds = " / ".join(f"{100 * fig.held(rows):.0f} %" for rows in others)
        lines.append(
            f"| {guess.what} | {_WAYS[guess.path]} | {moved:.2f} | {fig.beyond(base.values()).mean():.2f} | {errors} | "
            f"{100 * fig.held(base.values()):.0f} % | {holds} |\n"
        )
        much += [guess.what] if moved > _MOVES else []
    told = (
        f"Moving a pair by more than {_MOVES}: {'; '.join(much)}."
        if much
        else f"None moves a pair by more than {_MOVES}."
    )
    words = "; ".join(f"`{name}` ({what})" for (_, name), what in WORDS_ONLY.items())
    lines.append(f"\n{told}\n\nMarked so, but only deciding whether a sentence is said: {words}.\n")
    return "".join(lines)

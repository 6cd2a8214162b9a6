"""Where errors come from, in words of the trade: one table from names of effects to sources people can act on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final, Literal

import numpy as np

from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
from finishlab.colorimetry.table import ColourTable

__all__ = ["EFFECTS", "SOURCES", "Source", "listed", "print_open", "scaled", "scaled_table", "source_of"]

Source = Literal["print", "camera", "light", "grain", "planks"]

SOURCES: Final[Mapping[Source, str]] = {
    "print": "the print of the strip",
    "camera": "the camera",
    "light": "light and fit of the photo",
    "grain": "grain and noise of the surface",
    "planks": "the planks of the floor",
}
"""Each source and what it is called; the camera is its colours, its boost of saturation and its tone. What a surface
shares with nobody is of the grain, what planks differ by of the planks."""

EFFECTS: Final[Mapping[str, Source]] = {
    "print": "print",
    "black-ink": "print",
    "tone": "camera",
    "saturation": "camera",
    "camera": "camera",
    "profile": "camera",
    "wood": "camera",
    "fit": "light",
}
"""How the name of a shared effect begins -> its source; a name is its beginning, or goes on with a hyphen."""


def listed(name: str) -> Source | None:
    """Return the source the table has for an effect's name, None if it has none."""
    return next((source for start, source in EFFECTS.items() if name == start or name.startswith(f"{start}-")), None)


def source_of(name: str) -> Source:
    """Return an effect's source; a name of a newer finishlab that the table lacks counts as the photo's fit."""
    return listed(name) or "light"


def print_open(name: str, scope: str) -> bool:
    """Return whether an effect is of a print that was not learned: its scope names no greys beside the number."""
    return source_of(name) == "print" and scope.startswith("strip:") and scope.count(":") == 1


def scaled(estimate: LabEstimate, variances: Mapping[Source, float]) -> LabEstimate:
    """Return a colour with the variances of some sources times a factor."""
    factors = {source: float(np.sqrt(factor)) for source, factor in variances.items()}
    shared = tuple(_longer(effect, factors.get(source_of(effect.name), 1.0)) for effect in estimate.shared)
    own = np.asarray(estimate.own) * variances.get("grain", 1.0)
    return replace(LabEstimate.build(np.asarray(estimate.lab), own, shared), lab=estimate.lab)


def _longer(effect: SharedEffect, factor: float) -> SharedEffect:
    a, b, c = effect.vector
    return effect if factor == 1.0 else replace(effect, vector=(a * factor, b * factor, c * factor))


def scaled_table(colours: ColourTable, variances: Mapping[Source, float], open_print: float = 1.0) -> ColourTable:
    """Return many colours with the variances of some sources times a factor.

    Parameters
    ----------
    colours
        The colours.
    variances
        Source -> factor.
    open_print
        A further factor for prints that were not learned.
    """
    of_name = [variances.get(source_of(name), 1.0) for name in colours.names]
    factor = np.asarray(of_name, dtype=np.float64)[colours.name]
    if open_print != 1.0:
        factor = factor * np.where(_open(colours.names, colours.scopes, colours), open_print, 1.0)
    vectors = colours.vectors * np.sqrt(factor)[:, None]
    return replace(colours, own=colours.own * variances.get("grain", 1.0), vectors=vectors)


def _open(names: Sequence[str], scopes: Sequence[str], colours: ColourTable) -> np.ndarray:
    """Return which effects are of a print that was not learned, shape (m,)."""
    of_print = np.array([print_open(name, "strip:0") for name in names], dtype=bool)
    is_open = np.array([print_open("print", scope) for scope in scopes], dtype=bool)
    return np.asarray(of_print[colours.name] & is_open[colours.scope])

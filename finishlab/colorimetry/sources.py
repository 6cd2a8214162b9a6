"""Where errors come from, in words of the trade: one table from names of effects to sources people can act on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from finishlab.colorimetry.camera_error import less_wood
from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
from finishlab.colorimetry.table import ColourTable

__all__ = [
    "EFFECTS",
    "SOURCES",
    "Factors",
    "Source",
    "listed",
    "of_tone",
    "open_prints",
    "print_open",
    "scaled",
    "scaled_table",
    "source_of",
    "tones",
]

Source = Literal["print", "camera", "light", "grain", "planks"]

SOURCES: Final[Mapping[Source, str]] = {
    "print": "the print of the strip",
    "camera": "the camera",
    "light": "light and fit of the photo",
    "grain": "grain and noise of the surface",
    "planks": "the planks of the floor",
}
"""Each source and what it is called; the camera is its colours, its boost of saturation and its tone. What a surface
shares with nobody is of the grain, but for what the camera gets wrong of that wood; what planks differ by is theirs."""

EFFECTS: Final[Mapping[str, Source]] = {
    "print": "print",
    "black-ink": "print",
    "tone": "camera",
    "saturation": "camera",
    "camera": "camera",
    "profile": "camera",
    "wood": "camera",
    "fit": "light",
    "grey": "light",
}
"""How the name of a shared effect begins -> its source; a name is its beginning, or goes on with a hyphen."""

Factors = Mapping[Source, ArrayLike]
"""Source -> by how much its errors are to be multiplied: one factor, or one each for L*, a* and b*."""


def listed(name: str) -> Source | None:
    """Return the source the table has for an effect's name, None if it has none."""
    return next((source for start, source in EFFECTS.items() if name == start or name.startswith(f"{start}-")), None)


def source_of(name: str) -> Source:
    """Return an effect's source; a name of a newer finishlab that the table lacks counts as the photo's fit."""
    return listed(name) or "light"


def print_open(name: str, scope: str) -> bool:
    """Return whether an effect is of a print that was not learned: its scope names no greys beside the number."""
    unlearned = scope.startswith("strip:") and (scope.count(":") == 1 or scope.endswith(":usual"))
    return unlearned and source_of(name) == "print"


def of_tone(name: str) -> bool:
    """Return whether an effect is of the camera's tone, which the fit weighs against the print."""
    return name.startswith("tone-")


def scaled(estimate: LabEstimate, factors: Factors) -> LabEstimate:
    """Return a colour with the errors of some sources times a factor."""
    stretch = np.asarray(factors.get("grain", 1.0)) * np.ones(3)
    grain = estimate.own_of_photo
    own = np.asarray(estimate.own) + grain * (np.outer(stretch, stretch) - 1.0)
    shared = [_longer(effect, factors.get(source_of(effect.name))) for effect in estimate.shared]
    return replace(LabEstimate.build(np.asarray(estimate.lab), own, shared, wood=estimate.wood), lab=estimate.lab)


def _longer(effect: SharedEffect, factor: ArrayLike | None) -> SharedEffect:
    if factor is None:
        return effect
    one, two, three = (np.asarray(effect.vector) * np.asarray(factor)).tolist()
    return replace(effect, vector=(one, two, three))


def scaled_table(colours: ColourTable, factors: Factors) -> ColourTable:
    """Return many colours with the errors of some sources times a factor."""
    of_name = [np.asarray(factors.get(source_of(name), 1.0)) * np.ones(3) for name in colours.names]
    factor = np.reshape(of_name, (-1, 3))[colours.name]
    stretch = np.asarray(factors.get("grain", 1.0)) * np.ones(3)
    grain = colours.own.copy()
    grain[colours.wood] = less_wood(grain[colours.wood])
    own = colours.own + grain * (np.outer(stretch, stretch) - 1.0)
    return replace(colours, own=own, vectors=colours.vectors * factor)


def open_prints(colours: ColourTable) -> np.ndarray:
    """Return which of the shared effects are of a print that was not learned, shape (m,)."""
    of_print = np.array([print_open(name, "strip:0") for name in colours.names], dtype=bool)
    is_open = np.array([print_open("print", scope) for scope in colours.scopes], dtype=bool)
    return np.asarray(of_print[colours.name] & is_open[colours.scope])


def tones(colours: ColourTable) -> np.ndarray:
    """Return which of the shared effects are of a camera's tone, shape (m,)."""
    return np.asarray(np.array([of_tone(name) for name in colours.names], dtype=bool)[colours.name])

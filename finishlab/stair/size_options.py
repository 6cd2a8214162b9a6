"""What several stair commands read: the sizes of parts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final, TypeVar

import click

from finishlab.errors import UsageError

__all__ = ["ANGLES", "LENGTHS", "lengths_in", "size_options", "sizes_given", "three_sizes"]

Command = TypeVar("Command", bound=Callable[..., Any])

LENGTHS: Final = {
    "front": "Width along the front edge; the length of a riser, nosing, skirt or stringer.",
    "back": "Width along the back edge.",
    "depth": "From front to back, square to the front edge.",
    "thickness": "Thickness.",
    "nosing": "How far the front edge stands out over the riser.",
    "height": "Height of a riser, skirt or stringer.",
}
ANGLES: Final = {
    "left": "Angle inside the part between its front edge and left end, degrees.",
    "right": "The same at the right end.",
}


def size_options(command: Command) -> Command:
    """Add the sizes of a part, each by its own name."""
    for name, text in reversed(ANGLES.items()):
        command = click.option(f"--{name}", f"{name}_angle", type=float, metavar="DEG", help=text)(command)
    for name, text in reversed(LENGTHS.items()):
        command = click.option(f"--{name}", metavar="LENGTH", help=text)(command)
    return command


def sizes_given(values: dict[str, Any], kind: str = "part") -> dict[str, Any]:
    """Take the sizes out of the options that were given; lengths in mm, with those that were typed in inches named.

    Raises
    ------
    UsageError
        ``"bad-length"``, ``"unit-missing"``.
    """
    texts = {name: text for name in LENGTHS if (text := values.pop(name)) is not None}
    sizes = lengths_in(texts, kind)
    for name in ANGLES:
        value = values.pop(f"{name}_angle")
        if value is not None:
            sizes[f"{name}_angle"] = value
    return sizes


def lengths_in(texts: Mapping[str, str], kind: str) -> dict[str, Any]:
    """Return typed lengths as `finishlab.records.PartSizes` keeps them."""
    from finishlab.records.lengths import in_inches, read_lengths

    return {**read_lengths(texts, kind), "inches": in_inches(texts)} if texts else {}


def three_sizes(text: str, names: tuple[str, str, str]) -> dict[str, str]:
    """Return sizes written as one, by their names: ``914x292x27``, ``36x11.5x1 1/16in``.

    Raises
    ------
    UsageError
        ``"bad-size"``.
    """
    from finishlab.units import split_sizes

    pieces = split_sizes(text)
    if not 2 <= len(pieces) <= len(names) or not all(pieces):
        raise UsageError(
            "bad-size",
            f"“{text}” is no size.",
            f"Write {' x '.join(names)}, for example 914x292x27 or “36x11.5x1 1/16in”.",
        )
    return dict(zip(names, pieces, strict=False))

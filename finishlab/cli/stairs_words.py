"""What several stair commands read: the sizes of parts."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar

import click

from finishlab.errors import UsageError

__all__ = ["ANGLES", "LENGTHS", "size_options", "sizes_given", "three_sizes"]

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


def sizes_given(values: dict[str, Any]) -> dict[str, float]:
    """Take the sizes out of the options that were given; lengths in mm.

    Raises
    ------
    UsageError
        ``"bad-length"``.
    """
    from finishlab.units import parse_length

    sizes: dict[str, float] = {}
    for name in LENGTHS:
        text = values.pop(name)
        if text is not None:
            sizes[name] = parse_length(text, name)
    for name in ANGLES:
        value = values.pop(f"{name}_angle")
        if value is not None:
            sizes[f"{name}_angle"] = value
    return sizes


def three_sizes(text: str, names: tuple[str, str, str]) -> dict[str, float]:
    """Return sizes written as one: ``914x292x27``, ``36x11.5x1 1/16in``; a unit at the end holds for all.

    Raises
    ------
    UsageError
        ``"bad-size"``, ``"bad-length"``.
    """
    from finishlab.units import parse_length

    pieces = [piece.strip() for piece in text.lower().replace("\N{MULTIPLICATION SIGN}", "x").split("x")]
    if not 2 <= len(pieces) <= len(names) or not all(pieces):
        raise UsageError(
            "bad-size",
            f"“{text}” is no size.",
            f"Write {' x '.join(names)}, for example 914x292x27 or “36x11.5x1 1/16in”.",
        )
    unit = pieces[-1].lstrip("0123456789./ -")
    whole = [piece if piece[-1].isalpha() or piece[-1] in "\"'" else piece + unit for piece in pieces]
    return {name: parse_length(piece, name) for name, piece in zip(names, whole, strict=False)}

"""The address of a record: a short text that stays the same as long as the logbook does, for QR codes and notes.

``finishlab:board/B3?logbook=stairs`` is the board B3 of the logbook whose folder is called ``stairs``. The part before
the question mark names the record; the logbook's name only helps whoever has several, and may be missing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal, get_args
from urllib.parse import quote, unquote

from finishlab.errors import UsageError

__all__ = ["ADDRESS_KINDS", "Address", "AddressKind"]

AddressKind = Literal["board", "part", "recipe", "can", "spot"]
ADDRESS_KINDS: Final[tuple[AddressKind, ...]] = get_args(AddressKind)
"""``board/B3``, ``part/2.T7``, ``recipe/R1``, ``can/C3``, ``spot/F2``."""

_ADDRESS: Final = re.compile(r"finishlab:([a-z]+)/([A-Za-z0-9.]+)(?:\?logbook=([^&#\s]+))?")
_CODE: Final = re.compile(r"[A-Za-z0-9.]+")


@dataclass(frozen=True, slots=True)
class Address:
    """Which record of which logbook.

    Raises
    ------
    ValueError
        If the kind is none of `ADDRESS_KINDS`, or the code holds anything but letters, digits and dots.
    """

    kind: AddressKind
    code: str
    logbook: str | None = None
    """Name of the logbook's folder."""

    def __post_init__(self) -> None:
        if self.kind not in ADDRESS_KINDS or not _CODE.fullmatch(self.code):
            raise ValueError(f"{self.kind}/{self.code} is no address of a record")

    def __str__(self) -> str:
        tail = f"?logbook={quote(self.logbook, safe='')}" if self.logbook else ""
        return f"finishlab:{self.kind}/{self.code}{tail}"

    @classmethod
    def parse(cls, text: str) -> Address:
        """Return the address a text begins with; a QR code's further lines are passed over.

        Raises
        ------
        UsageError
            ``"bad-address"``.
        """
        first = text.strip().split("\n", 1)[0].strip()
        match = _ADDRESS.fullmatch(first)
        kind = next((each for each in ADDRESS_KINDS if match and match[1] == each), None)
        if match is None or kind is None:
            raise UsageError("bad-address", f"“{first}” is no address of a record.", "It reads finishlab:board/B3.")
        return cls(kind, match[2], unquote(match[3]) if match[3] else None)

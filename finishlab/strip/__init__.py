"""A trial at home: the same thing measured in ways that must agree."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import InitVar, dataclass, field
from typing import Any, Final, Literal, get_args

from finishlab.errors import UsageError
from finishlab.record import (
    DAYLIGHT,
    DatedRecord,
    Light,
    check_choice,
    checked_date,
    normalise_light,
    normalize,
    note_text,
    today,
)

TrialKind = Literal["same", "swap", "repeat"]
TRIAL_KINDS: Final[tuple[TrialKind, ...]] = get_args(TrialKind)
"""One board at both edges; board and floor changed over; one board photographed again."""


@dataclass(frozen=True, slots=True)
class TrialRecord(DatedRecord):
    """One trial; number 3 is shown as H3.

    Raises
    ------
    UsageError
        ``"unknown-trial-kind"``, ``"no-sides"``, ``"bad-date"``, ``"future-date"``, ``"text-too-long"``.
    """

    kind: TrialKind
    measured: Mapping[str, Any]
    """JSON: ``version``, and ``sides``, each with ``photo`` (SHA-256 or the start of it), ``file``, ``field``, the
    ``strip``'s number or null, and the ``estimate``."""
    light: Light = DAYLIGHT
    note: str | None = None
    date: dt.date = field(default_factory=today)
    """Day of the first photo; an ISO 8601 text is taken too."""
    latest: InitVar[dt.date | None] = None
    """Latest date allowed; see `FloorSpotRecord.latest`."""

    def __post_init__(self, latest: dt.date | None) -> None:
        normalize(
            self,
            measured=dict(self.measured),
            light=normalise_light(self.light),
            note=note_text(self.note),
            date=checked_date(self.date, latest, "the trial was made"),
        )
        check_choice("trial-kind", self.kind, TRIAL_KINDS, "kind of trial")
        if not isinstance(self.measured.get("sides"), list) or not self.sides:
            raise UsageError("no-sides", "The trial holds no colours.", "Make it again: finishlab trial --help")

    @property
    def sides(self) -> Sequence[Mapping[str, Any]]:
        """The colours in the order the kind of trial asks for."""
        sides: list[Mapping[str, Any]] = self.measured["sides"]
        return sides

    @property
    def photos(self) -> tuple[str, ...]:
        """Its photos, each once."""
        return tuple(dict.fromkeys(str(side["photo"]) for side in self.sides))

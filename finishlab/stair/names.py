"""What flights and parts are called: names people read, short codes, and the words by which many are meant at once.

A flight or landing has a number in the order of the stair: flight 1 is 1, the landing above it 2, flight 2 is 3 and so
on, so that a landing can be entered late. People see and type ``flight 2`` and ``landing 1``.

A part is called by its kind and place, ``tread 7``, with its flight before it where more than one has that kind:
``2/tread 7``, on a landing ``L1/landing board 3``. The short code always names the flight: ``2.T7``, ``L1.LB3``.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, get_args

from finishlab.errors import LogbookError, UsageError
from finishlab.record import enumerated, gathered, runs

FlightKind = Literal["flight", "landing"]
FLIGHT_KINDS: Final[tuple[FlightKind, ...]] = get_args(FlightKind)

PartKind = Literal["tread", "riser", "nosing", "landing nosing", "return", "landing board", "stringer", "skirt"]
PART_KINDS: Final[tuple[PartKind, ...]] = get_args(PartKind)
"""What a stair is made of, as far as it is finished."""

Side = Literal["left", "right"]
SIDES: Final[tuple[Side, ...]] = get_args(Side)
"""Seen from below."""
SIDED: Final[tuple[PartKind, ...]] = ("nosing", "return", "stringer", "skirt")
"""Parts of which there can be one at each side."""

UPRIGHT: Final[tuple[PartKind, ...]] = ("riser", "stringer", "skirt")
"""Parts of which only the face is seen and coated."""

MOST_PLACES: Final = 200
"""Most parts of one kind in a flight, and most risers."""

CODES: Final[dict[PartKind, str]] = {
    "tread": "T",
    "riser": "R",
    "nosing": "N",
    "landing nosing": "LN",
    "return": "RT",
    "landing board": "LB",
    "stringer": "ST",
    "skirt": "SK",
}
"""Letters of each kind in a code."""

_BY_CODE: Final = {code: kind for kind, code in CODES.items()}
_KIND_WORDS: Final[tuple[tuple[str, PartKind], ...]] = (
    (r"(?:landing|top) nosing", "landing nosing"),
    (r"landing board", "landing board"),
    (r"skirt ?board", "skirt"),
    *((kind, kind) for kind in ("tread", "riser", "nosing", "return", "stringer", "skirt")),
)
_LEVEL: Final = re.compile(r"(?:(flight|landing) ?(\d{1,2})(?!\d) ?[/.:]?|(l?)(\d{1,2}) ?[/.]) ?")
_RANGE: Final = re.compile(r"(\d{1,4})(?: ?(?:-|to) ?(\d{1,4}))?")
_MORE_PLACES: Final = re.compile(_RANGE.pattern + r" ?(?:l|r|left|right)?")
_HINT: Final = "Write for example “tread 7”, “2/tread 7”, “treads 3-9”, “odd treads”, “all risers” or “2.T7”."


def level_of(kind: FlightKind, number: int) -> int:
    """Return the place in the order of the stair of flight or landing `number`; landing n is the one above flight n."""
    return 2 * number - (kind == "flight")


def level_title(level: int) -> str:
    """Return ``"flight 2"`` or ``"landing 1"``: odd levels are flights, the landing above each is the even one."""
    return f"flight {(level + 1) // 2}" if level % 2 else f"landing {level // 2}"


def level_code(level: int) -> str:
    """Return ``"2"`` for flight 2, ``"L1"`` for landing 1."""
    return f"{(level + 1) // 2}" if level % 2 else f"L{level // 2}"


def parse_level(text: str) -> int:
    """Return the level of ``"flight 2"``, ``"2"``, ``"landing 1"`` or ``"L1"``.

    Raises
    ------
    UsageError
        ``"bad-flight"``.
    """
    match = re.fullmatch(r"(?:(flight|landing|l) ?)?(\d{1,2})", _folded(text))
    if match is None or not (match[2].strip("0") or match[1] in {"landing", "l"}):
        raise UsageError("bad-flight", f"“{text}” is no flight or landing.", "Write “flight 2” or “landing 1”.")
    return level_of("landing" if match[1] in {"landing", "l"} else "flight", int(match[2]))


@dataclass(frozen=True, slots=True)
class PartName:
    """Which part it is: where it stands, what it is, and its place from the bottom up."""

    level: int
    """Of its flight or landing, see `level_of`."""
    kind: PartKind
    place: int
    side: Side | None = None

    @property
    def code(self) -> str:
        """The short name that holds whatever else there is: ``"2.T7"``, ``"1.ST1L"``."""
        side = "" if self.side is None else self.side[0].upper()
        return f"{level_code(self.level)}.{CODES[self.kind]}{self.place}{side}"

    def words(self, *, with_level: bool) -> str:
        """Return the name people read: ``"tread 7"``, or ``"2/tread 7"``."""
        side = "" if self.side is None else f" {self.side}"
        return f"{level_code(self.level) + '/' if with_level else ''}{self.kind} {self.place}{side}"

    @property
    def order(self) -> tuple[int, int, int, str]:
        """Sorts parts from the bottom up."""
        return self.level, PART_KINDS.index(self.kind), self.place, self.side or ""


@dataclass(frozen=True, slots=True)
class Wanted:
    """One group of parts somebody means, not yet held against those there are."""

    text: str
    """As it was typed."""
    level: int | None
    """None where no flight was named."""
    kind: PartKind | None
    """None for every kind."""
    places: tuple[int, ...] | None
    """None for all places."""
    parity: int | None = None
    """0 for even places, 1 for odd ones."""
    side: Side | None = None
    one: bool = False
    """Whether it reads as one part, without saying which."""
    carried: bool = False
    """Whether the level is that of the group before it."""

    def takes(self, name: PartName) -> bool:
        """Return whether a part is meant."""
        return (
            (self.level is None or name.level == self.level)
            and (self.kind is None or name.kind == self.kind)
            and (self.places is None or name.place in self.places)
            and (self.parity is None or name.place % 2 == self.parity)
            and (self.side is None or name.side == self.side)
        )


def parse_parts(text: str) -> tuple[Wanted, ...]:
    """Return the groups of parts a text names.

    A group is ``[FLIGHT/] [all|odd|even] KIND [PLACES] [left|right]``: ``tread 7``, ``2/treads 3-9``,
    ``flight 2 tread 7``, ``odd treads``, ``all risers``, ``treads 1,3,5``, ``left stringer``, ``landing 1``; or a code,
    ``T7``, ``2.T3-9``. Groups are set apart by commas; one that names no flight is of the one named before it,
    if that has such parts.
    ``all`` alone is the whole stair.

    Raises
    ------
    UsageError
        ``"bad-parts"``, ``"place-out-of-range"``, ``"part-without-side"``.
    """
    groups: list[str] = []
    for piece in re.split(r"[,;]| and ", _folded(text)):
        part = piece.strip()
        if groups and _MORE_PLACES.fullmatch(part):
            groups[-1] += f",{part}"
        elif groups and part and _LEVEL.fullmatch(groups[-1]) and not _LEVEL.match(part):
            groups[-1] += f" {part}"  # "flight 2, tread 7" is one part, not the flight and a part
        elif part:
            groups.append(part)
    if not groups:
        raise UsageError("bad-parts", "No part of the stair is named.", _HINT)
    wanted: list[Wanted] = []
    for group in groups:
        wanted.append(_wanted(group, wanted[-1].level if wanted else None))
    return tuple(wanted)


def _folded(text: str) -> str:
    return " ".join(text.casefold().replace("\N{EN DASH}", "-").split())


def _wanted(group: str, level: int | None) -> Wanted:
    """Return the group, on the level of the one before it unless it names its own."""
    rest = group
    match = _LEVEL.match(group)
    carried = match is None and level is not None
    if match:
        kind: FlightKind = "landing" if match[1] == "landing" or match[3] else "flight"
        level, rest = level_of(kind, int(match[2] or match[4])), group[match.end() :]
    words = set(re.findall(r"\b(all|every|odd|even|left|right|the)\b", rest))
    rest = " ".join(re.sub(r"\b(?:all|every|odd|even|left|right|the)\b", " ", rest).split())
    side: Side | None = "left" if "left" in words else "right" if "right" in words else None
    part, plural, places, coded_side = _kind_and_places(group, rest)
    side = side or coded_side
    if side is not None and part is not None and part not in SIDED:
        raise UsageError("part-without-side", f"A {part} is at no side.", f"Sides are for: {', '.join(SIDED)}.")
    parity = 1 if "odd" in words else 0 if "even" in words else None
    if part is None and not (words & {"all", "every"}) and level is None:
        raise UsageError("bad-parts", f"“{group}” names no part of a stair.", _HINT)
    one = part is not None and not plural and places is None and not words & {"all", "every", "odd", "even"}
    return Wanted(group, level, part, places, parity, side, one, carried)


def _kind_and_places(group: str, rest: str) -> tuple[PartKind | None, bool, tuple[int, ...] | None, Side | None]:
    """Return the kind, whether it was written in the plural, the places, and the side in a code."""
    if not rest:
        return None, True, None, None
    coded = re.fullmatch(r"([a-z]{1,2}) ?(\d[\d ,-]*)([lr]?)", rest)
    if coded and coded[1].upper() in _BY_CODE:
        side: Side | None = {"l": "left", "r": "right"}.get(coded[3])  # type: ignore[assignment]  # of those two
        return _BY_CODE[coded[1].upper()], False, _places(group, coded[2]), side
    for word, kind in _KIND_WORDS:
        found = re.match(rf"{word}(s?)\b ?", rest)
        if found:
            left = rest[found.end() :]
            return kind, bool(found[1]), _places(group, left) if left else None, None
    raise UsageError("bad-parts", f"“{group}” names no part of a stair.", _HINT)


def _places(group: str, text: str) -> tuple[int, ...]:
    places: list[int] = []
    for piece in text.split(","):
        match = re.fullmatch(_RANGE, piece.strip())
        if match is None:
            raise UsageError("bad-parts", f"“{group}” cannot be read from “{piece.strip()}” on.", _HINT)
        first, last = int(match[1]), int(match[2] or match[1])
        if not 1 <= first <= last <= MOST_PLACES:
            raise UsageError(
                "place-out-of-range",
                f"“{piece.strip()}” is no place on a stair.",
                f"Places go from the bottom up, from 1 to {MOST_PLACES}.",
            )
        places += range(first, last + 1)
    return tuple(dict.fromkeys(places))


def select(wanted: Iterable[Wanted], names: Sequence[PartName]) -> list[PartName]:
    """Return the parts that are meant, each once, in the order of the stair.

    Raises
    ------
    LogbookError
        ``"unknown-part"`` if one that is named is not there.
    UsageError
        ``"which-flight"`` if places are named and several flights have such parts, ``"which-part"``.
    """
    found: set[PartName] = set()
    for group in wanted:
        found |= _of_group(group, names)
    return sorted(found, key=lambda name: name.order)


def _of_group(group: Wanted, names: Sequence[PartName]) -> set[PartName]:
    if group.carried and not any(name.level == group.level and name.kind == group.kind for name in names):
        group = replace(group, level=None)
    found = {name for name in names if group.takes(name)}
    levels = sorted({name.level for name in names if group.kind in {None, name.kind}})
    if group.level is None and len(levels) > 1 and (group.places is not None or group.one):
        where = " and ".join(level_title(level) for level in levels)
        code = level_code(levels[-1])
        hint = f"Say which, for example “{code}/{group.text}”."
        raise UsageError("which-flight", f"“{group.text}” can be in {where}.", hint)
    missing = sorted(set(group.places or ()) - {name.place for name in found})
    if missing or not found:
        raise LogbookError("unknown-part", _not_there(group, missing), _what_there_is(group, names))
    if group.one and len(found) > 1:
        last = max(found, key=lambda name: name.order)
        hint = f"Say which, for example “{last.words(with_level=False)}”, or “all {last.kind}s”."
        raise UsageError("which-part", f"“{group.text}” is one of {len(found)}.", hint)
    return found


def _not_there(group: Wanted, missing: Sequence[int]) -> str:
    where = "The stair" if group.level is None else level_title(group.level).capitalize()
    what = group.kind or "part"
    side = f" {group.side}" if group.side else ""
    return f"{where} has no {what}{f' {missing[0]}' if missing else ''}{side}."


def _what_there_is(group: Wanted, names: Sequence[PartName]) -> str:
    there = [name for name in names if group.level in {None, name.level}]
    there = [name for name in there if name.kind == group.kind] or there or list(names)
    return f"There are: {listed(there)}." if there else "Enter the stair first: finishlab stairs add 14"


def listed(names: Collection[PartName], *, with_level: bool | None = None) -> str:
    """Return parts in words, those in a row drawn together: ``"treads 1-6, riser 2"``.

    Flights are named where the parts are of more than one, unless `with_level` says otherwise.
    """
    if with_level is None:
        with_level = len({name.level for name in names}) > 1
    ordered = sorted(names, key=lambda each: (each.level, PART_KINDS.index(each.kind), each.side or "", each.place))
    groups = gathered(((name.level, name.kind, name.side), name.place) for name in ordered)
    return ", ".join(_group_words(key, places, with_level=with_level) for key, places in groups.items())


def _group_words(key: tuple[int, PartKind, Side | None], places: Sequence[int], *, with_level: bool) -> str:
    level, kind, side = key
    shown = ",".join(f"{first}" if first == last else f"{first}-{last}" for first, last in runs(places))
    before = f"{level_code(level)}/" if with_level else ""
    return f"{before}{kind}{'s' if len(places) > 1 else ''} {shown}{f' {side}' if side else ''}"


def need_flight(parts: Iterable[PartName]) -> bool:
    """Return whether some kind of part is on more than one level, so that names need their flight."""
    on = {(part.kind, part.level) for part in parts}
    return len({kind for kind, _ in on}) < len(on)


def full_name(part: PartName, *, several: bool) -> str:
    """Return a part's name, its flight before it where there are several: ``flight 2 tread 7``."""
    name = part.words(with_level=False)
    return f"{level_title(part.level)} {name}" if several else name


def named(parts: Sequence[PartName], *, several: bool) -> str:
    """Return parts in words, the numbers of a kind together: ``treads 1, 3 and 5``, ``flight 1 treads 1 and 3``."""
    groups = gathered(((part.level if several else 0, part.kind), part) for part in parts)
    words, last = [], 0
    for (level, kind), group in groups.items():
        title = level_title(level) if level else ""
        # "landing 1 boards 1 to 3", not "landing 1 landing boards".
        said = kind.removeprefix("landing ") if title.startswith("landing") and level != last else kind
        where = f"{title} " if level and level != last else ""
        last = level
        words.append(where + _numbered(said, group))
    return "; ".join(words)


def _numbered(kind: str, group: Sequence[PartName]) -> str:
    """Return parts of one kind with their numbers, three and more in a row as ``4 to 7``."""
    sides = gathered((part.side or "", part.place) for part in sorted(group, key=lambda p: (p.place, p.side or "")))
    numbers: list[str] = []
    for side, places in sides.items():
        for first, last in runs(places):
            numbers += [f"{first} to {last}"] if last > first + 1 else map(str, range(first, last + 1))
        numbers[-1] = f"{numbers[-1]} {side}".strip()
    several = "skirt boards" if kind == "skirt" else f"{kind}s"
    return f"{kind if len(group) == 1 else several} {enumerated(numbers)}"

"""Events as an iCalendar file (RFC 5545), the few properties of it that a plan needs.

Times are local and carry no zone ("floating", section 3.3.5): work at eight is at eight wherever the stair is. The same
plan gives the same file: identifiers are made from what an event says, and the time stamp is the plan's first day.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

__all__ = ["Entry", "icalendar_text"]

_LONGEST: Final = 75
"""Longest line, octets (section 3.1)."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the calendar.

    Parameters
    ----------
    start, end
        Moments, or days for an entry of whole days (the end is then the day after its last).
    title
        One line.
    text
        More, several lines.
    busy
        Whether somebody is at work then.
    """

    start: dt.datetime | dt.date
    end: dt.datetime | dt.date | None
    title: str
    text: str = ""
    busy: bool = True


def icalendar_text(name: str, entries: Iterable[Entry], stamp: dt.date) -> str:
    """Return the file, with CRLF and lines folded.

    Parameters
    ----------
    name
        Of the calendar.
    entries
        In their order.
    stamp
        Day that stands as the moment the entries were made.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//finishlab//stair plan//EN",
        "CALSCALE:GREGORIAN",
        f"X-WR-CALNAME:{_escaped(name)}",
    ]
    seen: dict[str, int] = {}
    for entry in entries:
        identity = f"{entry.start}|{entry.end}|{entry.title}|{entry.text}"
        seen[identity] = seen.get(identity, 0) + 1
        lines += _entry(entry, _identifier(f"{identity}|{seen[identity]}"), stamp)
    lines.append("END:VCALENDAR")
    return "".join(f"{_folded(line)}\r\n" for line in lines)


def _entry(entry: Entry, identifier: str, stamp: dt.date) -> list[str]:
    lines = ["BEGIN:VEVENT", f"UID:{identifier}", f"DTSTAMP:{stamp:%Y%m%d}T000000Z", f"DTSTART{_moment(entry.start)}"]
    if entry.end is not None and entry.end != entry.start:
        lines.append(f"DTEND{_moment(entry.end)}")
    lines.append(f"SUMMARY:{_escaped(entry.title)}")
    if entry.text:
        lines.append(f"DESCRIPTION:{_escaped(entry.text)}")
    lines += [f"TRANSP:{'OPAQUE' if entry.busy else 'TRANSPARENT'}", "END:VEVENT"]
    return lines


def _moment(when: dt.datetime | dt.date) -> str:
    if isinstance(when, dt.datetime):
        return f":{when:%Y%m%dT%H%M%S}"
    return f";VALUE=DATE:{when:%Y%m%d}"


def _identifier(text: str) -> str:
    return f"{hashlib.sha256(text.encode()).hexdigest()[:32]}@finishlab"


def _escaped(text: str) -> str:
    """Return a TEXT value (section 3.3.11)."""
    kept = "".join(c for c in text.replace("\r\n", "\n") if c == "\n" or c.isprintable())
    return kept.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")


def _folded(line: str) -> str:
    """Return a line cut into pieces of at most 75 octets, none within a character; the next begins with a space."""
    pieces, piece, size = [], "", 0
    for character in line:
        octets = len(character.encode())
        if size + octets > _LONGEST:
            pieces.append(piece)
            piece, size = " ", 1
        piece += character
        size += octets
    return "\r\n".join([*pieces, piece])

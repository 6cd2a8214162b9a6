"""Reading a user's TOML file strictly: every key is known, every value of its kind, and what is not is said."""

from __future__ import annotations

import datetime as dt
import difflib
import math
import tomllib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, TypeVar

from finishlab.errors import UsageError
from finishlab.units import check_likely, parse_length

Value = TypeVar("Value")
COMPARE: Final = "Compare it with: finishlab plan example"
"""The hint where something in a plan is wrong."""
_LARGEST: Final = 1_000_000
"""Bytes of the largest file that is read."""


def read_text(path: str | Path, what: str = "plan", kind: str = "") -> str:
    """Return the text of a user's file.

    Parameters
    ----------
    path
        The file.
    what
        What it holds, for the sentences.
    kind
        Kind of file, for the sentences.

    Raises
    ------
    UsageError
        ``"no-such-file"``, ``"file-too-large"``, ``"not-text"``.
    """
    file = Path(path)
    hint = f"Name the {what}'s {kind} file.".replace("  ", " ")
    try:
        size = file.stat().st_size
        if size > _LARGEST:
            raise UsageError("file-too-large", f"{file} is too large for a {what}.", hint)
        return file.read_bytes().decode("utf-8-sig")
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UsageError("no-such-file", f"{file} cannot be read: {reason}.", hint) from error
    except UnicodeDecodeError as error:
        raise UsageError("not-text", f"{file} is not text in UTF-8: {error}.", "Save it as UTF-8.") from error


def read_toml(path: str | Path, what: str = "plan", compare: str = COMPARE) -> Section:
    """Return the whole of a TOML file.

    Parameters
    ----------
    path
        The file.
    what
        What it holds, for the sentences.
    compare
        The hint where something in it is wrong.

    Raises
    ------
    UsageError
        ``"no-such-file"``, ``"file-too-large"``, ``"not-text"``, ``"not-toml"``.
    """
    text = read_text(path, what, "TOML")
    try:
        return Section(tomllib.loads(text), Path(path).name, compare)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise UsageError("not-toml", f"{path} is no TOML: {error}.", compare) from error


class Section:
    """One table of the file; whoever has read what he knows calls `finish`, and keys nobody asked for are refused.

    Parameters
    ----------
    content
        The table.
    where
        What it is called in sentences.
    compare
        The hint where something is wrong.
    """

    def __init__(self, content: dict[str, Any], where: str, compare: str = COMPARE) -> None:
        self.compare = compare
        self.content = content
        self.where = where
        self.asked: set[str] = set()

    def __bool__(self) -> bool:
        return bool(self.content)

    @contextmanager
    def told(self, where: str | None = None) -> Iterator[None]:
        """Say of what is refused inside where in the file it stands: in this table unless told."""
        try:
            yield
        except UsageError as error:
            raise UsageError(error.code, f"{where or self.where}: {error.message}", error.hint) from error

    def raw(self, name: str) -> object:
        """Return a value as it stands, None where there is none."""
        self.asked.add(name)
        return self.content.get(name)

    def read(self, name: str, parse: Callable[[str], Value]) -> Value | None:
        """Return what a text means; a bare number is taken for its text."""
        value = self.raw(name)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise self._wrong(name, "text")
        with self.told(f"{self.where}, {name}"):
            return parse(str(value))

    def lengths(self, names: Sequence[str], kind: str) -> dict[str, float]:
        """Return those lengths that are there, in mm; `kind` is what has them.

        Raises
        ------
        UsageError
            ``"bad-length"``, ``"unit-missing"``.
        """
        found = {name: mm for name in names if (mm := self.read(name, parse_length)) is not None}
        with self.told():
            check_likely({name: str(self.raw(name)) for name in found}, found, kind)
        return found

    def text(self, name: str) -> str | None:
        """Return a text."""
        return self.read(name, lambda text: " ".join(text.split()))

    def number(self, name: str) -> float | None:
        """Return a number."""
        value = self._of_kind(name, (int, float), "number")
        return None if value is None else self._finite(name, value)

    def _finite(self, name: str, value: float) -> float:
        """Return a number as one to reckon with; TOML's own may have any number of digits, or be none."""
        try:
            found = float(value)
        except OverflowError:
            found = math.inf
        if not math.isfinite(found):
            raise self._wrong(name, "number that can be meant")
        return found

    def whole(self, name: str) -> int | None:
        """Return a whole number."""
        value: int | None = self._of_kind(name, (int,), "whole number")
        return value

    def flag(self, name: str) -> bool | None:
        """Return true or false."""
        value: bool | None = self._of_kind(name, (bool,), "true or false")
        return value

    def _of_kind(self, name: str, kinds: tuple[type, ...], words: str) -> Any:  # noqa: ANN401 - one of the kinds, or None
        value = self.raw(name)
        if value is None or (isinstance(value, kinds) and isinstance(value, bool) == (bool in kinds)):
            return value
        raise self._wrong(name, words)

    def day(self, name: str) -> dt.date | None:
        """Return a date."""
        value = self.raw(name)
        return None if value is None else self._day(name, value)

    def days(self, name: str) -> tuple[dt.date, ...]:
        """Return a list of dates."""
        return tuple(self._day(name, each) for each in self._list(name))

    def texts(self, name: str) -> tuple[str, ...]:
        """Return a list of texts; one text is a list of one."""
        found = self.raw(name)
        if isinstance(found, str):
            return (found,)
        texts = self._list(name)
        if not all(isinstance(each, str | int | float) and not isinstance(each, bool) for each in texts):
            raise self._wrong(name, "list of texts")
        return tuple(str(each) for each in texts)

    def span(self, name: str) -> tuple[float, float | None] | None:
        """Return hours from and to, of ``4`` or ``[4, 24]``."""
        value = self.raw(name)
        if value is None:
            return None
        both: list[Any] = value if isinstance(value, list) else [value]
        if len(both) not in {1, 2} or any(isinstance(v, bool) or not isinstance(v, int | float) for v in both):
            raise self._wrong(name, "number of hours, or [from, to]")
        hours = [self._finite(name, each) for each in both]
        return hours[0], hours[1] if len(hours) > 1 else None

    def table(self, name: str) -> Section:
        """Return a table, an empty one where there is none."""
        value = self.raw(name)
        if value is not None and not isinstance(value, dict):
            raise self._wrong(name, "table")
        return Section(value or {}, f"{self.where}, {name}", self.compare)

    def tables(self, name: str, called: str | None = None) -> Iterable[Section]:
        """Return a list of tables; one table is a list of one."""
        value = self.raw(name)
        several = value if isinstance(value, list) else [] if value is None else [value]
        if not all(isinstance(each, dict) for each in several):
            raise self._wrong(name, "list of tables")
        return [
            Section(each, f"{self.where}, {called or name} {n}", self.compare)
            for n, each in enumerate(several, start=1)
        ]

    def finish(self) -> None:
        """Refuse what nobody asked for.

        Raises
        ------
        UsageError
            ``"unknown-key"``.
        """
        for name in self.content:
            if name not in self.asked:
                near = difflib.get_close_matches(name, sorted(self.asked), n=1)
                known = f"Do you mean {near[0]}?" if near else f"Known here: {', '.join(sorted(self.asked))}."
                raise UsageError("unknown-key", f"{self.where}: “{name}” is not known.", known)

    def _list(self, name: str) -> list[Any]:
        value = self.raw(name)
        if value is None:
            return []
        if not isinstance(value, list):
            raise self._wrong(name, "list")
        return value

    def _day(self, name: str, value: object) -> dt.date:
        if isinstance(value, str):
            try:
                value = dt.date.fromisoformat(value)
            except ValueError:
                raise self._wrong(name, "date such as 2026-12-01") from None
        if isinstance(value, dt.datetime):
            return value.date()
        if isinstance(value, dt.date):
            return value
        raise self._wrong(name, "date such as 2026-12-01")

    def _wrong(self, name: str, kind: str) -> UsageError:
        return UsageError(
            "wrong-kind",
            f"{self.where}, {name}: a {kind} belongs here.",
            self.compare,
        )


def texts_in(content: object) -> list[str]:
    """Return every text of a file, to see whether it speaks of inches."""
    if isinstance(content, dict):
        return [text for name, each in content.items() if name != "name" for text in texts_in(each)]
    if isinstance(content, list):
        return [text for each in content for text in texts_in(each)]
    return [content] if isinstance(content, str) else []

"""Who may come in, and what may come with them: in front of every page.

A request must name a host this server was started for, since a page elsewhere can let a name of its own lead here. It
must come from a paired visitor, except for pairing itself. A form must come from this server's own pages. Its body must
be no larger than its page takes, and must not take for ever.
"""

from __future__ import annotations

import asyncio
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from starlette.responses import Response

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
Asgi = Callable[[Scope, Receive, Send], Awaitable[None]]

HEADERS: Final = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
        "manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Of a page elsewhere nothing is told; with "no-referrer" a browser would send no Origin with our own forms either.
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "geolocation=(), microphone=(), payment=(), usb=()",
}
"""Sent with every answer."""
_METHODS: Final = frozenset({"GET", "HEAD", "POST"})
_DAY: Final = 86_400
STAY: Final = 30 * _DAY
"""Seconds a paired browser keeps its cookie; it ends with the server in any case."""
CODE_TRIES: Final = 5
"""Wrong codes after which another one holds."""
_LONGEST_WAIT: Final = 60.0
"""Seconds, between one wrong code and the next try."""
_QUIET: Final = 20.0
"""Seconds a body may be silent."""
_SLOWEST: Final = 4096
"""Bytes a second a body must bring on the whole."""
_VISITORS: Final = 50
_DIGITS: Final = 15
"""Of a length that may be true; Python refuses to read one of thousands."""


@dataclass(slots=True)
class Visitor:
    """A paired browser."""

    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    """In every form of its pages."""
    language: str = ""
    """As it was chosen; empty for what the browser asks for."""
    units: str = "mm"
    """``mm`` or ``in``."""
    said: list[str] = field(default_factory=list)
    """What the next page shows above."""
    kept: dict[str, str] = field(default_factory=dict)
    """What views keep for its next form: the fields of the last one."""


class Pairing:
    """Lets browsers in: by a code that is typed, or by a key in the address that a QR code or this computer opens.

    Parameters
    ----------
    changed
        Called when code and key are others than before: after one was used, and after too many wrong tries.
    clock
        Seconds, for the waits.
    """

    def __init__(self, changed: Callable[[], None] = lambda: None, clock: Callable[[], float] = time.monotonic) -> None:
        self._changed = changed
        self._clock = clock
        self._visitors: OrderedDict[str, Visitor] = OrderedDict()
        self._lock = threading.Lock()
        self._wrong = 0
        self._not_before = 0.0
        self._links: set[str] = set()
        self.code = self.key = ""
        self._renew()

    def _renew(self) -> None:
        self.code = f"{secrets.randbelow(10**8):08d}"
        self._links.discard(self.key)
        self.key = self.link()

    def link(self) -> str:
        """Return a key for an address that pairs once."""
        key = secrets.token_urlsafe(24)
        self._links.add(key)
        return key

    def visitor(self, cookie: str) -> Visitor | None:
        """Return the visitor with this cookie; None for no or a wrong one."""
        return self._visitors.get(cookie) if cookie else None

    def pair(self, given: str) -> tuple[str, Visitor] | None:
        """Return a new visitor and its cookie for the right code or key; None for a wrong one, or one too soon."""
        with self._lock:
            if self._clock() < self._not_before:
                return None
            before, found = self.code, self._let_in() if self._right(given) else None
            if found is None:
                self._wrong += 1
                self._not_before = self._clock() + min(_LONGEST_WAIT, 2.0 ** min(self._wrong - 1, 10))
                if self._wrong % CODE_TRIES == 0:
                    self._renew()
        if self.code != before:
            self._changed()
        return found

    def _right(self, given: str) -> bool:
        """Return whether it is the code or a key; either is then used up."""
        if given in self._links:  # keys are too long to be guessed by how long this takes
            self._links.remove(given)
            if given == self.key:
                self._renew()
            return True
        typed = "".join(given.split()).replace("-", "")
        right = secrets.compare_digest(typed.encode(), self.code.encode())
        if right:
            self._renew()
        return right

    def _let_in(self) -> tuple[str, Visitor]:
        self._wrong = 0
        cookie, visitor = secrets.token_urlsafe(32), Visitor()
        self._visitors[cookie] = visitor
        while len(self._visitors) > _VISITORS:
            self._visitors.popitem(last=False)
        return cookie, visitor


class Guard:
    """The ASGI application in front of the pages.

    Parameters
    ----------
    app
        The pages.
    pairing
        Who may come in.
    hosts
        ``host:port`` under which the server may be addressed.
    most_bytes
        Address -> bytes that may be posted to it.
    refused
        Makes the answer to a request that is refused: of scope, status and key of the sentence.
    """

    def __init__(
        self,
        app: Asgi,
        pairing: Pairing,
        hosts: frozenset[str],
        *,
        most_bytes: Callable[[str], int],
        refused: Callable[[Mapping[str, Any], int, str], Response],
    ) -> None:
        self.app = app
        self.pairing = pairing
        self.hosts = hosts
        self._most_bytes = most_bytes
        self._refused = refused

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        if scope["type"] != "http":
            return
        head = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
        cookie_name = self.cookie_name(head.get("host", ""))
        visitor = self.pairing.visitor(_cookie(head.get("cookie", ""), cookie_name))
        scope["state"] = {**scope.get("state", {}), "visitor": visitor, "pairing": self.pairing, "cookie": cookie_name}
        sender = _with_headers(send, scope["path"])
        refusal = self._refusal(scope, head, visitor)
        if refusal is not None:
            answer = self._refused(scope, *refusal)
            answer.headers["connection"] = "close"
            await answer(scope, receive, sender)
            return
        body = _Body(receive, self._most_bytes(scope["path"]))
        await self.app(scope, body.receive, sender)

    def cookie_name(self, host: str) -> str:
        """Return the cookie's name: browsers keep cookies of all ports of a host together."""
        return f"finishlab_{host.rpartition(':')[2] or '80'}"

    def _refusal(self, scope: Scope, head: Mapping[str, str], visitor: Visitor | None) -> tuple[int, str] | None:
        """Return status and key of the sentence for what is refused before anything of its body is read."""
        if head.get("host", "").lower() not in self.hosts:
            return 421, "guard.host"
        if scope["method"] not in _METHODS:
            return 405, "guard.missing"
        if scope["method"] == "POST" and not _from_here(head):
            return 403, "guard.elsewhere"
        length = head.get("content-length", "0")
        if not length.isdecimal() or len(length) > _DIGITS or int(length) > self._most_bytes(scope["path"]):
            return 413, "guard.too_much"
        path = scope["path"]
        if visitor is None and path != "/pair" and not path.startswith("/static/"):
            return 403, "guard.pair"
        return None


def _from_here(head: Mapping[str, str]) -> bool:
    """Return whether a form comes from this server's own pages, as far as the browser says (Fetch, Fetch Metadata)."""
    origin, site = head.get("origin"), head.get("sec-fetch-site", "same-origin")
    return site in {"same-origin", "none"} and origin in {None, f"http://{head.get('host', '')}"}


def _cookie(text: str, name: str) -> str:
    try:
        found = SimpleCookie(text).get(name)
    except CookieError:
        return ""
    return found.value if found is not None else ""


def _with_headers(send: Send, path: str) -> Send:
    """Return a `send` that adds `HEADERS`, and keeps pages out of every cache."""

    async def sender(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            kept = "no-cache" if path.startswith("/static/") else "no-store"
            added = {**HEADERS, "cache-control": kept}
            others = [pair for pair in message.get("headers", []) if pair[0].decode("latin-1").lower() not in added]
            message["headers"] = others + [(name.encode(), value.encode()) for name, value in added.items()]
        await send(message)

    return sender


class BodyError(Exception):
    """A body is larger than its page takes, or too slow.

    Parameters
    ----------
    status, key
        HTTP status, and key of the sentence.
    """

    def __init__(self, status: int, key: str) -> None:
        super().__init__(key)
        self.status = status
        self.key = key


class _Body:
    """A body on its way in: counted, and held to a least speed."""

    def __init__(self, receive: Receive, most: int) -> None:
        self._receive = receive
        self._most = most
        self._bytes = 0
        self._ended = False
        self._started = time.monotonic()

    async def receive(self) -> MutableMapping[str, Any]:
        """Return the next piece.

        Raises
        ------
        BodyError
            If it does not come in time, or is more than may come.
        """
        if self._ended:  # what comes now is the other side going away
            return await self._receive()
        left = self._started + _QUIET + self._bytes / _SLOWEST - time.monotonic()
        try:
            message = await asyncio.wait_for(self._receive(), max(0.0, min(_QUIET, left)))
        except TimeoutError as error:
            raise BodyError(408, "guard.too_slow") from error
        if message["type"] == "http.request":
            self._bytes += len(message.get("body", b""))
            self._ended = not message.get("more_body", False)
            if self._bytes > self._most:
                raise BodyError(413, "guard.too_much")
        return message

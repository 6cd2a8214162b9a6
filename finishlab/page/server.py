"""Serving the pages: sockets on this computer or its own network, and no patience with clients that dawdle."""

from __future__ import annotations

import asyncio
import ipaddress
import os
import socket
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from finishlab.errors import UsageError

if TYPE_CHECKING:
    from finishlab.page.guard import Guard

LOOPBACK: Final = "127.0.0.1"
HEAD_SECONDS: Final = 10.0
"""A request's head must be whole after so long."""
_UNREAD_SECONDS: Final = 60.0
"""An answer must be read after so long."""
_CONNECTIONS: Final = 64
"""More at once are answered that the server is busy."""
_NOWHERE: Final = ("198.51.100.1", 9)
"""An address of RFC 5737 that nobody has: nothing is sent to it, it only makes the system choose a network."""


def lan_address() -> str:
    """Return this computer's address in its own network.

    Raises
    ------
    UsageError
        ``"no-network"`` where there is none; ``"open-network"`` where the address is one that the whole internet sees.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_NOWHERE)
            address = str(probe.getsockname()[0])
        except OSError:
            address = LOOPBACK
    found = ipaddress.ip_address(address)
    if found.is_loopback or found.is_unspecified:
        raise UsageError(
            "no-network",
            "This computer is in no network, so no phone can reach it.",
            "Join it to the phone's wireless network, or leave out --lan.",
        )
    if not found.is_private:
        raise UsageError(
            "open-network",
            f"This computer's address, {address}, can be reached from the internet.",
            "Use --lan only behind a router, in a network of your own.",
        )
    return address


def bound(addresses: Sequence[str], port: int) -> list[socket.socket]:
    """Return sockets bound to one port of each address; 0 for a free one.

    Raises
    ------
    UsageError
        ``"port-taken"``.
    """
    sockets: list[socket.socket] = []
    try:
        for address in addresses:
            made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
            sockets.append(made)
            if os.name != "nt":  # where it would let another program take the port away
                made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            made.bind((address, port))
            made.listen()  # from here on a browser that comes before the server runs waits
            port = made.getsockname()[1]
    except OSError as error:
        for each in sockets:
            each.close()
        raise UsageError(
            "port-taken",
            f"Port {port} of this computer cannot be used: {(error.strerror or str(error)).lower()}.",
            "Perhaps the page runs already; else name another with --port, or --port 0 for any that is free.",
        ) from error
    return sockets


class _Impatient(H11Protocol):
    """HTTP/1.1 that ends a connection whose request's head, or whose reading of the answer, takes too long."""

    def __init__(self, *args: Any, **extra: Any) -> None:  # noqa: ANN401 - uvicorn's own
        super().__init__(*args, **extra)
        self._waits: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn's own
        """Begin to wait for a request."""
        super().connection_made(transport)
        self._watch()

    def data_received(self, data: bytes) -> None:
        """Take what came; wait for the rest of a head that has begun."""
        super().data_received(data)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no longer."""
        super().connection_lost(exc)
        self._rest()

    def on_response_complete(self) -> None:
        """Give the other side a while to read the answer."""
        super().on_response_complete()
        self.loop.call_later(_UNREAD_SECONDS, self._end_if_unread, self.transport)

    def _watch(self) -> None:
        if self.conn.their_state is not h11.IDLE:
            self._rest()
        elif self._waits is None:
            self._waits = self.loop.call_later(HEAD_SECONDS, self.transport.abort)

    def _rest(self) -> None:
        if self._waits is not None:
            self._waits.cancel()
            self._waits = None

    @staticmethod
    def _end_if_unread(transport: asyncio.Transport) -> None:
        if transport.get_write_buffer_size():
            transport.abort()


def served(app: Guard) -> uvicorn.Server:
    """Return a server for the pages, not started yet."""
    config = uvicorn.Config(
        app,
        http=_Impatient,
        ws="none",
        lifespan="off",
        loop="asyncio",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        limit_concurrency=_CONNECTIONS,
        timeout_keep_alive=5,
        timeout_graceful_shutdown=5,
        h11_max_incomplete_event_size=16 * 1024,
    )
    return uvicorn.Server(config)


def serve(app: Guard, sockets: list[socket.socket]) -> None:
    """Serve until Ctrl-C."""
    try:
        served(app).run(sockets=sockets)
    except KeyboardInterrupt:
        return

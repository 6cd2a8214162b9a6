"""``finishlab page``: the logbook on a phone or in a browser."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import click

from finishlab.cli.common import json_option, on_terminal, say, show_document
from finishlab.cli.lazy import ExampleCommand, logbook_folder
from finishlab.show.document import Document, Line

if TYPE_CHECKING:
    from finishlab.page.guard import Pairing

PORT: Final = 8455
"""Always the same unless told, so that an icon on a phone's home screen goes on working. This tool's own."""


@click.command(cls=ExampleCommand, examples=("finishlab page", "finishlab page --lan"))
@click.option("--lan", is_flag=True, help="Let phones in the same network in, each after pairing.")
@click.option(
    "--port", type=click.IntRange(0, 65535), metavar="PORT", default=PORT, show_default=True, help="0 for any free one."
)
@click.option("--no-browser", is_flag=True, help="Open no browser; the address and the code are shown all the same.")
@json_option
def page(*, lan: bool, port: int, no_browser: bool, as_json: bool) -> None:
    """Photograph, look up and log from a phone or a browser, until Ctrl-C.

    Without --lan only this computer can reach it. What a home network without encryption cannot promise stands in
    docs/security.md.
    """
    from finishlab.logbook.store import Logbook
    from finishlab.page.app import application
    from finishlab.page.bench import bench_of, end
    from finishlab.page.guard import Pairing
    from finishlab.page.server import LOOPBACK, bound, lan_address, serve

    folder = logbook_folder()
    known = Logbook.open_existing(folder)  # what is wrong with it is said now, and an old one carried forward
    if known is not None:
        known.close()
    addresses = [LOOPBACK, lan_address()] if lan else [LOOPBACK]
    sockets = bound(addresses, port)
    port = sockets[0].getsockname()[1]
    places = [f"{address}:{port}" for address in addresses]
    pairing = Pairing(lambda: _tell_code(places[-1], pairing, lan=lan))
    app = application(folder, pairing, frozenset({*places, f"localhost:{port}"}))
    show_document(_started(places, pairing), as_json=as_json)
    sys.stdout.flush()
    _tell_code(places[-1], pairing, lan=lan)
    say("Ctrl-C ends it.")
    if on_terminal() and not no_browser:
        import webbrowser

        # The key in it is good for once; a browser that is faster than the server waits.
        webbrowser.open(f"http://{places[0]}/pair?key={pairing.link()}")
    bench_of(folder)  # what a killed server left is cleared, and who looks at photos gets ready
    try:
        serve(app, sockets)
    finally:
        end()
    say("The page is closed.")


def _started(places: Sequence[str], pairing: Pairing) -> Document:
    """Return where the page is, and for programs how they are paired."""
    links = [f"http://{place}/" for place in places]
    data = {"addresses": links, "code": pairing.code, "pairing_link": f"{links[-1]}pair?key={pairing.key}"}
    return Document("page", data, [Line(link, whole=True) for link in links])


def _tell_code(place: str, pairing: Pairing, *, lan: bool) -> None:
    """Say how a phone or another browser is paired; each code and each picture is good for one."""
    if lan and sys.stderr.isatty():
        import segno

        say("\nTo pair a phone, point its camera at this:")
        segno.make_qr(f"http://{place}/pair?key={pairing.key}").terminal(out=sys.stderr, compact=True)
    code = pairing.code
    say(f"To pair {'a phone' if lan else 'another browser'}, open http://{place}/ and type {code[:4]} {code[4:]}")

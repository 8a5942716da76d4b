"""Starts the page: an address, a certificate where the network may see it, and a key for each tablet."""

from __future__ import annotations

import contextlib
import signal
import socket
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import segno
import uvicorn

from diagnose.knowledge.model import Knowledge
from diagnose.page.certificate import make
from diagnose.page.connection import PATIENCE, Connection
from diagnose.page.guard import Door
from diagnose.page.server import Page
from diagnose.reading.problems import BadInput, Problem, Where

LOOPBACK = "127.0.0.1"
PORT = 8440
MOST_AT_ONCE = 500


def serve(
    target: Path, knowledge: Knowledge, folder: Path, address: str = LOOPBACK, port: int = PORT, secure: bool = False,
    say: Callable[[str], None] = print,
) -> None:  # fmt: skip
    """Serves until it is interrupted. Raises BadInput where the address is taken or is none of this machine."""
    listening = _listen(address, port)
    where = f"{address}:{listening.getsockname()[1]}"
    with tempfile.TemporaryDirectory(prefix="diagnose-page-") as kept:
        files = make(Path(kept), address) if secure else None
        door = Door(used=lambda: invite())
        page = Page(target, knowledge, folder, door, where, secure)

        def invite() -> None:
            url = f"{page.origin}/enter#{door.key()}"
            say("")
            if secure:
                say(_drawn(url))
            say(f"For one tablet: {url}")

        if files:
            say(f"The browser will ask whether it trusts this certificate; its SHA-256 fingerprint is\n{files[2]}")
        invite()
        say("The key is good for one tablet; the next one stands here once it was used. Ctrl-C ends the page.")
        config = uvicorn.Config(
            page.app(), log_level="critical", server_header=False, date_header=False, access_log=False, ws="none",
            http=Connection, loop="asyncio", limit_concurrency=MOST_AT_ONCE, timeout_keep_alive=int(PATIENCE),
            timeout_graceful_shutdown=3,
            ssl_certfile=files[0] if files else None, ssl_keyfile=files[1] if files else None,
        )  # fmt: skip
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listening])


def own_address() -> str:
    """The address of this machine on its network, as its own routes say; nothing is sent. Raises BadInput."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(("192.0.2.1", 9))  # an address for documentation, RFC 5737
            return str(asking.getsockname()[0])
        except OSError as error:
            raise _refused(
                "this machine has no network", "leave --lan out: the page is then for this machine alone"
            ) from error


def _listen(address: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((address, port))
        listening.listen(MOST_AT_ONCE)
    except OSError as error:
        listening.close()
        raise _refused(
            f"{address}:{port} cannot be used: {(error.strerror or '').lower()}", "--port NUMBER names another"
        ) from error
    return listening


def _drawn(url: str) -> str:
    """The QR code in half blocks, light on dark or dark on light alike as it carries its own border."""
    rows = [[bool(x) for x in row] for row in segno.make(url).matrix_iter(border=2)]
    rows += [[False] * len(rows[0])] * (len(rows) % 2)
    signs = {(True, True): " ", (True, False): "▄", (False, True): "▀", (False, False): "█"}
    pairs = zip(rows[::2], rows[1::2], strict=True)
    return "\n".join("".join(signs[pair] for pair in zip(above, below, strict=True)) for above, below in pairs)


def _refused(says: str, way_out: str) -> BadInput:
    return BadInput([Problem(Where("page", 0, 0), "address", says, way_out)])

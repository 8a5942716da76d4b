"""Connections of the page: one that asks nothing cannot keep the others out."""

from __future__ import annotations

import asyncio

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

FULL = 0.9
"""Of the connections allowed at once, the part from which one gives way: the request of one that did ends a little later."""
PATIENCE = 20.0
"""Seconds without a byte after which a connection whose request is not whole is closed."""


class Connection(H11Protocol):
    """As uvicorn's, which waits without end for a request that was begun. Where there are nearly as many connections
    as are allowed at once, the one that has been silent for longest, its request not whole, gives way to a new one."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._heard = self.loop.time()
        self._watch = self.loop.call_later(PATIENCE, self._look)
        if self.limit_concurrency and len(self.connections) >= FULL * self.limit_concurrency:
            waiting = [c for c in self.connections if isinstance(c, Connection) and c is not self and c.is_waiting()]
            if waiting:
                min(waiting, key=lambda c: c._heard).transport.abort()

    def data_received(self, data: bytes) -> None:
        self._heard = self.loop.time()
        super().data_received(data)

    def connection_lost(self, exc: Exception | None) -> None:
        self._watch.cancel()
        super().connection_lost(exc)

    def is_waiting(self) -> bool:
        """Whether the rest of a request, or the next one, is still to come."""
        return not self.transport.is_closing() and self.conn.their_state in (h11.IDLE, h11.SEND_BODY)

    def _look(self) -> None:
        silent = self.loop.time() - self._heard
        if self.is_waiting() and silent >= PATIENCE:
            self.transport.abort()
        else:
            self._watch = self.loop.call_later(max(PATIENCE - silent, 1.0), self._look)

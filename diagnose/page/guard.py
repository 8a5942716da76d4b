"""Who may use the page: one-time keys, sessions, and the checks that every request passes."""

from __future__ import annotations

import secrets
import time
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass, field
from hmac import compare_digest
from http.cookies import CookieError, SimpleCookie
from typing import Any

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

TOKEN = b"x-page-token"
OPEN_PATHS = ("/enter", "/static/")
READ = ("GET", "HEAD")
KEY_LASTS = 15 * 60.0
"""Seconds for which a key that nobody used opens the page."""
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), microphone=(), geolocation=()",
    "cache-control": "no-store",
}


@dataclass
class Session:
    """One tablet that was let in. `cookie` shows who asks; `token`, which no other site can read, that the page asks."""

    cookie: str
    token: str
    seen: dict[str, float] = field(default_factory=dict)


class Door:
    """Gives out keys, each good for one tablet, and knows the tablets let in. `used` is called when a key was used."""

    def __init__(self, used: Callable[[], None] = lambda: None, clock: Callable[[], float] = time.monotonic):
        self._keys: dict[str, float] = {}
        self._sessions: dict[str, Session] = {}
        self._used, self._clock = used, clock

    def key(self) -> str:
        """A fresh key."""
        key = secrets.token_urlsafe(16)
        self._keys[key] = self._clock() + KEY_LASTS
        return key

    def enter(self, key: str) -> Session | None:
        """Lets a tablet in, once; None for a key that was never given out, was used or is too old."""
        now = self._clock()
        self._keys = {k: end for k, end in self._keys.items() if end > now}
        found = [k for k in self._keys if compare_digest(k.encode(), key.encode(errors="replace"))]
        if not found:
            return None
        del self._keys[found[0]]
        session = Session(secrets.token_urlsafe(32), secrets.token_urlsafe(32))
        self._sessions[session.cookie] = session
        self._used()
        return session

    def session(self, cookie: str) -> Session | None:
        return self._sessions.get(cookie)

    def others_on(self, case: str, me: Session, within: float = 15.0) -> int:
        """How many other tablets have this case open."""
        now = self._clock()
        me.seen = {case: now}
        return sum(s is not me and now - s.seen.get(case, -within - 1) < within for s in self._sessions.values())


class Guard:
    """Lets a request through to the app only where host, origin, cookie and token are as they must be."""

    def __init__(self, app: App, door: Door, hosts: Iterable[str], origins: Iterable[str], cookie: str):
        self.app, self.door, self.cookie = app, door, cookie
        self.hosts, self.origins = set(hosts), set(origins)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            raise RuntimeError("the page speaks HTTP alone")
        status, session = self._checked(scope)
        scope["session"] = session
        if status:
            await _refuse(send, status)
        else:
            await self.app(scope, receive, _with_headers(send))

    def _checked(self, scope: Scope) -> tuple[int, Session | None]:
        """The status to refuse with, or 0, and the session."""
        headers = dict(scope["headers"])
        count = sum(name == b"host" for name, _ in scope["headers"])
        if count != 1 or headers[b"host"].decode("latin-1").lower() not in self.hosts:
            return 421, None
        if scope["method"] not in READ and headers.get(b"origin", b"").decode("latin-1") not in self.origins:
            return 403, None
        if headers.get(b"sec-fetch-site", b"none") not in (b"same-origin", b"none"):
            return 403, None
        path: str = scope["path"]
        if path.startswith(OPEN_PATHS):
            return 0, None
        session = self.door.session(self._cookie_of(headers.get(b"cookie", b"")))
        if path == "/":
            return 0, session
        if session is None:
            return 401, None
        if path.startswith("/api/") and not compare_digest(headers.get(TOKEN, b""), session.token.encode()):
            return 403, None
        return 0, session

    def _cookie_of(self, header: bytes) -> str:
        try:
            found = SimpleCookie(header.decode("latin-1")).get(self.cookie)
        except CookieError:
            return ""
        return found.value if found else ""


def _with_headers(send: Send) -> Send:
    async def sending(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _ in message["headers"]}
            message["headers"] = [
                *message["headers"],
                *((k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in own),
            ]
        await send(message)

    return sending


async def _refuse(send: Send, status: int) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8"), *((k.encode(), v.encode()) for k, v in HEADERS.items())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": b"refused\n"})

"""The app without a network: requests are put to it as a server would, headers and all."""

from __future__ import annotations

import asyncio
import json
import uuid
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from urllib.parse import quote

from diagnose.page.guard import Door
from diagnose.page.server import Page
from tests.support.places import KNOWLEDGE

HOST = "127.0.0.1:8440"
ORIGIN = f"http://{HOST}"


class Tablet:
    """One browser: its cookie and token, and the page it talks to."""

    def __init__(self, page, let_in=True):
        self.app, self.page, self.cookie, self.token = page.app(), page, "", ""
        # a thread of its own: in the main one a browser's loop may be running
        self.loop, self.own = asyncio.new_event_loop(), ThreadPoolExecutor(1)
        if let_in:
            status, headers, told = self.ask("POST", "/enter", {"key": page.door.key()})
            assert status == 200, told
            self.cookie = headers["set-cookie"].split(";")[0]
            self.token = told["token"]

    def ask(self, method, path, body=None, headers=None, raw=None):
        """Status, headers and body of an answer; headers of None are left out."""
        said = {
            "host": HOST, "origin": ORIGIN if method != "GET" else None, "cookie": self.cookie or None,
            "x-page-token": self.token or None, **(headers or {}),
        }  # fmt: skip
        path, _, query = path.partition("?")
        scope = {
            "type": "http", "method": method, "path": path, "raw_path": quote(path).encode(), "query_string": query.encode(),
            "headers": [(k.encode(), v.encode()) for k, v in said.items() if v is not None], "http_version": "1.1", "scheme": "http",
            "server": ("127.0.0.1", 8440), "client": ("127.0.0.1", 1), "root_path": "",
        }  # fmt: skip
        data = raw if raw is not None else json.dumps(body).encode() if body is not None else b""
        return self.own.submit(self.loop.run_until_complete, _asked(self.app, scope, data)).result()

    def send(self, case, *answers):
        return self.ask("POST", f"/api/cases/{case}/answers", list(answers))[2]


async def _asked(app, scope, data):
    sent = []

    async def receive():
        return {"type": "http.request", "body": data, "more_body": False}

    async def send(message):
        sent.append(message)

    await app(scope, receive, send)
    headers = {k.decode(): v.decode() for k, v in sent[0]["headers"]}
    body = b"".join(m.get("body", b"") for m in sent[1:])
    told = json.loads(body) if headers.get("content-type", "").startswith("application/json") else body
    return sent[0]["status"], headers, told


def page_on(target, knowledge):
    return Page(target, knowledge, KNOWLEDGE, Door(), HOST, False)


def answer(*whats, **more):
    return {"id": str(uuid.uuid4()), "who": "Kim", "at": datetime.now(UTC).isoformat(), "whats": list(whats), **more}


def saw(feature, part="2", **more):
    return {"add": "observations", "entry": {"part": part, "saw": feature, **more}}

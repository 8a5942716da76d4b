"""What a connection may keep others from: nothing, however many ask for nothing."""

from __future__ import annotations

import contextlib
import http.client
import socket
import threading
import time

import pytest
import uvicorn

from diagnose.page import connection
from diagnose.page.connection import Connection

MOST = 6
BEGUN = b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 99\r\n\r\n{"


async def app(scope, receive, send):
    while (await receive()).get("more_body"):
        pass
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"2")]})
    await send({"type": "http.response.body", "body": b"ok"})


@pytest.fixture
def port():
    listening = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(
        app, http=Connection, log_level="critical", lifespan="off", ws="none", limit_concurrency=MOST
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield listening.getsockname()[1]
    server.should_exit = True
    thread.join(20)


def status(port: int) -> int:
    asking = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    asking.request("GET", "/")
    told = asking.getresponse().status
    asking.close()
    return told


@pytest.mark.parametrize(
    "begun", [b"", b"GET / HTTP/1.1\r\nHost: ", BEGUN], ids=["nothing", "half a head", "half a body"]
)
def test_connections_that_ask_nothing_give_way_to_one_that_does(port, begun):
    with contextlib.ExitStack() as held:
        for _ in range(3 * MOST):
            idle = held.enter_context(socket.create_connection(("127.0.0.1", port)))
            idle.sendall(begun)
        time.sleep(0.5)  # the requests of those that gave way end a little later
        assert [status(port) for _ in range(3)] == [200, 200, 200]


def test_a_request_that_is_not_finished_is_not_waited_for_without_end(port, monkeypatch):
    monkeypatch.setattr(connection, "PATIENCE", 0.1)
    with socket.create_connection(("127.0.0.1", port)) as idle:
        idle.sendall(BEGUN)
        idle.settimeout(20)
        with contextlib.suppress(ConnectionResetError):
            assert idle.recv(1) == b""
    assert status(port) == 200


def test_one_that_goes_on_sending_is_waited_for(port):
    with socket.create_connection(("127.0.0.1", port)) as slow:
        slow.settimeout(20)
        slow.sendall(BEGUN)
        for _ in range(98):
            slow.sendall(b"x")
        assert slow.recv(15) == b"HTTP/1.1 200 OK"

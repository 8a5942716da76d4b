"""The page is closed: each request needs the right host, origin, cookie and token, and each answer forbids what could run."""

from __future__ import annotations

import pytest

from diagnose.page.guard import KEY_LASTS, Door
from tests.page.support import HOST, Tablet, answer, saw

CLOSED = [
    "/api/words",
    "/api/cases",
    "/api/cases/dual",
    "/api/cases/dual/standing",
    "/photos/dual/x.jpg",
    "/report/dual",
]


@pytest.mark.parametrize("path", CLOSED)
def test_nothing_is_told_without_a_key(served, path):
    stranger = Tablet(served, let_in=False)
    assert stranger.ask("GET", path)[0] == 401
    assert stranger.ask("GET", path, headers={"cookie": "page=guessed", "x-page-token": "guessed"})[0] == 401
    assert stranger.ask("POST", "/api/cases/dual/answers", [answer(saw("blisters", "1"))])[0] == 401


def test_the_first_page_asks_a_stranger_for_the_key_and_tells_no_case(served):
    status, _, body = Tablet(served, let_in=False).ask("GET", "/")
    assert status == 401 and b"needs a key" in body and b"dual" not in body


@pytest.mark.parametrize(
    ("method", "headers", "status"),
    [
        ("GET", {"host": "evil.example"}, 421),
        ("GET", {"host": "127.0.0.1:9"}, 421),
        ("GET", {"host": f"{HOST}.evil.example"}, 421),
        ("GET", {"host": None}, 421),
        ("GET", {"x-page-token": None}, 403),
        ("GET", {"x-page-token": "guessed"}, 403),
        ("GET", {"sec-fetch-site": "cross-site"}, 403),
        ("GET", {"sec-fetch-site": "same-site"}, 403),
        ("POST", {"origin": None}, 403),
        ("POST", {"origin": "null"}, 403),
        ("POST", {"origin": "https://evil.example"}, 403),
        ("POST", {"origin": f"https://{HOST}"}, 403),
        ("POST", {"x-page-token": None}, 403),
        ("GET", {}, 200),
        ("GET", {"host": "localhost:8440"}, 200),
    ],
)
def test_host_origin_and_token_must_be_right(tablet, method, headers, status):
    path = "/api/cases" if method == "GET" else "/api/cases/dual/answers"
    assert tablet.ask(method, path, [] if method == "POST" else None, headers)[0] == status


def test_a_key_lets_one_tablet_in_once_and_not_for_ever():
    now = [0.0]
    used = []
    door = Door(lambda: used.append(1), lambda: now[0])
    key, other = door.key(), door.key()
    assert door.enter("") is None and door.enter(key + "x") is None and door.enter("clé") is None
    session = door.enter(key)
    assert session and door.session(session.cookie) is session and used == [1]
    assert door.enter(key) is None
    now[0] = KEY_LASTS + 1
    assert door.enter(other) is None and used == [1]


@pytest.mark.parametrize(
    "path", ["/", "/enter", "/static/page.js", "/static/style.css", "/api/cases", "/api/nothing", "/photos/dual/x"]
)
def test_every_answer_forbids_what_could_run_or_leak(tablet, path):
    _, headers, _ = tablet.ask("GET", path)
    policy = dict(rule.split(" ", 1) for rule in headers["content-security-policy"].split("; "))
    assert (
        policy["default-src"] == "'none'" and policy["script-src"] == "'self'" and policy["frame-ancestors"] == "'none'"
    )
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "no-referrer"
    assert headers["cache-control"] == "no-store"


@pytest.mark.parametrize("path", ["/static/../guard.py", "/static/..%2fguard.py", "/static/guard.py", "/static/", "/photos/dual/../dual.yaml", "/photos/dual/dual.yaml",
                                  "/photos/dual//etc/passwd", "/api/cases/..%2f..%2fetc"])  # fmt: skip
def test_no_other_file_is_given_out(tablet, path):
    assert tablet.ask("GET", path)[0] == 404


def test_shipped_pages_hold_no_script_and_no_style_of_their_own():
    from importlib import resources

    static = resources.files("diagnose.page").joinpath("static")
    for file in static.iterdir():
        text = file.read_text("utf-8")
        assert "://" not in text.replace("http://www.w3.org/2000/svg", ""), file.name
        assert "innerHTML" not in text and "eval(" not in text and " style=" not in text, file.name
        if file.name.endswith(".html"):
            assert text.count("<script") == text.count('<script type="module" src="/static/'), file.name


def test_too_much_is_refused(tablet):
    assert tablet.ask("POST", "/api/cases/dual/answers", raw=b" " * 2_000_001)[0] == 413
    assert tablet.ask("POST", "/api/cases/dual/answers", raw=b"[" * 100_000)[0] == 422
    assert tablet.ask("POST", "/api/phrases", raw=b"[" * 100_000)[0] == 422


@pytest.mark.parametrize("name", ["a" * 5000 + ".js", "..", "../server.py", "page.js\0.html"])
def test_an_odd_name_is_no_file_of_the_page(served, name):
    assert Tablet(served).ask("GET", f"/static/{name}")[0] == 404


@pytest.mark.parametrize("text", ["just a text\n", "- a\n", "3\n", "", "parts: 3\n", "history: {events: 3}\n"])
def test_a_file_that_is_no_case_is_told_as_one(served, dual, text):
    (dual.parent / "odd.yaml").write_text(text)
    status, _, told = Tablet(served).ask("GET", "/api/cases/odd")
    assert status == 409 and told["says"]


@pytest.mark.parametrize("odd", [{"who": "\ud800"}, {"name": "a\ud800"}, {"who": "a\x1b[31m"}], ids=ascii)
def test_a_case_is_not_begun_with_a_name_that_is_no_text(tablet, dual, odd):
    before = sorted(p.name for p in dual.parent.iterdir())
    asked = {"name": "another", "arrangement": "single", "who": "Kim"} | odd
    status, _, told = tablet.ask("POST", "/api/cases", asked)
    assert (status, told["says"]) == (422, "a name is letters and signs")
    assert sorted(p.name for p in dual.parent.iterdir()) == before


def test_the_withdrawal_of_no_record_is_refused(tablet):
    told = tablet.send("dual", answer({"withdraw": "", "why": "slip"}))
    assert "there is no record ''" in str(told)

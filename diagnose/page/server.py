"""The server: what the page asks for and sends, at one address, behind the guard."""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import AsyncIterator
from html import unescape
from importlib import resources
from pathlib import Path
from typing import Any

import msgspec
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from diagnose.casefile import journal as j
from diagnose.casefile.photos import MOST_PHOTO_BYTES
from diagnose.casefile.recorder import Recorder
from diagnose.casefile.walk import usual_document
from diagnose.evaluation.score import ENDINGS
from diagnose.knowledge.model import Knowledge
from diagnose.page import told
from diagnose.page.answers import read_answers
from diagnose.page.desk import Desk
from diagnose.page.guard import READ, App, Door, Guard
from diagnose.page.photos import keep
from diagnose.page.reckoning import Reckoner
from diagnose.phrases.read import read as read_phrase
from diagnose.reading.files import shown_name
from diagnose.reading.problems import BadInput
from diagnose.views.drawings.sketches import sketch
from diagnose.views.report.photos import read_photo

MOST_BYTES = 2_000_000
_KINDS = {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
_SLUG = re.compile(r"[^a-z0-9]+")
Doc = dict[str, Any]


class Page:
    """The cases of one folder, or one case, and what answers about them."""

    def __init__(self, target: Path, knowledge: Knowledge, folder: Path, door: Door, address: str, secure: bool):
        self.knowledge, self.door, self.address, self.secure = knowledge, door, address, secure
        self.folder = target if target.is_dir() else None
        self._only = {} if self.folder else {target.stem: target}
        self._desks: dict[str, Desk] = {}
        self._shown: list[j.Lock] = []
        self.reckoner = Reckoner(folder)
        self.words = json.dumps(told.words(knowledge), ensure_ascii=False).encode()

    @property
    def scheme(self) -> str:
        return "https" if self.secure else "http"

    @property
    def origin(self) -> str:
        return f"{self.scheme}://{self.address}"

    @property
    def cookie(self) -> str:
        return "__Host-page" if self.secure else "page"

    # ---- cases --------------------------------------------------------------------------------------------------

    def cases(self) -> dict[str, Path]:
        """The cases by what an address calls them, which has to be text; see `nameless`."""
        if self.folder is None:
            return self._only
        return {p.stem if p.suffix == ENDINGS[0] else p.name: p for p in self._files() if _is_text(p)}

    def nameless(self) -> list[str]:
        """Cases that cannot be opened here: their file names are no text, as after an old archive was unpacked."""
        return [] if self.folder is None else [shown_name(Path(p.name)) for p in self._files() if not _is_text(p)]

    def _files(self) -> list[Path]:
        assert self.folder is not None
        return sorted(p for p in self.folder.iterdir() if p.suffix.lower() in ENDINGS and p.is_file())

    def desk(self, request: Request) -> Desk:
        name = request.path_params["case"]
        if name not in self._desks:
            path = self.cases().get(name)
            if path is None:
                raise HTTPException(404, "there is no such case here")
            self._desks[name] = Desk(path, self.knowledge)
            self._show(self._desks[name].path)
        return self._desks[name]

    def _show(self, path: Path) -> None:
        """Lets a session at a terminal know that this case is on a page."""
        lock = j.Lock(path, "page", j.now(), j.SHOWS)
        with contextlib.suppress(BadInput, OSError):
            lock.take()
            self._shown.append(lock)

    def close(self) -> None:
        for lock in self._shown:
            lock.free()
        self.reckoner.close()

    # ---- the app --------------------------------------------------------------------------------------------------

    def app(self) -> App:
        routes = [
            Route("/", self._home),
            Route("/static/{name}", self._static),
            Route("/enter", self._enter, methods=["GET", "POST"]),
            Route("/photos/{case}/{name:path}", self._photo),
            Route("/report/{case}", self._report),
            Route("/sheet/{case}", self._sheet),
            Route("/sketch/{name}", self._sketch),
            Route("/api/words", self._words),
            Route("/api/keys", self._key, methods=["POST"]),
            Route("/api/phrases", self._phrase, methods=["POST"]),
            Route("/api/cases", self._cases),
            Route("/api/cases", self._start, methods=["POST"]),
            Route("/api/cases/{case}", self._bench),
            Route("/api/cases/{case}/answers", self._answers, methods=["POST"]),
            Route("/api/cases/{case}/photos", self._photos, methods=["POST"]),
            Route("/api/cases/{case}/standing", self._standing),
            Route("/api/cases/{case}/explanation", self._explanation),
            Route("/api/cases/{case}/why", self._why),
            Route("/api/cases/{case}/what-if", self._what_if, methods=["POST"]),
        ]

        @contextlib.asynccontextmanager
        async def life(_: Starlette) -> AsyncIterator[None]:
            yield
            self.close()

        failures = {HTTPException: _failed, BadInput: _wrong, OSError: _gone}
        app = Starlette(routes=routes, lifespan=life, exception_handlers=failures)  # type: ignore[arg-type]
        port = self.address.rpartition(":")[2]
        names = {self.address} | (set() if self.secure else {f"localhost:{port}"})
        return Guard(app, self.door, names, {f"{self.scheme}://{n}" for n in names}, self.cookie)

    async def _home(self, request: Request) -> Response:
        return _file(
            "page.html" if request.scope["session"] else "enter.html", 200 if request.scope["session"] else 401
        )

    async def _static(self, request: Request) -> Response:
        return _file(request.path_params["name"])

    async def _enter(self, request: Request) -> Response:
        if request.method in READ:
            return _file("enter.html")
        key = (await _json(request)).get("key")
        session = self.door.enter(key) if isinstance(key, str) else None
        if session is None:
            raise HTTPException(
                403, "this key was used, is too old or was never given out: ask for a new one at the machine"
            )
        response = JSONResponse({"token": session.token})
        response.set_cookie(self.cookie, session.cookie, path="/", secure=self.secure, httponly=True, samesite="strict")
        return response

    async def _words(self, _: Request) -> Response:
        return Response(self.words, media_type="application/json")

    async def _key(self, _: Request) -> Response:
        import segno

        url = f"{self.origin}/enter#{self.door.key()}"
        return JSONResponse(
            {"url": url, "rows": ["".join("01"[bool(x)] for x in row) for row in segno.make(url).matrix]}
        )

    async def _phrase(self, request: Request) -> Response:
        asked = await _json(request)
        text, kind = str(asked.get("text", ""))[:400], str(asked.get("kind", ""))
        words = self.knowledge.vocabulary
        found = await run_in_threadpool(read_phrase, text, words, kind if kind in words.kinds else "")
        return JSONResponse(
            [
                {"text": r.text, "sure": r.sureness == "sure", "asks": list(r.asks), "unread": list(r.unread)}
                for r in found
            ]
        )

    async def _cases(self, _: Request) -> Response:
        return JSONResponse({"cases": list(self.cases()), "nameless": self.nameless(), "new": self.folder is not None})

    async def _start(self, request: Request) -> Response:
        """Begins a case; asked twice with the same name and arrangement it is begun once."""
        asked = await _json(request)
        name, arrangement = str(asked.get("name", "")).strip()[:80], str(asked.get("arrangement", ""))
        who = str(asked.get("who", "page"))[:60]
        stem, usual = _SLUG.sub("-", name.lower()).strip("-"), self.knowledge.arrangements.usual.get(arrangement)
        if self.folder is None or not stem or usual is None:
            raise HTTPException(422, "a case needs a name and an arrangement")
        if not (name + who).isprintable():
            raise HTTPException(422, "a name is letters and signs")
        path, steps = self.folder / f"{stem}.yaml", self.knowledge.arrangements.steps
        recorder = Recorder(path, self.knowledge, who)
        document = usual_document(name, arrangement, usual, steps[0].stage if steps else "")

        def start() -> None:
            with recorder:
                recorder.start(document)

        await run_in_threadpool(start)
        return JSONResponse({"case": stem})

    async def _bench(self, request: Request) -> Response:
        desk = self.desk(request)
        read = await run_in_threadpool(desk.read)
        about = {
            "number": read.number,
            "mark": _mark(desk),
            "elsewhere": desk.recording_elsewhere(),
            "others": self.door.others_on(request.path_params["case"], request.scope["session"]),
        }
        if request.query_params.get("mark") == about["mark"]:
            return JSONResponse(about)
        whole = await run_in_threadpool(lambda: msgspec.json.encode(told.bench(read, self.knowledge) | about))
        return Response(whole, media_type="application/json")

    async def _answers(self, request: Request) -> Response:
        desk = self.desk(request)
        try:
            answers = read_answers(await _body(request, MOST_BYTES))
        except ValueError as error:
            raise HTTPException(422, str(error)) from error
        taken = await run_in_threadpool(desk.take, answers)
        return JSONResponse({"acknowledged": taken.acknowledged, "held": taken.held})

    async def _photos(self, request: Request) -> Response:
        desk, data = self.desk(request), await _body(request, MOST_PHOTO_BYTES)
        try:
            return JSONResponse({"photo": await run_in_threadpool(keep, desk.path, data)})
        except ValueError as error:
            raise HTTPException(415, str(error)) from error
        except OSError as error:
            raise HTTPException(507, f"the photo cannot be kept: {error.strerror}") from error

    async def _photo(self, request: Request) -> Response:
        """A photo that the case names, as the picture it is; nothing else of the folder."""
        desk, name = self.desk(request), request.path_params["name"]
        read = await run_in_threadpool(desk.read)
        if name not in {r.entry.get("photo") for r in read.state.records}:
            raise HTTPException(404, "there is no such photo")
        photo = await run_in_threadpool(read_photo, desk.path, name)
        if photo.data is None:
            raise HTTPException(404, photo.problem)
        return Response(
            photo.data, media_type=photo.kind, headers={"content-security-policy": "default-src 'none'; sandbox"}
        )

    async def _sketch(self, request: Request) -> Response:
        """The line drawing of a mark, on the kind of part that is asked for where it differs there."""
        words, name, on = self.knowledge.vocabulary, request.path_params["name"], request.query_params.get("on", "")
        if name not in words.features:
            raise HTTPException(404, "there is no such mark")
        drawing = sketch(words, name, on if on in words.kinds else "") or sketch(words, name)
        if drawing is None:
            raise HTTPException(404, "this mark cannot be drawn")
        headers = {"cache-control": "private, max-age=3600", "content-security-policy": "default-src 'none'; sandbox"}
        return Response(drawing.svg, media_type="image/svg+xml", headers=headers)

    # ---- what it means ------------------------------------------------------------------------------------------

    async def _reckoned(self, question: str, request: Request, *more: Any) -> Doc:
        desk = self.desk(request)
        read = await run_in_threadpool(desk.read)
        found = await self.reckoner.ask(question, desk.path, read.state.text, *more)
        if "wrong" in found:
            raise HTTPException(422, "; ".join(found["wrong"]))
        return {"number": read.number, **found}

    async def _standing(self, request: Request) -> Response:
        return JSONResponse(await self._reckoned("standing", request))

    async def _explanation(self, request: Request) -> Response:
        return JSONResponse(await self._reckoned("explanation", request))

    async def _why(self, request: Request) -> Response:
        asked = request.query_params
        return JSONResponse(await self._reckoned("why", request, asked.get("name", ""), asked.get("position", "")))

    async def _what_if(self, request: Request) -> Response:
        changes = (await _json(request)).get("changes")
        if not isinstance(changes, list) or not all(
            isinstance(c, list) and all(isinstance(x, str) for x in c) for c in changes
        ):
            raise HTTPException(422, "changes are pairs of texts")
        return JSONResponse(await self._reckoned("what_if", request, changes))

    async def _report(self, request: Request) -> Response:
        return _own_page((await self._reckoned("report", request))["html"])

    async def _sheet(self, request: Request) -> Response:
        return _own_page((await self._reckoned("sheet", request))["html"])


def _own_page(html: str) -> Response:
    """A document that is one file: under the policy it carries, and shut off from this page."""
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html)
    own = unescape(policy.group(1)) if policy else "default-src 'none'"
    headers = {"content-security-policy": f"{own}; sandbox allow-scripts allow-modals; frame-ancestors 'none'"}
    return Response(html, media_type="text/html", headers=headers)


def _is_text(path: Path) -> bool:
    return shown_name(Path(path.name)) == path.name


def _mark(desk: Desk) -> str:
    return "-".join(map(str, desk.signature()))


def _file(name: str, status: int = 200) -> Response:
    found = next((f for f in resources.files("diagnose.page").joinpath("static").iterdir() if f.name == name), None)
    kind = _KINDS.get(Path(name).suffix)
    if found is None or kind is None:
        raise HTTPException(404, "there is no such file")
    return Response(found.read_bytes(), status, media_type=kind)


async def _body(request: Request, most: int) -> bytes:
    """The body, if it is not larger than that."""
    data = bytearray()
    async for piece in request.stream():
        data += piece
        if len(data) > most:
            raise HTTPException(413, f"at most {most} bytes can be sent at once")
    return bytes(data)


async def _json(request: Request) -> Doc:
    try:
        found = json.loads(await _body(request, MOST_BYTES))
    except (ValueError, RecursionError) as error:
        raise HTTPException(422, "this is no JSON") from error
    if not isinstance(found, dict):
        raise HTTPException(422, "keys with values are asked for")
    return found


async def _failed(_: Request, error: HTTPException) -> Response:
    return JSONResponse({"says": error.detail}, error.status_code)


async def _wrong(_: Request, error: BadInput) -> Response:
    return JSONResponse({"says": "; ".join(p.told() for p in error.problems)}, 409)


async def _gone(_: Request, error: OSError) -> Response:
    return JSONResponse({"says": f"a file cannot be read or written: {error.strerror or error}"}, 409)

"""What the record means so far, worked out in a process of its own so that recording never waits for it."""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import threading
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import wait
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diagnose.reading.problems import BadInput, Problem, Where

if TYPE_CHECKING:
    from diagnose.inference.run import RuleBase

Doc = dict[str, Any]
_base: list[RuleBase] = []


class Reckoner:
    """Answers about cases, one at a time, kept until the case changes."""

    def __init__(self, knowledge: Path):
        self._knowledge = knowledge
        self._pool = self._started()
        self._kept: dict[tuple[str, ...], tuple[bytes, Doc]] = {}
        self._running: dict[tuple[str, ...], asyncio.Task[Doc]] = {}

    def _started(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), _open, (self._knowledge,))

    async def ask(self, question: str, path: Path, document: bytes, *more: Sequence[str]) -> Doc:
        """The answer to a question, a function of diagnose.page.reading, about the case that these bytes are. Raises
        BadInput where the process that works it out was ended."""
        key = (question, str(path), *map(str, more))
        while True:
            kept = self._kept.get(key)
            if kept and kept[0] == document:
                return kept[1]
            running = self._running.get(key)
            if running is None:
                running = asyncio.create_task(self._reckon(key, question, path, document, more))
                self._running[key] = running
                running.add_done_callback(lambda _: self._running.pop(key, None))
            await asyncio.shield(running)

    def last(self, question: str, path: Path) -> Doc | None:
        """The answer as it was last worked out, whatever the case says now."""
        kept = self._kept.get((question, str(path)))
        return kept[1] if kept else None

    async def _reckon(
        self, key: tuple[str, ...], question: str, path: Path, document: bytes, more: Sequence[Any]
    ) -> Doc:
        loop, pool = asyncio.get_running_loop(), self._pool
        try:
            found = await loop.run_in_executor(pool, reckon, question, str(path), document, *more)
        except BrokenProcessPool as error:
            # the system ends a process when memory runs short; the next question finds a new one
            if self._pool is pool:
                self._pool = self._started()
            says = "the process that works out what the record means was ended"
            raise BadInput([Problem(Where("page"), "ended", says, "ask again")]) from error
        self._kept[key] = document, found
        while len(self._kept) > 400:
            self._kept.pop(next(iter(self._kept)))
        return found

    def close(self) -> None:
        self._pool.shutdown(wait=False, cancel_futures=True)
        for child in multiprocessing.active_children():
            child.terminate()  # what it works out now nobody waits for


def _open(knowledge: Path) -> None:
    from diagnose.inference.run import load

    threading.Thread(target=_end_with_parent, daemon=True).start()
    os.nice(5)
    _base.append(load(knowledge))


def _end_with_parent() -> None:
    """The server may be killed; nothing of it stays behind."""
    parent = multiprocessing.parent_process()
    if parent:
        wait([parent.sentinel])
        os._exit(0)


def reckon(question: str, path: str, document: bytes, *more: Any) -> Doc:
    """Run in the process of the rule base. What is wrong with the question or the case stands under "wrong"."""
    from diagnose.casefile.reader import parse_case
    from diagnose.judgement.diagnosis import Diagnosis
    from diagnose.page import reading
    from diagnose.reading.problems import Problems

    problems = Problems()
    try:
        case = parse_case(document, path, _base[0].knowledge, problems)
        problems.raise_errors()
        assert case is not None
        answer: Doc = getattr(reading, question)(Diagnosis(case, _base[0]), Path(path), *more)
    except BadInput as error:
        return {"wrong": [p.told() for p in error.problems]}
    return answer

"""What the record means is worked out in a process of its own, which may be ended by the system."""

from __future__ import annotations

import asyncio
import os
import signal
from concurrent.futures import ThreadPoolExecutor

import pytest

from diagnose.page.reckoning import Reckoner
from diagnose.reading.problems import BadInput
from tests.support.places import SMALL


@pytest.mark.slow
def test_a_process_that_is_ended_is_told_and_the_next_question_answered():
    case = SMALL / "case.yaml"

    async def asked() -> None:
        reckoner = Reckoner(SMALL / "knowledge")

        def ask(question):
            return reckoner.ask(question, case, case.read_bytes())

        assert (await ask("standing"))["next"]
        for process in list(reckoner._pool._processes):
            os.kill(process, signal.SIGKILL)
        with pytest.raises(BadInput, match="was ended"):
            await ask("explanation")
        assert (await ask("explanation"))["causes"]
        reckoner.close()

    with ThreadPoolExecutor(1) as own:  # in the main thread a browser's loop may be running
        own.submit(asyncio.run, asked()).result()

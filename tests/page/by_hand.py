"""Long runs of the page, by hand: `python -m tests.page.by_hand cut 200 1`, `tablets 50 8 3 300`, `taps`; their figures stand in tests/README.md."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import random
import re
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

from diagnose.casefile.journal import journal_path, read_journal
from diagnose.casefile.recorder import Recorder, look
from diagnose.casefile.walk import topics, usual_document
from diagnose.inference.run import load
from tests.page.browsing import Opened, Served
from tests.page.support import answer
from tests.support.places import KNOWLEDGE


def begun(path: Path, knowledge, arrangement="dual pressurised", stage="before washing") -> Path:
    usual = knowledge.arrangements.usual[arrangement]
    with Recorder(path, knowledge, "Kim") as recorder:
        recorder.start(usual_document(path.stem, arrangement, usual, stage))
    return path


def browser():
    from playwright.sync_api import sync_playwright

    from diagnose.views.report.printing import find_browser

    playwright = sync_playwright().start()
    return playwright, playwright.chromium.launch(executable_path=find_browser(), args=["--no-sandbox"])


def cut(knowledge, folder: Path, times: int, seed: int) -> None:
    """The connection cut and restored so many times, the server killed now and then."""
    from tests.page.test_in_a_browser import cut_at_random

    path = begun(folder / "cut.yaml", knowledge)
    playwright, chromium = browser()
    served = Served(path)
    tablet = Opened(chromium, served)
    rounds, given, cutting = 20, [], random.Random(seed)
    for n in range(times // rounds):
        given += cut_at_random(tablet, cutting, rounds, f"{n}.")
        tablet.settle(120_000)
    told = [line.what for line in read_journal(journal_path(path)).lines[1:]]
    notes = [w["entry"]["note"] for w in told]
    print(f"{times} rounds, {times // rounds} servers killed, {len(given)} answers given, {len(notes)} on record, "
          f"{len(set(given) - set(notes))} lost, {len(notes) - len(set(notes))} doubled, in order: {notes == given}, case {look(path).view}")  # fmt: skip
    chromium.close()
    playwright.stop()
    served.stop()


class Client:
    """A tablet without a browser: one connection kept open."""

    def __init__(self, port: int, key: str):
        self.home, self.port = f"127.0.0.1:{port}", port
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.headers = {"origin": f"http://{self.home}", "content-type": "application/json"}
        response, told = self.post("/enter", {"key": key})
        self.headers |= {"cookie": response.getheader("set-cookie").split(";")[0], "x-page-token": told["token"]}

    def post(self, path: str, body):
        return self.ask("POST", path, json.dumps(body))

    def ask(self, method: str, path: str, body=None):
        self.connection.request(method, path, body, self.headers)
        response = self.connection.getresponse()
        return response, json.loads(response.read())


def tablets(
    knowledge, folder: Path, count: int, answers: int, most: int = 3, known: int = 0, together: bool = False
) -> None:
    """So many tablets at once, each on a case of its own or all on one with `known` marks on record, tapping at up to so many
    seconds apart and asking what is new as the page does."""
    for n in range(1 if together else count):
        looked_over(begun(folder / f"seal-{n}.yaml", knowledge), knowledge, known)
    served = Served(folder)
    first = Client(served.port, served.link().split("#")[1])
    keys = [first.post("/api/keys", {})[1]["url"].split("#")[1] for _ in range(count)]
    clients = [Client(served.port, key) for key in keys]
    waited, refused = [], []

    for n in range(count):  # whoever taps has opened the case before
        clients[n].ask("GET", f"/api/cases/seal-{0 if together else n}")

    def work(n: int) -> None:
        client, case, pause = clients[n], f"seal-{0 if together else n}", random.Random(n)
        for k in range(answers):
            time.sleep(pause.uniform(most / 3, most))
            note = {"note": f"tablet {n} answer {k}", "part": str(pause.choice([1, 2, 3, 21, 22]))}
            given = answer({"add": "remarks", "entry": note})
            began = time.perf_counter()
            told = client.post(f"/api/cases/{case}/answers", [given])[1]
            waited.append(time.perf_counter() - began)
            if [a["became"] for a in told.get("acknowledged", [])] != ["recorded"]:
                refused.append(told)
            client.ask("GET", f"/api/cases/{case}")

    def reckon(n: int) -> None:
        """The answer so far, asked for beside the recording as the page does: one question at a time."""
        asking = http.client.HTTPConnection("127.0.0.1", served.port, timeout=300)
        with contextlib.suppress(OSError, http.client.HTTPException):  # the server ends before the last is worked out
            while True:
                asking.request("GET", f"/api/cases/seal-{0 if together else n}/standing", None, clients[n].headers)
                asking.getresponse().read()
                time.sleep(2.5)

    for n in range(count):
        threading.Thread(target=reckon, args=(n,), daemon=True).start()
    threads = [threading.Thread(target=work, args=(n,)) for n in range(count)]
    began, mine, servers = time.perf_counter(), time.process_time(), processor_time(served.process.pid)
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    took, mine, servers = (
        time.perf_counter() - began,
        time.process_time() - mine,
        processor_time(served.process.pid) - servers,
    )
    paths = sorted(folder.glob("seal-*.yaml"))
    lines = [line.what.get("entry", {}) for p in paths for line in read_journal(journal_path(p)).lines[1:]]
    kept = [entry["note"] for entry in lines if "note" in entry]
    ranked, told = sorted(waited), len(waited)
    print(f"{count} tablets{' on one case' if together else ''}, {known} marks known, {told} answers in {took:.0f} s: median {statistics.median(waited):.3f} s, "
          f"95th percentile {ranked[int(told * 0.95)]:.3f} s, longest {ranked[-1]:.3f} s; {len(refused)} refused, "
          f"{count * answers - len(set(kept))} lost, {len(kept) - len(set(kept))} doubled, views {({look(p).view for p in paths})}; processor time an "
          f"answer: server {servers / told * 1000:.0f} ms, tablets of this test {mine / told * 1000:.0f} ms; load {os.getloadavg()[0]:.1f}")  # fmt: skip
    served.stop()


def looked_over(case: Path, knowledge, count: int) -> None:
    """So many marks looked for and not there."""
    with Recorder(case, knowledge, "Kim") as recorder:
        found = [(t.part, f) for t in topics(recorder.case_now(), knowledge) if t.part for f in t.features]
        whats = [{"add": "observations", "entry": {"part": part, "absent": f}} for part, f in dict.fromkeys(found)]
        if count:
            recorder.accept(*whats[:count])


def processor_time(process: int) -> float:
    """Seconds that a process has used, without its children."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(") ")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def taps(knowledge, folder: Path) -> None:
    """Taps for four seals, answers as at the terminal; nothing is thought over."""
    playwright, chromium = browser()
    for name, (arrangement, stage, session) in SEALS.items():
        path = begun(folder / f"{name.replace(' ', '-')}.yaml", knowledge, arrangement, stage)
        served = Served(path)
        tablet = Opened(chromium, served)
        session(tablet)
        tablet.settle(60_000)
        lines = read_journal(journal_path(path)).lines
        print(
            f"{name}: {tablet.taps} taps, {tablet.typed} signs typed, {len(lines) - 1} lines on record, complaints {tablet.complaints}"
        )
        tablet.context.close()
        served.stop()
    chromium.close()
    playwright.stop()


def none_there(tablet) -> None:
    """Answers for all that is listed and open on the part in hand."""
    for title in ("Look for", "Still open from steps before"):
        key = tablet.page.locator(f"[data-key='{title} none']")
        if key.count():
            tablet.tap(key)


def take(tablet, *items: str) -> None:
    for item in items:
        tablet.tap(tablet.page.locator(f"a.block[href='#/part/{item}']"))
        tablet.page.locator("article h1", has_text=re.compile(rf"^{item} ")).wait_for()


def there(tablet, feature: str, *keys: str) -> None:
    tablet.tap(tablet.page.locator(f"[data-key='there {feature}']").first)
    for key in keys:
        tablet.tap(key)
    tablet.tap("Record: it is there")


def step_done(tablet) -> None:
    tablet.tap("Done with this step")
    if tablet.page.locator("[data-key='none of all']").count():
        tablet.tap(tablet.page.locator("[data-key='none of all']"))
    tablet.tap(tablet.page.locator("[data-key='go on']"))
    tablet.settle()
    tablet.page.wait_for_timeout(300)


def figures(tablet, answers: dict[str, str]) -> None:
    tablet.go("#/figures")
    for key, value in answers.items():
        tablet.tap(tablet.page.locator(f"[data-key='{key}']"))
        if tablet.page.locator("dialog .pad").count():
            for sign in value:
                tablet.tap("point" if sign == "." else sign)
            tablet.tap("Record")
        elif tablet.page.locator("dialog #text").count():
            tablet.type(tablet.page.locator("dialog #text"), value)
            tablet.tap("Record")
        else:
            tablet.tap(value)
            if tablet.page.locator("dialog").count():
                tablet.tap("Record")
    tablet.tap("Parts")


MACHINE = {"speed": "2950", "shaft diameter": "50", "temperature": "80", "plan": "plan 11", "fluid": "water"}


def single_pusher(tablet) -> None:
    """A hard O-ring and a heat-checked hard face."""
    figures(tablet, MACHINE)
    take(tablet, "1")
    none_there(tablet)
    take(tablet, "2")
    there(tablet, "heat tint", "all round", "moderate")
    none_there(tablet)
    take(tablet, "3")
    none_there(tablet)
    for _ in range(2):
        step_done(tablet)
    take(tablet, "2")
    there(tablet, "radial cracks", "all round", "severe")
    none_there(tablet)
    take(tablet, "3")
    there(tablet, "hard", "severe")
    none_there(tablet)
    take(tablet, "1")
    none_there(tablet)
    step_done(tablet)


def dual_pressurised(tablet) -> None:
    """Clogged springs, one pin worn on one side."""
    figures(tablet, MACHINE)
    take(tablet, "5")
    there(tablet, "clogged", "severe")
    none_there(tablet)
    step_done(tablet)
    step_done(tablet)
    take(tablet, "7")
    tablet.tap(tablet.page.locator("[data-key='there worn on the driving flank']").first)
    tablet.tap(tablet.page.locator("[data-key$='from the mark 2']"))
    tablet.tap("Record: it is there")
    for part in ("1", "2", "3", "21", "22", "23"):
        take(tablet, part)
        none_there(tablet)
    step_done(tablet)


def in_pieces(tablet) -> None:
    """In a bucket: nothing of the machine, steps before are past."""
    for part in ("1", "2", "3"):
        take(tablet, part)
        none_there(tablet)
    take(tablet, "2")
    tablet.tap(tablet.page.locator("details.later summary"))
    there(tablet, "radial cracks", "all round")


def sound(tablet) -> None:
    """Taken out on schedule: everything looked for and not there, the track as it should be."""
    figures(tablet, MACHINE)
    take(tablet, "2")
    there(tablet, "track as wide as the nose")
    none_there(tablet)
    for part in ("1", "3"):
        take(tablet, part)
        none_there(tablet)
    for _ in range(3):
        step_done(tablet)


SEALS = {
    "single pusher": ("single", "before washing", single_pusher),
    "dual pressurised": ("dual pressurised", "before washing", dual_pressurised),
    "in pieces": ("single", "before washing", in_pieces),
    "sound": ("single", "before washing", sound),
}


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as kept:
        run, *numbers = sys.argv[1:]
        rules = load(KNOWLEDGE).knowledge
        {"cut": cut, "tablets": tablets, "taps": taps}[run](rules, Path(kept), *map(int, numbers))

"""Drills played to their end through a pseudo-terminal, in the order of the plan, of a checklist, and in the worst order.

    python -m tests.training.terminal_drills            every scenario, one line each
    python -m tests.training.terminal_drills NAME …     these

The trainee of the script always names what is right and is nine tenths sure, so that the scores differ by what was lost
and by the time it took. What the terminal says was lost is held against the same acts done with the engine, which
`test_drill.py` holds against the tables of perishability.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from pathlib import Path

import pexpect

from diagnose.inference.run import RuleBase, load
from diagnose.training.bench import GONE, Act
from diagnose.training.debrief import text_of
from diagnose.training.heard import Ear
from diagnose.training.hidden import Hidden
from diagnose.training.scoring import NONE, truth_of
from tests.support.places import KNOWLEDGE, ROOT, SCENARIOS
from tests.training.drills import hidden_of, played, typed, ways_of

ASKS = ["what do you do\\? ", "How sure are you, 0 to 100 %\\? ", "Enter: no answer\\)\\? "]
LONG = "Do it \\(y, Enter: no\\)\\? "


def play(path: Path, lines: list[str], answers: tuple[str, str], folder: Path) -> dict:
    """What the drill kept of itself when the lines are typed and the answers (root, mechanism) given."""
    log = folder / "drills.jsonl"
    log.unlink(missing_ok=True)
    env = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "100"}
    words = ["-m", "diagnose", "drill", str(path), "--plain", "--save", str(log)]
    terminal = pexpect.spawn(sys.executable, words, env=env, cwd=folder, timeout=100, encoding="utf-8", echo=False)
    terminal.delaybeforesend = None
    for line in [*lines, "answer"]:
        while terminal.expect([ASKS[0], LONG]):
            terminal.sendline("y")
        terminal.sendline(line)
    for answer in reversed(answers):
        terminal.expect(ASKS[2])
        terminal.sendline("none" if answer == NONE else answer)
        terminal.expect(ASKS[1])
        terminal.sendline("90")
    terminal.expect(pexpect.EOF)
    terminal.close()
    assert terminal.exitstatus == 0, terminal.before
    return json.loads(log.read_text("utf-8"))


def three(path: Path, base: RuleBase, folder: Path) -> dict[str, dict]:
    """What the drill kept of itself by way; with it what the engine says was `lost_by_engine`."""
    hidden = hidden_of(path, base)
    right, told = truth_of(hidden).first, {}
    for way, acts in ways_of(hidden).items():
        lines = [typed(a) for a in acts]
        told[way] = play(path, lines, right, folder) | {"lost_by_engine": lost_of(hidden, lines)}
    return told


def lost_of(hidden: Hidden, lines: list[str]) -> list[list[str]]:
    """What the engine says each act took of the whole, as it would have read."""
    bench = played(hidden, [act for act in map(Ear(hidden).hear, lines) if isinstance(act, Act)])
    by_act: dict[int, list[str]] = {}
    gone = {x.trace for x in bench.losses if x.what == GONE}
    for x in bench.losses:
        if x.what == GONE or x.trace not in gone:
            by_act.setdefault(x.act, []).append(text_of(hidden, hidden.by_id[x.trace]))
    return [by_act[n] for n in sorted(by_act)]


def main() -> None:
    base = load(KNOWLEDGE)
    with tempfile.TemporaryDirectory() as place:
        for path in SCENARIOS:
            if not sys.argv[1:] or path.stem in sys.argv[1:]:
                told = three(path, base, Path(place))
                rightly = all([x["what"] for x in t["lost"]] == t["lost_by_engine"] for t in told.values())
                scores = [told[way]["total"] for way in ("plan", "checklist", "worst")]
                print(
                    path.stem,
                    *scores,
                    "falls" if scores == sorted(scores, reverse=True) else "DOES NOT FALL",
                    "losses told rightly" if rightly else "LOSSES NOT TOLD RIGHTLY",
                    flush=True,
                )


if __name__ == "__main__":
    main()

"""Four seals recorded at a terminal by somebody who types what they see; prompts and keystrokes are counted.

    python -m tests.session.bench_sessions

Each seal is invented. `TRIAL` holds what the same kind of seal took when the session asked feature after feature and part after
part.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from tests.casefile.terminal import Terminal

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-m", "diagnose"]
TRIAL = {
    "single pusher": (257, 743),
    "dual pressurised": (321, 626),
    "in pieces in a bucket": (89, 94),
    "sound": (190, 446),
}

FIGURES = {
    "tag of the machine": "P-12", "fluid": "water", "how the seal came out": "1", "rotation": "1", "rotation seen from": "1",
    "index mark of the rotating parts": "keyway", "index mark of the stationary parts": "top", "kind of machine": "1",
    "speed": "2950", "shaft diameter": "50", "what about the fluid": "3", "temperature": "95", "chamber pressure": "4.5",
    "gauge or absolute": "g", "wetting": "1", "cartridge": "1", "design": "1", "balance": "1", "spring-loaded ring": "1",
    "springs": "2", "drive": "1", "held by": "1", "plan": "11", "soft face": "1", "hard face": "1", "elastomer": "3",
    "running hours": "4200", "starts": "30",
}  # fmt: skip
PAIR = FIGURES | {"plan": "53A", "barrier pressure": "6", "fluid": "resin", "what about the fluid": "24"}


@dataclass
class Seal:
    """`figures` by the beginning of a question; `cards` by step and what the heading holds, each answered once; `rest`: what
    is answered at every other card, "" where nobody looked."""

    arrangement: str
    figures: dict[str, str] = field(default_factory=dict)
    cards: dict[tuple[int, str], str] = field(default_factory=dict)
    begin: str = ""
    rest: str = ""


SEALS = {
    "single pusher": Seal("single", FIGURES, {
        (1, "Leak"): "1; 9; 5; n", (1, "Sound"): "1 12; n", (1, "History"): "5; 10; n",
        (4, "part 1 Rotating ring"): "n", (4, "parts 4"): "n",
        (5, "part 1 Rotating ring"): "7; n", (5, "part 2 Stationary ring"): "7: all round; 16: 5.1 5.1 5.0 5.1; n",
        (5, "part 3"): "4: all round; n", (5, "part 9"): "1: light; n", (5, "Atmosphere"): "1: light; n",
        (6, "part 3"): "4: all round; 20: 92 93 92; n", (6, "parts 4"): "n",
        (7, "part 1 Rotating ring"): "20; n", (7, "part 2 Stationary ring"): "1: all round, severe; n",
        (7, "part 3"): "1: all round; 5; n", (7, "parts 4"): "n", (7, "part 5"): "n", (7, "part 8"): "n",
    }),
    "dual pressurised": Seal("dual pressurised", PAIR, {
        (1, "Leak"): "n", (1, "History"): "5; 20; n", (5, "part 1 "): "n", (5, "part 2 "): "n",
        (5, "parts 5"): "part 5 1: severe; part 25 n", (5, "parts 7"): "n", (6, "part 3"): "n",
        (7, "part 1 "): "n", (7, "part 2 "): "n", (7, "parts 5"): "part 7 7; n", (7, "part 9"): "n",
        (7, "part 3"): "n",
    }),
    "in pieces in a bucket": Seal("single", {"tag of the machine": "P-12", "fluid": "none"}, {(7, "part 1 "): "23", (7, "part 2 "): "1"}, "7"),
    "sound": Seal("single", FIGURES | {"how the seal came out": "2"}, {(7, "part 1 "): "3: all round; n", (7, "part 2 "): "3: all round; n"}, rest="n"),
}  # fmt: skip


@dataclass
class Count:
    """`questions`: each with the heading it stood under, in order; `keys`: everything typed, Enter too."""

    questions: list[tuple[str, str]] = field(default_factory=list)
    keys: int = 0
    text: str = ""


def recorded(seal: Seal, case: Path) -> Count:
    """The whole session through a pseudo-terminal, until it has ended."""
    subprocess.run(
        [*COMMAND, "start", case, "--arrangement", seal.arrangement], check=True, cwd=ROOT, capture_output=True
    )
    terminal, count, step, heading = (
        Terminal([*COMMAND, "record", str(case)], env=dict(os.environ), cwd=str(ROOT), columns=100),
        Count(),
        0,
        "",
    )
    left, figures = dict(seal.cards), dict(seal.figures)
    while text := terminal.question():
        count.text += text
        step = int(found[-1]) if (found := re.findall(r"^Step (\d) of 8:", text, re.M)) else step
        question = text.rstrip().split("\n")[-1].strip()
        heading = " ".join(text.split("\n\n")[-1].split()) if "\n\n" in text else heading
        answer = _answer(seal, left, figures, step, heading, question)
        count.questions.append((heading.partition(": ")[0], question))
        count.keys += len(answer) + 1
        terminal.answer(answer)
    assert terminal.ended() == 0
    return count


def _answer(
    seal: Seal, left: dict[tuple[int, str], str], figures: dict[str, str], step: int, heading: str, question: str
) -> str:
    if question.startswith("Where does the work"):
        return seal.begin
    if question.startswith("Seen (none"):
        key = next((k for k in left if k[0] == step and heading.startswith(k[1])), None)
        return left.pop(key) if key else seal.rest
    return figures.pop(re.split(r" \(|:| \[", question)[0], "")


if __name__ == "__main__":
    print(f"{'seal':<24}{'prompts':>9}{'trial':>7}{'share':>7}{'keys':>8}{'trial':>7}{'share':>7}")
    with tempfile.TemporaryDirectory() as folder:
        for name, seal in SEALS.items():
            count = recorded(seal, Path(folder) / f"{name.replace(' ', '-')}.yaml")
            prompts, keys = TRIAL[name]
            print(
                f"{name:<24}{len(count.questions):>9}{prompts:>7}{len(count.questions) / prompts:>7.0%}{count.keys:>8}{keys:>7}{count.keys / keys:>7.0%}"
            )

"""What each statement does to the odds of the two that it parts, against a case that says nothing. `python -m tests.blind.pairs [--misses]`

`statements.yaml` lists {for, against, said} and the record made of it in the sections of a case file; `cannot: true` where the
vocabulary could not say it. A statement is hidden from whoever works on knowledge where the first hex digit of the sha256 of `said` is
odd; misses are printed of the others only.
"""

from __future__ import annotations

import hashlib
import math
import sys
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import yaml

from diagnose.casefile.reader import read_case
from diagnose.inference.run import RuleBase, load
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.weights import log_odds

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
NOT_RECORD = ("for", "against", "said", "cannot")
TELLS = 1.0
"""dB from which a statement counts as telling something."""


def statements() -> list[dict[str, Any]]:
    return [e for e in yaml.safe_load((HERE / "statements.yaml").read_text("utf-8")) if not e.get("cannot")]


def hidden(entry: dict[str, Any]) -> bool:
    return int(hashlib.sha256(entry["said"].encode()).hexdigest()[0], 16) % 2 == 1


def moves(entries: Iterable[dict[str, Any]], base: RuleBase) -> Iterator[tuple[dict[str, Any], float]]:
    """Each statement with what it does to the odds of the one it speaks for against the other, in dB."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "case.yaml"

        def odds(record: dict[str, Any], one: str, other: str) -> float:
            file.write_text(
                yaml.safe_dump({"case": "A statement", "invented": True, **record}, sort_keys=False), "utf-8"
            )
            judgements = Diagnosis(read_case(file, base.knowledge), base).judgements
            chance = {n: max(x.of(n).probability for x in judgements) for n in (one, other)}
            return log_odds(chance[one]) - log_odds(chance[other])

        silent: dict[tuple[str, str], float] = {}
        for entry in entries:
            two = entry["for"], entry["against"]
            if two not in silent:
                silent[two] = odds({}, *two)
            yield entry, odds({k: v for k, v in entry.items() if k not in NOT_RECORD}, *two) - silent[two]


def main() -> None:
    told = list(moves(statements(), load(ROOT / "knowledge")))
    for name, wanted in (("shown", False), ("hidden", True)):
        dB = [d for entry, d in told if hidden(entry) == wanted]
        shares = (sum(map(kind, dB)) / len(dB) for kind in (
            lambda d: d >= TELLS, lambda d: abs(d) < TELLS, lambda d: d <= -TELLS))  # fmt: skip
        right, nothing, wrong = shares
        print(
            f"{name}: {len(dB)} statements, right {right:.1%}, nothing {nothing:.1%}, wrong {wrong:.1%}, mean {math.fsum(dB) / len(dB):.1f} dB"
        )
    if "--misses" in sys.argv:
        for entry, d in told:
            if d < TELLS and not hidden(entry):
                print(f"{d:6.1f} dB  {entry['for']} / {entry['against']}: {entry['said']}")


if __name__ == "__main__":
    main()

"""How many phrases of blind writers are read rightly. `python -m tests.blind.phrases [open|closed] [--misses]`

The files of said/ list {phrase, on, means, kind}: a phrase as said, the part it was said of, what it means in a plain sentence, and
whether that is a mark, a state or an act. Half of them is closed (first hex digit of sha256 of the phrase odd): only its
totals are printed.

The rule. The sentence that says what is meant is read too. A reading of the phrase is right where one of its statements says
the same as, or the general word for, one of the first reading of that sentence, both present or both denied. Phrases whose
sentence reads to nothing are not judged. So a phrase counts as right only where the tool also understands plain words for
it, and a sentence misread makes a right reading wrong: README.md says how far that agrees with people.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import yaml

from diagnose.evaluation.score import wilson
from diagnose.knowledge.cache import open_knowledge
from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.model import Reading, Statement
from diagnose.phrases.read import read

HERE = Path(__file__).parent
KNOWLEDGE = HERE.parents[1] / "knowledge"


@dataclass(frozen=True)
class Told:
    """One phrase judged: whether the first, and any of three readings, is right; None where it is not judged."""

    phrase: str
    kind: str
    first: bool | None
    three: bool | None
    sure: bool
    read: bool


def judged(row: dict[str, str], v: Vocabulary) -> Told:
    on = v.find("kind", row.get("on", "")) or ""
    readings, meant = read(row["phrase"], v, on), read(row["means"], v, on)
    sure = bool(readings) and readings[0].sureness == "sure"
    if not meant:
        return Told(row["phrase"], row["kind"], None, None, sure, bool(readings))
    right = [agrees(r, meant[0], v) for r in readings[:3]]
    return Told(row["phrase"], row["kind"], bool(right and right[0]), any(right), sure, bool(readings))


Claim = tuple[str, str, str, bool]
"""(family, term, value, whether it holds)."""


def agrees(reading: Reading, meant: Reading, v: Vocabulary) -> bool:
    """Whether any statement says what one of those meant says, or says it in general."""
    return any(_own(s, v) & _closure(m, v) for s in reading.statements for m in meant.statements)


def _own(s: Statement, v: Vocabulary) -> set[Claim]:
    """What a statement says, under its own name and as the state or act of which it is the name."""
    holds = s.state == "present"
    own: set[Claim] = {(s.family, s.term, s.more.get("value", ""), holds)}
    for table, slots in v.features[s.term].statements if s.family == "feature" else ():
        same = holds == (slots.get("not") != "true")
        own.add(
            ("act", slots["did"], "", same)
            if table.startswith("act")
            else ("state", slots.get("variable", ""), slots.get("value", ""), same)
        )
    return own


def _closure(s: Statement, v: Vocabulary) -> set[Claim]:
    """What a statement says, and everything more general."""
    g, found = v.grammar, _own(s, v)
    for family, term, value, holds in list(found):
        if family == "feature":
            found |= {("feature", above, "", holds) for above in v.form_lineage[term] if above != "damage"}
        elif family == "state" and term in g.variables:
            found |= {("state", term, above, holds) for above in g.variables[term].lineage.get(value, ())}
        elif family == "act":
            found |= {("act", above, "", holds) for above in g.lineages["did"].get(term, ())}
    return found


def line(name: str, told: Iterable[Told]) -> str:
    rows = list(told)
    known = [t for t in rows if t.first is not None]
    n, first, three = len(known), sum(bool(t.first) for t in known), sum(bool(t.three) for t in known)
    wrong = sum(t.sure and not t.first for t in known)
    low, high = wilson(first, n) if n else (0.0, 0.0)
    return (
        f"  {name:<6} {len(rows):>4} phrases, {sum(not t.read for t in rows)} read to nothing, {n} judged: first right {first} "
        f"({low:.0%} to {high:.0%}), among three {three}, sure {sum(t.sure for t in known)} of which wrong {wrong}"
    )


def main(arguments: list[str]) -> None:
    v = open_knowledge(KNOWLEDGE).vocabulary
    for name in [a for a in arguments if a in ("open", "closed")] or ["open"]:
        rows = yaml.load((HERE / "said" / f"{name}.yaml").read_text("utf-8"), yaml.BaseLoader)
        told = [judged(row, v) for row in rows]
        print(name)
        for kind in ("mark", "state", "act", ""):
            print(line(kind or "all", [t for t in told if kind in ("", t.kind)]))
        if name == "open" and "--misses" in arguments:
            for t in told:
                if not t.first:
                    print(f"    {t.phrase}")


if __name__ == "__main__":
    main(sys.argv[1:])

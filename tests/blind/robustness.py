"""How often the leading answer moves when half of the words of the rule base are moved by one step.
`python -m tests.blind.robustness [open|opened|third|closed] [DRAWS]`

Each word of a row, a link, a finding's or a mechanism's `otherwise` and a cause's `common` is moved one step up or down its scale
with a chance of a half. Nothing is held against what was the matter, so that it tells nothing of what is right.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from diagnose.casefile.reader import read_case
from diagnose.inference.run import RuleBase, load
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.knowledge.model import Knowledge
from diagnose.reading.entry import replace
from tests.blind.ladder import LEVELS

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
DRAWS = 3


def moved(knowledge: Knowledge, seed: int) -> Knowledge:
    """The rule base with half of its words a step away; the ends of a scale (never, always) are not moved onto."""
    draw = random.Random(seed)
    move = {
        scale: _mover(words, draw)
        for scale, words in (("seen", knowledge.words.seen), ("common", knowledge.words.common))
    }

    def rows(card: Any) -> dict[str, Any]:
        return {
            "leaves": tuple(replace(r, seen=move["seen"](r.seen)) for r in card.leaves),
            "brings_about": tuple(replace(r, seen=move["seen"](r.seen)) for r in card.brings_about),
        }

    causes = {n: replace(c, **rows(c), common=move["common"](c.common)) for n, c in knowledge.causes.items()}
    mechanisms = {
        n: replace(m, **rows(m), otherwise=move["seen"](m.otherwise)) for n, m in knowledge.mechanisms.items()
    }
    findings = {
        n: replace(f, otherwise=move["seen"](f.otherwise)) if f.otherwise else f for n, f in knowledge.findings.items()
    }
    return replace(knowledge, causes=causes, mechanisms=mechanisms, findings=findings)


def _mover(words: Mapping[str, float], draw: random.Random) -> Callable[[str], str]:
    scale = sorted((w for w in words if w not in ("never", "always")), key=words.__getitem__)

    def move(word: str) -> str:
        if word not in scale or draw.random() < 0.5:
            return word
        place = scale.index(word) + draw.choice((-1, 1))
        return scale[min(max(place, 0), len(scale) - 1)]

    return move


def leading(folder: Path, base: RuleBase) -> dict[str, tuple[str, str]]:
    """Of each record, the root and the mechanism that lead."""
    result = {}
    for record in sorted(folder.glob("records/*.yaml")):
        judgements = Diagnosis(read_case(record, base.knowledge), base).judgements
        every = [[j for x in judgements for j in x.causes], [j for x in judgements for j in x.mechanisms]]
        root, mechanism = (min(js, key=lambda j: j.rank).name for js in every)
        result[record.stem] = (root, mechanism)
    return result


def main() -> None:
    name = next((a for a in sys.argv[1:] if not a.isdigit()), "open")
    draws = next((int(a) for a in sys.argv[1:] if a.isdigit()), DRAWS)
    base = load(ROOT / "knowledge")
    before = leading(HERE / name, base)
    print(f"{name}: {len(before)} cases, half of the words moved by one step; share in which another one leads")
    for seed in range(draws):
        after = leading(HERE / name, RuleBase(moved(base.knowledge, seed), base.rules))
        shares = (sum(before[n][i] != after[n][i] for n in before) / len(before) for i in range(len(LEVELS)))
        print("  " + ", ".join(f"{level} {share:.1%}" for level, share in zip(LEVELS, shares, strict=True)))


if __name__ == "__main__":
    main()

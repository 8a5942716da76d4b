"""The tables of this folder's README, as `diagnose score` gives them; `python -m tests.published.figures` writes them anew."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from diagnose.evaluation.score import Scored, cases_in, score, score_all
from diagnose.inference.run import RuleBase, load

HERE = Path(__file__).parent
PAGE = HERE / "README.md"


def scored(base: RuleBase) -> list[Scored]:
    result, silent, problems = score_all(cases_in(HERE), base)
    assert silent == 0 and not problems, [str(p) for p in problems]
    return result


def share(of: dict, key: str) -> str:
    low, high = of[f"{key}_interval"]
    return f"{of[key]:.1%} ({low:.1%} to {high:.1%})"


def figures(found: Sequence[Scored]) -> str:
    """All entries, failures that happened and patterns, at each level."""
    happened = [s for s in found if (n := number(s)) <= 32 or n == 87 or 103 <= n <= 127 or n >= 400]
    groups = {
        "all": found,
        "three records or more": [s for s in found if s.records >= 3],
        "failures that happened": happened,
        "patterns": [s for s in found if s not in happened],
    }
    lines = [
        "| entries | n | right | root leads, of n | … among three | mechanism leads, of n | … among three |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, group in groups.items():
        of = score(group)
        cells = []
        for level in of["levels"].values():
            cells += [f"{share(level, 'leads')} of {level['n']}", share(level, "among_three")]
        lines.append(f"| {name} | {of['n']} | {share(of, 'right')} | {' | '.join(cells)} |")
    return "\n".join(lines)


def misses(found: Sequence[Scored]) -> str:
    lines = ["| entry | leads | expected | among three |", "|---|---|---|---|"]
    for m in score(found)["misses"]:
        lines.append(
            f"| {Path(m['case']).name[:3]} | {m['leading']} | {', '.join(m['expected'])} | {'yes' if m['among_three'] else 'no'} |"
        )
    return "\n".join(lines)


def number(s: Scored) -> int:
    return int(Path(s.path).name[:3])


def page(found: Sequence[Scored]) -> str:
    """The README with its tables as they are now."""
    text = PAGE.read_text("utf-8")
    for title, table in (("Figures", figures(found)), ("Misses", misses(found))):
        text = re.sub(rf"(?s)(## {title}\n\n).*?(?=\n\n## |\Z)", lambda m, t=table: m.group(1) + t, text)
    return text.rstrip() + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(scored(load(HERE.parents[1] / "knowledge"))), "utf-8")

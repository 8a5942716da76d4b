"""Rule tests as files: drafts written down, and what a person wrote kept when they are written again."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import yaml

from diagnose.authoring.drafts import Draft, Drafter
from diagnose.authoring.explained_drafts import ExplainedDrafter
from diagnose.authoring.rule_test_reader import RuleTest, parse_tests
from diagnose.authoring.rule_test_runner import Workshop
from diagnose.authoring.witness import Fragment
from diagnose.knowledge.model import Card, Explained
from diagnose.reading.located import read_text
from diagnose.reading.problems import Problems

WIDTH = 118


def drafting(workshop: Workshop) -> Callable[[str, Card], list[Draft]]:
    """Drafts the tests of a card, given with its kind."""
    drafter = Drafter(workshop)
    explained = ExplainedDrafter(drafter)

    def draft(kind: str, card: Card) -> list[Draft]:
        made: list[Draft] = explained.drafts(card) if isinstance(card, Explained) else getattr(drafter, kind)(card)
        return made

    return draft


def drafted(workshop: Workshop, cards: Iterable[tuple[str, Card]]) -> list[RuleTest]:
    """The tests that can be drafted from cards, given with their kinds; they are never written to a file."""
    draft, knowledge, problems = drafting(workshop), workshop.base.knowledge, Problems()
    tests = []
    for kind, card in cards:
        text = written(draft(kind, card))
        tests += parse_tests(text.encode(), f"drafted: {card.name}", kind, card.name, knowledge, problems)
    problems.raise_errors()
    return tests


def redrafted(text: str, drafts: Sequence[Draft], stubs: str, shown: str) -> str:
    """A test file with its drafts written anew. A test that has a name of its own (neither that of a draft nor of one
    of the skeleton `stubs`) or a line of comment stays as it is, and no draft repeats it. Raises BadInput."""
    passing = {*(d.name for d in drafts), *(name for name, _, _ in _tests(stubs, shown))}
    tests = _tests(text, shown)
    kept = [x for x in tests if x[0] not in passing or re.search(r"^ *#", x[2], re.M)]
    names, contents = [name for name, _, _ in kept], [content for _, content, _ in kept]
    new = [d for d in drafts if d.name not in names and _tests(written([d]), shown)[0][1] not in contents]
    blocks = [written(new).strip("\n") if new else "", *(block for _, _, block in kept)]
    return "\n\n".join(b for b in blocks if b) + "\n"


def _tests(text: str, shown: str) -> list[tuple[str, Any, str]]:
    """Name, content and text, with the lines of comment above, of each test of a file."""
    problems = Problems()
    node = read_text(text.encode(), shown, problems) if text.strip() else None
    problems.raise_errors()
    lines, tests, end = text.splitlines(), [], 0
    items = node.each() if node else []
    ends = [*(item.where.line - 1 for item in items[1:]), len(lines)]
    for item, after in zip(items, ends, strict=False):
        while after < len(lines) and re.match(r"#|\s*$", lines[after - 1]):
            after -= 1
        content = {key: value.plain() for key, value in item.items()}
        tests.append((str(content.pop("test", "")), content, "\n".join(lines[end:after]).strip("\n")))
        end = after
    return tests


def flow(value: Any) -> str:
    """A record on one line."""
    text = yaml.safe_dump(value, sort_keys=False, allow_unicode=True, default_flow_style=True, width=10_000)
    return text.removesuffix("\n").removesuffix("\n...").replace("'on': ", "on: ")


def _entry(value: Any, lead: str, note: str = "") -> list[str]:
    """A list entry, on one line where it fits, otherwise wrapped between its members."""
    line = lead + flow(value)
    if len(line) <= WIDTH or isinstance(value, str):
        return [line + (f"  # {note}" if note else "")]
    text = yaml.safe_dump(value, sort_keys=False, allow_unicode=True, default_flow_style=True, width=WIDTH - len(lead))
    first, *rest = text.splitlines()
    hang = " " * (len(lead) + 2)
    return [lead + first.rstrip(), *(hang + r.strip() for r in rest if r != "...")]


def written(drafts: Sequence[Draft]) -> str:
    """Drafts as the text of a test file."""
    lines: list[str] = []
    for draft in drafts:
        lines += ["", f"- test: {flow(draft.name)}"] if lines else [f"- test: {flow(draft.name)}"]
        if len(draft.fragments) == 1:
            lines += _given("given", draft.fragments[0])
        else:
            lines.append("  given each:")
            for fragment in draft.fragments:
                records = fragment.plain()
                lines += _entry(records[0] if len(records) == 1 else records, "    - ", fragment.shows)
        if draft.at:
            lines.append(f"  at: {draft.at}")
        lines += [f"  {key}: {flow(value)}" for key, value in draft.expects.items()]
    return "\n".join(lines) + "\n"


def _given(key: str, fragment: Fragment) -> list[str]:
    note = f"  # {fragment.shows}" if fragment.shows else ""
    records = fragment.plain()
    if not records:
        return [f"  {key}: []{note}"]
    return [f"  {key}:{note}", *(line for r in records for line in _entry(r, "    - "))]

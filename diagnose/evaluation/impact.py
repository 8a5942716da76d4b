"""Two versions of a rule base over a library of cases: whose answer changed, and through which rule."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import RuleBase, load
from diagnose.judgement.diagnosis import Diagnosis, network_of
from diagnose.judgement.judge import Judged
from diagnose.knowledge.model import CARDS, Card, Cause, Explained, Finding, Knowledge, Mechanism, Words
from diagnose.reading import git
from diagnose.reading.figures import percent
from diagnose.reading.located import read_bytes
from diagnose.reading.problems import BadInput, Problem, Problems, Where

_WORDING = {"reads", "means", "family", "reviewed", "since", "how", "says", "defer", "sources",
            "told_apart_by", "because", "then", "where", "instrument", "at", "readings"}  # fmt: skip
NOTABLE = 0.05
"""A change of probability of what leads below this is told only in the totals."""
ANSWER = ("leading", "mechanism", "standing")
"""What a case's answer is: its leading root cause and mechanism, and their standing."""
KINDS = (*ANSWER, "probability", "ledger")


# ---- getting at a version -----------------------------------------------------------------------------------


@contextmanager
def versions(*names: str, inside: str = "knowledge") -> Iterator[list[Path]]:
    """Folders of rule bases: each name a folder, or a git revision whose `inside` folder is taken out to a temporary
    place. Raises BadInput."""
    with ExitStack() as stack:
        yield [Path(n) if Path(n).is_dir() else stack.enter_context(_revision(n, inside)) for n in names]


@contextmanager
def _revision(name: str, inside: str) -> Iterator[Path]:
    def refuse(says: str) -> BadInput:
        return BadInput([Problem(Where("version", 0, 0), "version", says, "name a folder or a git revision")])

    if name.startswith("-"):
        raise refuse(f"{name!r} is no version")
    here = Path()
    try:
        files = git.stored(here, name, inside)
        written = git.contents(here, files)
    except OSError as error:
        raise refuse(f"{name!r} is no folder, and git cannot be run") from error
    except git.NotStored as error:
        said = f": {error}" if str(error) else ""
        raise refuse(f"{name!r} is neither a folder nor a revision with {inside!r} in it{said}") from error
    if not written:
        raise refuse(f"{name!r} is neither a folder nor a revision with {inside!r} in it")
    with tempfile.TemporaryDirectory(prefix="diagnose-") as place:
        for path, data in written.items():
            file = Path(place) / path
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(data)
        yield Path(place) / inside


# ---- what changed in the rules ------------------------------------------------------------------------------


@dataclass(frozen=True)
class CardChange:
    """how: new, gone, retired, changed or wording. `parts` are the keys that differ."""

    section: str
    name: str
    how: str
    parts: tuple[str, ...] = ()


def card_changes(old: Knowledge, new: Knowledge) -> list[CardChange]:
    changes = []
    for section in CARDS:
        before: Mapping[str, Card] = getattr(old, section)
        after: Mapping[str, Card] = getattr(new, section)
        for name in sorted({*before, *after}):
            if name not in before:
                changes.append(CardChange(section, name, "new"))
            elif name not in after:
                changes.append(CardChange(section, name, "retired" if name in new.retired else "gone"))
            elif before[name] != after[name]:
                a, b = before[name], after[name]
                parts = tuple(
                    slot.replace("_", " ")
                    for slot in a.__struct_fields__
                    if slot != "where" and getattr(a, slot) != getattr(b, slot)
                )
                wording = all(p.replace(" ", "_") in _WORDING for p in parts)
                changes.append(CardChange(section, name, "wording" if wording else "changed", parts))
    for section in ("limits", "words"):
        if getattr(old, section) != getattr(new, section):
            changes.append(CardChange(section, section, "changed"))
    if old.vocabulary != new.vocabulary:
        changes.append(CardChange("vocabulary", "vocabulary", "changed"))
    return changes


# ---- what changed in the answers ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Change:
    """One case whose answer differs. `kind`: leading (root cause), mechanism, standing, probability or ledger; `through`:
    rules and weights."""

    path: str
    kind: str
    old: str
    new: str
    expected: tuple[str, ...]
    through: tuple[str, ...]


@dataclass(frozen=True)
class _Leader:
    """What leads at one level."""

    name: str
    standing: str
    probability: float

    def __str__(self) -> str:
        return f"{self.name} ({self.standing}, {percent(self.probability)})"


@dataclass(frozen=True)
class _Answer:
    root: _Leader
    mechanism: _Leader
    weights: tuple[tuple[str, str, float], ...]
    states: tuple[tuple[str, str, str], ...]
    expected: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.root}; mechanism {self.mechanism}"

    @property
    def leaders(self) -> tuple[_Leader, _Leader]:
        return self.root, self.mechanism


_BASES: list[RuleBase] = []


def _start(folders: tuple[str, str], drafts: bool) -> None:
    _BASES[:] = [load(Path(folder), drafts) for folder in folders]
    for base in _BASES:
        network_of(base)


def _both(path: str) -> tuple[str, list[_Answer | list[Problem]]]:
    return path, [_answer(path, base) for base in _BASES]


def _answer(path: str, base: RuleBase) -> _Answer | list[Problem]:
    problems = Problems()
    data = read_bytes(Path(path), path, problems)
    case = parse_case(data, path, base.knowledge, problems) if data is not None else None
    if case is None or problems.errors():
        return problems.errors()
    diagnosis = Diagnosis(case, base)
    levels = [sorted(level, key=lambda j: j.rank) for level in (
        [j for x in diagnosis.judgements for j in x.causes], [j for x in diagnosis.judgements for j in x.mechanisms],
    )]  # fmt: skip
    weights = tuple((j.name, e.finding, round(e.weight, 1) + 0.0) for level in levels for j in level[:3] for e in j.evidence
                    if e.weight and not e.through)  # fmt: skip
    found = sorted(diagnosis.inference.findings.items())
    states = tuple((p, f, d.state) for p, here in found for f, d in sorted(here.items()))
    x = case.expected
    expected = (*(x.roots or x.mechanisms), *x.also) if x else ()
    root, mechanism = map(_leader, levels)
    return _Answer(root, mechanism, weights, states, expected)


def _leader(ranked: Sequence[Judged]) -> _Leader:
    if not ranked:
        return _Leader("", "", 0.0)
    return _Leader(ranked[0].name, ranked[0].standing, ranked[0].probability)


def compare(
    old: Path, new: Path, cases: Sequence[Path], drafts: bool = False, workers: int | None = None
) -> tuple[list[CardChange], list[Change], list[Problem]]:
    """What differs between two rule bases, over the cases; problems are cases that one of the two cannot read."""
    a, b = load(old, drafts).knowledge, load(new, drafts).knowledge
    cards = card_changes(a, b)
    changed = {c.name: c for c in cards}
    with ProcessPoolExecutor(workers, initializer=_start, initargs=((str(old), str(new)), drafts)) as pool:
        answers = list(pool.map(_both, [str(p) for p in cases], chunksize=max(1, len(cases) // 64)))
    changes, problems = [], []
    for path, (before, after) in answers:
        if isinstance(before, list) or isinstance(after, list):
            problems += [p for side in (before, after) if isinstance(side, list) for p in side]
        elif (kind := _kind(before, after)) != "":
            changes.append(
                Change(path, kind, str(before), str(after), after.expected, _through(before, after, changed))
            )
    changes.sort(key=lambda c: (KINDS.index(c.kind), c.path))
    return cards, changes, sorted(set(problems))


def _kind(before: _Answer, after: _Answer) -> str:
    if before.root.name != after.root.name:
        return "leading"
    if before.mechanism.name != after.mechanism.name:
        return "mechanism"
    pairs = list(zip(before.leaders, after.leaders, strict=True))
    if any(a.standing != b.standing for a, b in pairs):
        return "standing"
    if any(abs(a.probability - b.probability) >= NOTABLE for a, b in pairs):
        return "probability"
    old, new = _ledgers(before, after)
    return "" if (old, before.states) == (new, after.states) else "ledger"


def _ledgers(before: _Answer, after: _Answer) -> list[dict[tuple[str, str], float]]:
    """What findings weigh for what leads on either side, before and after."""
    leaders = {x.name for x in (*before.leaders, *after.leaders)}
    return [{(name, f): w for name, f, w in side.weights if name in leaders} for side in (before, after)]


def _through(before: _Answer, after: _Answer, changed: Mapping[str, CardChange]) -> tuple[str, ...]:
    """The findings that became something else and those that weigh something else alone, rules that changed first."""
    lines: list[tuple[bool, float, str]] = []
    was = {(p, f): s for p, f, s in before.states}
    now = {(p, f): s for p, f, s in after.states}
    for p, f in sorted({*was, *now}):
        if was.get((p, f)) != now.get((p, f)):
            said = f"finding {f} ({p}): {was.get((p, f), 'open')} -> {now.get((p, f), 'open')}"
            lines.append((f not in changed, 0.0, said + _why(changed.get(f))))
    old, new = _ledgers(before, after)
    for name, f in sorted({*old, *new}):
        a, b = old.get((name, f), 0.0), new.get((name, f), 0.0)
        if a != b:
            card = changed.get(name) or changed.get(f)
            lines.append((card is None, -abs(b - a), f"{name}, {f} alone: {a:+.1f} -> {b:+.1f} dB{_why(card)}"))
    return tuple(text for _, _, text in sorted(lines)[:6])


def _why(card: CardChange | None) -> str:
    return f" [{card.name}: {card.how}{' ' + ', '.join(card.parts) if card.parts else ''}]" if card else ""


# ---- the version and its changelog --------------------------------------------------------------------------


def effect(cards: Sequence[CardChange], changes: Sequence[Change]) -> str:
    """What the change amounts to: answer, rule, wording or none."""
    if any(c.kind in ANSWER for c in changes):
        return "answer"
    if any(c.how != "wording" for c in cards):
        return "rule"
    return "wording" if cards else "none"


def next_version(version: str, effect_: str) -> str:
    """The version after a change, by its effect: a known case changes its answer, a rule is new or changed, wording."""
    numbers = [int(x) for x in [*version.split("."), "0", "0"][:3]]
    place = {"answer": 0, "rule": 1, "wording": 2, "none": 3}[effect_]
    if place == 3:
        return ".".join(map(str, numbers))
    return ".".join(str(n + 1 if i == place else n if i < place else 0) for i, n in enumerate(numbers))


def changelog(old: Knowledge, new: Knowledge, cards: Sequence[CardChange], changes: Sequence[Change]) -> list[str]:
    """Lines for the changelog, for a person to edit."""
    lines = []
    for c in cards:
        kind = c.section.removesuffix("s") if c.section in CARDS else c.section
        if c.how in ("new", "gone"):
            lines.append(f"- {c.how} {kind}: {c.name}")
        elif c.how == "retired":
            lines.append(f"- retired {kind}: {c.name}, in its place {new.retired[c.name].replaced_by}")
        elif c.section in CARDS:
            details = _details(getattr(old, c.section)[c.name], getattr(new, c.section)[c.name]) or ", ".join(c.parts)
            lines.append(f"- {'wording of' if c.how == 'wording' else 'changed'} {kind} {c.name}: {details}")
        else:
            details = f": {_words(old.words, new.words)}" if c.section == "words" else ""
            lines.append(f"- changed {c.section}{details}")
    for change in changes:
        if change.kind in ANSWER:
            right = _right(change)
            lines.append(f"- {Path(change.path).name}: {change.old} -> {change.new}{', ' + right if right else ''}")
    return lines


def _right(change: Change) -> str:
    if not change.expected:
        return ""
    old, new = (any(f"{name} (" in side for name in change.expected) for side in (change.old, change.new))
    return {(False, True): "now as expected", (True, False): "no longer as expected", (False, False): "neither as expected",
            (True, True): "both as expected"}[old, new]  # fmt: skip


def _details(a: Card, b: Card) -> str:
    if isinstance(a, Finding) and isinstance(b, Finding) and a.otherwise != b.otherwise:
        return f"otherwise {a.otherwise} -> {b.otherwise}"
    if isinstance(a, Explained) and isinstance(b, Explained):
        moved = _moved(*({r.finding: r.seen for r in c.leaves} for c in (a, b)))
        moved += _moved(*({x.mechanism: x.seen for x in c.brings_about} for c in (a, b)))
        if isinstance(a, Cause) and isinstance(b, Cause):
            moved += [f"common {a.common} -> {b.common}"] if a.common != b.common else []
            for question in sorted({*a.answers, *b.answers}):
                moved += _moved(a.answers.get(question, {}), b.answers.get(question, {}))
        if isinstance(a, Mechanism) and isinstance(b, Mechanism) and a.otherwise != b.otherwise:
            moved.append(f"otherwise {a.otherwise} -> {b.otherwise}")
        return "; ".join(moved)
    return ""


def _moved(was: Mapping[str, object], now: Mapping[str, object]) -> list[str]:
    """The entries of a table that are new, gone or changed."""
    return [f"{name} {was.get(name, 'not listed')} -> {now.get(name, 'not listed')}"
            for name in sorted({*was, *now}) if was.get(name) != now.get(name)]  # fmt: skip


def _words(a: Words, b: Words) -> str:
    moved = [*_moved(a.seen, b.seen), *_moved(a.common, b.common), *_moved(a.reading, b.reading)]
    plain = (
        "established",
        "probable",
        "possible",
        "lines_needed",
        "line_counts_from",
        "decisive",
        "trial_weight",
        "exponent",
        "wrong_record",
        "none_of_these",
    )
    moved += _moved(*({key.replace("_", " "): getattr(w, key) for key in plain} for w in (a, b)))
    moved += _moved(*({"rare marks": w.rare_marks} for w in (a, b)))
    return "; ".join(moved)


def document(
    old: Knowledge, new: Knowledge, cards: Sequence[CardChange], changes: Sequence[Change], cases: int
) -> dict[str, Any]:
    """The comparison as plain data."""
    kinds = KINDS
    what = effect(cards, changes)
    changed = {k: sum(c.kind == k for c in changes) for k in kinds}
    return {
        "old": {"version": old.version, "digest": old.digest},
        "new": {"version": new.version, "digest": new.digest},
        "cases": cases,
        "same": cases - len(changes),
        "changed": changed,
        "answers": sum(changed[k] for k in ANSWER),
        "rules": [{"section": c.section, "name": c.name, "how": c.how, "parts": list(c.parts)} for c in cards],
        "changes": [
            {"case": c.path, "kind": c.kind, "old": c.old, "new": c.new, "right": _right(c), "through": list(c.through)}
            for c in changes
        ],
        "effect": what,
        "proposed_version": next_version(old.version, what),
        "changelog": changelog(old, new, cards, changes),
    }

"""How often the rule base is right on cases whose cause is known."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diagnose.casefile.model import Case
from diagnose.casefile.reader import parse_case
from diagnose.evaluation.agreement import by_table, read_rows
from diagnose.inference.run import Inference, RuleBase, infer
from diagnose.judgement.judge import Judged, Judgement, judge
from diagnose.judgement.network import Network, build
from diagnose.reading.files import shown_name
from diagnose.reading.located import read_bytes
from diagnose.reading.problems import Problem, Problems

BINS = 5
ENDINGS = (".yaml", ".yml")
NONE = ("none of these",)


@dataclass(frozen=True)
class Scored:
    """One case judged. `right`: its leading cause is among those expected or acceptable (`also`); `as_stated`: among
    those expected; `three_as_stated`: one of those is among the first three; `share`: how far the source backs the
    leading cause, 1 for a stated cause and 1/k for one of k listed alternatives."""

    path: str
    name: str
    records: int
    leading: str
    position: str
    standing: str
    probability: float
    expected: tuple[str, ...]
    one_of: bool
    right: bool
    among_three: bool
    as_stated: bool
    three_as_stated: bool
    share: float
    probability_of_expected: float
    established: tuple[str, ...]
    wrongly_established: tuple[str, ...]
    ruled_out_missed: tuple[str, ...]
    kind_of_miss: str

    @property
    def names_a_cause(self) -> bool:
        return self.expected != NONE


def cases_in(folder: Path) -> list[Path]:
    """The case files under a folder; rule tests and tables of symptoms are none. Hidden folders and virtual
    environments are not looked into."""
    found: list[Path] = []
    for place, inner, names in os.walk(folder):
        inner[:] = [n for n in inner if not n.startswith(".") and not Path(place, n, "pyvenv.cfg").exists()]
        found += (Path(place, n) for n in names if n.lower().endswith(ENDINGS))
    return sorted(p for p in found if not p.stem.lower().endswith((".test", "symptoms")))


def read_all(paths: Sequence[Path], base: RuleBase) -> tuple[list[Case], list[Problem]]:
    problems = Problems()
    cases = []
    for path in paths:
        before = len(problems.errors())
        name = shown_name(path)
        data = read_bytes(path, name, problems)
        case = parse_case(data, name, base.knowledge, problems) if data is not None else None
        if case and len(problems.errors()) == before:
            cases.append(case)
    return cases, problems.errors()


def score_case(case: Case, base: RuleBase, net: Network) -> Scored | None:
    """None where the case says nothing of what to expect."""
    expected = case.expected
    if expected is None:
        return None
    inference = infer(case, base)
    judgements = judge(inference, net)
    ranked = sorted((j for x in judgements for j in x.causes if j.standing != "ruled out"), key=lambda j: j.rank)
    if expected.position in case.positions:
        ranked = [j for j in ranked if j.position == expected.position]
    good = {*expected.causes, *expected.also}
    top = ranked[0]
    nothing = max(x.none_of_these for x in judgements)
    if expected.none_of_these:
        right = all(j.standing not in ("established", "probable") for j in ranked)
        return _scored(case, top, NONE, right, right, 1.0 if right else 0.0, nothing, ranked, judgements, inference)
    hit, among = top.cause in good, any(j.cause in good for j in ranked[:3])
    share = 0.0
    if hit:
        share = 1 / len(expected.causes) if expected.one_of else 1.0
    best = max((j.probability for j in ranked if j.cause in good), default=0.0)
    return _scored(case, top, expected.causes, hit, among, share, best, ranked, judgements, inference)


def _scored(
    case: Case, top: Judged, causes: tuple[str, ...], right: bool, among: bool, share: float, best: float,
    ranked: list[Judged], judgements: Sequence[Judgement], inference: Inference,
) -> Scored:  # fmt: skip
    expected = case.expected
    assert expected
    good = {*expected.causes, *expected.also}
    established = tuple(sorted({j.cause for x in judgements for j in x.causes if j.standing == "established"}))
    wrong = tuple(c for c in established if c not in good)
    missed = tuple(c for c in expected.ruled_out if any(j.cause == c and j.probability >= 0.05 for j in ranked))
    records = sum(o.state in ("present", "absent") for o in case.observations) + sum(
        bool(x.kind) for x in case.measured
    )
    miss = "" if right else _kind_of_miss(causes, judgements, inference)
    return Scored(
        case.path, case.name, records, top.cause, top.position, top.standing, top.probability, causes, expected.one_of,
        right, among, top.cause in expected.causes, any(j.cause in expected.causes for j in ranked[:3]), share, best,
        established, wrong, missed, miss,
    )  # fmt: skip


def _kind_of_miss(expected: tuple[str, ...], judgements: Sequence[Judgement], inference: Inference) -> str:
    """vocabulary gap: nothing on record became a finding; missing rule: no finding speaks for the expected cause;
    otherwise wrong rule (a person may still find that the observation was misread)."""
    found = {f for d in inference.findings.values() for f, x in d.items() if x.state == "present"}
    if not found:
        return "vocabulary gap"
    speaking = any(
        e.state == "present" and e.weight > 0
        for x in judgements
        for j in x.causes
        if j.cause in expected
        for e in j.evidence
    )
    return "wrong rule" if speaking else "missing rule"


def wilson(right: int, n: int, z: float = 1.959963984540054) -> tuple[float, float]:
    """95 % interval of a share (E. B. Wilson, JASA 22, 1927)."""
    if n == 0:
        return 0.0, 1.0
    p, d = right / n, 1 + z * z / n
    middle = p + z * z / (2 * n)
    half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return (middle - half) / d, (middle + half) / d


def calibration(pairs: Sequence[tuple[float, float]], bins: int = BINS) -> tuple[float, list[dict[str, float]]]:
    """(expected calibration error, one row a bin) of (confidence, outcome) pairs; equal bins closed on the right."""
    rows, error = [], 0.0
    for b in range(bins):
        inside = [(c, y) for c, y in pairs if b / bins < c <= (b + 1) / bins or (b == 0 and c == 0)]
        if not inside:
            continue
        n = len(inside)
        confidence, outcome = sum(c for c, _ in inside) / n, sum(y for _, y in inside) / n
        error += n / len(pairs) * abs(outcome - confidence)
        rows.append({"from": b / bins, "to": (b + 1) / bins, "n": n, "confidence": confidence, "right": outcome})
    return error, rows


def score(scored: Sequence[Scored]) -> dict[str, Any]:
    """The figures of a scored set; probabilities are of the leading cause, outcomes the source's share for it. `stated`
    is the stricter reading: only causes that the source states count, and only where it states one."""
    n = len(scored)
    stated = [s for s in scored if s.names_a_cause]
    detailed = [s for s in scored if s.records >= 3]
    detailed_stated = [s for s in detailed if s.names_a_cause]
    pairs = [(s.probability, s.share) for s in stated]
    ece, table = calibration(pairs) if pairs else (0.0, [])
    listed = [(s.probability, float(s.right)) for s in stated]
    return {
        "n": n,
        **_part("top1", [s.right for s in scored]),
        **_part("top3", [s.among_three for s in scored]),
        "detailed": {"n": len(detailed), **_part("top1", [s.right for s in detailed])},
        "stated": {
            "n": len(stated),
            **_part("top1", [s.as_stated for s in stated]),
            **_part("top3", [s.three_as_stated for s in stated]),
            "detailed": {"n": len(detailed_stated), **_part("top1", [s.as_stated for s in detailed_stated])},
            "established_other": sum(any(c not in s.expected for c in s.established) for s in stated),
        },
        "established_wrong": sum(bool(s.wrongly_established) for s in scored),
        "log_loss": -sum(math.log(max(s.probability_of_expected, 1e-12)) for s in scored) / n if n else 0.0,
        "brier": sum((c - y) ** 2 for c, y in pairs) / len(pairs) if pairs else 0.0,
        "ece": ece,
        "ece_any_listed": calibration(listed)[0] if listed else 0.0,
        "reliability": table,
        "misses": [
            {"case": s.path, "leading": s.leading, "standing": s.standing, "probability": round(s.probability, 4),
             "expected": list(s.expected), "among_three": s.among_three, "kind": s.kind_of_miss}
            for s in scored if not s.right
        ],
        "established_wrong_cases": [{"case": s.path, "causes": list(s.wrongly_established)} for s in scored if s.wrongly_established],
        "not_ruled_out": [{"case": s.path, "causes": list(s.ruled_out_missed)} for s in scored if s.ruled_out_missed],
    }  # fmt: skip


def _part(name: str, right: Sequence[bool]) -> dict[str, Any]:
    """The part that is right, under a name, with its interval."""
    return {name: sum(right) / len(right) if right else 0.0, f"{name}_interval": wilson(sum(right), len(right))}


def symptoms_in(folder: Path, base: RuleBase) -> tuple[list[dict[str, Any]], list[Problem]]:
    """Agreement with the tables of a folder's symptoms.yaml, empty where it has none."""
    path = folder / "symptoms.yaml"
    if not path.is_file():
        return [], []
    problems = Problems()
    rows = read_rows(path, base, build(base.knowledge), problems)
    return by_table(rows), problems.errors()


def score_all(
    paths: Sequence[Path], base: RuleBase, done: Callable[[], None] = lambda: None
) -> tuple[list[Scored], int, list[Problem]]:
    """The cases that say what to expect, how many say nothing of it, and what is wrong with files. `done` is called
    after each file."""
    net = build(base.knowledge)
    scored: list[Scored] = []
    silent, problems = 0, []
    for path in paths:
        cases, wrong = read_all([path], base)
        problems += wrong
        for case in cases:
            one = score_case(case, base, net)
            if one:
                scored.append(one)
            else:
                silent += 1
        done()
    return scored, silent, problems

"""How often the rule base is right on cases whose root cause or mechanism is known, at each level."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from diagnose.casefile.model import Case
from diagnose.casefile.reader import parse_case
from diagnose.evaluation.agreement import by_table, read_rows
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import Judged, Judgement
from diagnose.reading.files import shown_name
from diagnose.reading.located import read_bytes
from diagnose.reading.problems import Problem, Problems

ENDINGS = (".yaml", ".yml")
NONE = ("none of these",)
CLAIM = 0.9
"""Probability from which an answer is a claim."""


@dataclass(frozen=True)
class Level:
    """One level (root or mechanism) of one case. `right`: the leading one is expected or acceptable (`also`), a mechanism
    also where it stands at even odds or better in one chain with the leading one; `leads`: it is the leading one itself;
    `of_expected`: the probability of the likeliest that is expected; `wrong`: what is established beside it."""

    expected: tuple[str, ...]
    leading: str
    position: str
    standing: str
    probability: float
    right: bool
    leads: bool
    among_three: bool
    of_expected: float
    established: bool
    wrong: tuple[str, ...]


@dataclass(frozen=True)
class Scored:
    """One case judged; a level is None where the case says nothing of it. `right`: the root where the case names one,
    else the mechanism; with `one of` either."""

    path: str
    name: str
    records: int
    right: bool
    root: Level | None
    mechanism: Level | None
    ruled_out_missed: tuple[str, ...]
    kind_of_miss: str

    @property
    def told(self) -> Level:
        level = self.root or self.mechanism
        assert level
        return level


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


def score_case(case: Case, base: RuleBase) -> Scored | None:
    """None where the case says nothing of what to expect."""
    expected = case.expected
    if expected is None:
        return None
    judgements = Diagnosis(case, base).judgements
    here = [x for x in judgements if x.position == expected.position] or [*judgements]
    roots = sorted((j for x in here for j in x.causes if j.standing != "ruled out"), key=lambda j: j.rank)
    mechanisms = sorted((j for x in here for j in x.mechanisms if j.standing != "ruled out"), key=lambda j: j.rank)
    missed = tuple(c for c in expected.ruled_out if any(j.name == c and j.probability >= 0.05 for j in roots))
    records = sum(o.looked_for for o in case.observations) + sum(bool(x.kind) for x in case.measured)
    if expected.none_of_these:
        none = _nothing(roots, here)
        return Scored(case.path, case.name, records, none.right, none, None, missed, "" if none.right else "wrong rule")
    root = _level(roots, expected.roots, expected.also) if expected.roots else None
    mechanism = _level(mechanisms, expected.mechanisms, expected.also) if expected.mechanisms else None
    levels = [x for x in (root, mechanism) if x]
    right = any(x.right for x in levels) if expected.one_of else levels[0].right
    named = {*expected.roots, *expected.mechanisms}
    return Scored(
        case.path, case.name, records, right, root, mechanism, missed, "" if right else _kind_of_miss(named, here)
    )


def _level(ranked: Sequence[Judged], expected: tuple[str, ...], also: tuple[str, ...]) -> Level:
    good, top = {*expected, *also}, ranked[0]
    leads = top.name in good
    right = leads or any(j.name in good and j.probability >= 0.5 and _one_chain(j, top) for j in ranked)
    return Level(
        expected, top.name, top.position, top.standing, top.probability, right, leads,
        right or any(j.name in good for j in ranked[:3]), max((j.probability for j in ranked if j.name in good), default=0.0),
        top.standing == "established", _wrong(ranked, good),
    )  # fmt: skip


def _wrong(ranked: Sequence[Judged], good: set[str]) -> tuple[str, ...]:
    """What is established without being expected; a mechanism in one chain with an expected one is none."""
    right = [j for j in ranked if j.name in good]
    return tuple(
        j.name for j in ranked
        if j.standing == "established" and j.name not in good and not any(_one_chain(j, r) for r in right)
    )  # fmt: skip


def _one_chain(one: Judged, other: Judged) -> bool:
    """Whether one of two mechanisms brings the other about, through whatever others."""
    net = one.at.net
    if one.kind != "mechanism" or one.position != other.position:
        return False
    i, j = net.mechanism[one.name], net.mechanism[other.name]
    return bool(net.upstream[i, j] or net.upstream[j, i])


def _nothing(ranked: Sequence[Judged], here: Sequence[Judgement]) -> Level:
    """Where no cause of the rule base is expected, none may be established or probable."""
    top, none = ranked[0], max(x.none_of_these for x in here)
    right = top.standing not in ("established", "probable")
    wrong = tuple(j.name for j in ranked if j.standing == "established")
    return Level(
        NONE, top.name, top.position, top.standing, top.probability, right, right, right, none, bool(wrong), wrong
    )


def _kind_of_miss(expected: set[str], judgements: Sequence[Judgement]) -> str:
    """vocabulary gap: nothing on record became a finding; missing rule: no finding speaks for what is expected;
    otherwise wrong rule (a person may still find that the observation was misread)."""
    if not any(present for x in judgements for present in x.counted.values()):
        return "vocabulary gap"
    speaking = any(
        e.state == "present" and e.weight > 0
        for x in judgements for j in (*x.causes, *x.mechanisms) if j.name in expected for e in j.evidence
    )  # fmt: skip
    return "wrong rule" if speaking else "missing rule"


def wilson(right: int, n: int, z: float = 1.959963984540054) -> tuple[float, float]:
    """95 % interval of a share (E. B. Wilson, JASA 22, 1927)."""
    if n == 0:
        return 0.0, 1.0
    p, d = right / n, 1 + z * z / n
    middle = p + z * z / (2 * n)
    half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return (middle - half) / d, (middle + half) / d


def slope(pairs: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """(slope, observed over expected) of outcomes against claimed probabilities: logistic regression on the log-odds by
    Newton's method (D. R. Cox, Biometrika 45, 1958, from memory); a perfect forecaster has 1 and 1. NaN where undefined."""
    outcomes = {y for _, y in pairs}
    if len(pairs) < 10 or len(outcomes) < 2:
        return math.nan, math.nan
    logit = np.array([math.log(q / (1 - q)) for q in (min(max(p, 1e-4), 1 - 1e-4) for p, _ in pairs)])
    x, y = np.stack([np.ones(len(pairs)), logit]), np.array([y for _, y in pairs])
    beta = np.array([0.0, 1.0])
    for _ in range(50):
        mean = 1 / (1 + np.exp(-beta @ x))
        step = np.linalg.solve((x * (mean * (1 - mean))) @ x.T + 1e-9 * np.eye(2), x @ (y - mean))
        beta = beta + np.clip(step, -2, 2)
    return float(beta[1]), float(y.sum() / sum(p for p, _ in pairs))


def score(scored: Sequence[Scored]) -> dict[str, Any]:
    """The figures of a scored set, together and at each level."""
    return {
        "n": len(scored),
        **_part("right", [s.right for s in scored]),
        "levels": {
            "root": level_figures([(s.records, s.root) for s in scored if s.root]),
            "mechanism": level_figures([(s.records, s.mechanism) for s in scored if s.mechanism]),
        },
        "misses": [
            {"case": s.path, "leading": s.told.leading, "standing": s.told.standing, "kind": s.kind_of_miss,
             "probability": round(s.told.probability, 4), "expected": list(s.told.expected),
             "among_three": s.told.among_three}
            for s in scored if not s.right
        ],
        "established_wrong_cases": [
            {"case": s.path, "causes": [n for x in (s.root, s.mechanism) if x for n in x.wrong]}
            for s in scored if any(x and x.wrong for x in (s.root, s.mechanism))
        ],
        "not_ruled_out": [{"case": s.path, "causes": list(s.ruled_out_missed)} for s in scored if s.ruled_out_missed],
    }  # fmt: skip


def level_figures(told: Sequence[tuple[int, Level]]) -> dict[str, Any]:
    """Shares right with their intervals, calibration of the leading one, log loss of what is expected."""
    levels = [x for _, x in told]
    pairs = [(x.probability, float(x.right)) for x in levels if x.expected != NONE]
    claims = [x for x in levels if x.probability >= CLAIM and x.expected != NONE]
    steep, ratio = slope(pairs)
    n = len(levels)
    return {
        "n": n,
        **_part("right", [x.right for x in levels]), **_part("leads", [x.leads for x in levels]),
        **_part("among_three", [x.among_three for x in levels]),
        "detailed": {"n": sum(r >= 3 for r, _ in told), **_part("right", [x.right for r, x in told if r >= 3])},
        "established": sum(x.established for x in levels), "established_wrong": sum(bool(x.wrong) for x in levels),
        "log_loss": -sum(math.log(max(x.of_expected, 0.01)) for x in levels) / n if n else 0.0,
        "slope": steep, "observed_to_expected": ratio,
        "claims": {"n": len(claims), **_part("right", [x.right for x in claims])},
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
    rows = read_rows(path, base, problems)
    return by_table(rows), problems.errors()


def score_all(
    paths: Sequence[Path], base: RuleBase, done: Callable[[], None] = lambda: None
) -> tuple[list[Scored], int, list[Problem]]:
    """The cases that say what to expect, how many say nothing of it, and what is wrong with files. `done` is called
    after each file."""
    scored: list[Scored] = []
    silent, problems = 0, []
    for path in paths:
        cases, wrong = read_all([path], base)
        problems += wrong
        for case in cases:
            one = score_case(case, base)
            if one:
                scored.append(one)
            else:
                silent += 1
        done()
    return scored, silent, problems

"""Rule tests: records in, what must follow and what must not.

A test file NAME.test.yaml lies beside the rule it tests and holds a list of tests. `given` is a fragment of a case
file, or a list of short records; both go through the reader of cases. Further expectations are told in DEVELOPERS.md.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from diagnose.authoring.matching import explain_miss
from diagnose.casefile.format import STATES, TRAITS
from diagnose.casefile.model import Case
from diagnose.casefile.reader import case_of
from diagnose.inference.run import Deduced, Inference, RuleBase, deduce
from diagnose.judgement.judge import (
    STANDINGS,
    Judged,
    Judgement,
    allowed_at,
    count_lines,
    decibans,
    judge,
    priors_at,
)
from diagnose.judgement.network import Network
from diagnose.knowledge.model import NOWHERE, Card, Knowledge
from diagnose.knowledge.reader import file_stem
from diagnose.quantities.compute import compute
from diagnose.quantities.model import Quantity, quantity_id
from diagnose.reading.figures import percent
from diagnose.reading.located import Node, only_keys, read_bytes, read_text
from diagnose.reading.problems import Problems, Where
from diagnose.reading.terms import did_you_mean
from diagnose.reading.units import BadUnit, amount, unit

FINDINGS = ("finds", "finds absent", "does not find", "leaves open")
KEYS = ["test", "given", "given each", "at", *FINDINGS, "leads", "ranks", "standing", "odds", "rules out", "does not rule out",
        "cautions", "no cautions"]  # fmt: skip
SHORT = [*STATES, "measured", "item", "setting", "not setting", "quantity", "found", "found absent"]
ODDS_STEP = 0.05
"""Odds in a test are written in dB with one decimal; they agree when they round to the same."""
MANY = 100
"""From so many tests on, all rules are made ready at once."""
KINDS = {"findings": "finding", "causes": "cause", "cautions": "caution"}


@dataclass(frozen=True)
class RuleTest:
    """One test. `told` are findings taken as given; `at` is the position that the expectations speak of."""

    name: str
    rule: str
    kind: str
    case: Case
    quantities: tuple[Quantity, ...] = ()
    told: Mapping[str, str] = field(default_factory=dict)
    at: str = ""
    findings: tuple[tuple[str, str], ...] = ()
    leads: str = ""
    ranks: tuple[str, ...] = ()
    standing: tuple[tuple[str, str], ...] = ()
    odds: tuple[tuple[str, float, Where], ...] = ()
    rules_out: tuple[tuple[str, bool], ...] = ()
    cautions: tuple[tuple[str, bool], ...] = ()
    where: Where = NOWHERE

    @property
    def judged(self) -> bool:
        """Whether the posterior is needed; odds are a sum of weights."""
        return bool(self.leads or self.ranks or self.standing)


@dataclass(frozen=True)
class Failure:
    """What a test expected, what was found, and why: the premises that stood in the way."""

    expected: str
    found: str
    because: tuple[str, ...] = ()


@dataclass(frozen=True)
class Outcome:
    test: RuleTest
    inference: Inference
    judgements: tuple[Judgement, ...]
    failures: tuple[Failure, ...]


# ---- reading ----------------------------------------------------------------------------------------------


def read_tests(
    folder: Path, base: RuleBase, problems: Problems, only: Iterable[tuple[str, Card]] | None = None
) -> list[RuleTest]:
    """Every rule test of a rule base folder in file order, or those of some (kind, card). Tests of rules that are not
    in the base are left out."""
    stems = None if only is None else {(kind, file_stem(card.name)) for kind, card in only}
    tests = []
    for section, kind in KINDS.items():
        cards: Mapping[str, Card] = getattr(base.knowledge, section)
        names = {file_stem(name): name for name in cards}
        for path in sorted((folder / section).glob("*.test.yaml")):
            stem = path.name.removesuffix(".test.yaml")
            place = f"{base.knowledge.folder}/{section}/{path.name}"
            if stems is not None and (kind, stem) not in stems:
                continue
            if stem in names:
                tests += read_file(path, place, kind, names[stem], base.knowledge, problems)
            elif not path.with_name(f"{stem}.yaml").is_file():
                problems.add(Where(place), "test-without-rule", f"there is no {kind} in {stem}.yaml",
                             did_you_mean(stem, names) or "name the file after its rule")  # fmt: skip
    return tests


def read_file(path: Path, shown: str, kind: str, rule: str, knowledge: Knowledge, problems: Problems) -> list[RuleTest]:
    data = read_bytes(path, shown, problems)
    return parse_tests(data, shown, kind, rule, knowledge, problems) if data is not None else []


def parse_tests(
    data: bytes, shown: str, kind: str, rule: str, knowledge: Knowledge, problems: Problems
) -> list[RuleTest]:
    node = read_text(data, shown, problems)
    if node is None:
        return []
    if not node.is_list:
        problems.add(node.where, "list", "a test file is a list of tests", "start each test with - test: A SENTENCE")
        return []
    reader = _Reader(knowledge, problems)
    tests = [test for item in node.each() for test in reader.read(item, kind, rule)]
    names: dict[str, Where] = {}
    for test in tests:
        if test.name in names:
            says = f"this test has the name of the one in line {names[test.name].line}"
            problems.add(test.where, "twice", says, "say what sets them apart")
        names[test.name] = test.where
    return tests


class _Reader:
    def __init__(self, knowledge: Knowledge, problems: Problems):
        self.knowledge, self.words, self.problems = knowledge, knowledge.vocabulary, problems

    def say(self, node: Node, code: str, says: str, way_out: str = "") -> None:
        self.problems.add(node.where, code, says, way_out)

    def known(self, node: Node | None, table: Iterable[str], what: str) -> tuple[str, ...]:
        names = set(table)
        for item in node.each() if node else []:
            if item.text() not in names:
                self.say(item, f"unknown-{what.replace(' ', '-')}", f"there is no {what} {item.text()!r}",
                         did_you_mean(item.text(), names))  # fmt: skip
        return tuple(i.text() for i in (node.each() if node else []) if i.text() in names)

    def read(self, node: Node, kind: str, rule: str) -> list[RuleTest]:
        """The test, or one for each fragment under `given each`."""
        if not node.is_map:
            self.say(node, "mapping", "a test is a mapping of keys", f"keys: {', '.join(KEYS)}")
            return []
        only_keys(node, KEYS, "a test", self.problems)
        named = node.get("test")
        name = named.text() if named else ""
        if not name:
            self.say(node, "missing-key", "the key 'test' is missing", "test: A SENTENCE that says what must follow")
        given, each = node.get("given"), node.get("given each")
        if (given is None) == (each is None):
            self.say(node, "missing-key", "a test has given or given each", "given: a list of records, or [] for none")
            return []
        if given is not None:
            return [self.test(node, given, name, kind, rule)]
        assert each is not None
        return [self.test(node, item, f"{name} ({i})", kind, rule) for i, item in enumerate(each.each(), 1)]

    def test(self, node: Node, given: Node, name: str, kind: str, rule: str) -> RuleTest:
        case, quantities, told = self.given(given, name)
        k = self.knowledge
        at = node.get("at")
        if at is not None and at.text() not in case.positions:
            self.say(at, "position", f"{at.text()!r} is no position of this test's seal",
                     f"allowed: {', '.join(case.positions)}")  # fmt: skip
        findings = tuple((key, f) for key in FINDINGS for f in self.known(node.get(key), k.findings, "finding"))
        test = RuleTest(
            name, rule, kind, case, quantities, told, at.text() if at else "", findings,
            next(iter(self.known(node.get("leads"), k.causes, "cause")), ""),
            self.known(node.get("ranks"), k.causes, "cause"),
            tuple(self.pairs(node, "standing", self.standing)), tuple((c, db, where) for c, (db, where) in self.pairs(node, "odds", self.decibans)),
            self.either(node, "rules out", "does not rule out", k.causes, "cause"),
            self.either(node, "cautions", "no cautions", k.cautions, "caution"), node.where,
        )  # fmt: skip
        if not any(node.get(key) for key in KEYS[4:]):
            self.say(node, "expects-nothing", "this test expects nothing", f"one of: {', '.join(KEYS[4:])}")
        return test

    def either(
        self, node: Node, yes: str, no: str, table: Iterable[str], what: str
    ) -> tuple[tuple[str, bool], ...]:  # fmt: skip
        return tuple((n, key == yes) for key in (yes, no) for n in self.known(node.get(key), table, what))

    def pairs(self, node: Node, key: str, read: Any) -> Iterable[tuple[str, Any]]:
        value = node.get(key)
        if value is not None and not value.is_map:
            self.say(value, "mapping", f"{key!r} is a mapping {{CAUSE: …}}")
        for cause, item in value.items() if value else ():
            if cause not in self.knowledge.causes:
                self.say(item, "unknown-cause", f"there is no cause {cause!r}",
                         did_you_mean(cause, self.knowledge.causes))  # fmt: skip
                continue
            made = read(item)
            if made is not None:
                yield cause, made

    def standing(self, node: Node) -> str | None:
        word = node.text()
        bare = word.removeprefix("at most ").removeprefix("at least ")
        if bare not in STANDINGS:
            self.say(node, "unknown-word", f"{bare!r} is no standing",
                     did_you_mean(bare, STANDINGS) or f"allowed: {', '.join(STANDINGS)}")  # fmt: skip
            return None
        return word

    def decibans(self, node: Node) -> tuple[float, Where] | None:
        try:
            return float(node.text().removesuffix("dB")), node.where
        except ValueError:
            self.say(node, "number", f"{node.text()!r} is no weight in decibans", "write it like -3.2 dB")
            return None

    # ---- what is given ----------------------------------------------------------------------------------

    def given(self, node: Node, name: str) -> tuple[Case, tuple[Quantity, ...], dict[str, str]]:
        told: dict[str, str] = {}
        stated: list[Node] = []
        whole = node.is_map and not any(key in SHORT for key, _ in node.items())
        table = dict(node.items()) if whole else self.short(node, told, stated)
        case = case_of(Node({"case": Node(name, node.where), **table}, node.where), node.where.file, "",
                       self.knowledge, self.problems)  # fmt: skip
        quantities = tuple(q for q in (self.quantity(n, case) for n in stated) if q)
        for key in told:
            place = key.partition("@")[2]
            if place and place not in case.positions:
                self.say(node, "position", f"{place!r} is no position of this test's seal",
                         f"allowed: {', '.join(case.positions)}")  # fmt: skip
        return case, (*compute(case, self.knowledge), *quantities), told

    def short(self, node: Node, told: dict[str, str], stated: list[Node]) -> dict[str, Node]:
        lists: dict[str, list[Node]] = {"parts": [], "observations": [], "measurements": []}
        sections: dict[str, dict[str, Any]] = {}
        for item in node.each():
            keys = [key for key, _ in item.items() if key in SHORT]
            if len(keys) != 1:
                words = [key for key, _ in item.items()]
                near = next((did_you_mean(k, SHORT) for k in words if did_you_mean(k, SHORT)), "")
                self.say(item, "record", "a record says one thing", near or f"one of: {', '.join(SHORT)}")
                continue
            key = keys[0]
            if key == "quantity":
                stated.append(item)
            elif key in ("found", "found absent"):
                only_keys(item, [key, "position"], "a finding taken as given", self.problems)
                place = item.get("position")
                for found in self.known(item.get(key), self.knowledge.findings, "finding"):
                    told[f"{found}@{place.text()}" if place else found] = "present" if key == "found" else "absent"
            elif key in ("setting", "not setting"):
                self.setting(item, key, sections)
            else:
                lists["parts" if key == "item" else "measurements" if key == "measured" else "observations"].append(
                    item
                )
        table = {name: Node(items, node.where) for name, items in lists.items() if items}
        return table | {name: _section(keys, node.where) for name, keys in sections.items()}

    def setting(self, item: Node, key: str, sections: dict[str, dict[str, Any]]) -> None:
        only_keys(item, [key, "position"], "a setting", self.problems)
        value = item.get(key)
        place = item.get("position")
        for name, term in value.items() if value else ():
            known = self.words.find("setting", name)
            if known is None:
                self.say(term, "unknown-setting", f"{name!r} is no setting of the vocabulary",
                         did_you_mean(name, self.words.settings))  # fmt: skip
                continue
            setting = self.words.settings[known]
            bare = "is" if TRAITS.get(setting.section) == known else known
            written = bare if key == "setting" else "is not" if bare == "is" else f"not {bare}"
            section = sections.setdefault(setting.section, {})
            if place is not None:
                section = section.setdefault(place.text(), {})
            section.setdefault(written, []).extend(term.each())

    def quantity(self, node: Node, case: Case) -> Quantity | None:
        """A quantity as a test states it, as if its formula had given that value."""
        only_keys(node, ["quantity", "value", "word", "on", "part", "group", "face", "position"], "a quantity",
                  self.problems)  # fmt: skip
        named, value, word = node.get("quantity"), node.get("value"), node.get("word")
        assert named is not None
        term = self.words.quantities.get(self.words.find("quantity", named.text()) or "")
        if term is None:
            self.say(named, "unknown-quantity", f"{named.text()!r} is no quantity of the vocabulary",
                     did_you_mean(named.text(), self.words.quantities))  # fmt: skip
            return None
        if (value is None) == (word is None):
            self.say(node, "missing-key", "a quantity needs a value or a word", "value: 1 " + term.unit)
            return None
        on = node.get("on")
        kind = self.words.find("kind", on.text()) if on else next(iter(term.on), "")
        if kind is None:
            assert on is not None
            self.say(on, "unknown-kind", f"{on.text()!r} is no kind of part of the vocabulary",
                     did_you_mean(on.text(), self.words.kinds))  # fmt: skip
            return None
        part, group, face, position = (
            x.text() if (x := node.get(key)) else "" for key in ("part", "group", "face", "position")
        )
        position = position or self._usual_position(kind, case)
        number, spread = 0.0, 0.0
        if value is not None:
            try:
                read = amount(value.text())
                if read.kind != unit(term.unit).kind:
                    raise BadUnit(f"{value.text()!r} is in the wrong kind of unit for {term.name!r}")
                number, spread = read.value, read.spread
            except BadUnit as error:
                self.say(value, "unit", str(error), f"write it in {term.unit}")
                return None
        written = (value or word or node).text()
        id = quantity_id("stated", term.name, part, kind, group, face, position, written)
        return Quantity(
            id, term.name, position, part, kind, group, face, number - spread, number + spread,
            number if value is not None else None, word.text() if word else "", term.unit, "stated by the test",
            ((term.name, written, ""),), "",
        )  # fmt: skip

    def _usual_position(self, kind: str, case: Case) -> str:
        if kind and self.words.kinds[kind].place == "machine":
            return "machine"
        return case.positions[0] if len(case.positions) == 1 else ""


def _section(keys: Mapping[str, Any], where: Where) -> Node:
    """A section of a case from collected terms; one term stands alone, several as a list."""
    made: dict[str, Node] = {}
    for key, value in keys.items():
        if isinstance(value, dict):
            made[key] = _section(value, where)
        else:
            made[key] = value[0] if len(value) == 1 else Node(value, value[0].where)
    return Node(made, where)


# ---- running ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Workshop:
    """A rule base ready for testing: compiled once, its network built once."""

    base: RuleBase

    @cached_property
    def net(self) -> Network:
        from diagnose.judgement.network import build

        return build(self.base.knowledge)

    def run(self, test: RuleTest) -> Outcome:
        inference = deduce(test.case, self.base, test.quantities, test.told)
        judgements = judge(inference, self.net) if test.judged else ()
        return Outcome(test, inference, judgements, tuple(failures(test, inference, judgements, self.net)))


def failures(
    test: RuleTest, inference: Inference, judgements: tuple[Judgement, ...], net: Network
) -> Iterable[Failure]:  # fmt: skip
    places = (test.at,) if test.at else inference.case.positions
    for cause, wanted, _ in test.odds:
        yield from _odds(cause, wanted, best_odds(inference, net, cause, places))
    for key, finding in test.findings:
        yield from _finding(key, finding, inference, places)
    if judgements:
        yield from _standings(test, [x for x in judgements if x.position in places])
    for cause, wanted in test.rules_out:
        out = [p for p in places if cause in inference.ruled_out[p]]
        if bool(out) != wanted:
            yield Failure(f"{cause}: {'' if wanted else 'not '}ruled out", "ruled out" if out else "not ruled out")
    for caution, wanted in test.cautions:
        raised = caution in inference.cautions or inference.base.knowledge.cautions[caution].always
        if raised != wanted:
            yield Failure(f"caution {caution!r}{'' if wanted else ' not raised'}", "raised" if raised else "not raised")


def _finding(key: str, finding: str, inference: Inference, places: tuple[str, ...]) -> Iterable[Failure]:
    states = {p: found.state if (found := _at(inference, p, finding)) else "open" for p in places}
    kept = {
        "finds": "present" in states.values(),
        "finds absent": "absent" in states.values(),
        "does not find": "present" not in states.values(),
        "leaves open": set(states.values()) == {"open"},
    }[key]
    if not kept:
        wanted = {"finds": "present", "finds absent": "absent", "does not find": "not present", "leaves open": "open"}
        told = ", ".join(s if len(places) == 1 else f"{s} ({p})" for p, s in states.items())
        state = "absent" if key == "finds absent" else "present"
        yield Failure(f"{finding}: {wanted[key]}", told, tuple(explain_miss(inference, finding, state, places[0])))


def _at(inference: Inference, position: str, finding: str) -> Deduced | None:
    return inference.findings[position].get(finding)


def ranked(judgements: Iterable[Judgement]) -> list[Judged]:
    """Causes of all positions, best first."""
    every = [j for x in judgements for j in x.causes]
    return sorted(
        every, key=lambda j: (j.standing == "ruled out", -round(j.probability, 12), -round(j.alone, 9), j.cause)
    )


def _standings(test: RuleTest, judgements: list[Judgement]) -> Iterable[Failure]:
    order = ranked(judgements)
    best: dict[str, Judged] = {}
    for j in order:
        best.setdefault(j.cause, j)
    head = tuple(
        f"{i}. {j.cause}: {j.standing}, {percent(j.probability)}, {j.alone:+.1f} dB" for i, j in enumerate(order[:3], 1)
    )
    if test.leads and order[0].cause != test.leads:
        yield Failure(f"{test.leads} leads", f"{order[0].cause} leads", head)
    names = list(best)
    places = [names.index(c) for c in test.ranks]
    if places != sorted(places):
        found = sorted(test.ranks, key=names.index)
        yield Failure(f"in this order: {', '.join(test.ranks)}", ", ".join(found), head)
    for cause, word in test.standing:
        if not _stands(best[cause].standing, word):
            because = best[cause].because or head
            yield Failure(f"{cause}: {word}", f"{best[cause].standing} ({percent(best[cause].probability, 1)})", because)


@dataclass(frozen=True)
class Odds:
    """The ledger of one cause alone, in dB: prior, and the weight and state of each finding that counts."""

    prior: float
    weights: tuple[tuple[str, str, float], ...]

    @property
    def alone(self) -> float:
        return self.prior + sum(w for _, _, w in self.weights)


def odds(inference: Inference, net: Network, cause: str, position: str) -> Odds:
    """As the judgement counts them, without the sum over sets of causes."""
    knowledge, column = inference.base.knowledge, net.column[cause]
    states = {name: d.state == "present" for name, d in inference.findings[position].items()}
    through = count_lines(net, knowledge, states, allowed_at(inference, net, position))
    prior = float(priors_at(inference, net, position)[column])
    counted = []
    for f in (f for f in sorted(states) if through[f] == f):
        table = net.if_present if states[f] else net.if_absent
        counted.append((f, "present" if states[f] else "absent", float(table[net.row[f], column])))
    return Odds(decibans(prior / (1 - prior)), tuple(x for x in counted if abs(x[2]) > 1e-9))


def best_odds(inference: Inference, net: Network, cause: str, places: Iterable[str]) -> Odds:
    return max((odds(inference, net, cause, p) for p in places), key=lambda o: o.alone)


def accept_odds(outcomes: Iterable[Outcome], net: Network, folder: Path, shown: str) -> list[str]:
    """Writes the odds found into the test files where they differ, for a person to look at in the diff; the names of
    the files changed. Odds that one line gives for several fragments are left where the fragments disagree."""
    found: dict[Where, set[str]] = {}
    for o in outcomes:
        places = (o.test.at,) if o.test.at else o.inference.case.positions
        for cause, _, where in o.test.odds:
            found.setdefault(where, set()).add(f"{best_odds(o.inference, net, cause, places).alone:+.1f} dB")
    changed = []
    for file in sorted({w.file for w in found}):
        path = folder / Path(file).relative_to(shown)
        old = path.read_text("utf-8").splitlines(keepends=True)
        lines = list(old)
        for where in sorted((w for w in found if w.file == file and len(found[w]) == 1), reverse=True):
            text = lines[where.line - 1]
            rest = re.sub(r"^[^,}\n]*", next(iter(found[where])), text[where.column - 1 :], count=1)
            lines[where.line - 1] = text[: where.column - 1] + rest
        if lines != old:
            path.write_text("".join(lines), "utf-8")
            changed.append(str(path))
    return changed


def _odds(cause: str, wanted: float, found: Odds) -> Iterable[Failure]:
    if abs(found.alone - wanted) > ODDS_STEP + 1e-6:
        counted = (
            f"{w:+.1f} dB {f} ({state})" for f, state, w in sorted(found.weights, key=lambda x: (-abs(x[2]), x[0]))
        )
        prior = f"{found.prior:+.1f} dB before anything is seen"
        yield Failure(f"{cause}: odds {wanted:+.1f} dB", f"{found.alone:+.1f} dB", (prior, *counted))


def _stands(standing: str, wanted: str) -> bool:
    rank = STANDINGS.index(standing)
    if wanted.startswith("at most "):
        return rank >= STANDINGS.index(wanted.removeprefix("at most "))
    if wanted.startswith("at least "):
        return rank <= STANDINGS.index(wanted.removeprefix("at least "))
    return standing == wanted


def run_tests(workshop: Workshop, tests: Sequence[RuleTest]) -> list[Outcome]:
    if len(tests) > MANY:
        workshop.base.reasoner.build()
    return [workshop.run(test) for test in tests]


def document(outcomes: Iterable[Outcome]) -> dict[str, Any]:
    """The result of a test run as plain data."""
    rows = list(outcomes)
    failed = [o for o in rows if o.failures]
    return {
        "tests": len(rows),
        "failed": len(failed),
        "rules": len({(o.test.kind, o.test.rule) for o in rows}),
        "failures": [
            {"test": o.test.name, "rule": o.test.rule, "kind": o.test.kind, "where": str(o.test.where),
             "failures": [{"expected": f.expected, "found": f.found, "because": list(f.because)} for f in o.failures]}
            for o in failed
        ],
    }  # fmt: skip


def junit(outcomes: Iterable[Outcome]) -> str:
    """The result as JUnit XML: one suite a rule, one case a test."""
    from xml.etree import ElementTree as xml

    suites: dict[tuple[str, str], list[Outcome]] = {}
    for o in outcomes:
        suites.setdefault((o.test.kind, o.test.rule), []).append(o)
    root = xml.Element("testsuites")
    for (kind, rule), rows in suites.items():
        failed = sum(bool(o.failures) for o in rows)
        suite = xml.SubElement(root, "testsuite", name=f"{kind}: {rule}", tests=str(len(rows)), failures=str(failed))
        for o in rows:
            where = o.test.where
            case = xml.SubElement(
                suite, "testcase", classname=rule, name=o.test.name, file=where.file, line=str(where.line)
            )
            for f in o.failures:
                told = xml.SubElement(case, "failure", message=f"expected {f.expected}, found {f.found}")
                told.text = "\n".join(f.because)
    xml.indent(root)
    return xml.tostring(root, encoding="unicode") + "\n"

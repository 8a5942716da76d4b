"""Rule tests: records in, what must follow and what must not.

A test file NAME.test.yaml lies beside the rule it tests and holds a list of tests. `given` is a fragment of a case
file, or a list of short records; both go through the reader of cases. Further expectations are told in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from diagnose.casefile.format import STATES, TRAITS
from diagnose.casefile.model import Case
from diagnose.casefile.reader import case_of
from diagnose.judgement.judge import STANDINGS
from diagnose.knowledge.files import file_stem
from diagnose.knowledge.model import NOWHERE, Card, Knowledge
from diagnose.quantities.compute import compute
from diagnose.quantities.model import Quantity, quantity_id
from diagnose.reading.located import Node, only_keys, read_bytes, read_text
from diagnose.reading.problems import Problems, Where
from diagnose.reading.terms import did_you_mean
from diagnose.reading.units import BadUnit, amount, unit

FINDINGS = ("finds", "finds absent", "does not find", "leaves open")
KEYS = ["test", "given", "given each", "at", *FINDINGS, "leads", "ranks", "standing", "speaks for", "common", "rules out", "does not rule out",
        "cautions", "no cautions"]  # fmt: skip
SHORT = [*STATES, "measured", "item", "setting", "not setting", "state", "not state", "act", "not act",
         "quantity", "found", "found absent"]  # fmt: skip
EITHER = "cause or mechanism"
KINDS = {"findings": "finding", "mechanisms": "mechanism", "causes": "cause", "cautions": "caution"}


@dataclass(frozen=True)
class RuleTest:
    """One test. `told` are findings taken as given; `at` is the position that the expectations speak of.

    `leads`, `ranks`, `standing`, `speaks_for` (what the record is worth for it, in dB) and `rules_out` name causes or
    mechanisms; `common` causes, with the word for how common each is in the settings given.
    """

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
    speaks_for: tuple[tuple[str, float, Where], ...] = ()
    common: tuple[tuple[str, str], ...] = ()
    rules_out: tuple[tuple[str, bool], ...] = ()
    cautions: tuple[tuple[str, bool], ...] = ()
    where: Where = NOWHERE

    @property
    def judged(self) -> bool:
        """Whether the posterior is needed."""
        return bool(self.leads or self.ranks or self.standing)


def read_tests(
    folder: Path,
    knowledge: Knowledge,
    problems: Problems,
    only: Iterable[tuple[str, Card]] | None = None,
    shown: str = "",
) -> list[RuleTest]:
    """Every rule test of a rule base folder in file order, or those of some (kind, card). Tests of rules that are not
    in the base are left out."""
    stems = None if only is None else {(kind, file_stem(card.name)) for kind, card in only}
    tests = []
    for section, kind in KINDS.items():
        cards: Mapping[str, Card] = getattr(knowledge, section)
        names = {file_stem(name): name for name in cards}
        for path in sorted((folder / section).glob("*.test.yaml")):
            stem = path.name.removesuffix(".test.yaml")
            place = f"{shown or knowledge.folder}/{section}/{path.name}"
            if stems is not None and (kind, stem) not in stems:
                continue
            if stem in names:
                tests += read_file(path, place, kind, names[stem], knowledge, problems)
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
            next(iter(self.known(node.get("leads"), self.both, EITHER)), ""), self.ranks(node),
            tuple(self.pairs(node, "standing", self.both, EITHER, self.standing)),
            tuple((n, *read) for n, read in self.pairs(node, "speaks for", self.both, EITHER, self.decibans)),
            tuple(self.pairs(node, "common", k.causes, "cause", self.common)),
            self.either(node, "rules out", "does not rule out", self.both, EITHER),
            self.either(node, "cautions", "no cautions", k.cautions, "caution"), node.where,
        )  # fmt: skip
        if not any(node.get(key) for key in KEYS[4:]):
            self.say(node, "expects-nothing", "this test expects nothing", f"one of: {', '.join(KEYS[4:])}")
        return test

    def either(
        self, node: Node, yes: str, no: str, table: Iterable[str], what: str
    ) -> tuple[tuple[str, bool], ...]:  # fmt: skip
        return tuple((n, key == yes) for key in (yes, no) for n in self.known(node.get(key), table, what))

    @cached_property
    def both(self) -> tuple[str, ...]:
        """The names of causes and mechanisms."""
        return (*self.knowledge.causes, *self.knowledge.mechanisms)

    def ranks(self, node: Node) -> tuple[str, ...]:
        """Names of one level, best first."""
        names = self.known(node.get("ranks"), self.both, EITHER)
        if len({name in self.knowledge.causes for name in names}) > 1:
            self.say(node.get("ranks") or node, "levels-mixed", "causes and mechanisms have an order of their own each",
                     "one test for the causes, one for the mechanisms")  # fmt: skip
        return names

    def pairs(
        self, node: Node, key: str, table: Collection[str], what: str, read: Callable[[Node], Any]
    ) -> Iterable[tuple[str, Any]]:
        value = node.get(key)
        if value is not None and not value.is_map:
            self.say(value, "mapping", f"{key!r} is a mapping {{NAME: …}}")
        for name, item in value.items() if value is not None and value.is_map else ():
            if name not in table:
                self.say(
                    item, f"unknown-{what.replace(' ', '-')}", f"there is no {what} {name!r}", did_you_mean(name, table)
                )
                continue
            made = read(item)
            if made is not None:
                yield name, made

    def common(self, node: Node) -> str | None:
        words = self.knowledge.words.common
        if node.text() not in words:
            self.say(node, "unknown-word", f"{node.text()!r} is no word for how common",
                     did_you_mean(node.text(), words) or f"allowed: {', '.join(words)}")  # fmt: skip
            return None
        return node.text()

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
        lists: dict[str, list[Node]] = {"parts": [], "observations": [], "measurements": [], "states": [], "acts": []}
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
            elif key.endswith(("state", "act")):
                lists[key.removeprefix("not ") + "s"].append(self.statement(item, key))
            else:
                lists["parts" if key == "item" else "measurements" if key == "measured" else "observations"].append(
                    item
                )
        table = {name: Node(items, node.where) for name, items in lists.items() if items}
        return table | {name: _section(keys, node.where) for name, keys in sections.items()}

    def statement(self, item: Node, key: str) -> Node:
        """A state or an act as a case file has it."""
        only_keys(item, [key, "position"], "a state or an act", self.problems)
        said = dict((item.get(key) or Node({}, item.where)).items())
        if key.startswith("not "):
            said["not"] = Node("true", item.where)
        return Node(said | {k: v for k, v in item.items() if k == "position"}, item.where)

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

"""Reads a rule base folder into one immutable Knowledge, or raises BadInput with every mistake in it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from diagnose.knowledge import model as m
from diagnose.knowledge.arrangements import read_arrangements
from diagnose.knowledge.conditions import ConditionReader, known_by, negate, walk
from diagnose.knowledge.explained import ExplainedReader
from diagnose.knowledge.files import digest_of, file_stem, files_of
from diagnose.knowledge.hazards import read_hazards
from diagnose.knowledge.looks import read_looks
from diagnose.knowledge.tables import read_tables
from diagnose.knowledge.vocabulary_reader import VocabularyReader
from diagnose.knowledge.words_reader import WordsReader
from diagnose.reading.files import shown_name
from diagnose.reading.located import Node, only_keys, read_bytes, read_text, text_under
from diagnose.reading.problems import Problem, Problems, Where
from diagnose.reading.terms import did_you_mean
from diagnose.reading.units import BadUnit, amount, unit

STATUSES = ("draft", "trial", "accepted", "retired")
SOURCE_KINDS = (
    "standard", "handbook", "paper", "public report", "training literature", "trade article", "common practice",
    "memory", "arithmetic",
)  # fmt: skip
_FORMS = {
    "id": (r"[A-Z]+\d+", "a letter for the kind and a number, like F012"),
    "since": (r"\d+(\.\d+)*", "the version of the rule base, like 1.0"),
    "reviewed": (r"\d{4}-(0[1-9]|1[0-2])", "year and month, like 2026-11"),
}
"""How these keys of a card are written, and an example."""
_RESTS_ON = {
    "words.yaml": ("unknown-word", "row-says-nothing", "link-says-nothing"),
    "sources.yaml": ("unknown-source", "no-source"),
    "questions.yaml": ("unknown-question",),
    "vocabulary/": (
        *(f"unknown-{what}" for what in ("feature", "kind", "reading", "quantity", "setting", "form", "point", "act", "variable")),
        "unknown-qualifier", "unknown-substance", "quantity-test", "unknown-stage", "unknown-degree", "unknown-side",
    ),
}  # fmt: skip
"""What is wrong elsewhere only since a file cannot be read; a folder of cards makes their names unknown."""
Age = tuple[bool, tuple[int, ...], str]
_CARD = ["id", "status", "since", "reviewed", "sources", "replaced by"]


def read_knowledge(folder: Path, drafts: bool = False) -> m.Knowledge:
    """Reads and checks a rule base. Raises BadInput. Drafts are left out unless `drafts`; retired items always."""
    problems = Problems()
    folder = Path(folder)
    if not folder.is_dir():
        problems.add(Where(str(folder)), "knowledge-missing", "there is no such rule base folder", "--knowledge DIR")
        problems.raise_errors()
    shown = folder.name
    contents: dict[str, bytes] = {}
    for path in files_of(folder):
        name = shown_name(path.relative_to(folder))
        data = read_bytes(path, f"{shown}/{name}", problems)
        if data is not None:
            contents[name] = data
    knowledge = build_knowledge(contents, shown, problems, drafts)
    problems.raise_errors()
    assert knowledge is not None
    return knowledge


def build_knowledge(
    contents: Mapping[str, bytes], shown: str, problems: Problems, drafts: bool = False
) -> m.Knowledge | None:
    """The rule base from file contents by relative name; problems are added, None where nothing can be built."""
    nodes: dict[str, Node] = {}
    for name in sorted(contents):
        node = read_text(contents[name], f"{shown}/{name}", problems)
        if node is not None and not node.is_map:
            problems.add(node.where, "mapping", "the file must be a mapping of keys", "start it with its kind and name")
        elif node is not None:
            nodes[name] = node
    told = len(problems.found)
    reader = Reader(nodes, shown, problems, drafts)
    knowledge = reader.read(digest_of(contents))
    problems.found[told:] = _not_following(problems.found[told:], contents, set(nodes), shown)
    files = {name: hashlib.sha256(contents[name]).hexdigest() for name in sorted(contents)}
    return replace(knowledge, files=files) if knowledge else None


def _not_following(found: list[Problem], contents: Iterable[str], read: set[str], shown: str) -> list[Problem]:
    """The mistakes that do not only follow from files that could not be read or are not there."""
    broken = {f"{shown}/{name}" for name in contents if name not in read}
    missing = {p.where.file for p in found if p.code == "file-missing"} - broken
    names = [file.removeprefix(f"{shown}/") for file in broken | missing]
    follow = {code for name in names for start, codes in _RESTS_ON.items() if name.startswith(start) for code in codes}
    follow |= {f"unknown-{name.partition('/')[0].removesuffix('s')}" for name in names if "/" in name}
    return [
        p for p in found
        if p.code not in follow and p.where.file not in broken and (p.where.file not in missing or p.code == "file-missing")
    ]  # fmt: skip


class Reader:
    def __init__(self, nodes: dict[str, Node], shown: str, problems: Problems, drafts: bool):
        self.nodes, self.shown, self.problems, self.drafts = nodes, shown, problems, drafts
        self.ids: dict[str, tuple[Age, Where]] = {}
        self.left_out: set[tuple[str, str]] = set()
        self.sources: dict[str, m.Source] = {}
        self.retired: dict[str, m.Retired] = {}

    # ---- small things -------------------------------------------------------------------------------------

    def say(self, where: Where, code: str, says: str, way_out: str = "") -> None:
        self.problems.add(where, code, says, way_out)

    def file(self, name: str) -> Node:
        node = self.nodes.get(name)
        if node is None:
            self.say(Where(f"{self.shown}/{name}"), "file-missing", "the rule base needs this file")
            return Node({}, Where(f"{self.shown}/{name}"))
        return node

    def section(self, name: str, key: str, allowed: Iterable[str] = ()) -> Node:
        """The mapping under `key` of a file, which may hold nothing else, or all that is `allowed`."""
        node = self.file(name)
        only_keys(node, list(allowed) or [key], "this file", self.problems)
        inner = node.get(key)
        if inner is not None and inner.value is not None and not inner.is_map:
            self.say(inner.where, "mapping", f"{key!r} must be a mapping of names")
        return inner if inner is not None and inner.is_map else Node({}, node.where)

    def text(self, node: Node, key: str, needed: bool = False) -> str:
        return text_under(node, key, self.problems, needed)

    def texts(self, node: Node, key: str) -> tuple[str, ...]:
        value = node.get(key)
        if value is None:
            return ()
        for item in value.each():
            if not isinstance(item.value, str):
                self.say(item.where, "text", f"{key!r} takes a list of texts")
        return tuple(item.text() for item in value.each() if item.text())

    def known(self, node: Node, key: str, table: Iterable[str], what: str) -> tuple[str, ...]:
        """The texts under `key`, each checked to be in `table`."""
        value = node.get(key)
        names = set(table)
        for item in value.each() if value else []:
            if item.text() not in names:
                self.say(item.where, f"unknown-{what.replace(' ', '-')}", f"there is no {what} {item.text()!r}",
                         self.successor(what, item.text()) or did_you_mean(item.text(), names))  # fmt: skip
        return tuple(i.text() for i in (value.each() if value else []) if i.text() in names)

    def successor(self, kind: str, name: str) -> str:
        """The way out for a name that is retired or a draft; empty for any other."""
        old = self.retired.get(name)
        if old and old.kind == kind and old.replaced_by:
            return f"it is retired: use {old.replaced_by}"
        return "it is a draft: give it status trial, or run with --with-drafts" if (kind, name) in self.left_out else ""

    def word(self, node: Node, key: str, table: Iterable[str], what: str, needed: bool = True) -> str:
        word = self.text(node, key, needed)
        names = list(table)
        if word and word not in names:
            value = node.get(key)
            assert value is not None
            way_out = did_you_mean(word, names) or f"allowed: {', '.join(names)}"
            self.say(value.where, "unknown-word", f"{word!r} is no {what}", way_out)
            return ""
        return word

    def number(self, node: Node, key: str) -> float:
        value = node.get(key)
        try:
            number = float(value.text()) if value else 0.0
            if number != number or abs(number) > 1e12:
                raise ValueError
            return number
        except ValueError:
            assert value is not None
            self.say(value.where, "number", f"{key!r} must be a number, not {value.text()!r}")
            return 0.0

    def cards(self, folder: str, kind: str) -> list[tuple[str, Node]]:
        """(name, node) of every item file in a folder; the file name must match the name in it."""
        result: list[tuple[str, Node]] = []
        for path in sorted(n for n in self.nodes if n.startswith(folder + "/")):
            node = self.nodes[path]
            name = self.text(node, kind, needed=True)
            if not name:
                continue
            stem = path.removeprefix(folder + "/").removesuffix(".yaml")
            if stem != file_stem(name):
                value = node.get(kind)
                assert value is not None
                self.say(
                    value.where, "file-name", f"{name!r} stands in {stem}.yaml", f"name the file {file_stem(name)}.yaml"
                )
            if any(name == other for other, _ in result):
                self.say(node.where, "twice", f"the {kind} {name!r} stands in two files", "keep one")
            status = self.text(node, "status")
            if status == "retired":
                id, successor = self.card(node, name)["id"], self.text(node, "replaced by")
                self.retired[name] = m.Retired(kind, name, id, successor, node.where)
            elif status != "draft" or self.drafts:
                result.append((name, node))
            else:
                self.left_out.add((kind, name))
        names = {name for name, _ in result}
        for old in (x for x in self.retired.values() if x.kind == kind and x.replaced_by not in names):
            self.say(old.where, "no-successor", f"{old.name!r} is retired and names no {kind} in its place",
                     did_you_mean(old.replaced_by, names) if old.replaced_by else "replaced by: NAME")  # fmt: skip
        return result

    def card(self, node: Node, name: str) -> dict[str, Any]:
        id = self.text(node, "id", needed=True)
        self.settle_id(id, node)
        for key, (form, way_out) in _FORMS.items():
            said = self.text(node, key, needed=True)
            if said and not re.fullmatch(form, said):
                self.say((node.get(key) or node).where, "form", f"{said!r} is no {key}", way_out)
        sources = self.source_keys(node)
        if not (node.get("sources") or Node(None, node.where)).each():
            self.say(
                node.where, "no-source", f"{name!r} names no source", "sources: [common-practice] where there is none"
            )
        return {
            "name": name, "id": id, "status": self.word(node, "status", STATUSES, "status"),
            "since": self.text(node, "since", needed=True), "reviewed": self.text(node, "reviewed", needed=True),
            "sources": sources, "where": node.where,
        }  # fmt: skip

    def settle_id(self, id: str, node: Node) -> None:
        """Of two cards with one id the newer one is told of, since ids are never changed."""
        place = (node.get("id") or node).where
        age = (self.text(node, "status") == "draft", _numbers(self.text(node, "since")), self.text(node, "reviewed"))
        older, first = self.ids.get(id, (age, place))
        if id and id in self.ids:
            wrong, right = (place, first) if age >= older else (first, place)
            self.say(wrong, "id-twice", f"the id {id!r} is used already at {right}", "give it a new one")
        self.ids[id] = min((older, first), (age, place))

    def source_keys(self, node: Node) -> tuple[str, ...]:
        return self.known(node, "sources", self.sources, "source")

    # ---- the files ----------------------------------------------------------------------------------------

    def read(self, digest: str) -> m.Knowledge | None:
        self.sources = self.read_sources()
        vocabulary = VocabularyReader(self).read()
        words = WordsReader(self).read()
        finding_files = self.cards("findings", "finding")
        limits = self.read_limits(vocabulary)
        conditions = ConditionReader(vocabulary, limits, {name for name, _ in finding_files}, self.problems,
                                     lambda name: self.successor("finding", name))  # fmt: skip
        findings = self.read_findings(finding_files, conditions, words)
        cautions = self.read_cautions(conditions)
        measurements = self.read_measurements(findings, limits, cautions, vocabulary)
        explained = ExplainedReader(self, conditions, words, findings, measurements, cautions)
        mechanisms, causes, questions = explained.read(_CARD)
        self.refuse_cycles(findings)
        tables = read_tables(self.nodes, self.sources, self.problems)
        return m.Knowledge(
            self.read_version(), digest, self.shown, vocabulary, words, self.sources, limits, findings,
            mechanisms, causes, questions, measurements, cautions, tables, retired=self.retired,
            arrangements=read_arrangements(self, vocabulary), looks=read_looks(self, vocabulary),
            hazards=read_hazards(self, vocabulary, cautions),
        )  # fmt: skip

    def read_version(self) -> str:
        node = self.nodes.get("version.yaml")
        if node is None:
            return "0"
        only_keys(node, ["version"], "version.yaml", self.problems)
        version = self.text(node, "version", needed=True)
        if version and not re.fullmatch(r"\d+(\.\d+)*", version):
            place = node.get("version") or node
            self.say(
                place.where, "version", f"{version!r} is no version", 'numbers with points between them, like "1.0.0"'
            )
        return version

    def read_sources(self) -> dict[str, m.Source]:
        result = {}
        for key, node in self.section("sources.yaml", "sources").items():
            only_keys(node, ["title", "year", "section", "kind", "seen"], f"the source {key!r}", self.problems)
            result[key] = m.Source(
                key, self.text(node, "title", True), self.text(node, "year"), self.text(node, "section"),
                self.word(node, "kind", SOURCE_KINDS, "kind of source"), self.text(node, "seen"), node.where,
            )  # fmt: skip
        return result

    def read_terms(self, node: Node, key: str, settings: Mapping[str, m.Setting]) -> dict[str, str]:
        """Terms of settings under a key: {SETTING: TERM}."""
        result = {}
        for setting, term in (node.get(key) or Node({}, node.where)).items():
            if setting in settings and term.text() in settings[setting].terms:
                result[setting] = term.text()
            else:
                self.say(term.where, "unknown-setting", f"there is no setting {setting!r} with the term {term.text()!r}",
                         "see vocabulary/settings.yaml")  # fmt: skip
        return result

    def check_unit(self, node: Node, spelling: str) -> None:
        try:
            unit(spelling)
        except BadUnit as error:
            self.say(node.where, "unit", str(error))

    def amount(self, node: Node, like: str) -> float:
        try:
            number = amount(node.text())
            if number.kind != unit(like).kind:
                raise BadUnit(f"{node.text()!r} is not in a unit like {like or 'a bare number'}")
            return number.value
        except BadUnit as error:
            self.say(node.where, "unit", str(error), f"write it in {like}" if like else "")
            return 0.0

    def read_limits(self, vocabulary: m.Vocabulary) -> dict[str, m.Limit]:
        result = {}
        for name, node in self.cards("limits", "limit"):
            only_keys(node, ["limit", "quantity", "at most", "at least", "means"], f"the limit {name!r}", self.problems)
            quantity = self.text(node, "quantity", True)
            if quantity not in vocabulary.quantities:
                if quantity:
                    self.say((node.get("quantity") or node).where, "unknown-quantity", f"there is no quantity {quantity!r}",
                             did_you_mean(quantity, vocabulary.quantities))  # fmt: skip
                continue
            senses = [s for s in ("at most", "at least") if node.get(s)]
            if len(senses) != 1:
                self.say(node.where, "limit-sense", "a limit has one of at most, at least")
                continue
            values = []
            listed = node.get(senses[0])
            for item in listed.each() if listed else []:
                only_keys(item, ["value", "source", "where", "note"], "a limit's value", self.problems)
                written = item.get("value")
                source = self.known(item, "source", self.sources, "source")
                if written is None or not source:
                    self.say(item.where, "no-source", "a limit's value needs value and source")
                    continue
                note = "; ".join(t for t in (self.text(item, "where"), self.text(item, "note")) if t)
                number = self.amount(written, vocabulary.quantities[quantity].unit)
                values.append(m.LimitValue(number, written.text(), source[0], note))
            if values:
                result[name] = m.Limit(
                    name, quantity, senses[0], tuple(values), self.text(node, "means"), None, node.where
                )
        return result

    def read_findings(
        self, files: list[tuple[str, Node]], conditions: ConditionReader, words: m.Words
    ) -> dict[str, m.Finding]:
        result = {}
        asked = self.texts(self.nodes["looks.yaml"], "asked") if "looks.yaml" in self.nodes else ()
        keys = ["finding", *_CARD, "reads", "otherwise", "known by", "when", "absent when", "muted"]
        for name, node in files:
            only_keys(node, keys, f"the finding {name!r}", self.problems)
            when = node.get("when")
            if when is None:
                self.say(node.where, "missing-key", "the key 'when' is missing")
            present = conditions.read(when)
            absent_node = node.get("absent when")
            if absent_node is not None and absent_node.text() == "never":
                absent = None
            elif absent_node is not None:
                absent = conditions.read(absent_node)
            else:
                absent = negate(present) if present else None
            self.check_slots(node)
            result[name] = m.Finding(
                **self.card(node, name), reads=self.text(node, "reads", True),
                otherwise=self.word(node, "otherwise", words.seen, "frequency word"),
                known_by=self.word(node, "known by", words.reading, "kind of reading", False) or known_by(present, conditions.vocabulary, asked),
                when=present, absent_when=absent,
                muted=self.text(node, "muted") == "true",
            )  # fmt: skip
        return result

    def check_slots(self, node: Node) -> None:
        for slot in re.findall(r"\{([^{}]*)\}", self.text(node, "reads")):
            if slot not in m.SLOTS:
                way_out = did_you_mean(slot, m.SLOTS) or f"allowed: {', '.join(m.SLOTS)}"
                self.say((node.get("reads") or node).where, "unknown-slot", f"'reads' has no slot {{{slot}}}", way_out)

    def read_cautions(self, conditions: ConditionReader) -> dict[str, m.Caution]:
        result = {}
        for name, node in self.cards("cautions", "caution"):
            only_keys(
                node, ["caution", *_CARD, "says", "defer", "always", "when"], f"the caution {name!r}", self.problems
            )
            always = self.text(node, "always") == "true"
            if not always and node.get("when") is None:
                self.say(node.where, "missing-key", "a caution needs when: or always: true")
            result[name] = m.Caution(
                **self.card(node, name), says=self.text(node, "says", True), defer=self.text(node, "defer", True),
                always=always, when=conditions.read(node.get("when")),
            )  # fmt: skip
        return result

    def read_measurements(
        self, findings: Mapping[str, m.Finding], limits: Mapping[str, m.Limit], cautions: Mapping[str, m.Caution],
        vocabulary: m.Vocabulary,
    ) -> dict[str, m.Measurement]:  # fmt: skip
        result = {}
        keys = ["measurement", *_CARD, "tells", "part", "how", "instrument", "at", "readings", "limit", "no limit",
                "minutes", "stage", "destroys", "spoils", "destructive", "cautions"]  # fmt: skip
        for name, node in self.cards("measurements", "measurement"):
            only_keys(node, keys, f"the measurement {name!r}", self.problems)
            if node.get("limit") is None and node.get("no limit") is None:
                self.say(
                    node.where,
                    "no-limit",
                    f"{name!r} has no acceptance limit",
                    "limit: NAME, or no limit: why there is none",
                )
            minutes = self.number(node, "minutes")
            if minutes <= 0:
                self.say((node.get("minutes") or node).where, "minutes", "minutes must be above zero")
            result[name] = m.Measurement(
                **self.card(node, name), tells=self.known(node, "tells", findings, "finding"),
                part=next(iter(self.known(node, "part", vocabulary.kinds, "kind")), ""),
                how=self.text(node, "how", True), instrument=self.text(node, "instrument"), at=self.text(node, "at"),
                readings=self.text(node, "readings"),
                limit=next(iter(self.known(node, "limit", limits, "limit")), ""), no_limit=self.text(node, "no limit"),
                minutes=minutes, stage=self.word(node, "stage", (*vocabulary.stages, "never"), "stage", False),
                destroys=self.texts(node, "destroys"),
                spoils=self.word(node, "spoils", vocabulary.stages, "stage", False),
                destructive=self.text(node, "destructive") == "true",
                cautions=self.known(node, "cautions", cautions, "caution"),
            )  # fmt: skip
        return result

    def each(self, node: Node, key: str, read: Callable[[Node], Any]) -> tuple[Any, ...]:
        value = node.get(key)
        result = []
        for item in value.each() if value else []:
            if not item.is_map:
                self.say(item.where, "mapping", f"each entry of {key!r} is a mapping")
                continue
            made = read(item)
            if made is not None:
                result.append(made)
        return tuple(result)

    def refuse_cycles(self, findings: Mapping[str, m.Finding]) -> None:
        needs = {
            name: sorted({c.term for c in [*walk(f.when), *walk(f.absent_when)] if "found" in c.form} & set(findings))
            for name, f in findings.items()
        }
        state: dict[str, int] = {}

        def visit(name: str, path: list[str]) -> None:
            state[name] = 1
            for other in needs[name]:
                if state.get(other) == 1:
                    loop = [*path[path.index(other) :], other] if other in path else [name, other]
                    self.say(
                        findings[name].where,
                        "cycle",
                        f"findings rest on each other: {' > '.join(loop)}",
                        "break the circle",
                    )
                elif other not in state:
                    visit(other, [*path, other])
            state[name] = 2

        for name in sorted(findings):
            if name not in state:
                visit(name, [name])


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(int(n) for n in re.findall(r"\d+", version))

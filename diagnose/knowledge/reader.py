"""Reads a rule base folder into one immutable Knowledge, or raises BadInput with every mistake in it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from pathlib import Path

from diagnose.knowledge import model as m
from diagnose.knowledge.arrangements import read_arrangements
from diagnose.knowledge.at_odds import read_at_odds, read_counted_by
from diagnose.knowledge.card_reader import CARD, CardReader
from diagnose.knowledge.conditions import ConditionReader, known_by, negate, walk
from diagnose.knowledge.explained import ExplainedReader
from diagnose.knowledge.files import digest_of, files_of
from diagnose.knowledge.hazards import read_hazards
from diagnose.knowledge.looks import read_looks
from diagnose.knowledge.tables import read_tables
from diagnose.knowledge.teardown import read_teardown
from diagnose.knowledge.vocabulary_reader import VocabularyReader
from diagnose.knowledge.words_reader import WordsReader
from diagnose.reading.entry import replace
from diagnose.reading.files import shown_name
from diagnose.reading.located import Node, only_keys, read_bytes, read_text
from diagnose.reading.problems import Problem, Problems, Where
from diagnose.reading.terms import did_you_mean

SOURCE_KINDS = (
    "standard", "handbook", "paper", "public report", "training literature", "trade article", "common practice",
    "memory", "arithmetic",
)  # fmt: skip
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


class Reader(CardReader):
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
        mechanisms, causes, questions = explained.read(CARD)
        self.refuse_cycles(findings)
        tables = read_tables(self.nodes, self.sources, self.problems)
        return m.Knowledge(
            self.read_version(), digest, self.shown, vocabulary, words, self.sources, limits, findings,
            mechanisms, causes, questions, measurements, cautions, tables, retired=self.retired,
            arrangements=read_arrangements(self, vocabulary), looks=read_looks(self, vocabulary),
            hazards=read_hazards(self, vocabulary, cautions), teardown=read_teardown(self, vocabulary),
            at_odds=read_at_odds(self, conditions), counted_by=read_counted_by(self, vocabulary),
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
        keys = ["finding", *CARD, "reads", "otherwise", "known by", "when", "absent when", "no failure", "muted"]
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
                when=present, absent_when=absent, no_failure=self.text(node, "no failure") == "true",
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
                node, ["caution", *CARD, "says", "defer", "always", "when"], f"the caution {name!r}", self.problems
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
        keys = ["measurement", *CARD, "tells", "part", "how", "instrument", "at", "readings", "limit", "no limit",
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

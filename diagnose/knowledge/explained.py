"""Reads the cards of root causes and mechanisms, and the questions that causes answer."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from diagnose.knowledge import model as m
from diagnose.knowledge.card_reader import CardReader
from diagnose.knowledge.conditions import ConditionReader
from diagnose.reading.located import Node, only_keys
from diagnose.reading.terms import did_you_mean

FIELDS = ("operation", "installation", "maintenance", "design", "material")
SHARES = (0.7, 1.4)
"""Between these the words of a question's answers must sum, before they are made to sum to one."""
_BOTH = ["formerly", "family", "means", "scope", "needs", "brings about", "leaves", "look-alikes", "confirm", "then", "cautions",
         "iso 14224"]  # fmt: skip


@dataclass(frozen=True)
class ExplainedReader:
    """What the cards may name."""

    reader: CardReader
    conditions: ConditionReader
    words: m.Words
    findings: Mapping[str, m.Finding]
    measurements: Mapping[str, m.Measurement]
    cautions: Mapping[str, m.Caution]

    def read(self, card_keys: list[str]) -> tuple[dict[str, m.Mechanism], dict[str, m.Cause], dict[str, m.Question]]:
        """Every mechanism, cause and question by name."""
        questions = self.questions()
        mechanism_files = self.reader.cards("mechanisms", "mechanism")
        cause_files = self.reader.cards("causes", "cause")
        names = [name for name, _ in mechanism_files]
        mechanisms: dict[str, m.Mechanism] = {}
        for name, node in mechanism_files:
            only_keys(
                node,
                ["mechanism", *card_keys, *_BOTH, "otherwise", "leak path", "between"],
                f"the mechanism {name!r}",
                self.reader.problems,
            )
            otherwise = self.reader.word(node, "otherwise", self.words.seen, "frequency word")
            mechanisms[name] = m.Mechanism(
                **self.reader.card(node, name), **self.both("mechanism", node, name, names, names), otherwise=otherwise,
                leak_path=self.reader.text(node, "leak path") == "true",
                between=self.reader.text(node, "between") == "true",
            )  # fmt: skip
        causes: dict[str, m.Cause] = {}
        for name, node in cause_files:
            keys = ["cause", *card_keys, *_BOTH, "common", "common when", "answers"]
            only_keys(node, keys, f"the cause {name!r}", self.reader.problems)
            causes[name] = m.Cause(
                **self.reader.card(node, name),
                **self.both("cause", node, name, [n for n, _ in cause_files], names),
                common=self.reader.word(node, "common", self.words.common, "word for how common"),
                common_when=self.reader.each(node, "common when", self.prior), answers=self.answers(node, questions),
            )  # fmt: skip
        self.refuse_circles(mechanisms)
        self.refuse_idle_links(mechanisms, causes)
        return mechanisms, causes, questions

    def both(self, kind: str, node: Node, name: str, alike: Iterable[str], mechanisms: list[str]) -> dict[str, Any]:
        """The fields that causes and mechanisms share."""
        reader = self.reader
        self.rename(kind, node, name)
        classes = node.get("iso 14224") or Node({}, node.where)
        only_keys(classes, ["class", "from"], "iso 14224", reader.problems)
        return {
            "means": reader.text(node, "means", True), "family": reader.text(node, "family"),
            "scope": reader.word(node, "scope", ("seal", "machine"), "scope"),
            "needs": self.reader.each(node, "needs", self.need),
            "brings_about": self.links(node, name, mechanisms), "leaves": self.rows(node, name),
            "look_alikes": self.reader.each(node, "look-alikes", partial(self.look_alike, kind, name, set(alike))),
            "confirm": reader.known(node, "confirm", self.measurements, "measurement"),
            "then": self.reader.each(node, "then", self.action),
            "cautions": reader.known(node, "cautions", self.cautions, "caution"),
            "class_14224": reader.text(classes, "class"), "class_from": reader.text(classes, "from"),
        }  # fmt: skip

    def rename(self, kind: str, node: Node, name: str) -> None:
        """Names that a card had, so that what names it by them is still read."""
        for old in self.reader.texts(node, "formerly"):
            self.reader.retired[old] = m.Retired(kind, old, self.reader.text(node, "id"), name, node.where)

    def prior(self, node: Node) -> m.Prior | None:
        only_keys(node, ["when", "common"], "'common when'", self.reader.problems)
        when = self.conditions.read(node.get("when"))
        common = self.reader.word(node, "common", self.words.common, "word for how common")
        if when is None:
            self.reader.say(node.where, "missing-key", "the key 'when' is missing")
            return None
        return m.Prior(when, common, node.where)

    def need(self, node: Node) -> m.Need | None:
        only_keys(node, ["condition", "because"], "a need", self.reader.problems)
        condition = self.conditions.read(node.get("condition"))
        because = self.reader.text(node, "because", True)
        if condition is None:
            self.reader.say(node.where, "missing-key", "the key 'condition' is missing")
            return None
        return m.Need(condition, because, node.where)

    def links(self, node: Node, name: str, mechanisms: list[str]) -> tuple[m.Link, ...]:
        return tuple(
            m.Link(mechanism, seen, self.reader.source_keys(item), item.where)
            for item, mechanism, seen in self.entries(node, name, "brings about", "a link", "mechanism", mechanisms)
        )

    def rows(self, node: Node, name: str) -> tuple[m.Row, ...]:
        result: list[m.Row] = []
        for item, finding, seen in self.entries(node, name, "leaves", "a row of leaves", "finding", self.findings):
            otherwise = self.findings[finding].otherwise
            if otherwise and self.words.seen[seen] == self.words.seen[otherwise]:
                self.reader.say(item.where, "row-says-nothing", f"{seen!r} is what the finding says whatever happened",
                                "another word, or leave the row out")  # fmt: skip
            result.append(m.Row(finding, seen, self.reader.source_keys(item), item.where))
        return tuple(result)

    def entries(
        self, node: Node, name: str, key: str, entry: str, what: str, known: Iterable[str]
    ) -> Iterator[tuple[Node, str, str]]:
        """Each entry under `key` with what it names of the `known` and its frequency word; nothing is named twice."""
        told: set[str] = set()
        for item in (node.get(key) or Node([], node.where)).each():
            only_keys(item, [what, "seen", "sources"], entry, self.reader.problems)
            named = self.reader.known(item, what, known, what)
            seen = self.reader.word(item, "seen", self.words.seen, "frequency word")
            if not named or not seen:
                if item.get(what) is None:
                    self.reader.say(item.where, "missing-key", f"{entry} needs {what} and seen")
                continue
            if named[0] in told:
                self.reader.say(
                    item.where, "row-twice", f"{named[0]!r} stands twice among what {name!r} {key}", "keep one"
                )
            told.add(named[0])
            yield item, named[0], seen

    def look_alike(self, kind: str, me: str, alike: set[str], node: Node) -> m.LookAlike | None:
        only_keys(node, [kind, "finding", "favours", "told apart by"], "a look-alike", self.reader.problems)
        other = self.reader.known(node, kind, alike, kind)
        finding = self.reader.known(node, "finding", self.findings, "finding")
        favours = self.reader.text(node, "favours", True)
        if not other or not finding:
            return None
        if favours not in (me, other[0]):
            self.reader.say((node.get("favours") or node).where, "favours", f"favours must name {me!r} or {other[0]!r}")
        return m.LookAlike(other[0], finding[0], favours, self.reader.text(node, "told apart by", True), node.where)

    def action(self, node: Node) -> m.Action:
        only_keys(node, ["do", "field", "worked if", "cautions", "unless", "on"], "an action", self.reader.problems)
        return m.Action(
            self.reader.text(node, "do", True), self.reader.word(node, "field", FIELDS, "field of action"),
            self.reader.text(node, "worked if"), self.reader.known(node, "cautions", self.cautions, "caution"),
            self.conditions.read(node.get("unless")),
            self.reader.known(node, "on", self.conditions.vocabulary.kinds, "kind"), node.where,
        )  # fmt: skip

    # ---- questions -----------------------------------------------------------------------------------------

    def questions(self) -> dict[str, m.Question]:
        result: dict[str, m.Question] = {}
        owner: dict[str, str] = {}
        if "questions.yaml" not in self.reader.nodes:
            return result
        for name, node in self.reader.section("questions.yaml", "questions").items():
            only_keys(node, ["means", "answers", "otherwise"], f"the question {name!r}", self.reader.problems)
            answers = self.reader.known(node, "answers", self.findings, "finding")
            for finding in answers:
                if finding in owner:
                    says = f"{finding!r} answers {owner[finding]!r} already"
                    self.reader.say((node.get("answers") or node).where, "answer-twice", says, "keep it with one")
                owner[finding] = name
            otherwise = self.shares(node.get("otherwise") or node, answers)
            result[name] = m.Question(name, self.reader.text(node, "means", True), answers, otherwise, node.where)
        return result

    def answers(self, node: Node, questions: Mapping[str, m.Question]) -> dict[str, dict[str, str]]:
        result = {}
        for name, inner in (node.get("answers") or Node({}, node.where)).items():
            if name not in questions:
                self.reader.say(
                    inner.where, "unknown-question", f"there is no question {name!r}", did_you_mean(name, questions)
                )
                continue
            result[name] = self.shares(inner, questions[name].answers)
        return result

    def shares(self, node: Node, answers: Iterable[str]) -> dict[str, str]:
        """The word of each answer. They must sum to about one."""
        only_keys(node, list(answers), "the answers", self.reader.problems)
        result = {a: self.reader.word(node, a, self.words.seen, "frequency word", False) for a in answers}
        told = {a: word for a, word in result.items() if word}
        total = sum(self.words.seen[w] for w in told.values())
        if told and not SHARES[0] <= total <= SHARES[1]:
            self.reader.say(node.where, "answers-sum", f"the answers exclude each other, and their words sum to {total:.2f}",
                            f"words that sum to between {SHARES[0]} and {SHARES[1]}")  # fmt: skip
        return told

    # ---- links ---------------------------------------------------------------------------------------------

    def refuse_circles(self, mechanisms: Mapping[str, m.Mechanism]) -> None:
        state: dict[str, int] = {}

        def visit(name: str, path: list[str]) -> None:
            state[name] = 1
            for link in mechanisms[name].brings_about:
                if state.get(link.mechanism) == 1:
                    loop = [*path, name, link.mechanism]
                    loop = loop[loop.index(link.mechanism) :]
                    self.reader.say(link.where, "circle", f"mechanisms bring each other about: {' > '.join(loop)}",
                                    "take the weaker link out")  # fmt: skip
                elif link.mechanism not in state:
                    visit(link.mechanism, [*path, name])
            state[name] = 2

        for name in sorted(mechanisms):
            if name not in state:
                visit(name, [])

    def refuse_idle_links(self, mechanisms: Mapping[str, m.Mechanism], causes: Mapping[str, m.Cause]) -> None:
        """A link must make its mechanism likelier than it is by itself."""
        for card in (*mechanisms.values(), *causes.values()):
            for link in card.brings_about:
                otherwise = mechanisms[link.mechanism].otherwise
                if otherwise and self.words.seen[link.seen] <= self.words.seen[otherwise]:
                    says = f"{link.seen!r} makes {link.mechanism!r} no likelier than {otherwise!r}, its own word"
                    self.reader.say(link.where, "link-says-nothing", says, "a higher word, or leave the link out")

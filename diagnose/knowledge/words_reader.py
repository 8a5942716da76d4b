"""Reads the numbers behind the words."""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.knowledge import model as m
from diagnose.knowledge.card_reader import CardReader
from diagnose.reading.located import Node, only_keys
from diagnose.reading.problems import Problems


@dataclass(frozen=True)
class WordsReader:
    """Turns words.yaml into Words; problems are the reader's."""

    reader: CardReader

    def read(self) -> m.Words:
        node = self.reader.file("words.yaml")
        only_keys(
            node,
            ["seen", "common", "standing", "reading", "rare marks", "exponent", "wrong record", "none of these"],
            "words.yaml",
            self.reader.problems,
        )
        tables: dict[str, dict[str, float]] = {}
        for key in ("seen", "common"):
            inner = node.get(key) or Node({}, node.where)
            tables[key] = {word: self.reader.number(inner, word) for word, _ in inner.items()}
            for word, number in tables[key].items():
                if not 0 < number < 1 and not _is_wrong(inner.get(word), self.reader.problems):
                    self.reader.say(
                        (inner.get(word) or inner).where,
                        "probability",
                        f"{word!r} must lie between 0 and 1, not {number}",
                    )
        standing = node.get("standing") or Node({}, node.where)
        names = ["established", "probable", "possible", "lines needed", "line counts from", "decisive", "trial weight"]
        only_keys(standing, names, "standing", self.reader.problems)
        established, probable, possible, lines, counts_from, decisive, trial = (
            self.reader.number(standing, n) for n in names
        )
        return m.Words(
            tables["seen"], tables["common"], established, probable, possible, int(lines), counts_from, decisive, trial,
            self.read_errors(node), self.rare_marks(node), self.reader.number(node, "exponent") if node.get("exponent") else 1.0,
            self.chance(node, "wrong record"), self.chance(node, "none of these"),
        )  # fmt: skip

    def chance(self, node: Node, key: str) -> float:
        """A chance that may be left out and is then 0; more than even is a mistake."""
        if not node.get(key):
            return 0.0
        number = self.reader.number(node, key)
        if not 0 <= number < 0.5:
            where = (node.get(key) or node).where
            self.reader.say(where, "probability", f"{key!r} must lie from 0 to 0.5, not {number}")
        return number

    def read_errors(self, node: Node) -> dict[str, m.Misread]:
        inner = node.get("reading") or Node({}, node.where)
        result = {}
        for kind, chances in inner.items():
            only_keys(chances, ["missed", "mistaken"], f"the reading error of a {kind}", self.reader.problems)
            missed, mistaken = self.reader.number(chances, "missed"), self.reader.number(chances, "mistaken")
            if not (0 < missed < 1 and 0 < mistaken < 1 and missed + mistaken < 1):
                self.reader.say(chances.where, "probability", "both chances must lie above 0 and sum to less than 1")
            result[kind] = m.Misread(missed, mistaken)
        for kind in m.KNOWN_BY:
            if kind not in result:
                self.reader.say(inner.where, "missing-key", f"words.yaml needs the reading error of a {kind!r}")
                result[kind] = m.Misread(0.1, 0.05)
        return result

    def rare_marks(self, node: Node) -> m.RareMarks | None:
        inner = node.get("rare marks")
        if inner is None:
            return None
        only_keys(inner, ["common", "least"], "rare marks", self.reader.problems)
        common, least = self.reader.number(inner, "common"), self.reader.number(inner, "least")
        if not (0 < common < 1 and 0 < least <= 1):
            self.reader.say(
                inner.where, "probability", "`common` must lie between 0 and 1, `least` above 0 and up to 1"
            )
        return m.RareMarks(common, least)


def _is_wrong(node: Node | None, problems: Problems) -> bool:
    """Whether a value was told to be wrong already."""
    return node is not None and any(p.where == node.where for p in problems.found)

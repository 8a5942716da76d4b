"""Reads states and acts of a case file, and the qualifiers of marks."""

from __future__ import annotations

import re
from itertools import pairwise

from diagnose.casefile import model as m
from diagnose.casefile.fields import FieldReader
from diagnose.casefile.format import ACT, STATE, record_id
from diagnose.knowledge.grammar import Variable
from diagnose.knowledge.model import Reading
from diagnose.reading.located import Node, only_keys
from diagnose.reading.problems import WayOut
from diagnose.reading.terms import did_you_mean

_BOUND = re.compile(
    r"(?:more than|over|above|at least|>=?)\s*(?P<more>.+)|(?:less than|under|below|at most|<=?)\s*(?P<less>.+)",
    re.IGNORECASE,
)
_TIME = re.compile(r".*\d.*")


class StatementReader(FieldReader):
    """Reads what stands beside the records on parts; needs the positions of the case."""

    def moment(self, node: Node | None) -> str:
        """A moment of the vocabulary, or a time, date or number of hours as written."""
        text = node.text() if node else ""
        if not node or (found := self.words.find("moment", text)) is None:
            if node and not _TIME.fullmatch(text):
                self.say(node.where, "unknown-moment", f"{text!r} is no moment of the vocabulary and no time",
                         did_you_mean(text, self.words.names["moment"]) or WayOut("look words up"))  # fmt: skip
                return ""
            return text
        return found

    def qualifiers(self, node: Node) -> dict[str, str]:
        """What an observation says of a mark beyond its form."""
        return {name: term for name in self.words.grammar.qualifiers if (value := node.get(name))
                and (term := self.term(f"qualifier:{name}", value, f"word for {name!r}"))}  # fmt: skip

    def holds(self, node: Node) -> bool:
        return self.choice(node, "not", ("true", "false"), "answer") != "true"

    def position_said(self, node: Node) -> str:
        position = self.text(node, "position")
        allowed = (*self.positions, "machine")
        if position and position not in allowed:
            self.say((node.get("position") or node).where, "position", f"{position!r} is no position of this seal",
                     f"allowed: {', '.join(allowed)}")  # fmt: skip
            return ""
        return position or "machine"

    # ---- states -------------------------------------------------------------------------------------------

    def read_state(self, node: Node) -> m.State | None:
        said = [(key, value, name) for key, value in node.items()
                if key not in STATE and (name := self.words.find("variable", key))]  # fmt: skip
        only_keys(node, [*STATE, *(key for key, _, _ in said), *self.words.grammar.variables], "a state", self.problems)
        at = node.get("at")
        if at is None or len(said) != 1:
            self.say(
                node.where,
                "state",
                "a state says one thing of one point",
                "for example {at: flush line, temperature: high}",
            )
            return None
        point, (_, value, name) = self.term("point", at, "point"), said[0]
        variable = self.words.grammar.variables[name]
        values: list[str] = []
        spans: list[m.Span] = []
        for item in value.each():
            word = self.words.find(f"value:{name}", item.text())
            if word:
                values.append(word)
            elif span := self.span(item, variable):
                spans.append(span)
        if not point or not value.each() or len(values) + len(spans) < len(value.each()):
            return None
        for key, less, more in (
            ("usual", "less than usual", "more than usual"),
            ("specified", "less than specified", "more than specified"),
        ):
            beside = node.get(key)
            if beside and spans and (limit := self.span(beside, variable)) and {less, more} <= variable.words.keys():
                values += _against(spans, limit, less, more)
        values += _course(spans, variable)
        when = tuple(w for item in node.members("when") if (w := self.moment(item)))
        if len(when) > 1 and len(when) != len(value.each()):
            self.say(
                node.where,
                "when-count",
                f"{len(value.each())} values but {len(when)} moments",
                "one each, or one for all",
            )
        holds, position = self.holds(node), self.position_said(node)
        words = tuple(dict.fromkeys(values))
        id = record_id("t", point, name, words, [(s.low, s.high) for s in spans], when, holds, position)
        return m.State(id, point, name, words, tuple(spans), when, holds, position, self.text(node, "said"),
                       self.text(node, "note"), node.where)  # fmt: skip

    def span(self, node: Node, variable: Variable) -> m.Span | None:
        """A reading, a range or a bound of a variable."""
        text = node.text().strip()
        if variable.unit is None or not re.search(r"\d", text):
            self.say(node.where, "unknown-value", f"{node.text()!r} is no word for {variable.name!r}",
                     did_you_mean(text, self.words.names[f"value:{variable.name}"])
                     or f"one of: {', '.join(variable.words)}")  # fmt: skip
            return None
        bound = _BOUND.fullmatch(text)
        number = self.number(
            Node(bound["more"] or bound["less"], node.where) if bound else node, Reading(variable.name, variable.unit)
        )
        if number is None:
            return None
        low, high = number.value - number.spread, number.value + number.spread
        return m.Span(None if bound and bound["less"] else low, None if bound and bound["more"] else high, node.text())

    # ---- acts ---------------------------------------------------------------------------------------------

    def read_act(self, node: Node) -> m.Act | None:
        only_keys(node, ACT, "an act", self.problems)
        did = node.get("did")
        if did is None:
            self.say(node.where, "act", "an act says what was done", "for example {did: vent, to: chamber, not: true}")
            return None
        name, to, using = (
            self.term("act", did, "act"),
            self.read_to(node.get("to")),
            self.term("substance", node.get("with"), "substance"),
        )
        when, holds, position = self.moment(node.get("when")), self.holds(node), self.position_said(node)
        if not name or (node.get("to") and not to):
            return None
        id = record_id("d", name, to, using, when, holds, position)
        return m.Act(
            id, name, to, using, when, holds, position, self.text(node, "said"), self.text(node, "note"), node.where
        )

    def read_to(self, node: Node | None) -> str:
        """What an act was done to: a point, a part, or a substance."""
        if node is None:
            return ""
        return self.term("to", node, "point, part or substance")


def _against(spans: list[m.Span], limit: m.Span, less: str, more: str) -> list[str]:
    """Which side of what was usual or specified every reading lies on, where they agree."""
    if limit.low is not None and all(s.high is not None and s.high < limit.low for s in spans):
        return [less]
    if limit.high is not None and all(s.low is not None and s.low > limit.high for s in spans):
        return [more]
    return []


def _course(spans: list[m.Span], variable: Variable) -> list[str]:
    """How several readings in the order of time move."""
    if len(spans) < 2 or any(s.low is None or s.high is None for s in spans):
        return []
    steps = (
        [(b.low or 0) > (a.high or 0) for a, b in pairwise(spans)],
        [(b.high or 0) < (a.low or 0) for a, b in pairwise(spans)],
    )
    up, down = any(steps[0]), any(steps[1])
    course = "swinging" if up and down else "rising" if up else "falling" if down else "steady"
    return [course] if course in variable.courses else []

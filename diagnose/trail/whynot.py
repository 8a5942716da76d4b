"""Why not: the nearest rules, which of their conditions failed or are unknown, what outweighed the cause, and the
changes of the record that would make it otherwise, each tried before it is named."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.casefile.model import Part
from diagnose.inference.engine import finding_id
from diagnose.inference.match import Facts, Trial, Verdict, attempt, facts_of
from diagnose.inference.rules import Branch, Premise
from diagnose.inference.run import Inference
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import STANDINGS, Judged, Judgement, Weighed
from diagnose.knowledge.model import Condition
from diagnose.reading.problems import Problems
from diagnose.reading.units import show, unit
from diagnose.trail.graph import DIGITS, Reasoning, judged_id
from diagnose.trail.suppose import Change, called, suppose
from diagnose.trail.whatif import likeliest
from diagnose.trail.why import brought_by, record_tree, rule_place
from diagnose.trail.wording import premise_text

DEPTH = 4
NEAREST = 3
MOST_REASONS = 8
"""Of each kind, heaviest first; each is tried, and a try is a whole run."""
Doc = dict[str, Any]
Changes = tuple[Change, ...]


class WhyNot:
    """Questions to one case about what was not concluded at one position."""

    def __init__(self, asked: Reasoning, position: str):
        self.asked, self.graph, self.position = asked, asked.graph, position
        self.inference = asked.diagnosis.inference
        self.case, self.base = asked.diagnosis.case, asked.diagnosis.base
        self.knowledge = self.base.knowledge
        self.facts: Facts = facts_of(self.inference)
        pair = self.case.positions
        self.other = next((p for p in pair if p != position), "") if len(pair) == 2 else ""
        self.tried: dict[Changes, Inference | None] = {}
        self.outcomes: dict[Changes, Judgement] = {}
        self.branches: dict[tuple[str, str, str], list[Branch]] = {}
        for b in self.base.rules.branches:
            self.branches.setdefault((b.conclusion.kind, b.conclusion.name, b.conclusion.state), []).append(b)

    # ---- findings -----------------------------------------------------------------------------------------------

    def finding(self, name: str, depth: int = DEPTH) -> Doc:
        """The rules that would say the finding is present, nearest first, and how it could be made so."""
        node = self.graph.nodes[finding_id(name, self.position)]
        return {
            "question": "why not", "finding": name, "position": self.position, "state": node["state"],
            "says": node["says"], "rule": rule_place(self.graph, finding_id(name, self.position)),
            "tried": self.trials_json(name, "present", depth),
            "said_absent_by": [self.trial_json(t, depth) for t in self.trials(name, "absent") if t.fires],
            "would_be_so": self.changes_json(self.recorded(name, "present")),
        }  # fmt: skip

    def trials(self, name: str, state: str) -> list[Trial]:
        """Every branch that would conclude it, nearest first: fewest failed premises, then fewest unknown."""
        tried = [attempt(b, self.facts, self.position) for b in self.branches.get(("found", name, state), ())]
        return sorted(tried, key=lambda t: (*_distance(t), t.branch.number))

    def trials_json(self, name: str, state: str, depth: int) -> list[Doc]:
        return [self.trial_json(t, depth) for t in self.trials(name, state)[:NEAREST]]

    def trial_json(self, trial: Trial, depth: int) -> Doc:
        branch = trial.branch
        failed, unknown = _distance(trial)
        premises = [
            self.premise_json(p, v, depth - 1) for p, v in zip(branch.premises, trial.verdicts, strict=True)
        ]  # fmt: skip
        return {
            "rule": branch.rule, "rule_id": branch.id, "at": f"{branch.where.file}:{branch.where.line}",
            "failed": failed, "unknown": unknown, "on_one_part": trial.joined, "premises": premises,
        }  # fmt: skip

    def premise_json(self, premise: Premise, verdict: Verdict, depth: int) -> Doc:
        ids = dict.fromkeys(i for many in verdict.ids for i in many.split("+"))
        on: list[Doc] = []
        for id in ids:
            if id in self.graph and self.graph.nodes[id]["type"] != "finding":
                on.append(record_tree(self.graph, id))
            elif id in self.graph:
                on.append({"finding": self.graph.nodes[id]["text"], "state": self.graph.nodes[id]["state"]})
        told: Doc = {"says": premise_text(premise, self.knowledge), "holds": verdict.holds, "on": on,
                     "at": f"{premise.condition.where.file}:{premise.condition.where.line}"}  # fmt: skip
        if verdict.lack:
            told["lack"] = verdict.lack
        if premise.table == "found" and not premise.negated and not verdict.holds and premise.at == "" and depth > 0:
            wanted = dict(premise.equals)
            told["because"] = self.trials_json(str(wanted["finding"]), str(wanted["state"]), depth - 1)[:1]
        return told

    # ---- causes and mechanisms ----------------------------------------------------------------------------------

    def judged(self, name: str, depth: int = DEPTH) -> Doc:
        """What rules a cause or mechanism out, what counts against it, what is not on record, what stands in its place;
        each with the change that would lift it, tried, and the fewest of them that lift its standing."""
        now = self.asked.diagnosis.at(self.position).of(name)
        kept = self.reasons(now, depth)
        for reason in kept:
            reason["then"] = self.outcome(name, reason["changes"])
        kept.sort(key=lambda r: (r["kind"] != "ruled out", -_gain(r["then"], now), r["what"]))
        enough, outcome = self.enough(name, kept, now)
        for r in kept:
            r["changes"] = self.changes_json(r["changes"])
        judgement = next(j for j in self.graph.graph["judgements"] if j["position"] == self.position)
        node = self.graph.nodes[judged_id(now)]
        return {
            "question": "why not", "name": name, "kind": now.kind, "position": self.position, "standing": node["standing"],
            "probability": node["probability"], "before": node["before"], "common": node.get("common", ""),
            "above": brought_by(self.asked, judged_id(now)),
            "instead": {**likeliest(self.graph, judgement), "none_of_these": judgement["none_of_these"]},
            "reasons": kept, "enough": self.changes_json(enough), "then": outcome,
        }  # fmt: skip

    def reasons(self, judged: Judged, depth: int) -> list[Doc]:
        """What rules it out; then, of what counts against it and of what is open, the marks that would move it most."""
        result: list[Doc] = []
        for firing in self.inference.ruled_out[self.position].get(judged.name, ()):
            trial = attempt(firing.branch, self.facts, self.position)
            result.append({
                "kind": "ruled out", "what": firing.branch.because, "rules": [self.trial_json(trial, depth)],
                "changes": self.unmake(trial) or (),
            })  # fmt: skip
        rows: dict[str, list[tuple[float, Weighed, str]]] = {"counts against it": [], "not on record": []}
        for e in judged.evidence:
            wanted = "present" if e.if_present > e.if_absent else "absent"
            if not e.through and e.state != wanted:
                kind = "not on record" if e.state == "unrecorded" else "counts against it"
                rows[kind].append((max(e.if_present, e.if_absent) - e.weight, e, wanted))
        for kind, found in rows.items():
            found.sort(key=lambda r: (-round(r[0], DIGITS), r[1].finding))
            result += [self.reason(kind, e, wanted, depth) for _, e, wanted in found[:MOST_REASONS]]
        return result

    def reason(self, kind: str, e: Weighed, wanted: str, depth: int) -> Doc:
        return {
            "kind": kind, "what": e.finding, "state": e.state, "weight": round(e.weight, DIGITS),
            "would_weigh": round(max(e.if_present, e.if_absent), DIGITS), "wanted": wanted,
            "rules": self.trials_json(e.finding, wanted, depth)[:1], "changes": self.way(e.finding, wanted) or (),
        }  # fmt: skip

    def enough(self, name: str, reasons: Sequence[Doc], now: Judged) -> tuple[Changes, Doc | None]:
        """The first reasons that together lift the standing, or all that help where they do not."""
        changes: Changes = ()
        reached: Doc = {"standing": now.standing, "probability": now.probability}
        for reason in reasons:
            outcome = self.outcome(name, (*changes, *reason["changes"])) if reason["changes"] else None
            if outcome is None or outcome["probability"] <= reached["probability"]:
                continue
            changes, reached = (*changes, *reason["changes"]), outcome
            if _risen(outcome, now):
                break
        return changes, reached if changes else None

    # ---- trying -------------------------------------------------------------------------------------------------

    def supposed(self, changes: Changes) -> Inference | None:
        """The case deduced anew with the changes made; None where they cannot be."""
        if changes not in self.tried:
            problems = Problems()
            result = suppose(self.case, self.base, changes, problems)
            self.tried[changes] = None if problems.errors() else result.inference(self.base)
        return self.tried[changes]

    def then(self, changes: Changes) -> Judgement | None:
        """The judgement with the changes made."""
        after = self.supposed(changes)
        if after is not None and changes not in self.outcomes:
            self.outcomes[changes] = Diagnosis.of(after, self.base).at(self.position)
        return self.outcomes.get(changes)

    def outcome(self, name: str, changes: Changes) -> Doc | None:
        """Standing and probability with the changes made; None where nothing could be changed."""
        judgement = self.then(changes) if changes else None
        if judgement is None:
            return None
        judged = judgement.of(name)
        return {"standing": judged.standing, "probability": round(judged.probability, DIGITS)}

    def changes_json(self, changes: Changes | None) -> list[Doc]:
        return [{"kind": c.kind, "text": c.text} for c in changes or ()]

    # ---- ways to make it so -------------------------------------------------------------------------------------

    def way(self, finding: str, state: str, depth: int = DEPTH) -> Changes | None:
        """Changes of the record after which the finding is deduced in this state; where no record can do it, the
        finding told outright. Every way is tried before it is given."""
        if way := self.recorded(finding, state, depth):
            return way
        told = (Change(state, finding),)
        return told if depth == DEPTH and self.leads_to(told, finding, state) else None

    def recorded(self, finding: str, state: str, depth: int = DEPTH) -> Changes | None:
        """Changes of observations, readings and settings after which the finding is deduced in this state."""
        for trial in self.trials(finding, state):
            changes = self.make(trial, depth) or ()
            added = tuple(c for c in changes if c.kind != "forget")
            for way in dict.fromkeys((added, changes)):
                if way and self.leads_to(way, finding, state):
                    return way
        return None

    def leads_to(self, changes: Changes, finding: str, state: str) -> bool:
        after = self.supposed(changes)
        deduced = after.findings[self.position].get(finding) if after else None
        return deduced is not None and deduced.state == state

    def make(self, trial: Trial, depth: int) -> Changes | None:
        """Changes that make every premise of a branch hold, or None."""
        changes: list[Change] = []
        part = self.shared_part(trial.branch)
        for premise, verdict in zip(trial.branch.premises, trial.verdicts, strict=True):
            if verdict.holds and not (premise.same_part and not trial.joined):
                continue
            more = self.grant(premise, verdict, depth, part if premise.same_part else "")
            if more is None:
                return None
            changes += more
        return tuple(sorted(dict.fromkeys(changes), key=lambda c: c.kind != "forget"))

    def unmake(self, trial: Trial) -> Changes | None:
        """Changes after which a branch that fired does not: its conditions' records turned round or forgotten."""
        for premise, verdict in zip(trial.branch.premises, trial.verdicts, strict=True):
            wanted = dict(premise.equals)
            for changes in (
                (Change("set", f"{wanted.get('setting')}={'not ' if wanted.get('holds') else ''}{wanted.get('term')}"),)
                if premise.table == "setting" else (),
                self.forget(verdict.ids),
            ):  # fmt: skip
                after = self.supposed(changes) if changes else None
                if after and not attempt(trial.branch, facts_of(after), self.position).fires:
                    return changes
        return None

    def grant(self, premise: Premise, verdict: Verdict, depth: int, part: str) -> Changes | None:
        """Changes that make one premise hold."""
        if premise.negated:
            return self.forget(verdict.ids)
        c, wanted = premise.condition, dict(premise.equals)
        at = self.place(premise.at)
        if premise.table == "setting":
            place = f"@{at}" if premise.at in ("inboard", "outboard", "other") else ""
            return (Change("set", f"{wanted['setting']}{place}={'' if wanted['holds'] else 'not '}{wanted['term']}"),)
        if premise.table == "seen":
            kind = "present" if wanted["state"] == "present" else "absent"
            return (Change(kind, self.look(c, wanted, at, part)),)
        if premise.table in ("amount", "limit"):
            value = self.value(premise)
            return (Change("reading", f"{c.term}{self.comma(at)}={value}"),) if value else None
        if premise.table == "marks":
            return self.marks(c, str(wanted["relation"]))
        if premise.table == "found" and depth > 0 and at in self.case.positions:
            there = self if at == self.position else WhyNot(self.asked, at)
            return there.way(str(wanted["finding"]), str(wanted["state"]), depth - 1)
        return None

    def forget(self, ids: Sequence[str]) -> Changes:
        records = sorted({leaf for i in ids for leaf in self.inference.leaves(i) if not leaf.startswith("f:")})
        return tuple(Change("forget", called(self.case, r)) for r in records if r in self.graph)

    def place(self, at: str) -> str:
        return {"": self.position, "any": self.position, "other": self.other}.get(at, at)

    def comma(self, at: str, kind: str = "") -> str:
        """The position as a qualifier where the case has more than one."""
        machine = bool(kind) and self.knowledge.vocabulary.kinds[kind].place == "machine"
        return f", {at}" if len(self.case.positions) > 1 and at and not machine else ""

    def look(self, c: Condition, wanted: Doc, at: str, part: str = "") -> str:
        """An observation that satisfies the premise, as a change is written."""
        kind = self.kind(c)
        item = part or self.item(c, at)
        place = f"@{item or kind}" if item or kind else ""
        bits = [b for b in (wanted.get("extent"), wanted.get("side")) if b]
        if wanted["state"] == "present" and c.degree and c.form == "saw":
            bits.append(c.degree)
        elif wanted.get("rank"):
            bits.append(self.knowledge.vocabulary.degrees[int(wanted["rank"]) - 1])
        if not item:
            bits += [b for b in (c.group, c.face) if b]
        return f"{c.term}{place}" + "".join(f", {b}" for b in bits) + ("" if item else self.comma(at, kind))

    def kind(self, c: Condition) -> str:
        """The kind that the mark is looked for on: the narrower of the condition's and the feature's own."""
        on, lineage = self.knowledge.vocabulary.features[c.term].on, self.knowledge.vocabulary.lineage
        return next((k for k in on if not c.on or c.on in lineage[k]), c.on)

    def item(self, c: Condition, at: str) -> str:
        """An item of the case that could carry the mark; "" where the case lists none."""
        return next((p.item for p in self.case.parts if self.carries(p, c, at)), "")

    def carries(self, p: Part, c: Condition, at: str) -> bool:
        lineage, on = self.knowledge.vocabulary.lineage.get(p.kind, ()), self.knowledge.vocabulary.features[c.term].on
        return (
            (not c.on or c.on in lineage) and any(k in lineage for k in on) and p.position in (at, "machine", "")
            and c.group in ("", p.group) and c.face in ("", p.carries)
        )  # fmt: skip

    def shared_part(self, branch: Branch) -> str:
        """An item that could carry every mark that must lie on one part."""
        tied = [p.condition for p in branch.premises if p.same_part]
        if not tied:
            return ""
        for p in self.case.parts:
            if all(self.carries(p, c, self.place(c.at)) for c in tied):
                return p.item
        return next((c.on for c in tied if c.on), "")

    def value(self, premise: Premise) -> str:
        """A number that passes the comparison with room to spare, or the word asked for."""
        c = premise.condition
        unit_name = self.knowledge.vocabulary.quantities[c.term].unit
        if premise.table == "limit":
            limit = self.knowledge.limits[str(dict(premise.equals)["limit"])]
            outside = dict(premise.equals)["verdict"] == "outside"
            up = outside == (limit.sense == "at most")
            edge = limit.lax if outside else limit.strict
        elif c.test in ("is", "is not"):
            return c.value if c.test == "is" else ""
        elif c.test == "between":
            return show(((c.low or 0.0) + (c.high or 0.0)) / 2, unit_name, 6)
        else:
            assert premise.compare
            up, edge = premise.compare[1] in (">", ">="), float(premise.compare[2])
        step = abs(edge) * 0.2 or unit(unit_name).factor
        return show(edge + step if up else edge - step, unit_name, 6)

    def marks(self, c: Condition, relation: str) -> Changes | None:
        """Two marks set on indexed items so that they stand in the relation, where the case has such items."""
        first, second = c.parts
        away = {"same place": "12", "opposite": "6", "apart": "3"}[relation]
        items = [self.item(p, self.position) for p in c.parts]
        if not all(items):
            return None
        return (
            Change("present", f"{first.term}@{items[0]}, at 12"),
            Change("present", f"{second.term}@{items[1]}, at {away}"),
        )


def _distance(trial: Trial) -> tuple[int, int]:
    failed = sum(v.holds is False for v in trial.verdicts) + (not trial.joined)
    return failed, sum(v.holds is None for v in trial.verdicts)


def _risen(then: Doc, now: Judged) -> bool:
    return STANDINGS.index(then["standing"]) < STANDINGS.index(now.standing)


def _gain(then: Doc | None, now: Judged) -> float:
    return then["probability"] - now.probability if then else 0.0

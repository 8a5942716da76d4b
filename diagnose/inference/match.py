"""Whether a premise holds on the facts at hand: true, false or unknown, and on which facts.

experta says only what fired. This says the same of every premise of every rule, fired or not, and tells "known not to
hold" from "not on record". A positive premise is true where a fact matches, false where the negated condition would
hold, unknown otherwise; a negated premise ("no such fact") is true or false, never unknown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from msgspec import Struct, structs

from diagnose.inference.engine import finding_id
from diagnose.inference.facts import Fact, compared_marks, make, related, seal_positions
from diagnose.inference.rules import KEY_SLOT, Branch, Premise
from diagnose.inference.run import Inference
from diagnose.quantities import clock

Row = Mapping[str, Any]
Facts = Mapping[tuple[str, Any], list[Row]]
_IDENTITY = ("feature", "setting", "term", "quantity", "limit", "finding", "pair", "on", "own", "group", "face",
             "variable", "at", "value", "when", "did", "to", "with")  # fmt: skip
_OTHER_END = {"low": "high", "high": "low"}
_OPPOSITE = {"inside": "outside", "outside": "inside"}


class Verdict(Struct, frozen=True):
    """`holds` is None where it is not known; `ids` are the facts that decide it, or that leave it open; `lack` says what
    keeps two marks on record from being compared."""

    holds: bool | None
    ids: tuple[str, ...] = ()
    lack: str = ""


NOTHING_LIKE_IT, NOTHING_KNOWN = Verdict(True), Verdict(None)


class Trial(Struct, frozen=True):
    """One branch tried at one position. `joined`: the premises that must share a part do."""

    branch: Branch
    position: str
    verdicts: tuple[Verdict, ...]
    joined: bool

    @property
    def fires(self) -> bool:
        return self.joined and all(v.holds for v in self.verdicts)


def lay_out(facts: Iterable[Fact]) -> Facts:
    """Facts as rows by table and term, for `evaluate`."""
    rows: dict[tuple[str, Any], list[Row]] = {}
    for fact in facts:
        row = {"id": fact.id, **dict(fact.slots)}
        rows.setdefault((fact.table, row[KEY_SLOT[fact.table]]), []).append(row)
    return rows


def facts_of(inference: Inference) -> Facts:
    """Everything that rules could see in a case: recorded, computed and deduced; laid out once."""
    if not inference.rows:
        inference.rows.update(_all_facts(inference))
    return inference.rows


def _all_facts(inference: Inference) -> Facts:
    others = dict(seal_positions(inference.case))
    said = {(f.branch.rule, f.branch.conclusion.state, f.position) for f in inference.firings
            if f.branch.conclusion.kind == "found"}  # fmt: skip
    found = [
        make("found", finding_id(name, p), finding=name, state=state, position=p, other=others[p])
        for name, state, p in sorted(said)
    ]
    return lay_out([*inference.facts, *found, *_incomparable(inference)])


def _incomparable(inference: Inference) -> Iterable[Fact]:
    """Marks on record that rules would compare, and why they cannot be: no rule sees these rows."""
    case, base = inference.case, inference.base
    for position in case.positions:
        for key, a, b in compared_marks(case, base.knowledge, base.rules, position):
            relation = clock.relation(case, a, b)
            if relation.startswith("unknown"):
                yield related(key, a, b, relation, position)


def evaluate(premise: Premise, facts: Facts, position: str) -> Verdict:
    """The premise at a seal position."""
    if premise.key not in facts:
        return NOTHING_LIKE_IT if premise.negated else NOTHING_KNOWN
    rows = [r for r in facts[premise.key] if _stands_at(r, premise.at, position)]
    hits = [r for r in rows if premise.allows(r)]
    if premise.negated:
        return Verdict(not hits, _ids(hits))
    if hits:
        return Verdict(True, _ids(hits))
    near = [r for r in rows if _same_thing(r, premise)]
    against = _CONTRARY[premise.table](near, premise)
    if against:
        return Verdict(False, _ids(against))
    lacking = sorted({str(r["relation"]).removeprefix("unknown: ") for r in near}) if premise.table == "marks" else []
    return Verdict(None, _ids(near), "; ".join(lacking))


def attempt(branch: Branch, facts: Facts, position: str) -> Trial:
    """Every premise of a branch; where premises must share a part, only facts on a shared part count."""
    verdicts = [evaluate(p, facts, position) for p in branch.premises]
    tied = [i for i, p in enumerate(branch.premises) if p.same_part]
    if not tied or not all(verdicts[i].holds for i in tied):
        return Trial(branch, position, tuple(verdicts), True)
    hits = {i: _hits(branch.premises[i], facts, position) for i in tied}
    shared = set.intersection(*({r["part"] for r in rows} for rows in hits.values()))
    if shared:
        for i, rows in hits.items():
            verdicts[i] = structs.replace(verdicts[i], ids=_ids(r for r in rows if r["part"] in shared))
    return Trial(branch, position, tuple(verdicts), bool(shared))


def holds(branch: Branch, facts: Facts, position: str) -> bool:
    """Whether every premise of a branch holds, each by itself."""
    return all(bool(_hits(p, facts, position)) != p.negated for p in branch.premises)


def _hits(premise: Premise, facts: Facts, position: str) -> list[Row]:
    rows = facts.get(premise.key, ())
    return [r for r in rows if _stands_at(r, premise.at, position) and premise.allows(r)]


def _ids(rows: Iterable[Row]) -> tuple[str, ...]:
    return tuple(sorted({r["id"] for r in rows}))


def _stands_at(row: Row, at: str, position: str) -> bool:
    if at == "any":
        return True
    if at == "other":
        return bool(row["other"] == position)
    return bool(row["position"] == (at or position))


def _same_thing(row: Row, premise: Premise) -> bool:
    return all(row.get(slot) == value for slot, value in premise.equals if slot in _IDENTITY)


def _contrary_seen(rows: list[Row], premise: Premise) -> list[Row]:
    """Absent there or everywhere; or present, and known to be of another extent, side or degree."""
    wanted = dict(premise.equals)
    present = [r for r in rows if r["state"] == "present"]
    if wanted["state"] == "absent":
        return present
    said = {slot: wanted.get(slot, "") for slot in ("side", "extent")}
    against = [r for r in rows if r["state"] == "absent" and all(r[s] in ("", said[s]) for s in said)]
    for slot, value in said.items():
        if value and all(r[slot] for r in present):
            against += [r for r in present if r[slot] != value]
    if premise.compare and all(r["rank"] for r in present):
        against += [r for r in present if not premise.passes(r["rank"])]
    return against


def _contrary_setting(rows: list[Row], premise: Premise) -> list[Row]:
    return [r for r in rows if r["holds"] != dict(premise.equals)["holds"]]


def _contrary_amount(rows: list[Row], premise: Premise) -> list[Row]:
    """Numbers that fail the comparison at both ends of their uncertainty; another word."""
    assert premise.compare
    slot = _OTHER_END.get(premise.compare[0], premise.compare[0])
    return [r for r in rows if r.get(slot, "") != "" and not premise.passes(r[slot])]


def _contrary_limit(rows: list[Row], premise: Premise) -> list[Row]:
    return [r for r in rows if r["verdict"] == _OPPOSITE[str(dict(premise.equals)["verdict"])]]


def _contrary_found(rows: list[Row], premise: Premise) -> list[Row]:
    return [r for r in rows if r["state"] != dict(premise.equals)["state"]]


def _contrary_marks(rows: list[Row], premise: Premise) -> list[Row]:
    known = [r for r in rows if not str(r["relation"]).startswith("unknown")]
    return [r for r in known if r["relation"] != dict(premise.equals)["relation"]]


def _contrary_state(rows: list[Row], premise: Premise) -> list[Row]:
    return _contrary_amount(rows, premise) if premise.compare else _contrary_setting(rows, premise)


_CONTRARY = {
    "seen": _contrary_seen, "setting": _contrary_setting, "state": _contrary_state, "act": _contrary_setting, "amount": _contrary_amount, "limit": _contrary_limit,
    "found": _contrary_found, "marks": _contrary_marks,
}  # fmt: skip

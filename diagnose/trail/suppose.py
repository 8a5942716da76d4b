"""A case as it would be with some records present, absent, forgotten or read otherwise.

A change is written as on the command line and read by the case reader, so that it obeys the same vocabulary:

    present / absent   FEATURE[@ITEM or KIND][, extent, degree, side, group, position]   or the name of a finding
    set                SETTING[@POSITION]=TERM, or =not TERM
    reading            READING[@ITEM or KIND][, position]=VALUE   or QUANTITY[, position]=VALUE
    forget             FEATURE, READING or SETTING[@ITEM or KIND], an item number, or a record's id

The deduction is run again from the start; nothing is ever taken back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from diagnose.casefile.clock import BadClock, arc
from diagnose.casefile.format import positions_of
from diagnose.casefile.model import Act, Case, Measured, Observation, SettingFact, State
from diagnose.casefile.reader import amend
from diagnose.inference.run import Inference, RuleBase, deduce
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.knowledge.conditions import EXTENTS, GROUPS
from diagnose.quantities.compute import compute
from diagnose.quantities.model import Quantity, quantity_id
from diagnose.reading.entry import replace
from diagnose.reading.located import Node
from diagnose.reading.problems import Problems, Where
from diagnose.reading.terms import did_you_mean, plain
from diagnose.reading.units import BadUnit, amount, unit

KINDS = ("present", "absent", "set", "reading", "forget")
Record = Observation | Measured | SettingFact | State | Act
Doc = dict[str, Any]


@dataclass(frozen=True)
class Change:
    """One supposition; `kind` is one of KINDS, `text` as written behind that option."""

    kind: str
    text: str

    @property
    def option(self) -> str:
        return f'--{self.kind} "{self.text}"'


@dataclass(frozen=True)
class Supposed:
    """A case with changes made: the records, the findings told, and quantities told in place of computed ones."""

    case: Case
    told: dict[str, str]
    quantities: tuple[Quantity, ...] = ()

    def diagnosis(self, base: RuleBase) -> Diagnosis:
        """The case diagnosed anew."""
        return Diagnosis.of(self.inference(base), base)

    def inference(self, base: RuleBase) -> Inference:
        replaced = {(q.name, place) for q in self.quantities for place in (q.position, "machine", "")}
        kept = [q for q in compute(self.case, base.knowledge) if (q.name, q.position) not in replaced]
        quantities = [*kept, *self.quantities]
        if self.told:
            base = _without(base, self.told)
        return deduce(self.case, base, tuple(sorted(quantities, key=lambda q: (q.name, q.position, q.id))), self.told)


def _without(base: RuleBase, findings: Iterable[str]) -> RuleBase:
    """The rule base without the rules of findings that are told: what is told is not deduced."""
    told = set(findings)
    kept = [b for b in base.rules.branches if b.conclusion.kind != "found" or b.conclusion.name not in told]
    return RuleBase(base.knowledge, replace(base.rules, branches=tuple(kept)))


def suppose(case: Case, base: RuleBase, changes: Sequence[Change], problems: Problems) -> Supposed:
    """The case with the changes made one after the other; what cannot be read is added to the problems."""
    maker = _Maker(Supposed(case, {}), base, problems)
    for change in changes:
        maker.make(change)
    return maker.now


class _Maker:
    def __init__(self, start: Supposed, base: RuleBase, problems: Problems):
        self.now, self.base, self.problems = start, base, problems
        self.words = base.knowledge.vocabulary
        self.where = Where("")

    def make(self, change: Change) -> None:
        self.where = Where(change.option, 0, 0)
        makers: dict[str, Callable[[str], None]] = {
            "present": lambda text: self.look("saw", text), "absent": lambda text: self.look("absent", text),
            "set": self.set, "reading": self.reading, "forget": self.forget,
        }  # fmt: skip
        makers[change.kind](change.text)

    def say(self, code: str, says: str, way_out: str = "") -> None:
        self.problems.add(self.where, code, says, way_out)

    def node(self, value: Any) -> Node:
        if isinstance(value, dict):
            return Node({k: self.node(v) for k, v in value.items()}, self.where)
        if isinstance(value, list):
            return Node([self.node(v) for v in value], self.where)
        return Node(value, self.where)

    def amend(self, fragment: Doc) -> bool:
        """Reads the fragment into the case; False where it could not be read."""
        before = len(self.problems.found)
        case = amend(self.now.case, self.node(fragment), self.base.knowledge, self.problems)
        if len(self.problems.found) > before:
            return False
        self.now = replace(self.now, case=case)
        return True

    def drop(self, ids: set[str]) -> None:
        case = self.now.case
        self.now = replace(self.now, case=replace(
            case, observations=tuple(o for o in case.observations if o.id not in ids),
            measured=tuple(x for x in case.measured if x.id not in ids),
            settings=tuple(s for s in case.settings if s.id not in ids),
            states=tuple(s for s in case.states if s.id not in ids), acts=tuple(a for a in case.acts if a.id not in ids),
        ))  # fmt: skip

    # ---- present, absent --------------------------------------------------------------------------------------

    def look(self, state: str, text: str) -> None:
        name, place, qualifiers = _split(text)
        if self.words.find("feature", name) is None and name in self.base.knowledge.findings:
            self.now = replace(self.now, told={**self.now.told, name: "present" if state == "saw" else "absent"})
            return
        if self.words.find("feature", name) is None:
            known = [*self.words.features, *self.base.knowledge.findings]
            self.say("unknown-feature", f"{name!r} is no feature and no finding", did_you_mean(name, known))
            return
        record: Doc = {state: name, **self.placed(place)}
        for word in qualifiers:
            key = self.qualifier(word)
            if key:
                record[key] = [*record.get(key, []), word] if key == "extent" else word
        before = {o.id for o in self.now.case.observations}
        if not self.amend({"observations": [record]}):
            return
        new = [o for o in self.now.case.observations if o.id not in before]
        self.drop(
            {o.id for o in self.now.case.observations if o.id in before and any(self.contradict(o, n) for n in new)}
        )

    def placed(self, place: str) -> Doc:
        if not place:
            return {}
        return {"part": place} if self.now.case.part(place) else {"on": place}

    def qualifier(self, word: str) -> str:
        tables = {"extent": EXTENTS, "degree": self.words.degrees, "side": self.words.sides, "group": GROUPS,
                  "face": ("nose", "wide"), "position": (*self.now.case.positions, "machine")}  # fmt: skip
        for key, known in tables.items():
            if word in known:
                return key
        try:
            arc(word)
            return "extent"
        except BadClock:
            known_words = [w for table in tables.values() for w in table]
            self.say("unknown-word", f"{word!r} says nothing of a record", did_you_mean(word, known_words) or
                     "an extent, degree, side, group or position is meant")  # fmt: skip
            return ""

    def contradict(self, old: Observation, new: Observation) -> bool:
        """Records of one feature on what may be the same part, of which only one can stand."""
        if old.feature != new.feature or old.state == new.state or old.position != new.position:
            return False
        if old.part and new.part:
            return old.part == new.part
        lineage = self.words.lineage
        return new.kind in lineage[old.kind] or old.kind in lineage[new.kind]

    # ---- settings and numbers ---------------------------------------------------------------------------------

    def set(self, text: str) -> None:
        left, sign, value = text.partition("=")
        name, place, qualifiers = _split(left)
        position = place or next(iter(qualifiers), "")
        setting = self.words.find("setting", name)
        if not sign or setting is None:
            self.say("unknown-setting", f"{name!r} is no setting" if sign else "a setting is written SETTING=TERM",
                     did_you_mean(name, self.words.settings))  # fmt: skip
            return
        section = self.words.settings[setting].section
        holds, term = not value.strip().startswith("not "), value.strip().removeprefix("not ").strip()
        inner: Doc = {setting if holds else f"not {setting}": term}
        fragment = {section: {position: inner} if position in ("inboard", "middle", "outboard") else inner}
        old = {s.id: s for s in self.now.case.settings}
        if not self.amend(fragment):
            return
        new = [s for s in self.now.case.settings if s.id not in old]
        single = self.words.settings[setting].single
        self.drop({
            s.id for s in old.values() for n in new
            if s.setting == n.setting and (s.position == n.position or not n.position)
            and (s.term == n.term if not (single and s.holds and n.holds) else True)
        })  # fmt: skip
        seals = [{positions_of(s.term) for s in ss if s.setting == "arrangement" and s.holds} or {positions_of("")}
                 for ss in (old.values(), self.now.case.settings)]  # fmt: skip
        if seals[0] != seals[1]:
            self.say("positions", "another number of seals would make another case", "change the case file itself")

    def reading(self, text: str) -> None:
        left, sign, value = text.partition("=")
        name, place, qualifiers = _split(left)
        if not sign:
            self.say("reading", "a reading is written READING=VALUE", "for example shaft runout=0.2 mm")
            return
        what = self.words.find("reading", name)
        position = next((q for q in qualifiers if self.qualifier(q) == "position"), "")
        if what is None:
            self.quantity(name, value.strip(), position)
            return
        term = self.words.readings[what]
        old = {x.id for x in self.now.case.measured}
        where = {"position": position} if position else {}
        if term.section:
            inner: Doc = {what: value.strip()}
            fragment: Doc = {
                term.section: {position: inner} if position in ("inboard", "middle", "outboard") else inner
            }
        else:
            fragment = {"measurements": [{"measured": what, "reading": value.strip(), **self.placed(place), **where}]}
        if not self.amend(fragment):
            return
        new = [x for x in self.now.case.measured if x.id not in old]
        self.drop({
            x.id for x in self.now.case.measured for n in new
            if x.id in old and x.what == n.what and x.position == n.position and x.part == n.part
        })  # fmt: skip

    def quantity(self, name: str, value: str, position: str) -> None:
        """A quantity told: it stands in place of what would be computed."""
        found = self.words.find("quantity", name)
        if found is None:
            known = [*self.words.readings, *self.words.quantities]
            self.say("unknown-reading", f"{name!r} is no reading and no quantity", did_you_mean(name, known))
            return
        term = self.words.quantities[found]
        number, word = None, ""
        try:
            read = amount(value)
            if read.kind != unit(term.unit).kind:
                raise BadUnit(f"{value!r} is not in a unit of {found!r}")
            number = read.value
        except BadUnit as error:
            if value[:1].isdecimal() or value[:1] in "+-.":
                self.say("unit", str(error), f"write it in {term.unit}" if term.unit else "")
                return
            word = value
        kind = term.on[0] if term.on else ""
        machine = bool(kind) and self.words.kinds[kind].place == "machine"
        for spot in (position,) if position else ("machine",) if machine else self.now.case.positions:
            end = number if number is not None else 0.0
            q = Quantity(quantity_id("supposed", found, spot, value), found, spot, "", kind, "", "", end, end, number, word,
                         term.unit, "supposed", (), "supposed")  # fmt: skip
            self.now = replace(self.now, quantities=(*self.now.quantities, q))

    # ---- forget -----------------------------------------------------------------------------------------------

    def forget(self, text: str) -> None:
        name, place, qualifiers = _split(text)
        position = next((q for q in qualifiers if self.qualifier(q) == "position"), "")
        case = self.now.case
        records = records_of(case)
        chosen = {r.id for r in records if self.meant(r, name, place) and position in ("", r.position)}
        if not chosen:
            known = {w for r in records for w in self.called(r)} | {p.item for p in case.parts}
            self.say("not-on-record", f"nothing on record is called {text!r}", did_you_mean(name, known))
        self.drop(chosen)

    def meant(self, record: Record, name: str, place: str) -> bool:
        if record.id == name:
            return True
        part = getattr(record, "part", "")
        if place and place != part:
            kind = self.words.find("kind", place)
            if kind is None or kind not in self.words.lineage.get(getattr(record, "kind", ""), ()):
                return False
        if not place and part and name == part:
            return True
        terms = {self.words.find(family, name) or name for family in ("feature", "reading", "setting")}
        return any(plain(word) in map(plain, terms) for word in self.called(record))

    def called(self, record: Record) -> list[str]:
        if isinstance(record, SettingFact):
            return [record.setting, record.term, f"{record.setting}={record.term}"]
        if isinstance(record, State | Act):
            return (
                [record.variable, f"{record.point}: {record.variable}"] if isinstance(record, State) else [record.did]
            )
        return [record.feature if isinstance(record, Observation) else record.what]


def records_of(case: Case) -> list[Record]:
    return [*case.observations, *case.measured, *case.settings, *case.states, *case.acts]


def called(case: Case, id: str) -> str:
    """What to call a record in a change: by what it says where only one record answers to that, else by its id."""
    records = {r.id: r for r in records_of(case)}

    def name(r: Record) -> str:
        if isinstance(r, SettingFact):
            return f"{r.setting}={r.term}"
        if isinstance(r, State | Act):
            return f"{r.point}: {r.variable}" if isinstance(r, State) else r.did
        what = r.feature if isinstance(r, Observation) else r.what
        return what + (f"@{r.part or r.kind}" if r.part or r.kind else "")

    wanted = name(records[id])
    return wanted if sum(name(r) == wanted for r in records.values()) == 1 else id


def _split(text: str) -> tuple[str, str, list[str]]:
    """(name, place behind @, qualifiers behind commas)."""
    head, *qualifiers = [bit.strip() for bit in text.split(",")]
    name, _, place = head.partition("@")
    return name.strip(), place.strip(), [q for q in qualifiers if q]

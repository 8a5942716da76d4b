"""A card of the rule base as plain data: what it says, what it uses and who uses it; lists and searches over all."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from diagnose.authoring.checks.base import background, kind_of
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import network_of
from diagnose.judgement.network import Network
from diagnose.judgement.weights import alone
from diagnose.knowledge.conditions import walk
from diagnose.knowledge.files import file_stem
from diagnose.knowledge.model import (
    Card,
    Cause,
    Caution,
    Condition,
    Explained,
    Finding,
    Knowledge,
    Limit,
    Measurement,
    Mechanism,
    Row,
)
from diagnose.knowledge.wording import outline, phrase
from diagnose.reading.problems import BadInput, Problem, Where
from diagnose.reading.terms import nearest, plain

SECTIONS = {
    "finding": "findings",
    "mechanism": "mechanisms",
    "cause": "causes",
    "measurement": "measurements",
    "caution": "cautions",
    "limit": "limits",
}
Data = dict[str, Any]


def tables(knowledge: Knowledge) -> dict[str, Mapping[str, Any]]:
    return {kind: getattr(knowledge, section) for kind, section in SECTIONS.items()}


def find(knowledge: Knowledge, word: str, kinds: Sequence[str] = tuple(SECTIONS)) -> list[tuple[str, Any]]:
    """(kind, card) of every card with this name, id or file name: a finding and a cause may share a name. Raises
    BadInput with the nearest names."""
    wanted = plain(word)
    found = [
        (kind, card) for kind in kinds for name, card in tables(knowledge)[kind].items()
        if wanted in (plain(name), plain(getattr(card, "id", "")), file_stem(name))
    ]  # fmt: skip
    if found:
        return found
    old = next((r for r in knowledge.retired.values() if wanted in (plain(r.name), plain(r.id))), None)
    if old:
        raise _refuse(f"{old.name!r} is retired", f"in its place stands {old.replaced_by!r}")
    names = [name for kind in kinds for name in tables(knowledge)[kind]]
    near = nearest(word, names)
    way_out = f"did you mean: {', '.join(near)}?" if near else "see: diagnose rules list"
    raise _refuse(f"there is no {' or '.join(kinds) if len(kinds) < 3 else 'card'} {word!r}", way_out)


def _refuse(says: str, way_out: str) -> BadInput:
    return BadInput([Problem(Where("diagnose", 0, 0), "unknown-card", says, way_out)])


def document(
    base: RuleBase, kind: str, card: Any, tests: Mapping[tuple[str, str], Sequence[str]] | None = None
) -> Data:
    """Everything about one card; `tests` maps (kind, name) to the names of its tests."""
    knowledge = base.knowledge
    head: Data = {"kind": kind, "name": card.name, "where": f"{card.where.file}:{card.where.line}"}
    if isinstance(card, Card):
        head |= {"id": card.id, "status": card.status, "since": card.since, "reviewed": card.reviewed,
                 "sources": _sources(knowledge, card.sources)}  # fmt: skip
        head["retired_here"] = sorted(r.name for r in knowledge.retired.values() if r.replaced_by == card.name)
    if isinstance(card, Explained):
        head |= _explained(base, card)
    elif isinstance(card, Finding):
        head |= _finding(base, card)
    else:
        made: dict[str, Callable[[Knowledge, Any], Data]] = {
            "measurement": _measurement,
            "caution": _caution,
            "limit": _limit,
        }
        head |= made[kind](knowledge, card)
    head["tests"] = list((tests or {}).get((kind, card.name), ()))
    return head


def _sources(knowledge: Knowledge, names: Sequence[str]) -> list[Data]:
    known = (knowledge.sources[n] for n in names)
    return [
        {"key": s.key, "title": s.title, "year": s.year, "section": s.section, "kind": s.kind, "seen": s.seen}
        for s in known
    ]


def _outline(c: Condition | None) -> list[Data]:
    return [{"depth": d, "says": text, "form": inner.form, "term": inner.term} for d, text, inner in outline(c)]


def _weights(net: Network, name: str, finding: str) -> Data:
    """What a finding is worth for a cause or mechanism were it the only record, in dB, reading errors reckoned in."""
    there, gone = alone(net, name)
    row = net.row[finding]
    return {"if_present": round(float(there[row]), 1) + 0.0, "if_absent": round(float(gone[row]), 1) + 0.0}


def _finding(base: RuleBase, f: Finding) -> Data:
    knowledge, net = base.knowledge, network_of(base)
    inner = [*walk(f.when), *walk(f.absent_when)]
    question = net.question_of.get(f.name, ("", 0))[0]
    return {
        "says": f.reads,
        "otherwise": {"word": f.otherwise, "p": background(knowledge, f.name)},
        "known_by": {"word": f.known_by, **_errors(net, f)},
        "question": {"name": question, "answers": list(net.answers.get(question, ()))},
        "when": _outline(f.when),
        "absent_when": _outline(f.absent_when),
        "uses": {
            "features": sorted({c.term for c in inner if c.form in ("saw", "absent")}),
            "quantities": sorted({c.term for c in inner if c.form == "quantity"}),
            "limits": sorted({c.limit for c in inner if c.limit}),
            "settings": sorted({c.term for c in inner if "setting" in c.form}),
            "findings": sorted({c.term for c in inner if "found" in c.form}),
        },
        "left_by": [_left(net, "mechanism", m, f.name) for m in knowledge.mechanisms.values() if _row(m, f.name)],
        "sign_of": [_left(net, "cause", c, f.name) for c in knowledge.causes.values() if _row(c, f.name)],
        "answer_of": [
            {"name": c.name, "seen": c.answers[question][f.name], **_weights(net, c.name, f.name)}
            for c in knowledge.causes.values()
            if f.name in c.answers.get(question, {})
        ],
        "used_by_findings": sorted(
            x.name for x in knowledge.findings.values() if _names(f.name, x.when, x.absent_when)
        ),
        "used_by_cautions": sorted(x.name for x in knowledge.cautions.values() if _names(f.name, x.when)),
        "parts": sorted(
            {tuple(sorted((c.name, x.other))) for c in both(knowledge) for x in c.look_alikes if x.finding == f.name}
        ),
        "measured_by": sorted(m.name for m in knowledge.measurements.values() if f.name in m.tells),
    }


def both(knowledge: Knowledge) -> tuple[Explained, ...]:
    """Every cause and mechanism."""
    return (*knowledge.causes.values(), *knowledge.mechanisms.values())


def _errors(net: Network, f: Finding) -> Data:
    row = net.row[f.name]
    return {"missed": round(float(net.missed[row]), 4), "mistaken": round(float(net.mistaken[row]), 4)}


def _row(card: Explained, finding: str) -> Row | None:
    return next((r for r in card.leaves if r.finding == finding), None)


def _left(net: Network, kind: str, card: Explained, finding: str) -> Data:
    row = _row(card, finding)
    assert row
    return {kind: card.name, "name": card.name, "seen": row.seen, **_weights(net, card.name, finding)}


def _names(finding: str, *conditions: Condition | None) -> bool:
    return any("found" in c.form and c.term == finding for whole in conditions for c in walk(whole))


def _explained(base: RuleBase, card: Explained) -> Data:
    """A cause or mechanism: what brings it about, what it brings about and leaves, what it is taken for, what to do."""
    knowledge, net = base.knowledge, network_of(base)
    rows = []
    for row in card.leaves:
        f = knowledge.findings[row.finding]
        said: Data = {
            "finding": row.finding,
            "says": f.reads,
            "seen": row.seen,
            "otherwise": f.otherwise,
            "status": f.status,
        }
        rows.append(said | {"sources": list(row.sources), **_weights(net, card.name, row.finding)})
    rows.sort(key=lambda r: (-r["if_present"], r["finding"]))
    alike = knowledge.causes if isinstance(card, Cause) else knowledge.mechanisms
    named = [(c.name, x) for c in alike.values() for x in c.look_alikes if x.other == card.name]
    listed = {x.other for x in card.look_alikes}
    pairs = [(x.other, x) for x in card.look_alikes] + [(name, x) for name, x in named if name not in listed]
    links = sorted(card.brings_about, key=lambda x: (-knowledge.words.seen[x.seen], x.mechanism))
    result: Data = {
        "says": card.means,
        "scope": card.scope,
        "family": card.family,
        "needs": [{"condition": phrase(n.condition), "because": n.because} for n in card.needs],
        "brings_about": [{"mechanism": x.mechanism, "seen": x.seen, "sources": list(x.sources)} for x in links],
        "leaves": rows,
        "look_alikes": [
            {"name": name, "finding": x.finding, "favours": x.favours, "by": x.told_apart_by} for name, x in pairs
        ],
        "confirm": list(card.confirm),
        "then": [
            {"do": a.do, "field": a.field, "worked_if": a.worked_if, "cautions": list(a.cautions)} for a in card.then
        ],
        "cautions": list(card.cautions),
        "class": {"name": card.class_14224, "from": card.class_from},
    }
    if isinstance(card, Cause):
        result |= {
            "common": {"word": card.common, "p": knowledge.words.common[card.common]},
            "common_when": [{"when": phrase(p.when), "word": p.common} for p in card.common_when],
            "answers": {question: dict(row) for question, row in card.answers.items()},
        }
    elif isinstance(card, Mechanism):
        above = [
            (kind_of(c), c.name, x.seen) for c in both(knowledge) for x in c.brings_about if x.mechanism == card.name
        ]
        above.sort(key=lambda x: (-knowledge.words.seen[x[2]], x))
        result |= {
            "otherwise": {"word": card.otherwise, "p": knowledge.words.seen[card.otherwise]},
            "brought_about_by": [{"kind": kind, "name": name, "seen": seen} for kind, name, seen in above],
            "leak_path": card.leak_path,
            "between": card.between,
        }
    return result


def _measurement(knowledge: Knowledge, m: Measurement) -> Data:
    limit = knowledge.limits.get(m.limit)
    return {
        "says": m.how, "tells": list(m.tells), "part": m.part, "instrument": m.instrument, "at": m.at, "readings": m.readings,
        "limit": _limit(knowledge, limit) | {"name": limit.name} if limit else None, "no_limit": m.no_limit, "minutes": m.minutes,
        "stage": m.stage, "spoils": m.spoils, "destroys": list(m.destroys), "destructive": m.destructive, "cautions": list(m.cautions),
        "confirms": sorted(c.name for c in both(knowledge) if m.name in c.confirm),
    }  # fmt: skip


def _caution(knowledge: Knowledge, c: Caution) -> Data:
    return {
        "says": c.says, "defer": c.defer, "always": c.always, "when": _outline(c.when),
        "named_by": sorted(x.name for x in both(knowledge) if c.name in x.cautions),
        "measurements": sorted(x.name for x in knowledge.measurements.values() if c.name in x.cautions),
    }  # fmt: skip


def _limit(knowledge: Knowledge, limit: Limit) -> Data:
    used = [
        f.name
        for f in knowledge.findings.values()
        if any(c.limit == limit.name for c in [*walk(f.when), *walk(f.absent_when)])
    ]
    values = [{"value": v.written, "note": v.note, "source": _sources(knowledge, [v.source])[0]} for v in limit.values]
    return {"says": limit.means, "quantity": limit.quantity, "sense": limit.sense, "values": values, "findings": sorted(used),
            "measurements": sorted(m.name for m in knowledge.measurements.values() if m.limit == limit.name)}  # fmt: skip


# ---- lists and searches -----------------------------------------------------------------------------------


def rows(knowledge: Knowledge, kind: str = "", status: str = "") -> list[Data]:
    """One row a card, by kind and name; retired ones too, with their successor."""
    result: list[Data] = []
    for k, table in tables(knowledge).items():
        for name, card in sorted(table.items()):
            result.append({"kind": k, "name": name, "id": getattr(card, "id", ""), "status": getattr(card, "status", ""),
                           "since": getattr(card, "since", ""), "reviewed": getattr(card, "reviewed", ""), "says": _says(card)})  # fmt: skip
    result += [{"kind": r.kind, "name": r.name, "id": r.id, "status": "retired", "since": "", "reviewed": "",
                "says": f"in its place: {r.replaced_by}"} for r in knowledge.retired.values()]  # fmt: skip
    return [r for r in result if kind in ("", r["kind"]) and status in ("", r["status"])]


def _says(card: Any) -> str:
    return next((getattr(card, key) for key in ("reads", "means", "how", "says") if getattr(card, key, "")), "")


def search(knowledge: Knowledge, word: str) -> list[Data]:
    """Cards whose name, text or terms hold every word of the query, those with it in the name first."""
    wanted = plain(word).split()
    found = []
    for row in rows(knowledge):
        card = tables(knowledge)[row["kind"]].get(row["name"])
        name, body = plain(row["name"]), plain(" ".join([row["says"], *_texts(card)]))
        if all(w in name or w in body for w in wanted):
            found.append((sum(w not in name for w in wanted), row))
    return [row for _, row in sorted(found, key=lambda x: (x[0], x[1]["kind"], x[1]["name"]))]


def _texts(card: Any) -> Iterator[str]:
    if isinstance(card, Finding):
        yield from (text for _, text, _ in [*outline(card.when), *outline(card.absent_when)])
    elif isinstance(card, Explained):
        yield card.family
        yield from (r.finding for r in card.leaves)
        yield from (x.mechanism for x in card.brings_about)
    elif isinstance(card, Measurement):
        yield from (*card.tells, card.part, card.instrument)
    elif isinstance(card, Limit):
        yield card.quantity

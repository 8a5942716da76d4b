"""The quick question: what does this pattern mean?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

from diagnose.casefile.format import record_id
from diagnose.casefile.model import Case, Observation, lone
from diagnose.casefile.reader import parse_case
from diagnose.casefile.writer import render
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import Judged, Judgement
from diagnose.knowledge.conditions import walk
from diagnose.knowledge.model import Finding
from diagnose.phrases.model import Reading, entry
from diagnose.phrases.read import read
from diagnose.reading.entry import replace
from diagnose.reading.figures import percent
from diagnose.reading.problems import BadInput, Problem, Problems, Where
from diagnose.reading.terms import nearest, plain
from diagnose.views.page import Page
from diagnose.views.phrases import as_row, not_read, not_sure

MOST = 8
GAINS = 0.05
"""dB from which a mechanism or cause is told to gain from the pattern."""


def look_up(base: RuleBase, pattern: str, on: str = "") -> dict[str, Any]:
    """What a feature or finding means. Raises BadInput where it is neither."""
    knowledge = base.knowledge
    vocabulary = knowledge.vocabulary
    kind = vocabulary.find("kind", on) if on else ""
    if kind is None:
        raise _unknown(f"{on!r} is no kind of part", nearest(on, vocabulary.names["kind"]))
    feature = vocabulary.feature(pattern, kind)
    if feature is None:
        finding = next((f for f in sorted(knowledge.findings) if _words(f) == _words(pattern)), "")
        return _finding(base, finding, pattern) if finding else _phrase(base, pattern, kind)
    known = vocabulary.features[feature]
    if kind and not vocabulary.can_be_on(feature, kind):
        raise _unknown(f"{feature!r} is not recorded on {kind!r}", known.on)
    observed = _observed(base, feature, kind or (*known.on, "seal")[0])
    ranked = Diagnosis(lone(observed), base).judgements[0]
    rules = [
        f
        for f in knowledge.findings.values()
        if any(c.term == feature and c.form in ("saw", "absent") for c in walk(f.when))
    ]
    return {
        "asked": pattern,
        "pattern": feature,
        "on": [kind] if kind else list(known.on),
        "means": known.means,
        "marks": [_mark(feature, kind)],
        "also": list(known.also),
        "how": known.how,
        "lost": known.lost,
        "findings": [
            {"finding": f.name, "reads": f.reads, "otherwise": f.otherwise} for f in sorted(rules, key=lambda f: f.name)
        ],
        **_gaining(ranked, rules),
    }


def _mark(feature: str, on: str, more: Mapping[str, str] = MappingProxyType({})) -> dict[str, str]:
    """A mark as it is drawn."""
    return {"feature": feature, "on": on, "runs": more.get("runs", ""), "side": more.get("side", "")}


def _observed(base: RuleBase, feature: str, kind: str) -> Observation:
    known = base.knowledge.vocabulary.kinds[kind]
    position = "machine" if known.place == "machine" else "seal"
    return Observation(record_id("o", feature, kind), feature, "present", kind, position, group=known.group)


def _phrase(base: RuleBase, pattern: str, kind: str) -> dict[str, Any]:
    """What a whole phrase means: all its statements together. Raises BadInput where nothing, or too little, is read."""
    knowledge = base.knowledge
    v = knowledge.vocabulary
    readings = read(pattern, v, kind)
    near = nearest(pattern, [*v.names["feature"], *knowledge.findings])
    if not readings:
        raise not_read(pattern, f"did you mean: {', '.join(near)}?" if near else "")
    first = readings[0]
    if first.sureness == "weak":
        raise not_sure(pattern, readings, "say it in fewer or other words")
    case = _told(base, first)
    names = {s.term for s in first.statements if s.family == "feature"}
    ranked = Diagnosis(case, base).judgements[0] if case else None
    forms = {
        "feature": ("saw", "absent"),
        "state": ("state", "not state"),
        "act": ("act", "not act"),
        "setting": ("setting", "not setting"),
    }
    said = {(form, s.term.partition(": ")[0]) for s in first.statements for form in forms.get(s.family, ())}
    rules = [f for f in knowledge.findings.values() if any((c.form, c.term) in said for c in walk(f.when))]
    features = [v.features[name] for name in sorted(names)]
    return {
        "asked": pattern, "pattern": first.text, "on": [], "means": " ".join(dict.fromkeys(f.means for f in features)), "also": [],
        "marks": [_mark(s.term, s.on, s.more) for s in first.statements if s.family == "feature"],
        "how": " ".join(dict.fromkeys(f.how for f in features if f.how)),
        "lost": min((f.lost for f in features if f.lost), key=(*v.stages, "never").index, default=""),
        "read_as": as_row(first), "others": [as_row(r) for r in readings[1:]],
        "findings": [{"finding": f.name, "reads": f.reads, "otherwise": f.otherwise} for f in sorted(rules, key=lambda f: f.name)],
        **_gaining(ranked, rules),
    }  # fmt: skip


def _told(base: RuleBase, reading: Reading) -> Case | None:
    """A single seal of which a phrase is on record and nothing else; None where its statements make no record alone."""
    document: dict[str, Any] = {"case": "phrase"}
    for s in reading.statements:
        place, said = entry(s)
        if place == "observations" and not s.on:
            said = {"on": (*base.knowledge.vocabulary.features[s.term].on, "seal")[0], **said}
        if place:
            document.setdefault(place, []).append(said)
    problems = Problems()
    case = parse_case(render(document), "phrase", base.knowledge, problems) if len(document) > 1 else None
    return None if problems.errors() else case


def _any(base: RuleBase) -> Observation:
    """An observation that says nothing, so that a finding can be told of a case without records."""
    feature = next(iter(base.knowledge.vocabulary.features.values()))
    return replace(_observed(base, feature.name, (*feature.on, "seal")[0]), state="not looked at")


def _words(pattern: str) -> list[str]:
    return sorted(plain(pattern).split())


def _finding(base: RuleBase, name: str, pattern: str) -> dict[str, Any]:
    """Seen and lost as the features are that it rests on: it can be told until the last of them is gone."""
    finding, vocabulary = base.knowledge.findings[name], base.knowledge.vocabulary
    seen = [vocabulary.features[c.term] for c in walk(finding.when) if c.form == "saw"]
    stages = (*vocabulary.stages, "never")
    return {
        "asked": pattern,
        "pattern": name,
        "on": [],
        "means": finding.reads,
        "marks": [],
        "also": [],
        "how": " ".join(dict.fromkeys(f.how for f in seen if f.how)),
        "lost": max((f.lost for f in seen if f.lost), key=stages.index, default=""),
        "findings": [{"finding": name, "reads": finding.reads, "otherwise": finding.otherwise}],
        **_gaining(Diagnosis(lone(_any(base)), base, {name: "present"}).judgements[0], [finding]),
    }


def _gaining(found: Judgement | None, rules: Sequence[Finding]) -> dict[str, Any]:
    """The mechanisms and causes that gain from the pattern, likeliest first."""
    names = {f.name for f in rules}
    levels = {"mechanisms": found.mechanisms, "causes": found.causes} if found else {"mechanisms": (), "causes": ()}
    result = {}
    for level, judged in levels.items():
        gaining = [j for j in judged if j.weight > GAINS and not j.ends_chain][:MOST]
        gaining.sort(key=lambda j: (-round(j.probability, 9), j.name))
        among = {j.name for j in gaining}
        result[level] = [_row(j, names, among) for j in gaining]
    return result


def _row(j: Judged, findings: set[str], among: set[str]) -> dict[str, Any]:
    words, known = j.at.knowledge.words.seen, j.at.knowledge.findings
    left = [r for r in j.card.leaves if r.finding in findings and words[r.seen] > words[known[r.finding].otherwise]]
    rows = sorted(left, key=lambda r: (-words[r.seen], r.finding))
    apart = [a for a in j.card.look_alikes if a.other in among]
    return {
        "name": j.name, "means": j.card.means, "probability": round(j.probability, 9), "prior": round(j.prior, 9),
        "leaves": [{"finding": r.finding, "seen": r.seen} for r in rows],
        "told_apart": [{"from": a.other, "by": a.told_apart_by, "finding": a.finding} for a in apart],
    }  # fmt: skip


def _unknown(says: str, near: Sequence[str]) -> BadInput:
    way_out = f"did you mean: {', '.join(near)}?" if near else "see: diagnose terms"
    return BadInput([Problem(Where("diagnose", 0, 0), "unknown-term", says, way_out)])


def _looked_for(answer: dict[str, Any], page: Page) -> None:
    """What it is called, how it is seen, and until when."""
    lost = answer["lost"]
    until = "it stays on the part" if lost == "never" else f"record it {lost}: it is lost after that" if lost else ""
    rows = (("also called: ", ", ".join(answer["also"])), ("", answer["how"]), ("", until))
    if any(text for _, text in rows):
        page.heading("How to see it")
    for lead, text in rows:
        if text:
            page.say(text, indent=2, lead=lead)


def page(answer: dict[str, Any], page: Page) -> Page:
    on = f" on {', '.join(answer['on'])}" if answer["on"] else ""
    asked = "" if plain(answer["asked"]) == plain(answer["pattern"]) else f"{answer['asked']}: "
    page.line(page.bold(asked + answer["pattern"] + on))
    page.say(answer["means"], indent=2)
    for row in answer.get("others", []):
        page.say(row["text"], indent=2, lead="or: ")
    for why in answer["read_as"]["asks"] if "read_as" in answer else []:
        page.say(why, indent=2, lead="not sure: ")
    for level, title in (("mechanisms", "What it is left by"), ("causes", "What may have brought that about")):
        if answer[level]:
            page.heading(f"{title}, likeliest first")
        for row in answer[level]:
            page.ends(
                f"  {row['name']}", f"{percent(row['prior'])} before, {percent(row['probability'])} on this alone"
            )
    if not answer["mechanisms"] and not answer["causes"]:
        page.heading("No mechanism or cause of this rule base leaves it.")
    _looked_for(answer, page)
    for level in ("mechanisms", "causes"):
        for row in answer[level]:
            page.heading(row["name"])
            page.say(row["means"], indent=2)
            for r in row["leaves"]:
                page.say(f"{r['seen']}: {r['finding']}", indent=2)
            for a in row["told_apart"]:
                page.say(a["by"], indent=2, lead=f"from {a['from']}: ")
    return page

"""A trail held against itself, against a rule base and against a case file: the verdict first, then what changed."""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from diagnose.casefile.authors import kept, short
from diagnose.casefile.reader import parse_case
from diagnose.evaluation.impact import card_changes
from diagnose.inference.rules import compile_rules
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.knowledge.files import digest_of, file_stem
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.reader import build_knowledge
from diagnose.reading.entry import replace
from diagnose.reading.figures import percent
from diagnose.reading.problems import BadInput, Problems
from diagnose.trail import custody
from diagnose.trail.custody import Around
from diagnose.trail.document import ALONE, CASE_NAME, FORMAT, OF_ONE_LEVEL, dump, load, trail, with_digest
from diagnose.trail.entries import conclusion_changes, first_line, since_one_level

MOST_TRIED = 24
"""Changed cards whose effect is tried one at a time; those that bear on the record first."""
NAMED = ("established", "probable", "possible")
REPRODUCES, STANDS, CHANGED, ALTERED, UNREADABLE = "reproduces", "stands", "changed", "altered", "unreadable"
Doc = dict[str, Any]
Contents = Mapping[str, bytes]
Leaders = Mapping[tuple[str, str], str]
"""Names and positions of what led then or leads now, each with its level: cause or mechanism."""
NOTABLE = 0.0005
"""A root cause that moves by this is told before a mechanism that moves further."""


@dataclass(frozen=True)
class Given:
    """What a trail is verified with: the rule base to replay with and its files, and the tool; as far as given, the rule
    base that the trail was made with (for one that carries none), and the case as it is now with its journal and photos."""

    base: RuleBase
    version: str
    contents: Contents
    around: Around = Around()
    made_with: Contents | None = None
    case: bytes | None = None


def base_of(contents: Contents, shown: str = "knowledge") -> RuleBase:
    """A rule base from the bytes of its files. Raises BadInput."""
    problems = Problems()
    knowledge = build_knowledge(contents, shown, problems)
    problems.raise_errors()
    assert knowledge is not None
    return RuleBase(knowledge, compile_rules(knowledge))


def carried(data: bytes, name: str) -> dict[str, bytes]:
    """The files of the rule base inside a trail, none where it carries none. Raises BadInput."""
    rules = load(data, name).get("rules")
    try:
        return custody.unpacked(rules) if rules else {}
    except ValueError:
        return {}


def verify(data: bytes, name: str, given: Given) -> Doc:
    """The verdict on a trail. Raises BadInput where the file is no trail."""
    old = load(data, name)
    text = old["case"]["text"].encode("utf-8", "surrogatepass")
    then, faults = _own_rules(old, given)
    faults += _faults(old, text)
    around = _around(old, then if old.get("rules") else {})
    own = _replayed(text, then, given, around, old)
    if isinstance(own, dict):
        faults += _misnamed(old, own)
        if old["tool"]["version"] == given.version:
            faults += _not_following(data, old, own)
    if not faults and old["trail"] == FORMAT and not _has_its_digest(old):
        faults = ["what is in it does not have the digest that it names"]
    record = text if given.case is None else given.case
    same_rules = given.base.knowledge.digest == old["knowledge"]["digest"]
    new = own if same_rules and record == text and isinstance(own, dict) else _replay(record, given.base, given, around)
    changes: Doc = {
        "record": _record_changes(old, text, given), "rules": [], "tool": _tool_changes(old, given),
    }  # fmt: skip
    if not same_rules:
        leaders = {(row[level]["name"], row["position"]): level for side in (old, new) if isinstance(side, dict)
                   for row in answers(side) for level in ("mechanism", "cause") if row[level]}  # fmt: skip
        changes["rules"] = _rule_changes(old, then, record, given, leaders)
    differs = _differs(old, new) if isinstance(new, dict) else []
    return _verdict(old, new, faults, changes, differs, given, then)


# ---- the trail held against itself -----------------------------------------------------------------------------------


def _own_rules(old: Doc, given: Given) -> tuple[dict[str, bytes], list[str]]:
    """The files of the rule base that a trail was made with, as far as they are there, and what is wrong with them."""
    told = old["knowledge"]
    if not old.get("rules"):
        if given.contents and digest_of(given.contents) == told["digest"]:
            return dict(given.contents), []
        return dict(given.made_with or {}), []
    try:
        files = custody.unpacked(old["rules"])
    except ValueError as error:
        return {}, [f"the rules that it carries were changed: {error}"]
    digests = {n: hashlib.sha256(files[n]).hexdigest() for n in files}
    wrong = sorted(n for n in {*digests, *told["files"]} if digests.get(n) != told["files"].get(n))
    faults = (
        [f"the rules that it carries are not those whose digests it names: {', '.join(wrong[:5])}"] if wrong else []
    )
    if not wrong and digest_of(files) != told["digest"]:
        faults = ["the digest of the rule base is not that of the rules that it carries"]
    return files, faults


def _faults(old: Doc, text: bytes) -> Iterator[str]:
    """What in a trail contradicts something else in it."""
    if hashlib.sha256(text).hexdigest() != old["case"]["digest"]:
        yield "the case text in it does not have the digest that it names"
    if old["trail"] != FORMAT:
        return
    told = old["journal"]
    journal = kept(text, told["text"].encode("utf-8", "surrogatepass") if isinstance(told.get("text"), str) else None)
    if {k: v for k, v in told.items() if k != "text"} != custody.journal_told(journal):
        yield f"what it says of the journal is not so: {journal.says}"
    for card, written in old["cards"].items():
        if old["knowledge"]["files"].get(card) != hashlib.sha256(written.encode("utf-8", "surrogatepass")).hexdigest():
            yield f"the text of {card} in it does not have the digest that it names"


def _misnamed(old: Doc, own: Doc) -> Iterator[str]:
    """What any version of the tool copies from case and rules as it stands there."""
    for part, key, says in (("case", "name", "the case"), ("knowledge", "version", "the version of the rule base")):
        told, stands = old[part].get(key), own[part][key]
        if told is not None and told != stands:
            yield f"{says} in it is {stands!r}, not {told!r}"


def _not_following(data: bytes, old: Doc, own: Doc) -> list[str]:
    """What a trail concludes otherwise than its own record and its own rules do with the same tool."""
    differs = _differs(old, own)
    if differs:
        return [f"its own record and rules conclude otherwise: {d['says']}" for d in differs]
    if old["trail"] == OF_ONE_LEVEL:
        return []
    written = own if old["trail"] == FORMAT else _as_format_2(own)
    if old["trail"] == FORMAT and old["rules"] and own["rules"]:
        # packing the same files gives other bytes with another version of the library that packs
        written = with_digest({**own, "rules": {**own["rules"], "data": old["rules"]["data"]}})
    return (
        [] if data == dump(written) else [f"it is written otherwise than a trail is: {first_line(dump(written), data)}"]
    )


def _has_its_digest(old: Doc) -> bool:
    """Not everything in a trail follows from its record and rules: the tool and revision that it was made with do not."""
    try:
        return bool(with_digest(old)["digest"] == old["digest"])
    except (ValueError, RecursionError):  # numbers without end, tables within tables: nothing that was written here
        return False


def _as_format_2(new: Doc) -> Doc:
    since = {"journal", "photos", "custody", "outcomes", "cards", "rules", "digest"}
    tool, knowledge = new["tool"], new["knowledge"]
    return {**{k: v for k, v in new.items() if k not in since}, "trail": ALONE,
            "tool": {k: tool[k] for k in ("name", "version")},
            "knowledge": {k: knowledge[k] for k in ("version", "digest", "files")}}  # fmt: skip


def _around(old: Doc, files: Contents) -> Around:
    """What a trail says lay around its case."""
    if old["trail"] != FORMAT:
        return Around()
    text = old["journal"].get("text")
    photos = {p["photo"]: p["now"] for p in old["photos"] if isinstance(p, dict) and {"photo", "now"} <= p.keys()}
    tool = old["tool"]
    return Around(text.encode("utf-8", "surrogatepass") if isinstance(text, str) else None, photos, files, old["knowledge"].get("revision", ""),
                  tool.get("python", ""), tool.get("packages", {}))  # fmt: skip


def _replayed(text: bytes, then: Contents, given: Given, around: Around, old: Doc) -> Doc | list[str]:
    """The trail that the record and the rules of then give now; what is in the way where they give none."""
    if not then:
        return ["it carries no rules"]
    try:
        base = given.base if digest_of(then) == given.base.knowledge.digest else base_of(then)
    except BadInput as error:
        return [f"its rules can no longer be read: {p}" for p in error.problems]
    shown = replace(given, version=old["tool"]["version"])
    return _replay(text, base, shown, around)


def _replay(record: bytes, base: RuleBase, given: Given, around: Around) -> Doc | list[str]:
    try:
        return trail(record, base, given.version, around)
    except BadInput as error:
        return [f"the case can no longer be read: {p}" for p in error.problems]


def _differs(old: Doc, new: Doc) -> list[Doc]:
    return since_one_level(old, new) if old["trail"] == OF_ONE_LEVEL else conclusion_changes(old, new)


# ---- what changed ----------------------------------------------------------------------------------------------------


def _record_changes(old: Doc, text: bytes, given: Given) -> list[str]:
    """How the case as it is now differs from the one in the trail; its photos and its journal too."""
    if given.case is None:
        return []
    lines = [f"{sign} {line}" for sign, line in _lines(text, given.case)]
    if old["trail"] != FORMAT:
        return lines
    told = old["journal"]
    now = kept(given.case, given.around.journal)
    heads = [line.digest for line in now.lines]
    if told["digest"] and told["digest"] not in heads:
        lines.append(f"the journal beside it has no line with the digest of the trail's, {short(told['digest'])}")
    elif now.digest != told["digest"]:
        more = len(now.lines) - int(told["lines"])
        lines.append(f"the journal has {more} more lines" if told["digest"] else f"it has a journal now: {now.says}")
    if now.view in ("broken", "edited"):
        lines.append(now.says)
    lines += [f"photo {p['photo']} {'is gone' if not given.around.photos.get(p['photo']) else 'is another one'}"
              for p in old["photos"] if given.around.photos.get(p["photo"]) != p["now"]]  # fmt: skip
    return lines


def _tool_changes(old: Doc, given: Given) -> list[str]:
    tool, told = old["tool"], []
    if tool["version"] != given.version:
        told.append(f"diagnose {tool['version']}, now {given.version}")
    pairs = {"Python": (tool.get("python"), given.around.python)}
    pairs |= {n: (v, given.around.packages.get(n)) for n, v in tool.get("packages", {}).items()}
    return told + [f"{name} {was}, now {now}" for name, (was, now) in pairs.items() if was and now and was != now]


def _lines(was: bytes, now: bytes) -> list[tuple[str, str]]:
    """The lines that went (-) and came (+)."""
    a, b = (x.decode("utf-8", "replace").splitlines() for x in (was, now))
    found = [(line[0], line[2:].strip()) for line in difflib.ndiff(a, b) if line[0] in "+-"]
    return [(sign, line) for sign, line in found if line and not line.startswith("#")]


def _rule_changes(old: Doc, then: Contents, record: bytes, given: Given, leaders: Leaders) -> list[Doc]:
    """Every file of the rule base that changed, with its lines; those first whose change moved the answer most."""
    was, now = old["knowledge"]["files"], given.base.knowledge.files
    rows: list[Doc] = []
    for file in sorted(f for f in {*was, *now} if was.get(f) != now.get(f)):
        how = "new" if file not in was else "gone" if file not in now else "changed"
        lines = _lines(then.get(file, b""), given.contents.get(file, b"")) if then and given.contents else []
        rows.append({"file": file, "how": how, "lines": [f"{s} {x}" for s, x in lines], "moved": None, "without": ""})
    if then and rows:
        _weigh(rows, then, record, given, leaders)
    return sorted(rows, key=lambda r: (r["moved"] is None, -(r["moved"] or 0.0), r["file"]))


def _weigh(rows: list[Doc], then: Contents, record: bytes, given: Given, leaders: Leaders) -> None:
    """Tries each changed card as it was, among the others as they are now, and adds how far the answer moves."""
    try:
        before = base_of(then).knowledge
    except BadInput:
        return
    now = _probabilities(record, given.base)
    tried = 0
    for row, hybrid in _hybrids(rows, before, given.base.knowledge):
        if tried >= MOST_TRIED:
            return
        tried += 1
        found = _probabilities(record, RuleBase(hybrid, compile_rules(hybrid)))
        if found is None:
            continue
        moves = {key: (found.get(key, 0.0), (now or {}).get(key, 0.0)) for key in leaders}
        size = {key: round(abs(now_ - then_), 6) for key, (then_, now_) in moves.items()}
        key = max(moves, key=lambda k: (leaders[k] == "cause" and size[k] >= NOTABLE, size[k], k))
        row["moved"] = size[key]
        row["without"] = f"{key[0]} {percent(moves[key][0], 1)} as it was, {percent(moves[key][1], 1)} as it is"


def _hybrids(rows: list[Doc], before: Knowledge, now: Knowledge) -> Iterator[tuple[Doc, Knowledge]]:
    """The rule base of now with one file as it was, where that can be read: cards, words, limits and tables."""
    by_file = {row["file"]: row for row in rows}
    for change in card_changes(before, now):
        row = by_file.get(f"{change.section}/{file_stem(change.name)}.yaml")
        if row and change.how != "wording":
            cards = {n: c for n, c in getattr(now, change.section).items() if n != change.name}
            old = getattr(before, change.section).get(change.name)
            yield row, _with(now, change.section, {**cards, **({change.name: old} if old else {})})
    for file, whole in (("words.yaml", "words"), ("questions.yaml", "questions")):
        if file in by_file:
            yield by_file[file], _with(now, whole, getattr(before, whole))
    for folder in ("limits", "tables"):
        if any(file.startswith(folder + "/") for file in by_file):
            row = next(row for file, row in by_file.items() if file.startswith(folder + "/"))
            yield row, _with(now, folder, getattr(before, folder))


def _with(knowledge: Knowledge, part: str, value: Any) -> Knowledge:
    changes: dict[str, Any] = {part: value}
    return replace(knowledge, **changes)


def _probabilities(record: bytes, base: RuleBase) -> dict[tuple[str, str], float] | None:
    """The probability of every cause and mechanism at every position; None where a rule base is not whole."""
    try:
        problems = Problems()
        case = parse_case(record, CASE_NAME, base.knowledge, problems)
        if case is None or problems.errors():
            return None
        judgements = Diagnosis(case, base).judgements
    except KeyError:
        # a card as it was may name another that is there no longer
        return None
    return {(j.name, x.position): j.probability for x in judgements for j in (*x.causes, *x.mechanisms)}


# ---- the verdict -----------------------------------------------------------------------------------------------------


def answers(document: Doc) -> list[Doc]:
    """What a trail concludes at each position: the first cause and mechanism, with their standing."""
    told = []
    for x in document["sets"]:
        place = x.get("position", "") if isinstance(x, dict) else ""
        row: Doc = {"position": place, **{level: _first(document, place, level) for level in ("cause", "mechanism")}}
        told.append(row)
    return told


def _first(document: Doc, place: str, level: str) -> Doc | None:
    """The first cause or mechanism at a position that is not ruled out."""
    return next(
        ({k: e[k if k != "name" else "text"] for k in ("name", "standing", "probability")}
         for e in _standing(document, place, level) if e["standing"] != "ruled out"),
        None,
    )  # fmt: skip


def _standing(document: Doc, place: str, level: str) -> list[Doc]:
    """The causes or mechanisms at a position; what somebody put there that is no such entry is left out."""
    kinds = {"text": str, "standing": str, "probability": int | float}
    return [
        e
        for e in document["standing"]
        if isinstance(e, dict) and e.get("position") == place and e.get("type", "cause") == level
        and all(isinstance(e.get(k), kind) for k, kind in kinds.items())
    ]  # fmt: skip


def _kept_mechanism(was: Doc, now: Doc, place: str) -> Doc | None:
    """The mechanism that led then, as it stands now, where it and the one that leads now have kept their standings."""
    both = [_first(side, place, "mechanism") for side in (was, now)]
    tables = [{e["text"]: e for e in _standing(side, place, "mechanism")} for side in (was, now)]
    led = both[0]
    if led and all(x and {t.get(x["name"], {}).get("standing") for t in tables} == {x["standing"]} for x in both):
        found = tables[1][led["name"]]
        return {"name": led["name"], "standing": found["standing"], "probability": found["probability"]}
    return None


def _verdict(
    old: Doc, new: Doc | list[str], faults: list[str], changes: Doc, differs: list[Doc], given: Given, then: Contents
) -> Doc:  # fmt: skip
    was, now = answers(old), answers(new) if isinstance(new, dict) else []
    if faults:
        verdict, says = ALTERED, f"This trail is not as it was written: {faults[0]}."
    elif not isinstance(new, dict):
        verdict, says = UNREADABLE, f"This trail cannot be replayed: {new[0]}."
    elif not differs and not changes["record"] and not changes["rules"]:
        verdict, says = REPRODUCES, f"Reproduces exactly: {_together(was)}."
    else:
        now = [{**b, "mechanism": _kept_mechanism(old, new, b["position"]) or b["mechanism"]} for b in now]
        stands = [_same(a, b) for a, b in zip(was, now, strict=False)]
        verdict = STANDS if all(stands) and len(was) == len(now) else CHANGED
        says = f"{'The answer stands' if verdict == STANDS else 'The answer has changed'}: {_moved(was, now)}."
    if verdict != ALTERED and old["trail"] == FORMAT and old["journal"]["case"] in ("broken", "edited"):
        says += f" But its journal did not vouch for the case file when it was written: {old['journal']['says']}"
    knowledge = given.base.knowledge
    return {
        "question": "verify", "trail": old["case"].get("name", ""), "verdict": verdict, "says": says,
        "exact": verdict == REPRODUCES, "was": was, "now": now, "faults": faults, "changes": changes, "differs": differs,
        "carries_rules": bool(old.get("rules")), "rules_of_then": bool(then), "format": old["trail"],
        "made_with": {"version": old["knowledge"].get("version", ""), "digest": old["knowledge"]["digest"],
                      "revision": old["knowledge"].get("revision", ""), "tool": old["tool"]["version"]},
        "replayed_with": {"version": knowledge.version, "digest": knowledge.digest, "revision": given.around.revision,
                          "tool": given.version},
        "journal": old["journal"]["says"] if old["trail"] == FORMAT else "",
        "case_digest": old["case"]["digest"], "head": "",
    }  # fmt: skip


def _same(a: Doc, b: Doc) -> bool:
    """Whether two answers name the same cause in the same standing, and the same mechanism."""
    return bool(
        a["position"] == b["position"] and _named(a["cause"]) == _named(b["cause"]) and _name(a["mechanism"]) == _name(b["mechanism"])
    )  # fmt: skip


def _name(level: Doc | None) -> str:
    return level["name"] if level and level["standing"] in NAMED else ""


def _named(level: Doc | None) -> tuple[str, str]:
    return (_name(level), level["standing"] if level and _name(level) else "")


def _at(row: Doc) -> str:
    return f"{row['position']} seal: " if row["position"] not in ("seal", "") else ""


def _one(level: Doc | None) -> str:
    if not _name(level) or level is None:
        first = f" (first {level['name']}, {_figure(level['probability'])})" if level else ""
        return f"nothing stands out{first}"
    return f"{level['name']} {level['standing']}, {_figure(level['probability'])}"


def _figure(p: Any) -> str:
    return percent(float(p), 2) if isinstance(p, int | float) else str(p)


def _together(rows: list[Doc]) -> str:
    return "; ".join(f"{_at(r)}{_one(r['cause'])}; what happened: {_one(r['mechanism'])}" for r in rows)


def _moved(was: list[Doc], now: list[Doc]) -> str:
    told = []
    for a in was:
        b = next((x for x in now if x["position"] == a["position"]), None)
        if b is None:
            told.append(f"{_at(a)}there is no such seal now")
            continue
        told.append(_at(a) + "; what happened: ".join(_step(a[k], b[k]) for k in ("cause", "mechanism")))
    return "; ".join(told)


def _step(a: Doc | None, b: Doc | None) -> str:
    if a and b and a["name"] == b["name"] and (_name(a) or _name(b)):
        standing = a["standing"] if a["standing"] == b["standing"] else f"{a['standing']}, now {b['standing']}"
        return f"{a['name']} {standing}, {_figure(a['probability'])} -> {_figure(b['probability'])}"
    return f"was {_one(a)}, is {_one(b)}"

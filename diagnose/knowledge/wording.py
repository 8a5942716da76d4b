"""Conditions in plain words."""

from __future__ import annotations

from diagnose.knowledge.model import Condition
from diagnose.reading.entry import replace

_AT = {"other": "on the other seal", "inboard": "on the inboard seal", "outboard": "on the outboard seal",
          "any": "on either seal"}  # fmt: skip
_FACES = {"nose": "that carries the nose", "wide": "that is the wider of the pair"}
_TESTS = {"above": "above", "below": "below", "at most": "at most", "at least": "at least", "between": "between",
          "not between": "not between", "is": "is", "is not": "is not"}  # fmt: skip
HEADS = {
    "all": "all of these",
    "any": "any of these",
    "none": "none of these is known",
    "at least": "at least {} of these",
}


def phrase(c: Condition) -> str:
    """One condition as a phrase, those inside it in brackets."""
    if c.form == "all":
        return _joined(c.parts, " and ")
    if c.form == "any":
        return _joined(c.parts, " or ")
    if c.form == "none":
        return "not known: " + _joined(c.parts, " nor ")
    if c.form == "at least":
        return f"at least {c.count} of: " + _joined(c.parts, ", ")
    return _leaf(c)


def question(c: Condition) -> str:
    """What a condition asks for, as a question that can be put to an eye or to people; of a denial, whether it is so."""
    c = replace(c, form={"absent": "saw"}.get(c.form, c.form.removeprefix("not ")))
    if c.form == "saw":
        such = "".join(f", {name} {value}" for name, value in c.such)
        return f"{c.term}{such}?" if not c.on or c.on in c.term else f"{c.on}: {c.term}{such}?"
    if c.form == "act":
        to, using = dict(c.such).get("to", ""), dict(c.such).get("with", "")
        did = _said([c.term, f"with {using}" if using else "", dict(c.such).get("when", ""), _seat(c)])
        return f"{f'{to}, ' if to else ''}{did}: did this happen?"
    return f"{_leaf(c)}?"


def outline(c: Condition | None, indent: int = 0) -> list[tuple[int, str, Condition]]:
    """(depth, text, condition) line by line, conditions inside others below them."""
    if c is None:
        return []
    own = (indent, HEADS[c.form].format(c.count) if c.form in HEADS else _leaf(c), c)
    inner = [] if c.form == "marks" else [line for part in c.parts for line in outline(part, indent + 1)]
    return [own, *inner]


def _joined(parts: tuple[Condition, ...], word: str) -> str:
    return word.join(f"({phrase(p)})" if p.form in ("all", "any", "none", "at least") else phrase(p) for p in parts)


def _leaf(c: Condition) -> str:
    if c.form in ("saw", "absent"):
        lead = "" if c.form == "saw" else "looked for and not there: "
        such = ", ".join(f"{name} {value}" for name, value in c.such)
        return lead + _said(
            [_degree(c), c.term, f"({such})" if such else "", _on(c), c.extent, _side(c), _seat(c), _joint(c)]
        )
    if c.form == "quantity":
        return _said([c.term, _on(c), _test(c), _seat(c), _joint(c)])
    if c.form == "marks":
        first, second = (_leaf(p) for p in c.parts)
        where = {"same place": "at the same place as", "opposite": "opposite", "apart": "apart from"}[c.value]
        return _said([f"{first}, {where} {second}", _seat(c)])
    if c.form in ("setting", "not setting"):
        return _said([f"{c.term}: {'not ' if c.form == 'not setting' else ''}{c.value}", _seat(c)])
    if c.form in ("state", "not state"):
        slots, denied = dict(c.such), "not " if c.form == "not state" else ""
        value = c.value or f"{c.test} {c.written}"
        return _said([f"{slots['at']}: {c.term} {denied}{value}", slots.get("when", ""), _seat(c)])
    if c.form in ("act", "not act"):
        slots, lead = dict(c.such), "not done:" if c.form == "not act" else ""
        using = f"with {slots['with']}" if "with" in slots else ""
        return _said([lead, c.term, slots.get("to", ""), using, slots.get("when", ""), _seat(c)])
    lead = {"found": "found: ", "found absent": "found not to be so: ", "not found": "not found: "}[c.form]
    return _said([lead + c.term, _seat(c)])


def _said(bits: list[str]) -> str:
    return " ".join(b for b in bits if b)


def _degree(c: Condition) -> str:
    return f"{c.degree} or worse" if c.degree in ("light", "moderate") else c.degree


def _on(c: Condition) -> str:
    kind = c.on or ("part" if c.group or c.face else "")
    return _said(["on", c.group, kind, _FACES.get(c.face, "")]) if kind else ""


def _side(c: Condition) -> str:
    return f"({c.side})" if c.side else ""


def _seat(c: Condition) -> str:
    return _AT.get(c.at, "")


def _joint(c: Condition) -> str:
    return "(on the same part)" if c.same_part else ""


def _test(c: Condition) -> str:
    if c.test.endswith("limit"):
        return f"{c.test.split()[0]} the limit {c.limit!r}"
    written = c.written.replace(" to ", " and ") if "between" in c.test else c.written
    return f"{_TESTS.get(c.test, c.test)} {c.value or written}"

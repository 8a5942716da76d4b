"""The rendered sentence of a statement read back, word by word: "soft face: edge chips, outer edge, light"."""

from __future__ import annotations

import re

from diagnose.knowledge.lexicon import EXTENTS
from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.model import STATES, Statement

_CLOCK = re.compile(r"at \d{1,3}(?::\d\d|°)?|\d{1,2}(?::\d\d)? to \d{1,2}(?::\d\d)?|\d{1,3}° to \d{1,3}°")
_WHICH = re.compile(r"[a-z ]+ \d{1,3}(?: of \d{1,3})?")
_COUNT = re.compile(r"\d{1,3} of \d{1,3}")


def statements_of(text: str, v: Vocabulary) -> tuple[Statement, ...]:
    """The statements of a text made of rendered sentences parted by "; "; none where any part is no such sentence."""
    found = (
        [_statement(sentence, v) for sentence in text.strip().split("; ")] if ": " in text and len(text) < 600 else []
    )
    return tuple(s for s in found if s) if all(found) else ()


def settings_said(v: Vocabulary) -> dict[str, Statement]:
    """Every text that says a setting word for word, its name and one of its terms in lower case: "elastomer epdm"."""
    said: dict[str, Statement] = {}
    for s in v.settings.values():
        for term, also in s.terms.items():
            for word in (term, *also):
                said.setdefault(f"{s.name} {word}".lower(), Statement("setting", f"{s.name}: {term}"))
    return said


def _statement(sentence: str, v: Vocabulary) -> Statement | None:
    denied = next((s for s, words in STATES.items() if words and sentence.startswith(words)), "")
    on, sign, rest = sentence.removeprefix(STATES.get(denied, "")).partition(": ")
    if on in v.settings and rest in v.settings[on].terms:
        return Statement("setting", f"{on}: {rest}", "", denied or "present")
    if not sign or denied:
        return None
    state = next((s for s, words in STATES.items() if words and rest.startswith(words)), "present")
    head, *more = rest.removeprefix(STATES[state]).split(", ")
    if on in v.kinds and head in v.features:
        said = _qualifiers(more, v)
        return None if said is None else Statement("feature", head, on, state, said)
    return _act(on, head, more, v) or _valued(on, head, more, state, v)


def _act(on: str, head: str, more: list[str], v: Vocabulary) -> Statement | None:
    done = "absent" if head.endswith(" not done") else "present"
    name = head.removesuffix(" done").removesuffix(" not")
    if not head.endswith(" done") or name not in v.grammar.acts or not (on in v.kinds or on in v.grammar.points):
        return None
    said = {}
    for word in more:
        slot, table = ("with", v.grammar.substances) if word.startswith("with ") else ("when", v.grammar.moments)
        if word.removeprefix("with ") not in table:
            return None
        said[slot] = word.removeprefix("with ")
    return Statement("act", name, on, done, said)


def _valued(on: str, head: str, more: list[str], state: str, v: Vocabulary) -> Statement | None:
    """A state, or a reading with its figure."""
    if len(more) > 1 or (more and more[0] not in v.grammar.moments):
        return None
    when = {"when": more[0]} if more else {}
    for name, variable in v.grammar.variables.items():
        value = head.removeprefix(name + " ")
        if on in v.grammar.points and value != head and (value in variable.words or re.match(r"\d", value)):
            return Statement("state", name, on, state, {"value": value, **when})
    for name in v.readings:
        value = head.removeprefix(name + " ")
        if on in v.kinds and value != head and re.match(r"[-\d]", value):
            return Statement("reading", name, on, state, {"value": value})
    return None


def _qualifiers(words: list[str], v: Vocabulary) -> dict[str, str] | None:
    """What stands behind a mark, in the order in which it is rendered; None where a word is none of it."""
    g = v.grammar
    slots = [("side", v.sides), ("degree", v.degrees), ("extent", EXTENTS), *((q, g.qualifiers.get(q, ())) for q in ("runs", "colour", "texture")),
             ("made of", g.substances), ("which", ()), ("count", ()), ("when", g.moments)]  # fmt: skip
    patterns = {"extent": _CLOCK, "which": _WHICH, "count": _COUNT}
    said: dict[str, str] = {}
    for word in words:
        while slots:
            slot, table = slots.pop(0)
            if word in table or (slot in patterns and patterns[slot].fullmatch(word)):
                which, _, of = word.partition(" of ") if slot == "which" else (word, "", "")
                said |= {slot: which, **({"of": of} if of else {})}
                break
        else:
            return None
    return said

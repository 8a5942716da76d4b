"""From a phrase, as it was read, to the records it makes. The words as said stay with every record."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from diagnose.casefile.answers import path_of
from diagnose.casefile.format import HEARSAY, NOT_UNDERSTOOD, RUNNING, SOUND, WITH_DOUBT
from diagnose.casefile.replay import State, What
from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.model import Reading, Statement, entry
from diagnose.phrases.told import DOUBTED, HEARD
from diagnose.reading.terms import plain

_HOW_KNOWN = {DOUBTED: WITH_DOUBT, HEARD: HEARSAY}

_CAME_OUT = re.compile(
    r"(?P<seal>(?:the |this )?(?:whole )?seal )?(?:(?:it )?(?:was |is |has been )?(?P<out>taken out |came out |pulled |removed ))?(?:was |is )?"
    r"(?P<how>sound|still running|(?:on|at|in) (?:the |a )?(?:schedule|planned (?:overhaul|stop|shutdown)|scheduled overhaul))"
)
"""What says of the seal as a whole how it came out; of a part "sound" is a mark."""


def records_of(
    reading: Reading, phrase: str, state: State, vocabulary: Vocabulary, about: Mapping[str, str]
) -> list[What]:
    """What a reading puts on record. `about`: the part (item number), position or kind the phrase was said of.

    Raises ValueError where a fact about the case has no one place.
    """
    known = "; ".join(how for why, how in _HOW_KNOWN.items() if why in reading.asks)
    item = state.part_record(about.get("part", ""))
    kind = str(item.entry.get("kind", "")) if item else about.get("on", "")
    whats: list[What] = []
    for s in reading.statements:
        place, said = entry(s)
        if place:
            whats.append(
                {
                    "add": place,
                    "entry": {**_placed(said, s, kind, about), "said": phrase, **({"note": known} if known else {})},
                }
            )
        elif s.family == "reading" and vocabulary.readings[s.term].on:
            on = _placed({"on": s.on}, s, kind, about)
            whats.append(
                {
                    "add": "measurements",
                    "entry": {**on, "measured": s.term, "readings": [s.more["value"]], "note": phrase},
                }
            )
        else:
            whats.append(_fact(s, phrase, whats, state, vocabulary, about.get("position", "")))
    return whats


def removal_said(phrase: str, about: Mapping[str, str]) -> list[What]:
    """What a phrase puts on record that says of nothing but the whole seal that it came out sound or still runs."""
    pieces = [_CAME_OUT.fullmatch(plain(x)) for x in re.split(r"[,;.]|\band\b", phrase) if x.strip()]
    ways = {RUNNING if m["how"] == RUNNING else SOUND for m in pieces if m}
    of_the_seal = not about.get("part") and any(m and (m["seal"] or m["out"]) for m in pieces)
    if len(ways) != 1 or not all(pieces) or not of_the_seal:
        return []
    return [{"set": ["history", "removal"], "to": ways.pop(), "said": phrase}]


def not_understood(phrase: str, state: State) -> What:
    """The record of words nothing was read in."""
    before = state.value([NOT_UNDERSTOOD])
    known = before if isinstance(before, list) else [before] if before else []
    return {"set": [NOT_UNDERSTOOD], "to": [*known, *([phrase] if phrase not in known else [])]}


def _placed(said: Mapping[str, Any], s: Statement, kind: str, about: Mapping[str, str]) -> dict[str, Any]:
    """An entry at the numbered part the phrase was said of, where the statement is about it."""
    own = bool(kind) and s.on in (kind, "") and s.family in ("feature", "reading")
    if not own:
        return {**said, **({"position": about["position"]} if about.get("position") and s.family == "feature" else {})}
    return {**about, **{k: v for k, v in said.items() if k != "on" or "part" not in about}}


def _fact(s: Statement, phrase: str, whats: list[What], state: State, vocabulary: Vocabulary, position: str) -> What:
    if s.family == "reading":
        return {"set": path_of(s.term, position, vocabulary), "to": s.more["value"], "said": phrase}
    setting, _, term = s.term.partition(": ")
    path = path_of(f"not {setting}" if s.state == "absent" else setting, position, vocabulary)
    if vocabulary.settings[setting].single:
        return {"set": path, "to": term, "said": phrase}
    before = next((w["to"] for w in reversed(whats) if w.get("set") == path), state.value(path))
    known = before if isinstance(before, list) else [before] if before else []
    return {"set": path, "to": [*known, *([term] if term not in known else [])], "said": phrase}

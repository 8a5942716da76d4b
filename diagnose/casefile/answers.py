"""Answers as people give them, in the form of a record: the vocabulary's terms, units, and where a figure stands."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from typing import Any

from diagnose.casefile.format import SECTIONS, STATES, TEXTS, TRAITS
from diagnose.casefile.replay import What, leaves
from diagnose.knowledge.model import Reading, Vocabulary
from diagnose.reading.terms import did_you_mean, plain
from diagnose.reading.units import BadUnit, amount, unit

_TIMES = ("h", "years", "min", "days")
_NUMBER = r"[-+]?[\d.,]+(?:[eE][-+]?\d+)?"


def in_our_words(what: What, vocabulary: Vocabulary) -> What:
    """The same answer in the vocabulary's preferred terms, bare numbers with the unit of their reading; a spelling that was
    exchanged is kept as `said`."""
    said: list[str] = []

    def term(family: str, word: Any) -> Any:
        found = vocabulary.find(family, word) if isinstance(word, str) and family in vocabulary.names else None
        if family == "feature" and found and len(vocabulary.spelled[plain(word)]) > 1:
            return word  # the part it is on says which is meant
        if found and plain(found) != plain(word):
            said.append(word)
        return found or word

    if "add" in what:
        entry = dict(what["entry"])
        families = {"kind": "kind", "on": "kind", "measured": "reading"} | dict.fromkeys(STATES, "feature")
        for key, family in families.items():
            if key in entry:
                entry[key] = term(family, entry[key])
        slot, degree = vocabulary.detail_of.get(plain(str(entry.get("degree", ""))), ("", ""))
        if slot == "degree" and degree != entry["degree"]:
            said.append(entry["degree"])
            entry["degree"] = degree
        reading = vocabulary.readings.get(entry.get("measured", ""))
        if reading and "unit" not in entry:
            for key in ("reading", "readings", "resolution"):
                if key in entry:
                    entry[key] = with_unit(entry[key], reading.unit)
            if "temperature" in entry:
                entry["temperature"] = with_unit(entry["temperature"], "°C")
        what = {**what, "entry": entry}
    elif "set" in what:
        key = what["set"][-1]
        trait = key in ("is", "is not")
        family = "setting:" + (TRAITS.get(what["set"][0], key) if trait else key.removeprefix("not "))
        to = what["to"]
        terms = list(dict.fromkeys(term(family, x) for x in to)) if isinstance(to, list) else term(family, to)
        if key in vocabulary.readings and what["set"][0] in SECTIONS:
            figure = with_unit(terms, vocabulary.readings[key].unit)
            said += [terms] if isinstance(terms, str) and not str(figure).startswith(terms) else []
            terms = figure
        what = {**what, "to": terms}
    return {**what, "said": ", ".join(said)} if said else what


def path_of(key: str, position: str, vocabulary: Vocabulary) -> list[str]:
    """Where a figure, setting or text stands in a case file. Raises ValueError, saying what is near."""
    section, _, name = key.rpartition(".")
    bare = name.removeprefix("not ")
    if not section and bare in ("case", "about", "stage", "at hand", "invented"):
        return [bare]
    if section == "index":
        return ["index", name]
    setting, reading = vocabulary.find("setting", bare), vocabulary.find("reading", bare)
    places = {s: [s, name] for s in SECTIONS if name in TEXTS[s]}
    places |= {"equipment": ["equipment", name]} if name in ("rotation", "seen from") else {}
    places |= {"seal": ["seal", name]} if name == "lost" else {}
    if setting:
        home = vocabulary.settings[setting].section
        own = "is" if TRAITS[home] == setting and not vocabulary.settings[setting].single else setting
        places = {home: [home, own if name == bare else "is not" if own == "is" else "not " + own]}
    elif reading and vocabulary.readings[reading].section:
        home = vocabulary.readings[reading].section
        places = {home: [home, reading]}
    if section:
        places = {s: p for s, p in places.items() if s == section}
    if len(places) == 1:
        home, path = places.popitem()
        return [home, position, *path[1:]] if position and home in ("seal", "service") else path
    if places:
        raise ValueError(f"{key!r} stands in several sections: write {' or '.join(s + '.' + key for s in places)}")
    known = [*vocabulary.settings, *(r for r, x in vocabulary.readings.items() if x.section), "fluid", "tag", "stage"]
    raise ValueError(f"a case has no {key!r}" + (f"; {near}" if (near := did_you_mean(name, known)) else ""))


def by_seal(answer: str, positions: Sequence[str]) -> dict[str, str]:
    """What is said of each seal of a pair: "FFKM inboard, FKM outboard", "inboard: FFKM; outboard: FKM"; empty where it is said of both."""
    seals, found = "|".join(map(re.escape, positions)), dict[str, str]()
    before, behind = rf"({seals})\s*:?\s+(.+)", rf"(.+?)\s+(?:(?:on|at|for)\s+)?(?:the\s+)?({seals})(?:\s+seal)?"
    for piece in re.split(r"\s*[,;]\s*|\s+and\s+", answer.strip()) if len(positions) > 1 else ():
        if match := re.fullmatch(before, piece, re.I):
            found[match[1].lower()] = match[2]
        elif match := re.fullmatch(behind, piece, re.I):
            found[match[2].lower()] = match[1]
        else:
            return {}
    return found


def with_unit(written: Any, spelling: str) -> Any:
    """A number as written, in the unit where it stands bare; a list of them likewise. A time may be said in words: "five months"."""
    if isinstance(written, list):
        return [with_unit(x, spelling) for x in written]
    bare = isinstance(written, str) and re.fullmatch(rf"{_NUMBER}(?:\s*±\s*{_NUMBER})?", written.strip())
    if bare:
        return f"{written} {spelling}".strip()
    if (
        not isinstance(written, str)
        or spelling not in _TIMES
        or re.fullmatch(rf"{_NUMBER}\s*[^\W\d]+", written.strip())
    ):
        return written
    from diagnose.phrases.lift import time_said  # what explains a case needs no reading of phrases

    return time_said(written) or written


def says_no_datum(written: str, reading: Reading) -> bool:
    """Whether a reading is a pressure that says neither gauge nor absolute, where it must."""
    try:
        return not reading.absolute and amount(written).without_datum
    except BadUnit:
        return False


def says_datum(written: str, reading: Reading) -> bool:
    """Whether a text is a whole pressure with its unit and gauge or absolute."""
    try:
        found = amount(written)
    except BadUnit:
        return False
    return found.kind == unit(reading.unit).kind and not found.without_datum


def split_readings(text: str) -> list[str]:
    """Readings typed in one go: "25.4 25.3 mm", "25,4 mm; 25,3 mm", "165 ± 2 °C". The last one's unit is that of any
    written without."""
    found = [x.strip() for x in re.split(r"[;,]\s+|;|(?<![±\s])\s+(?=[-+]?[\d.])", text.strip()) if x.strip()]
    last = re.sub(rf"^{_NUMBER}(?:\s*±\s*{_NUMBER})?", "", found[-1]) if found else ""
    return [x + (" " + last.strip() if last.strip() and re.fullmatch(_NUMBER, x) else "") for x in found]


def refuse_odd_signs(value: Any) -> None:
    """Raises ValueError where a text holds a control character or is not UTF-8; line breaks and tabs may stand."""
    for leaf in leaves(value):
        for c in leaf if isinstance(leaf, str) else "":
            if unicodedata.category(c) in ("Cc", "Cs") and c not in "\n\t\r":
                raise ValueError(f"the text holds the sign U+{ord(c):04X}, which is no text")

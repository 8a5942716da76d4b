"""What was typed, as what it says: lists of features, one of several choices, details of a mark. Nothing here asks."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from diagnose.casefile.clock import BadClock, arc
from diagnose.knowledge.model import Vocabulary
from diagnose.reading.figures import number_of
from diagnose.reading.terms import nearest, plain
from diagnose.reading.units import BadUnit, unit

ALL, NONE = ("all", "a"), ("none", "no", "n", "none of them", "nothing")
YES = ("yes", "y", "yep", "ok", "okay")
SEEN, ABSENT, UNSEEN = ("x", *YES, "there", "seen"), (*NONE, "-", "absent", "not there"), ("?", "not looked at")
"""What is written in a box or behind a number for a mark that is there, that is not, or that nobody looked for."""
UNKNOWN = ("not known", "unknown", "don't know", "dont know", "do not know", "no idea")
EXTENTS = ("all round", "one sector", "patches")
_STATES = {
    "saw": "saw",
    "seen": "saw",
    "absent": "absent",
    "not there": "absent",
    "lost": "lost",
    "not looked at": "not looked at",
}


@dataclass(frozen=True)
class Said:
    """One entry of an answer: of one part by its item number, or of all that is asked about where `item` is "", but for some."""

    item: str
    state: str
    text: str
    but: tuple[str, ...] = ()


NOTHING = Said("", "absent", "all")
"""None of what is open on a card is there."""
_DENIED = re.compile(rf"([^:]+?)\s*:\s*(?:{'|'.join(ABSENT)})|(?:no|none)\s+(\d[\d\s,-]*)"
                     r"|(\d[\d\s,-]*?)\s+(?:absent|not there)", re.I)  # fmt: skip
"""What is denied behind its number or name, as a filled sheet writes it, or with a plain no before numbers: "8: no", "no 2"."""


def parted(answer: str) -> list[Said]:
    """The entries of an answer, parted by semicolons: "3: 10 to 2; part 10 4, 5; absent 6; none". A figure behind a semicolon
    belongs to the readings before it; "none" may stand behind or before a comma, and is meant of what else there is. Parts are
    told apart as "parts 4 10: none" and "1 except part 10", marks as "none but 3"."""
    bits: list[str] = []
    none = "|".join(NONE)
    answer = re.sub(rf",\s*({none})\s*$", r"; \1", re.sub(rf"^\s*({none})\s*,", r"\1;", answer, flags=re.I), flags=re.I)
    for bit in (b.strip() for b in answer.split(";")):
        if bits and re.search(r"\d[^:]*$", bits[-1]) and re.fullmatch(r"[-+]?\d+([.,]\d+\s*\S*|\s*[^\d\s:]\S*)", bit):
            bits[-1] += f"; {bit}"
        elif bit:
            bits.append(bit)
    return sorted((said for bit in bits for said in _told_apart(bit)), key=lambda said: said == NOTHING)


_ITEMS = r"\s+(\d\w*(?:(?:\s*[,&]\s*|\s+and\s+|\s+)\d\w*)*)"
_OF_SEVERAL = re.compile(rf"parts{_ITEMS}\s*(?::\s*(.+)|\s({'|'.join(NONE)}))", re.I)
_BUT_PARTS = re.compile(rf"(.+?),?\s+(?:except|but)\s+(?:for\s+|not\s+)?(?:on\s+)?parts?{_ITEMS}\s*(?::\s*(.+))?", re.I)
_BUT_MARKS = re.compile(rf"(?:{'|'.join(NONE)}),?\s+(?:except|but)\s+(?:for\s+)?(.+)", re.I)
_EVERY = (*ALL, "all parts", "every part", "all of them")


def _told_apart(bit: str) -> list[Said]:
    """The entries of what tells parts or marks apart in a few words."""
    if match := _BUT_PARTS.fullmatch(bit):
        what, items, more = match.groups()
        every = plain(what) in _EVERY and more
        said = entry_of(more if every else f"{what}: {more}" if more else what)
        return [Said(said.item, said.state, said.text, tuple(re.findall(r"\d\w*", items)))]
    if match := _BUT_MARKS.fullmatch(bit):
        return [entry_of(match[1]), NOTHING]
    if match := _OF_SEVERAL.fullmatch(bit):
        return [entry_of(f"part {item} {match[2] or match[3]}") for item in re.findall(r"\d\w*", match[1])]
    return [entry_of(bit)]


def entry_of(text: str) -> Said:
    """One entry, of one part where it begins with it: "part 10 4, 5"."""
    match = re.match(r"part\s+([^\s:]+):?\s+(.+)", text, re.IGNORECASE)
    item, rest = match.groups() if match else ("", text)
    if plain(rest) in NONE:
        return Said(item, "absent", "all")
    if match := _DENIED.fullmatch(rest.strip()):
        return Said(item, "absent", next(filter(None, match.groups())))
    state, rest = state_and_list(rest, "saw")
    return Said(item, state, rest)


def state_and_list(answer: str, default: str) -> tuple[str, str]:
    """The state that a list of features begins with, and the list: "absent 3-5"."""
    text = plain(answer)
    state = next((s for s in _STATES if text.startswith(s + " ")), "")
    return (_STATES[state], answer.strip()[len(state) :].strip()) if state else (default, answer.strip())


def listed(answer: str, numbered: Sequence[str], find: Callable[[str], str]) -> list[str]:
    """Features by number, range or word: "1 3 and 5", "3-5, hard"; none where something in it is none of those."""
    chosen: list[str] = []
    text = re.sub(r"(?<=\d)\s*[-–]\s*(?=\d)", "-", answer.strip())
    for bit in (b.strip() for b in re.split(r"[,;]", text)):
        whole = find(bit)
        for piece in [bit] if whole else re.split(r"\s+(?:and|&)\s+|\s+(?=\d)", bit):
            found = [whole] if whole else _numbered(piece, numbered) or [find(piece)]
            if not all(found):
                return []
            chosen += found
    return list(dict.fromkeys(chosen))


_RANGE = r"(\d{1,4})(?:\s*[-–]\s*(\d{1,4}))?"


def numbers_in(text: str) -> set[int]:
    """Every number that a list names, those within its ranges as well."""
    return {n for low, high in re.findall(_RANGE, text) for n in range(int(low), int(high or low) + 1)}


def _numbered(piece: str, numbered: Sequence[str]) -> list[str]:
    """The features of a number or a range; none where one of them is not on the list."""
    match = re.fullmatch(_RANGE, piece.strip())
    if not match:
        return []
    low, high = int(match.group(1)), int(match.group(2) or match.group(1))
    return list(numbered[low - 1 : high]) if 0 < low <= high <= len(numbered) else []


def meant(answer: str, spelled: Mapping[str, str]) -> list[str]:
    """The terms that an answer may mean, one where it is certain: as spelled, by number in the order of the terms (where no
    term has a number of its own), or by a beginning of a spelling, of its words or of their initials."""
    word = plain(answer)
    table = {plain(s): term for s, term in spelled.items()}
    if word in table:
        return [table[word]]
    terms = list(dict.fromkeys(spelled.values()))
    if word.isdecimal():
        if numbers_choices(terms):
            return [terms[number - 1]] if 0 < (number := number_of(word)) <= len(terms) else []
        return sorted({t for s, t in table.items() if word in s.split()})
    for begins in (
        lambda s: s.startswith(word),
        lambda s: any(w.startswith(word) for w in s.split()),
        lambda s: _initials(s) == word,
    ):
        found = list(dict.fromkeys(t for s, t in table.items() if begins(s)))
        if found:
            return found
    return []


def numbers_choices(terms: Sequence[str]) -> bool:
    """Whether choices may be numbered: a plan 11 among them would be taken for the eleventh."""
    return not any(number_of(n) <= len(terms) for term in terms for n in re.findall(r"\d+", term))


def _initials(spelling: str) -> str:
    return "".join(w[0] for w in spelling.split())


@dataclass
class Details:
    """Extent, degree, side and note of a mark; `photos` are names not looked at yet, `odd` what fits nothing, with what
    might be meant."""

    entry: dict[str, Any] = field(default_factory=dict)
    photos: list[str] = field(default_factory=list)
    odd: list[tuple[str, list[str]]] = field(default_factory=list)


def details(text: str, words: Vocabulary) -> Details:
    """Details out of one line, parted by commas. Each part stands for itself: what is odd does not spoil the rest."""
    found, places = Details(), []
    names = sorted((*words.degrees, *words.sides, *EXTENTS), key=len, reverse=True)
    for bit in (p for b in text.split(",") for p in _pieces(b.strip(), names)):
        word = plain(bit)
        if not bit or word in SEEN:
            continue
        if word in words.degrees:
            found.entry["degree"] = word
        elif word in words.sides:
            found.entry["side"] = word
        elif word in EXTENTS:
            places.append(word)
        elif word.startswith("photo "):
            found.photos.append(bit[6:].strip())
        elif word.startswith("note "):
            found.entry["note"] = ", ".join(x for x in (found.entry.get("note", ""), bit[5:].strip()) if x)
        else:
            try:
                arc(word)
                places.append(word)
            except BadClock:
                found.odd.append((bit, nearest(word, [*words.degrees, *words.sides, *EXTENTS])))
    if "all round" in places:
        beside = [p for p in places if p.isdecimal()]
        found.odd += [(f"{p} beside all round", []) for p in beside]
        places = [p for p in places if p not in beside]
    if places:
        found.entry["extent"] = places[0] if len(places) == 1 else places
    return found


def _pieces(bit: str, names: Sequence[str]) -> list[str]:
    """Details that stand together without a comma: "6 to 10 severe"; a note and the name of a photo stay whole."""
    word = bit.lower()
    if word.startswith(("note ", "photo ")):
        return [bit]
    for name in names:
        if word.endswith(f" {name}"):
            return [*_pieces(bit[: -len(name)].strip(), names), name]
        if word.startswith(f"{name} "):
            return [name, *_pieces(bit[len(name) :].strip(), names)]
    return [bit]


_NUMBER = r"[-+]?\d+(?:[.,]\d+)?"
_MEASURED = re.compile(rf"{_NUMBER}(?:[\s;,]+{_NUMBER})*\s*(?P<unit>.*)")


def is_measured(text: str) -> bool:
    """Whether a text is numbers as they are measured, and no clock position: "46.8", "5.1 5.0 mm", not "3", "at 3:30", "90°"."""
    match = _MEASURED.fullmatch(text.strip())
    try:
        unit(match["unit"] if match else "?")
    except BadUnit:
        return False
    try:
        return bool(re.search(r"\d[.,]\d", text)) or not arc(plain(text))
    except BadClock:
        return True


def says_what(text: str, words: Vocabulary) -> bool:
    """Whether a text can name something that was seen: not "yes", not a clock position or a degree alone."""
    bare = re.sub(r"\bto\b|[\W\d_]", "", text.lower())
    found = details(text, words)
    return bool(bare) and plain(text) not in SEEN and (bool(found.odd) or not found.entry)


def feature_and_details(answer: str, known: Callable[[str], str], words: Vocabulary) -> tuple[str, str]:
    """The word for a feature and the details behind it, parted by a colon, or a number by a comma, or without either where the
    words before the details are a feature and all the rest are details: "blisters 10 to 2, severe", "8 light". Words that are
    no feature are parted from details behind a comma."""
    word, colon, rest = (x.strip() for x in answer.partition(":"))
    if colon or known(answer):
        return word, rest
    first, comma, more = answer.partition(",")
    if first.strip().isdecimal() and known(first.strip()):
        return first.strip(), more.strip()
    pieces = first.split()
    for n in range(len(pieces) - 1, 0, -1):
        name, behind = " ".join(pieces[:n]), " ".join(pieces[n:]) + comma + more
        bare = name.isdecimal() and all(p.isdecimal() for p in pieces[n:])
        if known(name) and not bare and not details(behind, words).odd:
            return name, behind
    if more and not details(more, words).odd:
        return first.strip(), more.strip()
    return answer.strip(), ""

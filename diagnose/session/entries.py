"""What was typed, as what it says: lists of features, one of several choices, details of a mark. Nothing here asks."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from diagnose.casefile.clock import BadClock, arc
from diagnose.knowledge.lexicon import EXTENTS
from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.tokens import singular
from diagnose.reading.figures import number_of
from diagnose.reading.terms import nearest, plain
from diagnose.reading.units import BadUnit, unit

ALL, NONE = ("all", "a"), ("none", "no", "n", "none of them", "nothing")
NO_ELSE = (*NONE, "nothing else", "nothing more", "none else", "none of the others", "none of the rest", "no others",
           "rest clean", "the rest clean", "rest is clean", "the rest is clean")  # fmt: skip
"""What denies all else at a look."""
NO_MORE = ("no more", "no more of it", "that is all", "that's all")
"""What ends a look as Enter does, and denies nothing."""
YES = ("yes", "y", "yep", "ok", "okay")
SEEN, ABSENT, UNSEEN = ("x", *YES, "there", "seen"), (*NONE, "-", "absent", "not there"), ("?", "not looked at")
"""What is written in a box or behind a number for a mark that is there, that is not, or that nobody looked for."""
UNKNOWN = ("not known", "unknown", "don't know", "dont know", "do not know", "no idea")
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
    """One entry of an answer: of one part by its item number, or of all that is asked about where `item` is "", but for some, by
    item number, or in the words as said where it is not clear which part they mean."""

    item: str
    state: str
    text: str
    but: tuple[str, ...] = ()


NOTHING = Said("", "absent", "all")
"""None of what is open on a card is there."""
_DENIED = re.compile(rf"([^:]+?)\s*:\s*(?:{'|'.join(ABSENT)})|(?:no|none)\s+(\d[\d\s,-]*)"
                     r"|(\d[\d\s,-]*?)\s+(?:absent|not there)", re.I)  # fmt: skip
"""What is denied behind its number or name, as a filled sheet writes it, or with a plain no before numbers: "8: no", "no 2"."""


def parted(answer: str, parts: Mapping[str, str] | None = None) -> list[Said]:
    """The entries of an answer, parted by semicolons: "3: 10 to 2; part 10 4, 5; absent 6; none". A figure behind a semicolon
    belongs to the readings before it; "none" may stand behind or before a comma, and is meant of what else there is. Parts are
    told apart as "parts 4 10: none" and "1 except part 10", marks as "none but 3". `parts`: the names of those asked about by item
    number, by which exceptions may call them: "all but the one under the sleeve are hard"."""
    bits: list[str] = []
    none = "|".join((*NO_ELSE, *NO_MORE))
    answer = re.sub(rf"^\s*({none})\s*[,:;]\s*(?=(?:only|just)\b)", "", answer, flags=re.I)  # "none, only 7 came out"
    answer = re.sub(rf",\s*({none})\s*$", r"; \1", re.sub(rf"^\s*({none})\s*,", r"\1;", answer, flags=re.I), flags=re.I)
    for bit in (b.strip() for b in answer.split(";")):
        if bits and re.search(r"\d[^:]*$", bits[-1]) and re.fullmatch(r"[-+]?\d+([.,]\d+\s*\S*|\s*[^\d\s:]\S*)", bit):
            bits[-1] += f"; {bit}"
        elif bit:
            bits.append(bit)
    return sorted((said for bit in bits for said in _told_apart(bit, parts or {})), key=lambda said: said == NOTHING)


def with_choices_apart(answer: str, choices: int) -> str:
    """An answer with what begins anew behind a comma parted by a semicolon: a state and its list ("10, absent 1 2 7"), and behind
    the details of a mark a number of the list that is no clock position ("1: all round, 34, 24")."""
    answer = re.sub(rf",\s*(?=(?:{'|'.join(_STATES)})\s+\d)", "; ", answer, flags=re.I)
    bits = list[str]()
    for bit in answer.split(";"):
        head, *rest = re.split(r",\s+", bit.strip())
        mark = re.fullmatch(r"(part\s+[^\s:]+:?\s+)?(\d{1,4})(?:\s*:|\s+[a-z]).*", head, re.I)
        if mark is None or number_of(mark[2]) > choices:
            bits.append(bit)
            continue
        hours = 0 if "all round" in bit else 12
        moved = [x for x in rest if x.isdecimal() and hours < number_of(x) <= choices]
        bits += [", ".join([head, *(x for x in rest if x not in moved)]), *(f"{mark[1] or ''}{x}" for x in moved)]
    return ";".join(bits)


_LIST_AND_WORDS = re.compile(r"\s*(part\s+[^\s:]+:?\s+)?(\d(?:[\d\s,&-]|and\b)*),\s*(\D.*)", re.I)


def with_words_apart(answer: str, known: Callable[[str], str], words: Vocabulary) -> str:
    """An answer with words behind a list of numbers parted from it by a semicolon, where they are neither details nor of the
    list: "8 and 1, not reverse rotation"."""
    bits = list[str]()
    for bit in answer.split(";"):
        match = _LIST_AND_WORDS.fullmatch(bit)
        if match and len(numbers_in(match[2])) > 1 and not known(match[3]) and details(match[3], words).odd:
            lead = match[1] or ""
            bits += [lead + match[2], match[3] if match[3].lower().startswith("part ") else lead + match[3]]
        else:
            bits.append(bit)
    return ";".join(bits)


_ITEMS = r"\d\w*(?:(?:\s*[,&]\s*|\s+and\s+|\s+)\d\w*)*"
_OF_SEVERAL = re.compile(rf"parts\s+({_ITEMS})\s*(?::\s*(.+)|\s({'|'.join(NONE)}))", re.I)
_BUT_MARKS = re.compile(rf"(?:{'|'.join(NONE)}),?\s+(?:except|but)\s+(?:for\s+)?(.+)", re.I)
_ALL_BUT_ABSENT = re.compile(
    r"(?:absent|not there)\s+all\s+(?:but|except)\s+(\d[\d\s,-]*)|all\s+(?:but|except)\s+(\d[\d\s,-]*?)\s+(?:absent|not there)",
    re.I,
)
"""Of the marks only some are there: "absent all but 13 18", "all but 4 absent"."""
_EXCEPT = re.compile(
    r",?\s+(except(?:ing)?|apart\s+from|other\s+than|but|bar|save)\s+(?:for\s+)?(?:not\s+)?(?:(?:on|for)\s+)?", re.I
)
_BY_NUMBER = re.compile(rf"(parts?\s+|items?\s+|numbers?\s+)?({_ITEMS})", re.I)
_EVERY = ("all", "every", "each", "both", "everything")
_SMALL = {"the", "one", "ones", "of", "on", "in", "at", "that", "which", "them", "part", "parts", "item", "items"}
_SO = re.compile(r"^[\s:,]*(?:(?:is|are|was|were)\s+)?", re.I)


def _told_apart(bit: str, parts: Mapping[str, str]) -> list[Said]:
    """The entries of what tells parts or marks apart in a few words."""
    if (match := _ALL_BUT_ABSENT.fullmatch(bit)) and not parts.keys() >= set(re.findall(r"\d+", match[1] or match[2])):
        return [entry_of(match[1] or match[2]), NOTHING]
    if said := _but_parts(bit, parts):
        return [said]
    if match := _BUT_MARKS.fullmatch(bit):
        return [entry_of(match[1]), NOTHING]
    if match := _OF_SEVERAL.fullmatch(bit):
        return [entry_of(f"part {item} {match[2] or match[3]}") for item in re.findall(r"\d\w*", match[1])]
    return [entry_of(bit)]


def _but_parts(bit: str, parts: Mapping[str, str]) -> Said | None:
    """What is said of all parts but some: "pinched on all except 13", "every O-ring but the one under the sleeve: pinched"."""
    match = _EXCEPT.search(bit)
    if match is None:
        return None
    behind = bit[match.end() :]
    what, every = _of_all(bit[: match.start()], {w for name in parts.values() for w in _bare(name)})
    clear = every or match[1].lower() != "but"
    items, more = _parts_named(behind, parts if clear else {})
    if not items and not every:
        return None
    if not items:
        unclear, _, more = behind.partition(":")
        items = (unclear.strip(),)
    what, more = what.strip(" :,"), _SO.sub("", more).strip()
    told = entry_of(f"{what}: {more}" if what and more else what or more or "all")
    return Said(told.item, told.state, told.text, items)


def _bare(text: str) -> list[str]:
    """The words of a name without those that name nothing, singular."""
    return [singular(word) for word in re.findall(r"[\w-]+", text.lower()) if word not in _SMALL]


def _of_all(text: str, named: set[str]) -> tuple[str, bool]:
    """A text without the words that say that it is meant of all parts, at its begin or end, and whether there are any."""
    words = text.split()
    for i, word in enumerate(words):
        end = i + 1
        while end < len(words) and named.issuperset(_bare(words[end])):
            end += 1
        begin = i - (i > 0 and words[i - 1].lower() in ("on", "of"))
        round_it = end < len(words) and words[end].lower() in ("round", "around", "over")
        if word.lower() in _EVERY and not round_it and (begin == 0 or end == len(words)):
            return " ".join([*words[:begin], _SO.sub("", " ".join(words[end:]))]).strip(), True
    return text, False


def _parts_named(text: str, parts: Mapping[str, str]) -> tuple[tuple[str, ...], str]:
    """The parts that a text begins with, by number or as one is called, and the rest of it."""
    match = _BY_NUMBER.match(text)
    items = tuple(re.findall(r"\d\w*", match[2])) if match else ()
    if match and (match[1] or parts.keys() >= set(items)):
        return items, text[match.end() :]
    words = text.partition(":")[0].split()
    for n in range(len(words), 0, -1):
        said = set(_bare(" ".join(words[:n])))
        called = [item for item, name in parts.items() if said and said <= set(_bare(name))]
        if len(called) == 1:
            return (called[0],), " ".join(words[n:]) + text[text.find(":") :] if ":" in text else " ".join(words[n:])
    return (), text


def entry_of(text: str) -> Said:
    """One entry, of one part where it begins with it: "part 10 4, 5"."""
    if on := re.fullmatch(r"(\d+)\s+on\s+part\s+(\w+)\s*[,:]?\s*(.*)", text, re.I):  # "7 on part 2, hard"
        text = f"part {on[2]} {on[1]}" + (f": {on[3]}" if on[3] else "")
    match = re.match(r"part\s+([^\s:]+):?\s+(.+)", text, re.IGNORECASE)
    item, rest = match.groups() if match else ("", text)
    if plain(rest) in NO_ELSE:
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


def details(text: str, words: Vocabulary, only_terms: bool = False) -> Details:
    """Details out of one line, parted by commas. Each part stands for itself: what is odd does not spoil the rest. Words that
    say nothing, as the "very" of "very bad", are left out where something else is said beside them."""
    found, places = Details(), []
    known = {word: said for word, said in words.detail_of.items() if not only_terms or word == said[1]}
    names, idle = sorted(known, key=len, reverse=True), {*words.lexicon.idle}
    for pieces in (_pieces(b.strip(), names) for b in text.split(",")):
        for bit in pieces:
            word = plain(bit)
            slot, term = known.get(word, ("", ""))
            if not bit or word in SEEN or (len(pieces) > 1 and idle.issuperset(word.split())):
                continue
            if slot == "extent":
                places.append(term)
            elif slot:
                found.entry[slot] = term
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
    places = list(dict.fromkeys(places))
    if places:
        found.entry["extent"] = places[0] if len(places) == 1 else places
    return found


def _pieces(bit: str, names: Sequence[str]) -> list[str]:
    """Details that stand together without a comma: "6 to 10 severe"; a note and the name of a photo stay whole."""
    kept = re.search(r"(?:^|\s)(?:note|photo)\s", bit, re.I)
    if kept and not kept.start():
        return [bit]
    if kept:
        return [*_pieces(bit[: kept.start()].strip(), names), bit[kept.start() :].strip()]
    word = bit.lower()
    for name in names:
        if name in word and (match := re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", word)):
            around = (bit[: match.start()].strip(), bit[match.end() :].strip())
            before, behind = ([] if not text else _pieces(text, names) for text in around)
            return [*before, name, *behind]
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
    found = details(text, words, only_terms=True)
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

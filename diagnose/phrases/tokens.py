"""Words as they are compared: one form for every case, hyphen, ending, and for British and American spelling."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from Stemmer import Stemmer

MOST_SIGNS = 600
MOST_TOKENS = 90
_JOINS = re.compile("[‐‑‒–—−_-]")
_NOT = re.compile(r"\b(could|did|do|does|is|was|were|are|had|has|have|would|wo|ca|should)n['’`´]?t\b")
_RATE = re.compile(r"\b(n?m3|k?g|mm|cm|[µμu]s|m?l|cc|rev)\s?/\s?(s(?:ec)?|h(?:r|our)?|min|day|[cm]?m3?|[kl])\b")
_APOSTROPHE = re.compile(r"['’`´](s\b)?")
_TOKEN = re.compile(r"\d+(?:[.,]\d+)?|[^\W\d_]+\d*|[.;:,/()\n!?&+]|[°%µ\"\ue000-\ue0ff]")
_STEMMER = Stemmer("english", 0)  # stem() keeps what it was asked
_SPELLINGS = tuple(
    (re.compile(pattern), by)
    for pattern, by in (
        (r"(?<=[a-z]{2})our(?=$|s$|ed$|ing$|less$|ation$|ised$|ized$)", "or"),
        (r"(?<=[a-z]{2})is(?=(e[drs]?|ing|ation)$)", "iz"),
        (r"(?<=[a-z]{2})ys(?=(e[drs]?|ing)$)", "yz"),
        (r"(?<=[a-z])(cent|fib|lit|met|calib|lust)re(?=s?$)", r"\1er"),
        (r"^(cent|fib|lit|met|calib|lust)re(?=s?$)", r"\1er"),
        (r"^centr(?=ed$|ing$)", "center"),
        (r"^grey", "gray"), (r"sulph", "sulf"), (r"^aluminium", "aluminum"), (r"^mould", "mold"), (r"^gauge", "gage"),
        (r"^draught", "draft"), (r"^oxidis", "oxidiz"), (r"^de?ioni[sz]", "deioniz"),
    )
)  # fmt: skip
_BRITISH = re.compile("our|is[ei]|isa|ys[ei]|re|grey|sulph|alumin|mould|gauge|draught|ion")


@dataclass(frozen=True)
class Token:
    """One word or sign of a phrase: as written, and the form in which it is compared."""

    text: str
    stem: str

    @property
    def is_word(self) -> bool:
        return self.text[0].isalnum()


def folded(text: str) -> str:
    """The text in lower case, its signs and dashes made one, "didn't" written out, a unit without a figure ("l/min") one word; at most MOST_SIGNS long."""
    text = text[:MOST_SIGNS].lower()
    if not text.isascii():
        text = unicodedata.normalize("NFKC", text).lower()
    text = _RATE.sub(lambda m: f"{m[1]}per{m[2]}".replace("3", ""), text)
    text = _NOT.sub(lambda m: {"ca": "can", "wo": "will"}.get(m.group(1), m.group(1)) + " not", text)
    return _APOSTROPHE.sub("", _JOINS.sub(" ", text))


def spelled(word: str) -> str:
    """A word with British spellings made American."""
    if not _BRITISH.search(word):
        return word
    for pattern, by in _SPELLINGS:
        word = pattern.sub(by, word)
    return word


@lru_cache(maxsize=16384)
def stem(word: str, whole: frozenset[str] = frozenset()) -> str:
    """A word without its ending, as M. F. Porter's English stemmer takes it off (Snowball, 2001); those in `whole` lose a plural s at
    most."""
    if len(word) < 3 or not word[0].isalpha():
        return word
    word = spelled(word)
    one = singular(word)
    return one if one in whole else str(_STEMMER.stemWord(word))


def singular(word: str) -> str:
    """A word without its plural ending."""
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if re.search("(ss|ch|sh|x|z)es$", word):
        return word[:-2]
    return word[:-1] if len(word) > 3 and word[-1] == "s" and word[-2] not in "suio" else word


def tokens(text: str, whole: frozenset[str] = frozenset()) -> list[Token]:
    """The words and signs of a text already folded, at most MOST_TOKENS."""
    return [Token(word, stem(word, whole)) for word in _TOKEN.findall(text)[:MOST_TOKENS]]

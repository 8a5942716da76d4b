"""Words: one spelling for comparing, and the nearest right word for a wrong one."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

_HIDDEN = "\x00-\x08\x0b-\x1f\x7f-\x9f\xad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ud800-\udfff"
HIDDEN = re.compile(f"[{_HIDDEN}]")
"""Controls but tab and line end, line and paragraph separators, zero-width and direction signs, half surrogates."""
_UNSHOWN = re.compile(f"[\t\n{_HIDDEN}]")
_SPACES = re.compile(r"[\s_]+")


@lru_cache(maxsize=8192)
def plain(word: str) -> str:
    """The form in which words are compared: lower case, single spaces."""
    return _SPACES.sub(" ", str(word)).strip().lower()


def printable(text: str) -> str:
    """The text with a blank for each sign that could steer a terminal or hide in it."""
    return _UNSHOWN.sub(" ", text)


def escaped(json: str) -> str:
    """JSON text of the same meaning, with the signs that could steer a terminal or hide in it written as escapes."""
    return HIDDEN.sub(lambda sign: f"\\u{ord(sign[0]):04x}", json)


def nearest(word: str, known: Iterable[str], most: int = 3) -> list[str]:
    """Up to `most` known words that look like `word`, best first."""
    import difflib

    table = {plain(k): k for k in sorted(known)}
    wanted = plain(word)
    close = difflib.get_close_matches(wanted, list(table), n=most, cutoff=0.55)
    holds = sorted((k for k in table if wanted in k or k in wanted), key=lambda k: (abs(len(k) - len(wanted)), k))
    return list(dict.fromkeys(table[k] for k in [*close, *(k for k in holds if len(wanted) > 2)]))[:most]


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A way out to print behind an error; empty when nothing is near."""
    near = nearest(word, known)
    return f"did you mean: {', '.join(near)}?" if near else ""

"""The form of a case file: its sections, the keys of its entries, and how its records are named."""

from __future__ import annotations

import hashlib
import json
import re
from datetime import date, datetime

SECTIONS = ("equipment", "service", "seal", "history")
ENDS = ("driver end", "impeller end")
ROTATIONS = ("clockwise", "counterclockwise")
STATES = {"saw": "present", "absent": "absent", "not looked at": "not looked at", "lost": "lost"}
TRAITS = {"service": "service", "equipment": "machine", "seal": "seal", "history": "history"}
TEXTS = {
    "equipment": ["description", "tag", "work order", "note"],
    "service": ["fluid", "note"],
    "seal": ["batch", "serial", "note"],
    "history": ["fitted", "removed", "removal", "note"],
}
_, ALONE = AT_HAND = ("the machine too", "the seal alone")
"""What there is to look at."""
DATES = ("fitted", "removed")
"""The texts of `history` that are dates."""
NOT_UNDERSTOOD = "said, not understood"
WITH_DOUBT, HEARSAY = HOW_KNOWN = ("said with doubt", "from hearsay")
"""How what is not known at first hand is known, as a note on its record."""
FAILED, SOUND, RUNNING = REMOVALS = ("failed", "sound", "still running")
"""How a seal's time in service ended."""
TOP = ["case", "invented", "about", "equipment", "service", "seal", "index", "parts", "observations", "states", "acts",
       "measurements", "remarks", "custody", "history", "said, not understood", "stage", "at hand", "outcomes", "expected"]  # fmt: skip
OBSERVATION = [*STATES, "part", "on", "position", "group", "degree", "extent", "side", "face", "which", "of", "when", "said",
               "note", "photo", "photo digest"]  # fmt: skip
STATE = ["at", "when", "not", "usual", "specified", "position", "said", "note"]
ACT = ["did", "to", "with", "when", "not", "position", "said", "note"]
MEASUREMENT = ["measured", "part", "on", "position", "group", "reading", "readings", "unit", "at", "labels",
                "resolution", "instrument", "temperature", "note", "photo", "photo digest"]  # fmt: skip
PART = ["item", "name", "kind", "position", "group", "carries", "index", "index at", "seen from", "tag", "touches", "towards", "sat in",
         "lost", "note"]  # fmt: skip
REMARK = ["note", "part", "of", "photo", "photo digest"]
CUSTODY = ["did", "part", "by", "from", "to", "when", "where", "bag", "note"]
OUTCOME = ["root", "mechanism", "none of these", "said", "position", "by", "how", "when", "changed", "note"]
_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[ T][0-9]{2}:[0-9]{2}")
_DATE = re.compile(r"[0-9]{4}(-[0-9]{2}(-[0-9]{2})?)?")
EXPECTED = ["root", "mechanism", "cause", "one of", "also", "position", "ruled out", "none of these", "source", "shows"]
MOST_RECORDS = 5000
_AS_TEXT = json.JSONEncoder(ensure_ascii=False, sort_keys=True)


def positions_of(arrangement: str) -> tuple[str, ...]:
    """The seal positions of an arrangement, from the product outwards."""
    if arrangement == "three stages":
        return ("inboard", "middle", "outboard")
    return ("inboard", "outboard") if arrangement.startswith("dual") else ("seal",)


def record_id(letter: str, *content: object) -> str:
    """An identity made from content alone, so that it does not depend on order or line."""
    return letter + hashlib.sha1(_AS_TEXT.encode(content).encode()).hexdigest()[:10]


def is_date(text: str) -> bool:
    """Whether a text is a year, a month or a day as ISO 8601 writes them: 2026, 2026-03, 2026-03-02."""
    if not _DATE.fullmatch(text):
        return False
    try:
        date.fromisoformat(text + "-01-01"[len(text) - 4 :])
    except ValueError:
        return False
    return True


def dates_in(text: str) -> list[str]:
    """The days that a date written with its year last may mean: day or month first."""
    found = re.fullmatch(r"(\d{1,2})[-./ ](\d{1,2})[-./ ](\d{4})", text.strip())
    one, other, year = map(int, found.groups()) if found else (0, 0, 0)
    both = (f"{year:04}-{month:02}-{day:02}" for day, month in ((one, other), (other, one)))
    return [text for text in dict.fromkeys(both) if is_date(text)]


def is_time(text: str) -> bool:
    """Whether a text is a date, or a day with the time of day: 2026-03-02 14:30."""
    if not _TIME.fullmatch(text):
        return is_date(text)
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True

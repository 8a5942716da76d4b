"""Figures in a phrase: numbers with units, clock positions, times, and which one of several.

Each is taken out of the text and stands there as one private sign, so that its words are not read again.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

MOST_LIFTED = 12
FIRST = 0xE000
_PRIVATE = re.compile("[\ue000-\uf8ff]")
_NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_WORDS = {word: str(n) for n, word in enumerate(_NUMBERS, 1)} | {
    "a couple of": "2",
    "half a dozen": "6",
    "a dozen": "12",
}
_WRITTEN = "|".join(sorted(_WORDS, key=len, reverse=True))
_N = r"[-+]?(?:\d{1,7}(?:[.,]\d{1,4})?|[.,]\d{1,4})"
_ABOUT = r"(?:about|around|approx(?:imately)?\.?|roughly|nearly|almost|some|circa|ca\.?|~)\s*"
_RANGE = rf"(?:({_ABOUT})?)({_N}|{_WRITTEN})(?:\s?(?:to|-|–|/|or|and)\s?({_N}|{_WRITTEN}))?"

_UNITS: dict[str, tuple[str, ...]] = {
    "bar g": (r"bar\s?\(?g\)?", "bar gauge"), "bar a": (r"bar\s?\(?a\)?", "bar abs(?:olute)?"), "bar": ("bars?",),
    "mbar": ("mbar",), "psi g": (r"psi\s?\(?g\)?",), "psi a": (r"psi\s?\(?a\)?",), "psi": ("psid?", "pounds", "lbs/in2", "lbs"),
    "MPa": ("mpa",), "kPa": ("kpa",), "°C": (r"°\s?c", r"deg(?:rees?|s)?\.?\s?c(?:elsius|entigrade)?", "celsius", "centigrade"),
    "°F": (r"°\s?f", r"deg(?:rees?|s)?\.?\s?f(?:ahrenheit)?", "fahrenheit"), "K": ("kelvin",),
    "mm": ("mm", "mil+imet(?:re|er)s?"), "cm": ("cm",), "µm": ("[µμu]m", "microns?", "micromet(?:re|er)s?"),
    "thou": ("thou", "mils?", "thousandths?"), "inch": ("inch(?:es)?", '"'), "mm/s": (r"mm\s?/\s?s(?:ec)?", "mm (?:per|an?) sec(?:ond)?", r"mil+s? (?:per|an?) sec(?:ond)?"),
    "drops/min": (r"(?:d(?:ro|ri)?ps?|drp)\s?(?:/|per|an?|in a|every|each)?\s?min(?:ute)?", "dpm"),
    "drops/s": (r"(?:d(?:ro|ri)?ps?|drp)\s?(?:/|per|a|in a|every|each)\s?s(?:ec(?:ond)?)?",),
    "drops/h": (r"(?:d(?:ro|ri)?ps?|drp)\s?(?:/|per|an|in an|every|each)\s?h(?:(?:ou)?r)?",),
    "mL/day": (r"(?:ml|cc)\s?(?:/|per|an?|every|each)\s?d(?:ay)?",), "L/day": (r"l(?:it(?:re|er)s?)?\s?(?:/|per|an?|every|each)\s?d(?:ay)?",),
    "mL/h": (r"ml\s?(?:/|per|an?)\s?h(?:ou)?r?", r"cc\s?(?:/|per|an?)\s?h(?:ou)?r?"),
    "mL/min": (r"ml\s?(?:/|per|a)\s?min(?:ute)?", r"cc\s?(?:/|per|a)\s?min(?:ute)?"),
    "L/h": (r"l(?:it(?:re|er)s?)?\s?(?:/|per|an?)\s?h(?:ou)?r?",), "L/min": (r"l(?:it(?:re|er)s?)?\s?(?:/|per|a)\s?min(?:ute)?", "lpm"),
    "gpm": ("gpm",), "m³/h": (r"n?m[3³]\s?/\s?h(?:r|our)?", "cubic met(?:re|er)s? (?:per|an) hour", "(?:normal )?cubes?(?: an hour)?"), "g/h": (r"g\s?/\s?h",),
    "bar/min": (r"bar\s?(?:/|per|a)\s?min(?:ute)?",), "rpm": ("rpm", "revs", "rev/min"),
    "bands": (r"(?:light |helium |he )?bands",), "Shore A": (r"(?:°\s?)?shore(?: a)?", "duros?", "durometer", "irhd"),
    "N m": (r"n\s?m", "newton met(?:re|er)s?"), "N": ("newtons?",), "%": ("%", "per ?cent"), "ppm": ("ppm",),
    "µS/cm": (r"[µμu]s\s?/\s?cm", "microsiemens"), "cSt": ("cst", "centistokes?"), "mPa s": (r"mpa\s?s", "cp"), "V": ("v", "volts?"), "A": ("amps?",),
}  # fmt: skip
_GUESSED = {
    "°C": ("c",),
    "°F": ("f",),
    "inch": (r"in(?!\b.*\bout\b)",),
    "m": ("m",),
    "µm": ("mic",),
    "L/min": ("lit(?:re|er)s?",),
    "mm": ("mil",),
}
_TIMES = {"min": r"min(?:ute)?s?", "h": r"h(?:ou)?rs?|h", "days": r"days?", "weeks": r"w(?:ee)?ks?", "months": r"months?|mths?",
          "years": r"y(?:ea)?rs?"}  # fmt: skip
_THINGS = r"pins?|springs?|screws?|set ?screws?|bolts?|lugs?|pockets?|notch(?:es)?|studs?|convolutions?|coils?|o ?rings?|bearings?|plates?"

_CLOCK = r"o\s?['’`´.]?\s?c\.?(?:lock)?\b"
_HOUR = rf"(?:(1[0-2]|0?[1-9])(?:[:.]([0-5]\d))?|({'|'.join(_NUMBERS)}))"
_END = r"(?![\w°]|\s?/\s?[a-z])"


@dataclass(frozen=True)
class Lifted:
    """One figure. `kind`: amount, time, extent, which, count. `text` as a case file writes it; `said` as it stood;
    `guessed`: the unit or the meaning was not written out."""

    kind: str
    text: str
    said: str
    unit: str = ""
    guessed: bool = False


_TIME = re.compile(
    rf"(?:{_ABOUT})?(?:(?P<half>half)\s+an?|(?P<one>an?)|(?P<number>{_N}|{_WRITTEN}))(?P<more>\s+and\s+a\s+half)?\s+"
    rf"(?P<unit>{'|'.join(_TIMES.values())})(?P<behind>\s+and\s+a\s+half)?(?:\s+or\s+so)?"
)


def time_said(text: str) -> str:
    """The time that a whole text says, as a case file writes it: "about half a year", "five months"; "" where it says none."""
    match = _TIME.fullmatch(" ".join(text.lower().replace("-", " ").split()))
    unit = next((u for u, spelling in _TIMES.items() if match and re.fullmatch(spelling, match["unit"])), "")
    if match is None:
        return ""
    number = 0.5 if match["half"] else 1.0 if match["one"] else float(_number(match["number"]))
    return f"{number + 0.5 * bool(match['more'] or match['behind']):.10g} {unit}"


Make = Callable[[re.Match[str]], Lifted | None]


def lift(text: str) -> tuple[str, list[Lifted]]:
    """The text in lower case with every figure as one sign, chr(FIRST + n) for the n-th of the list."""
    text = _PRIVATE.sub(" ", unicodedata.normalize("NFKC", text)).lower()
    text = _DEGREES.sub(r" \1° ", _THOUSANDS.sub(r"\g<1>000", _POINT.sub("0.", text)))
    found: list[Lifted] = []

    def put(make: Make, match: re.Match[str]) -> str:
        lifted = make(match) if len(found) < MOST_LIFTED else None
        if lifted is None:
            return match.group()
        found.append(lifted)
        named = f"{lifted.unit} " if lifted.kind == "which" else ""
        return f" {named}{chr(FIRST + len(found) - 1)} "

    for pattern, make in _PATTERNS:
        text = pattern.sub(partial(put, make), text)
    return text, found


_ARC = re.compile(
    r"\b(?:over|for|goes|covers|only|some|through|roughly|nearly|about|round|around)\s+(?:(?:about|only|some|the)\s+)*\S+$"
)
"""How far round, not where: "goes about 270°"."""
_POINT = re.compile(r"(?<![\w.,])\.(?=\d)")
_THOUSANDS = re.compile(r"(?<![\w.,])(\d{1,3})k(?=\s?(?:h(?:ou)?rs?|h|rpm)\b)")
_DEGREES = re.compile(r"(?<![\w.,])(\d{1,3})\s?(?:deg(?:ree)?s?\b\.?|°)(?!\s?[cf]\b)")


def _number(text: str) -> str:
    return _WORDS.get(text, text.replace(",", ".").removeprefix("+"))


def _span(low: str, high: str | None, unit: str) -> str:
    return f"{_number(low)}{f' to {_number(high)}' if high else ''} {unit}".strip()


def _hour(hour: str | None, minutes: str | None, word: str | None) -> str:
    number = int(hour or _WORDS[word or "one"])
    return f"{number}:{minutes}" if minutes and minutes != "00" else str(number)


def _angle(text: str) -> str:
    """An angle as a clock position where it is a full or half hour."""
    degrees = int(text) % 360
    if degrees % 15:
        return f"{degrees}°"
    hour, half = divmod(degrees, 30)
    return f"{hour or 12}{':30' if half else ''}"


def _amount(unit: str, guessed: bool = False) -> Make:
    def make(m: re.Match[str]) -> Lifted:
        return Lifted("amount", _span(m.group(2), m.group(3), unit), m.group().strip(), unit, guessed)

    return make


def _angle_said(m: re.Match[str]) -> Lifted | None:
    if int(m.group(1)) > 360 or (m.group(2) and int(m.group(2)) > 360):
        return None
    if m.group(2):
        return Lifted("extent", f"{_angle(m.group(1))} to {_angle(m.group(2))}", m.group().strip())
    if _ARC.search(m.string[: m.end()]) and m.group(1) != "360":
        return Lifted("extent", "one sector", m.group().strip(), "", True)
    if m.group(1) == "360":
        return Lifted("extent", "all round", m.group().strip())
    return Lifted("extent", "at " + _angle(m.group(1)), m.group().strip(), "", "at " not in m.group())


def _patterns() -> Iterator[tuple[re.Pattern[str], Make]]:
    def at(m: re.Match[str]) -> Lifted:
        return Lifted("extent", "at " + _hour(*m.groups()[:3]), m.group().strip())

    def arc(m: re.Match[str]) -> Lifted:
        g = m.groups()
        return Lifted("extent", f"{_hour(*g[:3])} to {_hour(*g[3:6])}", m.group().strip())

    def time(unit: str) -> Make:
        return lambda m: Lifted("time", _span(m.group(2), m.group(3), unit), m.group().strip(), unit)

    def which(m: re.Match[str]) -> Lifted:
        of = f" of {m.group(3)}" if m.group(3) else ""
        return Lifted("which", f"{m.group(1)} {m.group(2)}{of}", m.group().strip(), m.group(1))

    def of(m: re.Match[str]) -> Lifted:
        return Lifted("count", f"{_number(m.group(1))} of {_number(m.group(2))}", m.group().strip())

    def bare(m: re.Match[str]) -> Lifted:
        return Lifted("extent", "at " + _hour(*m.groups()[:3]), m.group().strip(), "", True)

    lead, n = r"(?<![\w.,])", rf"({_N}|{_WRITTEN})"
    prefix = r"(?:\b(?:from|between|at|near|about|the)\s+)*"
    yield (
        re.compile(rf"{lead}{prefix}{_HOUR}(?:\s?{_CLOCK})?\s?(?:to|-|–|and|through|till|until)\s?{_HOUR}\s?{_CLOCK}"),
        arc,
    )
    yield re.compile(rf"{lead}{prefix}{_HOUR}\s?{_CLOCK}(?: position)?"), at
    yield re.compile(rf"{lead}{prefix}{_HOUR.replace('?:[:.]', '?::')}(?<=:\d\d){_END}(?: position)?"), at
    yield re.compile(rf"{lead}{prefix}(\d{{1,3}})\s*°?\s*(?:to|-|–)\s*(\d{{1,3}})\s?°(?!\s?[cf]\b)"), _angle_said
    yield re.compile(rf"{lead}{prefix}(\d{{1,3}})()\s?°(?!\s?[cf]\b)"), _angle_said
    yield (
        re.compile(
            rf"{lead}{n}\s?(?:of|out of|/)\s?(?:the\s|all\s)?{n}(?=\s(?:small |drive |set |gland |o )*(?:{_THINGS})\b|\s*$|\s*[,;.])"
        ),
        of,
    )
    for unit, spellings in sorted(_UNITS.items(), key=lambda u: -max(map(len, u[1]))):
        yield re.compile(rf"{lead}{_RANGE}\s?(?:{'|'.join(spellings)}){_END}"), _amount(unit)
    for unit, spelling in _TIMES.items():
        yield re.compile(rf"{lead}{_RANGE}\s?(?:{spelling}){_END}"), time(unit)
    yield (
        re.compile(
            rf"\b({_THINGS})\s(?:no\.?\s?|number\s|nr\.?\s?|#\s?)?(\d{{1,3}})(?![.,]\d)(?:\s?(?:of|/)\s?(\d{{1,3}}))?{_END}(?!\s?[cf]\b)"
        ),
        which,
    )
    yield re.compile(rf"\b(?:at|@)\s?{_HOUR}(?=\s*(?:$|[,;]|and\b|only\b))"), bare
    for unit, spellings in _GUESSED.items():
        yield re.compile(rf"{lead}{_RANGE}\s?(?:{'|'.join(spellings)}){_END}(?!\.\w)"), _amount(unit, True)
    yield re.compile(rf"{lead}{_RANGE}\s?[a-zµμ]+\d?\s?/\s?[a-z]+"), _amount("?")


_PATTERNS = tuple(_patterns())

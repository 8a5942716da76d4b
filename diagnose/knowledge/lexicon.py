"""The words people use for the terms of the vocabulary, read from vocabulary/words/*.yaml.

Each file says once where its words were met (`met in`, a key of sources.yaml) and then, section by section, the term and
the words for it; a word met elsewhere, or one that must always be asked back, is written out:
{word: fretted, met in: o-ring-failure-guides, ask: why}.

What people say of a term without any of its words stands under `in other words`, likewise by section and term, as one text with
semicolons: a phrase is never read as one of these, only held near to them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from typing import TYPE_CHECKING

from msgspec import field

from diagnose.reading.entry import NOWHERE, Entry
from diagnose.reading.located import Node, only_keys, text_under
from diagnose.reading.problems import Problems, Where
from diagnose.reading.terms import did_you_mean, plain

if TYPE_CHECKING:
    from diagnose.knowledge.model import Vocabulary

FOLDER = "vocabulary/words/"
QUALIFIERS = ("sides", "degrees", "extents")
OTHER_WORDS = "in other words"
SAID_OTHERWISE = ("features", "absent", "acts", "values")
"""The sections that `in other words` has."""
CUES = {
    "denied": "what follows is not so",
    "denied before": "what stands before is not so",
    "not denied": "has a denying word in it and denies nothing",
    "but for": "what follows is kept out of a denial before it",
    "not looked": "nobody looked, or nobody could tell",
    "doubted": "the writer is not sure",
    "meant": "to be done or looked for, not seen",
    "earlier": "of another time than this failure",
    "heard": "said by others",
    "blamed": "what follows is thought to be the cause",
    "done": "something was done",
    "place": "what follows is where, not what",
}
EXTENTS = ("all round", "one sector", "patches")


class Said(Entry, frozen=True):
    """A word or phrase for a term, the source it was met in, and why it must be asked back, if it must."""

    text: str
    met: str
    ask: str = ""
    where: Where = NOWHERE


class Lexicon(Entry, frozen=True):
    """`same`: words of one meaning, by one of them; `terms`: by section, then by term; `qualifiers` likewise; `cues` by
    what they do; `idle` words say nothing; `whole` words are not taken apart into stem and ending; `others`: what is said in
    other words, by section, then by term."""

    same: Mapping[str, tuple[Said, ...]] = field(default_factory=dict)
    terms: Mapping[str, Mapping[str, tuple[Said, ...]]] = field(default_factory=dict)
    qualifiers: Mapping[str, Mapping[str, tuple[Said, ...]]] = field(default_factory=dict)
    cues: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    idle: tuple[str, ...] = ()
    whole: tuple[str, ...] = ()
    others: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)

    def every(self) -> Iterable[Said]:
        """Every word with a source."""
        for table in (self.same, *self.terms.values(), *self.qualifiers.values()):
            for said in table.values():
                yield from said


def lexicon_terms(v: Vocabulary) -> dict[str, Collection[str]]:
    """The terms of each section of a file of words; a setting's is written "setting: term"; what stands under a feature in
    `absent` says without a denying word that it is not so."""
    settings = [f"{name}: {term}" for name, setting in v.settings.items() for term in setting.terms]
    g = v.grammar
    values = [f"{variable.name}: {value}" for variable in g.variables.values() for value in variable.words]
    return {
        "kinds": v.kinds, "features": v.features, "absent": v.features, "settings": settings, "readings": v.readings, "sides": v.sides,
        "degrees": v.degrees, "extents": EXTENTS, "points": g.points, "variables": g.variables, "values": values, "acts": g.acts,
        "substances": g.substances, "moments": g.moments, **{f"{name}s": table for name, table in g.qualifiers.items() if name != "made of"},
    }  # fmt: skip


class LexiconReader:
    """Reads the files of words; problems are added. `known`: the terms of each section."""

    def __init__(self, nodes: Mapping[str, Node], known: Mapping[str, Collection[str]], sources: Collection[str],
                 problems: Problems):  # fmt: skip
        self.nodes = {name: node for name, node in nodes.items() if name.startswith(FOLDER)}
        self.known, self.sources, self.problems = known, sources, problems

    def read(self) -> Lexicon:
        same: dict[str, list[Said]] = {}
        tables: dict[str, dict[str, list[Said]]] = {}
        plain_lists: dict[str, list[str]] = {}
        others: dict[str, dict[str, tuple[str, ...]]] = {section: {} for section in SAID_OTHERWISE}
        for _, node in sorted(self.nodes.items()):
            allowed = ["met in", "same", *self.known, "cues", "idle", "whole", OTHER_WORDS]
            only_keys(node, allowed, "a file of words", self.problems)
            met = self.source(node, "met in")
            for section, inner in node.items():
                if section == "same":
                    self.fill(same, inner, met, lambda _: True, "word")
                elif section in self.known:
                    table = tables.setdefault(section, {})
                    self.fill(table, inner, met, self.known[section].__contains__, section)
                elif section == OTHER_WORDS:
                    self.fill_others(others, inner)
                elif section in ("idle", "whole"):
                    plain_lists.setdefault(section, []).extend(self.texts(inner))
                elif section == "cues":
                    for cue, words in inner.items():
                        if cue not in CUES:
                            self.say(inner.key_place(cue), "unknown-cue", f"there is no cue {cue!r}", _near(cue, CUES))
                        plain_lists.setdefault("cues " + cue, []).extend(self.texts(words))
        self.refuse_twins(tables)
        frozen = {section: _frozen(table) for section, table in tables.items()}
        return Lexicon(
            _frozen(same), {s: t for s, t in frozen.items() if s not in QUALIFIERS},
            {s: t for s, t in frozen.items() if s in QUALIFIERS},
            {cue: tuple(plain_lists.get("cues " + cue, ())) for cue in CUES},
            tuple(plain_lists.get("idle", ())), tuple(plain_lists.get("whole", ())), others,
        )  # fmt: skip

    def say(self, where: Where, code: str, says: str, way_out: str = "") -> None:
        self.problems.add(where, code, says, way_out)

    def texts(self, node: Node) -> list[str]:
        for item in node.each():
            if not isinstance(item.value, str):
                self.say(item.where, "text", "words are a list of texts", "a word with a colon in it needs quotes")
        return [item.text() for item in node.each() if item.text()]

    def source(self, node: Node, key: str) -> str:
        name = text_under(node, key, self.problems, needed=True)
        if name and name not in self.sources:
            self.say((node.get(key) or node).where, "unknown-source", f"there is no source {name!r}",
                     _near(name, self.sources))  # fmt: skip
        return name

    def fill(self, table: dict[str, list[Said]], node: Node, met: str, known: Callable[[str], bool], what: str) -> None:
        for term, words in node.items():
            if not known(term):
                self.say(node.key_place(term), "unknown-term", f"there is no term {term!r} among the {what}",
                         _near(term, self.known.get(what, ())))  # fmt: skip
                continue
            table.setdefault(term, []).extend(filter(None, (self.said(item, met) for item in words.each())))

    def fill_others(self, others: dict[str, dict[str, tuple[str, ...]]], node: Node) -> None:
        only_keys(node, list(SAID_OTHERWISE), f"`{OTHER_WORDS}`", self.problems)
        for section, inner in node.items():
            for term, phrases in inner.items() if section in others else ():
                if term not in self.known[section]:
                    self.say(inner.key_place(term), "unknown-term", f"there is no term {term!r} among the {section}",
                             _near(term, self.known[section]))  # fmt: skip
                    continue
                said = tuple(phrase for part in phrases.text().split(";") if (phrase := part.strip()))
                if not said:
                    self.say(phrases.where, "text", "phrases are one text, with semicolons between them")
                others[section][term] = others[section].get(term, ()) + said

    def said(self, item: Node, met: str) -> Said | None:
        if item.is_map:
            only_keys(item, ["word", "met in", "ask"], "a word", self.problems)
            word = text_under(item, "word", self.problems, needed=True)
            met = self.source(item, "met in") if item.get("met in") else met
            return Said(word, met, text_under(item, "ask", self.problems), item.where) if word else None
        if not item.text():
            self.say(item.where, "text", "a word is text, or {word: …, met in: …, ask: …}")
            return None
        return Said(item.text(), met, "", item.where)

    def refuse_twins(self, tables: Mapping[str, Mapping[str, list[Said]]]) -> None:
        """A phrase stands for one term of a section (it can say that several are not so), or one value of a variable; a word that may be several is left to its
        senses elsewhere."""
        for section, table in tables.items():
            owner: dict[tuple[str, str], str] = {}
            for term, words in table.items():
                among = term.partition(": ")[0] if section == "values" else section
                for word in words:
                    other = owner.setdefault((among, plain(word.text)), term)
                    if other != term and section not in ("kinds", "absent"):
                        self.say(word.where, "shared-word", f"{word.text!r} stands for {other!r} and for {term!r}",
                                 "keep it with one of them")  # fmt: skip


def _near(word: str, known: Iterable[str]) -> str:
    return did_you_mean(word, known) or "see: diagnose terms"


def _frozen(table: Mapping[str, list[Said]]) -> dict[str, tuple[Said, ...]]:
    return {term: tuple(words) for term, words in table.items()}

"""What every reader of a file of the rule base needs: texts, words, numbers and names checked where they stand, and cards."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from diagnose.knowledge import model as m
from diagnose.knowledge.files import file_stem
from diagnose.reading.located import Node, only_keys, text_under
from diagnose.reading.problems import Problems, Where
from diagnose.reading.terms import did_you_mean
from diagnose.reading.units import BadUnit, amount, unit

STATUSES = ("draft", "trial", "accepted", "retired")
_FORMS = {
    "id": (r"[A-Z]+\d+", "a letter for the kind and a number, like F012"),
    "since": (r"\d+(\.\d+)*", "the version of the rule base, like 1.0"),
    "reviewed": (r"\d{4}-(0[1-9]|1[0-2])", "year and month, like 2026-11"),
}
"""How these keys of a card are written, and an example."""
Age = tuple[bool, tuple[int, ...], str]
CARD = ["id", "status", "since", "reviewed", "sources", "replaced by"]


class CardReader:
    def __init__(self, nodes: dict[str, Node], shown: str, problems: Problems, drafts: bool):
        self.nodes, self.shown, self.problems, self.drafts = nodes, shown, problems, drafts
        self.ids: dict[str, tuple[Age, Where]] = {}
        self.left_out: set[tuple[str, str]] = set()
        self.sources: dict[str, m.Source] = {}
        self.retired: dict[str, m.Retired] = {}

    # ---- small things -------------------------------------------------------------------------------------

    def say(self, where: Where, code: str, says: str, way_out: str = "") -> None:
        self.problems.add(where, code, says, way_out)

    def file(self, name: str) -> Node:
        node = self.nodes.get(name)
        if node is None:
            self.say(Where(f"{self.shown}/{name}"), "file-missing", "the rule base needs this file")
            return Node({}, Where(f"{self.shown}/{name}"))
        return node

    def section(self, name: str, key: str, allowed: Iterable[str] = ()) -> Node:
        """The mapping under `key` of a file, which may hold nothing else, or all that is `allowed`."""
        node = self.file(name)
        only_keys(node, list(allowed) or [key], "this file", self.problems)
        inner = node.get(key)
        if inner is not None and inner.value is not None and not inner.is_map:
            self.say(inner.where, "mapping", f"{key!r} must be a mapping of names")
        return inner if inner is not None and inner.is_map else Node({}, node.where)

    def text(self, node: Node, key: str, needed: bool = False) -> str:
        return text_under(node, key, self.problems, needed)

    def texts(self, node: Node, key: str) -> tuple[str, ...]:
        value = node.get(key)
        if value is None:
            return ()
        for item in value.each():
            if not isinstance(item.value, str):
                self.say(item.where, "text", f"{key!r} takes a list of texts")
        return tuple(item.text() for item in value.each() if item.text())

    def known(self, node: Node, key: str, table: Iterable[str], what: str) -> tuple[str, ...]:
        """The texts under `key`, each checked to be in `table`."""
        value = node.get(key)
        names = set(table)
        for item in value.each() if value else []:
            if item.text() not in names:
                self.say(item.where, f"unknown-{what.replace(' ', '-')}", f"there is no {what} {item.text()!r}",
                         self.successor(what, item.text()) or did_you_mean(item.text(), names))  # fmt: skip
        return tuple(i.text() for i in (value.each() if value else []) if i.text() in names)

    def successor(self, kind: str, name: str) -> str:
        """The way out for a name that is retired or a draft; empty for any other."""
        old = self.retired.get(name)
        if old and old.kind == kind and old.replaced_by:
            return f"it is retired: use {old.replaced_by}"
        return "it is a draft: give it status trial, or run with --with-drafts" if (kind, name) in self.left_out else ""

    def word(self, node: Node, key: str, table: Iterable[str], what: str, needed: bool = True) -> str:
        word = self.text(node, key, needed)
        names = list(table)
        if word and word not in names:
            value = node.get(key)
            assert value is not None
            way_out = did_you_mean(word, names) or f"allowed: {', '.join(names)}"
            self.say(value.where, "unknown-word", f"{word!r} is no {what}", way_out)
            return ""
        return word

    def number(self, node: Node, key: str) -> float:
        value = node.get(key)
        try:
            number = float(value.text()) if value else 0.0
            if number != number or abs(number) > 1e12:
                raise ValueError
            return number
        except ValueError:
            assert value is not None
            self.say(value.where, "number", f"{key!r} must be a number, not {value.text()!r}")
            return 0.0

    def cards(self, folder: str, kind: str) -> list[tuple[str, Node]]:
        """(name, node) of every item file in a folder; the file name must match the name in it."""
        result: list[tuple[str, Node]] = []
        for path in sorted(n for n in self.nodes if n.startswith(folder + "/")):
            node = self.nodes[path]
            name = self.text(node, kind, needed=True)
            if not name:
                continue
            stem = path.removeprefix(folder + "/").removesuffix(".yaml")
            if stem != file_stem(name):
                value = node.get(kind)
                assert value is not None
                self.say(
                    value.where, "file-name", f"{name!r} stands in {stem}.yaml", f"name the file {file_stem(name)}.yaml"
                )
            if any(name == other for other, _ in result):
                self.say(node.where, "twice", f"the {kind} {name!r} stands in two files", "keep one")
            status = self.text(node, "status")
            if status == "retired":
                id, successor = self.card(node, name)["id"], self.text(node, "replaced by")
                self.retired[name] = m.Retired(kind, name, id, successor, node.where)
            elif status != "draft" or self.drafts:
                result.append((name, node))
            else:
                self.left_out.add((kind, name))
        names = {name for name, _ in result}
        for old in (x for x in self.retired.values() if x.kind == kind and x.replaced_by not in names):
            self.say(old.where, "no-successor", f"{old.name!r} is retired and names no {kind} in its place",
                     did_you_mean(old.replaced_by, names) if old.replaced_by else "replaced by: NAME")  # fmt: skip
        return result

    def card(self, node: Node, name: str) -> dict[str, Any]:
        id = self.text(node, "id", needed=True)
        self.settle_id(id, node)
        for key, (form, way_out) in _FORMS.items():
            said = self.text(node, key, needed=True)
            if said and not re.fullmatch(form, said):
                self.say((node.get(key) or node).where, "form", f"{said!r} is no {key}", way_out)
        sources = self.source_keys(node)
        if not (node.get("sources") or Node(None, node.where)).each():
            self.say(
                node.where, "no-source", f"{name!r} names no source", "sources: [common-practice] where there is none"
            )
        return {
            "name": name, "id": id, "status": self.word(node, "status", STATUSES, "status"),
            "since": self.text(node, "since", needed=True), "reviewed": self.text(node, "reviewed", needed=True),
            "sources": sources, "where": node.where,
        }  # fmt: skip

    def settle_id(self, id: str, node: Node) -> None:
        """Of two cards with one id the newer one is told of, since ids are never changed."""
        place = (node.get("id") or node).where
        age = (self.text(node, "status") == "draft", _numbers(self.text(node, "since")), self.text(node, "reviewed"))
        older, first = self.ids.get(id, (age, place))
        if id and id in self.ids:
            wrong, right = (place, first) if age >= older else (first, place)
            self.say(wrong, "id-twice", f"the id {id!r} is used already at {right}", "give it a new one")
        self.ids[id] = min((older, first), (age, place))

    def source_keys(self, node: Node) -> tuple[str, ...]:
        return self.known(node, "sources", self.sources, "source")

    def read_terms(self, node: Node, key: str, settings: Mapping[str, m.Setting]) -> dict[str, str]:
        """Terms of settings under a key: {SETTING: TERM}."""
        result = {}
        for setting, term in (node.get(key) or Node({}, node.where)).items():
            if setting in settings and term.text() in settings[setting].terms:
                result[setting] = term.text()
            else:
                self.say(term.where, "unknown-setting", f"there is no setting {setting!r} with the term {term.text()!r}",
                         "see vocabulary/settings.yaml")  # fmt: skip
        return result

    def check_unit(self, node: Node, spelling: str) -> None:
        try:
            unit(spelling)
        except BadUnit as error:
            self.say(node.where, "unit", str(error))

    def amount(self, node: Node, like: str) -> float:
        try:
            number = amount(node.text())
            if number.kind != unit(like).kind:
                raise BadUnit(f"{node.text()!r} is not in a unit like {like or 'a bare number'}")
            return number.value
        except BadUnit as error:
            self.say(node.where, "unit", str(error), f"write it in {like}" if like else "")
            return 0.0

    def each(self, node: Node, key: str, read: Callable[[Node], Any]) -> tuple[Any, ...]:
        value = node.get(key)
        result = []
        for item in value.each() if value else []:
            if not item.is_map:
                self.say(item.where, "mapping", f"each entry of {key!r} is a mapping")
                continue
            made = read(item)
            if made is not None:
                result.append(made)
        return tuple(result)


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(int(n) for n in re.findall(r"\d+", version))

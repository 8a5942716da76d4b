"""The words of all cards as one table: findings and links by mechanism, to read across, to edit and to take back.

A row is a finding (its cells: how often each mechanism leaves it) or a cause or mechanism (how often it brings each
mechanism about); `otherwise` is the row's own word. With `of="cause"` the columns are causes and their direct signs.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diagnose.authoring.cards import both
from diagnose.authoring.checks.base import kind_of
from diagnose.casefile.writer import put
from diagnose.knowledge.files import contents_of
from diagnose.knowledge.model import Explained, Knowledge
from diagnose.knowledge.reader import build_knowledge
from diagnose.reading.located import Node, read_text
from diagnose.reading.problems import BadInput, Problem, Problems, Where
from diagnose.reading.terms import did_you_mean

HEAD = ("level", "name", "otherwise")
Key = tuple[str, str]


@dataclass(frozen=True)
class Matrix:
    """Words by (level, name) of the row and then by column; `otherwise` of each row that has one."""

    columns: tuple[str, ...]
    rows: tuple[Key, ...]
    otherwise: Mapping[Key, str]
    cells: Mapping[Key, Mapping[str, str]]


@dataclass(frozen=True)
class Change:
    """One word of one card. `old` or `new` is "" where there is no row."""

    level: str
    row: str
    column: str
    old: str
    new: str

    def __str__(self) -> str:
        said = f"{self.column}, {self.row}" if self.column else f"{self.row}, otherwise"
        return f"{said}: {self.old or 'no row'} -> {self.new or 'no row'}"


def matrix(knowledge: Knowledge, of: str = "mechanism", only: Sequence[str] = ()) -> Matrix:
    """The matrix over all mechanisms (or causes), or those named; rows without a word are left out then."""
    cards: Mapping[str, Explained] = knowledge.causes if of == "cause" else knowledge.mechanisms
    columns = tuple(c for c in sorted(cards) if not only or c in only)
    cells: dict[Key, dict[str, str]] = {("finding", f): {} for f in sorted(knowledge.findings)}
    for name in columns:
        for row in cards[name].leaves:
            cells["finding", row.finding][name] = row.seen
    if of == "mechanism":
        cells |= {(kind_of(c), c.name): {} for c in sorted(both(knowledge), key=lambda c: (kind_of(c), c.name))}
        for card in both(knowledge):
            for link in card.brings_about:
                if link.mechanism in columns:
                    cells[kind_of(card), card.name][link.mechanism] = link.seen
    own = {("finding", f.name): f.otherwise for f in knowledge.findings.values()}
    own |= {("mechanism", m.name): m.otherwise for m in knowledge.mechanisms.values()}
    rows = tuple(key for key in cells if cells[key] or not only)
    return Matrix(columns, rows, {k: own[k] for k in rows if k in own}, {k: cells[k] for k in rows})


def document(m: Matrix) -> dict[str, Any]:
    """The matrix as plain data."""
    rows = [
        {"level": k[0], "name": k[1], "otherwise": m.otherwise.get(k, ""), "cells": dict(m.cells[k])} for k in m.rows
    ]
    return {"columns": list(m.columns), "rows": rows}


def table(m: Matrix) -> str:
    """The matrix as CSV."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*HEAD, *m.columns])
    for key in m.rows:
        writer.writerow([*key, m.otherwise.get(key, ""), *(m.cells[key].get(c, "") for c in m.columns)])
    return out.getvalue()


def read(text: str, name: str, knowledge: Knowledge, of: str = "mechanism") -> Matrix:
    """A matrix from CSV, of some rows and columns or of all. Raises BadInput with every mistake at its place."""
    lines = text.removeprefix("\ufeff").splitlines()
    cut = ";" if lines and lines[0].count(";") > lines[0].count(",") else ","
    try:
        rows = list(csv.reader(lines, delimiter=cut))
    except csv.Error as error:
        raise BadInput(
            [Problem(Where(name), "table-rows", f"this is no table: {error}", "save it again as CSV")]
        ) from error
    head = [cell.strip() for cell in rows[0]] if rows else []
    table = _Table(name, head, matrix(knowledge, of), of, list(knowledge.words.seen))
    table.read_head()
    for number, row in enumerate(rows[1:], 2):
        if any(cell.strip() for cell in row):
            table.read_row(number, row)
    if not table.cells and not table.problems.found:
        table.say(len(lines), 1, "table-rows", "the table has no row of words", "save it again, whole")
    table.problems.raise_errors()
    return Matrix(tuple(table.columns.values()), tuple(table.cells), table.otherwise, table.cells)


class _Table:
    """A matrix being read from the rows of a table."""

    def __init__(self, name: str, head: list[str], whole: Matrix, of: str, words: list[str]):
        self.name, self.head, self.whole, self.of, self.words = name, head, whole, of, words
        self.columns = {i: c for i, c in enumerate(head) if c not in HEAD and c}
        self.otherwise: dict[Key, str] = {}
        self.cells: dict[Key, dict[str, str]] = {}
        self.problems = Problems()

    def say(self, line: int, column: int, code: str, says: str, way_out: str = "") -> None:
        self.problems.add(Where(self.name, line, column), code, says, way_out)

    def read_head(self) -> None:
        """Raises BadInput where it is not known what the rows are of."""
        if "level" not in self.head[:2] or "name" not in self.head[:2]:
            self.say(1, 1, "table-head", "the first line must begin with level, name", ",".join(HEAD))
            self.problems.raise_errors()
        for i, c in self.columns.items():
            if c not in self.whole.columns:
                near = did_you_mean(c, self.whole.columns)
                self.say(1, i + 1, f"unknown-{self.of}", f"there is no {self.of} {c!r}", near)
            elif list(self.columns.values()).count(c) > 1:
                self.say(1, i + 1, "twice", f"the column {c!r} stands twice", "keep one")
        if not self.columns and "otherwise" not in self.head:
            self.say(1, 1, "table-head", "the table has no column of words", "save it again, whole")

    def read_row(self, number: int, row: list[str]) -> None:
        head = self.head
        said = [cell.strip() for cell in row] + [""] * (len(head) - len(row))
        key = (said[head.index("level")], said[head.index("name")])
        known = self.whole.cells.get(key, {})
        # programs leave empty cells at the end of a row out; a row that ends before a word of the cards was cut off
        if any(i >= len(row) for i, c in self.columns.items() if known.get(c)) or any(said[len(head) :]):
            way_out = "save the table again, whole, with its empty cells and one sign between cells"
            self.say(number, 1, "cells", f"this row has {len(row)} cells, the first line {len(head)}", way_out)
            return
        if key not in self.whole.cells:
            near = did_you_mean(key[1], [n for level, n in self.whole.cells if level == key[0]])
            self.say(number, 1, "unknown-row", f"there is no {key[0] or 'level'} {key[1]!r}", near)
            return
        if key in self.cells:
            self.say(number, 1, "twice", f"the row {key[1]!r} stands twice", "keep one")
        self.cells[key] = {c: said[i] for i, c in self.columns.items()}
        if "otherwise" in head and key in self.whole.otherwise:
            self.otherwise[key] = said[head.index("otherwise")]
        for i, c in enumerate(head):
            if (i in self.columns or c == "otherwise") and said[i] and said[i] not in self.words:
                way_out = did_you_mean(said[i], self.words) or f"allowed: {', '.join(self.words)}"
                self.say(number, i + 1, "unknown-word", f"{said[i]!r} is no frequency word", way_out)
        if self.otherwise.get(key) == "":
            column = head.index("otherwise") + 1
            self.say(number, column, "missing-word", f"{key[1]!r} needs a word under otherwise")


def differences(old: Matrix, new: Matrix) -> list[Change]:
    """The words that a matrix changes, over its own rows and columns."""
    changes = []
    for key in new.rows:
        was, now = old.otherwise.get(key, ""), new.otherwise.get(key, old.otherwise.get(key, ""))
        changes += [Change(*key, "", was, now)] if was != now else []
        for c in new.columns:
            was, now = old.cells[key].get(c, ""), new.cells[key].get(c, "")
            changes += [Change(*key, c, was, now)] if was != now else []
    return changes


def apply(folder: Path, knowledge: Knowledge, changes: Sequence[Change], of: str = "mechanism") -> list[Path]:
    """Writes changed words into the cards, all or none; the files written. Comments and layout of the rest stay. Raises
    BadInput where the rule base would no longer read."""
    contents = contents_of(folder)
    changed = dict(contents)
    for change in changes:
        file, what, name = _place(knowledge, change, of)
        changed[file] = _edited(changed[file], change, what, name)
    problems = Problems()
    build_knowledge(changed, knowledge.folder, problems)
    problems.raise_errors()
    written = [n for n in contents if changed[n] != contents[n]]
    for n in written:
        put(folder / n, changed[n])
    return [folder / n for n in written]


def _place(knowledge: Knowledge, change: Change, of: str) -> tuple[str, str, str]:
    """The file of the card that holds a word, its list, and what the row names."""
    if not change.column:
        card = (knowledge.findings if change.level == "finding" else knowledge.mechanisms)[change.row]
        return _file(knowledge, card.where), "otherwise", ""
    if change.level == "finding":
        column = (knowledge.causes if of == "cause" else knowledge.mechanisms)[change.column]
        return _file(knowledge, column.where), "leaves", change.row
    return _file(knowledge, knowledge.card(change.row).where), "brings about", change.column


def _file(knowledge: Knowledge, where: Where) -> str:
    return where.file.removeprefix(knowledge.folder + "/")


def _edited(data: bytes, change: Change, what: str, name: str) -> bytes:
    """A card with one word changed, one row taken out, or one put behind the last of its list."""
    node = read_text(data, "", Problems())
    assert node is not None
    lines = data.decode("utf-8").splitlines(keepends=True)
    if what == "otherwise":
        return _with_word(lines, node.get("otherwise"), change.new)
    listed = node.get(what)
    items = listed.each() if listed else []
    slot = "finding" if what == "leaves" else "mechanism"
    mine = next((item for item in items if (value := item.get(slot)) is not None and value.text() == name), None)
    if mine is not None and change.new:
        return _with_word(lines, mine.get("seen"), change.new)
    if mine is not None:
        first, last = _span(mine, lines)
        del lines[first:last]
        if len(items) == 1:
            del lines[first - 1]
        return "".join(lines).encode()
    row = f"  - {{{slot}: {name}, seen: {change.new}}}\n"
    if items:
        at = _span(items[-1], lines)[1]
        row = re.match(r" *", lines[items[-1].where.line - 1])[0] + row.lstrip()  # type: ignore[index]
        lines.insert(at, row)
    else:
        if lines and not lines[-1].endswith("\n"):
            lines[-1] += "\n"
        lines += [f"\n{what}:\n", row]
    return "".join(lines).encode()


def _with_word(lines: list[str], node: Node | None, word: str) -> bytes:
    """A scalar in its place, quoted or not, written anew."""
    assert node is not None
    line, at = node.where.line - 1, node.where.column - 1
    rest = lines[line][at:]
    old = re.match(r"""(['"])%s\1|%s""" % ((re.escape(node.text()),) * 2), rest)
    assert old
    lines[line] = lines[line][:at] + word + rest[old.end() :]
    return "".join(lines).encode()


def _span(item: Node, lines: Sequence[str]) -> tuple[int, int]:
    """The lines of a list entry, the comments behind it left out: from its first to behind its last value."""
    last = max(x.where.line for x in _every(item))
    first = item.where.line
    text = "".join(lines[first - 1 : last])
    while text.count("{") > text.count("}") and last < len(lines):
        text += lines[last]
        last += 1
    return first - 1, last


def _every(node: Node) -> list[Node]:
    inner = [x for _, v in node.items() for x in _every(v)]
    if node.is_list:
        inner += [x for v in node.each() for x in _every(v)]
    return [node, *inner]


def unknown(names: Sequence[str], table: Mapping[str, object], what: str) -> None:
    """Raises BadInput for names that are not in a table."""
    wrong = [n for n in names if n not in table]
    if wrong:
        raise BadInput(
            Problem(Where("diagnose", 0, 0), f"unknown-{what}", f"there is no {what} {n!r}", did_you_mean(n, table))
            for n in wrong
        )

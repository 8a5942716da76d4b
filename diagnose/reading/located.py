"""YAML with the place of every value kept, read strictly.

Refused with a located problem: duplicate and non-text keys, anchors and aliases, tags,
several documents, files that are too large, too deep or not UTF-8.
"""

from __future__ import annotations

import errno
import re
from collections.abc import Iterator, Mapping
from functools import cached_property
from pathlib import Path

import yaml
from msgspec import Struct, field
from msgspec.structs import replace

from diagnose.reading.files import read_file
from diagnose.reading.problems import Problems, Where
from diagnose.reading.terms import printable

MOST_BYTES = 2_000_000
MOST_DEPTH = 40
MOST_MARKS = 250_000


_NULL = "tag:yaml.org,2002:null"
_NOTHING = frozenset(("", "~", "null", "Null", "NULL"))


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Tells nothing from text, and neither numbers nor dates: what is one of those is for who asks for it."""

    def resolve(self, kind: type[yaml.Node], value: str, implicit: tuple[bool, bool]) -> str:
        if kind is yaml.ScalarNode:
            return _NULL if implicit[0] and value in _NOTHING else self.DEFAULT_SCALAR_TAG
        return self.DEFAULT_SEQUENCE_TAG if kind is yaml.SequenceNode else self.DEFAULT_MAPPING_TAG


_PLAIN_TAGS = {
    "mapping": ("map",),
    "sequence": ("seq",),
    "scalar": ("str", "null", "int", "float", "bool", "timestamp", "merge", "value"),
}
_UNREAD = {
    errno.EISDIR: ("file-folder", "this is a folder, not a file", "name a file in it"),
    errno.ENOENT: ("file-missing", "there is no such file", "check the path"),
    errno.ENOTDIR: ("file-missing", "there is no such file", "check the path"),
    errno.EINVAL: (
        "file-unreadable",
        "this is no ordinary file but a device or a pipe",
        "copy what it gives into a file",
    ),
    errno.EFBIG: ("file-too-large", f"the file is larger than {MOST_BYTES:,} bytes", "split it"),
}
"""What is told of a file that cannot be read, by the number of the error: code, what is wrong, way out."""
NO_PLACE = Where("", 0, 0)
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\x80-\x84\x86-\x9f]")


class Node(Struct, frozen=True, dict=True):
    """A value and its place. `value` is None, str, list[Node] or dict[str, Node]; scalars stay text.

    `key_places` says where each key of a mapping stands.
    """

    value: str | list[Node] | dict[str, Node] | None
    where: Where
    key_places: Mapping[str, Where] = field(default_factory=dict)

    @property
    def is_map(self) -> bool:
        return isinstance(self.value, dict)

    @property
    def is_list(self) -> bool:
        return isinstance(self.value, list)

    @cached_property
    def has_empty_list(self) -> bool:
        """Whether a list in it, or it itself, is empty."""
        if isinstance(self.value, str) or self.value is None:
            return False
        inner = self.value.values() if isinstance(self.value, dict) else self.value
        return self.value == [] or any(node.has_empty_list for node in inner if not isinstance(node.value, str))

    def key_place(self, key: str) -> Where:
        return self.key_places.get(key, self.where)

    def text(self) -> str:
        return self.value if isinstance(self.value, str) else ""

    def items(self) -> Iterator[tuple[str, Node]]:
        yield from self.value.items() if isinstance(self.value, dict) else ()

    def each(self) -> list[Node]:
        """A list's members; a single value counts as a list of one, nothing as none."""
        if isinstance(self.value, list):
            return self.value
        return [] if self.value is None else [self]

    def get(self, key: str) -> Node | None:
        return self.value.get(key) if isinstance(self.value, dict) else None

    def members(self, key: str) -> list[Node]:
        """What is listed under a key, none where there is no such key."""
        value = self.get(key)
        return [] if value is None else value.each()

    def plain(self) -> object:
        """The bare value without places."""
        if isinstance(self.value, dict):
            return {k: v.plain() for k, v in self.value.items()}
        if isinstance(self.value, list):
            return [v.plain() for v in self.value]
        return self.value


def read_bytes(path: Path, name: str, problems: Problems) -> bytes | None:
    """The bytes of a file of sane size, or None with a problem added."""
    try:
        return read_file(path, MOST_BYTES)
    except OSError as error:
        code, says, way_out = _UNREAD.get(error.errno or 0, ("file-unreadable", "", "check its permissions"))
        problems.add(Where(name), code, says or f"the file cannot be read: {error.strerror}", way_out)
        return None


def bytes_of(path: Path) -> bytes:
    """The bytes of a file of sane size. Raises BadInput."""
    problems = Problems()
    data = read_bytes(path, str(path), problems)
    problems.raise_errors()
    assert data is not None
    return data


def read_text(data: bytes, name: str, problems: Problems) -> Node | None:
    """The one document in `data` as nodes, or None with problems added. `name` is shown in places."""
    if not _small(data, name, problems):
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line = before.count(b"\n") + 1
        column = error.start - (before.rfind(b"\n") + 1) + 1
        problems.add(Where(name, line, column), "not-utf8", "the file is not UTF-8 text", "save it as UTF-8")
        return None
    control = _CONTROL.search(text)
    if control:
        line = text.count("\n", 0, control.start()) + 1
        column = control.start() - (text.rfind("\n", 0, control.start()) + 1) + 1
        says = f"control character U+{ord(control.group()):04X} in the text"
        problems.add(Where(name, line, column), "control-character", says, "remove it")
        return None
    if not _shallow(text, name, problems):
        return None
    try:
        root = _compose(text)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        where = Where(name, mark.line + 1, mark.column + 1) if mark else Where(name)
        said = " ".join(str(x) for x in (error.context, error.problem) if x)
        way_out = "mend the indentation, quotes or brackets there; a text with a colon in it needs quotes"
        if mark and "\t" in "".join(text.split("\n")[mark.line : mark.line + 1])[: mark.column + 1]:
            said, way_out = "a tab stands here", "use spaces"
        problems.add(where, "yaml", f"this is not valid YAML: {said}", way_out)
        return None
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        problems.add(Where(name), "yaml", f"this is not valid YAML: {error}".splitlines()[0], "mend the file")
        return None
    if root is None:
        problems.add(Where(name), "empty", "the file is empty", "write at least the first key")
        return None
    return _convert(root, name, problems, set(), 0)


def node_of(value: object) -> Node:
    """Plain values as nodes without a place; nodes among them stay as they are."""
    if isinstance(value, Node):
        return value
    if isinstance(value, Mapping):
        return Node({key: node_of(inner) for key, inner in value.items()}, NO_PLACE)
    if isinstance(value, list):
        return Node([node_of(inner) for inner in value], NO_PLACE)
    return Node(None if value is None else str(value), NO_PLACE)


def can_be_read(data: bytes, name: str, problems: Problems) -> bool:
    """False, with a problem, where `read_text` would try no parser: too large, too many values or too deep."""
    return _small(data, name, problems) and _shallow(data.decode(), name, problems)


def _small(data: bytes, name: str, problems: Problems) -> bool:
    if len(data) > MOST_BYTES:
        problems.add(Where(name), "file-too-large", f"the file is larger than {MOST_BYTES:,} bytes", "split it")
    return len(data) <= MOST_BYTES


def _shallow(text: str, name: str, problems: Problems) -> bool:
    """False, with a problem, where values are so many or nest so deep that no parser should be tried."""
    if sum(map(text.count, ",:\n?")) > MOST_MARKS:
        problems.add(Where(name), "too-many", f"the file has more than {MOST_MARKS:,} values", "split it")
        return False
    depth = 0
    for number, line in enumerate(text.split("\n"), 1):
        indent = len(line) - len(line.lstrip(" -?"))
        marks = line[:indent].count("-") + line[:indent].count("?")
        depth = max(0, depth + line.count("[") + line.count("{") - line.count("]") - line.count("}"))
        if depth > MOST_DEPTH or marks > MOST_DEPTH or indent > 8 * MOST_DEPTH:
            problems.add(Where(name, number), "too-deep", f"values nest more than {MOST_DEPTH} deep", "flatten them")
            return False
    return True


def _compose(text: str) -> yaml.Node | None:
    loader = _Loader(text)
    try:
        return loader.get_single_node()
    finally:
        loader.dispose()


def _convert(node: yaml.Node, name: str, problems: Problems, seen: set[int], depth: int) -> Node:
    where = Where(name, node.start_mark.line + 1, node.start_mark.column + 1)
    if depth > MOST_DEPTH:
        problems.add(where, "too-deep", f"values nest more than {MOST_DEPTH} deep", "flatten them")
        return Node(None, where)
    if id(node) in seen:
        problems.add(where, "alias", "anchors and aliases are not used in these files", "write the value out again")
        return Node(None, where)
    seen.add(id(node))
    tag = node.tag.removeprefix("tag:yaml.org,2002:")
    if tag not in _PLAIN_TAGS[node.id]:
        problems.add(where, "tag", f"the tag {printable(node.tag)!r} is not used in these files", "remove it")
    if isinstance(node, yaml.MappingNode):
        result: dict[str, Node] = {}
        places: dict[str, Where] = {}
        last = ""
        for key, value in node.value:
            place = Where(name, key.start_mark.line + 1, key.start_mark.column + 1)
            if not isinstance(key, yaml.ScalarNode):
                problems.add(place, "key", "a key must be plain text", "quote it or restructure")
            elif _CONTROL.search(key.value):
                problems.add(place, "control-character", "control character in a key", "remove it")
            elif node.flow_style and last in result and _is_decimal(before := result[last], key, value):
                written = f"{before.text()},{key.value}"
                problems.add(
                    before.where,
                    "decimal-comma",
                    f"inside braces the comma of {written!r} parts two keys",
                    f"write {written.replace(',', '.')} or put it in quotes",
                )
                result[last] = replace(before, value=written)
            elif key.value in result:
                problems.add(place, "duplicate-key", f"the key {key.value!r} stands twice", "keep one of them")
            else:
                result[key.value] = _convert(value, name, problems, seen, depth + 1)
                places[key.value], last = place, key.value
        return Node(result, where, key_places=places)
    if isinstance(node, yaml.SequenceNode):
        return Node([_convert(item, name, problems, seen, depth + 1) for item in node.value], where)
    escaped = _CONTROL.search(node.value)
    if escaped:
        says = f"control character U+{ord(escaped.group()):04X} written as an escape"
        problems.add(where, "control-character", says, "remove it")
        return Node(None, where)
    if tag == "null":
        return Node(None, where)
    return Node(node.value, where)


def _is_decimal(before: Node, key: yaml.ScalarNode, value: yaml.Node) -> bool:
    """Whether a key of a mapping in braces is the rest of a number before it that was written with a comma."""
    bare = isinstance(value, yaml.ScalarNode) and value.value == "" and not value.style
    return bool(bare and re.fullmatch(r"[-+]?\d+", before.text()) and re.match(r"\d+(\s|$)", key.value))


def only_keys(node: Node, allowed: list[str], what: str, problems: Problems) -> None:
    """Adds a problem for each key of the mapping that is not among `allowed`."""
    for key, _ in node.items():
        if key not in allowed:
            way_out = problems.near(key, allowed) or f"allowed: {', '.join(allowed)}"
            problems.add(node.key_place(key), "unknown-key", f"{what} has no key {key!r}", way_out)


def text_under(node: Node, key: str, problems: Problems, needed: bool = False) -> str:
    """The text under a key, "" where there is none; a missing key that is needed, and anything but text, is a problem."""
    value = node.value.get(key) if isinstance(node.value, dict) else None
    if value is None or value.value is None:
        if needed:
            problems.add(node.where, "missing-key", f"the key {key!r} is missing")
        return ""
    if not isinstance(value.value, str):
        problems.add(value.where, "text", f"{key!r} must be text")
        return ""
    return value.value.strip()

"""The seals of a library as a table for analysts: Parquet or JSON lines, a row a seal, in pieces so that memory stays bounded."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import Any

from diagnose.library.store import Store

FORMS = (".parquet", ".jsonl")
PIECE = 2000
TEXTS = ("site", "file", "case", "position", "tag", "batch", "fitted", "removed", "removal")
NUMBERS = ("hours", "cost", "hours_lost", "none_of_these")


def rows(store: Store, site: str = "") -> Iterator[dict[str, Any]]:
    """Each seal as plain data; of its settings, findings, verdicts and outcomes a list each."""
    for where, file, seal in store.seals("seal.site = ?", (site,)):
        yield {
            "site": where, "file": file, **{k: v for k, v in vars(seal).items() if k in (*TEXTS, *NUMBERS)},
            "settings": [{"setting": s, "term": t} for s, t in seal.settings],
            "present": [f for f, there in seal.findings if there], "absent": [f for f, there in seal.findings if not there],
            "verdicts": [vars(v) for v in seal.verdicts],
            "outcomes": [{k: list(v) if isinstance(v, tuple) else v for k, v in vars(o).items()} for o in seal.outcomes],
        }  # fmt: skip


@contextmanager
def in_place(path: Path) -> Iterator[Path]:
    """A file to write that stands in the place of `path` once it is whole. Raises OSError."""
    new = path.with_name(f".{path.name}.new")
    try:
        yield new
        os.replace(new, path)
    finally:
        new.unlink(missing_ok=True)


def write(store: Store, path: Path, site: str = "") -> int:
    """Puts the table in place whole and returns how many seals it has. Raises OSError."""
    with in_place(path) as new:
        return (_parquet if path.suffix == ".parquet" else _lines)(rows(store, site), new)


def _lines(found: Iterator[dict[str, Any]], path: Path) -> int:
    count = 0
    with path.open("w", encoding="utf-8") as file:
        for row in found:
            file.write(json.dumps(row, ensure_ascii=False) + "\n")
            count += 1
        file.flush()
        os.fsync(file.fileno())
    return count


def _parquet(found: Iterator[dict[str, Any]], path: Path) -> int:
    import pyarrow as pa
    import pyarrow.parquet as pq

    text, names, number = pa.string(), pa.list_(pa.string()), pa.float64()
    form = pa.schema([
        *((t, text) for t in TEXTS), *((n, number) for n in NUMBERS),
        ("settings", pa.list_(pa.struct([("setting", text), ("term", text)]))), ("present", names), ("absent", names),
        ("verdicts", pa.list_(pa.struct([("kind", text), ("name", text), ("standing", text), ("probability", number)]))),
        ("outcomes", pa.list_(pa.struct([
            ("roots", names), ("mechanisms", names), ("none_of_these", pa.bool_()), ("by", text), ("how", text),
            ("day", text), ("changed", names),
        ]))),
    ])  # fmt: skip
    count = 0
    with pq.ParquetWriter(path, form) as out:
        while piece := list(islice(found, PIECE)):
            out.write_table(pa.Table.from_pylist(piece, form))
            count += len(piece)
    return count

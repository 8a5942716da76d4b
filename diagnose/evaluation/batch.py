"""Many cases to one table: judged in a pool of processes or by a cluster, in the order of their files.

Every finished case is written at once to a file of work in progress beside the table, so that an interrupted run can be
taken up again; the table itself is put in place whole.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import logging
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any

from diagnose.casefile.model import Case
from diagnose.casefile.reader import parse_case
from diagnose.casefile.writer import put
from diagnose.inference.run import RuleBase, load, settle
from diagnose.judgement.diagnosis import Diagnosis, network_of
from diagnose.judgement.judge import Judged, Judgement
from diagnose.reading.files import read_file, shown_name
from diagnose.reading.located import read_bytes
from diagnose.reading.problems import BadInput, Problem, Problems, Where

TEXTS = ("file", "case", "digest", "knowledge", "position", "mechanism", "mechanism_standing", "root", "root_standing",
         "second_root")  # fmt: skip
COUNTS = ("present", "absent", "ruled_out")
NUMBERS = ("mechanism_probability", "root_probability", "second_probability", "none_of_these")
COLUMNS = ("file", "case", "digest", "knowledge", "position", "mechanism", "mechanism_standing", "mechanism_probability",
           "root", "root_standing", "root_probability", "second_root", "second_probability", "none_of_these", "present",
           "absent", "ruled_out")  # fmt: skip
FORMS = (".csv", ".jsonl", ".parquet")
A_CHUNK = 4
AHEAD = 4
"""Chunks that wait on a cluster for each of its cores."""
PATIENCE = 60.0
"""Seconds without any worker after which a cluster is given up."""
MOST_PROBLEMS = 20
FORMULA_SIGNS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
"""What a cell of a spreadsheet begins with that is a formula (as OWASP lists them, from memory)."""
MOST_TABLE_BYTES = 1_000_000_000
Row = dict[str, Any]


@dataclass(frozen=True)
class Work:
    """One case file: its name in the table and its bytes."""

    name: str
    data: bytes

    @property
    def digest(self) -> str:
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True)
class Done:
    """A judged case: what is kept of each seal position, rows of the table if nothing else is asked for, or what is wrong
    with it."""

    name: str
    rows: tuple[Any, ...] = ()
    problems: tuple[str, ...] = ()


Keep = Callable[[Case, Sequence[Judgement]], tuple[Any, ...]]
"""What is kept of a judged case. A function of a module, so that other processes find it."""


@dataclass
class Table:
    """Rows by file; `broken` are the files that gave none, each with its problems."""

    rows: dict[str, tuple[Row, ...]] = field(default_factory=dict)
    broken: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def in_order(self) -> list[Row]:
        return [row for name in sorted(self.rows) for row in self.rows[name]]


@lru_cache(maxsize=1)
def _opened(folder: str) -> RuleBase:
    base = load(Path(folder))
    base.reasoner.build()
    network_of(base)
    settle()
    return base


def judge_chunk(folder: str, chunk: Sequence[Work], seconds: float = 0.0, keep: Keep | None = None) -> list[Done]:
    """Judges some cases with the rule base of a folder, which a process opens once; a case that computes for more than
    some seconds is left, 0 for none."""
    result = []
    for work in chunk:
        base = _opened(folder)
        try:
            with _at_most(seconds):
                result.append(judge_one(work, base, keep))
        except _TooLong:
            # what was broken off may be half done
            _opened.cache_clear()
            result.append(Done(work.name, problems=(f"{work.name}: left after {seconds:g} seconds of computing",)))
    return result


class _TooLong(BaseException):
    """No mistake that anybody should catch on the way."""


@contextmanager
def _at_most(seconds: float) -> Iterator[None]:
    """Raises _TooLong inside after so many seconds of computing. Only the main thread can be told so."""
    if not seconds or threading.current_thread() is not threading.main_thread():
        yield
        return

    def leave(*_: object) -> None:
        raise _TooLong

    before = signal.signal(signal.SIGPROF, leave)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def judge_one(work: Work, base: RuleBase, keep: Keep | None = None) -> Done:
    """Judges one case. Whatever goes wrong with it is told of it and leaves the others alone."""
    problems = Problems()
    try:
        case = parse_case(work.data, work.name, base.knowledge, problems)
        if case is None or problems.errors():
            return Done(work.name, problems=_told(work.name, problems))
        judgements = Diagnosis(case, base).judgements
        if keep:
            return Done(work.name, keep(case, judgements))
        digests = {"file": work.name, "case": case.name, "digest": case.digest, "knowledge": base.knowledge.digest}
        return Done(work.name, tuple(digests | _row(j) for j in judgements))
    except Exception as error:  # one bad case must not end the run
        return Done(work.name, problems=(f"{work.name}: the case cannot be judged: {type(error).__name__}: {error}",))


def _told(name: str, problems: Problems) -> tuple[str, ...]:
    errors = [str(p) for p in problems.errors()]
    more = len(errors) - MOST_PROBLEMS
    return (*errors[:MOST_PROBLEMS], *([f"{name}: and {more} more errors"] if more > 0 else ()))


def _row(judgement: Judgement) -> Row:
    """The leading mechanism and root cause with their standing; a rule base may have none of either."""
    states = judgement.states
    return {
        "position": judgement.position, **_leading("mechanism", judgement.mechanisms),
        **_leading("root", judgement.causes), "second_root": _name(judgement.causes[1:]),
        "second_probability": _chance(judgement.causes[1:]), "none_of_these": round(judgement.none_of_these, 6),
        "present": sum(states.values()), "absent": len(states) - sum(states.values()),
        "ruled_out": sum(j.standing == "ruled out" for j in judgement.causes),
    }  # fmt: skip


def _leading(level: str, ranked: Sequence[Judged]) -> Row:
    standing = ranked[0].standing if ranked else ""
    return {level: _name(ranked), f"{level}_standing": standing, f"{level}_probability": _chance(ranked)}


def _name(ranked: Sequence[Judged]) -> str:
    return ranked[0].name if ranked else ""


def _chance(ranked: Sequence[Judged]) -> float:
    return round(ranked[0].probability, 6) if ranked else 0.0


def works(folder: Path, paths: Iterable[Path], table: Table) -> list[Work]:
    """The readable ones of some case files, by name; what cannot be read is broken."""
    result = []
    for path in paths:
        name, problems = shown_name(path.relative_to(folder)), Problems()
        data = read_bytes(path, name, problems)
        if data is None:
            table.broken[name] = _told(name, problems)
        else:
            result.append(Work(name, data))
    return sorted(result, key=lambda w: w.name)


def run(
    todo: Sequence[Work], folder: Path, table: Table, workers: int, progress: Path, tell: Callable[[int], None],
    cluster: str = "", seconds: float = 0.0,
) -> None:  # fmt: skip
    """Judges all of `todo` into `table`, writing each finished case to `progress`. `tell` hears how many are done."""
    with progress.open("a", encoding="utf-8") as log:
        for done in judged(todo, folder, workers, cluster, seconds):
            for one in done:
                if one.problems:
                    table.broken[one.name] = one.problems
                else:
                    table.rows[one.name] = one.rows
                    log.writelines(json.dumps(row, ensure_ascii=False) + "\n" for row in one.rows)
            log.flush()
            tell(len(done))


def judged(
    todo: Iterable[Work], folder: Path, workers: int, cluster: str = "", seconds: float = 0.0, keep: Keep | None = None
) -> Iterator[list[Done]]:
    """The cases as they are judged, in a pool of processes or by a cluster; `todo` is taken only as far ahead as keeps
    them busy."""
    cases = iter(todo)
    chunks = iter(lambda: list(islice(cases, A_CHUNK)), [])
    return _by_cluster(chunks, folder, cluster, keep) if cluster else _by_pool(chunks, folder, workers, seconds, keep)


def _by_pool(
    chunks: Iterator[list[Work]], folder: Path, workers: int, seconds: float, keep: Keep | None
) -> Iterator[list[Done]]:
    """Chunks as they are finished. A process that dies takes its chunk with it: those cases are then judged one by one,
    and the one that kills its process again is broken."""
    chunk = next(chunks, None)
    while chunk:
        lost: list[list[Work]] = []
        with ProcessPoolExecutor(workers, initializer=_end_with_parent) as pool:
            running: dict[Future[list[Done]], list[Work]] = {}
            while chunk or running:
                while chunk and len(running) < 2 * workers and not lost:
                    try:
                        running[pool.submit(judge_chunk, str(folder), chunk, seconds, keep)] = chunk
                    except BrokenProcessPool:
                        lost.append(chunk)
                    chunk = next(chunks, None)
                if not running:
                    break
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    ended = running.pop(future)
                    try:
                        yield future.result()
                    except BrokenProcessPool:
                        lost.append(ended)
        for work in (work for some in lost for work in some):
            yield [_alone(work, folder, seconds, keep)]


def _alone(work: Work, folder: Path, seconds: float, keep: Keep | None) -> Done:
    with ProcessPoolExecutor(1, initializer=_end_with_parent) as pool:
        try:
            return pool.submit(judge_chunk, str(folder), [work], seconds, keep).result()[0]
        except BrokenProcessPool:
            return _killed(work)


def _end_with_parent() -> None:
    """Ends this process when the one that started it is killed and can tell it nothing any more."""
    parent = multiprocessing.parent_process()

    def wait_and_end() -> None:
        if parent:
            parent.join()
            os._exit(1)

    threading.Thread(target=wait_and_end, daemon=True).start()


def _by_cluster(chunks: Iterator[list[Work]], folder: Path, address: str, keep: Keep | None) -> Iterator[list[Done]]:
    """The same map on the workers of a Dask cluster, which need this package and the rule base's folder. Workers that die
    are taken for killed by a case of theirs: those are judged again one by one. Raises BadInput where no scheduler answers, or
    no worker for long."""
    from dask.distributed import Client, KilledWorker

    logging.getLogger("distributed.client").setLevel(logging.CRITICAL)  # what it would log is told here
    try:
        cluster = Client(address)
    except (OSError, ValueError) as error:
        raise _no_cluster(address, f"no scheduler answers: {error}", "start one: dask scheduler") from error
    with cluster as client:
        running: dict[Any, list[Work]] = {}
        lost, alone = list[Work](), list[Work]()

        def hand_over(some: list[Work]) -> None:
            running[client.submit(judge_chunk, str(folder), some, 0.0, keep, pure=False)] = some

        for chunk in islice(chunks, AHEAD * max(1, sum(client.ncores().values()))):
            hand_over(chunk)
        while running or lost:
            if not running:
                alone = [lost.pop()]  # so that no other can have killed its worker
                hand_over(alone)
            for future in _finished(client, list(running), address):
                ended = running.pop(future)
                if future.status == "finished":
                    yield _result(future, address)
                elif not isinstance(ill := future.exception(), KilledWorker):
                    raise ill
                elif ended is not alone:
                    lost += ended
                else:
                    yield [_killed(ended[0])]
                for chunk in islice(chunks, 1):
                    hand_over(chunk)


def _result(future: Any, address: str) -> list[Done]:
    """What one that has ended brought. Raises BadInput where the scheduler that keeps it is gone."""
    try:
        return future.result()
    except (OSError, CancelledError) as error:
        raise _gone(address) from error


def _finished(client: Any, running: list[Any], address: str) -> set[Any]:
    """Those that have ended, at least one. Raises BadInput where the cluster is gone."""
    from dask.distributed import wait

    since = time.monotonic()
    try:
        while True:
            try:
                return set(wait(running, timeout=1, return_when="FIRST_COMPLETED").done)
            except TimeoutError:
                since = time.monotonic() if client.ncores() else since
            if time.monotonic() - since > PATIENCE:
                raise _no_cluster(address, "no worker is there any more", "start some: dask worker")
    except (OSError, CancelledError) as error:
        raise _gone(address) from error


def _gone(address: str) -> BadInput:
    return _no_cluster(address, "the scheduler answers no longer", "start one: dask scheduler")


def _no_cluster(address: str, says: str, way_out: str) -> BadInput:
    return BadInput([Problem(Where(address), "scheduler", says, f"{way_out}; then run again (batch: with --resume)")])


def _killed(work: Work) -> Done:
    return Done(work.name, problems=(f"{work.name}: the case ended the process that judged it",))


def known(path: Path, progress: Path, knowledge: str) -> dict[tuple[str, str], tuple[Row, ...]]:
    """Rows of an earlier run by (file, case digest), for the same rule base; what cannot be read is left out."""
    rows: dict[tuple[str, str], dict[str, Row]] = {}
    for row in [*_read(path), *_read(progress, ".jsonl")]:
        if set(row) == set(COLUMNS) and row["knowledge"] == knowledge:
            rows.setdefault((row["file"], row["digest"]), {})[row["position"]] = row
    return {key: tuple(by_position.values()) for key, by_position in rows.items()}


def _read(path: Path, form: str = "") -> list[Row]:
    if not path.is_file():
        return []
    form = form or path.suffix
    try:
        if form == ".parquet":
            import pyarrow.parquet as pq

            return list(pq.read_table(path).to_pylist())
        text = read_file(path, MOST_TABLE_BYTES).decode()
        if form == ".jsonl":
            return [row for line in text.splitlines() if (row := _line(line))]
        return [_typed(row) for row in csv.DictReader(io.StringIO(text))]
    except (OSError, ValueError, AttributeError, KeyError, TypeError, csv.Error):
        return []


def _line(line: str) -> Row | None:
    """A line of work in progress; None for the last one of a run that was cut off."""
    try:
        row = json.loads(line)
    except ValueError:
        return None
    return row if isinstance(row, dict) else None


def _typed(row: dict[str, Any]) -> Row:
    return (
        row | {c: _text(row[c]) for c in TEXTS} | {c: int(row[c]) for c in COUNTS} | {c: float(row[c]) for c in NUMBERS}
    )


def _cell(text: str) -> str:
    """A text as no spreadsheet takes it for a formula."""
    return f"'{text}" if text.lstrip().startswith(FORMULA_SIGNS) else text


def _text(cell: str) -> str:
    """The text back from `_cell`."""
    bare = cell.removeprefix("'")
    return bare if _cell(bare) == cell else cell


def write(path: Path, rows: Sequence[Row]) -> None:
    """Puts the table in place whole. Raises OSError."""
    out = io.StringIO(newline="")
    if path.suffix == ".parquet":
        import pyarrow as pa
        import pyarrow.parquet as pq

        kinds = {c: pa.int64() if c in COUNTS else pa.float64() if c in NUMBERS else pa.string() for c in COLUMNS}
        sink = pa.BufferOutputStream()
        pq.write_table(pa.Table.from_pylist(list(rows), pa.schema(list(kinds.items()))), sink)
        put(path, sink.getvalue().to_pybytes())
        return
    if path.suffix == ".jsonl":
        out.writelines(json.dumps({c: row[c] for c in COLUMNS}, ensure_ascii=False) + "\n" for row in rows)
    else:
        table = csv.DictWriter(out, COLUMNS, lineterminator="\n")
        table.writeheader()
        table.writerows(row | {c: _cell(row[c]) for c in TEXTS} for row in rows)
    put(path, out.getvalue().encode())

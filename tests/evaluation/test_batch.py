"""Many cases to one table: one bad case stops nothing, order is fixed, a run can be taken up again."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import Mock

import pytest

from diagnose.evaluation import batch
from diagnose.inference.run import load
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.reading.problems import BadInput

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "tests" / "small"


@pytest.fixture
def cases(tmp_path):
    folder = tmp_path / "cases"
    (folder / "deep").mkdir(parents=True)
    text = (SMALL / "case.yaml").read_text("utf-8")
    for i in range(40):
        name = f"deep/c{i:02}.yaml" if i % 2 else f"c{i:02}.yaml"
        (folder / name).write_text(text.replace("A small case", f"Case {i}"), "utf-8")
    (folder / "c03-broken.yaml").write_text("case: [", "utf-8")
    (folder / "c04-wrong.yaml").write_text("case: c\nobservations: [{on: shaft, saw: bnet}]", "utf-8")
    return folder


def run(folder: Path, out: str, *more: str, code: int = 1) -> str:
    environment = {**os.environ, "DIAGNOSE_KNOWLEDGE": str(SMALL / "knowledge"), "DIAGNOSE_CACHE": "off"}
    done = subprocess.run(
        [sys.executable, "-m", "diagnose", "batch", str(folder), "-o", out, "--workers", "2", *more],
        cwd=folder.parent,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == code, done.stderr
    return done.stdout + done.stderr


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_sound_case_is_in_the_table_and_every_broken_one_is_listed(cases, tmp_path):
    told = run(cases, "t.csv")
    table = rows(tmp_path / "t.csv")
    assert [r["file"] for r in table] == sorted(p.relative_to(cases).as_posix() for p in cases.rglob("c??.yaml"))
    assert "c03-broken.yaml:2:1: " in told and "bent" in told and "2 of 42 cases are broken" in told
    base = load(SMALL / "knowledge")
    work = batch.Work("c00.yaml", (cases / "c00.yaml").read_bytes())
    (one,) = batch.judge_one(work, base).rows
    assert {k: str(v) for k, v in one.items()} == table[0]


def test_a_row_says_what_an_explanation_says(cases):
    from diagnose.casefile.reader import read_case

    base = load(SMALL / "knowledge")
    path = cases / "c00.yaml"
    (judgement,) = Diagnosis(read_case(path, base.knowledge), base).judgements
    (row,) = batch.judge_one(batch.Work("c00.yaml", path.read_bytes()), base).rows
    assert (row["root"], row["root_standing"]) == (judgement.causes[0].name, judgement.causes[0].standing)
    assert row["root_probability"] == pytest.approx(judgement.causes[0].probability, abs=1e-6)


def test_the_same_table_whatever_the_number_of_workers_and_resumed_or_not(cases, tmp_path):
    run(cases, "a.csv")
    run(cases, "b.csv", "--workers", "1")
    whole = (tmp_path / "a.csv").read_bytes()
    assert (tmp_path / "b.csv").read_bytes() == whole
    kept = (tmp_path / "b.csv").read_text("utf-8").splitlines(keepends=True)
    (tmp_path / "b.csv").write_text("".join(kept[:21]), "utf-8")
    assert "22 judged now" in run(cases, "b.csv", "--resume")
    assert (tmp_path / "b.csv").read_bytes() == whole


def test_a_run_that_was_cut_off_is_taken_up_where_it_stopped(cases, tmp_path):
    run(cases, "a.jsonl")
    whole = (tmp_path / "a.jsonl").read_bytes()
    lines = whole.splitlines(keepends=True)
    (tmp_path / ".a.jsonl.progress").write_bytes(b"".join(lines[:30]) + lines[30][:17])
    (tmp_path / "a.jsonl").unlink()
    assert "12 judged now" in run(cases, "a.jsonl", "--resume")
    assert (tmp_path / "a.jsonl").read_bytes() == whole and not (tmp_path / ".a.jsonl.progress").exists()


def test_a_changed_case_is_judged_anew(cases, tmp_path):
    run(cases, "a.jsonl")
    path = cases / "c00.yaml"
    path.write_text(path.read_text("utf-8").replace("Case 0", "Case 0 again"), "utf-8")
    assert "3 judged now" in run(cases, "a.jsonl", "--resume")
    assert json.loads((tmp_path / "a.jsonl").read_text("utf-8").splitlines()[0])["case"] == "Case 0 again"


def test_a_case_that_kills_its_process_is_listed_and_the_rest_is_judged(cases, tmp_path, monkeypatch):
    def deadly(work, base, keep=None, judge_one=batch.judge_one):
        if work.name == "c06.yaml":
            os._exit(9)
        return judge_one(work, base)

    monkeypatch.setattr(batch, "judge_one", deadly)
    table = batch.Table()
    todo = batch.works(cases, cases.rglob("c??.yaml"), table)
    told: list[int] = []
    batch.run(todo, SMALL / "knowledge", table, 2, tmp_path / "progress", told.append)
    assert set(table.broken) == {"c06.yaml"} and len(table.rows) == 39 and sum(told) == 40


def test_a_case_that_computes_for_too_long_is_left_and_the_rest_is_judged(cases, monkeypatch):
    def endless(case, base):
        while case.name == "Case 2":
            pass
        return Diagnosis(case, base)

    works = [batch.Work(name, (cases / name).read_bytes()) for name in ("c00.yaml", "c02.yaml", "c04.yaml")]
    unlimited = batch.judge_chunk(str(SMALL / "knowledge"), works)
    monkeypatch.setattr(batch, "Diagnosis", endless)
    first, left, last = batch.judge_chunk(str(SMALL / "knowledge"), works, 0.5)
    assert left == batch.Done("c02.yaml", problems=("c02.yaml: left after 0.5 seconds of computing",))
    assert [first, last] == [unlimited[0], unlimited[2]]


def test_the_time_limit_reaches_every_process(cases, tmp_path, monkeypatch):
    def endless(case, base):
        while case.name == "Case 2":
            pass
        return Diagnosis(case, base)

    monkeypatch.setattr(batch, "Diagnosis", endless)
    table = batch.Table()
    todo = batch.works(cases, sorted(cases.glob("c0?.yaml")), table)
    batch.run(todo, SMALL / "knowledge", table, 2, tmp_path / "progress", lambda n: None, seconds=0.5)
    assert set(table.broken) == {"c02.yaml"}
    assert set(table.rows) == {w.name for w in todo} - {"c02.yaml"}


def test_files_of_both_endings_are_cases_whatever_their_case(cases, tmp_path):
    (cases / "c00.yaml").rename(cases / "c00.YML")
    (cases / "c02.yaml").rename(cases / "c02.yml")
    (cases / "c04.yaml").rename(cases / "c04.YAML")
    run(cases, "t.csv")
    assert {"c00.YML", "c02.yml", "c04.YAML"} < {r["file"] for r in rows(tmp_path / "t.csv")}


@pytest.mark.parametrize("start", ["=1+1", "+1", "-1", "@SUM(A1)", "＝1", "'=1"])
def test_no_cell_begins_a_formula_and_every_text_comes_back(cases, tmp_path, start):
    name = start.strip().replace("/", "") + ".yaml"
    text = (cases / "c00.yaml").read_text("utf-8").replace("case: Case 0", f"case: {json.dumps(start + ' a case')}")
    (cases / name).write_text(text, "utf-8")
    run(cases, "t.csv")
    raw = (tmp_path / "t.csv").read_bytes()
    for row in rows(tmp_path / "t.csv"):
        for column in batch.TEXTS:
            assert not row[column].strip().startswith(batch.FORMULA_SIGNS), row
    kept = batch.known(tmp_path / "t.csv", tmp_path / "none", rows(tmp_path / "t.csv")[0]["knowledge"])
    assert {r["case"] for found in kept.values() for r in found} > {start.removeprefix("'") + " a case"}
    run(cases, "t.csv", "--resume")
    assert (tmp_path / "t.csv").read_bytes() == raw


def test_only_formulas_are_marked_and_marks_are_taken_off_again():
    for text in ("a=1", "", "'a", "''=1", " =1", "\t=1", "\n+1", "2-1"):
        assert batch._text(batch._cell(text)) == text
        assert (batch._cell(text) == text) == (text.strip()[:1] not in batch.FORMULA_SIGNS or not text.strip())


def test_a_file_that_is_wrong_all_through_is_told_in_part(cases):
    (cases / "c05-wrong.yaml").write_text("case: c\n" + "".join(f"key{i}: 1\n" for i in range(1000)), "utf-8")
    told = run(cases, "t.csv")
    assert told.count("c05-wrong.yaml") == batch.MOST_PROBLEMS + 1
    assert "c05-wrong.yaml: and 980 more errors" in told


def test_parquet_holds_the_same_rows(cases, tmp_path):
    import pyarrow.parquet as parquet

    run(cases, "t.parquet")
    run(cases, "t.jsonl")
    lines = [json.loads(line) for line in (tmp_path / "t.jsonl").read_text("utf-8").splitlines()]
    assert parquet.read_table(tmp_path / "t.parquet").to_pylist() == lines


def test_a_local_cluster_of_two_workers_gives_the_same_table(cases, tmp_path):
    import distributed

    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, protocol="tcp://", host="127.0.0.1"
    ) as cluster:
        run(cases, "c.csv", "--scheduler", cluster.scheduler_address)
    run(cases, "t.csv")
    assert (tmp_path / "c.csv").read_bytes() == (tmp_path / "t.csv").read_bytes()


def ending(case, judgements):
    """What is kept of a case; the one called small-1 ends the process that judges it."""
    if case.name == "small-1":
        os._exit(1)
    return (case.name,)


@pytest.mark.slow
def test_a_case_that_ends_its_worker_is_named_and_the_others_are_kept():
    import dask
    import distributed

    data = (SMALL / "case.yaml").read_bytes().replace(b"case: A small case", b"case: small-%d")
    works = [batch.Work(f"{n}.yaml", data % n) for n in range(6)]
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 0}),
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=1, dashboard_address=None, protocol="tcp://", host="127.0.0.1"
        ) as cluster,
    ):
        address = cluster.scheduler_address
        done = [x for some in batch.judged(works, SMALL / "knowledge", 1, address, keep=ending) for x in some]
    assert sorted(x.name for x in done if x.rows) == [f"{n}.yaml" for n in (0, 2, 3, 4, 5)]
    assert [x.problems for x in done if x.problems] == [("1.yaml: the case ended the process that judged it",)]


@pytest.mark.slow
def test_a_cluster_without_workers_is_given_up(monkeypatch):
    import distributed

    monkeypatch.setattr(batch, "PATIENCE", 0.5)
    works = [batch.Work("a.yaml", (SMALL / "case.yaml").read_bytes())]
    with (
        distributed.LocalCluster(n_workers=0, dashboard_address=None, protocol="tcp://", host="127.0.0.1") as cluster,
        pytest.raises(BadInput, match="no worker is there"),
    ):
        list(batch.judged(works, SMALL / "knowledge", 1, cluster.scheduler_address))


def test_a_scheduler_that_dies_while_a_result_is_fetched_is_told_as_well():
    from distributed.comm import CommClosedError

    future = SimpleNamespace(result=Mock(side_effect=CommClosedError("reset by peer")))
    with pytest.raises(BadInput, match="the scheduler answers no longer"):
        batch._result(future, "tcp://127.0.0.1:1")


def test_a_scheduler_that_dies_is_told_without_a_traceback(capfd):
    call = [sys.executable, "-c", "import asyncio, distributed\nasync def run():\n"
            "    async with distributed.Scheduler(host='127.0.0.1', dashboard=False) as s:\n"
            "        async with distributed.Worker(s.address, nthreads=1):\n"
            "            print(s.address, flush=True)\n            await s.finished()\nasyncio.run(run())"]  # fmt: skip
    data = (SMALL / "case.yaml").read_bytes()
    works = [batch.Work(f"{n}.yaml", data + b"# %d" % n) for n in range(400)]
    with subprocess.Popen(call, stdout=subprocess.PIPE, text=True) as cluster:
        address = cluster.stdout.readline().strip()
        done = batch.judged(works, SMALL / "knowledge", 1, address)
        assert len(next(done)) == batch.A_CHUNK
        cluster.kill()
        with pytest.raises(BadInput, match="the scheduler answers no longer"):
            list(done)
    assert "Traceback" not in capfd.readouterr().err


@pytest.mark.parametrize("refuses", [OSError("Timed out trying to connect"), ValueError("no address")], ids=str)
def test_a_scheduler_that_does_not_answer_is_told_as_that(monkeypatch, refuses):
    import dask.distributed

    def client(_):
        raise refuses

    monkeypatch.setattr(dask.distributed, "Client", client)
    with pytest.raises(BadInput, match=f"no scheduler answers: {refuses}"):
        list(batch.judged([], SMALL / "knowledge", 1, "tcp://127.0.0.1:9"))


def test_wrong_calls_are_refused(cases):
    assert "kinds: .csv" in run(cases, "t.xlsx", code=2)
    assert "there is no folder" in run(cases / "nowhere", str(cases / "t.csv"), code=2)

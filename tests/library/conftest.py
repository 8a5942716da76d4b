from __future__ import annotations

import pytest

from diagnose.evaluation import batch
from diagnose.library import sync
from diagnose.library.store import Entry, Held, Store, written
from tests.library import site


@pytest.fixture
def shelf(tmp_path):
    """A function that puts seals into a new index, each as the one seal of a file, and returns the index to read."""
    opened: list[tuple[object, Store]] = []

    def put(*seals, name: str = "library", **about: str) -> Store:
        folder = tmp_path / name
        folder.mkdir(exist_ok=True)
        context = written(folder)
        store = context.__enter__()
        opened.append((context, store))
        store.put([Entry(f"s{i:05}.yaml", Held(f"{i}", "", "k", ""), (s,)) for i, s in enumerate(seals)])
        if about:
            store.tell(about)
        return store

    yield put
    for context, _ in opened:
        context.__exit__(None, None, None)


@pytest.fixture
def in_this_process(monkeypatch):
    """Judges without a pool of processes, which takes a second to start, and trusts times at once."""

    def judged(todo, folder, workers, cluster="", seconds=0.0, keep=None):
        for work in todo:
            yield batch.judge_chunk(str(folder), [work], 0.0, keep)

    monkeypatch.setattr(sync, "judged", judged)
    monkeypatch.setattr(sync, "SETTLED", 0)


@pytest.fixture
def folder(tmp_path):
    """Six small cases in a folder with a subfolder."""
    cases = tmp_path / "cases"
    (cases / "deep").mkdir(parents=True)
    for i in range(6):
        site.write(cases / "deep" if i % 2 else cases, i, site.case(i))
    return cases

from __future__ import annotations

import pytest

from diagnose.casefile.recorder import Recorder
from diagnose.casefile.walk import usual_document
from tests.page.support import Tablet, page_on


@pytest.fixture
def dual(tmp_path, whole_base):
    """A dual seal with its usual parts and nothing on record."""
    knowledge, path = whole_base.knowledge, tmp_path / "dual.yaml"
    document = usual_document(
        "dual", "dual pressurised", knowledge.arrangements.usual["dual pressurised"], "before washing"
    )
    with Recorder(path, knowledge, "Kim") as recorder:
        recorder.start(document)
    return path


@pytest.fixture
def served(dual, whole_base):
    """The page of the folder in which the dual seal lies."""
    page = page_on(dual.parent, whole_base.knowledge)
    yield page
    page.close()


@pytest.fixture
def tablet(served):
    return Tablet(served)

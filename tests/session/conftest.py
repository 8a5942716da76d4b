"""A case that was just begun, of the rule base that ships."""

from __future__ import annotations

import pytest

from diagnose.casefile.recorder import Recorder
from diagnose.casefile.walk import usual_document
from tests.session.script import NOON


@pytest.fixture
def case(tmp_path, knowledge):
    path = tmp_path / "k7.yaml"
    steps = knowledge.arrangements.steps
    with Recorder(path, knowledge, "ann", lambda: NOON) as r:
        r.start(usual_document("Liquor pump", "single", knowledge.arrangements.usual["single"], steps[0].stage))
    return path

"""The dry start of the condensate pump as a drill."""

from __future__ import annotations

import pytest

from tests.support.places import ROOT
from tests.training.drills import hidden_of


@pytest.fixture(scope="session")
def condensate(whole_base):
    return hidden_of(ROOT / "scenarios" / "condensate-pump-dry-start.yaml", whole_base)

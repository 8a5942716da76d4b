"""A sync that is killed at random moments leaves an index that the next one completes."""

from __future__ import annotations

import os

import pytest

from tests.library.crash import run


@pytest.mark.slow
def test_killed_syncs_lead_to_the_index_that_is_built_afresh():
    told = run(int(os.environ.get("DIAGNOSE_KILLS", "12")), 1)
    assert told["killed"] >= 12
    assert (told["unreadable"], told["unlike one built afresh"]) == (0, 0)

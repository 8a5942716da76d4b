"""kill -9 at random moments loses no acknowledged answer. DIAGNOSE_KILLS sets how many; 200 in an ordinary run."""

from __future__ import annotations

import os

import pytest

from tests.casefile.crash import campaign

pytestmark = pytest.mark.slow


def test_killed_at_random_moments_every_acknowledged_answer_is_found(tmp_path, whole_base):
    kills = int(os.environ.get("DIAGNOSE_KILLS", "200"))
    figures = campaign(tmp_path, whole_base.knowledge, kills, seed=11)
    assert figures.kills == kills
    assert figures.answers > kills
    assert figures.locks_left > 0 and figures.photos > kills / 4
    assert figures.sheets > kills / 4 and figures.sheets_cut_short > 0

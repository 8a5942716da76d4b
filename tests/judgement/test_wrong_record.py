"""A record may be of another seal: what that leaves of a sum, and that it bounds every ledger."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from diagnose.judgement.judge import judge
from diagnose.judgement.posterior import Evidence, posterior, prior_odds

ROOT = Path(__file__).parents[2]
MOST = 45
"""dB that a record moves anything by."""


@pytest.fixture(scope="module")
def both(judged):
    """The judgement of a rich scenario with the chance of a wrong record, and without; the network."""
    diagnosis = judged("condensate-pump-dry-start").diagnosis
    return (
        diagnosis.judgements[0],
        judge(diagnosis.inference, replace(diagnosis.net, wrong_record=0.0))[0],
        diagnosis.net,
    )


def test_what_is_believed_is_a_mixture_of_the_sum_and_of_what_was_believed_before(both):
    """P. J. Huber's contaminated model (Annals of Mathematical Statistics 35, 1964, from memory)."""
    told, summed, net = both
    e = net.wrong_record
    assert e > 0
    for kind in ("causes", "mechanisms"):
        before = {j.name: j.probability for j in getattr(summed, kind)}
        for j in getattr(told, kind):
            if j.standing != "ruled out":
                assert j.probability == pytest.approx((1 - e) * before[j.name] + e * j.prior, abs=1e-12)
    assert told.none_of_these == pytest.approx(
        (1 - e) * summed.none_of_these + e * float(told.found.before[0]), abs=1e-12
    )


def test_the_ledgers_weight_is_that_of_what_is_believed(both):
    told, *_ = both
    for j in [*told.causes[:3], *told.mechanisms[:3]]:
        assert told.weights.total(j.name) <= MOST


@pytest.mark.slow
@pytest.mark.parametrize("path", sorted((ROOT / "scenarios").glob("*.yaml")), ids=lambda p: p.stem)
def test_no_ledger_of_a_scenario_is_above_its_bound(judged, path):
    for at in judged(path).judgements:
        assert all(j.weight <= MOST for j in (*at.causes, *at.mechanisms))


def test_a_failure_without_a_cause_of_the_list_has_the_chance_that_the_words_say(whole_network):
    """Over all sets of causes and before anything is seen, by the sums of products of odds."""
    net = whole_network
    evidence = Evidence({}, net.prior, tuple(range(len(net.causes))))
    n = len(net.causes)
    empty, single = np.zeros((1, n), bool), np.eye(n, dtype=bool)
    none = float(prior_odds(net, evidence, empty)[0])
    others = float(np.prod(1 + net.prior / (1 - net.prior))) - 1
    assert net.none_of_these > 0
    assert none / (none + others) == pytest.approx(net.none_of_these)
    assert prior_odds(net, evidence, single) == pytest.approx(net.prior / (1 - net.prior))
    free = replace(net, none_of_these=0.0)
    assert prior_odds(free, evidence, empty)[0] == 1.0
    assert posterior(net, evidence).none == pytest.approx(net.none_of_these, rel=0.05)

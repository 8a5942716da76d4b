"""Altered evidence in one batch against each alteration summed by itself."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from diagnose.judgement.altered import altered, chance_of, likelihoods
from diagnose.judgement.posterior import Sums, posterior
from tests.judgement.networks import drawn, evidence


def alterations(net, states):
    """The record, each finding left out, each turned round, one recorded beside it, and nothing at all."""
    whole = evidence(net, states)
    yield whole
    for f in states:
        yield whole.without([f])
        yield whole.beside({f: not states[f]})
    for f in net.findings:
        if f not in states:
            yield whole.beside({f: True})
    yield whole.without(list(states))


@pytest.mark.parametrize("seed", range(12))
def test_many_alterations_at_once_are_what_each_is_by_itself(seed):
    net, states = drawn(seed, density=(0.3, 0.6, 0.9)[seed % 3])
    evidences = list(alterations(net, states))
    members = np.array(list(itertools.product([False, True], repeat=len(net.causes))))
    together = likelihoods(net, evidences, members)
    for a, e in enumerate(evidences):
        own = Sums(net, e)
        assert together[a] == pytest.approx(own.likelihood(members), rel=1e-10)


@pytest.mark.parametrize("seed", range(12))
def test_the_chance_of_a_mechanism_under_many_alterations_is_what_it_is_under_each(seed):
    net, states = drawn(seed, density=(0.3, 0.6, 0.9)[seed % 3])
    evidences = list(alterations(net, states))
    members = np.array(list(itertools.product([False, True], repeat=len(net.causes))))
    for m in range(len(net.mechanisms)):
        chances = chance_of(net, m, evidences, members)
        for a, e in enumerate(evidences):
            known = Sums(net, e).mechanisms(members)[m]
            if not np.isnan(known).any():
                assert chances[a] == pytest.approx(known, abs=1e-10)


@pytest.mark.parametrize("seed", range(6))
def test_altered_causes_are_those_of_a_posterior_of_their_own_where_every_set_is_reckoned(seed):
    net, states = drawn(seed, causes=3)
    found = posterior(net, evidence(net, states), every_set=True)
    e = evidence(net, states, off=(0,)).without(list(states)[:1])
    e = replace(e, prior=e.prior * 0.5, allowed=(0, 1))
    then = altered(found, [found.evidence, e])
    own = posterior(net, e, every_set=True)
    assert then.share[0] == pytest.approx(found.share, abs=2e-2)
    assert then.share[1] == pytest.approx(own.share, abs=2e-2)
    assert then.share[1][2] == 0
    assert then.causes_of(1) == own.causes_of(int(np.argmax(own.exactly)))

"""The drill printed for a class."""

from __future__ import annotations

from diagnose.training.sheet import cards


def test_every_trace_is_told_by_one_card_in_the_order_of_dismantling_and_none_after_it_is_gone(condensate):
    made, stages = cards(condensate), condensate.words.stages
    places = [stages.index(c.step.stage) for c in made]
    assert places == sorted(places)
    told = [x for c in made for x in c.traces]
    assert sorted(told) == sorted(condensate.by_id)
    for card in made:
        for t in (condensate.by_id[x] for x in card.traces):
            assert t.lost not in stages or stages.index(t.lost) >= stages.index(card.step.stage), t.what


def test_a_black_edge_does_not_tell_that_there_is_something(condensate):
    made = cards(condensate)
    assert [c for c in made if c.perishes and not c.traces] and not any(
        c.perishes for c in made if c.front.startswith("Ask")
    )

"""A caution that a card names is shown where its condition could hold, and not where the record says otherwise."""

from __future__ import annotations

import pytest

from diagnose.advice.cautions import ABOVE_ALL, called_for
from tests.support.reasoned import reasoned

CASE = "case: On the bench\n"


def called(text: str, base, *named: str) -> list[str]:
    return [c.name for c in called_for(reasoned(CASE + text, base).inference, named)]


@pytest.mark.parametrize(
    "text, named, shown",
    [
        ("seal: {arrangement: single}", "charred fluorocarbon", False),
        ("seal: {arrangement: single}\nobservations: [{on: face, saw: heat tint}]", "charred fluorocarbon", True),
        ("seal: {arrangement: single, elastomer: FKM}", "charred fluorocarbon", True),
        ("seal: {arrangement: single, elastomer: EPDM}", "charred fluorocarbon", False),
        (
            "seal: {arrangement: single, elastomer: EPDM}\nobservations: [{on: O-ring, saw: burnt}]",
            "charred fluorocarbon",
            False,
        ),
        ("seal: {arrangement: dual pressurised, inboard: {elastomer: FKM}}", "charred fluorocarbon", True),
        ("seal: {arrangement: dual pressurised, elastomer: EPDM}", "charred fluorocarbon", False),
        ("seal: {arrangement: single, film: liquid}", "pressurised support system", False),
        ("seal: {elastomer: EPDM}", "pressurised support system", True),
        ("seal: {arrangement: dual}", "pressurised support system", True),
        ("service: {is: [hot water, clean]}", "toxic service", False),
        ("service: {is: [water, clean]}", "cold liquefied gas", False),
        ("seal: {arrangement: single}", "cold liquefied gas", True),
        ("service: {is: [water, clean]}", "hot parts", True),
        ("service: {is: [water, clean], temperature: 20 °C}", "hot parts", False),
        ("service: {fluid: condensate}", "toxic service", True),
        ("service: {is: [clean]}\nobservations: [{on: O-ring, absent: burnt}]", "sharp broken ceramic", True),
        (
            "observations: [{on: face, absent: fracture}, {on: face, absent: through crack}, {on: face, absent: edge chips},"
            " {on: face, absent: pieces broken off}, {on: face, absent: flaked coating}]",
            "sharp broken ceramic",
            False,
        ),
    ],
)
def test_a_named_caution_is_shown_where_the_record_gives_reason_to_think_of_it(whole_base, text, named, shown):
    assert (named in called(text, whole_base, named)) is shown


def test_what_no_card_names_is_shown_only_where_it_always_stands_or_a_rule_raises_it(whole_base):
    standing = {c.name for c in whole_base.knowledge.cautions.values() if c.always}
    assert set(called("seal: {arrangement: single}", whole_base)) == standing
    raised = called("service: {is: [toxic]}", whole_base)
    assert raised[0] == "toxic service" and set(raised[1:]) == standing


def test_no_card_says_over_again_what_the_block_says_once(whole_base):
    assert not [c.name for c in whole_base.knowledge.cautions.values() if ABOVE_ALL in " ".join(c.defer.split())]

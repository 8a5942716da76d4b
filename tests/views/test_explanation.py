"""The page of the answer: short by default, everything with --all."""

from __future__ import annotations

import pytest

from diagnose.advice.plan import plan
from diagnose.casefile.reader import read_case
from diagnose.inference.run import infer
from diagnose.judgement.judge import judge
from diagnose.views import explanation
from diagnose.views.page import Page
from tests.support.places import ROOT, mostly_slow

SCENARIOS = sorted(p.stem for p in (ROOT / "scenarios").glob("*.yaml"))


@pytest.fixture(scope="module")
def told(whole_base, whole_network):
    """The page of a scenario as lines, 80 wide."""
    done: dict[str, tuple] = {}

    def lines(name: str, everything: bool) -> list[str]:
        if name not in done:
            inference = infer(read_case(ROOT / "scenarios" / f"{name}.yaml", whole_base.knowledge), whole_base)
            judgements = judge(inference, whole_network)
            done[name] = inference, judgements, plan(judgements, most=5)
        return explanation.page(*done[name], everything, Page(80, False)).lines

    return lines


@pytest.mark.parametrize("name", mostly_slow(SCENARIOS))
def test_the_answer_and_what_to_look_at_next_come_first_and_the_page_stays_short(name, told):
    lines = told(name, False)
    headings = [line for line in lines if line and not line.startswith(" ")][1:]
    order = ["What to look at next", "Take care", "What to change"]
    assert [h for h in headings if h in order] == [h for h in order if h in headings]
    seals = 2 if "Inboard seal" in headings else 1
    assert lines.index("What to look at next") < (24 if seals == 1 else 30)
    assert len(lines) <= 80
    assert not any(line.startswith("Ledger") for line in lines)


def test_all_has_the_ledgers_with_their_classes_and_every_caution_in_full(told):
    short, full = told("crude-pump-barrier-lost", False), told("crude-pump-barrier-lost", True)
    assert "Ledger: loss of barrier fluid, outboard seal" in full
    assert any("failure mechanism 2.7 overheating, failure cause 3.3 maintenance" in line for line in full)
    assert any("as at every seal: " in line for line in short) and not any(
        "as at every seal: " in line for line in full
    )
    whole, brief = (" ".join(" ".join(page).split()) for page in (full, short))
    assert "isolated, locked" in whole and "isolated, locked" not in brief


def test_a_caution_that_the_record_raises_stands_in_full_on_the_short_page(told):
    assert "Fluorocarbon rubber heated above about 315 °C" in " ".join(told("crude-pump-barrier-lost", False))


def test_an_action_names_what_to_beware_of_where_the_record_raises_it(told):
    brief, full = (" ".join(" ".join(told("crude-pump-barrier-lost", x)).split()) for x in (False, True))
    filling = "Fill and vent the circuit to a closed drain"
    assert "inert gas" in brief.split(filling)[1].split("Take care: ")[1].split(".")[0]
    assert (
        "trapped pressure" in full.split("clean the cooler, flush the circuit")[1].split("Take care: ")[1].split(".")[0]
    )


def test_a_cause_that_stands_above_the_likeliest_explanation_is_not_denied(told):
    text = " ".join(" ".join(told("thin-record", False)).split())
    assert "possible abrasive wear 13 %" in text and "better supported than none" not in text
    assert "The likeliest single explanation is none of these causes, with 8 %" in text

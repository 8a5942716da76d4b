"""The pages on how a probability is made: every printed number follows from the printed ones before it, as with a calculator."""

from __future__ import annotations

import json
import math
import re

import pytest

from diagnose.judgement.diagnosis import Diagnosis
from diagnose.reading.problems import BadInput
from diagnose.views.worked_example import example, page
from tests.support.commands import diagnose
from tests.support.places import ROOT, SMALL
from tests.support.reasoned import reasoned, small_base

NUMBER = r"[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?"


def reckoned(text: str) -> float:
    """What a person with a calculator gets for a printed expression."""
    assert re.fullmatch(r"[\d.()+\-*/ e]+", text), text
    return eval(text)


def agrees(ours: float, printed: float) -> bool:
    """To three digits."""
    return abs(ours - printed) <= 5e-4 * abs(printed)


def test_the_page_is_followed_with_a_calculator_to_three_digits(whole_base):
    text = page(whole_base)
    sides = re.findall(rf"^(?:- [^:\n]+:|Odds of [^:\n]+:|  ) ?([(\d][^=\n]*) = \**({NUMBER})", text, re.M)
    table = [
        [c.strip() for c in line.strip("|").split("|")]
        for line in text.splitlines()
        if re.match(r"\| [a-z ]+ \| [\d.]", line)
    ]
    powers = [sum(int(r[3]) * (float(r[1]) / (1 - float(r[1]))) ** n for r in table) for n in (1, 2, 3)]
    for name, ours in zip(("S1", "S2", "S3"), powers, strict=True):
        assert agrees(ours, float(re.search(rf"{name} = ({NUMBER})", text).group(1)))
    e2 = (powers[0] ** 2 - powers[1]) / 2
    e3 = (powers[0] ** 3 - 3 * powers[0] * powers[1] + 2 * powers[2]) / 6
    for name, ours in (("e2", e2), ("e3", e3)):
        assert agrees(ours, float(re.search(rf"{name} = \([^=]*= ({NUMBER})", text).group(1)))
    (own,) = re.findall(rf"^Odds of [^=]*= ({NUMBER})", text, re.M)
    product = math.prod((1 / (1 - float(r[1]))) ** int(r[3]) for r in table) * (1 + float(own))
    assert agrees(product, float(re.search(rf"P = ({NUMBER})", text).group(1)))
    assert len(sides) >= 7
    for expression, printed in sides:
        whole = (
            expression.replace("S1", str(powers[0])).replace("e2", str(e2)).replace("e3", str(e3)).replace(" x ", " * ")
        )
        assert agrees(reckoned(whole), float(printed)), (expression, printed)
    last = float(re.search(rf"= \*\*({NUMBER})\*\*", text).group(1))
    assert agrees(last, float(re.search(rf"The tool says ({NUMBER})", text).group(1)))


@pytest.mark.slow
def test_the_tool_says_the_same_of_the_record_on_the_page(whole_base, tmp_path):
    text = page(whole_base)
    (case,) = re.findall(r"```yaml\n(.*?)```", text, re.S)
    told = example(whole_base)
    assert reasoned(case, whole_base).judgements[0].of(told.cause.name).probability == told.probability
    (tmp_path / "case.yaml").write_text(case, "utf-8")
    answer = json.loads(diagnose("why", str(tmp_path / "case.yaml"), told.cause.name, "--sum", "--json").stdout)
    assert agrees(answer["probability"], told.probability)


def test_the_words_and_cards_on_the_page_are_those_of_the_rule_base(whole_base):
    told, text = example(whole_base), page(whole_base)
    card = (ROOT / "knowledge" / "causes" / told.cause.where.file.rpartition("/")[2]).read_text("utf-8")
    (seen,) = re.findall(rf"finding: {re.escape(told.finding.name)}, seen: ([a-z ]+)", card)
    assert f"it is seen **{seen}**" in text and f"otherwise **{told.finding.otherwise}**" in text
    assert len(whole_base.knowledge.causes) - 1 == int(re.search(r"For the (\d+) other causes", text).group(1))


def test_a_rule_base_without_such_a_record_is_told(monkeypatch):
    monkeypatch.setattr("diagnose.views.worked_example._tried", lambda *_: None)
    with pytest.raises(BadInput, match="no sum can be made by hand"):
        page(small_base())


@pytest.mark.parametrize("name", ["dry running", "faces overheated", "ring baked", "bent shaft"])
def test_the_sum_of_any_cause_or_mechanism_follows_from_its_printed_figures(name):
    done = diagnose(
        "why", str(SMALL / "case.yaml"), name, "--sum", DIAGNOSE_KNOWLEDGE=str(SMALL / "knowledge"), COLUMNS="120"
    )
    text = done.stdout
    total = float(re.search(rf"share = weight / ({NUMBER})", text).group(1))
    rows = [
        line.split()
        for line in text.splitlines()
        if re.match(r"  [\d.]", line) and not line.strip().startswith(("1. ", "2. ", "3. "))
    ]
    rows = [r for r in rows if len(r) >= 5 and re.fullmatch(NUMBER, r[3])]
    assert rows
    for odds, record, weight, share, *_ in rows:
        assert agrees(float(odds) * float(record), float(weight)) and agrees(float(weight) / total, float(share))
    added, printed = re.search(rf"^  ([\d.e+ -]*\(other sets\)) = ({NUMBER})", text, re.M).groups()
    assert agrees(reckoned(added.replace("(other sets)", "")), float(printed))
    case = reasoned((SMALL / "case.yaml").read_bytes(), small_base())
    assert agrees(case.judgements[0].of(name).probability, float(printed)) and isinstance(case.diagnosis, Diagnosis)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["gas not vented", "dry running"])
def test_the_last_step_of_a_sum_by_the_shipped_rule_base_follows_from_its_printed_figures(name):
    text = diagnose("why", "condensate-pump-dry-start", name, "--sum", COLUMNS="120").stdout
    joined = " ".join(text.split())
    added, summed = re.search(rf"Added up ([\d.e+ -]*\(other sets\)) = ({NUMBER})", joined).groups()
    assert agrees(reckoned(added.replace("(other sets)", "")), float(summed))
    last, printed = re.search(rf"not before\. ([\d.x+ e-]+) = ({NUMBER})", joined).groups()
    assert agrees(reckoned(last.replace(" x ", " * ")), float(printed))
    assert agrees(
        json.loads(diagnose("why", "condensate-pump-dry-start", name, "--sum", "--json").stdout)["probability"],
        float(printed),
    )

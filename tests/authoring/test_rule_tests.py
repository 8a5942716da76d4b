"""The format of rule tests, what they hold a rule to, and what a failing one says."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from diagnose.authoring import rule_test_runner
from diagnose.authoring.rule_test_reader import parse_tests, read_tests
from diagnose.authoring.rule_test_report import accept_weights, document, junit
from diagnose.authoring.rule_test_runner import Workshop, run_tests
from diagnose.inference.run import load
from diagnose.reading.problems import Problems

SMALL = Path(__file__).resolve().parents[1] / "small" / "knowledge"


@pytest.fixture(scope="module")
def workshop() -> Workshop:
    return Workshop(load(SMALL))


def outcomes(workshop: Workshop, text: str):
    problems = Problems()
    tests = parse_tests(text.encode(), "here.test.yaml", "finding", "hot all round", workshop.base.knowledge, problems)
    assert not problems.found, problems.found
    return run_tests(workshop, tests)


def failed(workshop: Workshop, text: str) -> list[list[str]]:
    return [[f.expected for f in o.failures] for o in outcomes(workshop, text)]


def test_short_records_a_fragment_of_a_case_and_given_each_read_alike(workshop):
    rows = outcomes(
        workshop,
        """
- test: short
  given: [{saw: radial cracks, on: hard face, extent: all round}]
  finds: [hot all round, cracked somewhere]
  does not find: [ring hard]
  leaves open: [ring hard, shaft moves]
- test: whole
  given:
    parts: [{item: 2, kind: hard face, group: stationary}]
    observations: [{part: 2, saw: heat checks, extent: 360}]
  finds: [hot all round]
- test: each
  given each:
    - {absent: radial cracks, on: hard face}
    - [{absent: radial cracks, on: hard face}, {saw: hardened}]
  finds absent: [hot all round]
""",
    )
    assert [o.test.name for o in rows] == ["short", "whole", "each (1)", "each (2)"]
    assert all(not o.failures for o in rows)


def test_what_is_not_looked_for_is_open_and_never_absent(workshop):
    text = "- {test: open, given: [], finds absent: [hot all round]}\n- {test: none, given: [], leaves open: [hot all round]}\n"
    assert failed(workshop, text) == [["hot all round: absent"], []]


def test_a_failing_test_says_which_premise_stood_in_the_way_and_on_which_record(workshop):
    text = """
- test: chipped
  given:
    - {saw: radial cracks, on: hard face, extent: all round}
    - {saw: edge chips, on: hard face, degree: severe}
  finds: [hot all round]
"""
    (failure,) = outcomes(workshop, text)[0].failures
    assert (failure.expected, failure.found) == ("hot all round: present", "open")
    assert any("true: severe edge chips on hard face" in line and "[" in line for line in failure.because)


def test_quantities_can_be_stated_at_below_and_above_a_limit(workshop):
    # the limit stands at 0.05 mm and 0.08 mm: between the two it decides neither way
    text = """
- {test: above, given: [{quantity: shaft runout, value: 0.0816 mm}], finds: [shaft moves]}
- {test: between, given: [{quantity: shaft runout, value: 0.08 mm}], leaves open: [shaft moves]}
- {test: at, given: [{quantity: shaft runout, value: 0.05 mm}, {absent: bent, on: shaft}], finds absent: [shaft moves]}
- {test: unsure, given: [{quantity: shaft runout, value: 0.08 ± 0.01 mm}], leaves open: [shaft moves]}
- {test: inches, given: [{quantity: shaft runout, value: 0.004 in}], finds: [shaft moves]}
"""
    assert failed(workshop, text) == [[]] * 5


def test_findings_taken_as_given_lead_on_and_weigh(workshop):
    text = """
- test: told
  given: [{found: [hot all round, ring hard]}]
  finds: [hot and hard]
  leads: dry running
  standing: {dry running: at least probable, bent shaft: at most possible}
  ranks: [dry running, bent shaft]
- test: told absent
  given: [{found absent: hot all round}]
  finds absent: [hot all round]
"""
    assert failed(workshop, text) == [[], []]


def test_findings_together_speak_for_a_cause_or_a_mechanism(workshop):
    """A look overlooks 5 in 100 and takes 1 in 100 for there: P(hardened recorded) = 0.01 + 0.94·P(hardened there).

    Of the mechanism, there against not there: 0.94·0.95125 + 0.01 (its own 0.95, or otherwise 0.05·0.05 more) against
    0.94·0.05 + 0.01, so 10 log10(0.9045/0.057) = 12.0 dB. Absent: 10 log10(0.0955/0.943) = -9.9 dB.
    """
    text = """
- {test: nothing, given: [], speaks for: {dry running: 0.0 dB, ring baked: 0 dB}}
- {test: one, given: [{found: ring hard}], speaks for: {ring baked: 12.0 dB}}
- {test: absent, given: [{found absent: ring hard}], speaks for: {ring baked: -9.9 dB}}
- {test: wrong, given: [{found: ring hard}], speaks for: {ring baked: 11.9 dB}}
"""
    assert failed(workshop, text) == [[], [], [], ["the record speaks for ring baked with +11.9 dB"]]


def test_marks_of_one_mechanism_say_less_together_than_each_alone(workshop):
    text = """
- {test: one, given: [{found: hot all round}], speaks for: {dry running: 0 dB}}
- {test: other, given: [{found: cracked somewhere}], speaks for: {dry running: 0 dB}}
- {test: both, given: [{found: [hot all round, cracked somewhere]}], speaks for: {dry running: 0 dB}}
"""
    one, other, both = (float(o.failures[0].found.split()[0]) for o in outcomes(workshop, text))
    assert 0 < max(one, other) < both < one + other


def test_how_common_a_cause_is_in_a_setting(workshop):
    text = """
- {test: anyway, given: [], common: {dry running: often}}
- {test: wet, given: [{setting: {service: hot water}}], common: {dry running: sometimes}}
- {test: wrong, given: [{setting: {service: hot water}}], common: {dry running: often}}
"""
    assert failed(workshop, text) == [[], [], ["dry running: common often"]]


def test_mechanisms_lead_rank_and_stand_among_mechanisms(workshop):
    text = """
- test: hot
  given: [{found: [hot all round, ring hard]}]
  leads: faces overheated
  ranks: [faces overheated, ring baked, rings knock]
  standing: {faces overheated: at least probable, rings knock: at most possible, dry running: at least possible}
- {test: wrong, given: [{found: chipped edges}], leads: ring baked}
"""
    assert failed(workshop, text) == [[], ["ring baked leads"]]


def test_exclusions_and_cautions(workshop):
    text = """
- {test: out, given: [{setting: {arrangement: single}}], rules out: [barrier lost], cautions: [hot parts]}
- {test: in, given: [{setting: {arrangement: double}}], does not rule out: [barrier lost]}
- {test: unsaid, given: [], does not rule out: [barrier lost], no cautions: [hot parts]}
"""
    assert failed(workshop, text) == [[], [], ["caution 'hot parts' not raised"]]


def test_positions_of_a_pair(workshop):
    text = """
- test: inboard only
  given:
    - {setting: {arrangement: dual pressurised}}
    - {saw: radial cracks, on: hard face, extent: all round, position: inboard}
  at: inboard
  finds: [hot all round]
- test: not outboard
  given:
    - {setting: {arrangement: dual pressurised}}
    - {saw: radial cracks, on: hard face, extent: all round, position: inboard}
  at: outboard
  leaves open: [hot all round]
"""
    assert failed(workshop, text) == [[], []]


def test_junit_counts_what_failed_and_says_why(workshop):
    rows = outcomes(
        workshop, "- {test: good, given: [], leaves open: [ring hard]}\n- {test: bad, given: [], finds: [ring hard]}\n"
    )
    root = ElementTree.fromstring(junit(rows))
    (suite,) = root
    assert (suite.get("tests"), suite.get("failures")) == ("2", "1")
    assert "unknown: hardened on O-ring" in (suite[1][0].text or "")
    assert document(rows)["failed"] == 1


def test_tests_lie_beside_their_rules_and_a_stray_one_is_told(tmp_path, workshop):
    place = tmp_path / "knowledge" / "findings"
    place.mkdir(parents=True)
    (place / "ring-hard.test.yaml").write_text("- {test: hard, given: [{saw: hardened}], finds: [ring hard]}\n")
    (place / "ring-hrad.test.yaml").write_text("- {test: hard, given: [], leaves open: [ring hard]}\n")
    problems = Problems()
    tests = read_tests(tmp_path / "knowledge", workshop.base.knowledge, problems)
    assert [t.rule for t in tests] == ["ring hard"]
    (stray,) = problems.found
    assert stray.code == "test-without-rule" and "ring-hard" in stray.way_out


def test_changed_weights_are_written_into_the_file_and_nothing_else(tmp_path, workshop):
    place = tmp_path / "knowledge" / "causes"
    place.mkdir(parents=True)
    path = place / "dry-running.test.yaml"
    path.write_text(
        "# kept\n- test: nothing   # kept\n  given: []\n  speaks for: {dry running: +1.0 dB, bent shaft: +0.0 dB}\n"
    )
    tests = read_tests(tmp_path / "knowledge", workshop.base.knowledge, Problems())
    changed = accept_weights(run_tests(workshop, tests), workshop.net, tmp_path / "knowledge", "knowledge")
    assert changed == [str(path)]
    assert (
        path.read_text()
        == "# kept\n- test: nothing   # kept\n  given: []\n  speaks for: {dry running: +0.0 dB, bent shaft: +0.0 dB}\n"
    )


def test_many_tests_make_all_rules_ready_at_once(workshop):
    tests = [o.test for o in outcomes(workshop, "- {test: open, given: [], leaves open: [ring hard]}\n")] * (
        rule_test_runner.MANY + 1
    )
    assert len(run_tests(workshop, tests)) == rule_test_runner.MANY + 1
    assert len(workshop.base.reasoner.built) == len(workshop.base.rules.branches)

"""Drafted tests and skeletons: what is written holds, and a new card starts with a test that fails."""

from __future__ import annotations

import json

import pytest

from diagnose.authoring.drafts import Draft, Drafter
from diagnose.authoring.rule_test_files import drafted, written
from diagnose.authoring.rule_test_reader import KINDS, RuleTest, parse_tests, read_tests
from diagnose.authoring.rule_test_runner import Workshop, run_tests
from diagnose.authoring.skeletons import next_id
from diagnose.authoring.witness import NoWitness, Witness, shifted, spanning
from diagnose.cli.rules_common import tested as ran
from diagnose.inference.run import load
from diagnose.reading.problems import Problems
from tests.support.places import KNOWLEDGE
from tests.support.workshop import call, copied_base


@pytest.fixture
def workshop(tmp_path):
    return Workshop(load(copied_base(tmp_path)))


def holds(workshop, base, branch, fragment) -> bool:
    text = written([_draft(branch, fragment)])
    problems = Problems()
    (test,) = parse_tests(text.encode(), "x", "finding", branch.rule, base, problems)
    assert not problems.found, (text, problems.found)
    return not run_tests(workshop, [test])[0].failures


def _draft(branch, fragment):
    key = "finds" if branch.conclusion.state == "present" else "finds absent"
    return Draft(branch.name, [fragment], {key: [branch.rule]}, fragment.at)


@pytest.mark.slow
def test_every_alternative_of_the_shipped_findings_has_records_that_make_it_hold(whole_base):
    """Of each finding the first alternative for present and for absent; what has none must contradict itself."""
    workshop, witness = Workshop(whole_base), Witness(whole_base.knowledge)
    tried = missing = 0
    for branch in whole_base.rules.branches:
        if branch.conclusion.kind != "found" or branch.number != 1:
            continue
        tried += 1
        try:
            fragment = witness.of(branch.premises)
        except NoWitness:
            missing += 1
            continue
        missing += not holds(workshop, whole_base.knowledge, branch, fragment)
    assert tried > 700
    assert missing <= tried * 0.01


def test_the_smallest_changes_undo_a_conjunction_or_leave_it_standing_on_purpose(workshop):
    witness = Witness(workshop.base.knowledge)
    branch = next(
        b for b in workshop.base.rules.branches if b.rule == "hot all round" and b.conclusion.state == "present"
    )
    changed = {f.shows: holds(workshop, workshop.base.knowledge, branch, f) for f in witness.undone(branch.premises)}
    assert changed["with radial cracks in patches"] is False
    assert changed["with radial cracks looked for and not there"] is False
    assert changed["with radial cracks on soft face only"] is False
    assert changed["with severe edge chips on hard face as well"] is False
    assert changed["with nothing said of radial cracks on hard face"] is False


def test_values_beside_a_threshold():
    assert shifted("0.05 mm", 0.02) == "0.051 mm"
    assert shifted("-10 °C", -0.02) == "-10.2 °C"
    assert shifted("0 bar", 0.02) == "0.02 bar"
    assert spanning("25 m/s") == "25 ± 0.5 m/s"


@pytest.mark.slow
@pytest.mark.slow
def test_drafted_tests_hold_and_notice_nearly_every_change(workshop):
    from diagnose.authoring.mutants import mutants
    from diagnose.authoring.mutation import Hunt, trials

    knowledge = workshop.base.knowledge
    cards = [(kind, card) for section, kind in KINDS.items() for card in getattr(knowledge, section).values()]
    tests = drafted(workshop, cards)
    assert {(t.kind, t.rule) for t in tests} == {(kind, card.name) for kind, card in cards}
    outcomes = run_tests(workshop, tests)
    assert [o.test.name for o in outcomes if o.failures] == []
    hunt = Hunt(workshop, trials(outcomes))
    tried = [(m, hunt.notices(m)) for m in mutants(knowledge)]
    survived = [str(m) for m, noticed in tried if not noticed]
    assert len(survived) <= 0.1 * len(tried), survived


def test_thresholds_are_drafted_at_below_and_above(workshop):
    text = written(Drafter(workshop).finding(workshop.base.knowledge.findings["shaft moves"]))
    for value in ("0.08 mm}", "0.0816 mm}", "0.05 mm}", "0.051 mm}"):
        assert value in text, text


def test_drafts_are_the_same_every_time(workshop):
    card = workshop.base.knowledge.findings["hot all round"]
    assert written(Drafter(workshop).finding(card)) == written(Drafter(workshop).finding(card))


@pytest.mark.parametrize("kind", ["finding", "mechanism", "cause", "caution"])
def test_a_new_card_reads_well_and_its_test_fails_until_it_says_something(kind, tmp_path):
    folder = copied_base(tmp_path)
    code, said = call("new", kind, "paint", "on", "the", "face", "--knowledge", folder)
    assert code == 0 and said.count("paint-on-the-face") == 2
    assert call("check", "--knowledge", folder)[0] == 0
    code, said = call("test", "paint on the face", "--with-drafts", "--knowledge", folder)
    assert code == 1 and "expected" in said
    assert call("test", "paint on the face", "--knowledge", folder)[0] == 2
    assert call("new", kind, "paint on the face", "--knowledge", folder)[0] == 2


@pytest.mark.parametrize("name", ["…", "((", "--", "two\u202e", "\udcff"])
def test_a_name_that_names_no_file_is_none_for_a_card(name, tmp_path):
    folder = copied_base(tmp_path)
    before = sorted(folder.rglob("*"))
    code, said = call("new", "finding", "--knowledge", folder, "--", name)
    assert code == 2 and "no name for a card" in said
    assert sorted(folder.rglob("*")) == before


def test_a_new_measurement_reads_well(tmp_path):
    folder = copied_base(tmp_path)
    assert call("new", "measurement", "ring by eye", "--knowledge", folder)[0] == 0
    assert call("check", "--knowledge", folder)[0] == 0


def test_new_refuses_odd_names_and_kinds(tmp_path):
    folder = copied_base(tmp_path)
    assert call("new", "finding", "../escape", "--knowledge", folder)[0] in (0, 2)
    assert call("new", "finding", "a: b", "--knowledge", folder)[0] == 2
    code, said = call("new", "findng", "x", "--knowledge", folder)
    assert code == 2 and "finding" in said
    assert not (tmp_path / "escape.yaml").exists()


def test_ids_are_never_given_twice():
    assert next_id(["F007", "F012", "C900"], "F") == "F013"
    assert next_id([], "M") == "M001"


def test_tests_are_drafted_beside_a_card_and_never_over_a_file_unasked(tmp_path):
    folder = copied_base(tmp_path)
    assert call("new", "test", "ring hard", "--knowledge", folder)[0] == 0
    assert {t.rule for t in read_tests(folder, load(folder).knowledge, Problems())} == {
        "hot all round",
        "dry running",
        "ring hard",
    }
    assert call("test", "--knowledge", folder)[0] == 0
    assert call("new", "test", "ring hard", "--knowledge", folder)[0] == 2
    assert call("new", "test", "--knowledge", folder)[0] == 2


def test_drafted_tests_run_without_being_written(tmp_path):
    folder = copied_base(tmp_path)
    code, said = call("test", "ring hard", "--knowledge", folder)
    assert code == 2 and "--drafted" in said
    code, said = call("test", "ring hard", "--drafted", "--json", "--knowledge", folder)
    result = json.loads(said)
    assert code == 0 and result["rules"] == 1 and result["tests"] >= 3
    assert not list(folder.rglob("ring-hard.test.yaml"))


WRITTEN_BY_HAND = """\
- test: Ring hard follows from this
  given: []
  finds: [ring hard]

# seen twice in the yard
- test: A ring like glass is hard     # by the thumb nail
  given: [{saw: hardened}]
  finds: [ring hard]
- test: Ring hard stays open with nothing on record
  # nobody looked
  given: []
  leaves open: [ring hard]
"""


def test_drafting_again_keeps_what_a_person_wrote_and_leaves_out_what_it_says_already(tmp_path):
    """A name of one's own or a comment keeps a test; a wrong test under a drafted name is written anew."""
    folder = copied_base(tmp_path)
    path = folder / "findings/ring-hard.test.yaml"
    path.write_text(WRITTEN_BY_HAND)
    assert call("new", "test", "ring hard", "--over", "--knowledge", folder)[0] == 0
    text = path.read_text()
    assert (
        WRITTEN_BY_HAND[WRITTEN_BY_HAND.index("# seen twice") : WRITTEN_BY_HAND.index("- test: Ring hard stays")]
        in text
    )
    assert WRITTEN_BY_HAND[WRITTEN_BY_HAND.index("- test: Ring hard stays") :] in text
    assert text.count("Ring hard stays open with nothing on record") == 1
    assert call("test", "ring hard", "--knowledge", folder)[0] == 0, text
    assert call("new", "test", "ring hard", "--over", "--knowledge", folder)[0] == 0
    assert path.read_text() == text


def test_the_failing_test_of_a_skeleton_gives_way_to_drafts(tmp_path):
    folder = copied_base(tmp_path)
    assert call("new", "finding", "rings burnt", "--knowledge", folder)[0] == 0
    assert call("test", "rings burnt", "--with-drafts", "--knowledge", folder)[0] == 1
    assert call("new", "test", "rings burnt", "--over", "--knowledge", folder)[0] == 0
    assert call("test", "rings burnt", "--with-drafts", "--knowledge", folder)[0] == 0


@pytest.mark.parametrize("kind", ["finding", "mechanism", "cause", "measurement", "caution"])
def test_a_skeleton_that_says_nothing_yet_may_not_run(kind, tmp_path):
    folder = copied_base(tmp_path)
    code, said = call("new", kind, "paint", "on", "the", "face", "--knowledge", folder)
    assert code == 0 and "Next: " in said and "diagnose rules check" in said
    (path,) = folder.rglob("paint-on-the-face.yaml")
    path.write_text(path.read_text().replace("status: draft", "status: accepted"))
    code, said = call("check", "--knowledge", folder)
    assert code == 1 and "[skeleton-text]" in said


@pytest.mark.slow
def test_no_entry_that_can_be_drafted_whole_is_kept_in_a_file(whole_base):
    workshop, problems = Workshop(whole_base), Problems()
    kept: dict[str, list[bool]] = {}
    drafts = {said(t) for t in drafted(workshop, ran(workshop))}
    for t in read_tests(KNOWLEDGE, whole_base.knowledge, problems):
        kept.setdefault(str(t.where), []).append(said(t) in drafts)
    assert kept and len(drafts) > 1000 and not problems.found
    assert [where for where, redundant in kept.items() if all(redundant)] == []


def said(test: RuleTest) -> tuple:
    """What a test gives and expects, whatever its name and place."""
    records = (*test.case.settings, *test.case.observations, *test.case.measured, *test.case.states, *test.case.acts)
    given = (
        frozenset(r.id for r in records),
        test.case.positions,
        test.quantities,
        frozenset(test.told.items()),
        test.at,
    )
    weights = tuple((name, db) for name, db, _ in test.speaks_for)
    expected = (test.findings, test.leads, test.ranks, test.standing, test.common, test.rules_out, test.cautions)
    return test.rule, *given, weights, *expected

"""A site's counts against the cards; what is proposed, and who decides."""

from __future__ import annotations

import shutil

import pytest

from diagnose.library import counts as c
from diagnose.library import proposals as p
from diagnose.library.seals import Verdict
from diagnose.reading.problems import BadInput
from tests.library import site
from tests.support.places import SMALL

CARD, FINDING = "bent shaft", "shaft moves"


@pytest.fixture(scope="module")
def knowledge(small_base):
    return small_base.knowledge


def seen(there: int, of: int, **more):
    """Confirmed bent shafts, the finding there in so many of them."""
    return [site.seal(findings=((FINDING, i < there),), outcomes=(site.confirmed(CARD),), **more) for i in range(of)]


def row(found):
    return next(x for x in found if (x.card, x.finding) == (CARD, FINDING))


def test_the_expected_share_is_what_the_network_gives_for_the_cause_alone(shelf, knowledge):
    from diagnose.judgement.network import build

    net = build(knowledge)
    found = row(c.counts(shelf(*seen(5, 10)), knowledge))
    assert found.expected == pytest.approx(float(net.read(net.alone)[net.row[FINDING], net.column[CARD]]))


def test_card_and_counts_make_a_beta_distribution(shelf, knowledge):
    from scipy.stats import beta, betabinom

    found = row(c.counts(shelf(*seen(12, 30)), knowledge, worth=10))
    a, b = 10 * found.expected, 10 * (1 - found.expected)
    assert (found.k, found.n) == (12, 30)
    assert found.share == pytest.approx(beta(a + 12, b + 18).mean())
    assert found.interval == pytest.approx(beta(a + 12, b + 18).interval(0.95))
    assert found.p == pytest.approx(2 * betabinom(30, a, b).cdf(12))


def test_a_row_that_the_site_contradicts_is_named_with_the_word_that_fits(shelf, knowledge):
    found = row(c.counts(shelf(*seen(6, 60)), knowledge))
    assert found.contradicted
    assert found.word == "always" != found.fits
    assert not row(c.counts(shelf(*seen(58, 60), name="right"), knowledge)).contradicted


def test_what_the_tool_concluded_is_no_confirmation(shelf, knowledge):
    sure = (Verdict("cause", CARD, "established", 0.999), Verdict("mechanism", "rings knock", "established", 0.999))
    said = [site.seal(findings=((FINDING, False),), verdicts=sure) for _ in range(100)]
    assert c.counts(shelf(*said), knowledge) == []
    both = row(c.counts(shelf(*said, *seen(9, 10), name="both"), knowledge))
    assert (both.k, both.n) == (9, 10)


def test_seals_of_two_causes_count_for_neither_and_few_are_not_judged(shelf, knowledge):
    two = [site.seal(findings=((FINDING, True),), outcomes=(site.confirmed(CARD, "dry running"),)) for _ in range(9)]
    assert c.counts(shelf(*two, *seen(4, 4)), knowledge) == []


def test_a_cause_that_a_pair_failed_of_counts_once(shelf, knowledge):
    from diagnose.library.store import Entry, Held

    store = shelf(*seen(5, 5))
    pair = tuple(x for p in ("inboard", "outboard") for x in seen(1, 1, position=p))
    store.put([Entry("pair.yaml", Held("", "", "", ""), pair)])
    assert row(c.counts(store, knowledge)).n == 6


def test_findings_nobody_looked_for_do_not_count(shelf, knowledge):
    blank = [site.seal(outcomes=(site.confirmed(CARD),)) for _ in range(50)]
    assert row(c.counts(shelf(*seen(5, 5), *blank), knowledge)).n == 5


# ---- proposals ----------------------------------------------------------------------------------------------


@pytest.fixture
def base(tmp_path):
    return shutil.copytree(SMALL / "knowledge", tmp_path / "base")


def decided(file, **decision):
    text = file.read_text("utf-8")
    for key, value in decision.items():
        text = text.replace(f'{key}: ""', f"{key}: {value}")
    file.write_text(text, "utf-8")


@pytest.fixture
def proposed(shelf, knowledge, tmp_path):
    file = tmp_path / "proposals.yaml"
    p.write(file, p.proposed(c.counts(shelf(*seen(6, 60)), knowledge)))
    return file


def test_nothing_is_written_into_a_card_before_somebody_accepts_it(proposed, base, knowledge):
    before = (base / "causes" / "bent-shaft.yaml").read_bytes()
    assert p.take_over(base, knowledge, p.read(proposed, knowledge)) == []
    decided(proposed, accepted="false", by="A trainer", why="The dial was at fault")
    assert p.take_over(base, knowledge, p.read(proposed, knowledge)) == []
    assert (base / "causes" / "bent-shaft.yaml").read_bytes() == before


def test_an_accepted_word_is_written_in_its_place_and_nothing_else(proposed, base, knowledge):
    decided(proposed, accepted="true", by="A trainer", why="Sixty teardowns")
    before = (base / "causes" / "bent-shaft.yaml").read_text("utf-8")
    (done,) = p.take_over(base, knowledge, p.read(proposed, knowledge))
    after = (base / "causes" / "bent-shaft.yaml").read_text("utf-8")
    assert after == before.replace(
        "{finding: shaft moves, seen: always}", f"{{finding: shaft moves, seen: {done.propose}}}"
    )


def test_a_decision_without_who_and_why_is_refused_at_its_place(proposed, knowledge):
    decided(proposed, accepted="true")
    with pytest.raises(BadInput, match=r"proposals.yaml:3:\d+: a decision says who made it and why"):
        p.read(proposed, knowledge)


def test_what_was_refused_is_not_proposed_again(proposed, shelf, knowledge):
    decided(proposed, accepted="false", by="A trainer", why="Not so")
    before = p.read(proposed, knowledge)
    again = p.proposed(c.counts(shelf(*seen(6, 60), name="again"), knowledge), before)
    assert again == before


def test_a_word_that_the_card_no_longer_has_is_counted_anew_first(proposed, base, knowledge):
    from diagnose.knowledge.reader import read_knowledge

    card = base / "causes" / "bent-shaft.yaml"
    card.write_text(card.read_text("utf-8").replace("shaft moves, seen: always", "shaft moves, seen: usually"), "utf-8")
    decided(proposed, accepted="true", by="A trainer", why="Sixty teardowns")
    with pytest.raises(BadInput, match="the card says 'usually' by now, not 'always'"):
        p.read(proposed, read_knowledge(base))


def test_a_trial_of_the_words_leaves_the_rule_base_alone(proposed, base, knowledge):
    from diagnose.knowledge.reader import read_knowledge

    before = read_knowledge(base).digest
    (one,) = p.read(proposed, knowledge)
    with p.tried(base, knowledge, [one]) as copy:
        tried = {r.finding: r.seen for r in read_knowledge(copy).causes[CARD].leaves}
    assert tried[FINDING] == one.propose
    assert read_knowledge(base).digest == before

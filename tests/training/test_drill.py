"""The engine of the drill: what acts show, what they take and what they end."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from diagnose.advice.reach import stage_of
from diagnose.casefile.model import Observation
from diagnose.training.bench import LOOK, MEASURE, Act, start
from diagnose.training.drill import do
from diagnose.training.record import record_of, recorded
from diagnose.training.ways import checklist, worst
from tests.support.places import KNOWLEDGE, SCENARIOS, mostly_slow
from tests.training.drills import hidden_of, played, ways_of

LOOSE = [Act("isolate and drain"), Act("unbolt")]
OFF = [*LOOSE, Act("part the faces")]


def saw(bench, feature, part=""):
    return [r for r in recorded(bench) if isinstance(r, Observation) and r.feature == feature and part in (r.part, "")]


def test_nothing_that_was_seen_or_told_is_known_before_anybody_looks(condensate):
    case = record_of(start(condensate))
    assert not case.observations and not case.events and not case.about
    assert {s.setting for s in case.settings} >= {"arrangement", "elastomer"}
    assert "running hours" not in {x.what for x in case.measured}


def test_a_look_takes_the_minutes_of_its_kind_and_what_is_not_there_is_sound(condensate):
    bench, outcome = do(played(condensate, OFF), Act(LOOK, ("2",)))
    assert outcome.minutes == 3 and saw(bench, "radial cracks", "2")
    assert {"through crack", "edge chips"} <= {o.feature for o in bench.sound}
    assert "radial cracks" not in {o.feature for o in bench.sound if o.part == "2"}


def test_faces_are_not_to_be_seen_while_they_are_together(condensate):
    bench, outcome = do(start(condensate), Act(LOOK, ("2",), features=("radial cracks",)))
    assert "yet: isolate and drain, unbolt, part the faces first" in outcome.refused and bench.minutes == 0
    bench, outcome = do(played(condensate, LOOSE), Act(LOOK, ("2",)))
    assert not outcome.refused and not saw(bench, "radial cracks") and outcome.unseen == ("Mating ring",)
    assert "faces stuck together" in {o.feature for o in outcome.sound}, "that shows once the seal is off"


def test_one_wipe_takes_films_and_tints_for_good(condensate):
    bench = played(condensate, [*OFF, Act("wipe", ("7",)), Act(LOOK, ("7",))])
    assert not saw(bench, "heat tint")
    assert [
        (condensate.by_id[x.trace].what, x.what, x.stage, x.act)
        for x in bench.losses
        if x.what == "gone" and x.act == len(OFF)
    ] == [("heat tint", "gone", "before washing", len(OFF))]
    kept = played(condensate, [*OFF, Act(LOOK, ("7",)), Act("wipe", ("7",))])
    assert saw(kept, "heat tint") and len(OFF) + 1 not in {x.act for x in kept.losses}


def test_a_photograph_keeps_what_it_shows(condensate):
    bench = played(condensate, [*OFF, Act("photograph"), Act("wash"), Act(LOOK, kinds=("atmosphere side",))])
    assert saw(bench, "carbon dust") == [], "no part of the list carries it"
    assert set(condensate.teardown.shows) & set(condensate.words.form_lineage["heat tint"])
    shown = played(condensate, [*OFF, Act("photograph"), Act("wash"), Act(LOOK, ("7",))])
    assert saw(shown, "heat tint") and not any(condensate.by_id[x.trace].what == "heat tint" for x in shown.losses)


def test_an_unmarked_ring_has_no_clock_any_more(whole_base):
    hidden = hidden_of(KNOWLEDGE.parent / "scenarios" / "hydrotested-pump-two-spots.yaml", whole_base)
    spots = next(t for t in hidden.traces if t.what == "two heavy spots")
    for marked in (False, True):
        acts = [*([Act("mark the index")] if marked else []), *OFF, Act("mark the index"), Act(LOOK, (spots.part,))]
        (record,) = [r for r in recorded(played(hidden, acts)) if getattr(r, "feature", "") == "two heavy spots"]
        assert bool(record.extent.arcs) == marked, "a mark that is put on afterwards tells nothing"
        assert record.extent.word == "patches", "how far it goes is seen all the same"


def test_rings_that_lay_together_without_tags_stay_mixed_up(condensate):
    loose = played(condensate, [*OFF, Act("take out"), Act(LOOK, ("3",))])
    (hard,) = saw(loose, "hard towards the faces")
    assert (hard.part, hard.kind) == ("", "O-ring")
    late = played(condensate, [*OFF, Act("take out"), Act("tag"), Act(LOOK, ("3",))])
    assert saw(late, "hard towards the faces")[0].part == "", "a tag does not part what is mixed up"
    for keeping in ("tag", "note contacts"):
        tagged = played(condensate, [*OFF, Act(keeping), Act("take out"), Act(LOOK, ("3",))])
        assert saw(tagged, "hard towards the faces")[0].part == "3"


def test_what_people_remember_does_not_perish(condensate):
    acts = [*OFF, Act("wash"), Act(LOOK, kinds=("history",)), Act(LOOK, kinds=("sound",))]
    bench = played(condensate, acts)
    assert saw(bench, "dry spell") and saw(bench, "squeal") and len(record_of(bench).events) == 2


def test_a_measurement_after_its_stage_takes_its_minutes_and_tells_nothing(condensate):
    card = condensate.knowledge.measurements["working length"]
    bench, outcome = do(played(condensate, OFF), Act(MEASURE, card="working length"))
    assert card.stage == "before unbolting" and outcome.minutes == card.minutes
    assert not outcome.seen and outcome.late and not bench.told
    _early, outcome = do(start(condensate), Act(MEASURE, card="working length"))
    assert [condensate.by_id[s.trace].what for s in outcome.seen] == ["working length"]


def test_no_measurement_sees_into_a_closed_seal(whole_base):
    """The gap of the gland speaks of a track that bears more on one side, and nobody has seen the track yet."""
    hidden = hidden_of(KNOWLEDGE.parent / "scenarios" / "transfer-pump-tilted-gland.yaml", whole_base)
    bench, outcome = do(start(hidden), Act(MEASURE, card="gland gap at four clocks"))
    assert "uneven gland gap" in {hidden.by_id[s.trace].what for s in outcome.seen}
    assert not [s for s in outcome.seen if hidden.by_id[s.trace].kind == "hard face"]
    assert not [o for o in outcome.sound if o.feature == "one heavy sector"]
    assert stage_of(record_of(bench), hidden.knowledge) == bench.stage == "before anything is touched"


def test_what_is_there_by_two_signs_is_not_denied_by_a_third(whole_base):
    hidden = hidden_of(KNOWLEDGE.parent / "scenarios" / "solvent-pump-swollen-rings.yaml", whole_base)
    _, outcome = do(start(hidden), Act(LOOK, kinds=("leak",)))
    told = {hidden.by_id[s.trace].what for s in outcome.seen}
    assert {"leak when running", "leak when standing"} <= told
    assert "leak running and standing" not in {o.feature for o in outcome.sound}


def test_an_act_that_cannot_be_done_yet_changes_nothing(condensate):
    before = start(condensate)
    for act, first in (
        ("unbolt", "isolate and drain first."),
        ("part the faces", "unbolt first."),
        ("wash", "faces first."),
    ):
        after, outcome = do(before, Act(act))
        assert outcome.refused.endswith(first) and after == before
    off = played(condensate, OFF)
    assert (
        do(off, Act("unbolt"))[1].refused and do(off, Act("relap", ("7",)))[1].refused == "That is done to face only."
    )


def test_what_a_seal_lost_as_a_whole_cannot_be_looked_at(whole_base):
    hidden = hidden_of(KNOWLEDGE.parent / "scenarios" / "thin-record.yaml", whole_base)
    bench = played(hidden, checklist(hidden))
    assert not bench.losses and [hidden.by_id[s.trace].what for s in bench.seen] == ["growing leak"]


# ---- losses against the tables ---------------------------------------------------------------------------------


def the_tables():
    """(stages, acts, measurements) as their files have them."""
    stages = yaml.safe_load((KNOWLEDGE / "vocabulary" / "scales.yaml").read_text())["stages"]
    acts = yaml.safe_load((KNOWLEDGE / "teardown.yaml").read_text())["acts"]
    cards = [yaml.safe_load(p.read_text()) for p in Path(KNOWLEDGE / "measurements").glob("*.yaml")]
    features = yaml.safe_load((KNOWLEDGE / "vocabulary" / "features.yaml").read_text())["features"]
    forms = yaml.safe_load((KNOWLEDGE / "vocabulary" / "forms.yaml").read_text())["forms"]
    return stages, acts, {c["measurement"]: c for c in cards if "measurement" in c}, {**forms, **features}


def first_that_ends(trace, acts, hidden, tables):
    """The number of the first act after which the tables say that a mark on a part is gone; None where none does."""
    stages, handled, cards, features = tables
    lost = features[trace.what].get("lost")
    if lost not in stages[1:]:
        return None
    for n, act in enumerate(acts):
        if act.verb == MEASURE and act.card:
            spoils = cards[act.card].get("spoils") or (
                stages[-1] if cards[act.card].get("destructive") in (True, "true") else ""
            )
            kinds = hidden.words.lineage[hidden.parts[trace.part].kind]
            if spoils == lost and cards[act.card]["part"] in kinds:
                return n
        elif act.verb in handled:
            ends, each, of = (handled[act.verb].get(k) for k in ("ends", "each", "of"))
            if ends and not each and stages.index(ends) >= stages.index(lost):
                return n
            done_to = not of or set(of) & set(hidden.words.lineage[hidden.parts[trace.part].kind])
            if each and ends == lost and done_to and trace.part in (act.items or hidden.parts):
                return n
    return None


@pytest.mark.parametrize("path", mostly_slow(SCENARIOS, 3), ids=lambda p: p.stem)
@pytest.mark.parametrize("way", ["checklist", "worst", pytest.param("plan", marks=pytest.mark.slow)])
def test_what_was_lost_and_by_which_act_is_told_as_the_tables_of_perishability_say(path, way, whole_base):
    hidden, tables = hidden_of(path, whole_base), the_tables()
    acts = ways_of(hidden)[way] if way == "plan" else {"checklist": checklist, "worst": worst}[way](hidden)
    bench, done = start(hidden), []
    for act in acts:
        bench, outcome = do(bench, act)
        done += [] if outcome.refused else [act]
    blamed = {x.trace: (x.act, x.stage) for x in bench.losses if x.what == "gone"}
    seen = {s.trace: s.act for s in reversed(bench.seen)}
    for trace in hidden.traces:
        if trace.part and isinstance(trace.record, Observation) and not trace.gone:
            ends = first_that_ends(trace, done, hidden, tables)
            late = ends is not None and seen.get(trace.id, len(done)) > ends  # a measurement sees what it spoils
            told = (ends, tables[3][trace.what]["lost"]) if late else None
            assert blamed.get(trace.id) == told, trace.what
            assert not (trace.id in seen and late), f"{trace.what} was seen after it was gone"

"""What can hurt is never advised bare: the trade's list of hazards, held against steps of work and the rule base."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.authoring.check import examine_contents
from diagnose.knowledge.files import contents_of
from diagnose.knowledge.hazards import hazards_of, unguarded
from diagnose.reading.entry import replace

KNOWLEDGE = Path(__file__).resolve().parents[2] / "knowledge"


@pytest.fixture(scope="module")
def shipped(whole_base):
    return whole_base.knowledge


@pytest.mark.parametrize(
    "text, hazard",
    [
        ("Slacken the gland nuts.", "opening"),
        ("Crack open the flange.", "opening"),
        ("Vent the chamber before each start.", "venting"),
        ("Bleeding the line shows whether gas is there.", "venting"),
        ("Look at the sample and sniff it.", "smelling"),
        ("Let it run under watch while the leak falls.", "running a seal"),
        ("Hold a grain in the flame.", "burning"),
        ("Free it with a heat gun.", "burning"),
        ("Warm up the pump with its tracing.", "warming"),
        ("Dissolve it in dilute acid.", "acid on a deposit"),
        ("Touch it with acetone.", "dissolving"),
        ("Neutralise before dismantling.", "neutralising"),
        ("Blow through the line.", "blowing"),
        ("Rinse the seal with water.", "wetting with water"),
        ("Shut the nitrogen.", "gas under pressure"),
        ("Turn the shaft and feel for a tight place.", "turning by hand"),
        ("Scrape the face clean.", "scraping"),
        ("Grind the ring flat.", "making dust"),
        ("Put grease on the ring.", "greasing"),
        ("Compress the springs in a vice.", "springs under load"),
        ("Measure the voltage on the shaft.", "live electricity"),
    ],
)
def test_a_step_that_can_hurt_is_known_by_its_words(shipped, text, hazard):
    assert hazard in {h.name for h, _ in hazards_of(shipped, text)}
    action = replace(shipped.causes["flush lost"].then[0], do=text, worked_if="", cautions=())
    causes = {"flush lost": replace(shipped.causes["flush lost"], then=(action,))}
    found = list(unguarded(replace(shipped, causes=causes, measurements={})))
    assert found and all(p.code == "caution-not-named" and p.level == "error" for p in found)
    named = tuple(c for h, _ in hazards_of(shipped, text) for c in h.cautions)
    causes["flush lost"] = replace(causes["flush lost"], then=(replace(action, cautions=named),))
    assert not list(unguarded(replace(shipped, causes=causes, measurements={})))


@pytest.mark.parametrize(
    "text",
    [
        "Open the minimum-flow by-pass below it.",
        "Renew the ring.",
        "Fit a damper or an air vessel.",
        "Clear condensate at the quench drain.",
        "Prevention pays: inventory, burnish, openly.",
        "No bright scrapes.",
    ],
)
def test_a_word_that_means_something_else_is_no_hazard(shipped, text):
    assert list(hazards_of(shipped, text)) == []


def test_work_at_a_running_seal_is_a_hazard_by_its_stage(shipped):
    assert [(h.name, told) for h, told in hazards_of(shipped, "Look.", "while running")] == [
        ("running a seal", "while running")
    ]


@pytest.mark.parametrize(
    "card, was",
    [
        ("cautions/corrosive-residues.yaml", "neutralise before dismantling"),
        ("causes/faces-not-run-in.yaml", "Let it run under watch"),
        ("causes/flush-lost.yaml", "shutting the line for a moment"),
        ("mechanisms/dry-running.yaml", "A test of the trip stops the pump before the seal warms"),
        ("causes/gas-not-vented.yaml", "runs from the vent"),
        ("mechanisms/crystallisation-on-the-atmosphere-side.yaml", "Quench the atmosphere side with clean water"),
        ("mechanisms/fretting-of-the-sleeve.yaml", "Put a fluoropolymer secondary seal"),
        ("mechanisms/product-set-or-polymerised.yaml", "Heat-trace chamber and lines"),
        ("measurements/barrier-fluid-sample.yaml", "smell only where"),
        ("measurements/quench-check.yaml", "blow through"),
        ("vocabulary/features.yaml", "burn it"),
        ("arrangements/dismantling.yaml", "feel the lines"),
        ("causes/pump-and-driver-misaligned.yaml", "Loosen the flanges"),
    ],
)
def test_advice_that_hurts_has_not_come_back(card, was):
    assert was not in " ".join((KNOWLEDGE / card).read_text("utf-8").split())


CASES = {
    "ammonia": (
        "service: {is: [ammonia]}",
        {"toxic service", "flammable service", "cold liquefied gas", "flashing when opened"},
    ),
    "water at 115 °C": ("service: {is: [water], temperature: 115 °C}", {"hot parts", "flashing when opened"}),
    "water at 61 °C": ("service: {is: [water], temperature: 61 °C}", {"hot parts"}),
    "amine": ("service: {is: [amine]}", {"toxic service", "flammable service", "corrosive residues"}),
    "acid": ("service: {is: [acid]}", {"toxic service", "corrosive residues", "reacts or boils with water"}),
    "gas under nitrogen": (
        "service: {is: [gas]}\nseal: {arrangement: dry gas}",
        {"inert gas", "flammable service", "gas let down"},
    ),
    "plan 53A": (
        "seal: {arrangement: dual pressurised, plan: [plan 53A]}",
        {"inert gas", "pressurised support system"},
    ),
    "PTFE": ("seal: {elastomer: PTFE}", {"fluoropolymer fume"}),
    "tetrahydrofuran": ("service: {is: [tetrahydrofuran]}", {"peroxide former", "flammable service"}),
    "natural gas condensate": ("service: {is: [natural gas condensate]}", {"mercury", "toxic service"}),
    "produced water": (
        "service: {is: [produced water]}",
        {"naturally radioactive scale", "toxic service", "flammable service"},
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_record_raises_what_its_liquid_does_to_people(name, judged):
    text, expected = CASES[name]
    assert expected <= set(judged(f"case: On the bench\n{text}\n").inference.cautions)


@pytest.mark.parametrize(
    "text, silent",
    [
        ("service: {is: [water], temperature: 40 °C}", {"hot parts", "flashing when opened", "toxic service"}),
        ("service: {is: [water], temperature: 99 °C}", {"flashing when opened"}),
        ("service: {is: [hot water], temperature: 140 °C}", {"reacts or boils with water", "toxic service"}),
    ],
)
def test_a_harmless_record_does_not(text, silent, judged):
    assert not silent & set(judged(f"case: On the bench\n{text}\n").inference.cautions)


def test_a_plain_look_neither_burns_nor_smells_but_may_use_what_always_stands(shipped):
    coke, cracks = (shipped.vocabulary.features[n] for n in ("coke", "radial cracks"))
    assert "penetrant" in cracks.how

    def told(how: str) -> list[str]:
        features = {"coke": replace(coke, how=how), "radial cracks": cracks}
        looked = replace(shipped, vocabulary=replace(shipped.vocabulary, features=features), causes={}, measurements={})
        return [p.says for p in unguarded(looked)]

    assert told(coke.how) == []
    assert "burning" in told("Swab or scrape: burn it, dissolve it.")[0]
    assert "smelling" in told("By its smell.")[0]


def test_a_step_of_dismantling_is_held_to_it_too(shipped):
    first, *others = shipped.arrangements.steps
    steps = (replace(first, do="Let it run and listen."), *others)
    found = list(unguarded(replace(shipped, arrangements=replace(shipped.arrangements, steps=steps))))
    assert [p.where for p in found] == [first.where] and "running a seal" in found[0].says


@pytest.mark.slow
def test_without_the_cautions_of_its_actions_the_rule_base_has_errors():
    contents = dict(contents_of(KNOWLEDGE))
    card = contents["causes/flush-lost.yaml"].decode()
    bare = "\n".join(line for line in card.splitlines() if not line.startswith("    cautions:"))
    contents["causes/flush-lost.yaml"] = (bare + "\n").encode()
    found = [p for p in examine_contents(contents, "knowledge").problems if p.level == "error"]
    assert found and {p.code for p in found} == {"caution-not-named"}

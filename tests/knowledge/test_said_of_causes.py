"""What an operator or fitter would say of a root cause is a direct sign of it: each statement brings its finding, and alone makes
its cause more likely than before by at least three times. Statements are the trade's common ways to tell what happened."""

from __future__ import annotations

import pytest

SAID = {
    "suction blocked or starved": [
        "{at: suction strainer, passage: blocked}",
        "{at: suction valve, valve position: partly open}",
        "{did: block, to: suction strainer}",
    ],
    "pump run without liquid": ["{did: fill, to: machine, not: true}", "{did: run dry}", "{did: start dry}"],
    "run against a closed valve": [
        "{at: discharge valve, valve position: shut}",
        "{did: run dead-headed}",
        "{did: open a valve, to: discharge valve, not: true}",
    ],
    "gas not vented": ["{did: vent, to: chamber, not: true}", "{did: vent, not: true}"],
    "flush lost": [
        "{at: orifice, passage: partly blocked}",
        "{at: flush line, flow: less than usual}",
        "{did: shut a valve, to: flush valve}",
    ],
    "cooling lost": ["{did: shut a valve, to: cooling water}", "{at: cooling water, flow: none}"],
    "quench lost": ["{at: quench, valve position: shut}", "{did: lose supply, to: quench}"],
    "barrier supply lost": ["{did: lose supply, to: barrier supply}", "{did: top up, to: pot, not: true}"],
    "barrier pressure too low": ["{at: barrier supply, setting: too low}"],
    "barrier fluid unsuited or not renewed": [
        "{did: change to, to: barrier circuit, with: oil}",
        "{at: barrier circuit, colour: milky}",
    ],
    "bearing failed of itself": ["{did: grease, to: bearing, not: true}", "{at: bearing oil, passage: blocked}"],
    "setting clip not removed": ["{did: remove clips, not: true}", "{did: remove clips, when: before fitting}"],
    "o-ring left out": ["{did: fit, to: O-ring, not: true}"],
    "face damaged in handling": ["{did: drop, to: face}", "{did: force, to: seal}"],
    "worn part used again": ["{did: exchange, to: O-ring, not: true}", "{did: fit again, to: face}"],
    "faces not flat as fitted": ["{did: lap, to: face}"],
    "stray current": ["{did: weld, to: piping}"],
    "hot pump started cold": ["{did: warm up, not: true}", "{at: warm-up line, valve position: shut}"],
    "tracing or heating off": ["{at: tracing, condition: failed}", "{did: shut a valve, to: tracing}"],
    "left standing with product in it": ["{did: leave standing, to: machine}"],
    "balance line blocked": ["{at: balance line, passage: blocked}"],
    "cleaned with what the seal does not stand": ["{did: wash, to: machine, with: caustic}"],
    "leak is not the seal's": ["{at: casing, condition: leaking}"],
    "water frozen in the pump": ["{did: freeze, to: machine}"],
    "parts of the wrong hand or put together wrongly": ["{did: fit the wrong way round, to: O-ring}"],
    "reverse rotation": ["{did: run backwards, to: machine}"],
    "pump and driver misaligned": ["{did: align, to: coupling, not: true}"],
}
NAMES = {"o-ring left out": "O-ring missing or of the wrong size"}


@pytest.mark.parametrize(("cause", "said"), [(c, s) for c, every in SAID.items() for s in every])
def test_what_is_said_of_a_cause_speaks_for_it(judged, cause, said):
    kind = "acts" if said.startswith("{did") else "states"
    arrangement = "dual pressurised" if "barrier" in cause else "single"
    before = judged(f"case: A seal\nseal: {{arrangement: {arrangement}}}\n").judgements[0]
    after = judged(f"case: A seal\nseal: {{arrangement: {arrangement}}}\n{kind}:\n  - {said}\n").judgements[0]
    name = NAMES.get(cause, cause)
    assert after.of(name).weight > before.of(name).weight + 4.8  # odds times three


def test_a_dry_spell_does_not_say_that_the_suction_was_lost(judged):
    """A dry seal may stand in a full suction line: gas in the chamber dries it as well (common practice)."""
    text = "case: A seal\nseal: {arrangement: single}\nparts: [{item: 1, kind: seal}]\nobservations: [{on: history, saw: dry spell}]\n"
    (found,) = judged(text).inference.findings.values()
    assert found["seal ran dry"].state == "present"
    assert "suction lost or blocked" not in found

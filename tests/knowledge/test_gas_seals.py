"""Gas seals: what needs liquid is out of the question, and what was said of their gas tells the cause. Common practice of the
trade: such seals fail of gas that is wet, dirty or missing, of oil from the bearings, of slow or backward turning."""

from __future__ import annotations

import pytest

SEALS = {
    "one dry gas seal": "arrangement: dry gas",
    "gas seals in tandem": "arrangement: dual unpressurised, film: gas",
    "a pressurised pair on gas": "arrangement: dual pressurised, film: gas",
}
NEED_LIQUID = {
    "flush lost", "flush dirty or hot", "quench lost", "cooling lost", "gas not vented", "pump run without liquid", "very pure water at the seal",
    "product crystallises or cokes in air", "flashing", "dry running", "film too thin", "faces short of cooling", "coking", "carbon blistering",
}  # fmt: skip
NEED_GAS = {"seal gas wet, dirty or lost", "separation gas lost", "gas film lost", "gas-seal faces wetted or fouled"}
SAID = {
    "seal gas wet, dirty or lost": [
        ["{at: seal gas supply, flow: none, when: standing}", "{at: gas panel filter, differential pressure: high}"],
        ["{at: gas heater, condition: failed}", "{at: seal gas supply, cleanliness: wet}"],
    ],
    "separation gas lost": [["{at: separation seal, pressure: low}", "{at: secondary vent, cleanliness: oily}"]],
    "gas-seal grooves turned the wrong way or too slowly": [
        ["{did: turn slowly}"],
        ["{did: run backwards}"],
        ["{did: fit the wrong way round, to: seal}"],
    ],
}


def record(seal: str, *said: str) -> str:
    text = f"case: A seal\nseal: {{{seal}}}\n"
    for key, kind in (("at:", "states"), ("did:", "acts")):
        mine = [f"  - {s}\n" for s in said if s.startswith("{" + key)]
        text += f"{kind}:\n" + "".join(mine) if mine else ""
    return text


def out(judgement) -> set[str]:
    return {j.name for j in (*judgement.causes, *judgement.mechanisms) if j.standing == "ruled out"}


@pytest.mark.parametrize("seal", SEALS.values(), ids=SEALS)
def test_what_needs_liquid_at_the_faces_is_ruled_out(judged, seal):
    for judgement in judged(record(seal)).judgements:
        assert out(judgement) >= NEED_LIQUID and not NEED_GAS & out(judgement)


@pytest.mark.parametrize(
    "seal", ["arrangement: single", "film: liquid", "arrangement: dual unpressurised, film: liquid"]
)
def test_what_needs_gas_is_ruled_out_where_the_film_is_known_to_be_liquid(judged, seal):
    for judgement in judged(record(seal, "{at: flush line, flow: none}")).judgements:
        assert not NEED_LIQUID & out(judgement)
        assert ("film: liquid" not in seal) or out(judgement) >= NEED_GAS


@pytest.mark.parametrize(("cause", "said"), [(c, s) for c, every in SAID.items() for s in every])
@pytest.mark.parametrize("seal", SEALS.values(), ids=SEALS)
def test_what_was_said_of_its_gas_and_its_turning_leads_to_the_cause(judged, seal, cause, said):
    if "backwards" in said[0] or "wrong way" in said[0]:
        seal += ", grooved faces: one direction"
    first = judged(record(seal, *said)).judgements[0].causes[:3]
    assert any(c.name == cause and c.probability > 1.5 * c.prior for c in first)

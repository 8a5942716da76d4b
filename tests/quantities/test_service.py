"""Margins at the chamber, pressure across each seal of a pair, cold and suction."""

from __future__ import annotations

import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.quantities import service
from diagnose.quantities.limits import INSIDE, OUTSIDE, UNDECIDED, hangs_on_datum, judge_limit

WATER = "service: {{fluid: {fluid}, temperature: {t} °C, chamber pressure: {p}}}"


@given(st.floats(274, 646))
def test_water_boils_where_its_vapour_pressure_says(t):
    assert service.water_boiling_point(service.water_vapour_pressure(t)) == pytest.approx(t, abs=1e-6)


@given(st.sampled_from(["propane", "ammonia", "n-hexane", "methanol"]), st.floats(0.02, 0.98))
def test_other_fluids_boil_where_their_vapour_pressure_says(knowledge, fluid, share):
    row = knowledge.tables["fluids"]["fluids"][fluid]
    low, high = (service.amount(row[k]).value for k in ("from", "to"))
    t = low + (high - low) * share
    assert service.boiling_point(row, service.vapour_pressure(row, t)) == pytest.approx(t, abs=1e-4)


def test_margin_of_water_at_80_degrees_passes_by_ratio_and_temperature_only(quantities_of, knowledge):
    """API 682 rules as quoted; IF97: 0.253 MPa, 53.5 K, ratio 6.3."""
    found = quantities_of(WATER.format(fluid="hot water", t=80, p="3.0 bar a"))
    assert found["vapour margin"].value == pytest.approx(0.253e6, abs=1e3)
    assert found["chamber superheat margin"].value == pytest.approx(53.5, abs=0.1)
    assert found["vapour margin ratio"].value == pytest.approx(6.3, abs=0.05)
    assert judge_limit(found["vapour margin"], knowledge.limits["vapour margin"]) == "between published limits"
    assert judge_limit(found["vapour margin ratio"], knowledge.limits["vapour margin ratio"]) == "inside"
    assert judge_limit(found["chamber superheat margin"], knowledge.limits["chamber superheat margin"]) == "inside"
    assert found["vapour margin"].source == "iapws-if97"


def test_propane_at_40_degrees_fails_margin_and_ratio(quantities_of, knowledge):
    """Propane 1.369 MPa at 40 °C (NIST, from memory): 0.231 MPa, ratio 1.17."""
    found = quantities_of(WATER.format(fluid="propane", t=40, p="16 bar a"))
    assert found["vapour margin"].value == pytest.approx(0.231e6, abs=0.003e6)
    assert found["vapour margin ratio"].value == pytest.approx(1.17, abs=0.005)
    assert judge_limit(found["vapour margin ratio"], knowledge.limits["vapour margin ratio"]) == "outside"
    assert found["vapour margin"].high > found["vapour margin"].value, "the fitted equation's 0.3 % is carried"


def test_a_given_vapour_pressure_is_used_whatever_the_fluid(quantities_of):
    found = quantities_of("service: {fluid: crude oil, vapour pressure: 2 bar a, chamber pressure: 5 bar a}")
    assert found["vapour margin"].value == pytest.approx(3e5)
    assert "vapour pressure as given" in found["vapour margin"].notes


@pytest.mark.parametrize(
    ("text", "because"),
    [
        ("service: {temperature: 80 °C, chamber pressure: 3 bar a}", "neither vapour pressure nor fluid"),
        ("service: {fluid: hot water, chamber pressure: 3 bar a}", "temperature is not on record"),
        ("service: {fluid: propane, temperature: 120 °C, chamber pressure: 60 bar a}", "holds from"),
        ("service: {fluid: hot water, temperature: 400 °C, chamber pressure: 60 bar a}", "holds from 0 °C"),
        (
            "service: {fluid: liquid unobtainium, temperature: 20 °C, chamber pressure: 3 bar a}",
            "write vapour pressure",
        ),
    ],
)
def test_a_margin_that_cannot_be_had_says_why(quantities_of, text, because):
    found = quantities_of(text)["vapour margin"]
    assert found.value is None and because in found.problem


@pytest.mark.slow
def test_coolprop_answers_for_further_fluids(quantities_of, knowledge):
    """n-nonane boils at 150.8 °C (from memory): 0.99 bar at 150 °C."""
    from CoolProp.CoolProp import PropsSI

    found = quantities_of(WATER.format(fluid="nonane", t=150, p="3 bar a"))
    assert found["vapour margin"].value == pytest.approx(3e5 - 0.99e5, abs=0.03e5)
    assert found["vapour margin"].source == "coolprop"
    for row in knowledge.tables["fluids"]["further fluids"].values():
        assert PropsSI("Tcrit", row["coolprop"]) > 100


def test_without_coolprop_the_way_out_is_told(quantities_of, monkeypatch):
    monkeypatch.setitem(sys.modules, "CoolProp.CoolProp", None)
    service.ask_coolprop.cache_clear()
    found = quantities_of(WATER.format(fluid="chlorine", t=20, p="10 bar a"))["vapour margin"]
    service.ask_coolprop.cache_clear()
    assert "diagnose[fluids]" in found.problem


def test_a_pressure_without_g_or_a_is_reckoned_both_ways(quantities_of):
    plain, absolute, gauge = (
        quantities_of(WATER.format(fluid="water", t=80, p=p))["vapour margin"] for p in ("3 bar", "3 bar a", "3 bar g")
    )
    assert (plain.low, plain.high) == (absolute.low, gauge.high) and gauge.value - absolute.value == pytest.approx(
        101325
    )
    assert plain.datum == "chamber pressure 3 bar" and any("neither" in n or "without g" in n for n in plain.notes)
    assert not gauge.datum and not absolute.datum and gauge.notes == absolute.notes


@pytest.mark.parametrize(
    "written", ["3 bara", "3 bar(g)", "43 psig", "43 psi a", "0.3 MPa g", "300 kPa a", "3.0 ± 0.1 bar g"]
)
def test_every_spelling_of_gauge_and_absolute_is_known(quantities_of, written):
    assert not quantities_of(WATER.format(fluid="water", t=80, p=written))["vapour margin"].datum


def test_a_limit_is_undecided_only_where_the_datum_matters(whole_base, quantities_of):
    def margin(pressure: str):
        return quantities_of(WATER.format(fluid="propane", t=20, p=pressure))["vapour margin"]

    limit = whole_base.knowledge.limits["vapour margin"]
    assert judge_limit(margin("9.2 bar"), limit) == UNDECIDED and hangs_on_datum(margin("9.2 bar"), limit)
    assert judge_limit(margin("9.2 bar a"), limit) == OUTSIDE and not hangs_on_datum(margin("9.2 bar a"), limit)
    assert judge_limit(margin("20 bar"), limit) == INSIDE and not hangs_on_datum(margin("20 bar"), limit)


def test_a_vapour_pressure_is_told_absolute(quantities_of):
    given = "service: {fluid: x, temperature: 20 °C, chamber pressure: 9 bar g, vapour pressure: 8 bar}\nseal: {arrangement: single}"
    margin = quantities_of(given)["vapour margin"]
    assert not margin.datum and any("read as absolute, as is the custom" in n for n in margin.notes)


DUAL = """
service: {{chamber pressure: 6 bar a, barrier pressure: {barrier}}}
seal: {{arrangement: {arrangement}}}
"""


@pytest.mark.parametrize(
    ("arrangement", "barrier", "inboard", "outboard"),
    [
        ("dual pressurised", "8 bar a", 2e5, 8e5 - 101325),
        ("dual pressurised", "5 bar a", -1e5, 5e5 - 101325),  # reversed: the product pushes in
        ("dual unpressurised", "1.5 bar a", 4.5e5, 1.5e5 - 101325),
    ],
)
def test_pressure_across_each_seal_of_a_pair(quantities_of, arrangement, barrier, inboard, outboard):
    found = quantities_of(DUAL.format(arrangement=arrangement, barrier=barrier))
    assert found["pressure difference across seal at inboard"].value == pytest.approx(inboard)
    assert found["pressure difference across seal at outboard"].value == pytest.approx(outboard)
    margin = found["barrier margin"] if arrangement == "dual pressurised" else found["buffer margin"]
    assert margin.position == "machine"
    assert margin.value == pytest.approx(inboard)


@pytest.mark.parametrize(
    ("barrier", "verdict"),
    [("7.7 bar a", "inside"), ("7.45 bar a", "between published limits"), ("7.3 bar a", "outside")],
)
def test_barrier_margin_between_the_published_values(quantities_of, knowledge, barrier, verdict):
    found = quantities_of(DUAL.format(arrangement="dual pressurised", barrier=barrier))["barrier margin"]
    assert judge_limit(found, knowledge.limits["barrier margin"]) == verdict


def test_the_outboard_seal_has_no_margin_of_the_product(quantities_of):
    text = (
        "service: {fluid: water, temperature: 80 °C, chamber pressure: 6 bar a}\nseal: {arrangement: dual pressurised}"
    )
    assert quantities_of(text)["vapour margin"].position == "inboard"


def test_cold_suction_and_flow(quantities_of):
    text = """
equipment: {npsh required: 3.2 m, best efficiency flow: 100 m³/h}
service: {fluid: water, temperature: 20 °C, lowest temperature: -5 °C, npsh available: 2.7 m, flow: 35 m³/h, barrier pour point: -9 °C,
  barrier temperature: 75 °C, highest barrier temperature: 70 °C, water conductivity: 0.5 µS/cm}
history: {depressurisation rate: 20 bar/min}
"""
    found = quantities_of(text)
    assert found["freezing margin"].value == pytest.approx(-5)
    assert found["npsh margin"].value == pytest.approx(-0.5)
    assert found["flow share of best"].value == pytest.approx(0.35)
    assert found["barrier pour point margin"].value == pytest.approx(4)
    assert found["barrier temperature margin"].value == pytest.approx(-5)
    assert found["depressurisation rate"].value == pytest.approx(20e5 / 60)
    assert found["water conductivity"].value == pytest.approx(0.5e-4)


def test_a_difference_of_two_pressures_without_datum_has_none(quantities_of):
    text = "service: {{chamber pressure: {}, barrier pressure: {}}}\nseal: {{arrangement: dual pressurised}}"
    plain, mixed = (
        quantities_of(text.format(*p))["barrier margin"] for p in (("6 bar", "8 bar"), ("6 bar a", "8 bar"))
    )
    assert (plain.low, plain.high, plain.datum) == (pytest.approx(2e5), pytest.approx(2e5), "")
    assert mixed.high - mixed.low == pytest.approx(101325) and mixed.datum == "barrier pressure 8 bar"


def test_a_gland_is_held_against_the_liquid_and_a_suction_against_the_rating(quantities_of):
    found = quantities_of("""
service: {temperature: 41 °C}
seal: {rated pressure: 10 bar g}
states: [{at: gland, temperature: 78 °C}, {at: casing, temperature: 83 °C}, {at: suction, pressure: 14 bar g}]
""")
    assert found["gland rise over product"].value == pytest.approx(37)
    assert found["casing rise over product"].value == pytest.approx(42)
    assert found["suction pressure over rating"].value == pytest.approx(4e5)
    assert "gland rise over product" not in quantities_of("service: {temperature: 41 °C}")


def test_a_liquid_that_no_row_names_is_taken_as_water_where_its_service_is_water(quantities_of):
    """Water boils at 120.2 °C at 2 bar (IAPWS-IF97 table 35 has 372.8 K at 0.1 MPa)."""
    text = "service: {{fluid: bath of the dyehouse, is: [{}], temperature: 100 °C, chamber pressure: 2 bar a}}"
    margin = quantities_of(text.format("hot water"))["chamber superheat margin"]
    assert margin.value == pytest.approx(20.2, abs=0.1)
    assert "taken as water by the service; a mixture boils earlier" in margin.notes
    assert "chamber superheat margin" not in quantities_of(text.format("solvent"))

"""Faces of a case: load, PV against the pair, heat, flatness, nose."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.quantities import faces
from diagnose.quantities.limits import judge_limit

SEAL = """
equipment: {{speed: 3000 rpm}}
service: {{fluid: water, chamber pressure: 20 bar g, flush flow: 4 L/min{more}}}
seal: {{soft face: {soft}, hard face: {hard}, nose outer diameter: 61.6 mm, nose inner diameter: 48.9 mm, balance diameter: 52.4 mm,
  spring force: 190 N}}
"""


def seal(soft="carbon", hard="tungsten carbide", more=""):
    return SEAL.format(soft=soft, hard=hard, more=more)


def test_the_worked_example_of_the_seal_standard(quantities_of):
    """API 682 annex example (figures from memory): B 0.747, 0.667 MPa, PV 5.79 MPa m/s, 447 W, 1.6 K in 4 L/min."""
    found = quantities_of(seal())
    assert found["balance ratio"].value == pytest.approx(0.747, abs=0.001)
    assert found["face pressure"].value == pytest.approx(0.667e6, abs=0.002e6)
    assert found["mean face speed"].value == pytest.approx(8.68, abs=0.01)
    assert found["pv"].value == pytest.approx(5.79e6, abs=0.02e6)
    assert found["friction heat"].value == pytest.approx(447, abs=2)
    assert found["flush temperature rise"].value == pytest.approx(1.6, abs=0.02)
    assert ("pressure gradient factor", "0.5, flat faces, liquid that does not flash (assumed)", "") in found[
        "face pressure"
    ].inputs


@pytest.mark.parametrize(
    ("soft", "hard", "share"),
    [
        ("carbon", "tungsten carbide", 5.79 / 17.5),
        ("carbon", "alumina", 5.79 / 3.5),
        ("resin carbon", "ni-resist", 5.79 / 3.5),
    ],
)
def test_pv_against_the_pair(quantities_of, knowledge, soft, hard, share):
    """Handbook tables (from memory): 17.5 MPa m/s against carbides, 3.5 against alumina and nickel iron."""
    found = quantities_of(seal(soft, hard))["pv share of limit"]
    assert found.value == pytest.approx(share, rel=0.005)
    expected = "inside" if share < 1 else "outside"
    assert judge_limit(found, knowledge.limits["pv of the pair"]) == expected


def test_an_unknown_pair_says_so(quantities_of):
    found = quantities_of(seal("bronze", "hardened steel"))
    assert (
        "not both on record" in found["pv share of limit"].problem
        or "no table value" in found["pv share of limit"].problem
    )
    assert found["pv"].value is not None


def test_pressure_at_the_inner_edge_turns_the_balance_round(quantities_of):
    text = seal().replace("soft face", "pressure side: inner edge, soft face")
    assert quantities_of(text)["balance ratio"].value == pytest.approx((52.4**2 - 48.9**2) / (61.6**2 - 48.9**2))


def test_the_estimated_face_temperature_rise_is_wide(quantities_of):
    found = quantities_of(seal())["face temperature rise"]
    assert 5 < found.value < 60
    assert found.high / found.low > 2


def test_duty_parameter_of_a_thin_liquid(quantities_of):
    found = quantities_of(seal(more=", viscosity: 0.35 mPa s"))["film duty parameter"]
    load = 0.6665e6 * 1102.2e-6
    assert found.value == pytest.approx(0.35e-3 * 8.68 * 6.35e-3 / load, rel=0.005)


@given(st.floats(20, 200), st.floats(0.5, 0.95), st.floats(0.0, 1.0))
def test_balance_of_outside_and_inside_pressure_add_up_to_one(outer, ratio, share):
    """The two closing areas of one balance diameter make up the face."""
    inner = outer * ratio
    balance = inner + (outer - inner) * (0.01 + 0.98 * share)
    assert faces.balance_outside(outer, inner, balance) + faces.balance_inside(outer, inner, balance) == pytest.approx(
        1
    )


@pytest.mark.parametrize("rings", [(50, 60, 55), (60, 50, 60), (60, 50, 65), (60, 0, 55)])
def test_impossible_diameters_are_refused(rings):
    with pytest.raises(ValueError):
        faces.balance_outside(*rings)


BANDS = "measurements: [{{on: hard face, measured: light bands, reading: {bands}, instrument: {lamp}}}]"


@pytest.mark.parametrize(
    ("bands", "lamp", "micrometres", "verdict"),
    [
        ("3 bands", "optical flat with helium lamp", 0.8813, "between published limits"),
        ("1 bands", "optical flat with helium lamp", 0.2938, "inside"),
        ("3 bands", "sodium lamp", 0.8835, "between published limits"),
        ("6 bands", "optical flat", 1.763, "outside"),
    ],
)
def test_flatness_names_its_lamp(quantities_of, knowledge, bands, lamp, micrometres, verdict):
    found = quantities_of(BANDS.format(bands=bands, lamp=lamp))["face flatness"]
    assert found.value * 1e6 == pytest.approx(micrometres, abs=0.001)
    assert ("sodium" in found.notes[0]) == ("sodium" in lamp)
    assert ("lamp not on record" in found.notes[0]) == ("lamp" not in lamp)
    assert judge_limit(found, knowledge.limits["face flatness"]) == verdict


@pytest.mark.parametrize(
    ("along", "across", "form"),
    [(3, 3, "convex"), (-3, -2, "concave"), (4, -4, "saddle"), (0.4, -0.5, "flat"), (3, 0, "cylindrical")],
)
def test_form_from_bands_in_two_directions(quantities_of, along, across, form):
    text = f"""
measurements:
  - {{on: hard face, measured: light bands along, reading: {along} bands}}
  - {{on: hard face, measured: light bands across, reading: {across} bands}}
"""
    assert quantities_of(text)["face form"].word == form


NOSE = """
seal: {{new nose height: 3.2 mm}}
history: {{running hours: {hours}}}
measurements: [{{on: soft face, measured: nose height, unit: mm, readings: {heights}, resolution: 0.02 mm}}]
"""


def test_nose_left_and_its_life(quantities_of):
    """Arithmetic: 3.2 to 1.1 mm in 14 000 h is 0.15 um/h and about 7 300 h left."""
    found = quantities_of(NOSE.format(hours="14000 h", heights=[1.1, 1.1]))
    assert found["nose remaining share"].value == pytest.approx(1.1 / 3.2)
    assert found["nose wear rate"].value * 3.6e9 == pytest.approx(0.15)
    assert found["nose life left"].value / 3600 == pytest.approx(7333, abs=1)


@pytest.mark.parametrize(
    ("hours", "heights", "name", "because"),
    [("14000 h", [3.5], "nose remaining share", "taller"), ("0 h", [1.1], "nose wear rate", "no running time")],
)
def test_a_nose_that_makes_no_sense_says_why(quantities_of, hours, heights, name, because):
    assert because in quantities_of(NOSE.format(hours=hours, heights=heights))[name].problem


def test_ring_squareness(quantities_of, knowledge):
    text = (
        "seal: {nose outer diameter: 76.2 mm}\nmeasurements: [{on: hard face, measured: face runout, reading: 0.05 mm}]"
    )
    found = quantities_of(text)["ring squareness"]
    assert judge_limit(found, knowledge.limits["ring squareness"]) == "outside"


def test_friction_spans_from_the_handbook_to_the_standard(quantities_of):
    """Handbook table of pairs: 0.02 for carbon on silicon carbide in water; API 682 takes 0.07 for ordinary duty and gets 447 W in its
    example (from memory). What is not measured is carried as the span between them."""
    heat = quantities_of(seal(hard="silicon carbide"))["friction heat"]
    assert heat.low == pytest.approx(447 * 2 / 7, rel=0.03)
    assert heat.high == pytest.approx(447, rel=0.03)


@pytest.mark.parametrize(
    ("soft", "hard", "least", "most"),
    [
        # psi·ft/min of the handbook's table of limits for water, from memory: 300 000, 350 000 to 500 000, 120 000
        ("silicon carbide", "tungsten carbide", 300_000, 300_000),
        ("silicon carbide", "silicon carbide", 350_000, 500_000),
        ("tungsten carbide", "tungsten carbide", 120_000, 120_000),
    ],
)
def test_hard_pairs_have_limits_too(quantities_of, soft, hard, least, most):
    share = quantities_of(seal(soft, hard))["pv share of limit"]
    unit = 3.503e-5 * 1e6
    assert share.high == pytest.approx(5.79e6 / (least * unit), rel=0.01)
    assert share.low == pytest.approx(5.79e6 / (most * unit), rel=0.01)


def test_a_thin_liquid_may_carry_half_of_what_water_does(quantities_of):
    """Limits of pairs are printed for water at 49 °C; makers take off up to half for hot water and light hydrocarbon (common practice)."""
    cold = quantities_of(seal())["pv share of limit"]
    thin = quantities_of(seal(more=", is: [light hydrocarbon]"))["pv share of limit"]
    assert thin.low == pytest.approx(cold.low, rel=0.01)
    assert thin.high == pytest.approx(2 * cold.high, rel=0.01)


def test_the_heat_of_the_faces_reaches_the_ring_behind_them(quantities_of):
    """A fin with insulated end keeps 1 / cosh(m L) of its rise at the end (textbook): 0.65 for m L = 1. The O-ring sits there."""
    assert faces.share_behind(8000, 0.2, 1.6, 0.001, 0.001) == pytest.approx(1 / 1.543, abs=0.001)
    head = seal(hard="silicon carbide", more=", temperature: {t}").replace("seal: {", "seal: {elastomer: NBR, ")
    kept = []
    for t in ("40 °C", "90 °C"):
        found = quantities_of(head.replace("{t}", t))
        plain, behind = found["elastomer temperature margin"], found["elastomer temperature margin behind the faces"]
        assert 0 < plain.value - behind.value < found["face temperature rise"].value
        kept.append(plain.value - behind.value)
    assert kept[0] == pytest.approx(kept[1])

"""O-rings of a case: size, squeeze, set, swell, hardness, gap, temperature, storage."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.quantities import orings
from diagnose.quantities.limits import judge_limit


def ring(*rows: str, head: str = "") -> str:
    measured = "".join(f"  - {{part: 1, measured: {r}}}\n" for r in rows)
    return f"{head}\nparts: [{{item: 1, kind: dynamic O-ring}}]\nmeasurements:\n{measured}"


NEW = "new cross-section, reading: 3.53 mm"


@given(st.floats(1, 10), st.floats(0.3, 1.0))
def test_squeeze_lies_between_none_and_all(section, share):
    assert 0 <= orings.squeeze(section, section * share) < 1


@given(st.floats(1, 10), st.floats(0.5, 0.95), st.floats(0, 1))
def test_set_is_none_when_all_comes_back_and_all_when_none_does(new, held, back):
    depth = new * held
    recovered = depth + (new - depth) * back
    assert orings.compression_set(new, recovered, depth) == pytest.approx(1 - back, abs=1e-6)


@given(st.floats(1, 50), st.floats(0.1, 0.9), st.floats(0.5, 2))
def test_a_ring_swollen_in_proportion_swells_as_its_mass(mass, floats, factor):
    wet = mass * floats
    assert orings.volume_change(mass, wet, mass * factor, wet * factor) == pytest.approx(
        orings.mass_change(mass, mass * factor), abs=1e-9
    )


def test_a_ring_in_its_groove(quantities_of):
    """ASTM D395 method B in the groove: 71.8 %; squeeze 19.5 % (20.1 % before the ring is stretched), fill 72.3 % (arithmetic on
    cited formulas)."""
    found = quantities_of(
        ring(
            NEW,
            "cross-section, reading: 3.02 mm",
            "gland depth, reading: 2.82 mm",
            "groove width, reading: 4.80 mm",
            "inside diameter, reading: 50.17 mm",
            "groove diameter, reading: 51.0 mm",
        )
    )
    assert found["compression set"].value == pytest.approx(0.718, abs=0.001)
    assert found["squeeze"].value == pytest.approx(0.195, abs=0.001)
    assert found["gland fill"].value == pytest.approx(0.723, abs=0.002)
    assert found["stretch"].value == pytest.approx(0.0165, abs=0.0002)
    assert found["section change"].value == pytest.approx(3.02 / 3.53 - 1)
    assert any("method B" in n for n in found["compression set"].notes)


def test_squeeze_is_not_taken_from_a_ring_that_set(quantities_of):
    found = quantities_of(ring("cross-section, reading: 3.02 mm", "gland depth, reading: 2.82 mm"))
    assert "new cross-section is not on record" in found["squeeze"].problem


def test_without_a_new_ring_the_size_table_stands_in_with_its_tolerance(quantities_of):
    """D395 B; a section tolerance of 0.10 mm makes about 14 points of set uncertain (arithmetic)."""
    found = quantities_of(
        ring(
            "cross-section, reading: 3.50 mm",
            "inside diameter, reading: 37.7 mm",
            "gland depth, reading: 2.82 mm",
            "radial thickness, reading: 3.02 mm",
        )
    )
    assert found["O-ring size"].word == "-222"
    assert found["compression set"].value == pytest.approx(0.72, abs=0.01)
    assert 0.05 < found["compression set"].high - found["compression set"].low < 0.15
    assert any("size table" in n for n in found["compression set"].notes)


@pytest.mark.parametrize(
    ("inside", "section", "size"),
    [
        ("18.64 mm", "3.53 mm", "-210"),
        ("9.19 mm", "2.62 mm", "-110"),
        ("37.47 mm", "5.33 mm", "-325"),
        ("6.07 mm", "1.78 mm", "-010"),
        ("113.67 mm", "6.99 mm", "-425"),
    ],
)
def test_size_from_inside_diameter_and_section(quantities_of, inside, section, size):
    found = quantities_of(ring(f"inside diameter, reading: {inside}", f"new cross-section, reading: {section}"))
    assert found["O-ring size"].word == size


def test_a_ring_of_no_size_says_so(quantities_of):
    found = quantities_of(ring("inside diameter, reading: 18.64 mm", "new cross-section, reading: 4.2 mm"))
    assert "no size" in found["O-ring size"].problem


def test_a_set_ring_over_one_hundred_percent_squeezed_is_refused(quantities_of):
    found = quantities_of(ring(NEW, "cross-section, reading: 3.02 mm", "gland depth, reading: 3.6 mm"))
    assert "not squeezed" in found["compression set"].problem
    assert found["squeeze"].value < 0, "an O-ring looser than its gland has negative squeeze"


def test_swell_hardness_and_section(quantities_of):
    found = quantities_of(
        ring(
            "mass, reading: 2.300 g",
            "new mass, reading: 2.000 g",
            "mass in water, reading: 0.300 g",
            "new mass in water, reading: 0.400 g",
            "hardness, unit: Shore A, readings: [62, 64, 63]",
            "new hardness, reading: 75 Shore A",
            "face side hardness, reading: 88 Shore A",
            "far side hardness, reading: 74 Shore A",
            "radial thickness, reading: 2.9 mm",
            "axial thickness, reading: 3.4 mm",
            "cross-section, unit: mm, readings: [3.5, 3.5, 3.1, 3.5], at: [12, 3, 6, 9]",
        )
    )
    assert found["mass change"].value == pytest.approx(0.15)
    assert found["volume swell"].value == pytest.approx(0.25)
    assert (found["hardness change"].low, found["hardness change"].value, found["hardness change"].high) == (
        -13,
        -12,
        -11,
    )
    assert found["hardness gradient"].value == 14
    assert found["section ovality"].value == pytest.approx(0.5 / 3.15)
    assert found["section unevenness"].value == pytest.approx(0.4 / 3.4)
    assert "thinnest at 180°" in found["section unevenness"].notes[0]


GAP = "extrusion gap, reading: 0.008 in"
HEAD = "service: {{chamber pressure: 1200 psi g}}\nseal: {{elastomer: {elastomer}}}"


@pytest.mark.parametrize(
    ("hardness", "elastomer", "excess"), [(70, "FKM", 0.002), (90, "FKM", -0.012), (70, "VMQ", 0.005)]
)
def test_extrusion_gap_against_hardness_and_pressure(quantities_of, hardness, elastomer, excess):
    """Extrusion limit table: 0.006 in at 70 Shore A, 0.020 in at 90, 1000 to 1500 psi; O-ring handbook: half for silicone."""
    found = quantities_of(
        ring(GAP, f"new hardness, reading: {hardness} Shore A", head=HEAD.format(elastomer=elastomer))
    )
    assert found["extrusion gap excess"].value == pytest.approx(excess * 0.0254, abs=1e-9)


def test_a_gap_without_hardness_says_so(quantities_of):
    assert (
        "hardness is not on record"
        in quantities_of(ring(GAP, head=HEAD.format(elastomer="FKM")))["extrusion gap excess"].problem
    )


@pytest.mark.parametrize(
    ("elastomer", "service", "celsius", "low", "high", "verdict"),
    [
        ("NBR", "is: [hydrocarbon]", 90, -10, 30, "undecided"),  # sources disagree: 80 to 120 °C
        ("NBR", "is: [hydrocarbon]", 125, -45, -5, "outside"),
        ("FKM", "is: [hot water]", 95, -15, -15, "outside"),
        ("FKM", "is: [hydrocarbon]", 150, 50, 55, "inside"),
        ("EPDM", "is: [steam]", 140, -10, 35, "undecided"),
    ],
)
def test_temperature_of_the_family_in_its_service(
    quantities_of, knowledge, elastomer, service, celsius, low, high, verdict
):
    found = quantities_of(f"service: {{temperature: {celsius} °C, {service}}}\nseal: {{elastomer: {elastomer}}}")[
        "elastomer temperature margin"
    ]
    assert (found.low, found.high) == (pytest.approx(low), pytest.approx(high))
    assert judge_limit(found, knowledge.limits["elastomer temperature margin"]) == verdict


@pytest.mark.parametrize(
    ("elastomer", "years", "verdict"),
    [("NBR", 20, "outside"), ("NBR", 5, "undecided"), ("NBR", 0.5, "inside"), ("HNBR", 16, "outside")],
)
def test_storage_against_lives_that_differ(quantities_of, knowledge, elastomer, years, verdict):
    """SAE AS5316 as quoted: 15 years; ISO 2230 (from memory) 7; a training text 1 year."""
    found = quantities_of(f"seal: {{elastomer: {elastomer}}}\nhistory: {{storage time: {years} years}}")
    assert judge_limit(found["storage share of life"], knowledge.limits["storage life"]) == verdict


def test_fkm_may_be_stored_without_limit(quantities_of):
    found = quantities_of("seal: {elastomer: FKM}\nhistory: {storage time: 12 years}")
    assert "storage share of life" not in found and found["storage age"].value > 0


@pytest.mark.parametrize(
    ("readings", "index", "says"),
    [
        (
            "3.5 mm, 3.4 mm, 3.5 mm, 3.3 mm",
            "",
            "thinnest at 270° from its 12 (no index on record), as that part was seen",
        ),
        (
            "3.5 mm, 3.4 mm, 3.5 mm, 3.3 mm",
            ", index: paint mark",
            "thinnest at 270° from the index, as that part was seen",
        ),
        (
            "3.5 mm, 3.3 mm, 3.5 mm, 3.3 mm",
            ", index: paint mark",
            "thinnest at 90° and 270° from the index, as that part was seen",
        ),
        ("3.5 mm, 3.5 mm, 3.5 mm, 3.5 mm", ", index: paint mark", ""),
    ],
)
def test_the_thinnest_place_is_told_only_where_there_is_one(quantities_of, readings, index, says):
    text = f"parts: [{{item: 1, kind: O-ring{index}}}]\nmeasurements: [{{part: 1, measured: cross-section, readings: [{readings}], at: [12, 3, 6, 9]}}]"
    notes = [n for n in quantities_of(text)["section unevenness"].notes if "thinnest" in n]
    assert notes == ([says] if says else [])


def test_a_stretched_ring_is_squeezed_less(quantities_of):
    """3.53 mm stretched by 5 % thins to 3.445 mm, so 14.4 % squeeze in 2.95 mm instead of 16.4 %; O-ring handbooks take off about half
    the stretch in percent (from memory)."""
    assert orings.section_when_stretched(3.53, 0.05) == pytest.approx(3.445, abs=0.001)
    assert orings.section_when_stretched(3.53, 0.05) == pytest.approx(3.53 * (1 - 0.05 / 2), rel=0.002)
    told = (NEW, "gland depth, reading: 2.95 mm", "inside diameter, reading: 40 mm")
    assert quantities_of(ring(*told))["squeeze"].value == pytest.approx(0.164, abs=0.001)
    stretched = quantities_of(ring(*told, "groove diameter, reading: 42 mm"))
    assert stretched["squeeze"].value == pytest.approx(0.144, abs=0.001)


def test_the_coldest_that_the_seal_sees_is_held_against_its_family_alone(quantities_of):
    found = quantities_of("service: {lowest temperature: -45 °C}\nseal: {elastomer: FKM}")
    assert found["elastomer cold margin"].value == pytest.approx(-30)
    assert "elastomer temperature margin" not in found

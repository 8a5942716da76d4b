"""The table of units against pint, numbers as people write them, and what is refused."""

from __future__ import annotations

import json
import math
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.reading import units
from diagnose.reading.units import BadUnit, amount, ask_pint, show, to_unit, unit

TABLE = json.loads(resources.files("diagnose.reading").joinpath("units.json").read_text("utf-8"))


def test_the_table_is_what_pint_says():
    """Every row of units.json, and every spelling that the module lists."""
    assert set(TABLE) == {*units._OWN_NAMES, *units._PLAIN}
    for spelling, (factor, offset, kind) in TABLE.items():
        asked = ask_pint(spelling)
        assert asked.kind == kind, spelling
        assert factor == pytest.approx(asked.factor, rel=1e-12), spelling
        assert offset == pytest.approx(asked.offset, rel=1e-12, abs=1e-12), spelling


@pytest.mark.parametrize(
    ("written", "si"),
    [
        ("25.4 mm", 0.0254),
        ("1 in", 0.0254),
        ('1 "', 0.0254),
        ("1 thou", 25.4e-6),
        ("3,53 mm", 0.00353),
        ("1 bar", 1e5),
        ("0 bar g", 101325),
        ("0 psig", 101325),
        ("14.5037738 psi a", 1e5),
        ("96 °C", 369.15),
        ("212 °F", 373.15),
        ("2950 rpm", 2950 * 2 * math.pi / 60),
        ("20 drops/min", 1e-6 / 60),
        ("1 bands", 293.78e-9),
        ("70 Shore A", 70),
        ("12 %", 0.12),
        ("1 h", 3600),
        ("1 clock hours", math.pi / 6),
        ("0.0005 mm/mm", 0.0005),
        ("0.5 µm/mm", 0.0005),
        ("1 m³/h", 1 / 3600),
        ("1 bar/min", 1e5 / 60),
        ("500 cSt", 500e-6),
    ],
)
def test_spellings_of_the_bench(written, si):
    assert amount(written).value == pytest.approx(si, rel=1e-8, abs=1e-12)


def test_a_band_is_half_the_wavelength_of_the_helium_d_line():
    """Spectroscopy tables (from memory): 587.56 nm."""
    assert amount("1 bands").value == pytest.approx(587.56e-9 / 2)


@pytest.mark.parametrize(
    ("written", "value", "spread"),
    [
        ("165 ± 2 °C", 438.15, 2.0),
        ("9.2 ± 0.1 bar", 9.2e5, 1e4),
        ("10 ± 1 bar g", 1101325, 1e5),
        ("50 ± 9 °F", 283.15, 5.0),
    ],
)
def test_the_spread_is_a_difference_without_the_offset(written, value, spread):
    found = amount(written)
    assert (found.value, found.spread) == (pytest.approx(value), pytest.approx(spread))


@pytest.mark.parametrize(
    "written",
    [
        "",
        "mm",
        "five mm",
        "1 furlongs per fortnight;",
        "nan mm",
        "1e999 mm",
        "1 zorkmid",
        "1 " + "x" * 60,
        "3.5 mm mm bar(",
    ],
)
def test_what_is_no_number_with_a_unit_is_refused(written):
    with pytest.raises(BadUnit):
        amount(written)


@given(st.sampled_from(sorted(TABLE)), st.floats(-1e6, 1e6))
def test_into_a_unit_and_back(spelling, number):
    known = unit(spelling)
    assert to_unit(number * known.factor + known.offset, spelling) == pytest.approx(number, rel=1e-9, abs=1e-6)


@given(st.floats(1e-3, 1e6))
def test_what_is_shown_reads_back_to_three_digits(number):
    assert amount(show(number * 1e-3, "mm")).value == pytest.approx(number * 1e-3, rel=6e-3)


@pytest.mark.parametrize(
    "unit",
    [
        "bar**(9**9**9)",
        "10**10**10 bar",
        "bar**9**9",
        "(bar)**9",
        "bar^10",
        "2*mm",
        'u"m',
        "((m))",
        "m" * 41,
        "dB",
        "m-m",
        "(m",
        "bar**(9*9)",
    ],
)
def test_what_is_no_product_of_units_is_refused_and_not_reckoned(unit):
    with pytest.raises(BadUnit):
        amount(f"3 {unit}")


@pytest.mark.parametrize("written", ["1" + " " * 3_000_000 + "bar", "1 " * 1_000_000, "9" * 1_000_000, "1 ± 1e400 bar"])
def test_long_and_endless_numbers_are_refused_at_once(written):
    with pytest.raises(BadUnit):
        amount(written)


@pytest.mark.parametrize(
    "written", ["50 1/s", "50 s⁻¹", "50 s^-1", "50 r/s", "50 rev/s", "3000 r/min", "3000 min⁻¹", "3000 rpm"]
)
def test_rotational_speed_as_iso_80000_3_writes_it(written):
    """Rotational frequency in s⁻¹, revolutions a second as r/s (ISO 80000-3, from memory)."""
    found = amount(written)
    assert (found.value, found.kind) == (pytest.approx(100 * math.pi), unit("rpm").kind)


@pytest.mark.parametrize(
    "written",
    ["1 W/(m K)", "1 W/m/K", "1 kg·m/s²", "1 g/(cm²·h)", "1 m^3/h", "1 cmH2O", "1 °C/h", "1 m**-2", "1 % / h"],
)
def test_products_of_units_in_the_ways_they_are_written(written):
    assert amount(written).value == pytest.approx(ask_pint(written[2:]).factor)


def test_a_spelling_outside_the_table_asks_pint():
    assert "furlong" not in TABLE
    assert amount("1 furlong").value == pytest.approx(201.168, rel=1e-5)


@pytest.mark.parametrize(
    ("written", "ways"),
    [
        ("2,950 rpm", "write 2950, or 2.950 with the point"),
        ("8,760 h", "8760, or 8.760"),
        ("165 ± 1,000 °C", "1000"),
        ("1,234,567 h", "write 1234567"),
        ("-1,500.5 mm", "1500"),
    ],
)
def test_a_comma_before_three_digits_is_refused_with_both_ways_to_write_it(written, ways):
    with pytest.raises(BadUnit, match=ways):
        amount(written)


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("0,005 mm", 5e-6),
        ("9,25 mm", 0.00925),
        ("2,9504 mm", 0.0029504),
        ("1234,567 mm", 1.234567),
        ("2.950 mm", 0.00295),
    ],
)
def test_other_decimal_commas_stay(written, value):
    assert amount(written).value == pytest.approx(value)


@pytest.mark.parametrize("text", ["1e-400 bar", "-0,5e-330 mm", "3e-320 mm", "2 ± 1e-999 mm"])
def test_a_number_too_small_to_hold_is_refused_and_not_taken_for_nothing(text):
    with pytest.raises(BadUnit, match="too small"):
        amount(text)


def test_nothing_written_with_an_exponent_is_nothing():
    assert amount("0e-400 mm").value == amount("0,00 mm").value == 0.0

"""Numbers with units as people write them, converted to SI.

pint knows the units. Loading it takes longer than an explanation, so the spellings that seal
benches use stand in a table made from pint (`python -m diagnose.reading.units`), checked against
pint by a test; any other spelling asks pint itself.
"""

from __future__ import annotations

import json
import math
import re
import sys
from functools import lru_cache
from importlib import resources
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

_NUMBER = r"[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][+-]?\d+)?"
_AMOUNT = re.compile(rf"^\s*({_NUMBER})\s*(?:±\s*({_NUMBER})\s*)?(.*?)\s*$")
_TOKEN = r"(?:1|[%°º]|[°º]?[^\W\d]\w*)(?:⁻?[¹²³]|\s*(?:\^|\*\*)\s*-?[1-9])?"
_TIMES = r"(?:\s*[*/·.]\s*|\s+)"
_FACTOR = rf"(?:{_TOKEN}|\(\s*{_TOKEN}(?:{_TIMES}{_TOKEN})*\s*\))"
_SPELLING = re.compile(rf"{_FACTOR}(?:{_TIMES}{_FACTOR})*")
"""What may be asked of pint, which reckons whatever it is given: names with powers of one digit, times and by."""
_OWN_NAMES = {
    "": "dimensionless", "%": "percent", "drops/min": "drop/minute", "bands": "light_band", "band": "light_band",
    "Shore A": "shore", "IRHD": "shore", "Shore": "shore", "points": "shore", "rpm": "revolution/minute",
    "1/min": "revolution/minute", "min⁻¹": "revolution/minute", "r/min": "revolution/minute", "rev/min": "revolution/minute",
    "s⁻¹": "revolution/second", "r/s": "revolution/second", "rev/s": "revolution/second", "rps": "revolution/second",
    "min^-1": "revolution/minute", "s^-1": "revolution/second",
    "µm": "micrometer", "μm": "micrometer", "um": "micrometer",
    "bar g": "bar_gauge", "barg": "bar_gauge", "bar(g)": "bar_gauge", "bar a": "bar", "bara": "bar", "bar(a)": "bar",
    "psig": "psi_gauge", "psia": "psi", "psi g": "psi_gauge", "psi a": "psi", "psi(g)": "psi_gauge", "psi(a)": "psi",
    "MPa a": "megapascal", "MPa g": "megapascal_gauge",
    "kPa a": "kilopascal", "kPa g": "kilopascal_gauge",
    "°C": "degC", "ºC": "degC", "deg C": "degC", "C": "degC", "°F": "degF", "deg F": "degF", "F": "degF",
    "K": "kelvin", "°": "degree", "deg": "degree", "cSt": "centistokes", "mm²/s": "mm**2/s", "mm2/s": "mm**2/s",
    "µin": "microinch", "uin": "microinch", "microinch": "microinch", "thou": "thou", "mil": "thou", '"': "inch",
    "in": "inch", "N m": "newton*meter", "Nm": "newton*meter", "N·m": "newton*meter", "mm²": "mm**2", "cm²": "cm**2",
    "lb/in²": "psi", "kg/m³": "kg/m**3", "g/cm³": "g/cm**3", "mPa s": "millipascal*second",
    "mPa·s": "millipascal*second", "N/mm": "newton/millimeter", "N/mm²": "megapascal", "W/m K": "watt/meter/kelvin",
    "W/(m K)": "watt/meter/kelvin", "kJ/kg K": "kilojoule/kilogram/kelvin", "µS/cm": "microsiemens/centimeter",
    "uS/cm": "microsiemens/centimeter", "h": "hour", "hours": "hour", "hour": "hour", "min": "minute", "d": "day",
    "days": "day", "weeks": "week", "months": "month", "years": "year", "a": "year", "starts": "dimensionless",
    "times": "dimensionless", "mm/mm": "dimensionless", "in/in": "dimensionless", "mm/m": "millimeter/meter",
    "µm/mm": "micrometer/millimeter", "µm/h": "micrometer/hour", "1/s": "revolution/second", "Hz": "hertz",
    "MPa m/s": "megapascal*meter/second", "bar m/s": "bar*meter/second", "mL/h": "mL/hour", "ml/h": "mL/hour",
    "cm³": "cm**3", "L/min": "L/minute", "l/min": "L/minute", "g/h": "g/hour", "kg/h": "kg/hour", "µm TIR": "micrometer",
    "mm TIR": "millimeter", "in TIR": "inch", "mm/s rms": "mm/s", "mm/s RMS": "mm/s", "gpm": "gallon/minute",
    "clock hours": "clock_hour", "ppm": "ppm", "mV": "millivolt", "bolts": "dimensionless", "springs": "dimensionless",
    "lobes": "dimensionless", "pieces": "dimensionless", "m³/h": "m**3/hour", "m3/h": "m**3/hour",
    "bar/min": "bar/minute", "psi/min": "psi/minute", "kg/cm²": "kgf/cm**2", "kgf/cm²": "kgf/cm**2", "cP": "centipoise",
    "Pa s": "pascal*second", "Pa·s": "pascal*second", "J/kg K": "joule/kilogram/kelvin", "dm³": "dm**3", "m³": "m**3",
    "in²": "inch**2", "in³": "inch**3", "ft³": "ft**3", "in lbf": "inch*lbf", "ft lbf": "ft*lbf", "lbf ft": "ft*lbf",
    "°C/min": "delta_degC/minute", "K/min": "kelvin/minute", "mL/day": "mL/day", "ml/day": "mL/day", "L/day": "L/day", "l/day": "L/day",
    "drops/s": "drop/second", "drops/h": "drop/hour", "mm/year": "mm/year", "µm/day": "micrometer/day",
    "nm": "nanometer", "Ω": "ohm", "kΩ": "kiloohm", "µL/h": "microliter/hour",
}  # fmt: skip
_PLAIN = [
    "mm", "cm", "m", "inch", "ft", "bar", "mbar", "psi", "Pa", "kPa", "MPa", "atm", "degC", "degF", "kelvin", "mm/s",
    "m/s", "in/s", "ft/min", "N", "kN", "lbf", "g", "kg", "mg", "lb", "mL", "ml", "L", "W", "kW", "degree", "week",
    "month", "year", "day", "hour", "minute", "second", "s", "volt", "V", "percent", "newton*meter", "mL/min", "ml/min",
    "L/h", "l/h", "cm**3", "g/cm**3", "kg/m**3", "microinch", "rad", "kelvin/second", "mm**2", "1/kelvin",
    "hPa", "torr", "mmHg", "GPa", "ksi", "kgf", "oz", "rad/s", "mm/min", "mA", "A", "ohm", "mg/L", "g/L", "ms", "mg/g", "mg/kg",
]  # fmt: skip

# one light band is half the wavelength of the helium d line, 587.56 nm
_RANGE = re.compile(r"(?P<low>[-+]?[\d.,]+)\s*(?:to|[-–—])\s*(?P<high>[-+]?[\d.,]+)(?P<unit>\D.*|)")
_DEFINITIONS = (
    "light_band = 293.78 nanometer", "drop = 0.05 milliliter", "shore = []", "clock_hour = 30 degree",
    "percent = 0.01 = %",
)  # fmt: skip
ATMOSPHERE = 101325.0

_THOUSANDS = re.compile(r"(?<![\d.,])[1-9]\d{0,2}(?:,\d{3})+(?!\d)")


class BadUnit(ValueError):
    """The text is not a number with a known unit of the right kind."""


class Unit(Struct, frozen=True):
    """SI value = number * factor + offset, for a quantity of `kind` (its SI base dimensions)."""

    factor: float
    offset: float
    kind: str


class Amount(Struct, frozen=True):
    """A number in SI with its half-width of uncertainty (0 where none was written) and the text it came from."""

    value: float
    spread: float
    kind: str
    written: str

    @property
    def is_pressure(self) -> bool:
        return self.kind == unit("bar").kind

    @property
    def without_datum(self) -> bool:
        """A pressure that says neither gauge nor absolute; `value` then reads it as absolute."""
        return self.is_pressure and not re.search(r"(?i)(bar|psi|pa)\s?\(?[ga]\)?$", self.written)

    def as_gauge(self) -> Amount:
        return replace(self, value=self.value + ATMOSPHERE)


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    registry: Any = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    for line in _DEFINITIONS:
        if not line.startswith("percent") or "percent" not in registry:
            registry.define(line)
    return registry


def ask_pint(spelling: str) -> Unit:
    """The unit as pint has it. Raises BadUnit where pint knows no such unit."""
    name = _OWN_NAMES.get(spelling, spelling)
    gauge = name.endswith("_gauge")
    registry = _registry()
    try:
        unit = registry.Unit(name.removesuffix("_gauge"))
        zero = registry.Quantity(0.0, unit).to_base_units()
        one = registry.Quantity(1.0, unit).to_base_units()
        two = registry.Quantity(2.0, unit).to_base_units()
    except Exception as error:  # pint raises many kinds for bad text, tokenizer errors among them
        raise BadUnit(f"{spelling!r} is no unit known here") from error
    if not math.isclose(two.magnitude - one.magnitude, one.magnitude - zero.magnitude, rel_tol=1e-9):
        raise BadUnit(f"{spelling!r} is a scale of ratios, which is not read")
    kind = str(one.units)
    return Unit(one.magnitude - zero.magnitude, zero.magnitude + (ATMOSPHERE if gauge else 0.0), kind)


@lru_cache(maxsize=1)
def _table() -> dict[str, list[Any]]:
    return json.loads(resources.files("diagnose.reading").joinpath("units.json").read_text("utf-8"))


@lru_cache(maxsize=1024)
def unit(spelling: str) -> Unit:
    """The unit for a spelling. Raises BadUnit."""
    spelling = spelling.strip()
    row = _table().get(spelling)
    if row:
        return Unit(*row)
    if len(spelling) > 40 or not _SPELLING.fullmatch(spelling):
        raise BadUnit(f"{spelling[:40]!r} is no unit known here")
    return ask_pint(spelling)


@lru_cache(maxsize=4096)
def amount(text: str) -> Amount:
    """Reads "3.53 mm", "9,2 bar", "165 ± 2 °C". Raises BadUnit."""
    match = _AMOUNT.match(text) if len(text) <= 80 else None
    if match is None:
        raise BadUnit(f"{text[:40]!r} is not a number with a unit")
    _refuse_thousands(text)
    number, spread = _number(match.group(1)), _number(match.group(2) or "0")
    known = unit(match.group(3))
    value = number * known.factor + known.offset
    if not (math.isfinite(value) and math.isfinite(spread * known.factor)):
        raise BadUnit(f"{text[:40]!r} is not a finite number")
    return Amount(value, abs(spread * known.factor), known.kind, text.strip())


def _number(text: str) -> float:
    """A number as written. Raises BadUnit for one so small that a computer holds nothing of it."""
    number = float(text.replace(",", "."))
    if abs(number) < sys.float_info.min and re.search("[1-9]", re.split("[eE]", text)[0]):
        raise BadUnit(f"{text[:40]!r} is too small a number")
    return number


def _refuse_thousands(text: str) -> None:
    """A comma before three digits parts thousands for some and decimals for others. Raises BadUnit."""
    found = _THOUSANDS.search(text)
    if found:
        whole, point = found.group().replace(",", ""), found.group().replace(",", ".")
        either = f"{whole}, or {point} with the point" if found.group().count(",") == 1 else whole
        raise BadUnit(f"{text.strip()[:40]!r} may be read in two ways: write {either}")


def amount_or_range(text: str) -> Amount:
    """Reads "2 to 3 mm" as the middle of the range and its half-width, anything else as `amount` does. Raises BadUnit."""
    ends = _RANGE.fullmatch(text.strip())
    if not ends:
        return amount(text)
    low, high = (amount(f"{ends[end]} {ends['unit']}") for end in ("low", "high"))
    if low.value > high.value:
        raise BadUnit(f"{text[:40]!r} falls: the lower end comes first")
    return Amount((low.value + high.value) / 2, (high.value - low.value) / 2, low.kind, text.strip())


def step(text: str) -> Amount:
    """Reads a difference or a resolution: "0.5 °C" is half a kelvin and not a temperature. Raises BadUnit."""
    number = amount(text)
    match = _AMOUNT.match(text)
    offset = unit(match.group(3)).offset if match else 0.0
    return Amount(number.value - offset, number.spread, number.kind, number.written)


def to_unit(value: float, spelling: str) -> float:
    """An SI value expressed in the unit."""
    known = unit(spelling)
    return (value - known.offset) / known.factor


def show(value: float, spelling: str, digits: int = 3) -> str:
    """An SI value as text in the unit, with `digits` significant digits."""
    number = to_unit(value, spelling)
    text = f"{number:.{digits}g}"
    if "e" in text and 1e-4 < abs(number) < 1e7:
        text = f"{number:.0f}" if abs(number) >= 10 ** (digits - 1) else f"{number:.6f}".rstrip("0")
    return f"{text} {spelling}".strip()


def _write_table() -> None:
    from pathlib import Path

    rows = {}
    for spelling in sorted({*_OWN_NAMES, *_PLAIN}):
        known = ask_pint(spelling)
        rows[spelling] = [known.factor, known.offset, known.kind]
    Path(__file__).with_name("units.json").write_text(json.dumps(rows, ensure_ascii=False, indent=0) + "\n", "utf-8")


if __name__ == "__main__":
    _write_table()

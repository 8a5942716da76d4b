"""The liquid at the seal: vapour pressure and margins, freezing, barrier pressure, and what stands across each seal."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any

from diagnose.quantities.bench import Bench, Owner, Value, assumed, named_in
from diagnose.quantities.model import Quantity
from diagnose.reading.units import amount, show

ATMOSPHERE = 101325.0

# IAPWS-IF97 region 4, table 34
_IF97 = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
    0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip


def water_vapour_pressure(temperature: float) -> float:
    """Saturation pressure of water, Pa, 273.15 to 647.096 K. IAPWS-IF97, region 4, equation 30. Raises ValueError outside."""
    if not 273.15 <= temperature <= 647.096:
        raise ValueError("the water equation holds from 0 °C to 373.9 °C")
    n = _IF97
    t = temperature + n[8] / (temperature - n[9])
    a, b, c = t * t + n[0] * t + n[1], n[2] * t * t + n[3] * t + n[4], n[5] * t * t + n[6] * t + n[7]
    return 1e6 * (2 * c / (-b + math.sqrt(b * b - 4 * a * c))) ** 4


def water_boiling_point(pressure: float) -> float:
    """Saturation temperature of water, K, 611.213 Pa to 22.064 MPa. IAPWS-IF97, region 4, equation 31. Raises ValueError."""
    if not 611.213 <= pressure <= 22.064e6:
        raise ValueError("the water equation holds from 0.00611 bar to 220.64 bar")
    n = _IF97
    beta = (pressure / 1e6) ** 0.25
    e, f, g = beta**2 + n[2] * beta + n[5], n[0] * beta**2 + n[3] * beta + n[6], n[1] * beta**2 + n[4] * beta + n[7]
    d = 2 * g / (-f - math.sqrt(f * f - 4 * e * g))
    return (n[9] + d - math.sqrt((n[9] + d) ** 2 - 4 * (n[8] + n[9] * d))) / 2


def wagner(
    temperature: float, critical_temperature: float, critical_pressure: float, terms: tuple[float, ...]
) -> float:
    """Vapour pressure, Pa: ln(p/pc) = (a t + b t^1.5 + c t^2.5 + d t^5) Tc/T, t = 1 - T/Tc (Wagner's 2.5, 5 form)."""
    t = 1 - temperature / critical_temperature
    powers = (t, t**1.5, t**2.5, t**5)
    return critical_pressure * math.exp(
        sum(k * p for k, p in zip(terms, powers, strict=True)) * critical_temperature / temperature
    )


def vapour_margin(pressure: float, vapour: float) -> float:
    """M = p_chamber - p_vapour, both absolute, Pa. API 682."""
    return pressure - vapour


def vapour_ratio(pressure: float, vapour: float) -> float:
    """r = p_chamber / p_vapour, both absolute. API 682. Raises ValueError without a vapour pressure."""
    if vapour <= 0:
        raise ValueError("the vapour pressure must be above zero")
    return pressure / vapour


# ---- fluids -------------------------------------------------------------------------------------------------


def vapour_pressure(row: Mapping[str, Any], temperature: float) -> float:
    """Vapour pressure, Pa, of a row of tables/fluids.yaml. Raises ValueError outside the row's range."""
    if "wagner" not in row:
        return water_vapour_pressure(temperature)
    low, high = amount(row["from"]).value, amount(row["to"]).value
    if not low <= temperature <= high:
        raise ValueError(
            f"its vapour pressure equation holds from {show(low, '°C')} to {show(high, '°C')}; give a vapour pressure"
        )
    tc, pc = (amount(t).value for t in row["critical"])
    return wagner(temperature, tc, pc, tuple(float(t) for t in row["wagner"]))


def boiling_point(row: Mapping[str, Any], pressure: float) -> float:
    """The temperature, K, at which the fluid boils at the pressure. Raises ValueError outside the row's range."""
    if "wagner" not in row:
        return water_boiling_point(pressure)
    low, high = amount(row["from"]).value, amount(row["to"]).value
    if not vapour_pressure(row, low) <= pressure <= vapour_pressure(row, high):
        raise ValueError("the pressure lies outside the range of the fluid's vapour pressure equation")
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if vapour_pressure(row, middle) < pressure else (low, middle)
    return (low + high) / 2


@lru_cache(maxsize=256)
def ask_coolprop(fluid: str, temperature: float) -> float:
    """Vapour pressure, Pa, from CoolProp's reference equations. Raises ValueError where it is not installed or cannot say."""
    try:
        from CoolProp.CoolProp import PropsSI
    except ImportError:
        raise ValueError(
            f"{fluid} needs the extra: pip install 'diagnose[fluids]', or write vapour pressure: under service"
        ) from None
    return float(PropsSI("P", "T", temperature, "Q", 0, fluid))


# ---- of a case ----------------------------------------------------------------------------------------------


def compute(bench: Bench) -> Iterator[Quantity]:
    for seal in bench.seals:
        if _wets(bench, seal):
            yield from _margins(bench, seal)
        yield from _beside(bench, seal)
        if bench.has("chamber pressure", "barrier pressure"):
            across = across_seal(bench, seal)
            if across:
                yield across
    machine = Owner("machine")
    if bench.has("barrier pressure"):
        yield from _barrier(bench, machine)
    yield from _cold(bench, machine)
    yield from _running(bench, machine)


def _wets(bench: Bench, seal: Owner) -> bool:
    """The product stands at this seal: the only seal, the inboard one, or one with figures of its own."""
    own = any(m.position == seal.position for m in bench.named.get("chamber pressure", ()))
    return bench.has("chamber pressure") and (seal.position != "outboard" or own)


def _margins(bench: Bench, seal: Owner) -> Iterator[Quantity]:
    pressure, temperature = bench.one("chamber pressure", seal), bench.one("temperature", seal)
    vapour, _, source, notes = _vapour(bench, seal, temperature)
    if bench.term("arrangement", seal.position) == "dual pressurised":
        notes += (
            "the faces of a pressurised pair run on barrier fluid; the product's margin bears on leaks inward only",
        )
    yield bench.work_out(
        "vapour margin", seal, "M = p_ch - p_v, absolute", source, vapour_margin, pressure, vapour, notes=notes
    )
    yield bench.work_out(
        "vapour margin ratio", seal, "r = p_ch / p_v, absolute", source, vapour_ratio, pressure, vapour, notes=notes
    )
    superheat = superheat_margin(bench, seal, notes)
    if superheat:
        yield superheat
    rating = bench.one("rated pressure", seal)
    if rating.value is not None:
        yield bench.work_out("chamber pressure share of rating", seal, "(p_ch - p_atm) / (rating - p_atm)", "geometry", _share_of_rating,
                             pressure, rating)  # fmt: skip


def superheat_margin(bench: Bench, seal: Owner, notes: tuple[str, ...] = ()) -> Quantity | None:
    """How far the chamber stays from boiling, K; None where liquid or temperature is not known."""
    pressure, temperature = bench.one("chamber pressure", seal), bench.one("temperature", seal)
    _, row, source, _ = _vapour(bench, seal, temperature)
    if not row or temperature.value is None:
        return None
    return bench.work_out("chamber superheat margin", seal, "T_sat(p_ch) - T", source, lambda p, t: boiling_point(row, p) - t,
                          pressure, temperature, notes=notes)  # fmt: skip


def _share_of_rating(pressure: float, rating: float) -> float:
    if rating <= ATMOSPHERE:
        raise ValueError("the rating must be above atmospheric pressure: write bar g for a gauge pressure")
    return (pressure - ATMOSPHERE) / (rating - ATMOSPHERE)


def _vapour(
    bench: Bench, seal: Owner, temperature: Value
) -> tuple[Value, Mapping[str, Any] | None, str, tuple[str, ...]]:
    """The vapour pressure at the seal as given, from the fluid's equation, or from CoolProp; and the fluid's row."""
    given = bench.one("vapour pressure", seal)
    name = bench.case.texts.get("service.fluid", "")
    services = bench.terms("service", seal.position)
    fluids = bench.table("fluids")["fluids"] if name or services else {}
    known = named_in(fluids, name) or named_in(fluids, name.split(",")[0])
    further = bench.table("fluids")["further fluids"] if name and not known else {}
    asked = named_in(further, name)
    taken = "" if known or asked else next((n for n, f in fluids.items() if services & set(f.get("services", ()))), "")
    known = known or taken
    row = fluids.get(known)
    if given.value is not None:
        bare = any(r.without_datum for m in bench.named["vapour pressure"] for r in m.readings)
        told = "vapour pressure without g or a is read as absolute, as is the custom" if bare else ""
        return given, row, "api-682", ("vapour pressure as given", told)
    if not name and not known:
        return Value("vapour pressure", lack="neither vapour pressure nor fluid is on record"), None, "api-682", ()
    if not known and not asked:
        why = f"the vapour pressure of {name!r} is not in the tables: write vapour pressure: under service"
        return Value("vapour pressure", lack=why), None, "api-682", ()
    if temperature.value is None:
        return Value("vapour pressure", lack=temperature.lack), row, "api-682", ()
    source = "iapws-if97" if row and "wagner" not in row else "coolprop"

    def at(t: float) -> float:
        return vapour_pressure(row, t) if row else ask_coolprop(further[asked]["coolprop"], t)

    try:
        middle = at(temperature.value)
        ends = [at(temperature.value + s) for s in (-temperature.spread, temperature.spread)]
    except ValueError as error:
        return Value("vapour pressure", lack=str(error)), row, source, ()
    accuracy = 0.0 if source == "iapws-if97" else 0.003 * middle
    spread = max(abs(e - middle) for e in ends) + accuracy
    text = f"{show(middle, 'bar', 4)} of {known or asked} at"
    origins = tuple((f"{text} {written}", id) for written, id in temperature.origins)
    why = f"taken as {taken} by the service" if taken else f"pure {known or asked} at the recorded temperature"
    pure = f"{why}; a mixture boils earlier"
    return Value("vapour pressure", middle, spread, origins), row, source, (pure,)


def across_seal(bench: Bench, seal: Owner) -> Quantity | None:
    """What stands across the seal, in the direction it was meant to; negative: reversed. None without pressures."""
    chamber, barrier = bench.one("chamber pressure", seal), bench.one("barrier pressure", seal)
    air = assumed("atmospheric pressure", ATMOSPHERE, "1.013 bar")
    arrangement = bench.term("arrangement", seal.position)
    high, low, formula = chamber, air, "chamber - atmosphere"
    if seal.position == "outboard":
        high, low, formula = barrier, air, "barrier - atmosphere"
    elif seal.position == "inboard" and arrangement == "dual pressurised":
        high, low, formula = barrier, chamber, "barrier - chamber"
    elif seal.position == "inboard":
        high, low, formula = chamber, barrier if barrier.value is not None else air, "chamber - buffer"
    if high.value is None:
        return None
    return bench.work_out("pressure difference across seal", seal, formula, "geometry", lambda h, w: h - w, high, low,
                          notes=("negative: reversed",))  # fmt: skip


def _barrier(bench: Bench, machine: Owner) -> Iterator[Quantity]:
    inboard = Owner("inboard" if "inboard" in bench.case.positions else bench.case.positions[0])
    pressure, chamber = bench.one("barrier pressure", inboard), bench.one("chamber pressure", inboard)
    if bench.term("arrangement", "inboard") == "dual unpressurised":
        name, formula = "buffer margin", "chamber - buffer, positive: buffer below the chamber"
        yield bench.work_out(name, machine, formula, "barrier-pressure-pages", lambda b, c: c - b, pressure, chamber)
    else:
        name, formula = "barrier margin", "barrier - chamber"
        yield bench.work_out(name, machine, formula, "barrier-pressure-pages", lambda b, c: b - c, pressure, chamber)


def _cold(bench: Bench, machine: Owner) -> Iterator[Quantity]:
    """How far from freezing or setting: product and barrier fluid."""
    if bench.has("lowest temperature", "temperature"):
        lowest = bench.one("lowest temperature", machine)
        if lowest.value is None:
            lowest = bench.one("temperature", machine)
        freezing = bench.one("freezing point", machine)
        fluid = bench.case.texts.get("service.fluid", "")
        if freezing.value is None and fluid:
            fluids = bench.table("fluids")["fluids"]
            row = fluids.get(named_in(fluids, fluid), {})
            if "freezes" in row:
                freezing = assumed("freezing point", amount(row["freezes"]).value, row["freezes"])
        if freezing.value is not None:
            yield bench.work_out("freezing margin", machine, "lowest temperature - freezing or setting point", "geometry",
                                 lambda t, f: t - f, lowest, freezing)  # fmt: skip
    warm, most = bench.one("barrier temperature", machine), bench.one("highest barrier temperature", machine)
    if warm.value is not None and most.value is not None:
        yield bench.work_out("barrier temperature margin", machine, "highest allowed - barrier temperature", "geometry",
                             lambda t, m: m - t, warm, most)  # fmt: skip
    pour, coldest = bench.one("barrier pour point", machine), bench.one("lowest temperature", machine)
    if pour.value is not None:
        yield bench.work_out("barrier pour point margin", machine, "lowest temperature - pour point", "barrier-fluid-report-1996",
                             lambda p, t: t - p, pour, coldest)  # fmt: skip
    entering, chamber = bench.one("flush temperature", machine), bench.one("temperature", machine)
    if entering.value is not None and chamber.value is not None:
        yield bench.work_out("chamber rise over flush", machine, "chamber temperature - flush temperature", "geometry",
                             lambda f, t: t - f, entering, chamber)  # fmt: skip


def _beside(bench: Bench, seal: Owner) -> Iterator[Quantity]:
    """What figures beside those of the chamber tell of it: gland and casing from outside, the suction."""
    chamber = bench.one("temperature", seal)
    rises = {"gland rise over product": "gland temperature", "casing rise over product": "casing temperature"}
    for name, reading in rises.items():
        metal = bench.one(reading, seal)
        if metal.value is not None and chamber.value is not None:
            yield bench.work_out(name, seal, f"{reading} - temperature of the liquid", "geometry", lambda m, t: m - t,
                                 metal, chamber)  # fmt: skip
    suction, rated = bench.one("suction pressure", seal), bench.one("rated pressure", seal)
    if suction.value is not None and rated.value is not None and seal.position != "outboard":
        yield bench.work_out("suction pressure over rating", seal, "suction pressure - rated pressure", "geometry",
                             lambda s, r: s - r, suction, rated)  # fmt: skip


def _running(bench: Bench, machine: Owner) -> Iterator[Quantity]:
    """How the pump ran: suction margin, share of best flow, and plain figures."""
    available, required = bench.one("npsh available", machine), bench.one("npsh required", machine)
    if available.value is not None:
        yield bench.work_out(
            "npsh margin",
            machine,
            "NPSH available - NPSH required",
            "geometry",
            lambda a, r: a - r,
            available,
            required,
        )
    flow, best = bench.one("flow", machine), bench.one("best efficiency flow", machine)
    if flow.value is not None:
        yield bench.work_out(
            "flow share of best", machine, "Q / Q at best efficiency", "geometry", _of_best, flow, best
        )
    plain_figures = {
        "chamber temperature": "temperature", "water conductivity": "water conductivity",
        "depressurisation rate": "depressurisation rate", "barrier viscosity": "barrier viscosity",
    }  # fmt: skip
    for name, reading in plain_figures.items():
        value = bench.one(reading, machine)
        if value.value is not None:
            yield bench.as_recorded(name, machine, value)


def _of_best(flow: float, best: float) -> float:
    if best <= 0:
        raise ValueError("the best efficiency flow must be above zero")
    return flow / best

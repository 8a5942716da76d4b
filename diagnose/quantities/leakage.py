"""Leakage: drops, volume and mass per hour, when it leaks, and the gap that would leak as much."""

from __future__ import annotations

import math
from collections.abc import Iterator

from diagnose.quantities.bench import Bench, Owner, Value, assumed, worked_out
from diagnose.quantities.model import Quantity
from diagnose.quantities.service import across_seal

RATES = ("leak rate", "leak rate standing", "leak rate running", "leak mass rate")


def mass_rate(flow: float, density: float) -> float:
    """q rho, kg/s."""
    return flow * density


def gap_for_leak(flow: float, difference: float, viscosity: float, outer: float, inner: float) -> float:
    """The even gap h, m, that would leak as much: Q = pi h^3 dp / (6 mu ln(ro/ri)), laminar radial flow between parallel flat
    rings. Raises ValueError without pressure or ring."""
    if difference <= 0 or viscosity <= 0 or outer <= inner:
        raise ValueError("a pressure difference, a viscosity and two diameters are needed")
    return (6 * viscosity * math.log(outer / inner) * flow / (math.pi * difference)) ** (1 / 3)


# ---- of a case ----------------------------------------------------------------------------------------------


def compute(bench: Bench) -> Iterator[Quantity]:
    for owner in bench.owners(*RATES):
        rates = {n: bench.one(n, owner) for n in RATES if bench.records(n, owner)}
        for name in ("leak rate", "leak rate standing", "leak rate running"):
            if name in rates:
                flow = bench.work_out(
                    name,
                    owner,
                    "as recorded, 20 drops per mL",
                    "common-practice",
                    lambda x: x,
                    rates[name],
                    notes=_drops(rates[name]),
                )
                yield flow
                if name == "leak rate":
                    yield from _mass_and_gap(bench, owner, flow)
        if "leak mass rate" in rates:
            yield bench.as_recorded("leak mass rate", owner, rates["leak mass rate"])
        if "leak rate standing" in rates and "leak rate running" in rates:
            yield bench.work_out(
                "leak change when running",
                owner,
                "running - standing",
                "geometry",
                lambda r, s: r - s,
                rates["leak rate running"],
                rates["leak rate standing"],
                notes=("negative: leaks more when standing",),
            )


def _drops(value: Value) -> tuple[str, ...]:
    return (
        ("20 drops taken as 1 mL; drop size depends on the liquid",)
        if any("drop" in t for t, _ in value.origins)
        else ()
    )


def _mass_and_gap(bench: Bench, owner: Owner, flow: Quantity) -> Iterator[Quantity]:
    density = bench.one("density", owner)
    if density.value is None:
        table = bench.table("fluids")["liquid properties"]
        density = assumed("density", float(table["density"]), f"{table['density']} kg/m³, as water")
    if not bench.records("leak mass rate", owner):
        yield bench.work_out(
            "leak mass rate", owner, "q rho", "geometry", mass_rate, worked_out(flow), density, notes=flow.notes
        )
    seal = Owner(owner.position)
    viscosity, outer, inner = (bench.one(n, seal) for n in ("viscosity", "nose outer diameter", "nose inner diameter"))
    across = across_seal(bench, seal)
    if across and None not in (viscosity.value, outer.value, inner.value):
        yield bench.work_out(
            "gap for the leak",
            owner,
            "h = (6 mu ln(ro/ri) Q / (pi dp))^(1/3)",
            "seal-leakage-article",
            gap_for_leak,
            worked_out(flow),
            worked_out(across),
            viscosity,
            outer,
            inner,
            notes=("if all of it passed between parallel flat faces",),
        )

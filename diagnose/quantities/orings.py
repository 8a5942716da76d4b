"""O-rings: size, squeeze, stretch, gland fill, set, swell, hardness, section round the clock, temperature, extrusion gap."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from diagnose.quantities.bench import Bench, Owner, Value, named_in, worked_out
from diagnose.quantities.model import Quantity
from diagnose.quantities.service import across_seal
from diagnose.reading.units import amount, show

OF_A_RING = (
    "cross-section",
    "radial thickness",
    "axial thickness",
    "new cross-section",
    "inside diameter",
    "gland depth",
    "groove width",
    "groove diameter",
    "mass",
    "mass in water",
    "hardness",
    "face side hardness",
    "far side hardness",
    "extrusion gap",
)


def squeeze(section: float, depth: float) -> float:
    """(CS - depth) / CS; depth includes the clearance. Raises ValueError unless 0 < depth."""
    if section <= 0 or depth <= 0:
        raise ValueError("cross-section and gland depth must be above zero")
    return (section - depth) / section


def section_when_stretched(section: float, stretched: float) -> float:
    """CS / sqrt(1 + stretch): the section of a stretched ring at constant volume; handbooks say about half the stretch in percent."""
    return section / math.sqrt(1 + max(0.0, stretched))


def stretch(groove_diameter: float, inside_diameter: float) -> float:
    """(groove diameter - ID) / ID, ID of the free ring."""
    return (groove_diameter - inside_diameter) / inside_diameter


def gland_fill(section: float, depth: float, width: float) -> float:
    """(pi CS^2 / 4) / (depth x width), areas; as a ratio of volumes where the ring is not stretched."""
    return math.pi * section**2 / 4 / (depth * width)


def compression_set(new: float, recovered: float, held: float) -> float:
    """(t0 - ti) / (t0 - tn), ASTM D395 method B: constant deflection, 0 full recovery, 1 no sealing force left.

    t0 new, ti recovered (30 min after release), tn held. Raises ValueError unless t0 > tn.
    """
    if new <= held:
        raise ValueError("the ring was not squeezed: gland depth is not smaller than the new cross-section")
    return (new - recovered) / (new - held)


def volume_change(air_before: float, water_before: float, air_after: float, water_after: float) -> float:
    """[(M3 - M4) - (M1 - M2)] / (M1 - M2), weighed in air and in water, ASTM D471. Raises ValueError if it floats."""
    before = air_before - water_before
    if before <= 0:
        raise ValueError("the mass in water must be smaller than the mass in air")
    return (air_after - water_after - before) / before


def mass_change(before: float, after: float) -> float:
    """(m - m0) / m0, ASTM D471."""
    return (after - before) / before


def diameter_tolerance(inside_diameter: float) -> float:
    """ISO 3601-1 class B tolerance on the inside diameter: 0.009 d^0.95 + 0.11, mm; d and result in m."""
    return (0.009 * (inside_diameter * 1000) ** 0.95 + 0.11) / 1000


def sizes(
    table: Mapping[str, Any], inside: float, section: float, inside_half: float = 0.0, section_half: float = 0.0
) -> tuple[str, ...]:
    """The AS568 dash numbers whose tolerances a measured ring can lie in, nearest first. Lengths in m."""
    found = []
    for series in table["series"]:
        cs, allowed = amount(series["section"]).value, amount(series["tolerance"]).value
        if abs(section - cs) > allowed + section_half + 1e-9:
            continue
        for dash, inches in series["sizes"].items():
            nominal = float(inches) * 0.0254
            away = abs(inside - nominal)
            if away <= diameter_tolerance(nominal) + inside_half + 1e-9:
                found.append((away, dash))
    return tuple(dash for _, dash in sorted(found))


def gap_limit(rows: Sequence[Mapping[str, Any]], hardness: float, pressure: float) -> tuple[float, str]:
    """The largest diametral clearance without a back-up ring, m, and the row used: the hardness at or below the ring's.

    Raises ValueError outside the table (softer than its softest row, or above its highest pressure).
    """
    fitting = [r for r in rows if float(r["hardness"]) <= hardness + 0.5]
    if not fitting:
        raise ValueError(
            f"the ring is softer than the table's softest row, {min(float(r['hardness']) for r in rows):.0f} Shore A"
        )
    row = max(fitting, key=lambda r: float(r["hardness"]))
    for up_to, gap in row["gaps"].items():
        if pressure <= amount(up_to).value * (1 + 1e-9):
            return amount(gap).value, f"{row['hardness']} Shore A, up to {up_to}: {gap}"
    raise ValueError("above the table's highest pressure: a back-up ring is needed")


# ---- of a case ----------------------------------------------------------------------------------------------


def compute(bench: Bench) -> Iterator[Quantity]:
    for owner in bench.owners(*OF_A_RING):
        yield from _ring(bench, owner)
    if bench.has("temperature", "lowest temperature"):
        for seal in bench.seals:
            yield from _temperature(bench, seal)
    if bench.has("storage time"):
        yield from _storage(bench)


def _ring(bench: Bench, owner: Owner) -> Iterator[Quantity]:
    section, radial, axial = (bench.one(n, owner) for n in ("cross-section", "radial thickness", "axial thickness"))
    new, inside = bench.one("new cross-section", owner), bench.one("inside diameter", owner)
    depth, width, groove = (bench.one(n, owner) for n in ("gland depth", "groove width", "groove diameter"))
    notes: tuple[str, ...] = ()
    if inside.value is not None and (new.value is not None or section.value is not None):
        size = _size(bench, owner, inside, new if new.value is not None else section)
        yield size
        if new.value is None and "," not in size.word and size.word:
            new, notes = _section_of(bench, size), ("new section from the size table, with its tolerance",)
    if depth.value is not None:
        yield _squeeze(bench, owner, new, depth, (groove, inside), notes)
        if width.value is not None:
            fuller = max((v for v in (new, section) if v.value is not None), key=lambda v: v.value or 0.0, default=new)
            yield bench.work_out(
                "gland fill",
                owner,
                "(pi CS² / 4) / (depth × width)",
                "o-ring-compression-article",
                gland_fill,
                fuller,
                depth,
                width,
                notes=("by the larger of new section and section as found",),
            )
    recovered = radial if radial.value is not None else section
    if depth.value is not None and recovered.value is not None and new.value is not None:
        yield bench.work_out(
            "compression set",
            owner,
            "(t0 - ti) / (t0 - tn)",
            "astm-d395",
            compression_set,
            new,
            recovered,
            depth,
            notes=(*notes, "method B, held at the gland depth; read 30 min after release"),
        )
    if groove.value is not None and inside.value is not None:
        yield bench.work_out(
            "stretch", owner, "(groove diameter - ID) / ID", "seal-design-guide", stretch, groove, inside
        )
    if new.value is not None and section.value is not None and bench.records("cross-section", owner):
        yield bench.work_out(
            "section change", owner, "(CS - CS0) / CS0", "geometry", lambda c, n: (c - n) / n, section, new, notes=notes
        )
    if radial.value is not None and axial.value is not None:
        formula = "(thicker - thinner) / mean of radial and axial thickness"
        yield bench.work_out(
            "section ovality", owner, formula, "geometry", lambda r, a: 2 * abs(r - a) / (r + a), radial, axial
        )
    for record in bench.records("cross-section", owner):
        if len(record.readings) >= 3:
            yield _round_the_clock(bench, owner, record.id)
    yield from _swell_and_hardness(bench, owner)
    yield from _gap(bench, owner)


def _squeeze(
    bench: Bench, owner: Owner, new: Value, depth: Value, over: tuple[Value, Value], notes: tuple[str, ...]
) -> Quantity:
    """Squeeze of the new section, thinned by the stretch over the groove where that is on record."""
    source = "o-ring-compression-article"
    if any(v.value is None for v in over):
        return bench.work_out(
            "squeeze", owner, "(CS - depth) / CS of the new section", source, squeeze, new, depth, notes=notes
        )

    def stretched(section: float, deep: float, groove: float, inside: float) -> float:
        return squeeze(section_when_stretched(section, stretch(groove, inside)), deep)

    formula = "(CS' - depth) / CS', CS' = CS / sqrt(1 + stretch) of the new section"
    return bench.work_out("squeeze", owner, formula, source, stretched, new, depth, *over, notes=notes)


def _size(bench: Bench, owner: Owner, inside: Value, section: Value) -> Quantity:
    formula = "dash numbers within the tolerances of section and inside diameter"
    assert inside.value is not None and section.value is not None
    found = sizes(bench.table("orings")["as568"], inside.value, section.value, inside.spread, section.spread)
    if not found:
        why = "no size of the table within tolerance: swollen, set, or another standard"
        return bench.result("O-ring size", owner, formula, "sae-as568", (inside, section), problem=why)
    return bench.result(
        "O-ring size",
        owner,
        formula,
        "sae-as568",
        (inside, section),
        float(len(found)),
        float(len(found)),
        float(len(found)),
        ", ".join("-" + d for d in found),
    )


def _section_of(bench: Bench, size: Quantity) -> Value:
    dash = size.word.removeprefix("-")
    series = next(s for s in bench.table("orings")["as568"]["series"] if dash in s["sizes"])
    text = f"{series['section']} ± {series['tolerance']} of size -{dash}"
    return Value(
        "new cross-section", amount(series["section"]).value, amount(series["tolerance"]).value, ((text, size.id),)
    )


def _round_the_clock(bench: Bench, owner: Owner, record_id: str) -> Quantity:
    record = next(m for m in bench.records("cross-section", owner) if m.id == record_id)
    sections = [r.value for r in record.readings]
    step = max(record.resolution / 2, *(r.spread for r in record.readings))
    mean = math.fsum(sections) / len(sections)
    value = (max(sections) - min(sections)) / mean
    note = bench.extreme_at(record, owner, "thinnest", min(sections))
    origin = (Value("cross-section", mean, origins=bench.origins("cross-section", [record])),)
    return bench.result(
        "section unevenness",
        owner,
        "(thickest - thinnest) / mean round the clock",
        "geometry",
        origin,
        value,
        max(0.0, value - 2 * step / mean),
        value + 2 * step / mean,
        notes=(note,),
    )


def _swell_and_hardness(bench: Bench, owner: Owner) -> Iterator[Quantity]:
    mass, new_mass = bench.one("mass", owner), bench.one("new mass", owner)
    wet, new_wet = bench.one("mass in water", owner), bench.one("new mass in water", owner)
    if mass.value is not None:
        yield bench.work_out("mass change", owner, "(m - m0) / m0", "astm-d471", mass_change, new_mass, mass)
        if wet.value is not None:
            formula = "[(M3 - M4) - (M1 - M2)] / (M1 - M2)"
            yield bench.work_out(
                "volume swell", owner, formula, "astm-d471", volume_change, new_mass, new_wet, mass, wet
            )
    hardness, new = bench.one("hardness", owner), bench.one("new hardness", owner)
    if hardness.value is not None and new.value is not None:
        yield bench.work_out("hardness change", owner, "found - new", "geometry", lambda f, n: f - n, hardness, new)
    face, far = bench.one("face side hardness", owner), bench.one("far side hardness", owner)
    if face.value is not None or far.value is not None:
        yield bench.work_out(
            "hardness gradient",
            owner,
            "face side - far side",
            "common-practice",
            lambda n, f: n - f,
            face,
            far,
            notes=("positive: harder at the face side",),
        )


def _gap(bench: Bench, owner: Owner) -> Iterator[Quantity]:
    gap = bench.one("extrusion gap", owner)
    if gap.value is None or not bench.records("extrusion gap", owner):
        return
    across = across_seal(bench, Owner(owner.position))
    pressure = (
        worked_out(across)
        if across
        else Value("pressure difference across seal", lack="chamber pressure is not on record")
    )
    hardness = bench.one("new hardness", owner)
    if hardness.value is None:
        hardness = bench.one("hardness", owner)
    rows = bench.table("orings")["extrusion"]["rows"]
    soft = bench.term("elastomer", owner.position) == "VMQ"
    used = ""
    if hardness.value is not None and pressure.value is not None:
        try:
            used = gap_limit(rows, hardness.value, abs(pressure.value))[1]
        except ValueError:
            used = ""

    def excess(g: float, h: float, p: float) -> float:
        return g - gap_limit(rows, h, abs(p))[0] * (0.5 if soft else 1.0)

    notes = (f"limit {used}" if used else "", "silicone: half the table's clearance" if soft else "")
    yield bench.work_out(
        "extrusion gap excess",
        owner,
        "diametral clearance - limit at hardness and pressure",
        "extrusion-limit-table",
        excess,
        gap,
        hardness,
        pressure,
        notes=notes,
    )


def elastomer_margin(bench: Bench, seal: Owner) -> Quantity | None:
    """The family's highest temperature less the service temperature, over the span of the published values; None where unknown."""
    temperature, term, row = _family(bench, seal)
    if temperature.value is None or "to" not in row:
        return None
    services = bench.terms("service", seal.position)
    fluid = bench.case.texts.get("service.fluid", "").lower()
    steam = "steam" in services or "steam" in fluid
    watery = (
        bool(services & set(bench.table("elastomers")["hot water services"]))
        or "water" in fluid
        or "condensate" in fluid
    )
    key = "steam" if steam and "steam" in row else "hot water" if watery and "hot water" in row else "to"
    tops = [amount(t["at"]).value for t in row[key]]
    most = Value(
        f"highest temperature of {term}",
        (max(tops) + min(tops)) / 2,
        (max(tops) - min(tops)) / 2,
        tuple((f"{t['at']}, {t['source']}", "") for t in row[key]),
    )
    where = {"to": "in air or oil, long term", "hot water": "in hot water", "steam": "in steam"}[key]
    source = row[key][0]["source"]
    return bench.work_out(
        "elastomer temperature margin",
        seal,
        "highest temperature of the family - service temperature",
        source,
        lambda m, t: m - t,
        most,
        temperature,
        notes=(
            f"{term} {where}; published values span {show(min(tops), '°C')} to {show(max(tops), '°C')}",
            "the O-ring beside a hot face runs warmer than the chamber",
        ),
    )


def _family(bench: Bench, seal: Owner) -> tuple[Value, str, Mapping[str, Any]]:
    """Service temperature, elastomer and its row of the table; an empty row where there is none."""
    temperature, term = bench.one("temperature", seal), bench.term("elastomer", seal.position)
    if not term:
        return temperature, term, {}
    families = bench.table("elastomers")["families"]
    return temperature, term, families.get(named_in(families, term), {})


def _temperature(bench: Bench, seal: Owner) -> Iterator[Quantity]:
    margin = elastomer_margin(bench, seal)
    if margin is not None:
        yield margin
    temperature, term, row = _family(bench, seal)
    coldest = bench.one("lowest temperature", seal)
    coldest = coldest if coldest.value is not None else temperature
    if coldest.value is not None and "from" in row:
        least = Value(
            f"lowest temperature of {term}",
            amount(row["from"]["at"]).value,
            0.0,
            ((f"{row['from']['at']}, {row['from']['source']}", ""),),
        )
        yield bench.work_out(
            "elastomer cold margin",
            seal,
            "lowest temperature - coldest the family stands",
            row["from"]["source"],
            lambda t, m: t - m,
            coldest,
            least,
        )


def _storage(bench: Bench) -> Iterator[Quantity]:
    machine = Owner("machine")
    age = bench.one("storage time", machine)
    yield bench.as_recorded("storage age", machine, age)
    for seal in bench.seals:
        term = bench.term("elastomer", seal.position)
        if not term:
            continue
        families = bench.table("elastomers")["families"]
        row = families.get(named_in(families, term), {})
        if "storage" not in row:
            continue
        lives = [amount(t["for"]).value for t in row["storage"] if t["for"] != "unlimited"]
        if not lives:
            continue
        life = Value(
            f"storage life of {term}",
            (max(lives) + min(lives)) / 2,
            (max(lives) - min(lives)) / 2,
            tuple((f"{t['for']}, {t['source']}", "") for t in row["storage"]),
        )
        yield bench.work_out(
            "storage share of life",
            seal,
            "storage age / storage life of the family",
            row["storage"][0]["source"],
            lambda a, most: a / most,
            age,
            life,
        )

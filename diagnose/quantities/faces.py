"""The pair of faces: flatness, balance, face pressure, speed, heat and what is left of the nose."""

from __future__ import annotations

import math
from collections.abc import Iterator

from diagnose.quantities.bench import Bench, Owner, Value, assumed, named_in, worked_out
from diagnose.quantities.model import Quantity
from diagnose.quantities.orings import elastomer_margin
from diagnose.quantities.service import across_seal, superheat_margin
from diagnose.reading.units import amount, show


def face_area(outer: float, inner: float) -> float:
    """A = pi/4 (Do^2 - Di^2), m2. Geometry. Raises ValueError unless outer > inner > 0."""
    if not 0 < inner < outer:
        raise ValueError("the nose's outer diameter must exceed its inner diameter")
    return math.pi / 4 * (outer**2 - inner**2)


def balance_outside(outer: float, inner: float, balance: float) -> float:
    """B = (Do^2 - Db^2) / (Do^2 - Di^2), pressure at the outer edge; below 1 balanced. API 682 annex B.

    Raises ValueError where the closing area is not positive.
    """
    ratio = (outer**2 - balance**2) * math.pi / 4 / face_area(outer, inner)
    if ratio <= 0:
        raise ValueError("the balance diameter must be smaller than the nose's outer diameter")
    return ratio


def balance_inside(outer: float, inner: float, balance: float) -> float:
    """B = (Db^2 - Di^2) / (Do^2 - Di^2), pressure at the inner edge (from memory). Raises ValueError as above."""
    ratio = (balance**2 - inner**2) * math.pi / 4 / face_area(outer, inner)
    if ratio <= 0:
        raise ValueError("the balance diameter must be larger than the nose's inner diameter")
    return ratio


def spring_pressure(force: float, area: float) -> float:
    """psp = Fsp / A, Pa."""
    return force / area


def face_pressure(difference: float, balance: float, gradient: float, spring: float) -> float:
    """p = dp (B - K) + psp, Pa. K is 0.5 for flat faces in a liquid that does not flash, 0.5 to 0.8 in practice;
    above for converging faces or flashing, below for diverging ones. API 682 2nd ed. 2002 annex B."""
    return difference * (balance - gradient) + spring


def mean_speed(outer: float, inner: float, speed: float) -> float:
    """V = omega (Do + Di) / 4, m/s, omega in rad/s."""
    return speed * (outer + inner) / 4


def pv(pressure: float, speed: float) -> float:
    """PV = p V with p = dp (B - K) + psp, Pa m/s. Centrifugal Pumps: Design and Application, 2nd ed. 1992, ch. 17."""
    return pressure * speed


def friction_heat(pv_value: float, friction: float, area: float) -> float:
    """H = PV f A, W. Centrifugal Pumps: Design and Application, 2nd ed. 1992, ch. 17."""
    return pv_value * friction * area


def ring_conductance(film: float, perimeter: float, conductivity: float, area: float, length: float) -> float:
    """Heat that a ring carries off per kelvin at its face, W/K: a fin of length L wetted on its rim,
    sqrt(h P k A) tanh(m L), m = sqrt(h P / (k A)). Textbook fin with insulated end."""
    m = math.sqrt(film * perimeter / (conductivity * area))
    return math.sqrt(film * perimeter * conductivity * area) * math.tanh(m * length)


def share_behind(film: float, perimeter: float, conductivity: float, area: float, length: float) -> float:
    """What is left at the back of a ring of the rise at its face: 1 / cosh(m L), m = sqrt(h P / (k A)). Textbook fin with insulated end."""
    return 1 / math.cosh(math.sqrt(film * perimeter / (conductivity * area)) * length)


def duty_parameter(viscosity: float, speed: float, width: float, load: float) -> float:
    """G = eta V b / F, dimensionless: viscosity times speed over load per width. Full film towards 1e-6, mixed about
    1e-7, boundary towards 1e-8 (from memory of the literature on face lubrication). Raises ValueError without load."""
    if load <= 0:
        raise ValueError("there is no net closing load")
    return viscosity * speed * width / load


def wavelength_flatness(bands: float, wavelength: float) -> float:
    """Flatness, m: bands times half the wavelength of the lamp (one helium band 0.2938 um)."""
    return bands * wavelength / 2


def face_form(along: float, across: float, least: float) -> str:
    """flat, convex, concave, saddle or cylindrical, from bands along two square directions, convex positive;
    fewer than `least` bands count as none."""
    signs = sorted(0 if abs(b) < least else (1 if b > 0 else -1) for b in (along, across))
    return {(0, 0): "flat", (1, 1): "convex", (-1, -1): "concave", (-1, 1): "saddle"}.get(
        (signs[0], signs[1]), "cylindrical"
    )


def remaining_share(height: float, new: float) -> float:
    """h / h0. Raises ValueError where the used nose is taller than the new one."""
    if new <= 0 or height > new:
        raise ValueError("the nose cannot be taller than when it was new: check nose height and new nose height")
    return height / new


def wear_rate(new: float, height: float, hours: float) -> float:
    """r = (h0 - h) / t, m/s. Raises ValueError without running time, or for a nose that grew."""
    if hours <= 0:
        raise ValueError("no running time is on record")
    return (1 - remaining_share(height, new)) * new / hours


def time_left(height: float, rate: float) -> float:
    """h / r, s. Raises ValueError where nothing was worn."""
    if rate <= 0:
        raise ValueError("no wear was measured, so no life can be foretold")
    return height / rate


# ---- of a case ----------------------------------------------------------------------------------------------


def compute(bench: Bench) -> Iterator[Quantity]:
    if bench.has("nose outer diameter", "balance diameter"):
        for seal in bench.seals:
            if any(bench.one(n, seal).value is not None for n in ("nose outer diameter", "balance diameter")):
                yield from _load_and_heat(bench, seal)
    for owner in bench.owners("light bands"):
        yield _flatness(bench, owner)
    for owner in bench.owners("light bands along", "light bands across"):
        yield _form(bench, owner)
    for owner in bench.owners("nose height"):
        yield from _nose(bench, owner)
    for owner in bench.owners("face runout"):
        outer = bench.one("nose outer diameter", Owner(owner.position))
        yield bench.work_out("ring squareness", owner, "face runout / nose outer diameter", "seal-chamber-requirements",
                             lambda runout, d: runout / d, bench.one("face runout", owner), outer)  # fmt: skip


def _load_and_heat(bench: Bench, seal: Owner) -> Iterator[Quantity]:
    outer, inner, bore = (
        bench.one(n, seal) for n in ("nose outer diameter", "nose inner diameter", "balance diameter")
    )
    inside = bench.term("pressure side", seal.position) == "inner edge"
    side = "pressure at the inner edge" if inside else "pressure taken to stand at the outer edge"
    if bore.value is not None:
        formula = "B = (Db² - Di²) / (Do² - Di²)" if inside else "B = (Do² - Db²) / (Do² - Di²)"
        balance = bench.work_out("balance ratio", seal, formula, "api-682-2002",
                                 balance_inside if inside else balance_outside, outer, inner, bore, notes=(side,))  # fmt: skip
        yield balance
    else:
        balance = bench.result("balance ratio", seal, "", "api-682-2002", (outer, inner), problem=bore.lack)
    speed = bench.one("speed", seal)
    velocity = bench.work_out(
        "mean face speed", seal, "V = omega (Do + Di) / 4", "geometry", mean_speed, outer, inner, speed
    )
    yield velocity
    difference = across_seal(bench, seal)
    if difference is None or balance.value is None:
        return
    area = bench.work_out("face area", seal, "A = pi/4 (Do² - Di²)", "geometry", face_area, outer, inner)
    yield area
    force = bench.one("spring force", seal)
    sprung = bench.work_out(
        "spring pressure", seal, "psp = Fsp / A", "geometry", spring_pressure, force, worked_out(area)
    )
    yield sprung
    gradient = bench.one("pressure gradient factor", seal)
    if gradient.value is None:
        gradient = assumed("pressure gradient factor", 0.5, "0.5, flat faces, liquid that does not flash")
    pressure = bench.work_out("face pressure", seal, "p = dp (B - K) + psp", "api-682-2002", face_pressure,
                              worked_out(difference), worked_out(balance), gradient, worked_out(sprung), notes=(side,))  # fmt: skip
    yield pressure
    loaded = bench.work_out(
        "pv", seal, "PV = p V", "centrifugal-pumps-1992", pv, worked_out(pressure), worked_out(velocity)
    )
    yield loaded
    yield from _against_pair(bench, seal, loaded, area, (outer, inner))
    yield from _film(bench, seal, velocity, pressure, area)


def _pair(bench: Bench, position: str) -> tuple[str, str]:
    """The materials of the two rings as the table names them; "" where unknown."""
    materials = bench.table("faces")["materials"]
    return tuple(named_in(materials, bench.term(ring, position)) for ring in ("soft face", "hard face"))  # type: ignore[return-value]


def _against_pair(
    bench: Bench, seal: Owner, loaded: Quantity, area: Quantity, ring: tuple[Value, Value]
) -> Iterator[Quantity]:
    materials = bench.table("faces")["materials"]
    names = _pair(bench, seal.position)
    families = {materials[n]["family"] for n in names if n}
    row = next((r for r in bench.table("faces")["pairs"] if "" not in names and set(r["pair"]) == families), None)
    lack = (
        "soft face and hard face are not both on record"
        if "" in names
        else f"no table value for {' against '.join(names)}"
    )
    limit, bound = Value("pv limit of the pair", lack=lack), row.get("pv") if row else None
    if bound:
        low, high = amount(bound["most"][0]).value, amount(bound["most"][-1]).value
        text = " to ".join(dict.fromkeys(bound["most"]))
        thin = bench.table("faces")["pv in thin liquids"]
        if set(thin["services"]) & bench.terms("service", seal.position):
            low *= float(thin["share"])
            text += f", down to {float(thin['share']):.0%} of it in a thin or boiling liquid, {thin['source']}"
        limit = Value("pv limit of the pair", (low + high) / 2, (high - low) / 2, ((f"{text}, {bound['source']}", ""),))
    yield bench.work_out("pv share of limit", seal, "PV / limit of the pair", bound["source"] if bound else "", lambda p, most: p / most,
                         worked_out(loaded), limit, notes=(bound["note"] if bound else "",))  # fmt: skip
    friction = bench.one("friction coefficient", seal)
    if friction.value is None and row:
        f, source = float(row["friction"]["value"]), row["friction"]["source"]
        usual = bench.table("faces")["ordinary friction"]
        ends = sorted((f, float(usual["value"]))) if f != float(usual["value"]) else (0.7 * f, 1.3 * f)
        text = f"{row['friction']['value']} for {' against '.join(names)}, {source}; {usual['value']} in ordinary duty, {usual['source']}"
        friction = assumed("friction coefficient", math.fsum(ends) / 2, text, (ends[1] - ends[0]) / 2)
    heat = bench.work_out("friction heat", seal, "H = PV f A", "centrifugal-pumps-1992", friction_heat, worked_out(loaded),
                          friction, worked_out(area))  # fmt: skip
    yield heat
    yield from _temperatures(bench, seal, heat, area, ring[0], [materials[n] for n in names if n])


def _temperatures(
    bench: Bench, seal: Owner, heat: Quantity, area: Quantity, outer: Value, rings: list[dict[str, str]]
) -> Iterator[Quantity]:
    if heat.value is None:
        return
    fin = bench.table("faces")["ring as a fin"]
    liquid = (
        "water"
        if bench.terms("service", seal.position) & set(fin["water services"]) or "water" in _fluid(bench)
        else "other"
    )
    film = assumed("film coefficient", float(fin["film coefficient"][liquid]), f"{fin['film coefficient'][liquid]} W/(m² K)",
                   0.5 * float(fin["film coefficient"][liquid]))  # fmt: skip
    length = assumed("wetted length of each ring", amount(fin["length"]).value, fin["length"])
    carried = [float(r["conductivity"]) for r in rings]

    def rise(h: float, a: float, do: float, alpha: float, long: float) -> float:
        return h / sum(ring_conductance(alpha, math.pi * do, k, a, long) for k in carried)

    formula = "dT = H / sum sqrt(h P k A) tanh(m L), both rings as fins wetted on the rim"
    warmer = bench.work_out("face temperature rise", seal, formula, "heat-transfer-textbook", rise, worked_out(heat), worked_out(area), outer,
                            film, length, notes=("an estimate: good to a factor of two",))  # fmt: skip
    yield warmer
    superheat = superheat_margin(bench, seal)
    if superheat and warmer.value is not None:
        yield bench.work_out("superheat margin at the faces", seal, "(T_sat - T) - dT", superheat.source, lambda m, dt: m - dt,
                             worked_out(superheat), worked_out(warmer))  # fmt: skip
    baked = elastomer_margin(bench, seal)
    if baked and baked.value is not None and warmer.value is not None:

        def behind(margin: float, dt: float, a: float, do: float, alpha: float, long: float) -> float:
            return margin - dt * max(share_behind(alpha, math.pi * do, k, a, long) for k in carried)

        yield bench.work_out("elastomer temperature margin behind the faces", seal, "highest of the family - T - dT / cosh(m L), of the better conductor",
                             "heat-transfer-textbook", behind, worked_out(baked), worked_out(warmer), worked_out(area), outer, film, length)  # fmt: skip
    flow = bench.one("flush flow", seal)
    if flow.value is not None:
        density, capacity = bench.one("density", seal), bench.one("specific heat", seal)
        water = bench.table("fluids")["liquid properties"]
        if density.value is None:
            density = assumed("density", float(water["density"]), f"{water['density']} kg/m³, as water")
        if capacity.value is None:
            capacity = assumed(
                "specific heat", float(water["specific heat"]), f"{water['specific heat']} J/(kg K), as water"
            )
        yield bench.work_out("flush temperature rise", seal, "dT = H / (q rho c)", "api-682", flush_rise, worked_out(heat), flow,
                             density, capacity, notes=("face heat only; stirring and heat soak come on top",))  # fmt: skip


def _fluid(bench: Bench) -> str:
    return bench.case.texts.get("service.fluid", "").lower()


def flush_rise(heat: float, flow: float, density: float, capacity: float) -> float:
    """dT = H / (q rho c), K; q in m3/s, c in J/(kg K). Raises ValueError without flow."""
    if flow <= 0:
        raise ValueError("there was no flush flow")
    return heat / (flow * density * capacity)


def _film(bench: Bench, seal: Owner, velocity: Quantity, pressure: Quantity, area: Quantity) -> Iterator[Quantity]:
    viscosity = bench.one("viscosity", seal)
    if viscosity.value is None:
        return
    outer, inner = bench.one("nose outer diameter", seal), bench.one("nose inner diameter", seal)

    def duty(eta: float, v: float, p: float, a: float, do: float, di: float) -> float:
        return duty_parameter(eta, v, (do - di) / 2, p * a)

    yield bench.work_out("film duty parameter", seal, "G = eta V b / F", "lebeck-1991", duty, viscosity,
                         worked_out(velocity), worked_out(pressure), worked_out(area), outer, inner)  # fmt: skip


def _flatness(bench: Bench, owner: Owner) -> Quantity:
    lamps = bench.table("faces")["lamps"]
    instrument = " ".join(m.instrument for m in bench.records("light bands", owner)).lower()
    lamp = next((n for n in sorted(lamps) if n in instrument), "helium")
    helium = amount(lamps["helium"]["wavelength"]).value
    wavelength = amount(lamps[lamp]["wavelength"]).value
    bands = bench.one("light bands", owner)
    said = f"{lamp} lamp, {show(wavelength / 2, 'µm', 4)} a band" + (
        "" if lamp in instrument else ", lamp not on record"
    )
    return bench.work_out("face flatness", owner, "bands × half the wavelength", "seal-flatness-pages",
                          lambda b: wavelength_flatness(b / (helium / 2), wavelength), bands, notes=(said,))  # fmt: skip


def _form(bench: Bench, owner: Owner) -> Quantity:
    along, across = bench.one("light bands along", owner), bench.one("light bands across", owner)
    band = amount("1 band").value
    formula = "signs of the bands along two square directions, convex positive"
    if along.value is None or across.value is None:
        return bench.result(
            "face form", owner, formula, "common-practice", (along, across), problem=along.lack or across.lack
        )
    word = face_form(along.value / band, across.value / band, 1.0)
    worst = max(abs(along.value), abs(across.value))
    return bench.result("face form", owner, formula, "common-practice", (along, across), worst, worst, worst, word,
                        ("under one band counts as flat",))  # fmt: skip


def _nose(bench: Bench, owner: Owner) -> Iterator[Quantity]:
    height, new = bench.one("nose height", owner), bench.one("new nose height", owner)
    yield bench.work_out("nose remaining share", owner, "h / h0", "geometry", remaining_share, height, new)
    hours = bench.one("running hours", owner)
    if hours.value is None:
        return
    rate = bench.work_out("nose wear rate", owner, "r = (h0 - h) / t", "geometry", wear_rate, new, height, hours)
    yield rate
    left = worked_out(rate)
    yield bench.work_out("nose life left", owner, "h / r", "geometry", time_left, height, left)

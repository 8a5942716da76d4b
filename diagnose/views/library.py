"""Pages of a library of closed cases, from plain data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.reading.figures import count, listed, percent
from diagnose.views.page import Page


def hours(value: float | None) -> str:
    """Hours as people read them; "not reached" for None."""
    return "not reached" if value is None else f"{value:,.0f} h".replace(",", " ") if value >= 10 else f"{value:.1f} h"


def synced(done: dict[str, Any], page: Page) -> Page:
    parts = [f"{done[key]} {word}" for key, word in (
        ("new", "new"), ("changed", "changed"), ("judged_again", "judged again by this rule base"), ("gone", "gone"),
        ("same", "as before"),
    ) if done[key]]  # fmt: skip
    page.say(f"cases: {', '.join(parts) or 'none'}")
    for name in sorted(done["broken"]):
        for problem in done["broken"][name]:
            page.say(problem, hang=2)
    if done["broken"]:
        page.say(
            f"{count(len(done['broken']), 'file')} cannot be judged and {'is' if len(done['broken']) == 1 else 'are'} left out"
        )
    return page


def machine(found: dict[str, Any], page: Page) -> Page:
    seals = found["seals"]
    page.title(f"{found['machine']}: {count(len(seals), 'seal')} on record")
    for number, s in enumerate(seals, 1):
        page.line()
        end = {"failed": "failed", "sound": "taken out sound", "still running": "still running"}[s["removal"]]
        place = "" if s["position"] == "seal" else f"{s['position']}, "
        lived = f", {hours(s['hours'])}" if s["hours"] is not None else ""
        dates = (
            " to ".join(x for x in (s["fitted"] or "?", s["removed"]) if x)
            if s["fitted"] or s["removed"]
            else "no dates"
        )
        page.say(f"{place}{dates}: {end}{lived}", indent=2, hang=6, lead=f"{number:>2}. ")
        if s["removal"] == "failed":
            sure = f"confirmed by {s['confirmed']}" if s["confirmed"] else "as the tool says, not confirmed"
            told = "; ".join(x for x in (s["cause"], s["mechanism"] and f"mechanism {s['mechanism']}") if x)
            page.say(f"{told} ({sure})" if told else "no cause is known", indent=6)
        if s["changed before"]:
            page.say(f"changed before it was fitted: {'; '.join(s['changed before'])}", indent=6)
        if s["than the one before"]:
            lasts = {"longer already": "it has outlived the one before it already"}
            page.say(
                lasts.get(s["than the one before"], f"it lived {s['than the one before']} than the one before it"),
                indent=6,
            )
        page.say(s["file"], indent=6)
    repeats(found, page)
    return page


def before(found: dict[str, Any], page: Page) -> Page:
    """What whoever opens a new case on a machine should know."""
    cases = len({s["file"] for s in found["seals"]})
    last = found["seals"][-1]
    lived = f", the last one {hours(last['hours'])}" if last["hours"] is not None else ""
    page.say(
        f"{found['machine']} has {count(cases, 'case')} before this one{lived}: diagnose library machine {found['machine']}"
    )
    for r in found["repeats"]:
        page.say(f"it came back: {r['name']}, {len(r['files'])} times, {r['confirmed']} confirmed", indent=2, hang=4)
    return page


def repeats(found: dict[str, Any], page: Page) -> Page:
    """What has come back on a machine."""
    if not found["repeats"]:
        return page
    page.heading("Repeat failures")
    for r in found["repeats"]:
        what = "root cause" if r["kind"] == "cause" else "mechanism"
        page.say(f"{r['name']} ({what}): {len(r['files'])} cases, {r['confirmed']} of them confirmed", indent=2, hang=4)
    return page


def life(found: dict[str, Any], page: Page) -> Page:
    groups = found["groups"]
    page.title("How long seals live")
    if not groups:
        page.say("No life is on record: give running hours, or the dates fitted and removed, under history.")
        return page
    for g in groups:
        page.line()
        page.say(
            f"{g['group']}: {count(g['seals'], 'seal')}, {g['failed']} failed, {g['seals'] - g['failed']} sound or running"
        )
        if g["by dates"]:
            page.say(f"{g['by dates']} of the lives are reckoned from dates, standstill and all", indent=2)
        if g["too few"]:
            page.say(f"too few failed to say how long they live (at least {found['least failures']})", indent=2)
            continue
        table = [("half have failed by", hours(g["median"]), _between(*g["median interval"]))]
        if w := g["weibull"]:
            shape = w["shape interval"]
            table += [
                ("one in ten by", hours(w["b10"]), _between(*w["b10 interval"])),
                ("Weibull scale", hours(w["scale"]), _between(*w["scale interval"])),
                ("Weibull shape", f"{w['shape']:.2f}", f"{shape[0]:.2f} to {shape[1]:.2f}: {_shape(*shape)}"),
            ]
        page.table(table, [20, 12, 0])
    if found["log-rank"]:
        page.heading("Do they differ? (log-rank test)")
    for t in found["log-rank"]:
        says = "too few failed to say" if t["p"] is None else f"p {_chance(t['p'])}"
        page.say(f"{listed(t['between'])}: {says}", indent=2, hang=4)
    if len(found["log-rank"]) > 1:
        page.say(
            f"Of {len(found['log-rank'])} comparisons one in twenty has p below 0.05 by luck alone.",
            indent=2,
        )
    page.line()
    page.say("Intervals are 95 %. Lives are taken as independent of what ended the others; for a root cause, seals that failed "
             "of another count as taken out sound.")  # fmt: skip
    return page


def _between(low: float | None, high: float | None) -> str:
    return f"{hours(low)} to {hours(high)}"


def _shape(low: float, high: float) -> str:
    if high < 1:
        return "they fail early (fitting, dirt, start-up)"
    if low > 1:
        return "they wear out"
    return "early or late cannot be told"


def _chance(p: float) -> str:
    return "under 0.0001" if p < 0.0001 else f"{p:.4f}"


def like(found: dict[str, Any], page: Page) -> Page:
    near = found["near"]
    page.title("The closed cases nearest to this one")
    if not near:
        page.say("No closed case shares any evidence with this one.")
    for number, n in enumerate(near, 1):
        page.line()
        page.say(f"{n['case']} ({n['file']})", lead=f"{number:>2}. ")
        was = "; ".join(
            x for x in (", ".join(n["roots"]), n["mechanisms"] and f"mechanism {', '.join(n['mechanisms'])}") if x
        )
        page.say(
            f"it was: {was or 'none of the causes of this rule base'}, confirmed by {n['how']}, {n['day']}",
            indent=4,
            hang=6,
        )
        page.say(f"shares {percent(max(n['score'], 0.0))} of what this record tells", indent=4)
        for title, key in (("shared", "shared"), ("different", "different"), ("there, and open here", "open here")):
            if n[key]:
                page.say(f"{title}: {'; '.join(_some(n[key]))}", indent=4, hang=6)
        if n["changed"]:
            page.say(f"changed then: {'; '.join(n['changed'])}", indent=4, hang=6)
    return page


def _some(names: Sequence[str], most: int = 6) -> list[str]:
    return [*names[:most], *([f"and {len(names) - most} more"] if len(names) > most else [])]


def rows(found: dict[str, Any], page: Page) -> Page:
    shown = found["rows"]
    contradicted = sum(r["contradicted"] for r in shown)
    page.title(
        f"{found['counted']} rows of the cards have {found['few']} confirmed cases or more; {contradicted} are contradicted"
    )
    for r in shown:
        page.line()
        page.say(f"{r['finding']}, on {r['kind']} {r['card']}: {r['word']}", indent=2, hang=4)
        page.say(f"{r['k']} of {r['n']} confirmed cases, {r['expected'] * r['n']:.1f} expected; with the card worth "
                 f"{found['worth']:g} cases {percent(r['share'])} ({percent(r['interval'][0])} to {percent(r['interval'][1])})",
                 indent=4, hang=6)  # fmt: skip
        if r["contradicted"]:
            page.say(f"contradicted (p {_chance(r['p'])}); the word that fits best: {r['fits']}", indent=4, hang=6)
    page.line()
    page.say("Counted are seals of which a laboratory, a measurement, a strip-down or a change that worked confirmed one root "
             "cause, and of them those in which the finding was looked for. Of the rows called contradicted one in twenty may be "
             "so by luck, and marks that are only noted where they are there make a row look commoner than it is.")  # fmt: skip
    if effect := found.get("effect"):
        page.heading(f"What the proposed words would change in {effect['cases']} closed cases")
        less = effect["cases"] - effect["answers"] - effect["same"]
        page.say(f"{effect['answers']} change their answer (leading cause, mechanism or standing), {less} only a probability or "
                 f"weight, {effect['same']} nothing", indent=2)  # fmt: skip
        for change in effect["changes"]:
            if change["kind"] in ("leading", "mechanism", "standing"):
                page.say(f"{change['case']}: {change['old']} -> {change['new']}", indent=2, hang=4)
    return page


def calibration(found: dict[str, Any], page: Page) -> Page:
    page.title("What the tool says of closed cases against what was confirmed")
    for kind, title in (("cause", "Root causes"), ("mechanism", "Mechanisms")):
        level = found["levels"][kind]
        if not level["all"]["n"]:
            continue
        page.heading(title)
        table: list[tuple[str, ...]] = [
            ("", "cases", "right", "expected", "95 % interval", "over 90 % sure", "established")
        ]
        table.append(_figures("all", level["all"]))
        for part in ("year", "by"):
            table += [
                _figures(name or "not said", f)
                for name, f in level[part].items()
                if len(level[part]) > 1 or part == "year"
            ]
        page.table(table, [0, 5, 5, 8, 13, 14, 11])
        if level["all"]["slope"] is not None:
            page.say(f"calibration: slope {level['all']['slope']:.2f}, observed to expected "
                     f"{level['all']['observed_to_expected']:.2f} (1 and 1 are perfect)", indent=2, hang=4)  # fmt: skip
    if not any(level["all"]["n"] for level in found["levels"].values()):
        page.say("No case of this library has an outcome. Put them on record: diagnose close FILE")
    if found["overruled"]:
        page.heading("Where the tool was overruled")
    for o in found["overruled"]:
        first = f"{listed(o['first'])} was taken for it, then " if o["first"] and o["first"] != o["confirmed"] else ""
        truth = listed(o["confirmed"]) or "none of the causes"
        page.say(f"{o['file']}: it said {o['said']} ({o['standing']}, {percent(o['probability'])}); {first}{truth} was confirmed by "
                 f"{o['how']}. Right: {o['right']}.", indent=2, hang=4)  # fmt: skip
    page.line()
    page.say("The tool's answers are those of the rule base of the last sync. Where words on its cards were changed after these "
             "cases, its figures on them are no test.")  # fmt: skip
    return page


def _figures(name: str, f: dict[str, Any]) -> tuple[str, ...]:
    low, high = f["right_interval"]
    return (name, str(f["n"]), str(f["right"]), f"{f['expected right']:.1f}", f"{low:.0%} to {high:.0%}",
            f"{f['claims right']} of {f['claims']}", f"{f['established right']} of {f['established']}")  # fmt: skip


def bad_actors(found: dict[str, Any], page: Page) -> Page:
    names = {"tag": "machine", "batch": "batch", "cause": "root cause", "mechanism": "mechanism"}
    unit = {"count": "failures", "cost": "cost", "hours": "hours lost"}[found["measure"]]
    page.title(f"Failed cases by {names[found['by']]}, by {unit}")
    table = [("", unit, "share", "together")]
    for p in found["parts"][:20]:
        table.append((p["name"], f"{p['amount']:,.0f}".replace(",", " "), f"{p['share']:.0%}", f"{p['together']:.0%}"))
    page.table(table, [0, 12, 6, 8])
    if len(found["parts"]) > 20:
        page.say(f"and {len(found['parts']) - 20} more", indent=2)
    if found["months"]:
        page.heading("Failures by month and by the field of the first action against the cause")
        fields = sorted({f for month in found["months"].values() for f in month})
        page.table([("month", *fields), *(
            (m, *(str(of.get(f, "")) for f in fields)) for m, of in list(found["months"].items())[-24:]
        )], [8, *(max(len(f), 4) for f in fields)])  # fmt: skip
    short = found["short-lived"]
    if short is None:
        page.heading("Which groups live shorter needs scipy: pip install 'diagnose[library]'")
    elif short["groups"]:
        page.heading(f"Groups that live shorter than the rest, of {short['tried']} tried")
        for g in short["groups"]:
            page.say(
                f"{g['by']} {g['name']}: {g['failed']} failed, {g['rate']:.2f} per 1,000 h against {g['rest']:.2f} (p {_chance(g['p'])})",
                indent=2,
                hang=4,
            )
        page.say("Log-rank test of each group against the rest; one in twenty of those named may be so by luck, and groups that share "
                 "seals share their troubles.", indent=2)  # fmt: skip
    else:
        page.heading(f"No group lives shorter than the rest, of {short['tried']} tried")
    return page

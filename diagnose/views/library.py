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


def repeats(found: dict[str, Any], page: Page) -> Page:
    """What has come back on a machine."""
    if not found["repeats"]:
        return page
    page.heading("Repeat failures")
    for r in found["repeats"]:
        what = "root cause" if r["kind"] == "cause" else "mechanism"
        page.say(f"{r['name']} ({what}): {len(r['files'])} seals, {r['confirmed']} of them confirmed", indent=2, hang=4)
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
        w = g["weibull"]
        page.table([
            ("half have failed by", hours(g["median"]), _between(*g["median interval"])),
            ("one in ten by", hours(w["b10"]), _between(*w["b10 interval"])),
            ("Weibull scale", hours(w["scale"]), _between(*w["scale interval"])),
            ("Weibull shape", f"{w['shape']:.2f}", "{:.2f} to {:.2f}".format(*w["shape interval"]) + f": {_shape(*w['shape interval'])}"),
        ], [20, 12, 0])  # fmt: skip
    if found["log-rank"]:
        page.heading("Do they differ? (log-rank test)")
    for t in found["log-rank"]:
        says = "too few failed to say" if t["p"] is None else f"p {_chance(t['p'])}"
        page.say(f"{listed(t['between'])}: {says}", indent=2, hang=4)
    if len(found["log-rank"]) > 1:
        page.say(
            f"Of {len(found['log-rank'])} comparisons of alike groups, one in twenty has p below 0.05 by luck.",
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

"""The figures of a scored set as a page."""

from __future__ import annotations

from typing import Any

from diagnose.views.page import Page


def page(result: dict[str, Any], page: Page) -> Page:
    def share(p: float, interval: tuple[float, float]) -> str:
        return f"{p:6.1%}   95 % interval {interval[0]:.1%} to {interval[1]:.1%}"

    page.line(f"cases                        {result['n']}")
    page.line(f"leading cause right          {share(result['top1'], result['top1_interval'])}")
    page.line(f"right one among first three  {share(result['top3'], result['top3_interval'])}")
    d = result["detailed"]
    if d["n"]:
        page.line(f"of {d['n']} with three records   {share(d['top1'], d['top1_interval'])}")
    page.line(f"established and wrong        {result['established_wrong']}")
    page.line(
        f"log loss {result['log_loss']:.3f}   Brier {result['brier']:.3f}   calibration error {result['ece']:.3f}"
    )
    if result["reliability"]:
        page.heading("Reliability of the leading cause's probability")
        rows = [("said", "cases", "mean said", "source agrees")]
        for b in result["reliability"]:
            rows.append(
                (f"{b['from']:.0%} to {b['to']:.0%}", str(b["n"]), f"{b['confidence']:.2f}", f"{b['right']:.2f}")
            )
        page.table(rows, [12, 6, 10, 14])
    for key, title in (
        ("misses", "Misses"),
        ("established_wrong_cases", "Established and wrong"),
        ("not_ruled_out", "Should be out, are not"),
    ):
        if result[key]:
            page.heading(title)
        for m in result[key]:
            if key == "misses":
                page.say(f"{m['case']}: {m['leading']} ({m['standing']}, {m['probability']:.2f}) instead of "
                         f"{', '.join(m['expected'])}; {m['kind']}{', among first three' if m['among_three'] else ''}", indent=2, hang=4)  # fmt: skip
            else:
                page.say(f"{m['case']}: {', '.join(m['causes'])}", indent=2, hang=4)
    if result.get("symptoms"):
        page.heading("Published tables of symptom and causes, each symptom given alone")
        lines = [("table", "rows", "listed cause among first three", "listed causes among first eight")]
        for t in result["symptoms"]:
            told = f"{t['among_first_three']} of {t['rows']}" + (f" (not {', '.join(t['not'])})" if t["not"] else "")
            lines.append((t["table"], str(t["rows"]), told, f"{t['listed_among_first_eight']:.0%}"))
        page.table(lines, [22, 4, 0, 12])
    return page

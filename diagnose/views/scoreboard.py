"""The figures of a scored set as a page."""

from __future__ import annotations

from typing import Any

from diagnose.views.page import Page


def page(result: dict[str, Any], page: Page) -> Page:
    def share(p: float, interval: tuple[float, float]) -> str:
        return f"{p:6.1%}   95 % interval {interval[0]:.1%} to {interval[1]:.1%}"

    def part(label: str, of: dict[str, Any], key: str) -> None:
        page.line(f"{label:36} {share(of[key], of[f'{key}_interval'])}")

    page.line(f"cases {result['n']}")
    if result["left_out"]:
        page.line(f"left out, as they have no expected: {result['left_out']}")
    page.heading("A cause that the case expects, one of those it lists, or one under also")
    part("  leading cause right", result, "top1")
    part("  right one among the first three", result, "top3")
    if (few := result["detailed"])["n"]:
        part(f"  leading, {few['n']} with three records", few, "top1")
    if (stated := result["stated"])["n"]:
        nothing = result["n"] - stated["n"]
        page.heading(f"Stricter: without what stands under also, and without the {nothing} that expect none of these")
        part(f"  leading cause right, of {stated['n']}", stated, "top1")
        part("  right one among the first three", stated, "top3")
        if (few := stated["detailed"])["n"]:
            part(f"  leading, {few['n']} with three records", few, "top1")
        page.line(f"  established, another than stated: {stated['established_other']}")
    page.line()
    page.line(f"established and wrong {result['established_wrong']}")
    page.line(f"log loss {result['log_loss']:.3f}   Brier {result['brier']:.3f}")
    if result["reliability"]:
        page.heading("Does the probability of the leading cause say how often it is right?")
        page.say(f"calibration error {result['ece']:.3f} where one of k causes that a case lists counts 1/k, as if one of "
                 "them were at work and each as likely", hang=4)  # fmt: skip
        page.say(f"calibration error {result['ece_any_listed']:.3f} where any cause listed counts in full: the probability "
                 "is shared among them, so what is said is then less than what is right", hang=4)  # fmt: skip
        said = sum(b["n"] for b in result["reliability"])
        rows = [("said", "cases", "mean said", "right, 1/k")]
        for b in result["reliability"]:
            rows.append(
                (f"{b['from']:.0%} to {b['to']:.0%}", str(b["n"]), f"{b['confidence']:.2f}", f"{b['right']:.2f}")
            )
        rows.append(("together", str(said), "", ""))
        page.table(rows, [12, 6, 10, 14])
        if said < result["n"]:
            page.say(f"The {result['n'] - said} cases that expect none of these have no cause to be right about and "
                     "are not counted here.", indent=2)  # fmt: skip
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

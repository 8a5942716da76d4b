"""The figures of a scored set as a page."""

from __future__ import annotations

from typing import Any

from diagnose.views.page import Page


def page(result: dict[str, Any], page: Page) -> Page:
    page.line(f"cases {result['n']}")
    if result["left_out"]:
        page.line(f"left out, as they have no expected: {result['left_out']}")
    page.line(f"{'right':36} {_share(result, 'right')}")
    for level, figures in result["levels"].items():
        if figures["n"]:
            _level(page, level, figures)
    _lists(page, result)
    return page


def _share(of: dict[str, Any], key: str) -> str:
    low, high = of[f"{key}_interval"]
    return f"{of[key]:6.1%}   95 % interval {low:.1%} to {high:.1%}"


def _level(page: Page, level: str, of: dict[str, Any]) -> None:
    page.heading(f"The {level}, of {of['n']} cases that name one")
    page.line(f"{'  leads':36} {_share(of, 'leads')}")
    if level == "mechanism":
        page.line(f"{'  leads, or stands in its chain':36} {_share(of, 'right')}")
    page.line(f"{'  among the first three':36} {_share(of, 'among_three')}")
    if (few := of["detailed"])["n"]:
        page.line(f"{'  right, three records or more: ' + str(few['n']):36} {_share(few, 'right')}")
    page.line(f"{'  established, of these wrong':36} {of['established']}, {of['established_wrong']}")
    if (claims := of["claims"])["n"]:
        page.line(f"{'  said to be over 90 % sure: ' + str(claims['n']):36} {_share(claims, 'right')}")
    page.line(f"{'  log loss':36} {of['log_loss']:.3f}")
    if of["slope"] == of["slope"]:
        told = f"slope {of['slope']:.2f}, observed to expected {of['observed_to_expected']:.2f} (1 and 1 are perfect)"
        page.line(f"{'  calibration':36} {told}")


def _lists(page: Page, result: dict[str, Any]) -> None:
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

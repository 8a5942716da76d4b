"""The page of compare: two seals of one machine side by side."""

from __future__ import annotations

from typing import Any

from diagnose.reading.figures import percent, signed
from diagnose.views.page import Page
from diagnose.views.reasoning.common import STEP

Doc = dict[str, Any]


def compare(answer: Doc, page: Page) -> Page:
    first, second = (c["case"] for c in answer["cases"])
    page.say(first, lead="first:  ")
    page.say(second, lead="second: ")
    for pair in answer["pairs"]:
        if pair["positions"] != ["seal", "seal"]:
            page.heading(" against ".join(dict.fromkeys(f"{p} seal" if p != "seal" else p for p in pair["positions"])))
        f = pair["findings"]
        for key, title in (("both", "Found in both"), ("neither", "Looked for and in neither"),
                           ("only_first", "Found in the first, not recorded in the second"),
                           ("only_second", "Found in the second, not recorded in the first")):  # fmt: skip
            if f[key]:
                page.heading(title)
                page.say("; ".join(f[key]), indent=STEP)
        if f["differ"]:
            page.heading("Different")
            for d in f["differ"]:
                page.say(f"{d['finding']}: {d['states'][0]}, {d['states'][1]}", indent=STEP)
        _happened(pair, page)
        _common(pair, page)
    return page


def _happened(pair: Doc, page: Page) -> None:
    if pair["happened"]:
        page.heading("What happened, in the first and in the second")
        rows = []
        for r in pair["happened"]:
            sides = [f"{s}, {percent(p)}" for s, p in zip(r["standings"], r["probabilities"], strict=True)]
            rows.append((*sides, r["mechanism"]))
        page.table(rows, [18, 18, 0])


def _common(pair: Doc, page: Page) -> None:
    page.heading("Does one cause explain both?")
    a, b = pair["leading"]
    page.say(f"first {a['cause']} ({a['standing']}, {percent(a['probability'])}), second {b['cause']} ({b['standing']}, {percent(b['probability'])})",
             indent=STEP, lead="each by itself: ", hang=4)  # fmt: skip
    if not pair["common_causes"]:
        page.say("No cause is open for both.", indent=STEP)
        return
    top = pair["common_causes"][0]
    if pair["same_cause_explains_both"]:
        page.say(
            f"Yes: {top['cause']} explains both, {signed(pair['common_better_by'])} dB better than two causes that fell together by chance.",
            indent=STEP,
        )
    else:
        page.say(
            f"Not on this record: the best common cause, {top['cause']}, stands {signed(pair['common_better_by'])} dB against the two that lead.",
            indent=STEP,
        )
    rows: list[tuple[str, ...]] = [("both", "first", "second", "one cause, in dB against none")]
    rows += [
        (signed(r["common"]), signed(r["weights"][0]), signed(r["weights"][1]), r["cause"])
        for r in pair["common_causes"]
    ]
    page.table(rows, [7, 6, 6, 0])

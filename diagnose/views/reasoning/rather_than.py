"""The page of why one cause or mechanism rather than another."""

from __future__ import annotations

from typing import Any

from diagnose.reading.figures import percent, signed
from diagnose.views.page import Page
from diagnose.views.reasoning.common import STEP, at_seal, state

MOST_GROUPS, MOST_OPEN = 10, 5
Doc = dict[str, Any]


def contrast(answer: Doc, page: Page) -> Page:
    this, other = answer["name"], answer["rather_than"]
    page.title(f"{this} rather than {other}{at_seal(answer['position'])}")
    for name, standing, p in (
        (this, answer["standing"], answer["probability"]), (other, answer["other_standing"], answer["other_probability"]),
    ):  # fmt: skip
        page.ends(f"  {name}", standing + (f", {percent(p)}" if standing != "ruled out" else ""))
    t = answer["together"]
    if t and not answer["ruled_out"]:
        page.say(f"both {percent(t['both'])}, {this} without {other} {percent(t['this'])}, {other} without {this} {percent(t['other'])}",
                 indent=STEP, lead="at work: ", hang=4)  # fmt: skip
    for name, reasons in sorted(answer["ruled_out"].items()):
        page.say("; ".join(reasons), indent=STEP, lead=f"{name} is ruled out: ", hang=4)
    _groups(answer, page)
    for text in answer["told_apart_by"]:
        page.say(text, indent=STEP, lead="told apart by: ", hang=4)
    if answer["would_part_them"]:
        page.heading("What would part them")
        for r in answer["would_part_them"][:MOST_OPEN]:
            how = f", by {r['measurements'][0]}" if r["measurements"] else ""
            page.say(f"{r['finding']}{how}: there {signed(r['if_present'])} dB, not there {signed(r['if_absent'])} dB",
                     indent=STEP, lead="- ")  # fmt: skip
    else:
        page.say("Nothing that is still open would part them.", indent=STEP)
    return page


def _groups(answer: Doc, page: Page) -> None:
    page.heading("What the marks of each mechanism are worth for either, in dB")
    page.say("Marks of different mechanisms overlap in what they tell, so these do not add up.", indent=STEP)
    rows: list[tuple[str, ...]] = [("apart", "this", "other", "by")]
    shown = [r for r in answer["rows"] if r["what"] == "prior" or abs(r["difference"]) >= 0.05]
    for r in shown[:MOST_GROUPS]:
        marks = "; ".join(state(m) for m in r["marks"][:4]) + ("; ..." if len(r["marks"]) > 4 else "")
        title = {"prior": "how common each is", "": "direct signs and the rest"}.get(r["what"], f"marks of {r['what']}")
        rows.append(
            (signed(r["difference"]), signed(r["this"]), signed(r["other"]), title + (f": {marks}" if marks else ""))
        )
    page.table(rows, [6, 6, 6, 0])

"""The pages of the reasoning commands: why, why-not, what-if, fragile, verify, compare."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from diagnose.reading.figures import percent, signed
from diagnose.views.next_steps import listed
from diagnose.views.page import Page

Doc = dict[str, Any]
_HOLDS = {True: "+", False: "x", None: "?"}
_STEP = 2


def odds(ratio: float) -> str:
    """Odds as people say them."""
    if ratio >= 1:
        return f"{_figure(ratio)} to 1"
    return f"1 to {_figure(1 / ratio)}"


def _figure(x: float) -> str:
    if x >= 1e6:
        return f"10^{math.floor(math.log10(x))}"
    return f"{x:,.0f}" if x >= 10 else f"{x:.2g}"


def option(change: Doc) -> str:
    return f'--{change["kind"]} "{change["text"]}"'


# ---- why -------------------------------------------------------------------------------------------------------------


def why(answer: Doc, case: str, page: Page) -> Page:
    if "finding" in answer:
        _finding_head(answer, page)
        if answer["state"] == "unrecorded":
            page.say(f'Nothing on record decides it: diagnose why-not {case} "{answer["finding"]}"', indent=_STEP)
        _proof(answer, page, _STEP, case)
        weighs = [r for r in answer["speaks_for"] if r["counts"]]
        if weighs:
            page.heading("What it weighs")
            page.table([(signed(r["weight"]), r["cause"]) for r in weighs[:8]], [6, 0])
        return page
    return _why_cause(answer, case, page)


def _finding_head(answer: Doc, page: Page) -> None:
    where = "" if answer["position"] == "seal" else f", {answer['position']} seal"
    page.ends(f"{answer['finding']}{where}", answer["state"], bold=True)
    page.say(answer["says"], indent=_STEP)


def _why_cause(answer: Doc, case: str, page: Page) -> Page:
    where = "" if answer["position"] == "seal" else f", {answer['position']} seal"
    ruled_out = answer["standing"] == "ruled out"
    chance = "" if ruled_out else f", {percent(answer['probability'])}"
    page.ends(f"{answer['cause']}{where}", f"{answer['standing']}{chance}", bold=True)
    page.say(answer["means"], indent=_STEP)
    page.say(_card(answer), indent=_STEP)
    for rule in answer["ruled_out_by"]:
        page.heading(f"Ruled out: {rule['because']}")
        _rule(rule, page, _STEP, case)
    page.heading("Ledger, in dB of odds")
    prior = answer["prior"]
    changed = "" if prior["common"] == prior["base_common"] else f" (else {prior['base_common']})"
    _entry(page, prior["weight"], f"prior: {prior['common']} among failed seals{changed}")
    for rule in prior["because"]:
        _rule(rule, page, 8 + _STEP, case)
    for e in answer["evidence"]:
        trial = ", on trial" if e["trial"] else ""
        _entry(page, e["weight"], f"{_state(e)} [{e['seen']} with this cause, {e['otherwise']} otherwise{trial}]")
        page.say(f"row {e['row']}", indent=8 + _STEP)
        if e["state"] == "present":
            page.say(e["proof"]["says"], indent=8 + _STEP)
        _proof(e["proof"], page, 8 + _STEP, case)
    shown = [round(w, 1) for w in (prior["weight"], *(e["weight"] for e in answer["evidence"]))]
    rest = round(round(answer["alone"], 1) - sum(shown), 1)
    if rest:
        _entry(page, rest, "rounding of the figures above")
    page.line("  ------")
    _entry(page, answer["alone"], f"this cause alone against none of these: odds {odds(answer['odds'])}")
    for through in dict.fromkeys(e["through"] for e in answer["not_counted"]):
        same = [e for e in answer["not_counted"] if e["through"] == through]
        told = "; ".join(f"{_state(e)} ({signed(e['weight'])})" for e in same)
        page.say(f"{told}: one line of evidence with {through}", indent=_STEP, lead="not counted: ", hang=4)
    if answer["unrecorded"]:
        told = "; ".join(
            f"{e['finding']} ({signed(e['if_present'])} there, {signed(e['if_absent'])} not)"
            for e in answer["unrecorded"][:6]
        )
        more = f"; and {len(answer['unrecorded']) - 6} more" if len(answer["unrecorded"]) > 6 else ""
        page.say(told + more, indent=_STEP, lead="not known: ", hang=4)
    if not ruled_out:
        _shares(answer, page)
    return page


def _shares(answer: Doc, page: Page) -> None:
    page.heading("From the weights to the probability: shares of the sets of causes")
    rows = []
    for s in answer["sets"]:
        mark = "*" if answer["cause"] in s["causes"] else " "
        rows.append((mark, percent(s["share"], 1), " and ".join(s["causes"]) or "none of these"))
    others = "all other sets with this cause"
    rows.append(("*", percent(answer["in_other_sets"], 1), others))
    page.table(rows, [1, 11, 0])
    page.say(
        f"The sets marked * add up to {percent(answer['probability'], 1)}. "
        + f"This cause alone against none of these stands as in the ledger, {odds(answer['odds'])}.",
        indent=_STEP,
    )


def _card(answer: Doc) -> str:
    trial = "" if answer["status"] == "accepted" else f", {answer['status']}"
    return f"card {answer['card']}{trial}"


def _entry(page: Page, weight: float, text: str) -> None:
    page.say(text, lead=f"  {signed(weight):>6}  ", hang=10)


def _state(e: Doc) -> str:
    return e["finding"] if e["state"] != "absent" else f"{e['finding']}: looked for, not so"


def _proof(tree: Doc, page: Page, indent: int, case: str) -> None:
    """What is under a finding: a stub, or each rule with its premises."""
    if tree.get("supposed"):
        page.say("told, not deduced", indent=indent)
    elif "stub" in tree:
        page.say(_stub(tree, case), indent=indent)
    for number, rule in enumerate(tree.get("because", ())):
        if number:
            page.say("and also by", indent=indent)
        _rule(rule, page, indent, case)
    for rule in tree.get("denied_by", ()):
        page.say("against it, and outweighed by what was seen:", indent=indent)
        _rule(rule, page, indent + _STEP, case)


def _stub(tree: Doc, case: str) -> str:
    if tree["stub"] == "opened above":
        return f"{tree['finding']}: shown above"
    return f'deeper: diagnose why {case} "{tree["finding"]}"'


def _rule(rule: Doc, page: Page, indent: int, case: str) -> None:
    sources = f" [{', '.join(rule['sources'])}]" if rule["sources"] else ""
    page.say(f"rule {rule['rule_id']} {rule['at']}{sources}", indent=indent)
    for p in rule["premises"]:
        _premise(p, page, indent + _STEP, case)


def _premise(premise: Doc, page: Page, indent: int, case: str) -> None:
    records = [u for u in premise["on"] if "record" in u]
    others = [u for u in premise["on"] if "record" not in u]
    if len(records) == 1 and not others and not premise["compared"]:
        told = _record_text(records[0])
        says = told if records[0]["record"] == premise["says"] else f"{premise['says']}: {told}"
        page.say(says, indent=indent, lead="- ")
        _readings(records[0], page, indent + _STEP)
        return
    if len(others) == 1 and not records and others[0].get("finding") == premise["says"].partition(": ")[2]:
        says = f": {others[0]['says']}" if others[0]["state"] == "present" else ""
        page.say(_state(others[0]) + says, indent=indent, lead="- ")
        _proof(others[0], page, indent + _STEP, case)
        return
    page.say("; ".join(premise["compared"]) or premise["says"], indent=indent, lead="- ")
    for under in records:
        if premise["compared"] and under["kind"] == "quantity":
            page.say(_worked_out(under), indent=indent + _STEP)
        else:
            page.say(_record_text(under), indent=indent + _STEP)
        _readings(under, page, indent + _STEP)
    for under in others:
        if "through" in under:
            for p in under["premises"]:
                _premise(p, page, indent + _STEP, case)
        else:
            says = f": {under['says']}" if under["state"] == "present" else ""
            page.say(_state(under) + says, indent=indent + _STEP)
            _proof(under, page, indent + 2 * _STEP, case)


def _record_text(record: Doc) -> str:
    if record["kind"] == "quantity":
        return f"{record['record']}, {_worked_out(record)}"
    place = f"case line {record['case_line']}" if record["case_line"] else "supposed"
    photo = f", photo {record['photo']}" if record.get("photo") else ""
    with_ = f", {record['instrument']}" if record.get("instrument") else ""
    return f"{record['record']} ({place}{photo}{with_})"


def _worked_out(quantity: Doc) -> str:
    formula, source = quantity["formula"], quantity["source"]
    return formula if formula == source else f"worked out as {formula} [{source}]"


def _readings(record: Doc, page: Page, indent: int) -> None:
    """The readings behind a quantity, and behind those it was worked out from."""
    for reading in record.get("from", ()):
        page.say(_record_text(reading), indent=indent + _STEP)
        _readings(reading, page, indent + _STEP)


def contrast(answer: Doc, page: Page) -> Page:
    this, other = answer["cause"], answer["rather_than"]
    where = "" if answer["position"] == "seal" else f", {answer['position']} seal"
    page.title(f"{this} rather than {other}{where}")
    for name, standing, p in (
        (this, answer["standing"], answer["probability"]),
        (other, answer["other_standing"], answer["other_probability"]),
    ):
        page.ends(f"  {name}", standing + (f", {percent(p)}" if standing != "ruled out" else ""))
    t = answer["together"]
    if not answer["ruled_out"]:
        page.say(f"both {percent(t['both'])}, {this} without {other} {percent(t['this'])}, {other} without {this} {percent(t['other'])}",
                 indent=_STEP, lead="in the leading sets of causes: ", hang=4)  # fmt: skip
    for name, reasons in sorted(answer["ruled_out"].items()):
        page.say("; ".join(reasons), indent=_STEP, lead=f"{name} is ruled out: ", hang=4)
    page.heading("Difference of the two ledgers, in dB")
    rows: list[tuple[str, ...]] = [("apart", "this", "other", "by")]
    for r in answer["rows"]:
        text = "how common each is" if r["what"] == "prior" else _state({"finding": r["what"], "state": r["state"]})
        rows.append((signed(r["difference"]), signed(r["this"]), signed(r["other"]), text))
    page.table(rows, [6, 6, 6, 0])
    page.line("  ------")
    _entry(page, answer["difference"], f"each alone against the other: odds {odds(answer['odds'])}")
    for text in answer["told_apart_by"]:
        page.say(text, indent=_STEP, lead="told apart by: ", hang=4)
    if answer["would_part_them"]:
        page.heading("What would part them")
        for r in answer["would_part_them"][:5]:
            how = f", by {r['measurements'][0]}" if r["measurements"] else ""
            page.say(f"{r['finding']}{how}: there {signed(r['if_present'])} dB, not there {signed(r['if_absent'])} dB",
                     indent=_STEP, lead="- ")  # fmt: skip
    else:
        page.say("Nothing that is still open would part them.", indent=_STEP)
    return page


# ---- why not ---------------------------------------------------------------------------------------------------------


def why_not(answer: Doc, case: str, page: Page) -> Page:
    if "finding" in answer:
        _finding_head(answer, page)
        if answer["state"] == "present":
            page.say(f'It is concluded: diagnose why {case} "{answer["finding"]}"', indent=_STEP)
            return page
        for rule in answer["said_absent_by"]:
            page.heading("A rule says that it is not so")
            _trial(rule, page, _STEP)
        page.heading("The nearest rules that would say it  (+ holds, x does not, ? not known)")
        for rule in answer["tried"]:
            _trial(rule, page, _STEP)
        if answer["would_be_so"]:
            page.heading("It would be so with")
            _command(answer["would_be_so"], case, page)
        elif answer["tried"]:
            page.heading("No change of this record was found that makes it so; it asks for")
            for p in answer["tried"][0]["premises"]:
                if not p["holds"]:
                    page.say(p["says"], indent=_STEP, lead="- ")
        return page
    return _why_not_cause(answer, case, page)


def _why_not_cause(answer: Doc, case: str, page: Page) -> Page:
    where = "" if answer["position"] == "seal" else f", {answer['position']} seal"
    chance = "" if answer["standing"] == "ruled out" else f", {percent(answer['probability'])}"
    page.ends(f"{answer['cause']}{where}", answer["standing"] + chance, bold=True)
    instead = answer["instead"]
    if answer["cause"] in instead["causes"]:
        page.say(f'It is part of the leading explanation: diagnose why {case} "{answer["cause"]}"', indent=_STEP)
    else:
        page.say(_set(instead), indent=_STEP, lead="leads in its place: ", hang=4)
    page.say(f"{answer['common']} ({signed(answer['prior'])} dB); with what is on record {signed(answer['alone'])} dB alone against none of these",
             indent=_STEP, lead="how common: ", hang=4)  # fmt: skip
    for kind, title in (("ruled out", "What rules it out"), ("counts against it", "What counts against it"),
                        ("not on record", "What would speak for it and is not on record")):  # fmt: skip
        reasons = [r for r in answer["reasons"] if r["kind"] == kind]
        if reasons:
            page.heading(title + ("  (+ holds, x does not, ? not known)" if kind != "ruled out" else ""))
        for r in reasons[:6]:
            _reason(r, page)
        if len(reasons) > 6:
            page.say(f"and {len(reasons) - 6} more that would weigh less", indent=_STEP)
    if answer["enough"]:
        then = answer["then"]
        page.heading(f"Enough together: it would be {then['standing']}, {percent(then['probability'])}, with")
        _command(answer["enough"], case, page)
    return page


def _reason(r: Doc, page: Page) -> None:
    if r["kind"] == "ruled out":
        page.say(r["what"], indent=_STEP)
    else:
        name = _state({"finding": r["what"], "state": r["state"]})
        would = f"{'it' if r['wanted'] == 'present' else 'its absence'} would weigh {signed(r['would_weigh'])}"
        weighs = f"{signed(r['weight'])} dB; {would}" if r["state"] != "unrecorded" else f"{would} dB"
        page.say(f"{name}: {weighs}", indent=_STEP)
    for rule in r["rules"]:
        _trial(rule, page, 2 * _STEP)
    if r["then"]:
        changes = " ".join(option(c) for c in r["changes"])
        page.say(
            f"{r['then']['standing']}, {percent(r['then']['probability'])}, with {changes}",
            indent=2 * _STEP,
            lead="then: ",
        )


def _trial(rule: Doc, page: Page, indent: int) -> None:
    page.say(f"rule {rule['rule_id']} {rule['at']}", indent=indent)
    for p in rule["premises"]:
        on = "; ".join(_told(u) for u in p["on"])
        lack = f" (not known: {p['lack']})" if "lack" in p else ""
        page.say(p["says"] + (f": {on}" if on else "") + lack, indent=indent + _STEP, lead=f"{_HOLDS[p['holds']]} ")
        for deeper in p.get("because", ()):
            _trial(deeper, page, indent + 2 * _STEP)
    if not rule["on_one_part"]:
        page.say("not on one and the same part", indent=indent + _STEP, lead="x ")


def _told(under: Doc) -> str:
    if "finding" in under:
        return f"{under['finding']} is {under['state']}"
    place = f" (case line {under['case_line']})" if under.get("case_line") else ""
    return f"{under['record']}{place}"


def _command(changes: Sequence[Doc], case: str, page: Page) -> None:
    """The command that shows it, one option a line, so that it can be copied."""
    lines = [f"  diagnose what-if {case}", *(f"      {option(c)}" for c in changes)]
    for line in lines[:-1]:
        page.line(line + " \\")
    page.line(lines[-1])


# ---- what if, fragile ------------------------------------------------------------------------------------------------


def what_if(answer: Doc, page: Page) -> Page:
    page.title(f"{answer['case']}, supposing")
    for c in answer["changes"]:
        page.say(f"{c['kind']}: {c['text']}", indent=_STEP)
    several = len(answer["explanation"]) > 1
    page.heading("Leading explanation")
    for x in answer["explanation"]:
        where = f"{x['position']} seal: " if several else ""
        page.say(f"{where}{_set(x['before'])}", indent=_STEP, lead="before: ")
        page.say(f"{where}{_set(x['after'])}", indent=_STEP, lead="after:  ")
    page.heading("Ranking, before and after")
    rows: list[tuple[str, ...]] = []
    for i in range(max(len(answer["before"]), len(answer["after"]))):
        rows.append(
            (
                str(i + 1),
                *(_ranked(side[i], several) if i < len(side) else "" for side in (answer["before"], answer["after"])),
            )
        )
    half = max(20, (page.width - 8) // 2)
    page.table(rows, [2, half, 0])
    if answer["causes"]:
        page.heading("Causes that moved")
    for r in answer["causes"][:8]:
        where = f" [{r['position']}]" if several else ""
        page.say(
            f"{r['cause']}{where}: {r['standing'][0]}, {percent(r['probability'][0])} > {r['standing'][1]}, {percent(r['probability'][1])}",
            indent=_STEP,
            hang=4,
        )
    if answer["findings"]:
        page.heading("Findings that changed, and through which rules")
    for r in answer["findings"]:
        where = f" [{r['position']}]" if several else ""
        through = (
            f" ({'; '.join(r['through'])})" if r["through"] else " (told)" if r["state"][1] != "unrecorded" else ""
        )
        page.say(f"{r['finding']}{where}: {r['state'][0]} > {r['state'][1]}{through}", indent=_STEP, hang=4)
    if answer["weights"]:
        page.heading("Weights that changed for what leads, in dB")
        page.table(
            [
                (f"{signed(r['weight'][0])} > {signed(r['weight'][1])}", f"{r['finding']} for {r['cause']}")
                for r in answer["weights"][:8]
            ],
            [15, 0],
        )
    if not (answer["causes"] or answer["findings"]):
        page.say("Nothing changes: no rule says more or less with it.", indent=_STEP)
    return page


def _set(s: Doc) -> str:
    """A set of causes, each with its own probability, then the share of the set: of just these together."""
    if not s["causes"]:
        return f"none of these causes ({percent(s['share'])})"
    each = listed([f"{c} ({percent(p)})" for c, p in zip(s["causes"], s["probabilities"], strict=True)])
    return f"{each}; {'these' if len(s['causes']) > 1 else 'alone'}, with no other cause: {percent(s['share'])}"


def _ranked(row: Doc, several: bool) -> str:
    where = f" [{row['position']}]" if several else ""
    chance = "" if row["standing"] == "ruled out" else f", {percent(row['probability'])}"
    return f"{row['cause']}{where}: {row['standing']}{chance}"


def fragile(answer: Doc, page: Page) -> Page:
    page.title(f"{answer['case']}: what the answer hangs on")
    several = len(answer["positions"]) > 1
    for x in answer["positions"]:
        if several:
            page.heading(f"{x['position']} seal")
        page.say(_answer_text(x["now"]), indent=_STEP, lead="now: ")
        page.heading("One change that changes it")
        _changes_list(x["single"], x["now"], page)
        page.heading("Two changes that change it, where neither does alone")
        _changes_list(x["pairs"], x["now"], page)
        page.say(
            "Pairs are tried among the records that carry most, and those that stand in for each other.", indent=_STEP
        )
        page.heading("What each record carries: dB that the leading cause's odds lose without it")
        rows = [
            (signed(c["weight"]), f"{c['record']} (case line {c['case_line']})")
            for c in x["carries"]
            if abs(c["weight"]) >= 0.05
        ]
        page.table(rows[:12] or [("", "no single record moves it")], [6, 0])
    return page


def _answer_text(answer: Doc) -> str:
    told = [f"{c} ({s})" for c, s in zip(answer["causes"], answer["standings"], strict=True)]
    return " and ".join(told) or "none of these"


def _changes_list(rows: Sequence[Doc], now: Doc, page: Page, most: int = 12) -> None:
    if not rows:
        page.say("none", indent=_STEP)
    for r in rows[:most]:
        told = "; and ".join(
            f"{c['record']} (case line {c['case_line']}) {c['kind'] if c['kind'] == 'left out' else 'the other way round'}"
            for c in r["changes"]
        )
        page.say(f"{told}: {_moved(now, r['then'])}", indent=_STEP, lead="- ")
    if len(rows) > most:
        page.say(f"and {len(rows) - most} more; --json has them all", indent=_STEP)


def _moved(now: Doc, then: Doc) -> str:
    """What a change takes out of the answer, brings into it, and moves in it."""
    was, is_ = (dict(zip(x["causes"], x["standings"], strict=True)) for x in (now, then))
    gone = [c for c in was if c not in is_]
    told = [f"no longer {c}" for c in gone]
    comes = "in its place {}, {}" if gone else "{} joins, {}" if was else "{} leads, {}"
    told += [comes.format(c, s) for c, s in is_.items() if c not in was]
    told += [
        f"{c} only {s}" if _RANKS.index(s) > _RANKS.index(was[c]) else f"{c} {s}"
        for c, s in is_.items()
        if was.get(c, s) != s
    ]
    return "; ".join(told) if is_ else "none of these causes leads"


_RANKS = ("established", "probable", "possible", "unlikely", "ruled out")


# ---- verify, compare -------------------------------------------------------------------------------------------------


def verify(answer: Doc, page: Page) -> Page:
    if answer["exact"]:
        page.say(f"{answer['trail']}: reproduces exactly.")
    else:
        page.say(f"{answer['trail']}: differs.")
        for d in answer["differs"][:40]:
            page.say(d["says"], indent=_STEP, lead=f"{d['what']}: ", hang=4)
        if len(answer["differs"]) > 40:
            page.say(f"and {len(answer['differs']) - 40} more; --json has them all", indent=_STEP)
    page.line(page.dim(f"case {answer['case_digest'][:12]}, rule base {answer['knowledge_digest'][:12]}"))
    return page


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
                page.say("; ".join(f[key]), indent=_STEP)
        if f["differ"]:
            page.heading("Different")
            for d in f["differ"]:
                page.say(f"{d['finding']}: {d['states'][0]}, {d['states'][1]}", indent=_STEP)
        _common(pair, page)
    return page


def _common(pair: Doc, page: Page) -> None:
    page.heading("Does one cause explain both?")
    a, b = pair["leading"]
    page.say(f"first {a['cause']} ({a['standing']}, {percent(a['probability'])}), second {b['cause']} ({b['standing']}, {percent(b['probability'])})",
             indent=_STEP, lead="each by itself: ", hang=4)  # fmt: skip
    if not pair["common_causes"]:
        page.say("No cause is open for both.", indent=_STEP)
        return
    top = pair["common_causes"][0]
    if pair["same_cause_explains_both"]:
        page.say(
            f"Yes: {top['cause']} explains both, {signed(pair['common_better_by'])} dB better than two causes that fell together by chance.",
            indent=_STEP,
        )
    else:
        page.say(
            f"Not on this record: the best common cause, {top['cause']}, stands {signed(pair['common_better_by'])} dB against the two that lead.",
            indent=_STEP,
        )
    rows: list[tuple[str, ...]] = [("both", "first", "second", "one cause, in dB against none")]
    rows += [
        (signed(r["common"]), signed(r["weights"][0]), signed(r["weights"][1]), r["cause"])
        for r in pair["common_causes"]
    ]
    page.table(rows, [7, 6, 6, 0])

"""The pages of why: of a finding, of a cause or mechanism, and of the worked sum."""

from __future__ import annotations

from typing import Any

from diagnose.judgement.weights import LIGHT
from diagnose.reading.figures import count, listed, percent, signed
from diagnose.views.page import Page
from diagnose.views.reasoning.common import STEP, at_seal, entry, finding_head, head, odds, path, state
from diagnose.views.reasoning.proofs import fired, proof

MOST_NAMED = 4
OVERLAP = "Marks of different mechanisms overlap in what they tell, so the groups do not add up to the whole."
Doc = dict[str, Any]


def why(answer: Doc, case: str, page: Page, cards: bool = False) -> Page:
    page = _why_finding(answer, case, page) if "finding" in answer else _why_judged(answer, case, page)
    return custody(answer["custody"], cards, page) if "custody" in answer else page


def custody(told: Doc, cards: bool, page: Page) -> Page:
    """What the explanation stands on; with `cards` the text of every card it uses."""
    for name, text in told["cards"].items() if cards else ():
        page.heading(name)
        for line in text.splitlines():
            page.say(line, indent=STEP + len(line) - len(line.lstrip()), hang=2 * STEP + len(line) - len(line.lstrip()))
    page.heading("What this stands on")
    page.say(told["journal"]["says"], indent=STEP)
    for photo in told["photos"]:
        state = (
            "" if photo["now"] == photo["recorded"] else ", no longer the one on record" if photo["now"] else ", gone"
        )
        page.say(f"photo {photo['photo']}, sha256 {photo['recorded'] or 'not on record'}{state}", indent=STEP)
    rules, tool = told["knowledge"], told["tool"]
    revision = f", git revision {rules['revision'][:12]}{rules['revision'][40:]}" if rules["revision"] else ""
    page.line(f"  rule base {rules['version']}, sha256 {rules['digest'][:16]}{revision}")
    page.line(f"  diagnose {tool['version']}, Python {tool['python']}; case file, sha256 {told['case_digest'][:16]}")
    if not cards:
        page.say(f"{count(len(told['cards']), 'card')} used: --cards prints them, --json has their text", indent=STEP)
    return page


def _why_finding(answer: Doc, case: str, page: Page) -> Page:
    finding_head(answer, page)
    if answer["state"] == "unrecorded":
        page.say(f'Nothing on record decides it: diagnose why-not {case} "{answer["finding"]}"', indent=STEP)
    if answer["counts_in"]:
        page.say(f"It counts in {answer['counts_in']}, which rests on the same record.", indent=STEP)
    proof(answer, page, STEP, case)
    if answer["left_by"]:
        page.heading("What leaves it, and what it weighs alone, in dB")
        rows = [
            (signed(r["weight"]) if answer["state"] != "unrecorded" else f"{signed(r['if_present'])} there",
             f"{r['name']} ({r['kind']}) leaves it {r['seen']}")
            for r in answer["left_by"][:8]
        ]  # fmt: skip
        page.table(rows, [12 if answer["state"] == "unrecorded" else 6, 0])
    return page


def _why_judged(answer: Doc, case: str, page: Page) -> Page:
    head(answer, page)
    page.say(answer["means"], indent=STEP)
    trial = "" if answer["status"] == "accepted" else f", {answer['status']}"
    page.say(f"card {answer['card']}{trial}", indent=STEP)
    if answer["told_at"] != answer["position"]:
        page.say(f"One verdict for the machine; it is that of the {answer['told_at']} seal.", indent=STEP)
    for rule in answer["ruled_out_by"]:
        page.heading(f"Ruled out: {rule['because']}")
        fired(rule, page, STEP, case)
    _above(answer, page)
    if answer["standing"] != "ruled out":
        _chain(answer["chain"], page)
    _ledger(answer, case, page)
    return page


def _above(answer: Doc, page: Page) -> None:
    """What could have brought a mechanism about."""
    if answer["kind"] != "mechanism":
        return
    page.heading("What could have brought it about")
    rows = [(percent(r["probability"]), f"{r['name']} ({r['kind']}, {r['standing']}) brings it about {r['seen']}")
            for r in answer["above"][:6]]  # fmt: skip
    page.table(rows or [("", "nothing in this rule base")], [11, 0])
    page.say(f"{answer['otherwise']}; no cause of this rule base is the reason: {percent(answer['unexplained'])}",
             indent=STEP, lead="by itself: ", hang=4)  # fmt: skip


def _chain(chain: Doc, page: Page) -> None:
    if len(chain["links"]) < 2:
        return
    page.heading("Chain, as far as the record carries it")
    page.say(path(chain["main"]), indent=STEP, hang=4)
    for branch in chain["branches"]:
        page.say(path(branch), indent=STEP, lead="beside it: ", hang=4)
    for link in chain["links"]:
        names = [m["finding"] for m in link["shown"]]
        more = [f"{len(names) - MOST_NAMED} more"] if len(names) > MOST_NAMED else []
        shown = listed([*names[:MOST_NAMED], *more])
        if not link["parent"] and not shown:
            continue
        chance = f" ({percent(link['chance'])} if {chain['start']} is there)" if link["parent"] else ""
        would = listed([m["finding"] for m in link["open"][:2]])
        told = f"shown by {shown}" if shown else "nothing on record shows it" + (f"; would: {would}" if would else "")
        page.say(f"{link['name']}{chance}: {told}", indent=STEP, lead="- ")
        if link["missing"]:
            missing = listed([m["finding"] for m in link["missing"][:MOST_NAMED]])
            page.say(missing, indent=2 * STEP, lead="expected and not found: ", hang=6)


def _ledger(answer: Doc, case: str, page: Page) -> None:
    page.heading("Ledger, in dB of odds")
    if answer["kind"] == "cause":
        prior = answer["prior"]
        changed = "" if prior["common"] == prior["base_common"] else f" (else {prior['base_common']})"
        entry(page, prior["weight"], f"prior: {prior['common']} among failed seals{changed}")
        for rule in prior["because"]:
            fired(rule, page, 8 + STEP, case)
        if answer["alone"] is not None:
            entry(
                page,
                answer["alone"] - prior["weight"],
                "the record as a whole, this cause alone against none of the causes",
            )
            page.line("  ------")
            entry(page, answer["alone"], f"odds {odds(10 ** (answer['alone'] / 10))}, before other causes come in")
    elif answer["standing"] != "ruled out":
        page.say(f"before anything is seen {percent(answer['before'], 1)}, with the record {percent(answer['probability'], 1)}: "
                 f"moved by {signed(answer['weight'])} dB", indent=STEP)  # fmt: skip
    heavy = [g for g in answer["groups"] if abs(g["weight"]) >= LIGHT]
    out = answer["standing"] == "ruled out"
    page.heading(
        "What the marks would be worth, were it not ruled out" if out else "Of this, the marks of each mechanism"
    )
    page.say(OVERLAP, indent=STEP)
    for group in heavy:
        _group(answer, group, case, page)
    light = [m for g in answer["groups"] if abs(g["weight"]) < LIGHT for m in g["marks"]]
    if light:
        page.say(
            f"{count(len(light), 'mark')} under {LIGHT:g} dB as a group: {_named([m['finding'] for m in light])}",
            indent=STEP,
            hang=4,
        )
    for through in dict.fromkeys(e["through"] for e in answer["not_counted"]):
        same = [state(e) for e in answer["not_counted"] if e["through"] == through]
        page.say(f"{_named(same)}: on the same record as {through}", indent=STEP, lead="not counted: ", hang=4)
    open_ = [m for link in answer["chain"]["links"] for m in link["open"]]
    if open_:
        page.say(_named(list(dict.fromkeys(m["finding"] for m in open_))), indent=STEP, lead="not known: ", hang=4)
    if not out:
        page.say(f'diagnose why {case} "{answer["name"]}" --sum', indent=STEP, lead="how the probability is made: ")


def _named(names: list[str], most: int = 6) -> str:
    return "; ".join(names[:most]) + (f"; and {len(names) - most} more" if len(names) > most else "")


def _group(answer: Doc, group: Doc, case: str, page: Page) -> None:
    several = len(group["marks"]) > 1
    if not group["mechanism"]:
        title = "direct signs, and what no mechanism on record accounts for"
    else:
        title = f"marks of {group['mechanism']}"
    how = f" ({group['together']})" if group["together"] else ""
    entry(page, group["weight"], f"{title}{how}" + (", together" if several and not how else ""))
    telling = [m for m in group["marks"] if abs(m["weight"]) >= 0.05]
    for m in telling:
        trial = ", on trial" if m["trial"] else ""
        left = f"{m['seen']} with it, " if m["seen"] else ""
        found = (
            m["finding"]
            if m["state"] == "present"
            else f"{m['finding']}: not found"
            + (", though expected" if group["mechanism"] and m["weight"] <= -1 else "")
        )
        entry(page, m["weight"], f"{found} [{left}{m['otherwise']} otherwise{trial}]", 10)
        if m["row"]:
            page.say(f"row {m['row']}", indent=18 + STEP)
        if m["state"] == "present":
            page.say(m["proof"]["says"], indent=18 + STEP)
        proof(m["proof"], page, 18 + STEP, case)
    silent = [state(m) for m in group["marks"] if m not in telling]
    if silent:
        page.say(f"{_named(silent)}: nothing by {'itself' if len(silent) == 1 else 'themselves'}", indent=18)


# ---- the worked sum --------------------------------------------------------------------------------------------------


def worked_sum(answer: Doc, page: Page) -> Page:
    page.ends(
        f"{answer['name']}{at_seal(answer['position'])}: how the probability is made",
        percent(answer["probability"], 1),
        bold=True,
    )
    if answer["kind"] == "cause":
        _of_a_cause(answer, page)
    else:
        _of_a_mechanism(answer, page)
    _table_of_sets(answer, page)
    if answer["none_odds"] != 1:
        page.say(f"Odds of none of the causes are {_figure(answer['none_odds'])}, and not 1, so that before anything is seen a cause that is "
                 f"not in this list has a chance of {answer['none_of_these']:g}.", indent=STEP)  # fmt: skip
    rest = answer["other_sets"]
    mine = f", of which {percent(rest['part'], 2)} with {answer['name']}" if rest["part"] >= 5e-5 else ""
    page.say(f"All other sets together: {percent(max(rest['share'], 0), 2)}{mine}.", indent=STEP)
    shown = " + ".join(_figure(r["part"]) for r in answer["rows"] if r["part"] >= 5e-4)
    page.heading("Added up")
    page.say(
        f"{shown or '0'} + {_figure(max(rest['part'], 0.0))} (other sets) = {_figure(answer['summed'])}",
        indent=STEP,
        hang=4,
    )
    if e := answer["wrong_record"]:
        page.say(
            f"The record may be of another seal (parts or papers exchanged): chance {e:g}, and then nothing is known that was "
            f"not before. {1 - e:g} x {_figure(answer['summed'])} + {e:g} x {_figure(answer['prior'])} = {_figure(answer['probability'])}",
            indent=STEP,
            hang=4,
        )
    return page


def _of_a_cause(answer: Doc, page: Page) -> None:
    p, e = answer["prior"], answer["exponent"]
    alone, none = answer["record_under_this_alone"], answer["record_under_none"]
    page.heading("This cause alone against none of the causes")
    page.say(
        f"before anything is seen: {_figure(p)}, so odds of {_figure(p)}/(1 - {_figure(p)}) = {_figure(answer['prior_odds'])}",
        indent=STEP,
        lead="1. ",
    )
    raised = f" (each raised to {e:g}, since marks are not quite independent)" if e != 1 else ""
    page.say(f"chance of just this record, every mechanism summed over{raised}: under {answer['name']} alone {alone:.3e}, "
             f"under none of the causes {none:.3e}; ratio {_figure(alone / none)}", indent=STEP, lead="2. ")  # fmt: skip
    page.say(
        f"odds alone: {_figure(answer['prior_odds'])} x {_figure(alone / none)} = {_figure(answer['prior_odds'] * alone / none)}",
        indent=STEP,
        lead="3. ",
    )


def _of_a_mechanism(answer: Doc, page: Page) -> None:
    page.heading("Under each set of causes, then over all of them")
    page.say(f"before anything is seen {percent(answer['prior'], 1)}. With the record, its chance under each set of causes "
             "(every mechanism summed over) times the share of the set, added up.", indent=STEP)  # fmt: skip


def _table_of_sets(answer: Doc, page: Page) -> None:
    page.heading("Every set of causes against none of them")
    page.say(f"weight = prior odds x how much likelier the record is than under none; share = weight / {_figure(answer['total_weight'])}, "
             "which is the sum of all weights.", indent=STEP)  # fmt: skip
    chance = answer["kind"] == "mechanism"
    rows: list[tuple[str, ...]] = [("prior odds", "record", "weight", "share", *(["chance"] if chance else []), "set")]
    for r in answer["rows"]:
        mark = "* " if not chance and r["chance"] else ""
        rows.append((
            _figure(r["prior_odds"]), _figure(r["likelihood_ratio"]), _figure(r["weight"]), _figure(r["share"]),
            *([_figure(r["chance"])] if chance else []), mark + (" and ".join(r["causes"]) or "none of the causes"),
        ))  # fmt: skip
    page.table(rows, [10, 9, 9, 9, *([9] if chance else []), 0])
    if not chance:
        page.say(f"* with {answer['name']}", indent=STEP)


def _figure(x: float) -> str:
    return f"{x:.4g}"

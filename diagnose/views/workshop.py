"""Results of the workshop for rule authors as pages for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.reading.figures import count, percent, signed
from diagnose.views.page import Page

Data = dict[str, Any]


def tests(result: Data, page: Page) -> Page:
    for row in result["failures"]:
        page.line(page.bold(f"FAILED {row['rule']}: {row['test']}"))
        page.line(page.dim(f"  {row['where']}"))
        for f in row["failures"]:
            page.say(f["expected"], indent=2, lead="expected  ")
            page.say(f["found"], indent=2, lead="found     ")
            for reason in f["because"]:
                page.say(reason, indent=6, hang=8)
        page.line()
    failed = f", {result['failed']} failed" if result["failed"] else ""
    page.line(page.bold(f"{count(result['tests'], 'test')} of {count(result['rules'], 'rule')}{failed}"))
    return page


def coverage(result: Data, page: Page, most: int = 60) -> Page:
    missing = [(r, c) for r in result["by_rule"] for c in r["conditions"] if not (c["true"] and c["false"])]
    for rule, c in missing[:most]:
        never = " and ".join(k for k in ("true", "false") if not c[k])
        page.say(f"{rule['rule']}, {rule['part']}: {c['condition']} was never {never}", hang=4)
        page.line(page.dim(f"    {c['where']}"))
    if len(missing) > most:
        page.line(f"and {len(missing) - most} more")
    page.line(page.bold(f"{result['covered']} of {result['ways']} ways of {result['conditions']} conditions "
                        f"({result['percent']} %); {result['rules_fully_covered']} of {result['rules']} rules in full"))  # fmt: skip
    return page


def mutation(result: Data, page: Page, most: int = 60) -> Page:
    for m in result["survivors"][:most]:
        page.say(f"{m['rule']}, {m['part']}: {m['old']} -> {m['new']}", hang=4)
        page.line(page.dim(f"    {m['where']}"))
    if len(result["survivors"]) > most:
        page.line(f"and {len(result['survivors']) - most} more")
    page.table([(part, str(n["mutants"]), str(n["survived"])) for part, n in
                {"changed": {"mutants": "tried", "survived": "survived"}, **result["parts"]}.items()], [14, 8, 8])  # fmt: skip
    page.line(page.bold(f"{result['survived']} of {result['mutants']} changes survived ({result['share']:.1%})"))
    return page


def impact(result: Data, page: Page, most: int = 40) -> Page:
    how = ("new", "changed", "wording", "retired", "gone")
    counts = ", ".join(f"{n} {h}" for h in how if (n := sum(r["how"] == h for r in result["rules"])))
    page.line(page.bold(f"rules {result['old']['version']} -> {result['new']['version']}: {counts or 'no difference'}"))
    changed = result["changed"]
    page.line(
        f"{count(result['cases'], 'case')}: {result['same']} same, "
        + ", ".join(f"{n} {kind}" for kind, n in changed.items())
    )
    for c in result["changes"][:most]:
        page.line()
        page.ends(f"{c['kind'].upper():<12}{c['case']}", c["right"])
        page.say(f"{c['old']} -> {c['new']}", indent=4)
        for line in c["through"]:
            page.say(line, indent=6, hang=8)
    if len(result["changes"]) > most:
        page.line(f"and {len(result['changes']) - most} more")
    if result["changelog"]:
        page.heading(
            f"For the changelog ({result['old']['version']} -> {result['proposed_version']}, by effect: {result['effect']})"
        )
        for line in result["changelog"]:
            page.say(line, hang=4)
    return page


MARKS = {"true": "+", "false": "-", "unknown": "?"}


def match(result: Sequence[Data], page: Page) -> Page:
    for block in result:
        verdict = "holds" if block["holds"] else "does not hold"
        place = "" if block["position"] == "seal" else f" at the {block['position']} seal"
        page.heading(f"{block['rule']}: {block['concludes']}{place} {verdict}")
        for row in block["conditions"]:
            page.say(row["says"], indent=2 + 2 * row["depth"], lead=f"{MARKS[row['truth']]} {row['truth']}: ")
            for record in row["on"]:
                page.say(record, indent=8 + 2 * row["depth"], lead="on record: ")
            if "lack" in row:
                page.say(row["lack"], indent=8 + 2 * row["depth"], lead="not known: ")
    page.line()
    page.line(page.dim("+ true   - known false   ? not on record"))
    return page


def listing(result: Sequence[Data], page: Page) -> Page:
    kind = ""
    for row in result:
        if row["kind"] != kind:
            kind = row["kind"]
            page.heading(kind)
        mark = f" [{row['status']}]" if row["status"] not in ("accepted", "") else ""
        page.say(row["says"], indent=2, lead=f"{row['id']} {row['name']}{mark}: ".lstrip(), hang=8)
    page.line()
    page.line(page.dim(count(len(result), "card")))
    return page


def matrix(result: Data, page: Page) -> Page:
    """Row by row the columns that it has a word for."""
    level = ""
    for row in result["rows"]:
        if row["level"] != level:
            level = row["level"]
            page.heading({"finding": "Findings, and what leaves them"}.get(level, f"What each {level} brings about"))
        own = f" ({row['otherwise']} by itself)" if row["otherwise"] else ""
        said = "; ".join(f"{c} {word}" for c, word in sorted(row["cells"].items()))
        if said:
            page.say(said, indent=2, lead=f"{row['name']}{own}: ", hang=6)
    page.line()
    words = sum(len(row["cells"]) for row in result["rows"])
    page.line(page.dim(f"{count(words, 'word')} in {count(len(result['columns']), 'column')}"))
    return page


def card(d: Data, page: Page) -> Page:
    """One card in plain words, with what it uses and who uses it."""
    page.ends(f"{d['kind']}: {d['name']}", f"{d.get('id', '')} {d.get('status', '')}".strip(), bold=True)
    page.say(d["says"], indent=2)
    made = {"finding": _finding, "cause": _explained, "mechanism": _explained, "measurement": _measurement}
    (made | {"caution": _caution, "limit": _limit})[d["kind"]](d, page)
    if d.get("retired_here"):
        page.say(", ".join(d["retired_here"]), indent=2, lead="in place of: ")
    if d["tests"]:
        page.heading("Tests")
        for name in d["tests"]:
            page.say(name, indent=2, hang=4)
    if d.get("sources"):
        page.heading("Sources")
        for s in d["sources"]:
            page.say(
                ", ".join(x for x in (s["title"], s["year"], s["section"], s["kind"], s["seen"]) if x), indent=2, hang=4
            )
    page.line()
    since = f"since {d['since']}, reviewed {d['reviewed']}, " if "since" in d else ""
    page.line(page.dim(f"{since}{d['where']}"))
    return page


def _tree(title: str, lines: Sequence[Data], page: Page) -> None:
    if lines:
        page.heading(title)
        for row in lines:
            page.say(row["says"], indent=2 + 2 * row["depth"], hang=4 + 2 * row["depth"])


def _named(title: str, names: Sequence[str], page: Page) -> None:
    if names:
        page.say(", ".join(names), indent=2, lead=f"{title}: ", hang=4)


def _finding(d: Data, page: Page) -> None:
    _tree("Present when", d["when"], page)
    _tree("Absent when", d["absent_when"], page)
    page.heading("What it says")
    page.say(f"seen {d['otherwise']['word']} ({d['otherwise']['p']:g}) whatever happened", indent=2)
    error = d["known_by"]
    page.say(
        f"known by {error['word']}: missed {percent(error['missed'])}, taken for there {percent(error['mistaken'], 1)}",
        indent=2,
    )
    if d["question"]["name"]:
        page.say(f"answers {d['question']['name']}, beside {', '.join(d['question']['answers'])}", indent=2, hang=4)
    for head, rows in (("left by", d["left_by"]), ("direct sign of", d["sign_of"]), ("answer of", d["answer_of"])):
        _weighed(head, "name", rows, page)
    _named("used by findings", d["used_by_findings"], page)
    _named("used by cautions", d["used_by_cautions"], page)
    _named("parts", [" from ".join(p) for p in d["parts"]], page)
    _named("decided by", d["measured_by"], page)
    for family, names in d["uses"].items():
        _named(f"uses {family}", names, page)


def _weighed(head: str, key: str, rows: Sequence[Data], page: Page) -> None:
    """Rows with their words and what each finding weighs alone."""
    cells = [
        (
            r[key] + (" (on trial)" if r.get("status") == "trial" else ""),
            r["seen"],
            *(f"{signed(r[k])} dB" for k in _SAYS),
        )
        for r in rows
    ]
    if cells:
        page.table([(head, "seen", "present", "absent"), *cells], [0, 16, 10, 10])


_SAYS = ("if_present", "if_absent")


def _explained(d: Data, page: Page) -> None:
    if d["kind"] == "cause":
        page.say(f"{d['common']['word']} ({d['common']['p']:g})", indent=2, lead="how common: ")
        for p in d["common_when"]:
            page.say(f"{p['word']} where {p['when']}", indent=4)
    else:
        page.say(f"{d['otherwise']['word']} ({d['otherwise']['p']:g})", indent=2, lead="by itself: ")
    for n in d["needs"]:
        page.say(f"{n['condition']}: {n['because']}", indent=2, lead="needs: ")
    _linked("Brought about by", "name", d.get("brought_about_by", ()), page)
    _linked("What it brings about", "mechanism", d["brings_about"], page)
    if d["leaves"]:
        page.heading("Its direct signs" if d["kind"] == "cause" else "What it leaves")
        _weighed("finding", "finding", d["leaves"], page)
    for question, answers in d.get("answers", {}).items():
        page.heading(question[:1].upper() + question[1:])
        for answer, seen in answers.items():
            page.say(f"{answer}: {seen}", indent=2)
    if d["look_alikes"]:
        page.heading("Look-alikes")
    for x in d["look_alikes"]:
        page.say(f"{x['by']} ({x['finding']} speaks for {x['favours']})", indent=2, lead=f"{x['name']}: ", hang=4)
    if d["then"]:
        page.heading("What to change" if d["kind"] == "cause" else "What to repair")
    for a in d["then"]:
        care = f" Take care: {', '.join(a['cautions'])}." if a["cautions"] else ""
        worked = f" Worked if: {a['worked_if']}" if a["worked_if"] else ""
        page.say(f"{a['do']} ({a['field']}){care}{worked}", indent=2, hang=4)
    if d["confirm"] or d["cautions"]:
        page.line()
    _named("confirm by", d["confirm"], page)
    _named("cautions", d["cautions"], page)


def _linked(head: str, key: str, links: Sequence[Data], page: Page) -> None:
    if links:
        page.heading(head)
        page.table(
            [(f"{x[key]}{' (root cause)' if x.get('kind') == 'cause' else ''}", x["seen"]) for x in links], [0, 16]
        )


def _measurement(d: Data, page: Page) -> None:
    _named("decides", d["tells"], page)
    for title, key in (("part", "part"), ("instrument", "instrument"), ("where", "at"), ("readings", "readings"), ("no limit", "no_limit"),
                       ("last stage", "stage"), ("brings about", "spoils")):  # fmt: skip
        if d[key]:
            page.say(d[key], indent=2, lead=f"{title}: ")
    if d["limit"]:
        _limit(d["limit"], page)
    page.say(f"{d['minutes']:g} minutes{', destructive' if d['destructive'] else ''}", indent=2)
    _named("destroys", d["destroys"], page)
    _named("confirms", d["confirms"], page)
    _named("cautions", d["cautions"], page)


def _caution(d: Data, page: Page) -> None:
    page.say(d["defer"], indent=2)
    _tree("Raised when", d["when"], page)
    if d["always"]:
        page.say("always stands", indent=2)
    _named("named by", d["named_by"], page)
    _named("measurements", d["measurements"], page)


def _limit(d: Data, page: Page) -> None:
    for v in d["values"]:
        source = ", ".join(x for x in (v["source"]["title"], v["source"]["year"], v["source"]["section"]) if x)
        page.say(
            f"{d['quantity']} {d['sense']} {v['value']}{' ' + v['note'] if v['note'] else ''} ({source})",
            indent=2,
            hang=4,
        )
    _named("used by", [*d["findings"], *d["measurements"]], page)

"""The rule base as a handbook: linked HTML pages that open offline, print, and are searched from their first page."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from diagnose.advice.cautions import ABOVE_ALL
from diagnose.knowledge.files import file_stem
from diagnose.reading.figures import percent
from diagnose.views.drawings import markup
from diagnose.views.handbook_style import SCRIPT, STYLE
from diagnose.views.handbook_tables import bars, weights_table

Data = dict[str, Any]
PLURAL = {
    "cause": "Root causes",
    "mechanism": "Mechanisms",
    "finding": "Findings",
    "feature": "Marks and signs",
    "measurement": "Measurements",
    "caution": "Cautions",
    "limit": "Limits",
}
MOST_STEPS, MOST_ABOVE = 6, 5
"""So many links of a chain are shown at most."""


def pages(
    documents: Sequence[Data],
    words: Mapping[str, Mapping[str, float]],
    version: str,
    digest: str,
    steps: Sequence[Data] = (),
) -> dict[str, str]:
    """File names to HTML. `documents` are cards and marks as plain data; `words` the numbers behind the words; `steps` the
    order of dismantling."""
    book = _Book(documents, version, digest, steps)
    made = {"index.html": book.index(words)}
    for n, step in enumerate(steps):
        made[lesson_name(step["stage"])] = book.lesson(n, step)
    for d in documents:
        made[page_name(d["kind"], d["name"])] = book.card(d)
    return made


def page_name(kind: str, name: str) -> str:
    return f"{kind}-{file_stem(name)}.html"


def lesson_name(stage: str) -> str:
    return f"lesson-{file_stem(stage)}.html"


def t(text: object) -> str:
    """Anything from the rule base is text, never markup."""
    return markup.text(str(text))


class _Book:
    def __init__(self, documents: Sequence[Data], version: str, digest: str, steps: Sequence[Data]):
        self.documents, self.version, self.digest, self.steps = documents, version, digest, steps
        self.known = {(d["kind"], d["name"]): d for d in documents}

    def link(self, kind: str, name: str, text: str = "") -> str:
        if (kind, name) not in self.known:
            return t(text or name)
        return f'<a href="{t(page_name(kind, name))}">{t(text or name)}</a>'

    def links(self, kind: str, names: Sequence[str]) -> str:
        return ", ".join(self.link(kind, n) for n in names)

    def page(self, title: str, body: str, script: str = "") -> str:
        policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action file: 'self'"
        policy += "; script-src 'unsafe-inline'" if script else ""
        search = "" if script else (
            '<form class="search" action="index.html"><input type="search" name="q" placeholder="Search" aria-label="Search">'
            "<button>Search</button></form>")  # fmt: skip
        return (
            '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
            f'<meta http-equiv="Content-Security-Policy" content="{t(policy)}">'
            '<meta name="viewport" content="width=device-width, initial-scale=1">'
            f"<title>{t(title)}</title><style>{STYLE}</style></head><body>"
            f'<nav><a href="index.html">Handbook of seal failures</a>{search}</nav><main>{body}</main>'
            f"<footer>Rule base {t(self.version)}, {t(self.digest[:12])}. Local rules and licensed practice go before this book."
            f"</footer>{script}</body></html>\n"
        )

    # ---- the first page -----------------------------------------------------------------------------------

    def index(self, words: Mapping[str, Mapping[str, float]]) -> str:
        body = ["<h1>Handbook of seal failures</h1>"]
        body.append(
            '<div class="search"><input type="search" id="q" placeholder="Search marks, mechanisms, causes, measurements" '
            'aria-label="Search" autofocus></div><div id="hits" role="status"></div>'
        )
        body += [self._care(), '<div id="contents">', self._words(words), self._dismantling()]
        body.append(self._grouped("cause", lambda d: d["family"] or "other"))
        body.append(self._grouped("mechanism", lambda d: d["family"] or "other"))
        body.append(self._grouped("finding", lambda d: d["name"][:1].upper()))
        body.append(self._grouped("feature", lambda d: d["lost"] if d["lost"] != "never" else "stays"))
        body.append(self._grouped("measurement", lambda d: d["stage"] or "any time"))
        body.append(self._grouped("limit", lambda d: d["quantity"]))
        body.append(self._grouped("caution", lambda d: "always" if d["always"] else "raised by a rule"))
        body.append("</div>")
        entries = [
            {"n": d["name"], "k": d["kind"], "u": page_name(d["kind"], d["name"]), "t": _plain_text(d)}
            for d in self.documents
        ]
        data = markup.plain(json.dumps(entries, ensure_ascii=False, separators=(",", ":"))).replace("<", "\\u003c")
        return self.page("Handbook of seal failures", "".join(body), f"<script>const ENTRIES={data};{SCRIPT}</script>")

    def _care(self) -> str:
        always = [d for d in self.documents if d["kind"] == "caution" and d["always"]]
        return self._take_care("".join(f"<li>{t(d['says'])} {t(d['defer'])}</li>" for d in always))

    def _grouped(self, kind: str, group: Any) -> str:
        groups: dict[str, list[Data]] = {}
        for d in (d for d in self.documents if d["kind"] == kind):
            groups.setdefault(group(d), []).append(d)
        total = sum(map(len, groups.values()))
        if not total:
            return ""
        parts = [f'<section><h2 id="{kind}">{PLURAL[kind]} <small>{total}</small></h2><div class="columns">']
        for name in sorted(groups):
            rows = "".join(
                f"<li>{self.link(kind, d['name'])}{_mark(d)}</li>"
                for d in sorted(groups[name], key=lambda d: d["name"].lower())
            )
            parts.append(f"<div class=group><h3>{t(name)}</h3><ul>{rows}</ul></div>")
        return "".join(parts) + "</div></section>"

    def _words(self, words: Mapping[str, Mapping[str, float]]) -> str:
        titles = {
            "seen": "How often one thing is there with another",
            "common": "How common a root cause is before anything is seen",
        }
        made = [
            "<section><h2>The numbers behind the words</h2><p>Weights are in decibans (dB): ten times the decimal logarithm of how "
            "much likelier it is to record a finding with a cause or mechanism than without, were it the only record. Ten dB make "
            "the odds ten times as large. Weights of marks that one mechanism leaves do not add up.</p>"
        ]
        made.append("<div class=beside>")
        for key, title in titles.items():
            rows = "".join(f"<tr><td>{t(w)}</td><td class=n>{p:g}</td></tr>" for w, p in words[key].items())
            made.append(f"<table><caption>{t(title)}</caption>{rows}</table>")
        return "".join(made) + "</div></section>"

    # ---- a card -------------------------------------------------------------------------------------------

    def card(self, d: Data) -> str:
        made = {
            "finding": self.finding,
            "feature": self.feature,
            "cause": self.explained,
            "mechanism": self.explained,
            "measurement": self.measurement,
            "caution": self.caution,
            "limit": self.limit,
        }
        status = f" <small>{t(d['status'])}</small>" if d.get("status") not in (None, "accepted") else ""
        head = f'<p class="kind"><a href="index.html#{d["kind"]}">{t(PLURAL[d["kind"]])}</a></p><h1>{t(d["name"])}{status}</h1>'
        body = head + made[d["kind"]](d) + self._tests(d) + self._sources(d.get("sources", []))
        if d.get("id"):
            retired = f" In place of: {t(', '.join(d['retired_here']))}." if d["retired_here"] else ""
            body += f'<p class="made">{t(d["id"])}, {t(d["status"])}, since {t(d["since"])}, reviewed {t(d["reviewed"])}.{retired}</p>'
        return self.page(d["name"], body)

    def finding(self, d: Data) -> str:
        body = [f'<p class="lead">{t(_without_slots(d["says"]))}</p>']
        body += [self._tree("Present when", d["when"]), self._tree("Absent when", d["absent_when"])]
        body.append(self._list("How to decide it", self.links("measurement", d["measured_by"])))
        error = d["known_by"]
        said = f"Seen {t(d['otherwise']['word'])} whatever happened; missed in {error['missed']:.0%} of looks, taken for there in {percent(error['mistaken'], 1)}."
        body.append(f"<section><h2>What it says</h2><p>{said}</p></section>")
        body.append(self._weighed("Left by", "mechanism", d["left_by"]))
        body.append(self._weighed("Direct sign of", "cause", d["sign_of"]))
        body.append(self._weighed("Answer of", "cause", d["answer_of"]))
        if d["question"]["name"]:
            others = [f for f in d["question"]["answers"] if f != d["name"]]
            body.append(self._list(f"Other answers: {t(d['question']['name'])}", self.links("finding", others)))
        body.append(self._list("Leads on to", self.links("finding", d["used_by_findings"])))
        body.append(self._list("Rests on", self.links("finding", d["uses"]["findings"])))
        body.append(
            self._list("Tells apart", "; ".join(f"{self.either(a)} from {self.either(b)}" for a, b in d["parts"]))
        )
        body.append(self._list("Limits", self.links("limit", d["uses"]["limits"])))
        body.append(self._list("Cautions", self.links("caution", d["used_by_cautions"])))
        return "".join(body)

    def feature(self, d: Data) -> str:
        body = [f'<p class="lead">{t(d["says"])}</p>']
        body.append(
            f"<figure>{d['svg']}</figure>" if d["svg"] else f"<p><small>No sketch: {t(d['not_drawn'])}</small></p>"
        )
        until = "It stays on the part." if d["lost"] == "never" else f"Record it {t(d['lost'])}: it is lost after that."
        facts = {"Also called": ", ".join(d["also"]), "On": ", ".join(d["on"]), "How to see it": d["how"]}
        rows = "".join(f"<dt>{name}</dt><dd>{t(value)}</dd>" for name, value in facts.items() if value)
        if any(s["stage"] == d["lost"] for s in self.steps):
            until += f' <a href="{t(lesson_name(d["lost"]))}">What else goes with that step</a>'
        body.append(f"<dl class=facts>{rows}<dt>Until when</dt><dd>{until}</dd></dl>")
        body.append(self._list("Easily taken for", self.links("feature", d["alike"])))
        body.append(self._list("Not together with", self.links("feature", d["excludes"])))
        items = "".join(
            f"<dt>{self.either(x['one'])} from {self.either(x['other'])}</dt><dd>{t(x['by'])}</dd>" for x in d["parts"]
        )
        body.append(f"<section><h2>What it helps to tell apart</h2><dl>{items}</dl></section>" if items else "")
        body.append(self._list("Findings that rest on it", self.links("finding", d["findings"])))
        return "".join(body)

    def _dismantling(self) -> str:
        items = "".join(
            f'<li><a href="{t(lesson_name(s["stage"]))}">{t(s["name"])}</a> <small>{t(s["stage"])}</small><br>{t(s["ends"])}</li>'
            for s in self.steps
        )
        return (
            f"<section><h2 id=lessons>Order of dismantling: a lesson a step</h2><ol>{items}</ol></section>"
            if items
            else ""
        )

    def lesson(self, number: int, s: Data) -> str:
        """One step of dismantling: what to do, what goes with it, and each mark that is to be seen before."""
        before, after = self.steps[number - 1 : number], self.steps[number + 1 : number + 2]
        ways = [
            f'<a href="{t(lesson_name(x["stage"]))}">{word}: {t(x["name"])}</a>'
            for word, some in (("Before", before), ("Next", after))
            for x in some
        ]
        body = [
            f'<p class="kind"><a href="index.html#lessons">Order of dismantling</a>, step {number + 1} of {len(self.steps)}</p>',
            f"<h1>{t(s['name'])}</h1>",
            f'<p class="lead">{t(s["do"])}</p><p><b>What ends it:</b> {t(s["ends"])}</p>',
        ]
        by_part: dict[str, list[str]] = {}
        for x in s["looks"]:
            looked = self.links("feature", x["features"])
            measured = f" <small>Measure: {t(', '.join(x['readings']))}</small>" if x["readings"] else ""
            by_part.setdefault(x["on"], []).append(f"{looked}{measured} {t(x['how'])}".strip())
        rows = "".join(f"<dt>{t(on)}</dt><dd>{'<br>'.join(some)}</dd>" for on, some in by_part.items())
        body.append(f"<section><h2>What to look for</h2><dl class=facts>{rows}</dl></section>" if rows else "")
        body.append(self._list("Measurements at this step", self.links("measurement", s["measurements"])))
        lost = [self.known[("feature", n)] for n in s["lost"] if ("feature", n) in self.known]
        shown = "".join(
            f"<figure>{_smaller(d['svg'])}<figcaption>{self.link('feature', d['name'])}</figcaption></figure>"
            for d in lost
            if d["svg"]
        )
        body.append(
            f'<section><h2>Gone after this step</h2><div class="gallery">{shown}</div></section>' if shown else ""
        )
        body.append(f"<p class=ways>{' · '.join(ways)}</p>")
        return self.page(s["name"], "".join(body))

    def either(self, name: str) -> str:
        """A link to a cause or mechanism."""
        return self.link("cause" if ("cause", name) in self.known else "mechanism", name)

    def _weighed(self, title: str, kind: str, rows: Sequence[Data]) -> str:
        """Findings or cards with their words and what the one weighs for the other alone."""
        key = "finding" if kind == "finding" else "name"
        most = max((abs(r[k]) for r in rows for k in ("if_present", "if_absent")), default=0.0) or 1.0
        cells = "".join(
            f"<tr><th>{self.link(kind, r[key])}{' <small>on trial</small>' if r.get('status') == 'trial' else ''}</th>"
            f'<td data-head="Seen">{t(r["seen"])}</td>{bars(r, most)}</tr>'
            for r in rows
        )
        scale = f"<p><small>The longest bar is {most:.1f} dB; 10 dB make the odds ten times as large, 3 dB twice.</small></p>"
        return (
            f"<section><h2>{t(title)}</h2>{weights_table(cells, kind.capitalize())}{scale}</section>" if cells else ""
        )

    def _linked(self, title: str, links: Sequence[Data]) -> str:
        items = "".join(
            f"<li>{self.link(x.get('kind', 'mechanism'), x.get('name') or x['mechanism'])} <small>{t(x['seen'])}</small></li>"
            for x in links
        )
        return f"<section><h2>{t(title)}</h2><ul>{items}</ul></section>" if items else ""

    def explained(self, d: Data) -> str:
        """A root cause or a mechanism."""
        root = d["kind"] == "cause"
        body = [f'<p class="lead">{t(d["says"])}</p>', self._chains(d)]
        if root:
            common = f"<p>{t(d['common']['word'].capitalize())} among failed seals before anything is seen"
            body.append(common + "".join(f"; {t(p['word'])} where {t(p['when'])}" for p in d["common_when"]) + ".</p>")
        if d["needs"]:
            by_reason: dict[str, list[str]] = {}
            for n in d["needs"]:
                by_reason.setdefault(n["because"], []).append(n["condition"])
            items = "".join(f"<li>{t('; '.join(x))} <small>{t(why)}</small></li>" for why, x in by_reason.items())
            body.append(f"<section><h2>It needs</h2><ul>{items}</ul></section>")
        body.append(self._linked("Brought about by", d.get("brought_about_by", ())))
        body.append(self._linked("What it brings about", d["brings_about"]))
        body.append(self._weighed("Its direct signs" if root else "What it leaves", "finding", d["leaves"]))
        for question, answers in d.get("answers", {}).items():
            items = "".join(f"<li>{self.link('finding', f)} <small>{t(w)}</small></li>" for f, w in answers.items())
            body.append(f"<section><h2>{t(question.capitalize())}</h2><ul>{items}</ul></section>")
        if d["look_alikes"]:
            items = "".join(
                f"<dt>{self.link(d['kind'], x['name'])}</dt><dd>{t(x['by'])} <small>{self.link('finding', x['finding'])} speaks "
                f"for {self.link(d['kind'], x['favours'])}.</small></dd>"
                for x in d["look_alikes"]
            )
            body.append(f"<section><h2>Easily taken for</h2><dl>{items}</dl></section>")
        body.append(self._list("Confirm by", self.links("measurement", d["confirm"])))
        if d["then"]:
            items = "".join(
                f"<li>{t(a['do'])} <small>{t(a['field'])}</small>"
                + (f"<br>Take care: {self.links('caution', a['cautions'])}" if a["cautions"] else "")
                + (f"<br><i>Worked if: {t(a['worked_if'])}</i>" if a["worked_if"] else "")
                + "</li>"
                for a in d["then"]
            )
            body.append(f"<section><h2>{'What to change' if root else 'What to repair'}</h2><ul>{items}</ul></section>")
        body.append(self._cautions(d["cautions"]))
        if d["class"]["name"]:
            source = f" ({t(d['class']['from'])})" if d["class"]["from"] else ""
            body.append(f"<p><small>ISO 14224 class: {t(d['class']['name'])}{source}</small></p>")
        return "".join(body)

    def _chains(self, d: Data) -> str:
        """What brings a card about, the card, and the likeliest way down from it, drawn as boxes in a row."""
        steps: list[str] = []
        at = d
        while at["brings_about"] and len(steps) < MOST_STEPS:
            name = at["brings_about"][0]["mechanism"]
            steps.append(name)
            at = self.known.get(("mechanism", name), {"brings_about": []})
        above = [self.either(x["name"]) for x in d.get("brought_about_by", ())[:MOST_ABOVE]]
        first = f"<li class=above>{'<br>'.join(above)}</li>" if above else ""
        items = "".join(f"<li>{self.link('mechanism', name)}</li>" for name in steps)
        return f"<ol class=chain>{first}<li class=here>{t(d['name'])}</li>{items}</ol>" if items or first else ""

    def measurement(self, d: Data) -> str:
        body = [f'<p class="lead">{t(d["says"])}</p>', self._cautions(d["cautions"]), "<dl class=facts>"]
        facts = {"Part in hand": d["part"], "Instrument": d["instrument"], "Where": d["at"], "Readings": d["readings"],
                 "Minutes": f"{d['minutes']:g}", "Last stage": d["stage"], "Brings about the stage": d["spoils"],
                 "Destroys": ", ".join(d["destroys"]) + (" (destructive)" if d["destructive"] else ""), "No limit": d["no_limit"]}  # fmt: skip
        body += [f"<dt>{name}</dt><dd>{t(value)}</dd>" for name, value in facts.items() if value]
        body.append("</dl>")
        if d["limit"]:
            body.append(
                f"<section><h2>Limit: {self.link('limit', d['limit']['name'])}</h2>{_limit_table(d['limit'])}</section>"
            )
        body.append(self._list("Decides", self.links("finding", d["tells"])))
        body.append(self._list("Confirms", ", ".join(map(self.either, d["confirms"]))))
        return "".join(body)

    def caution(self, d: Data) -> str:
        when = "<p>Always stands.</p>" if d["always"] else self._tree("Raised when", d["when"])
        body = f'<section class="care"><p>{t(d["says"])}</p><p>{t(d["defer"])}</p></section>{when}'
        return (
            body
            + self._list("Named by", ", ".join(map(self.either, d["named_by"])))
            + self._list("Measurements", self.links("measurement", d["measurements"]))
        )

    def limit(self, d: Data) -> str:
        body = f'<p class="lead">{t(d["says"])}</p>{_limit_table(d)}'
        return (
            body
            + self._list("Findings", self.links("finding", d["findings"]))
            + self._list("Measurements", self.links("measurement", d["measurements"]))
        )

    # ---- parts of a card ----------------------------------------------------------------------------------

    def _tree(self, title: str, lines: Sequence[Data]) -> str:
        if not lines:
            return ""
        rows = []
        for line in lines:
            says = t(line["says"])
            if "found" in line["form"] and ("finding", line["term"]) in self.known:
                says = says.replace(t(line["term"]), self.link("finding", line["term"]), 1)
            rows.append(f'<li class="d{min(line["depth"], 4)}">{says}</li>')
        return f"<section><h2>{t(title)}</h2><ul class=tree>{''.join(rows)}</ul></section>"

    def _list(self, title: str, markup: str) -> str:
        return f"<section><h2>{t(title)}</h2><p>{markup}</p></section>" if markup else ""

    def _cautions(self, names: Sequence[str]) -> str:
        found = [self.known[("caution", n)] for n in names if ("caution", n) in self.known]
        items = "".join(f"<li>{self.link('caution', d['name'])}: {t(d['says'])} {t(d['defer'])}</li>" for d in found)
        return self._take_care(items)

    def _take_care(self, items: str) -> str:
        care = f'<section class="care"><h2>Take care</h2><p>{t(ABOVE_ALL)}</p><ul>{items}</ul></section>'
        return care if items else ""

    def _tests(self, d: Data) -> str:
        if not d["tests"]:
            return ""
        items = "".join(f"<li>{t(name)}</li>" for name in d["tests"])
        return (
            f"<details><summary>{len(d['tests'])} tests hold this card to its word</summary><ul>{items}</ul></details>"
        )

    def _sources(self, sources: Sequence[Data]) -> str:
        rows = "".join(f"<li>{_source(s)}</li>" for s in sources)
        return f"<section><h2>Sources</h2><ul>{rows}</ul></section>" if rows else ""


def _smaller(svg: str) -> str:
    """A drawing at half its size."""
    return svg.replace('width="320" height="240"', 'width="160" height="120"', 1)


def _source(s: Data) -> str:
    return (
        t(", ".join(x for x in (s["title"], s["year"], s["section"]) if x))
        + f" <small>{t(', '.join(x for x in (s['kind'], s['seen']) if x))}</small>"
    )


def _limit_table(d: Data) -> str:
    rows = "".join(
        f"<tr><td>{t(d['sense'])} <b>{t(v['value'])}</b></td><td>{t(v['note'])}</td><td>{_source(v['source'])}</td></tr>"
        for v in d["values"]
    )
    return f"<table><tr><th>{t(d['quantity'])}</th><th>Where</th><th>Source</th></tr>{rows}</table>"


def _mark(d: Data) -> str:
    return f" <small>{t(d['status'])}</small>" if d.get("status") not in (None, "accepted") else ""


def _without_slots(text: str) -> str:
    for slot, said in (("{part}", "the part"), ("{parts}", "the parts"), ("{position}", "its position"), ("{extent}", "its extent"),
                       ("{quantity}", "the number")):  # fmt: skip
        text = text.replace(slot, said)
    return text


def _plain_text(d: Data) -> str:
    """What a search looks through: the sentence and the terms of a card, in lower case."""
    bits = [
        d["says"],
        *(line["says"] for key in ("when", "absent_when") for line in d.get(key) or () if isinstance(line, dict)),
    ]
    bits += (
        [x["mechanism"] for x in d.get("brings_about", [])]
        + [r["finding"] for r in d.get("leaves", [])]
        + d.get("tells", [])
        + [d.get("part", ""), d.get("family", "")]
    )
    return _without_slots(" ".join(bits)).lower()

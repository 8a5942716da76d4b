"""The vocabulary as a list."""

from __future__ import annotations

import re
from typing import Any

from diagnose.knowledge.model import Knowledge
from diagnose.phrases.read import read
from diagnose.reading.terms import did_you_mean, plain
from diagnose.views.page import Page


def rows(knowledge: Knowledge, word: str = "") -> list[dict[str, Any]]:
    """Terms of every family, or those in which a word begins with `word`."""
    v = knowledge.vocabulary
    table: list[dict[str, Any]] = []

    def add(
        family: str, name: str, means: str, also: tuple[str, ...] = (), on: tuple[str, ...] = (), unit: str = ""
    ) -> None:
        table.append({"family": family, "term": name, "means": means, "also": list(also), "on": list(on), "unit": unit})

    for kind in v.kinds.values():
        add("part", kind.name, kind.means, kind.also)
    for form in v.forms.values():
        add("form", form.name, form.means, form.also, form.on)
    for feature in (f for f in v.features.values() if not f.form):
        add("feature", feature.name, feature.means, feature.also, feature.on)
    for point in v.grammar.points.values():
        add("point", point.name, point.means, point.also)
    for variable in v.grammar.variables.values():
        add("variable", variable.name, variable.means, variable.also, unit=variable.unit or "")
        for value in variable.words.values():
            add("value", f"{variable.name}: {value.name}", value.means, value.also)
    for act in v.grammar.acts.values():
        add("act", act.name, act.means, act.also, act.to)
    for name, table_of in (*v.grammar.qualifiers.items(), ("when", v.grammar.moments)):
        for value in table_of.values():
            add("qualifier", f"{name}: {value.name}", value.means, value.also)
    for called, words in (("custody", v.grammar.custody), ("confirmed by", v.grammar.confirmed)):
        for way in words.values():
            add(called, way.name, way.means, way.also)
    for reading in v.readings.values():
        add("reading", reading.name, reading.means, reading.also, reading.on or (f"{reading.section}:",), reading.unit)
    for setting in v.settings.values():
        for term, also in setting.terms.items():
            add("setting", f"{setting.name}: {term}", setting.means, also, (f"{setting.section}:",))
    for quantity in v.quantities.values():
        add("quantity", quantity.name, quantity.means, (), quantity.on, quantity.unit)
    if not word:
        return table
    begins = re.compile(rf"(?<!\w){re.escape(plain(word))}")
    return [r for r in table if any(begins.search(plain(t)) for t in (r["term"], *r["also"]))]


def spoken(knowledge: Knowledge, phrase: str) -> list[dict[str, Any]]:
    """The terms of what a phrase may be read as, best first."""
    said = [s.term for reading in read(phrase, knowledge.vocabulary) for s in reading.statements]
    table = {row["term"]: row for row in reversed(rows(knowledge))}
    return [table[term] for term in dict.fromkeys(said) if term in table]


def way_out(knowledge: Knowledge, word: str) -> str:
    """The terms that look like a word which begins none."""
    return (
        did_you_mean(word, {t for r in rows(knowledge) for t in (r["term"], *r["also"])})
        or "diagnose terms lists them all"
    )


def page(found: list[dict[str, Any]], page: Page) -> Page:
    family = ""
    for row in found:
        if row["family"] != family:
            family = row["family"]
            page.heading(family)
        unit = f" [{row['unit']}]" if row["unit"] else ""
        page.say(row["means"], indent=2, lead=f"{row['term']}{unit}: ", hang=6)
        if row["also"]:
            page.say(", ".join(row["also"]), indent=6, lead="also: ")
        if row["on"] and family != "part":
            section = all(x.endswith(":") for x in row["on"])
            page.say(
                ", ".join(x.rstrip(":") for x in row["on"]), indent=6, lead="in the case under: " if section else "on: "
            )
    return page

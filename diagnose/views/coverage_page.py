"""The coverage of a rule base as an HTML page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from diagnose.views.drawings import markup


def page(result: Mapping[str, Any]) -> str:
    """The document of `Coverage` as one page that opens offline."""
    rows = []
    for r in result["by_rule"]:
        full = r["covered"] == r["ways"]
        rows.append(
            f"<details{'' if full else ' open'}><summary><b>{markup.text(r['rule'])}</b> {markup.text(r['part'])}: "
            f"{r['covered']} of {r['ways']} <small>{markup.text(r['where'])}</small></summary><table>"
        )
        for c in r["conditions"]:
            marks = "".join(
                f'<td class="{"yes" if c[k] else "no"}">{k if c[k] else "never " + k}</td>' for k in ("true", "false")
            )
            rows.append(f"<tr><td>{markup.text(c['condition'])}</td>{marks}</tr>")
        rows.append("</table></details>")
    head = (f"{result['covered']} of {result['ways']} ways ({result['percent']} %); "
            f"{result['rules_fully_covered']} of {result['rules']} rules in full")  # fmt: skip
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Coverage of the rule base</title><style>'
        "body{font:15px/1.5 sans-serif;max-width:60em;margin:2em auto;padding:0 1em}td{padding:.1em .8em .1em 0}"
        "details{border-top:1px solid #ccc;padding:.3em 0}.yes{color:#555}.no{font-weight:bold;text-decoration:underline}"
        f"</style><h1>Coverage of the rule base</h1><p>{head}</p>{''.join(rows)}</html>\n"
    )

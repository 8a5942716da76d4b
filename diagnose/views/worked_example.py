"""How a probability is made: one page with one worked sum, from a record to its posterior, by the words and cards of a rule base.

Taken is the simplest record there is: one mark that one root cause alone leaves as its direct sign. Then every other cause is
as likely as before, and the sum over all sets of at most three causes, which the tool makes, can be made with a pocket
calculator by power sums: e2 = (S1² - S2)/2, e3 = (S1³ - 3 S1 S2 + 2 S3)/6 (Newton's identities).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.network import Network, build
from diagnose.knowledge.model import Cause, Finding
from diagnose.reading.problems import BadInput, Problem, Problems, Where


@dataclass(frozen=True)
class Example:
    """The case of one record, the finding it raises, the only cause that leaves that, and what the tool makes of it."""

    case: str
    finding: Finding
    cause: Cause
    on: str
    probability: float
    net: Network


def example(base: RuleBase) -> Example:
    """The one in which the record says most of its cause. Raises BadInput where a rule base has none."""
    net = build(base.knowledge)
    found = [x for finding in net.findings if (x := _tried(base, net, finding))]
    if not found or net.exponent != 1 or not net.none_of_these:
        says = "no finding of this rule base hangs on one root cause alone, so no sum can be made by hand"
        raise BadInput(
            [Problem(Where(base.knowledge.folder, 0, 0), "no-example", says, "diagnose why CASE NAME --sum")]
        )
    return max(found, key=lambda x: (x.probability, x.cause.name))


def _tried(base: RuleBase, net: Network, name: str) -> Example | None:
    k, causes = base.knowledge, np.flatnonzero(net.speakers[net.row[name]]) - len(net.mechanisms)
    card, when = k.findings[name], k.findings[name].when
    if len(causes) != 1 or causes[0] < 0 or name in net.question_of or card.status != "accepted":
        return None
    if when is None or when.form != "saw":
        return None
    feature = k.vocabulary.features[when.term]
    on = when.on or (feature.on[0] if feature.on else "")
    text = f"case: One record, invented\ninvented: true\nobservations:\n  - {{on: {on}, saw: {when.term}}}\n"
    problems = Problems()
    case = parse_case(text.encode(), "case.yaml", k, problems)
    if case is None or problems.errors():
        return None
    (judgement, *more) = Diagnosis(case, base).judgements
    cause = k.causes[net.causes[int(causes[0])]]
    judged = judgement.of(cause.name)
    alone = set(judgement.states) == {name} and not more and all(j.standing != "ruled out" for j in judgement.causes)
    return Example(text, card, cause, on, judged.probability, net) if alone else None


PAGE = """\
# How a probability is made

Written by `diagnose rules sum` from rule base {version} ({digest}). With this page and a pocket calculator anybody can
make one sum from the record to the probability and see that the tool makes the same. `diagnose why CASE NAME --sum` prints
the sum of any root cause or mechanism of any case.

## 1. The record

One mark was seen, and nothing else was looked at:

```yaml
{case}
```

The card {folder}/findings/{card} makes of it the finding *{finding}*. Two cards say how often it is seen:

- {of_cause}: with the root cause *{cause}* it is seen **{seen}**;
- {of_finding}: otherwise **{otherwise}**. No other cause and no mechanism speaks of it.

## 2. The words as numbers

`words.yaml` has the number behind each word: {seen} p = {p}; {otherwise} b = {b}; known by {known_by}: overlooked
m = {m}, recorded though it is not there w = {w}; *{cause}* is **{common}** among failed seals, {prior}.

## 3. How much likelier this record is with the cause than without

- with it: (1 - {m}) x {p} + {w} x (1 - {p}) = {there}
- without: (1 - {m}) x {b} + {w} x (1 - {b}) = {not_there}
- ratio: {there} / {not_there} = {ratio}, which is 10 x log10 of it = {decibans} dB

## 4. Before anything is seen

Odds of *{cause}*: {prior} / (1 - {prior}) = {odds}

## 5. Every set of causes

Several causes can be at work, at most three. A set weighs the odds of its causes multiplied, times how much likelier the record
is with it. For the {others} other causes the record is as likely as without any, so only their odds o count:

| how common | chance | odds o | causes | n x o | n x o² | n x o³ |
|---|---|---|---|---|---|---|
{table}
| sum |  |  |  | S1 = {s1} | S2 = {s2} | S3 = {s3} |

- all pairs of them: e2 = (S1² - S2) / 2 = {e2}
- all triples of them: e3 = (S1³ - 3 x S1 x S2 + 2 x S3) / 6 = {e3}
- none of the causes: a failure whose cause is not in this list has a chance of {none} before anything is seen, so with P the
  product of all (1 + o), each n times, and of 1 + {odds}, P = {product}, it weighs
  {none} / (1 - {none}) x ({product} - 1) = {none_odds}
- sets with *{cause}*: {odds} x {ratio} x (1 + S1 + e2) = {with_it}
- sets without it: {none_odds} + S1 + e2 + e3 = {without}

## 6. The probability

- share of the sets with it: {with_it} / ({with_it} + {without}) = {share}
- the record may be of another seal, chance {wrong}, and then nothing is known that was not before:
  (1 - {wrong}) x {share} + {wrong} x {prior} = **{believed}**

The tool says {told}.

## What else comes in

A mark of a mechanism is reckoned through it: P(mark) = [1 - (1 - b) x product of (1 - q)] over the mechanisms that are there, with
q = 1 - (1 - p) / (1 - b) for a row of word p; and whether each mechanism is there is summed over likewise, with the links above
it as rows (noisy-OR with a leak). A row rarer than *otherwise* multiplies by p / b. Answers of a question exclude each other: of
several causes the earliest is found. What is looked for and not there counts 1 - P. That is why a case with many marks takes a
machine, and `--sum` prints its sums set by set.
"""


def page(base: RuleBase) -> str:
    """The page, as Markdown."""
    x, k = example(base), base.knowledge
    seen = next(r.seen for r in x.cause.leaves if r.finding == x.finding.name)
    where = {"of_cause": x.cause.where.file, "of_finding": x.finding.where.file}
    return PAGE.format(
        version=k.version, digest=k.digest[:12], case=x.case.rstrip(), folder=k.folder, finding=x.finding.name, cause=x.cause.name,
        card=x.finding.where.file.rpartition("/")[2], **{key: file.removeprefix(k.folder + "/") for key, file in where.items()},
        seen=seen, otherwise=x.finding.otherwise, known_by=x.finding.known_by, common=x.cause.common, told=_n(x.probability),
        **_sums(base, x, seen),
    )  # fmt: skip


def _sums(base: RuleBase, x: Example, seen: str) -> dict[str, object]:
    """Every number of the page by its name in it, as written there."""
    row, words = x.net.row[x.finding.name], base.knowledge.words
    p, b, m, w = words.seen[seen], words.seen[x.finding.otherwise], float(x.net.missed[row]), float(x.net.mistaken[row])
    there, not_there = (1 - m) * p + w * (1 - p), (1 - m) * b + w * (1 - b)
    ratio, prior = there / not_there, words.common[x.cause.common]
    odds, lines = prior / (1 - prior), _others(base, x.cause.name)
    s1, s2, s3 = (float(sum(n * (q / (1 - q)) ** power for _, q, n in lines)) for power in (1, 2, 3))
    e2, e3 = (s1**2 - s2) / 2, (s1**3 - 3 * s1 * s2 + 2 * s3) / 6
    none, product = x.net.none_of_these, float(np.prod([(1 / (1 - q)) ** n for _, q, n in lines])) * (1 + odds)
    none_odds = none / (1 - none) * (product - 1)
    with_it, without = odds * ratio * (1 + s1 + e2), none_odds + s1 + e2 + e3
    share, wrong = with_it / (with_it + without), x.net.wrong_record
    table = "\n".join(f"| {word} | {q:g} | {_n(q / (1 - q))} | {n} | {_n(n * q / (1 - q))} | {_n(n * (q / (1 - q)) ** 2)} | "
                      f"{_n(n * (q / (1 - q)) ** 3)} |" for word, q, n in lines)  # fmt: skip
    plain = {"p": p, "b": b, "m": m, "w": w, "prior": prior, "wrong": wrong, "none": none}
    worked = {
        "there": there, "not_there": not_there, "ratio": ratio, "decibans": 10 * np.log10(ratio), "odds": odds, "s1": s1, "s2": s2,
        "product": product, "none_odds": none_odds, "s3": s3, "e2": e2, "e3": e3, "with_it": with_it, "without": without, "share": share,
        "believed": (1 - wrong) * share + wrong * prior,
    }  # fmt: skip
    told = {name: f"{number:g}" for name, number in plain.items()} | {
        name: _n(number) for name, number in worked.items()
    }
    return {**told, "table": table, "others": sum(n for *_, n in lines)}


def _others(base: RuleBase, but: str) -> list[tuple[str, float, int]]:
    """(word, chance, how many other causes) by how common causes are, most common first."""
    words = base.knowledge.words.common
    counted = Counter(c.common for c in base.knowledge.causes.values() if c.name != but)
    return sorted(((word, words[word], n) for word, n in counted.items()), key=lambda r: -r[1])


def _n(x: float) -> str:
    return f"{x:.6g}"

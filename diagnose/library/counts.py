"""A site's own counts against the words on the cards: of the cases in which a cause or mechanism was confirmed, in how many
was a finding of its card there?

Only outcomes on record count, those that name exactly one root cause; what the tool concluded counts for nothing. A row is
held against what the whole rule base expects of those cases, reading errors and other mechanisms included, so the word that
fits best is the one under which the expected share comes nearest to what the site saw.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from diagnose.judgement.network import Layer, Network, build
from diagnose.knowledge.model import Explained, Knowledge
from diagnose.library.store import Store, outcomes_of

WORTH = 20.0
"""Cases that the word on a card is worth, unless told otherwise."""
FEW = 5
"""Cases below which a row is not judged."""
FALSE_SHARE = 0.05
"""Of the rows called contradicted, the share that may be so by luck (Y. Benjamini and Y. Hochberg, J. R. Statist. Soc. B 57,
1995, from memory)."""


@dataclass(frozen=True)
class Counted:
    """A row of a card (`kind`: cause or mechanism) with k of n confirmed cases. `expected`: the share that the rule base
    expects to be recorded; `share`: that of prior and counts together, with its 95 % interval; `p`: the chance of counts
    so far off, were the card right as far as its worth goes; `fits`: the word that fits best; `contradicted`: more cases
    say so than luck explains, and another word fits better."""

    kind: str
    card: str
    finding: str
    word: str
    k: int
    n: int
    expected: float
    share: float
    interval: tuple[float, float]
    p: float
    fits: str
    contradicted: bool = False


A_PIECE = 500
"""Patterns that are reckoned at once."""
Pattern = tuple[str, tuple[str, ...]]
"""What was confirmed: a root cause and mechanisms."""


@dataclass(frozen=True)
class _Sums:
    """Over the cases in which a card was confirmed and a finding was looked for: how many, in how many it was there, and what
    the two products of the network come to. Arrays of shape (findings, causes + mechanisms)."""

    n: np.ndarray
    k: np.ndarray
    held: np.ndarray
    kept: np.ndarray


def counts(store: Store, knowledge: Knowledge, site: str = "", worth: float = WORTH) -> list[Counted]:
    """Every row of which there are cases enough, contradicted ones first, then by how far off they are."""
    net = build(knowledge)
    sums = _summed(store, net, _patterns(store, knowledge, site))
    found = []
    for kind, cards, layer, at, begin in (
        ("cause", knowledge.causes, net.signs, net.column, 0),
        ("mechanism", knowledge.mechanisms, net.marks, net.mechanism, len(net.causes)),
    ):
        for card in cards.values():
            found += _rows(kind, card, sums, knowledge, net, layer, at[card.name], begin + at[card.name], worth)
    return sorted(_judged(found), key=lambda c: (not c.contradicted, c.p, c.card, c.finding))


def _patterns(store: Store, knowledge: Knowledge, site: str) -> list[Pattern]:
    """What was confirmed of the seals of which an outcome names one root cause that the rule base has; which seal has which
    goes into a table `pattern`. A cause that both seals of a pair failed of is counted at the first of them."""
    patterns: dict[Pattern, int] = {}
    members = []
    counted: set[tuple[int, str]] = set()
    for row in store.rows(
        "SELECT id, file, outcomes FROM seal WHERE site = ? AND confirmed <> '' ORDER BY id", (site,)
    ):
        last = outcomes_of(row["outcomes"])[-1]
        if len(last.roots) == 1 and last.roots[0] in knowledge.causes and (row["file"], last.roots[0]) not in counted:
            counted.add((row["file"], last.roots[0]))
            mechanisms = tuple(sorted(m for m in last.mechanisms if m in knowledge.mechanisms))
            members.append((row["id"], patterns.setdefault((last.roots[0], mechanisms), len(patterns))))
    store.db.execute("DROP TABLE IF EXISTS pattern")
    store.db.execute(
        "CREATE TEMP TABLE pattern (pattern INTEGER, seal INTEGER, PRIMARY KEY (pattern, seal)) WITHOUT ROWID"
    )
    store.db.executemany("INSERT INTO pattern (seal, pattern) VALUES (?, ?)", members)
    return list(patterns)


def _summed(store: Store, net: Network, patterns: Sequence[Pattern]) -> _Sums:
    sums = _Sums(*np.zeros((4, len(net.findings), len(net.causes) + len(net.mechanisms))))
    for begin in range(0, len(patterns), A_PIECE):
        piece = patterns[begin : begin + A_PIECE]
        n, k = np.zeros((2, len(net.findings), len(piece)))
        for pattern, finding, looked, there in store.db.execute(
            "SELECT pattern, text, COUNT(*), SUM(present) FROM pattern JOIN finding USING (seal) JOIN word ON word.id = finding "
            "WHERE pattern >= ? AND pattern < ? GROUP BY pattern, finding", (begin, begin + A_PIECE),
        ):  # fmt: skip
            if finding in net.row:
                n[net.row[finding], pattern - begin], k[net.row[finding], pattern - begin] = looked, there
        held, kept, confirmed = _expected(net, piece)
        for total, value in ((sums.n, n), (sums.k, k), (sums.held, n * held), (sums.kept, n * kept)):
            total += value @ confirmed
    return sums


def _expected(net: Network, patterns: Sequence[Pattern]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The two products of the network for each pattern, (findings, patterns), and what was confirmed in it, (patterns,
    causes + mechanisms)."""
    members = np.zeros((len(patterns), len(net.causes)), bool)
    there = np.zeros((len(patterns), len(net.mechanisms)), bool)
    for i, (root, mechanisms) in enumerate(patterns):
        members[i, net.column[root]] = True
        there[i, [net.mechanism[m] for m in mechanisms]] = True
    held, kept = net.held_and_kept(net.forward(members, np.where(there.T, 1.0, np.nan)), members)
    return held, kept, np.concatenate([members, there], axis=1).astype(float)


def _rows(
    kind: str, card: Explained, sums: _Sums, knowledge: Knowledge, net: Network, layer: Layer, at: int, column: int,
    worth: float,
) -> list[Counted]:  # fmt: skip
    """The rows of one card. The products without the row itself are what all else does; a word in its place gives the share
    expected under that word."""
    result = []
    for row in card.leaves:
        f = net.row[row.finding]
        n, k = int(sums.n[f, column]), int(sums.k[f, column])
        if n < FEW or row.finding in net.question_of:
            continue
        keep, hold, b = layer.inhibition[f, at], layer.suppression[f, at], float(net.background[f])
        held, kept = sums.held[f, column] / hold / n, sums.kept[f, column] / (hold * keep) / n
        shares = {}
        for word, p in knowledge.words.seen.items():
            there = held - kept * (1 - p) / (1 - b) if p >= b else (held - kept) * p / b
            shares[word] = float(net.mistaken[f] + (1 - net.missed[f] - net.mistaken[f]) * there)
        result.append(_counted(kind, card.name, row.finding, row.seen, k, n, shares, worth))
    return result


def _counted(
    kind: str, card: str, finding: str, word: str, k: int, n: int, shares: Mapping[str, float], worth: float
) -> Counted:
    """The word on the card as a Beta prior worth so many cases, with k of n."""
    from scipy.special import betaincinv, betaln

    expected = min(max(shares[word], 1e-6), 1 - 1e-6)
    a, b = worth * expected, worth * (1 - expected)
    j = np.arange(n + 1)
    chance = np.exp(betaln(j + a, n - j + b) - betaln(a, b) - betaln(j + 1, n - j + 1) - np.log(n + 1))
    p = min(1.0, 2 * float(min(chance[: k + 1].sum(), chance[k:].sum())))
    share = (a + k) / (worth + n)
    low, high = (float(betaincinv(a + k, b + n - k, q)) for q in (0.025, 0.975))
    fits = min(shares, key=lambda w: (round(abs(shares[w] - share), 9), w != word, w))
    return Counted(kind, card, finding, word, k, n, expected, share, (low, high), p, fits)


def _judged(found: Sequence[Counted]) -> list[Counted]:
    """The rows with those marked that are contradicted."""
    ranked = sorted(found, key=lambda c: c.p)
    last = max((i for i, c in enumerate(ranked, 1) if c.p <= FALSE_SHARE * i / len(ranked)), default=0)
    return [replace(c, contradicted=i < last and c.fits != c.word) for i, c in enumerate(ranked)]


def document(found: Sequence[Counted], worth: float) -> dict[str, Any]:
    """The rows as plain data."""
    return {"worth": worth, "few": FEW, "rows": [vars(c) | {"interval": list(c.interval)} for c in found]}

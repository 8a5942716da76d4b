"""Words that a site's counts would change on the cards: written to a file for a trainer, who accepts each or not and says
why; only then are they written into the rule base."""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from diagnose.authoring.matrix import Change, apply
from diagnose.casefile.writer import flow, put
from diagnose.knowledge.model import Explained, Knowledge
from diagnose.library.counts import Counted
from diagnose.reading.located import Node, only_keys, read_bytes, read_text, text_under
from diagnose.reading.problems import Problems
from diagnose.reading.terms import did_you_mean

KEYS = ("kind", "card", "finding", "word", "propose", "counts", "accepted", "by", "why")
HEADING = "# Words that confirmed cases speak against. Write accepted: true or false, by: NAME and why: TEXT; then: diagnose library accept FILE"


@dataclass(frozen=True)
class Proposal:
    """A word for a row of a card in place of the one that stands there. `accepted`: true, false or "" (not decided)."""

    kind: str
    card: str
    finding: str
    word: str
    propose: str
    counts: str
    accepted: str = ""
    by: str = ""
    why: str = ""

    @property
    def change(self) -> Change:
        return Change("finding", self.finding, self.card, self.word, self.propose)

    @property
    def row(self) -> tuple[str, str, str, str]:
        return self.kind, self.card, self.finding, self.propose


def proposed(found: Sequence[Counted], before: Sequence[Proposal] = ()) -> list[Proposal]:
    """A proposal for each contradicted row; those decided before stay as they are, and are not made again."""
    decided = [p for p in before if p.accepted]
    rows = {p.row for p in decided}
    fresh = [
        Proposal(c.kind, c.card, c.finding, c.word, c.fits, f"{c.k} of {c.n}, {c.expected * c.n:.1f} expected")
        for c in found if c.contradicted
    ]  # fmt: skip
    return [*decided, *(p for p in fresh if p.row not in rows)]


def write(path: Path, proposals: Sequence[Proposal]) -> None:
    """Raises OSError."""
    lines = [HEADING, "proposals:" if proposals else "proposals: []"]
    lines += [f"  - {flow(vars(p))}" for p in proposals]
    put(path, ("\n".join(lines) + "\n").encode())


def read(path: Path, knowledge: Knowledge) -> list[Proposal]:
    """The proposals of a file. Raises BadInput with every mistake in it."""
    problems = Problems()
    data = read_bytes(path, str(path), problems)
    node = read_text(data, str(path), problems) if data is not None else None
    if node is not None:
        only_keys(node, ["proposals"], "a file of proposals", problems)
    listed = node.get("proposals") if node is not None else None
    found = [_read(item, knowledge, problems) for item in listed.each()] if listed else []
    problems.raise_errors()
    return found


def _read(node: Node, knowledge: Knowledge, problems: Problems) -> Proposal:
    only_keys(node, list(KEYS), "a proposal", problems)
    made = Proposal(**{key: text_under(node, key, problems) for key in KEYS})

    def say(key: str, says: str, way_out: str) -> None:
        problems.add((node.get(key) or node).where, "proposal", says, way_out)

    cards: dict[str, Explained] = {**knowledge.causes} if made.kind == "cause" else {**knowledge.mechanisms}
    card = cards.get(made.card)
    rows = {r.finding: r.seen for r in card.leaves} if card else {}
    if made.kind not in ("cause", "mechanism"):
        say("kind", f"{made.kind!r} is no kind of card", "write cause or mechanism")
    elif card is None:
        say("card", f"there is no {made.kind} {made.card!r}", did_you_mean(made.card, cards))
    elif made.finding not in rows:
        say("finding", f"{made.card!r} has no row {made.finding!r}", did_you_mean(made.finding, rows))
    if made.propose not in knowledge.words.seen:
        say("propose", f"{made.propose!r} is no frequency word", f"allowed: {', '.join(knowledge.words.seen)}")
    if made.accepted not in ("", "true", "false"):
        say("accepted", f"{made.accepted!r} is no decision", "write true or false, or leave it out")
    elif made.accepted and not (made.by and made.why):
        say("accepted", "a decision says who made it and why", "by: NAME, why: TEXT")
    if made.accepted == "true" and rows.get(made.finding) not in (None, made.word, made.propose):
        say(
            "word",
            f"the card says {rows[made.finding]!r} by now, not {made.word!r}",
            "count anew: diagnose library rows --propose FILE",
        )
    return made


def take_over(folder: Path, knowledge: Knowledge, proposals: Sequence[Proposal]) -> list[Proposal]:
    """Writes the accepted words that the cards do not have yet, all or none, and returns them. Raises BadInput, OSError."""
    open_ones = [p for p in proposals if p.accepted == "true" and _said(knowledge, p) != p.propose]
    for kind in ("cause", "mechanism"):
        apply(folder, knowledge, [p.change for p in open_ones if p.kind == kind], kind)
    return open_ones


def _said(knowledge: Knowledge, p: Proposal) -> str:
    return next(r.seen for r in knowledge.card(p.card).leaves if r.finding == p.finding)


@contextmanager
def tried(folder: Path, knowledge: Knowledge, proposals: Sequence[Proposal]) -> Iterator[Path]:
    """A copy of a rule base with all the words as proposed, for as long as it is looked at."""
    with TemporaryDirectory(prefix="diagnose-") as place:
        copy = Path(place) / folder.name
        shutil.copytree(folder, copy)
        for kind in ("cause", "mechanism"):
            apply(copy, knowledge, [p.change for p in proposals if p.kind == kind], kind)
        yield copy

"""What a clause tells beside the term it says: whether it is so or denied, on which side, how much and where, and what is left unread."""

from __future__ import annotations

from diagnose.phrases.clauses import QUALIFYING, Clause
from diagnose.phrases.index import Term
from diagnose.phrases.said_of import TOLD

DENIED = "it is read as a denial"
NOT_READ = "not every word was read: "
DOUBTED, HEARD = "it is said with doubt", "it is hearsay"
_CUES = {"doubted": DOUBTED, "meant": "it may be meant, not seen", "earlier": "it may be of another time",
         "heard": HEARD, "blamed": "it names a cause"}  # fmt: skip


def told(
    clause: Clause, denial_used: bool = False, used: set[int] | frozenset[int] = frozenset()
) -> tuple[str, list[str]]:
    """(present, absent or not looked at, why it must be asked) by the cues of a clause of which some places are used."""
    asks, state = [], "present"
    if clause.cues("not looked"):
        state = "not looked at"
        asks.append("it is read as not looked at")
    elif not denial_used and (
        clause.denied or clause.cues("denied") or clause.cues("denied before") or clause.denied_without(used)
    ):
        if not clause.cues("not denied") and not _but_for(clause):
            state = "absent"
        asks.append(DENIED)
    return state, asks + [why for cue, why in _CUES.items() if clause.cues(cue)]


def _but_for(clause: Clause) -> bool:
    """Whether what is denied is so with something kept out: "would not come off without a puller", "no marks except at the back"."""
    denied = [c.first for c in clause.senses.get(("cue", "denied"), ())]
    return any(min(denied, default=c.first) < c.first for c in clause.cues("but for"))


def opposed(clause: Clause, used: set[int] | frozenset[int], state: str, asks: list[str]) -> tuple[str, list[str]]:
    """What is told by a saying that a term is not so: "all one length" is that lengths are not unequal, "not all one length" that
    they are."""
    if state != "not looked at":
        state = "present" if _denies(clause, used) else "absent"
    return state, [DENIED, *(why for why in asks if why != DENIED)]


def _denies(clause: Clause, used: set[int] | frozenset[int]) -> bool:
    """Whether a denial is of these words and nothing else stands between: the "no" of "no chips, edge whole" is not of "whole", nor
    that of "no leak, dry" of "dry"."""
    if clause.cues("denied before") or clause.cues("but for"):
        return True
    said = clause.content - clause.small - {p for s in clause.slots.get("degree", ()) for p in s.places}
    told_of = {p for s in clause.slots.get("part", ()) if s.sense[1] in TOLD for p in s.places}
    for cue in clause.senses.get(("cue", "denied"), ()):
        behind = sorted(p for p in said if cue.last < p <= max(used, default=0))
        if behind and used.isdisjoint(cue.places) and used.issuperset(behind) and behind[0] not in told_of:
            return True
    return False


def unread(clause: Clause, left: frozenset[int]) -> list[str]:
    return [NOT_READ + ", ".join(clause.words(left))] if left else []


def qualifiers(clause: Clause, used: set[int], term: Term) -> tuple[dict[str, str], set[int]]:
    """Side, degree, extent and the like that the term has not taken up itself, and the places that say them."""
    more: dict[str, str] = {}
    quiet: set[int] = set()
    slots = {"feature": QUALIFYING, "act": ("made of", "when")}.get(term.family, ())
    if term.on == ("history",):
        slots = ("degree", "when")
    for slot in slots:
        taken, said = used | quiet, clause.slots.get(slot, ())
        spans = [s for s in said if not taken & set(s.places) and not clause.likened(s.first) and not clause.named(s)]
        if slot == "runs" and not spans:  # a likeness may take up the word for the mark itself: "mud cracks"
            spans = [s for s in said if s.first not in taken and s.last in used]
        if slot == "side" and not spans and term.sides:
            spans = [s for s in said if s.sense[1] in term.sides]
        if spans:
            best = max(spans, key=lambda s: (len(s.places), -s.first))
            if slot != "made of" or best.sense[1] not in term.not_made_of:
                more["with" if term.family == "act" and slot == "made of" else slot] = best.sense[1]
            quiet |= {p for s in spans for p in s.places if s.sense == best.sense}
    for lifted in clause.lifted.values():
        if lifted.kind in ("extent", "which", "count") and term.family == "feature":
            which, _, of = lifted.text.partition(" of ") if lifted.kind == "which" else (lifted.text, "", "")
            more |= {lifted.kind: which, **({"of": of} if of else {})}
    sector = clause.sector if term.family == "feature" and "extent" not in more else None
    if sector:
        more["extent"] = sector[0]
        quiet |= sector[1]
    return more, quiet

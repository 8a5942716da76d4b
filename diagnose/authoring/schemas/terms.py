"""The words of a rule base that schemas choose from; they stand once, in terms.json."""

from __future__ import annotations

from diagnose.authoring.schemas import grammar
from diagnose.authoring.schemas.parts import (
    Schema,
    keys,
    ref,
    said,
    spellings,
    words,
)
from diagnose.judgement.judge import STANDINGS
from diagnose.knowledge.model import Knowledge, Vocabulary


class Terms:
    def __init__(self, knowledge: Knowledge):
        self.k, self.v = knowledge, knowledge.vocabulary
        v: Vocabulary = self.v
        k = knowledge
        settings = {
            name: said(words(dict.fromkeys((*s.terms, *(a for alsos in s.terms.values() for a in alsos)))), s.means)
            for name, s in v.settings.items()
        }  # fmt: skip
        self.terms: dict[str, Schema] = {
            "kind": words(spellings(v.kinds)), "feature": words(spellings(v.features)),
            "reading": words(spellings(v.readings)), "quantity": words(spellings(v.quantities)),
            "finding": words({n: f.reads for n, f in k.findings.items()}),
            "cause": words({n: c.means for n, c in k.causes.items()}),
            "mechanism": words({n: c.means for n, c in k.mechanisms.items()}),
            "either": words({n: c.means for n, c in (*k.causes.items(), *k.mechanisms.items())}),
            "named": words([*k.causes, *k.mechanisms, *k.retired], "A cause or mechanism, by its name of today or an old one."),
            "caution": words({n: c.says for n, c in k.cautions.items()}),
            "limit": words({n: x.means for n, x in k.limits.items()}),
            "measurement": words({n: x.how for n, x in k.measurements.items()}),
            "source": words({n: " ".join(x for x in (s.title, s.year, s.section) if x) for n, s in k.sources.items()}),
            "seen": words({w: f"{p:g}" for w, p in k.words.seen.items()}),
            "common": words({w: f"{p:g}" for w, p in k.words.common.items()}),
            **{f"setting {name}": schema for name, schema in settings.items()}, **grammar.terms(v),
            "setting": keys({name: ref(f"setting {name}") for name in settings}),
            "standing": words([f"{lead}{s}" for s in STANDINGS for lead in ("", "at most ", "at least ")]),
        }  # fmt: skip
        self.kind, self.feature, self.reading, self.quantity = map(ref, ("kind", "feature", "reading", "quantity"))
        self.finding_name, self.cause_name, self.caution_name = map(ref, ("finding", "cause", "caution"))
        self.mechanism_name, self.either = map(ref, ("mechanism", "either"))
        self.limit_name, self.measurement_name, self.source = map(ref, ("limit", "measurement", "source"))
        self.seen, self.common, self.setting, self.condition = map(ref, ("seen", "common", "setting", "condition"))

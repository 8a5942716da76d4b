"""The JSON Schema of `teardown.yaml`."""

from __future__ import annotations

from diagnose.authoring.schemas.parts import NUMBER, TEXT, YES, Schema, keys, of, said, some, words
from diagnose.knowledge.model import Vocabulary
from diagnose.knowledge.teardown import KEEPS, KEYS, SAID


def teardown(v: Vocabulary, kind: Schema) -> Schema:
    stage = words(v.stages)
    act = keys({
        "also": said(some(TEXT), "How people say it."), "means": TEXT, "of": said(some(kind), "Done only to these."),
        "minutes": NUMBER, "each": said(YES, "Minutes are those of one part."), "needs": said(stage, "The stage that must have come."),
        "ends": said(stage, "What could last be seen at this stage is gone then."), "keeps": some(words(KEEPS)),
        "frees": said(some(kind), "Unmarked parts of these kinds have no clock any more."),
        "heaps": said(YES, "The parts lie together afterwards."),
    }, ("means", "minutes"))  # fmt: skip
    return keys({
        "acts": {"type": "object", "additionalProperties": act},
        "said": said(keys(dict.fromkeys(SAID, some(TEXT))), "How people say that they look, ask or measure."),
        "photograph shows": said(some(TEXT), "Forms of marks that a photograph keeps."),
        "in view": said(of(v.kinds, stage), "From which stage on a kind can be seen and measured whole."),
        "asked": said(some(kind), "Kinds that people are asked about, so that no stage takes anything away."),
        "alike": said(some(kind), "Kinds whose untagged parts nobody can tell apart."),
        "reading": said(NUMBER, "Minutes of a plain reading."),
    }, KEYS)  # fmt: skip

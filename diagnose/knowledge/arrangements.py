"""Reads `arrangements/`: the usual parts of each arrangement, and the order in which a seal is taken apart.

`arrangements/NAME.yaml` lists usual parts; `arrangements/dismantling.yaml` lists the steps, each at a stage of the
vocabulary, with what to look for, measure and ask before the next step destroys it.
"""

from __future__ import annotations

from itertools import pairwise

from diagnose.knowledge import model as m
from diagnose.knowledge.card_reader import CardReader
from diagnose.knowledge.conditions import GROUPS
from diagnose.knowledge.grammar_reader import statement
from diagnose.reading.located import Node, only_keys
from diagnose.reading.terms import did_you_mean, plain

ORDER = "arrangements/dismantling.yaml"
POSITIONS = ("inboard", "middle", "outboard", "machine")


def read_arrangements(reader: CardReader, vocabulary: m.Vocabulary) -> m.Arrangements:
    """Usual parts and steps; mistakes are added to the reader's problems. Both may be left out of a rule base."""
    usual: dict[str, tuple[m.UsualPart, ...]] = {}
    says: dict[str, dict[str, str]] = {}
    called: dict[str, dict[str, str]] = {}
    for name in sorted(n for n in reader.nodes if n.startswith("arrangements/") and n != ORDER):
        node = reader.nodes[name]
        only_keys(node, ["arrangement", "says", "called", "parts"], "an arrangement", reader.problems)
        names = reader.known(node, "arrangement", _arrangements(vocabulary), "arrangement")
        parts = _usual_parts(reader, node, any(n.startswith("dual") or n == "three stages" for n in names), vocabulary)
        for arrangement in names:
            if arrangement in usual:
                reader.say(node.where, "twice", f"the arrangement {arrangement!r} stands in two files", "keep one")
            usual[arrangement] = parts
            says[arrangement] = _said(reader, node, vocabulary, "says")
        for spelling, said in (node.get("called") or Node({}, node.where)).items():
            if vocabulary.find("setting:arrangement", spelling) not in names:
                reader.say(said.where, "unknown-term", f"{spelling!r} is no name of {' or '.join(names)}",
                           "its other names stand in vocabulary/settings.yaml")  # fmt: skip
            called[plain(spelling)] = _said(reader, Node({spelling: said}, node.where), vocabulary, spelling)
    order = reader.nodes.get(ORDER)
    if order is None:
        return m.Arrangements(usual, says=says, called=called)
    keys = [
        "steps",
        "nominal",
        "wears",
        "doubt",
        "far over a limit",
        "alike",
        "with the machine",
        "only with",
        "marking",
        "one of",
        "left out",
        "not every machine",
        "by plan",
    ]
    only_keys(order, keys, "the order of dismantling", reader.problems)
    steps = reader.each(order, "steps", lambda n: _step(reader, n, vocabulary))
    for before, after in pairwise(steps):
        stages = vocabulary.stages
        if before.stage in stages and after.stage in stages and stages.index(before.stage) >= stages.index(after.stage):
            reader.say(after.where, "step-order", f"{after.stage!r} comes no later than the step before it",
                       f"order of the stages: {', '.join(stages)}")  # fmt: skip
    kinds = vocabulary.kinds
    return m.Arrangements(
        usual, steps, _nominal(reader, order, vocabulary), reader.number(order, "doubt"),
        reader.known(order, "alike", kinds, "kind"), reader.known(order, "with the machine", kinds, "kind"),
        _only_with(reader, order, vocabulary),
        {x.on: x for x in reader.each(order, "marking", lambda n: _marking(reader, n, vocabulary))}, says,
        _one_of(reader, order, vocabulary), reader.each(order, "left out", lambda n: _left_out(reader, n, vocabulary)),
        reader.known(order, "not every machine", kinds, "kind"),
        reader.known(order, "wears", vocabulary.readings, "reading"), called, reader.number(order, "far over a limit"),
        _by_plan(reader, order, vocabulary),
    )  # fmt: skip


def _arrangements(vocabulary: m.Vocabulary) -> list[str]:
    setting = vocabulary.settings.get("arrangement")
    return list(setting.terms) if setting else []


def _usual_parts(reader: CardReader, node: Node, dual: bool, vocabulary: m.Vocabulary) -> tuple[m.UsualPart, ...]:
    def read(item: Node) -> m.UsualPart:
        only_keys(item, ["item", "kind", "name", "position", "group", "carries", "touches"], "a part", reader.problems)
        kind = reader.known(item, "kind", vocabulary.kinds, "kind")
        position = reader.word(item, "position", POSITIONS, "position", False)
        machine = bool(kind) and vocabulary.kinds[kind[0]].place == "machine"
        if dual and not machine and not position:
            reader.say(item.where, "position", "a part of a pair says which seal it belongs to",
                       "position: inboard or outboard")  # fmt: skip
        return m.UsualPart(
            reader.text(item, "item", True), kind[0] if kind else "", reader.text(item, "name", True), position,
            reader.word(item, "group", GROUPS, "group", False),
            reader.word(item, "carries", ("nose", "wide"), "side of the pair of faces", False),
            reader.texts(item, "touches"), item.where,
        )  # fmt: skip

    parts = reader.each(node, "parts", read)
    items = [p.item for p in parts]
    for p in parts:
        if items.count(p.item) > 1:
            reader.say(p.where, "item-twice", f"the item number {p.item!r} stands twice", "renumber one of them")
        for other in p.touches:
            if other not in items:
                reader.say(
                    p.where, "unknown-item", f"no part has the item number {other!r}", did_you_mean(other, items)
                )
    return parts


def _step(reader: CardReader, node: Node, vocabulary: m.Vocabulary) -> m.Step:
    only_keys(node, ["step", "stage", "do", "ends", "ask", "looks", "separates"], "a step", reader.problems)
    stage = reader.word(node, "stage", vocabulary.stages, "stage of the teardown")
    return m.Step(
        reader.text(node, "step", True), stage, reader.text(node, "do", True), reader.text(node, "ends", True),
        reader.known(node, "ask", _figures(vocabulary), "setting or figure"),
        reader.each(node, "looks", lambda n: _look(reader, n, stage, vocabulary)),
        reader.known(node, "separates", vocabulary.kinds, "kind"), node.where,
    )  # fmt: skip


def _figures(vocabulary: m.Vocabulary) -> list[str]:
    return [*vocabulary.settings, *(r for r, x in vocabulary.readings.items() if x.section)]


def _look(reader: CardReader, node: Node, stage: str, vocabulary: m.Vocabulary) -> m.Look:
    only_keys(
        node,
        ["on", "about", "given", "carries", "touching", "foremost", "look for", "measure", "how"],
        "a look",
        reader.problems,
    )
    if (node.get("on") is None) == (node.get("about") is None):
        reader.say(node.where, "look", "a look names its parts", "on: KIND for parts, about: KIND for the kind itself")
    kinds = reader.known(node, "on" if node.get("on") else "about", vocabulary.kinds, "kind")
    kind = kinds[0] if kinds else ""
    features = reader.known(node, "look for", vocabulary.features, "feature")
    readings = reader.known(node, "measure", [r for r, x in vocabulary.readings.items() if not x.section], "reading")
    stages = vocabulary.stages
    for name in features:
        feature = vocabulary.features[name]
        if kind and not vocabulary.fits(kind, feature.on):
            reader.say(node.where, "wrong-part", f"{name!r} is not recorded on {kind!r}",
                       f"it is recorded on: {', '.join(feature.on)}")  # fmt: skip
        if stage and feature.lost in stages and stages.index(feature.lost) < stages.index(stage):
            reader.say(node.where, "too-late", f"{name!r} is lost {feature.lost!r}, so it cannot be looked for {stage!r}",
                       "ask for it in an earlier step")  # fmt: skip
    for name in readings:
        if kind and not vocabulary.fits(kind, vocabulary.readings[name].on):
            reader.say(node.where, "wrong-part", f"{name!r} is not measured on {kind!r}",
                       f"it is measured on: {', '.join(vocabulary.readings[name].on)}")  # fmt: skip
    return m.Look(
        kind, features, readings, node.get("about") is not None, reader.text(node, "how"), _given(reader, node, vocabulary),
        reader.word(node, "carries", ("nose", "wide"), "side of the pair of faces", False),
        reader.known(node, "touching", vocabulary.kinds, "kind"),
        reader.word(node, "foremost", ("true",), "answer", False) == "true", node.where,
    )  # fmt: skip


def _left_out(reader: CardReader, node: Node, vocabulary: m.Vocabulary) -> m.LeftOut:
    keys = [
        "given",
        "without",
        "ask",
        "look for",
        "measure",
        "about",
        "on",
        "until",
        "alone",
        "struck off",
        "states",
        "terms",
    ]
    only_keys(node, keys, "what is left out", reader.problems)
    kinds = vocabulary.kinds
    return m.LeftOut(
        _given(reader, node, vocabulary), reader.known(node, "ask", _figures(vocabulary), "setting or figure"),
        reader.known(node, "look for", vocabulary.features, "feature"),
        reader.known(node, "measure", vocabulary.readings, "reading"),
        reader.known(node, "about", kinds, "kind"), reader.known(node, "on", kinds, "kind"),
        reader.word(node, "until", vocabulary.stages, "stage of the teardown", False),
        reader.word(node, "without", kinds, "kind", False), reader.word(node, "alone", ("true",), "answer", False) == "true",
        reader.word(node, "struck off", kinds, "kind", False),
        reader.each(node, "states", lambda n: statement(reader, n, vocabulary.grammar, False)), _given(reader, node, vocabulary, "terms"),
    )  # fmt: skip


def _by_plan(reader: CardReader, order: Node, vocabulary: m.Vocabulary) -> dict[str, tuple[str, ...]]:
    """The piping plans by kind of part."""
    node, plan = order.get("by plan") or Node({}, order.where), vocabulary.settings.get("plan")
    for kind, value in node.items():
        if kind not in vocabulary.kinds:
            reader.say(value.where, "unknown-kind", f"there is no kind {kind!r}", did_you_mean(kind, vocabulary.kinds))
    return {kind: reader.known(node, kind, plan.terms if plan else (), "piping plan") for kind, _ in node.items()}


def _one_of(reader: CardReader, order: Node, vocabulary: m.Vocabulary) -> dict[str, tuple[str, ...]]:
    node = order.get("one of") or Node({}, order.where)
    return {name: reader.known(node, name, vocabulary.features, "feature") for name, _ in node.items()}


def _said(reader: CardReader, node: Node, vocabulary: m.Vocabulary, key: str) -> dict[str, str]:
    """One term by setting."""
    return {s: terms[0] for s, terms in _given(reader, node, vocabulary, key).items() if terms}


def _given(reader: CardReader, node: Node, vocabulary: m.Vocabulary, key: str = "given") -> dict[str, tuple[str, ...]]:
    """Terms by setting."""
    given, table = node.get(key) or Node({}, node.where), {}
    for name, value in given.items():
        setting = vocabulary.settings.get(name)
        if setting is None:
            reader.say(
                value.where, "unknown-setting", f"there is no setting {name!r}", did_you_mean(name, vocabulary.settings)
            )
        else:
            table[name] = reader.known(given, name, setting.terms, "term")
    return table


def _only_with(reader: CardReader, order: Node, vocabulary: m.Vocabulary) -> dict[str, str]:
    """The kind of part by figure or setting."""
    node, table = order.get("only with") or Node({}, order.where), dict[str, str]()
    for kind, value in node.items():
        if kind not in vocabulary.kinds:
            reader.say(value.where, "unknown-kind", f"there is no kind {kind!r}", did_you_mean(kind, vocabulary.kinds))
        table |= dict.fromkeys(reader.known(node, kind, _figures(vocabulary), "setting or figure"), kind)
    return table


def _marking(reader: CardReader, node: Node, vocabulary: m.Vocabulary) -> m.Marking:
    only_keys(node, ["on", "mark", "none"], "a way of marking", reader.problems)
    if (node.get("mark") is None) == (node.get("none") is None):
        reader.say(node.where, "marking", "a part takes a mark or it takes none", "mark: HOW, or none: WHAT INSTEAD")
    kinds = reader.known(node, "on", vocabulary.kinds, "kind")
    takes = node.get("none") is None
    return m.Marking(kinds[0] if kinds else "", reader.text(node, "mark" if takes else "none"), takes)


def _nominal(reader: CardReader, node: Node, vocabulary: m.Vocabulary) -> dict[str, str]:
    table = {}
    for name, value in (node.get("nominal") or Node({}, node.where)).items():
        if name not in vocabulary.readings:
            reader.say(value.where, "unknown-reading", f"there is no reading {name!r}",
                       did_you_mean(name, vocabulary.readings))  # fmt: skip
        if value.text() not in vocabulary.readings:
            reader.say(value.where, "unknown-reading", f"there is no reading {value.text()!r}",
                       did_you_mean(value.text(), vocabulary.readings))  # fmt: skip
        else:
            table[name] = value.text()
    return table

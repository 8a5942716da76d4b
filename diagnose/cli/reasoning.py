"""Commands that audit the reasoning: why, why-not, what-if, fragile, graph, compare."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from diagnose.cli.common import (
    CaseArgument,
    JsonOption,
    KnowledgeOption,
    case_path,
    open_base,
    open_case,
    print_json,
    refuse,
    shipped,
)
from diagnose.cli.output import refuse_over_input, write

if TYPE_CHECKING:
    from collections.abc import Callable

    import networkx as nx

    from diagnose.inference.run import RuleBase
    from diagnose.judgement.diagnosis import Diagnosis
    from diagnose.trail.graph import Reasoning

NameArgument = Annotated[
    str, typer.Argument(metavar="NAME", help="A root cause, a mechanism or a finding, by name or id.")
]
PositionOption = Annotated[str, typer.Option("--position", help="Only this seal: inboard, outboard or seal.")]
DepthOption = Annotated[int, typer.Option("--depth", min=1, max=40, help="Steps to open; deeper ones keep their name.")]
OutOption = Annotated[Path | None, typer.Option("-o", "--output", help="The file to write.", show_default=False)]


class _Opened:
    """A rule base and a case with everything reasoned about it."""

    def __init__(self, case: str, knowledge: Path | None, base: RuleBase | None = None):
        from diagnose.judgement.diagnosis import Diagnosis
        from diagnose.trail.graph import Reasoning

        self.base: RuleBase = base or open_base(knowledge)
        self.diagnosis: Diagnosis = Diagnosis(open_case(case, self.base), self.base)
        self.asked: Reasoning = Reasoning(self.diagnosis)
        self.path, self.folder = case_path(case), knowledge or shipped("knowledge")

    @property
    def graph(self) -> nx.DiGraph:
        return self.asked.graph

    def attach_authors(self) -> None:
        """Adds to the records of the graph who put them there, as the journal beside the case tells."""
        from diagnose.trail.custody import attach, beside

        attach(self.graph, self.diagnosis.case, beside(self.path))

    def custody(self, answer: Any) -> Any:
        """What an answer stands on: journal, photos, rule base, tool, and the text of the cards it names."""
        from diagnose.trail.custody import files_named, told

        knowledge = self.base.knowledge
        return told(
            self.diagnosis.case, self.path, knowledge, self.folder, files_named(answer, knowledge.folder), _version()
        )

    def node(self, name: str, position: str = "") -> str:
        """The cause, mechanism or finding called so, where it says most. Raises BadInput."""
        from diagnose.reading.terms import did_you_mean
        from diagnose.trail.why import find, names

        self.check_position(position)
        found = find(self.graph, name, position)
        if not found:
            raise refuse(f"there is no cause, mechanism or finding {name!r}", did_you_mean(name, names(self.graph)))
        return found[0]

    def check_position(self, position: str) -> None:
        positions = self.diagnosis.case.positions
        if position and position not in positions:
            raise refuse(f"this case has no position {position!r}", f"its positions: {', '.join(positions)}")


def _show(answer: Any, as_json: bool, page: Any) -> None:
    """Prints the answer as JSON, or the page made of it."""
    from diagnose.views.page import Page

    if as_json:
        print_json(answer)
    else:
        typer.echo(page(Page()).text(), nl=False)


def why(
    case: CaseArgument,
    name: NameArgument,
    rather_than: Annotated[str, typer.Option("--rather-than", metavar="NAME", help="Why not that one.")] = "",
    as_sum: Annotated[bool, typer.Option("--sum", help="The worked sum from the record to the probability.")] = False,
    cards: Annotated[bool, typer.Option("--cards", help="Add the text of every card it uses.")] = False,
    depth: DepthOption = 4,
    position: PositionOption = "",
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Prove a cause, mechanism or finding: rules, conditions and records, the chain, the weights and the probability."""
    from diagnose.trail import why as trail
    from diagnose.views.reasoning import rather_than as contrast_view
    from diagnose.views.reasoning import why as view

    opened = _Opened(case, knowledge)
    opened.attach_authors()
    node = opened.node(name, position)
    if rather_than:
        contrast = trail.contrast(opened.asked, node, _other(opened, node, rather_than))
        _show(contrast, as_json, lambda page: contrast_view.contrast(contrast, page))
    elif as_sum:
        told = opened.graph.nodes[node]
        if told["type"] == "finding" or told["standing"] == "ruled out":
            what = "is a finding" if told["type"] == "finding" else "is ruled out"
            raise refuse(
                f"{told['text']!r} {what}, so it has no sum", "name a cause or mechanism that is not ruled out"
            )
        answer = trail.worked_sum(opened.asked, node)
        _show(answer, as_json, lambda page: view.worked_sum(answer, page))
    else:
        answer = trail.why(opened.asked, node, depth)
        answer["custody"] = opened.custody(answer)
        _show(answer, as_json, lambda page: view.why(answer, case, page, cards))


def _other(opened: _Opened, node: str, name: str) -> str:
    """The node that another one is set against. Raises BadInput where the two cannot stand for each other."""
    graph = opened.graph
    other = opened.node(name, graph.nodes[node]["position"])
    types = [graph.nodes[n]["type"] for n in (node, other)]
    if "finding" in types:
        raise refuse("two causes or two mechanisms are contrasted", "name one on both sides of --rather-than")
    if types[0] != types[1]:
        texts = [graph.nodes[n]["text"] for n in (node, other)]
        raise refuse(f"{texts[0]!r} is a {types[0]} and {texts[1]!r} a {types[1]}: one can stand below the other",
                     "name two causes, or two mechanisms")  # fmt: skip
    if node == other:
        likes = ", ".join(x["other"] for x in graph.nodes[node]["look_alikes"])
        way_out = (
            f"name another {types[0]} behind --rather-than{f', such as its look-alikes: {likes}' if likes else ''}"
        )
        raise refuse(f"{graph.nodes[node]['text']!r} cannot be set against itself", way_out)
    return other


def why_not(
    case: CaseArgument,
    name: NameArgument,
    depth: DepthOption = 4,
    position: PositionOption = "",
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Say why a cause, mechanism or finding was not concluded: what failed or is unknown, what outweighed it."""
    from diagnose.trail.whynot import WhyNot
    from diagnose.views.reasoning import why_not as view

    opened = _Opened(case, knowledge)
    node = opened.graph.nodes[opened.node(name, position)]
    asked = WhyNot(opened.asked, node["position"])
    ask = asked.finding if node["type"] == "finding" else asked.judged
    answer = ask(node["text"], depth)
    _show(answer, as_json, lambda page: view.why_not(answer, case, page))


Changes = list[str]


def what_if(
    case: CaseArgument,
    present: Annotated[
        Changes, typer.Option("--present", metavar="FEATURE[@PART]", help="Suppose it was seen, or a finding.")
    ] = [],  # noqa: B006
    absent: Annotated[
        Changes, typer.Option("--absent", metavar="FEATURE[@PART]", help="Suppose it was looked for and not there.")
    ] = [],  # noqa: B006
    forget: Annotated[
        Changes, typer.Option("--forget", metavar="RECORD", help="Leave out a record, a part or a setting.")
    ] = [],  # noqa: B006
    set_: Annotated[Changes, typer.Option("--set", metavar="SETTING=TERM", help="Suppose another setting.")] = [],  # noqa: B006
    reading: Annotated[
        Changes, typer.Option("--reading", metavar="NAME[@PART]=VALUE", help="Suppose another reading or quantity.")
    ] = [],  # noqa: B006
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Change the record in thought and see the ranking before and after, and through which rules it changed."""
    from diagnose.reading.problems import Problems
    from diagnose.trail.suppose import Change
    from diagnose.trail.whatif import what_if
    from diagnose.views.reasoning import what_if as view

    options = {"forget": forget, "set": set_, "reading": reading, "absent": absent, "present": present}
    changes = [Change(kind, text) for kind, texts in options.items() for text in texts]
    if not changes:
        raise refuse("nothing is supposed", "use --present, --absent, --forget, --set or --reading")
    opened = _Opened(case, knowledge)
    problems = Problems()
    answer = what_if(opened.diagnosis, changes, problems)
    problems.raise_errors()
    assert answer is not None
    _show(answer, as_json, lambda page: view.what_if(answer, page))


def fragile(
    case: CaseArgument,
    position: PositionOption = "",
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Find the smallest changes of the record that would change the answer, and which record carries most."""
    from diagnose.cli.progress import Steps
    from diagnose.trail.fragile import fragile as trail
    from diagnose.views.reasoning import fragile as view

    opened = _Opened(case, knowledge)
    opened.check_position(position)
    record = opened.diagnosis.case
    progress = Steps("changes")
    positions = [trail(opened.diagnosis, p, progress) for p in record.positions if position in ("", p)]
    progress.end()
    answer = {"question": "fragile", "case": record.name, "positions": positions}
    _show(answer, as_json, lambda page: view.fragile(answer, page))


def graph(
    case: CaseArgument,
    output: OutOption = None,
    of: Annotated[
        str, typer.Option("--of", metavar="NAME", help="Only what this cause, mechanism or finding rests on.")
    ] = "",
    position: PositionOption = "",
    everything: Annotated[
        bool, typer.Option("--all", help="Draw every cause and mechanism, not only the leading ones.")
    ] = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Write the reasoning graph; the file's ending says how: .svg, .dot, .graphml or .json (as networkx reads it)."""
    import json

    from diagnose.reading.terms import escaped
    from diagnose.trail.document import dot, graphml, node_link
    from diagnose.trail.graph import proof
    from diagnose.views.graph_drawing import draw

    formats: dict[str, Callable[[nx.DiGraph], str]] = {
        ".svg": lambda g: draw(g, everything or bool(of)).svg,
        ".dot": dot,
        ".graphml": graphml,
        ".json": lambda g: escaped(json.dumps(node_link(g), ensure_ascii=False, indent=1)) + "\n",
    }
    ending = output.suffix.lower() if output else ".dot"
    if ending not in formats:
        raise refuse(f"the graph cannot be written as {ending or 'that'!r}", f"end the name in {', '.join(formats)}")
    refuse_over_input(output, [case_path(case)])
    opened = _Opened(case, knowledge)
    opened.check_position(position)
    whole = opened.graph
    if of:
        whole = proof(whole, opened.node(of, position))
    elif position:
        whole = whole.subgraph(
            n for n, p in whole.nodes(data="position") if p in (position, "", "machine", None)
        ).copy()
    write(output, formats[ending](whole).encode(), [case_path(case)])


def compare(
    first: CaseArgument,
    second: Annotated[str, typer.Argument(metavar="CASE", help="Another seal of the same machine.")],
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Set two seals of one machine side by side: same and different findings, and whether one cause explains both."""
    from diagnose.trail.compare import compare as trail
    from diagnose.views.reasoning import compare as view

    one = _Opened(first, knowledge)
    other = _Opened(second, knowledge, one.base)
    answer = trail(one.diagnosis, other.diagnosis)
    _show(answer, as_json, lambda page: view.compare(answer, page))


def _version() -> str:
    from importlib.metadata import version

    return version("diagnose")

"""What the commands print: transcripts, depth, muted findings, slots, JSON against its schema."""

from __future__ import annotations

import json
import math
import re
import sys
from contextlib import chdir
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from diagnose.casefile.reader import parse_case
from diagnose.cli.main import app
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.weights import decibans, worth
from diagnose.knowledge.files import files_of
from diagnose.knowledge.reader import build_knowledge
from diagnose.reading.problems import BadInput, Problems
from diagnose.trail import why
from diagnose.trail.graph import Reasoning, build, of_type, ranked
from diagnose.views.page import Page
from diagnose.views.reasoning import why as view
from diagnose.views.reasoning.common import odds
from tests.support.places import SCENARIOS, SMALL
from tests.support.reasoned import reasoned, valid

TRANSCRIPTS = sorted((Path(__file__).parent / "transcripts").glob("*.txt"))
# relative, so that lines fold at the same place in every checkout
TESTS = SMALL.parent
FILES = {"CASE": "small/case.yaml", "OTHER": "trail/other.yaml"}


def run(line: str) -> tuple[str, int]:
    """What a command prints on a page 100 wide, with the small rule base; file names stand as CASE and OTHER."""
    words = [w.strip('"') for w in re.findall(r'"[^"]*"|\S+', line)]
    arguments = [FILES.get(w, w) for w in words[1:]]
    environment = {"DIAGNOSE_KNOWLEDGE": str(SMALL / "knowledge"), "COLUMNS": "100", "NO_COLOR": "1"}
    with chdir(TESTS):
        result = CliRunner().invoke(app, arguments, env=environment)
    if isinstance(result.exception, BadInput):
        return "\n".join(
            f"{p.says} ({p.way_out})" if p.way_out else p.says for p in result.exception.problems
        ) + "\n", 2
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    text = result.output
    for name, path in FILES.items():
        text = text.replace(path, name)
    # what differs from machine to machine
    text = re.sub(r", git revision [0-9a-f]{12}( and changes)?", "", text)
    text = re.sub(r"diagnose [\d.]+, Python [\d.]+", "diagnose V, Python V", text)
    return text, result.exit_code


def transcript(path: Path) -> list[tuple[str, str]]:
    """(command, what it printed) pairs; a command starts with $ and a line of its own."""
    parts = re.split(r"^\$ (.*)\n", path.read_text("utf-8"), flags=re.M)
    return list(zip(parts[1::2], parts[2::2], strict=True))


@pytest.mark.slow
@pytest.mark.parametrize("path", TRANSCRIPTS, ids=lambda p: p.stem)
def test_transcript(path):
    for command, expected in transcript(path):
        text, code = run(command)
        assert text + (f"[exit {code}]\n" if code else "") == expected, command


@pytest.mark.slow
@pytest.mark.parametrize(
    "line",
    [
        'why CASE "dry running"',
        'why CASE "barrier lost"',
        'why CASE "hot and hard"',
        'why CASE "shaft moves"',
        'why CASE "hot and hard" --depth 1',
        "why CASE C1 --rather-than C2",
        "why CASE C3 --rather-than C1",
        'why-not CASE "bent shaft"',
        'why-not CASE "barrier lost"',
        'why-not CASE "jet erosion"',
        'why-not CASE "dry running"',
        'why-not CASE "washed at the port"',
        'why-not CASE "hot and hard"',
        'why-not OTHER "hot all round"',
        'what-if CASE --absent "radial cracks@2" --set "service=not hot water"',
        'what-if CASE --present "chipped edges"',
        'what-if CASE --reading "shaft runout=0.2 mm"',
        "fragile CASE",
        "compare CASE OTHER",
        "compare CASE CASE",
    ],
)
def test_every_answer_is_also_json_of_its_schema(line):
    text, code = run(f"diagnose {line} --json")
    assert code == 0
    valid(json.loads(text))


@pytest.mark.slow
def test_the_library_answers_fit_the_schema(judged):
    case = judged(SCENARIOS[0])
    for node in [*of_type(case.graph, "finding")[::30], *of_type(case.graph, "cause", "mechanism")[::60]]:
        part = {"f": "why_finding", "c": "why_cause", "x": "why_mechanism"}[node[0]]
        valid(why.why(case.asked, node, 9), part=part)


# ---- depth, stubs, muting --------------------------------------------------------------------------------------------


def knowledge_with(**changed: str) -> RuleBase:
    """The small rule base with some files replaced, by path with / as __ and - kept."""
    from diagnose.inference.rules import compile_rules

    folder = SMALL / "knowledge"
    contents = {p.relative_to(folder).as_posix(): p.read_bytes() for p in files_of(folder)}
    contents |= {name: text.encode() for name, text in changed.items()}
    problems = Problems()
    knowledge = build_knowledge(contents, "knowledge", problems)
    assert knowledge is not None and not problems.errors(), [str(p) for p in problems.found]
    return RuleBase(knowledge, compile_rules(knowledge))


def finding(name: str, id: str, when: str, **more: str) -> dict[str, str]:
    keys = {
        "finding": name,
        "id": id,
        "status": "accepted",
        "since": '"1.0"',
        "reviewed": '"2026-11"',
        "sources": "[common-practice]",
        "reads": name,
        "otherwise": "rarely",
        **more,
    }
    text = "\n".join(f"{k}: {v}" for k, v in keys.items()) + f"\nwhen: {when}\n"
    return {f"findings/{name.replace(' ', '-')}.yaml": text}


def chain() -> RuleBase:
    return knowledge_with(
        **finding("all hot", "F20", "{found: hot and hard}"),
        **finding("hot at last", "F21", "{all: [{found: all hot}, {found: ring hard}]}"),
    )


def answer_for(base: RuleBase, name: str, depth: int, data: bytes | None = None) -> dict:
    problems = Problems()
    case = parse_case(data or (SMALL / "case.yaml").read_bytes(), "case.yaml", base.knowledge, problems)
    assert case and not problems.errors(), [str(p) for p in problems.found]
    asked = Reasoning(Diagnosis(case, base))
    return why.why(asked, why.find(asked.graph, name)[0], depth)


def stubs(tree: object) -> list[tuple[str, str]]:
    if isinstance(tree, dict):
        own = [(tree["finding"], tree["stub"])] if "stub" in tree else []
        return own + [s for v in tree.values() for s in stubs(v)]
    return [s for v in tree for s in stubs(v)] if isinstance(tree, list) else []


def test_trees_are_opened_as_deep_as_asked_and_deeper_parts_keep_their_name():
    base = chain()
    assert stubs(answer_for(base, "hot at last", 2)) == [("all hot", "deeper"), ("ring hard", "deeper")]
    assert stubs(answer_for(base, "hot at last", 4)) == [("hot and hard", "deeper")]
    assert stubs(answer_for(base, "hot at last", 40)) == [("ring hard", "opened above")]
    page = view.why(answer_for(base, "hot at last", 4), "case.yaml", Page(100, False)).text()
    assert 'deeper: diagnose why case.yaml "hot and hard"' in page
    assert page.count("rule F3 ") == 1


def test_a_muted_finding_is_passed_through_to_what_it_rests_on():
    muted = knowledge_with(
        **finding("all hot", "F20", "{found: hot and hard}", muted="true"),
        **finding("hot at last", "F21", "{found: all hot}"),
    )
    answer = answer_for(muted, "hot at last", 4)
    (rule,) = answer["because"]
    (on,) = rule["premises"][0]["on"]
    assert on["through"] == "all hot" and on["premises"][0]["on"][0]["finding"] == "hot and hard"
    page = view.why(answer, "case.yaml", Page(100, False)).text()
    assert "hot and hard" in page and "rule F20" not in page


# ---- the author's sentence -------------------------------------------------------------------------------------------


def test_slots_are_filled_from_the_records_the_finding_rests_on():
    base = knowledge_with(
        **finding(
            "ring cracked",
            "F20",
            "{saw: radial cracks, on: face}",
            reads='"{part} is cracked {extent} at {position}; in all: {parts}"',
        ),
        **finding(
            "shaft off", "F21", "{quantity: shaft runout, above: 0.01 mm}", reads='"{quantity} on {part}, {extent}"'
        ),
    )
    data = (
        (SMALL / "case.yaml")
        .read_bytes()
        .replace(b"  - {part: 2, absent: edge chips}", b"  - {part: 1, saw: radial cracks, extent: at 3}")
    )
    says = answer_for(base, "ring cracked", 4, data)["says"]
    assert "at the seal; in all: " in says
    assert ("Carbon (1) is cracked at 3" in says) or ("Seat (2) is cracked all round" in says)
    assert "Carbon (1)" in says.split("in all:")[1] and "Seat (2)" in says.split("in all:")[1]
    assert (
        answer_for(base, "shaft off", 4)["says"]
        == "shaft runout 0.02 mm (0.0175 mm to 0.0225 mm) on the shaft, an extent not recorded"
    )
    absent = (
        (SMALL / "case.yaml")
        .read_bytes()
        .replace(b"saw: radial cracks, extent: all round, degree: moderate", b"absent: radial cracks")
    )
    assert answer_for(base, "ring cracked", 4, absent)["says"] == "Looked for, and not so: ring cracked."


def test_an_unknown_slot_is_an_error_of_the_rule_with_its_place():
    folder = SMALL / "knowledge"
    contents = {p.relative_to(folder).as_posix(): p.read_bytes() for p in files_of(folder)}
    contents["findings/ring-hard.yaml"] = contents["findings/ring-hard.yaml"].replace(
        b"reads: ring hard", b"reads: '{prat} is hard'"
    )
    problems = Problems()
    build_knowledge(contents, "knowledge", problems)
    (problem,) = problems.errors()
    assert problem.code == "unknown-slot" and problem.where.line == 7 and "part" in problem.way_out


# ---- weights against published arithmetic ----------------------------------------------------------------------------


def test_the_coin_of_the_tunny_report():
    """General Report on Tunny (1945), on the deciban: 20 heads in 20 tosses, double-headed against fair, at prior odds
    of 1 to 10,000: 60 less 40 decibans, 20 and 100 to 1 on; exactly 20.206 and 104.86."""
    exact = 20 * decibans(2) + decibans(1e-4)
    assert exact == pytest.approx(20.206, abs=5e-4)
    assert 20 * round(decibans(2)) + round(decibans(1e-4)) == 20
    assert 10 ** (exact / 10) == pytest.approx(104.86, abs=5e-3)
    assert odds(10 ** (exact / 10)) == "105 to 1"


def test_a_ledger_of_a_prior_and_three_weights():
    """Prior 2 % and +8, +5, -3 dB: -6.902 dB, 16.95 % (worked from the definition of the deciban)."""
    total = 10 * math.log10(0.02 / 0.98) + 8 + 5 - 3
    assert total == pytest.approx(-6.902, abs=5e-4)
    assert 1 / (1 + 10 ** (-total / 10)) == pytest.approx(0.1695, abs=5e-5)


def test_a_group_of_marks_is_worth_what_the_record_is_with_it_less_what_it_is_without(small):
    """Each likelihood summed anew, with the group's findings taken out of the record."""
    at = small.diagnosis.at("seal")
    for name in ("dry running", "bent shaft"):
        answer = why.why(small.asked, why.find(small.graph, name)[0])
        for group in answer["groups"]:
            rest = at.found.evidence.without(m["finding"] for m in group["marks"])
            by_hand = worth(at.net, at.found.evidence, name) - worth(at.net, rest, name)
            assert group["weight"] == pytest.approx(by_hand, abs=1e-7)


def test_a_second_mark_of_one_mechanism_makes_it_surer_and_says_little_new_of_the_cause(small):
    more = (SMALL / "case.yaml").read_bytes().replace(b"  - {on: O-ring, saw: hardened}\n", b"")
    without = reasoned(more, small.base)
    for name, least, most in (("ring baked", 9.0, 30.0), ("dry running", 0.0, 6.5)):
        odds = [decibans(p / (1 - p)) for p in (c.diagnosis.at("seal").of(name).probability for c in (without, small))]
        assert least < odds[1] - odds[0] < most


@pytest.mark.slow
def test_marks_of_which_any_suffices_and_marks_that_tell_only_together(judged):
    """Told of a group by leaving out each of its marks: little goes with any of them, or nearly all with each."""
    seen = set()
    for name in ("condensate-pump-dry-start", "sand-pump-jet-wash", "crude-pump-barrier-lost"):
        case = judged(name)
        lead = case.graph.nodes[ranked(case.graph, "cause")[0]]
        at = case.diagnosis.at(lead["told_at"])
        whole = worth(at.net, at.found.evidence, lead["text"])
        for group in why.why(case.asked, ranked(case.graph, "cause")[0])["groups"]:
            marks = [m["finding"] for m in group["marks"]]
            if group["weight"] < 0.5 or len(marks) < 2:
                assert group["together"] == ""
                continue
            gone = [whole - worth(at.net, at.found.evidence.without([f]), lead["text"]) for f in marks]
            any_ = max(gone) < 0.2 * group["weight"]
            all_ = min(gone) > 0.8 * group["weight"]
            assert group["together"] == ("any of these suffices" if any_ else "only together" if all_ else "")
            seen.add(group["together"])
    assert "any of these suffices" in seen


def test_the_contrast_weighs_the_groups_of_either_side(small):
    this, other = (why.find(small.graph, n)[0] for n in ("dry running", "bent shaft"))
    answer = why.contrast(small.asked, this, other)
    ledgers = [{g["mechanism"]: g["weight"] for g in why.why(small.asked, n)["groups"]} for n in (this, other)]
    for row in answer["rows"][1:]:
        assert row["this"] == pytest.approx(ledgers[0][row["what"]], abs=1e-6)
        assert row["difference"] == pytest.approx(ledgers[0][row["what"]] - ledgers[1][row["what"]], abs=1e-6)
    assert sum(answer["together"].values()) == pytest.approx(1, abs=1e-6)
    back = why.contrast(small.asked, other, this)
    assert [r["difference"] for r in back["rows"]] == pytest.approx([-r["difference"] for r in answer["rows"]])
    assert [r["finding"] for r in back["would_part_them"]] == [r["finding"] for r in answer["would_part_them"]]


def test_what_parts_two_causes_is_ranked_by_what_looking_tells(small):
    """Jeffreys divergence in dB, by hand: 'shaft moves' is there always (0.98) with one, and with the other as often as
    otherwise (0.05) held down by never (0.001); what is there is overlooked in 5 % and taken to be there in 1 %."""
    answer = why.contrast(small.asked, *(why.find(small.graph, n)[0] for n in ("dry running", "bent shaft")))
    first = answer["would_part_them"][0]
    p, q = (0.01 + 0.94 * there for there in (0.001, 0.98))
    by_hand = (p - q) * (10 * math.log10(p / q) - 10 * math.log10((1 - p) / (1 - q)))
    assert first["finding"] == "shaft moves" and first["measurements"] == ["runout by dial"]
    assert first["tells"] == pytest.approx(by_hand, rel=0.02)


def test_a_look_alike_says_what_tells_the_two_apart(small):
    answer = why.contrast(small.asked, *(why.find(small.graph, n)[0] for n in ("bent shaft", "dry running")))
    assert answer["told_apart_by"] == ["The shaft runs out."]
    told = {r["finding"]: r["told_apart_by"] for r in answer["would_part_them"]}
    assert told["shaft moves"] == "The shaft runs out."


@pytest.mark.parametrize(
    "names", [("dry running", "faces overheated"), ("ring baked", "bent shaft"), ("ring hard", "dry running")]
)
def test_what_stands_on_two_levels_is_not_set_against_each_other(names):
    text, code = run(f'diagnose why CASE "{names[0]}" --rather-than "{names[1]}"')
    assert code == 2 and ("two causes, or two mechanisms" in text or "name one on both sides" in text)


def test_a_mechanism_says_what_could_have_brought_it_about(small):
    answer = why.why(small.asked, why.find(small.graph, "faces overheated")[0])
    assert [(r["name"], r["seen"]) for r in answer["above"]] == [("dry running", "almost always")]
    assert 0 < answer["unexplained"] < 1 and answer["chain"]["main"] == ["faces overheated", "ring baked"]


# ---- compare ---------------------------------------------------------------------------------------------------------


def test_two_seals_alike_have_one_cause_and_unlike_ones_do_not(small):
    from diagnose.trail.compare import compare

    same = compare(small.diagnosis, small.diagnosis)["pairs"][0]
    assert same["same_cause_explains_both"] and same["common_causes"][0]["cause"] == "dry running"
    judged = small.graph.nodes["c:dry running@seal"]
    assert same["common_better_by"] == pytest.approx(-judged["prior"])
    bent = b"case: bent\nseal: {arrangement: single}\nobservations:\n  - {on: shaft, saw: bent}\n  - {on: hard face, absent: radial cracks}\n"
    other = reasoned(bent, small.base)
    unlike = compare(small.diagnosis, other.diagnosis)["pairs"][0]
    assert not unlike["same_cause_explains_both"]
    assert {d["finding"] for d in unlike["findings"]["differ"]} >= {"hot all round"}
    assert {r["mechanism"] for r in unlike["happened"]} >= {"faces overheated", "ring baked"}
    assert "shaft moves" in unlike["findings"]["only_second"]


def test_the_order_of_dictionaries_and_the_hash_seed_leave_no_trace(small):
    inference = replace(
        small.inference, findings={p: dict(reversed(list(d.items()))) for p, d in small.inference.findings.items()}
    )
    again = build(Diagnosis.of(inference, small.base))
    assert list(again.nodes(data=True)) == list(small.graph.nodes(data=True))


def rewrite() -> None:
    """Writes the transcripts anew; read what changed before it is kept."""
    for path in TRANSCRIPTS:
        parts = []
        for command, _ in transcript(path):
            text, code = run(command)
            parts.append(f"$ {command}\n{text}" + (f"[exit {code}]\n" if code else ""))
        path.write_text("".join(parts), "utf-8")


if __name__ == "__main__":
    rewrite()
    sys.exit(0)

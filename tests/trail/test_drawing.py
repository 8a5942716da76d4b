"""The picture of the graph: nothing overlaps, every label fits its box, lines meet their boxes, the same each time."""

from __future__ import annotations

import itertools
import re
from time import process_time
from xml.etree import ElementTree

import pytest

from diagnose.judgement.diagnosis import Diagnosis
from diagnose.trail.graph import build, cause_id, of_type, proof
from diagnose.views.drawings.lettering import FONT, cut, text_width, wrap
from diagnose.views.graph_drawing import TALLEST, UPRIGHT, WIDTH, draw, element_id, for_paper
from tests.support.places import SCENARIOS, mostly_slow

SVG = "{http://www.w3.org/2000/svg}"


def largest(judged):
    return max((judged(p) for p in SCENARIOS), key=lambda c: len(draw(c.graph).boxes))


def check(picture) -> None:
    boxes = picture.boxes
    for a, (x, y, w, h) in boxes.items():
        assert x >= 0 and y >= 0 and x + w <= picture.width and y + h <= picture.height, a
    places = sorted(boxes.items(), key=lambda b: b[1])
    for i, (a, (x, y, w, h)) in enumerate(places):
        for b, (x2, y2, w2, h2) in places[i + 1 :]:
            assert x + w <= x2 or x2 + w2 <= x or y + h <= y2 or y2 + h2 <= y, (a, b)
    for a, b in picture.lines:
        assert boxes[a][0] + boxes[a][2] <= boxes[b][0], f"{a} > {b} runs from right to left"
    texts_inside(picture)


def texts_inside(picture) -> None:
    """Each text of a node lies inside its box, and no two of a box lie on each other."""
    root = ElementTree.fromstring(picture.svg)
    seen = 0
    for group in root.iter(f"{SVG}g"):
        x, y, w, h = picture.boxes[group.get("data-node")]
        lines: dict[float, list[tuple[float, float]]] = {}
        for text in group.iter(f"{SVG}text"):
            seen += 1
            left, top = float(text.get("x")), float(text.get("y"))
            size = 13.0 if text.get("class") == "strong" else 11.0 if text.get("class") == "row" else FONT
            width = text_width(text.text or "", size)
            start = left - {"end": width, "middle": width / 2}.get(text.get("text-anchor", ""), 0.0)
            if text.get("text-anchor") != "middle":
                assert start >= x - 1 and start + width <= x + w + 1, (group.get("data-node"), text.text)
            assert y < top <= y + h, (group.get("data-node"), text.text)
            lines.setdefault(top, []).append((start, start + width))
        for spans in lines.values():
            spans.sort()
            assert all(a[1] <= b[0] + 1 for a, b in itertools.pairwise(spans))
        tops = sorted(lines)
        assert all(b - a >= 13 for a, b in itertools.pairwise(tops))
    assert seen >= len(picture.boxes)


@pytest.mark.parametrize("path", mostly_slow(SCENARIOS), ids=lambda p: p.stem)
@pytest.mark.slow
def test_no_label_overlaps_another(path, judged):
    picture = draw(judged(path).graph)
    check(picture)
    assert picture.width <= WIDTH and len(picture.boxes) >= 3


@pytest.mark.slow
def test_the_largest_scenario_with_every_cause_and_the_part_under_one_conclusion(judged):
    case = largest(judged)
    check(draw(case.graph, everything=True))
    for node in of_type(case.graph, "cause")[:3]:
        check(draw(proof(case.graph, node), everything=True))
    found = [n for n in of_type(case.graph, "finding") if case.graph.nodes[n]["state"] == "present"]
    for node in found[:5]:
        part = draw(proof(case.graph, node), everything=True)
        check(part)
        assert node in part.boxes


@pytest.mark.slow
def test_on_paper_a_proof_is_upright_where_it_has_room_and_leaves_the_lightest_marks_out_where_it_is_too_tall(judged):
    widths, shortened = set(), 0
    for path in SCENARIOS:
        case = judged(path)
        for position, j in ((x.position, x.causes[0]) for x in case.diagnosis.judgements):
            whole = draw(part := proof(case.graph, cause_id(j.name, position)))
            picture = for_paper(part)
            check(picture)
            assert picture.height <= TALLEST[WIDTH if picture.width > UPRIGHT else UPRIGHT] + 40, (path.stem, j.name)
            left_out = len(whole.lines) - len(picture.lines)
            assert ("are left out" in picture.svg) == (left_out > 0)
            widths.add(picture.width > UPRIGHT)
            shortened += left_out > 0
    assert widths == {True, False} and 0 < shortened < len(SCENARIOS) / 2


def test_every_box_and_line_can_be_found_by_the_ids_of_the_graph(small):
    picture = draw(small.graph)
    root = ElementTree.fromstring(picture.svg)
    ids = {g.get("id"): g.get("data-node") for g in root.iter(f"{SVG}g")}
    assert set(ids.values()) == set(picture.boxes) and all(element_id(n) == i for i, n in ids.items())
    assert all(re.fullmatch(r"[^\s]+", i) for i in ids)
    ends = {(p.get("data-from"), p.get("data-to")) for p in root.iter(f"{SVG}path") if p.get("data-from")}
    assert ends == set(picture.lines)


def test_the_chain_is_drawn_from_the_cause_to_the_marks_and_what_is_ruled_out_is_not(small):
    picture = draw(small.graph)
    chain = ["f:ring hard@seal", "x:ring baked@seal", "x:faces overheated@seal", "c:dry running@seal"]
    assert set(itertools.pairwise(chain)) <= set(picture.lines)
    arrows = re.findall(r'data-from="(x:[^"]*)" data-to="([^"]*)"[^>]* marker-start', picture.svg)
    assert set(arrows) == set(itertools.pairwise(chain[1:]))
    assert "c:barrier lost@seal" not in draw(small.graph, everything=True).boxes


def test_the_picture_is_the_same_each_time_and_needs_nothing_from_outside(small):
    again = build(Diagnosis(small.inference.case, small.base))
    svg = draw(small.graph).svg
    assert draw(again).svg == svg
    assert not re.search(r"(?:href|src|url\()\s*=?\s*[\"']?\s*(?:https?:|//|file:)", svg) and "<script" not in svg


def test_a_picture_of_nothing_is_still_a_picture(small):
    empty = small.graph.subgraph([]).copy()
    empty.graph.update(small.graph.graph)
    ElementTree.fromstring(draw(empty).svg)


def test_long_words_are_cut_and_long_texts_end_in_an_ellipsis():
    lines = wrap("x" * 400 + " and more words than could ever fit", 100)
    assert len(lines) == 5 and lines[-1].endswith("…") and all(text_width(t) <= 100 for t in lines)
    assert cut("short", 200) == "short" and cut("much too long for it", 50).endswith("…")
    assert wrap("", 100) == [""]


@pytest.mark.parametrize("text", ["x" * 1_000_000, "x " * 500_000])
def test_a_text_without_end_is_cut_at_once(text):
    began = process_time()
    assert len(wrap(text, 100)) == 5
    assert process_time() - began < 3

"""The parts as they sat: from the faces back, with what touched what, marks and pockets, as text and as a picture."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from diagnose.casefile.reader import parse_case, read_case
from diagnose.casefile.stack import stacks
from diagnose.casefile.walk import usual_document
from diagnose.casefile.writer import render
from diagnose.reading.problems import Problems
from diagnose.views.drawings.lettering import text_width
from diagnose.views.page import Page
from diagnose.views.stack import drawing, page
from tests.support.places import SCENARIOS


def case_of(knowledge, arrangement, **changes):
    document = usual_document("Pump <K-7>", arrangement, knowledge.arrangements.usual[arrangement], "")
    for entry in document["parts"]:
        entry |= changes.get(f"part {entry['item']}", {})
    problems = Problems()
    case = parse_case(render(document), "x", knowledge, problems)
    return case, [p.code for p in problems.found]


def test_parts_stand_from_the_faces_back_each_side_apart(whole_base):
    case, wrong = case_of(whole_base.knowledge, "single")
    rotating = next(s for s in stacks(case) if s.group == "rotating")
    assert not wrong and [(x.part.item, x.steps) for x in rotating.parts] == [
        ("1", 0), ("3", 1), ("5", 1), ("7", 1), ("6", 2), ("9", 2), ("8", 3), ("10", 3),
    ]  # fmt: skip


@pytest.mark.parametrize("arrangement", ["single", "dual pressurised", "three stages", "dry gas"])
@pytest.mark.parametrize("width", [80, 120])
def test_every_part_is_told_once_within_the_width(whole_base, arrangement, width):
    case, _ = case_of(whole_base.knowledge, arrangement)
    lines = page(case, whole_base.knowledge, Page(width, False)).lines
    assert max(map(len, lines)) <= width
    heads = [line.split()[1] for line in lines if line.startswith("  ") and line.split()[0] == "part"]
    assert sorted(heads) == sorted(p.item for p in case.parts)


def test_marks_ends_pockets_and_slots_are_told(whole_base):
    more = {"index": "keyway", "seen from": "driver end", "towards": "impeller end"}
    case, wrong = case_of(whole_base.knowledge, "single", **{"part 1": more, "part 5": {"sat in": ["1 in pocket 3"]}})
    text = page(case, whole_base.knowledge, Page(100, False)).text()
    assert not wrong and "index: keyway, seen from the driver end" in text and "points to the impeller end" in text
    assert "1 in pocket 3" in text
    bare = text.partition("Without a mark yet")[2]
    assert "part 2 Stationary ring" in bare and "part 1 Rotating ring" not in bare


def test_a_place_that_says_nothing_is_refused(whole_base):
    _, wrong = case_of(whole_base.knowledge, "single", **{"part 5": {"sat in": ["pocket 3"]}})
    assert wrong == ["place"]


def test_the_picture_is_sound_has_a_box_a_part_and_no_box_over_another(whole_base):
    for arrangement in whole_base.knowledge.arrangements.usual:
        case, _ = case_of(whole_base.knowledge, arrangement)
        root = ET.fromstring(drawing(case, whole_base.knowledge).svg)
        boxes = [
            (float(r.get("x")), float(r.get("y"))) for r in root.iter("{http://www.w3.org/2000/svg}rect") if r.get("x")
        ]
        assert len(boxes) == len({*boxes}) == sum(bool(p.touches) for p in case.parts)


SVG = "{http://www.w3.org/2000/svg}"


def texts_out_of_place(svg: str) -> list[str]:
    """Texts that leave the box they stand in, or the picture."""
    root, wrong = ET.fromstring(svg), []
    whole = (0.0, 0.0, float(root.get("width")), float(root.get("height")))
    for group in (root, *root.iter(f"{SVG}g")):
        box = group.find(f"{SVG}rect") if group is not root else None
        x, y, w, h = whole if box is None else (float(box.get(k)) for k in ("x", "y", "width", "height"))
        for text in group.findall(f"{SVG}text"):
            size, left, base = (float(text.get(k)) for k in ("font-size", "x", "y"))
            right = left + text_width(text.text, size)
            if not (x <= left and right <= x + w and y <= base - size * 0.8 and base + size * 0.25 <= y + h):
                wrong.append(text.text)
    return wrong


def test_every_text_of_the_picture_is_within_its_box_and_the_picture(whole_base):
    pictures = [drawing(read_case(p, whole_base.knowledge), whole_base.knowledge).svg for p in SCENARIOS]
    assert all("thick line" in x for x in pictures) and [t for x in pictures for t in texts_out_of_place(x)] == []


def test_long_names_and_marks_stand_whole_in_the_picture_and_what_is_not_drawn_is_told(whole_base):
    name, index = "Stationary ring of the outboard cartridge with a step", "second keyway counted from the set screw"
    parts = [
        {"item": "1", "name": name, "kind": "hard face", "group": "stationary", "carries": "wide", "index": index, "index at": "4", "seen from": "impeller end"},
        {"item": "2", "name": "Loose bolt", "kind": "gland bolt", "group": "stationary"},
    ]  # fmt: skip
    case = parse_case(
        render({"case": "x", "seal": {"arrangement": "single"}, "parts": parts}), "", whole_base.knowledge, Problems()
    )
    svg = drawing(case, whole_base.knowledge).svg
    told = " ".join(t.text for t in ET.fromstring(svg).iter(f"{SVG}text"))
    assert texts_out_of_place(svg) == [] and name in told and index in told and "seen from the impeller end" in told
    assert "not drawn, as nothing says what they touch: 2" in told


def points(way: str) -> list[tuple[float, float]]:
    """Places along a line of the picture."""
    found: list[tuple[float, float]] = []
    for command, numbers in re.findall(r"([MCHV])([^MCHV]*)", way):
        values = [float(n) for n in numbers.split()]
        if command == "M":
            found.append((values[0], values[1]))
            continue
        (x, y), ends = found[-1], values
        if command == "H":
            ends = [x, y, values[0], y, values[0], y]
        elif command == "V":
            ends = [x, y, x, values[0], x, values[0]]
        a, b, c, d, u, v = ends
        for t in (i / 20 for i in range(1, 21)):
            s = 1 - t
            found.append((s**3 * x + 3 * s * s * t * a + 3 * s * t * t * c + t**3 * u,
                          s**3 * y + 3 * s * s * t * b + 3 * s * t * t * d + t**3 * v))  # fmt: skip
    return found


def test_no_line_runs_behind_a_box_that_it_does_not_join(whole_base):
    for arrangement in whole_base.knowledge.arrangements.usual:
        case, _ = case_of(whole_base.knowledge, arrangement)
        svg = drawing(case, whole_base.knowledge).svg
        boxes = [
            tuple(map(float, b))
            for b in re.findall(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"', svg)
        ]
        lines = [points(d) for d in re.findall(r'<path d="([^"]*)"', svg)]
        assert len(boxes) > 5 and len(lines) > 5
        for line in lines:
            for x, y, w, h in boxes:
                ends = [x <= u <= x + w and y <= v <= y + h for u, v in (line[0], line[-1])]
                inside = [p for p in line if x < p[0] < x + w and y < p[1] < y + h]
                assert any(ends) or not inside, arrangement

"""Every mark that can be drawn is drawn within its frame, in black alone, and differs from the sound part."""

from __future__ import annotations

import re
import shutil
import xml.etree.ElementTree as ElementTree

import pytest

from diagnose.knowledge.reader import read_knowledge
from diagnose.knowledge.sketches import SHAPES, STROKES, Sketch, Stroke, Track, sketch_of
from diagnose.reading.problems import BadInput
from diagnose.views.drawings import sketches
from diagnose.views.drawings.ink import sheet
from diagnose.views.drawings.sketches import PARTS, sketch, why_not_drawn
from diagnose.views.drawings.surfaces import draw
from tests.support.commands import diagnose
from tests.support.places import SMALL

NUMBER = r"-?[\d.]+"


def places(svg: str) -> list[tuple[float, float]]:
    """Every point that a drawing goes through, and the ends of its circles."""
    found = [
        (float(x), float(y))
        for d in re.findall(r' d="([^"]*)"', svg)
        for x, y in re.findall(rf"({NUMBER}) ({NUMBER})", d)
    ]
    for x, y, r in re.findall(rf'cx="({NUMBER})" cy="({NUMBER})" r="({NUMBER})"', svg):
        found += [(float(x) + way * float(r), float(y) + way * float(r)) for way in (-1, 1)]
    return found


@pytest.fixture(scope="module")
def vocabulary(whole_base):
    return whole_base.knowledge.vocabulary


@pytest.fixture(scope="module")
def drawn(vocabulary):
    """Each drawing of the vocabulary by the name of its mark."""
    return {name: d.svg for name in vocabulary.features if (d := sketch(vocabulary, name))}


@pytest.mark.slow
def test_every_mark_is_drawn_or_says_why_it_cannot_be(vocabulary, drawn):
    silent = [n for n in vocabulary.features if (n in drawn) == bool(why_not_drawn(vocabulary, n))]
    assert not silent and len(drawn) > 200
    assert why_not_drawn(vocabulary, "smell") and why_not_drawn(vocabulary, "squeal") == "A sound is heard."


def test_a_drawing_is_xml_in_black_and_white_without_words_or_marks_of_its_own_style(drawn):
    for name, svg in drawn.items():
        ElementTree.fromstring(svg)
        assert set(re.findall(r'(?:fill|stroke)="([^"]*)"', svg)) <= {"#000", "#fff", "none"}, name
        assert "<text" not in svg and "style" not in svg and "nan" not in svg


def test_a_drawing_stays_in_its_frame(drawn):
    for name, svg in drawn.items():
        if "transform=" not in svg:
            out = [(x, y) for x, y in places(svg) if not (-1 <= x <= 161 and -1 <= y <= 121)]
            assert not out, name


def test_a_mark_is_not_drawn_as_the_sound_part_is(vocabulary, drawn):
    for name in drawn:
        part, _ = sketch_of(vocabulary, name)
        bare = sheet(PARTS[part](Sketch(), "outer edge").lines)
        assert bare not in drawn[name] or name == "no witness", name


@pytest.mark.slow
def test_every_shape_of_every_drawing_and_every_kind_of_mark_is_drawn_and_differs():
    for part, make in PARTS.items():
        plain = "".join(make(Sketch(), "outer edge").lines)
        surface = make(Sketch(), "outer edge").surface
        for shape in SHAPES[part]:
            assert shape == "round" or "".join(make(Sketch(shape=shape), "outer edge").lines) != plain, (part, shape)
        for what, kinds in STROKES.items():
            told = ["".join(draw(surface, Stroke(what, kind))) for kind in kinds]
            assert len(set(told)) == len(told) and all(told), part
    assert set(PARTS) == set(SHAPES) - {"any"}
    posed = ["".join(sketches._posed(shape, ["<x/>"])) for shape in SHAPES["any"]]
    assert len(set(posed)) == len(posed)


def test_every_shape_that_is_told_is_known_to_the_drawing_it_is_told_of(vocabulary, drawn):
    for name in drawn:
        part, told = sketch_of(vocabulary, name)
        assert told.shape in ("", *SHAPES["any"], *SHAPES[part]), (name, part, told.shape)
        assert told.track is None or part == "face", name


def test_the_general_mark_is_drawn_on_any_part(vocabulary):
    on_face, on_ring = (sketch(vocabulary, "crack", on) for on in ("hard face", "dynamic O-ring"))
    assert on_face and on_ring and on_face.svg != on_ring.svg
    assert sketch(vocabulary, "crack", "sound") is None and why_not_drawn(vocabulary, "crack", "sound")


def test_the_record_says_which_way_where_and_on_which_edge(vocabulary):
    radial, round_ = (sketch(vocabulary, "crack", "hard face", runs=r).svg for r in ("radial", "concentric"))
    assert radial != round_
    inner, outer = (places(sketch(vocabulary, "edge chips", side=s).svg) for s in ("inner edge", "outer edge"))
    far = [
        max((x - 80) ** 2 + (y - 60) ** 2 for x, y in found if (x, y) != (132, 60)) ** 0.5 for found in (inner, outer)
    ]
    assert far[0] <= far[1] + 1e-6 and inner != outer
    right = sketch(vocabulary, "blisters", arcs=[(80.0, 100.0)]).svg
    rims = re.findall(rf'cx="({NUMBER})" cy="({NUMBER})" r="3.6"', right)
    assert rims and all(float(x) > 100 and abs(float(y) - 60) < 25 for x, y in rims)


def test_a_wide_track_is_wider_than_the_nose_and_one_off_centre_is_shifted(vocabulary):
    from diagnose.views.drawings.rings import face

    wide = face(Sketch(track=Track(width=2, nose=True)), "outer edge").surface
    usual = face(Sketch(track=Track()), "outer edge").surface
    shifted = face(Sketch(track=Track(offset=0.5)), "outer edge").surface
    assert wide.high - wide.low == pytest.approx(2 * (usual.high - usual.low))
    assert shifted.centre[0] - usual.centre[0] == pytest.approx(0.5 * (usual.high - usual.low))


def test_a_drawing_is_the_same_each_time_and_as_large_as_asked(vocabulary):
    one, other = (sketch(vocabulary, "radial cracks", size=320).svg for _ in range(2))
    assert one == other and 'width="320" height="240"' in one


@pytest.mark.parametrize(
    "told, says",
    [
        ("{shape: sqare}", "unknown-word"),
        ("{none: why, shape: square}", "sketch"),
        ("{marks: [{count: 3}]}", "sketch"),
        ("{marks: [{dots: pits, count: many}]}", "number"),
        ("{marks: [{dots: pit}]}", "unknown-word"),
        ("{track: {width: 0}}", "sketch"),
        ("{colour: red}", "unknown-key"),
        ("{on: carburettor}", "unknown-word"),
        ("square", "mapping"),
    ],
)
def test_a_mistake_in_a_sketch_is_told_where_it_stands(tmp_path, told, says):
    shutil.copytree(SMALL / "knowledge", tmp_path / "rules")
    file = tmp_path / "rules" / "vocabulary" / "features.yaml"
    lines = file.read_text().rstrip().split("\n")
    file.write_text("\n".join([*lines, "  spalt:", "    means: Torn.", "    on: [face]", f"    sketch: {told}"]) + "\n")
    with pytest.raises(BadInput) as caught:
        read_knowledge(tmp_path / "rules")
    problem = caught.value.problems[0]
    assert (problem.code, problem.where.line) == (says, len(lines) + 4) and problem.where.column > 4


@pytest.mark.slow
def test_meaning_writes_a_picture_or_says_why_not(tmp_path):
    file = tmp_path / "cracks.svg"
    done = diagnose("meaning", "hard face cracked like dried mud", "--picture", str(file))
    assert done.returncode == 0 and "<title>Sketch: crack" in file.read_text("utf-8")
    done = diagnose("meaning", "squeal", "--picture", str(tmp_path / "no.svg"))
    assert done.returncode == 2 and "A sound is heard." in done.stderr and not (tmp_path / "no.svg").exists()
    done = diagnose("meaning", "springs broken", "--picture", str(tmp_path / "no.svg"))
    assert done.returncode == 2 and "not one mark" in done.stderr

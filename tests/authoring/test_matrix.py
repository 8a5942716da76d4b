"""The matrix of words: out as a table, changed by hand, and back into the cards."""

from __future__ import annotations

import csv
import io
import json

import pytest

from diagnose.authoring.matrix import differences, matrix, read, table
from diagnose.inference.run import load
from diagnose.reading.problems import BadInput
from tests.support.workshop import call


def edited(text: str, row: str, column: str, word: str) -> str:
    rows = list(csv.reader(io.StringIO(text)))
    at = rows[0].index(column)
    for line in rows[1:]:
        if line[1] == row:
            line[at] = word
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def test_the_table_holds_every_row_and_link_once(folder):
    knowledge = load(folder).knowledge
    made = matrix(knowledge)
    said = sum(len(row) for row in made.cells.values())
    cards = [*knowledge.causes.values(), *knowledge.mechanisms.values()]
    assert said == sum(len(m.leaves) for m in knowledge.mechanisms.values()) + sum(len(c.brings_about) for c in cards)
    assert made.cells["finding", "ring hard"] == {"ring baked": "almost always"}
    assert made.cells["cause", "dry running"] == {"faces overheated": "almost always"}
    assert made.otherwise["mechanism", "ring baked"] == "very rarely"
    signs = matrix(knowledge, "cause")
    assert sum(len(row) for row in signs.cells.values()) == sum(len(c.leaves) for c in knowledge.causes.values())


def test_a_table_taken_back_unchanged_changes_nothing(folder):
    knowledge = load(folder).knowledge
    for of in ("mechanism", "cause"):
        made = matrix(knowledge, of)
        text = table(made)
        assert differences(made, read(text, "m.csv", knowledge, of)) == []
        assert differences(made, read(text.replace(",", ";"), "m.csv", knowledge, of)) == []


def test_changed_words_are_written_into_their_cards_and_told(folder, tmp_path):
    path = tmp_path / "m.csv"
    assert call("matrix", "--csv", path, "--knowledge", folder)[0] == 0
    card = folder / "mechanisms/ring-baked.yaml"
    card.write_text(card.read_text().replace("seen: almost always}", "seen: almost always}   # seen on the bench"))
    text = edited(path.read_text(), "ring hard", "ring baked", "usually")
    text = edited(text, "dry running", "faces overheated", "always")
    text = edited(text, "chipped edges", "washed by a jet", "often")
    text = edited(text, "cracked somewhere", "faces overheated", "")
    text = edited(text, "ring baked", "otherwise", "never")
    path.write_text(edited(text, "barrier lost", "ring baked", "sometimes"))
    before = {p: p.read_text() for p in folder.rglob("*.yaml")}
    code, said = call("matrix", "--from", path, "--dry-run", "--knowledge", folder)
    assert code == 0 and "6 words would change" in said
    assert before == {p: p.read_text() for p in folder.rglob("*.yaml")}
    code, said = call("matrix", "--from", path, "--knowledge", folder)
    assert code == 0 and "6 words changed" in said
    assert "ring baked, ring hard: almost always -> usually" in said
    assert "faces overheated, cracked somewhere: almost always -> no row" in said
    knowledge = load(folder).knowledge
    now = matrix(knowledge)
    assert now.cells["finding", "ring hard"] == {"ring baked": "usually"}
    assert now.cells["finding", "chipped edges"] == {"rings knock": "usually", "washed by a jet": "often"}
    assert now.cells["finding", "cracked somewhere"] == {}
    assert now.cells["cause", "barrier lost"] == {"faces overheated": "often", "ring baked": "sometimes"}
    assert knowledge.mechanisms["ring baked"].otherwise == "never"
    assert "seen: usually}   # seen on the bench" in card.read_text()
    assert "0 words changed" in call("matrix", "--from", path, "--knowledge", folder)[1]


def test_a_wrong_table_is_told_at_its_places_and_writes_nothing(folder, tmp_path):
    path = tmp_path / "m.csv"
    call("matrix", "--csv", path, "--knowledge", folder)
    text = edited(path.read_text(), "ring hard", "ring baked", "usualy")
    text = edited(text, "bent shaft", "rings knock", "never")
    path.write_text(text.replace("finding,hot all round", "finding,hot al round"))
    before = {p: p.read_text() for p in folder.rglob("*.yaml")}
    code, said = call("matrix", "--from", path, "--knowledge", folder)
    assert code == 2 and "usually" in said and "hot all round" in said and said.count(f"{path}:") == 2
    path.write_text(text.replace("usualy", "usually"))
    code, said = call("matrix", "--from", path, "--knowledge", folder)
    assert code == 2 and "link-says-nothing" in said
    assert before == {p: p.read_text() for p in folder.rglob("*.yaml")}


def test_some_columns_only(folder):
    made = json.loads(call("matrix", "ring baked", "--json", "--knowledge", folder)[1])
    assert made["columns"] == ["ring baked"] and [r["name"] for r in made["rows"]] == ["ring hard", "faces overheated"]
    said = call("matrix", "ring baked", "--knowledge", folder)[1]
    assert "ring hard (rarely by itself): ring baked almost always" in said
    code, said = call("matrix", "ring backed", "--knowledge", folder)
    assert code == 2 and "ring baked" in said


def refusals(text: str, knowledge) -> dict[tuple[int, str], str]:
    with pytest.raises(BadInput) as refused:
        read(text, "m.csv", knowledge)
    return {(p.where.line, p.code): p.says for p in refused.value.problems}


def test_a_table_that_was_cut_or_has_lost_its_cells_takes_no_word_away(folder):
    knowledge = load(folder).knowledge
    lines = table(matrix(knowledge)).splitlines()
    last = next(i for i, line in enumerate(lines) if i and "almost always" in line)
    half = "\n".join([*lines[:last], lines[last].partition("almost always")[0].rstrip(",")])
    assert refusals(half, knowledge).keys() == {(last + 1, "cells")}
    assert refusals(lines[0], knowledge).keys() == {(1, "table-rows")}
    assert (1, "table-head") in refusals("level,name\nfinding,ring hard\n", knowledge)
    mixed = "\n".join([lines[0], *(line.replace(",", ";") for line in lines[1:])])
    assert len(refusals(mixed, knowledge)) == len(lines) - 1
    assert refusals(f"{lines[0]}\n{lines[last]},,more", knowledge).keys() == {(2, "cells")}


def test_empty_cells_left_out_at_the_end_of_a_row_change_nothing(folder):
    knowledge = load(folder).knowledge
    made = matrix(knowledge)
    text = "\n".join(line.rstrip(",") for line in table(made).splitlines())
    assert text != table(made) and differences(made, read(text, "m.csv", knowledge)) == []


def test_what_is_no_table_is_told(folder):
    cell = "x" * (csv.field_size_limit() + 1)
    with pytest.raises(BadInput, match="no table"):
        read(f"level,name,{cell}\n", "table.csv", load(folder).knowledge)

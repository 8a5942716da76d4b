"""Draft, trial, accepted, retired: what runs, what counts in part and is marked, what points to its successor."""

from __future__ import annotations

import pytest
from typer.testing import CliRunner

from diagnose.cli.main import commands
from diagnose.inference.run import load
from diagnose.judgement.network import build
from diagnose.knowledge.reader import read_knowledge
from diagnose.reading.problems import BadInput
from tests.support.places import SMALL


def set_status(folder, name, status):
    path = folder / name
    path.write_text(path.read_text().replace("status: accepted", f"status: {status}"))


def explained(folder, *more):
    words = ["explain", str(SMALL / "case.yaml"), "--knowledge", str(folder), *more]
    result = CliRunner().invoke(commands("explain"), words)
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


def test_a_draft_runs_only_when_asked(folder):
    set_status(folder, "causes/jet-erosion.yaml", "draft")
    assert "jet erosion" not in explained(folder, "--all")
    assert "jet erosion" in explained(folder, "--all", "--with-drafts")


def test_a_trial_finding_weighs_in_part_and_is_marked(folder):
    """P(f | cause) on trial is b·(p/b)^w: with w = 0.5, sqrt(0.95·0.05) = 0.22."""
    assert "on trial" not in explained(folder)
    set_status(folder, "findings/ring-hard.yaml", "trial")
    net = build(load(folder).knowledge)
    keep = net.marks.inhibition[net.row["ring hard"], net.mechanism["ring baked"]]
    assert 1 - keep * (1 - 0.05) == pytest.approx((0.95 * 0.05) ** 0.5)
    assert "ring hard (on trial)" in explained(folder)


def test_a_retired_card_does_not_run_keeps_its_id_and_names_its_successor(folder):
    old = (folder / "findings/ring-hard.yaml").read_text()
    (folder / "findings/rubber-hard.yaml").write_text(
        old.replace("ring hard", "rubber hard").replace("id: F3", "id: F93")
    )
    (folder / "findings/ring-hard.yaml").write_text(
        old.replace("status: accepted", "status: retired\nreplaced by: rubber hard")
    )
    with pytest.raises(BadInput) as caught:
        read_knowledge(folder)
    assert {p.way_out for p in caught.value.problems} == {"it is retired: use rubber hard"}
    for name in ("mechanisms/ring-baked.yaml", "findings/hot-and-hard.yaml"):
        path = folder / name
        path.write_text(path.read_text().replace("ring hard", "rubber hard"))
    knowledge = read_knowledge(folder, drafts=True)
    assert "ring hard" not in knowledge.findings and knowledge.retired["ring hard"].replaced_by == "rubber hard"
    again = (folder / "findings/rubber-hard.yaml").read_text().replace("id: F93", "id: F3")
    (folder / "findings/rubber-hard.yaml").write_text(again)
    with pytest.raises(BadInput) as caught:
        read_knowledge(folder)
    assert {p.code for p in caught.value.problems} == {"id-twice"}

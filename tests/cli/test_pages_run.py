"""What the pages show can be done as it stands there: every call of the README in its order, and the first rule step by step."""

from __future__ import annotations

import json
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.support.commands import ended
from tests.support.places import KNOWLEDGE, ROOT

pytestmark = pytest.mark.slow

README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
STANDS_FOR = {
    "FILE": "a.yaml", "FILE…": "a.yaml", "CASE": "condensate-pump-dry-start", "DIR": ".", "WORD": "tape", "TAG": "P-12",
    "NAME": "gas not vented", "KEY": "key",
}  # fmt: skip
WAITS = ("record", "page", "drill", "stamp")
"""Commands that go on until somebody ends them, and one that wants a server."""
CALLS = [
    call
    for row in re.findall(r"^\| (`diagnose .*?) \|", README, re.M)
    for call in re.findall(r"`diagnose ([^`]+)`", row)
    if call.split()[0] not in WAITS
]


@pytest.fixture
def diagnose(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DIAGNOSE_BY", "ann")

    def run(call: str) -> tuple[int, str]:
        words = [STANDS_FOR.get(word, word) for word in shlex.split(call)]
        code, out, err = ended(monkeypatch, capsys, *words)
        return code, out + err

    return run


def test_every_call_of_the_readme_does_something(diagnose, tmp_path, tmp_path_factory):
    case = (ROOT / "scenarios" / "condensate-pump-dry-start.yaml").read_text("utf-8")
    (tmp_path / "closed.yaml").write_text(case.replace("equipment: {", "equipment: {tag: P-12, "), "utf-8")
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(tmp_path / "key")], check=True)
    rules = shutil.copytree(KNOWLEDGE, tmp_path_factory.mktemp("rules") / "knowledge")
    assert len(CALLS) > 25
    for call in CALLS:
        made = call.replace("new cause NAME", "new cause gasket of paper").replace("-o DIR", "-o book")
        code, told = diagnose(f"{made} --knowledge {rules}" if call.startswith("rules") else made)
        assert code in (0, 1) and "Traceback" not in told, f"diagnose {call}: {told[-500:]}"


def test_the_first_rule_can_be_written_as_the_page_says(diagnose, tmp_path):
    section = DEVELOPERS.partition("### Your first rule")[2].partition("\n### ")[0]
    feature, body = (re.sub("(?m)^   ", "", e) for e in re.findall(r"(?ms)^   ```yaml\n(.*?)^   ```$", section))
    base = tmp_path / "knowledge"
    shutil.copytree(KNOWLEDGE, base)

    def rules(words: str) -> tuple[int, str]:
        assert f"diagnose rules {words.partition(' --knowledge')[0]}" in " ".join(section.split()), words
        return diagnose(f"rules {words} --knowledge knowledge")

    vocabulary = base / "vocabulary" / "features.yaml"
    vocabulary.write_text(vocabulary.read_text("utf-8") + f"  {feature}", "utf-8")
    assert rules("new finding thread tape in the seal")[0] == 0
    card = base / "findings" / "thread-tape-in-the-seal.yaml"
    text = card.read_text("utf-8")
    for line in body.splitlines():
        key = line.partition(":")[0]
        text = re.sub(f"(?m)^{key}: .*$", lambda _, line=line: line, text)
    card.write_text(text, "utf-8")
    assert rules("check")[0] == 0
    assert rules('test "thread tape" --with-drafts')[0] == 1
    assert rules('new test "thread tape in the seal" --over')[0] == 0
    assert rules('test "thread tape" --with-drafts')[0] == 0
    row = re.search(r"`(\{finding: thread tape[^`]*\})`", section)[1]
    mechanism = base / "mechanisms" / "dirt-between-new-faces.yaml"
    mechanism.write_text(re.sub("(?m)^leaves:\n", f"leaves:\n  - {row}\n", mechanism.read_text("utf-8")), "utf-8")
    card.write_text(re.sub("(?m)^status: draft", "status: accepted", card.read_text("utf-8")), "utf-8")
    assert rules("check")[0] == 0
    code, told = rules('mutate "thread tape in the seal"')
    assert "survived" in told and code in (0, 1)
    assert rules("schema")[0] == 0
    assert "thread tape" in json.dumps(json.loads((base / "schema" / "terms.json").read_text("utf-8")))
    assert Path("knowledge").is_dir()

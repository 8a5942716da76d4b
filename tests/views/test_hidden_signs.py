"""Signs that hide text or turn its direction reach no page, from a case as from a rule base."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "small"
HIDDEN = re.compile("[\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff]")
SIGNS = "\\u202E\\u2066\\u200B\\u061C"


@pytest.mark.parametrize(
    ("words", "page"),
    [
        (["report", "a.yaml", "-o", "page.html"], "page.html"),
        (["report", "a.yaml", "-o", "page.md"], "page.md"),
        (["graph", "a.yaml", "-o", "page.svg"], "page.svg"),
        (["graph", "a.yaml", "--all", "-o", "page.svg"], "page.svg"),
        (["rules", "handbook", "-o", "book"], "book/index.html"),
        (["rules", "coverage", "--html", "page.html"], "page.html"),
    ],
)
def test_hidden_signs_reach_no_page(tmp_path, words, page):
    shutil.copytree(SMALL / "knowledge", tmp_path / "rules")
    for card in (tmp_path / "rules").rglob("*.yaml"):
        text = card.read_text("utf-8")
        card.write_text(
            re.sub('(?m)^(means|reads|says): ([^"\n]*)$', lambda m: f'{m[1]}: "{m[2]}{SIGNS}"', text), "utf-8"
        )
    text = (SMALL / "case.yaml").read_text("utf-8").replace("case: A small case", f'case: "A small case{SIGNS}"')
    assert SIGNS in text
    (tmp_path / "a.yaml").write_text(text, "utf-8")
    (tmp_path / "cases").mkdir()
    env = {**os.environ, "PYTHONPATH": str(ROOT), "DIAGNOSE_KNOWLEDGE": "rules", "DIAGNOSE_CACHE": "off"}
    more = ["--cases", "cases"] if "coverage" in words else []
    done = subprocess.run(
        [sys.executable, "-m", "diagnose", *words, *more], cwd=tmp_path, env=env, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr.decode()
    pages = sorted((tmp_path / page).parent.glob("*.html")) if page == "book/index.html" else [tmp_path / page]
    assert pages
    for one in pages:
        assert not HIDDEN.search(one.read_text("utf-8")), one

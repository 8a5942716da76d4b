"""The case file that the developers' page shows can be read."""

from __future__ import annotations

import re
from pathlib import Path

from diagnose.casefile.reader import parse_case
from diagnose.reading.problems import Problems


def test_the_case_file_of_the_developers_page_has_no_mistake(whole_base):
    page = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text("utf-8")
    (text,) = re.findall(r"## A case file\n\n```yaml\n(.*?)```", page, re.S)
    problems = Problems()
    case = parse_case(text.encode(), "example.yaml", whole_base.knowledge, problems)
    assert [str(p) for p in problems.sorted()] == []
    assert case and case.remarks and case.measured and case.expected

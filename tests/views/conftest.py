from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.places import LARGE


@pytest.fixture(scope="session")
def large(build):
    return build(LARGE)


@pytest.fixture
def case_file(tmp_path):
    """Writes a small case with the given lines among its observations and gives its path."""

    def write(*observations: str, more: str = "", name: str = "A small case") -> Path:
        lines = [
            f"case: {name}",
            "seal: {arrangement: single}",
            "index: {rotating: keyway, stationary: top dead centre}",
            "parts:",
            "  - {item: 1, name: Carbon ring, kind: soft face, group: rotating, carries: nose, index: keyway, seen from: driver end}",
            "  - {item: 2, name: Mating ring, kind: hard face, group: stationary, carries: wide, index: top dead centre, "
            "seen from: impeller end}",
            "observations:",
            *(f"  - {o}" for o in observations),
            more,
        ]
        path = tmp_path / "case.yaml"
        path.write_text("\n".join(lines) + "\n", "utf-8")
        return path

    return write

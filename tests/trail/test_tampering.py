"""Every kind of tampering with the evidence of a case, signed and unsigned: which check finds it; as a table on a page.

`python -m tests.trail.test_tampering` writes the page anew.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from diagnose.casefile.authors import short
from diagnose.casefile.journal import read_journal
from diagnose.trail import anchors
from tests.support.commands import diagnose
from tests.support.places import mostly_slow
from tests.trail import tampering
from tests.trail.tampering import KINDS, Bundle

PAGE = Path(__file__).parent / "TAMPERING.md"
CHECKS = ("journal", "trail", "case", "report", "signature", "book")
QUICK = ("chain remade: another word", "chain, trail and report remade", "trail: probability")


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    return prepared(tmp_path_factory.mktemp("evidence"))


def prepared(folder: Path) -> Path:
    """Two cases put together in full and signed, the rule base as files, and the heads as somebody wrote them into a book."""
    for name, contents in tampering.rules_with().items():
        path = folder / "rules" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(contents)
    for who in ("anna", "stranger"):
        subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", who, "-f", str(folder / who)], check=True)
    (folder / "signers").write_text(f"anna@example.invalid {(folder / 'anna.pub').read_text('utf-8')}", "utf-8")
    for place, name, hard in (("true", "pump-7", "hardened"), ("other", "pump-8", "soft")):
        (folder / place).mkdir()
        b = Bundle(folder / place, name)
        b.record(hard)
        b.write_trail()
        b.write_report()
        for file in b.evidence:
            anchors.sign(file, folder / "anna")
    b = Bundle(folder / "true")
    trail_digest = subprocess.run(["sha256sum", str(b.trail)], capture_output=True, text=True, check=True).stdout
    book = {"journal": short(read_journal(b.journal).lines[-1].digest), "trail": short(trail_digest)}
    (folder / "book.json").write_text(json.dumps(book), "utf-8")
    return folder


def found(folder: Path, b: Bundle) -> list[str]:
    """The checks that find something wrong with a bundle."""
    rules, book = {"DIAGNOSE_KNOWLEDGE": str(folder / "rules")}, json.loads((folder / "book.json").read_text("utf-8"))

    def wrong(*words: str) -> bool:
        return diagnose(*words, **rules).returncode != 0

    def held() -> bool:
        answer = diagnose("verify", str(b.trail), "--case", str(b.case), "--json", **rules)
        return answer.returncode != 0

    results = {
        "journal": wrong("journal", str(b.case), "--check"),
        "trail": wrong("verify", str(b.trail), "--knowledge", "carried"),
        "case": held(),
        "report": _report_differs(b),
        "signature": any(wrong("sign", str(f), "--check", "--signers", str(folder / "signers")) for f in b.evidence),
        "book": wrong("journal", str(b.case), "--check", "--head", book["journal"])
        or wrong("verify", str(b.trail), "--knowledge", "carried", "--head", book["trail"]),
    }  # fmt: skip
    return [check for check in CHECKS if results[check]]


def _report_differs(b: Bundle) -> bool:
    """Whether the report made anew of the case file as it is has other bytes."""
    from diagnose.reading.problems import BadInput

    try:
        return tampering.report(b.case) != b.report.read_bytes()
    except (BadInput, OSError):
        return True


def tried(folder: Path, kind: str) -> list[str]:
    """What finds a kind of tampering with a copy of the true bundle."""
    with tempfile.TemporaryDirectory(dir=folder) as place:
        for name in ("true", "other"):
            shutil.copytree(folder / name, Path(place) / name)
        b = Bundle(Path(place) / "true")
        KINDS[kind](b)
        return found(folder, b)


def written_down() -> dict[str, list[str]]:
    rows = {}
    for line in PAGE.read_text("utf-8").splitlines():
        cells = [c.strip() for c in line.strip("|").split("|")]
        if cells[0] in KINDS:
            rows[cells[0]] = [check for check, cell in zip(CHECKS, cells[1:], strict=True) if cell == "found"]
    return rows


@pytest.mark.slow
def test_nothing_is_found_where_nobody_tampered(made):
    assert found(made, Bundle(made / "true")) == []


def test_the_page_has_every_kind_and_every_one_is_found_where_the_evidence_is_signed():
    rows = written_down()
    assert set(rows) == set(KINDS) and len(KINDS) >= 50
    assert [kind for kind, checks in rows.items() if not checks] == []
    unfound = [kind for kind, checks in rows.items() if not set(checks) - {"signature", "book"}]
    assert f"unsigned, with nothing in a book: {len(KINDS) - len(unfound)} of {len(KINDS)}" in PAGE.read_text("utf-8")
    assert all("signature" in rows[kind] for kind in unfound), "what only an anchor finds, a signature finds"


@pytest.mark.parametrize("kind", mostly_slow([*QUICK, *(k for k in KINDS if k not in QUICK)], len(QUICK)))
def test_a_kind_is_found_by_what_the_page_says(kind, made):
    assert tried(made, kind) == written_down()[kind]


@pytest.mark.slow
def test_a_forger_who_signs_anew_with_another_key_or_takes_the_signatures_away_is_found(made):
    for cover in ("stranger", ""):
        with tempfile.TemporaryDirectory(dir=made) as place:
            shutil.copytree(made / "true", Path(place) / "true")
            b = Bundle(Path(place) / "true")
            KINDS["chain, trail and report remade"](b)
            for file in b.evidence:
                Path(f"{file}.sig").unlink()
                if cover:
                    anchors.sign(file, made / cover)
            assert "signature" in found(made, b)


HEAD = """\
# What finds tampering with the evidence of a case

Written by `python -m tests.trail.test_tampering`, which tries every kind on a case of its own. `journal`: `diagnose journal CASE
--check`. `trail`: `diagnose verify TRAIL --knowledge carried`, the trail held against itself. `case`: `diagnose verify TRAIL
--case CASE`, with the journal and the photos beside the case. `report`: made anew, compared byte for byte. `signature`: `diagnose
sign FILE --check` on journal, trail and report. `book`: the heads of journal and trail as somebody wrote them down.

"""


def page(rows: dict[str, list[str]]) -> str:
    total = len(rows)
    unsigned = sum(bool(set(checks) - {"signature", "book"}) for checks in rows.values())
    booked = sum(bool(set(checks) - {"signature"}) for checks in rows.values())
    signed = sum(bool(set(checks) - {"book"}) for checks in rows.values())
    counts = [f"Found unsigned, with nothing in a book: {unsigned} of {total}; ", f"unsigned, heads in a book: {booked} of {total}; ",
              f"signed: {signed} of {total}.\n\n"]  # fmt: skip
    table = [f"| kind | {' | '.join(CHECKS)} |", "|---|" + "---|" * len(CHECKS)]
    table += [
        f"| {kind} | {' | '.join('found' if c in checks else '' for c in CHECKS)} |" for kind, checks in rows.items()
    ]
    return HEAD + "".join(counts) + "\n".join(table) + "\n"


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        ready = prepared(Path(place))
        PAGE.write_text(page({kind: tried(ready, kind) for kind in KINDS}), "utf-8")
    sys.exit(0)

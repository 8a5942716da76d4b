"""Who recorded what and when, with what rules: in the trail, in why, and in the verdict a year later."""

from __future__ import annotations

import base64
import json
import lzma
import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import Result
from typer.testing import CliRunner

from diagnose.casefile.authors import kept, line_of, short
from diagnose.casefile.journal import read_journal
from diagnose.casefile.recorder import Recorder
from diagnose.cli.main import commands
from diagnose.evaluation import verify as module
from diagnose.evaluation.verify import Given, base_of, carried, verify
from diagnose.inference.run import load
from diagnose.knowledge.files import contents_of
from diagnose.reading.problems import BadInput
from diagnose.trail.custody import Around, revision_of
from diagnose.trail.document import dump, trail
from tests.support import evidence
from tests.support.commands import diagnose
from tests.support.places import KNOWLEDGE, ROOT, SMALL
from tests.support.reasoned import small_base, valid
from tests.support.shipped import whole_base

CASE = SMALL / "case.yaml"
COMMON = [
    f"{sign} - {{when: {{setting: {{service: hot water}}}}, common: {word}}}"
    for sign, word in (("-", "sometimes"), ("+", "rarely"))
]
WHEN = datetime(2026, 3, 12, 9, 30, tzinfo=UTC)


@pytest.fixture
def recorded(tmp_path: Path) -> Path:
    """The small case as Anna put it on record, with what Ben and Cleo added later."""
    file = tmp_path / "case.yaml"
    shutil.copy(CASE, file)
    steps = [
        ("Anna", {"add": "remarks", "entry": {"note": "taken over from the site"}}),
        ("Ben", {"set": ["service", "is"], "to": ["hot water", "solids"], "why": "told by the site"}),
        ("Cleo", {"add": "observations", "entry": {"saw": "edge chips", "part": "1"}}),
    ]
    for day, (who, what) in enumerate(steps):
        with Recorder(file, small_base().knowledge, who, lambda day=day: WHEN + timedelta(days=day)) as recorder:
            recorder.accept(what)
    return file


def around(file: Path) -> Around:
    return Around(
        Path(f"{file}.journal").read_bytes(), contents=evidence.SMALL_RULES, revision="r1", python="3", packages={}
    )


def test_every_record_and_term_says_who_put_it_there_and_when(recorded):
    document = trail(recorded.read_bytes(), small_base(), "1", around(recorded))
    valid(document, "trail.schema.json")
    by = {e["text"]: e["by"]["who"] for section in ("recorded", "settings") for e in document[section]}
    assert {text: who for text, who in by.items() if who != "Anna"} == {
        "service: solids": "Ben", "edge chips on Carbon (1)": "Cleo",
    }  # fmt: skip
    assert by["service: hot water"] == "Anna" and len(by) == len(document["recorded"]) + len(document["settings"])
    assert document["journal"]["lines"] == 4 and document["journal"]["case"] == "same"
    chips = next(e for e in document["recorded"] if e["what"] == "edge chips" and e["state"] == "present")
    assert chips["by"] == {"who": "Cleo", "time": "2026-03-14T09:30:00.000+00:00", "number": 4}


def test_a_case_without_a_journal_says_so_wherever_it_is_explained(tmp_path):
    shutil.copy(CASE, tmp_path / "case.yaml")
    rules = {"DIAGNOSE_KNOWLEDGE": str(SMALL / "knowledge")}
    file, says = str(tmp_path / "case.yaml"), "This case has no journal: who recorded what, and when, is not on record."
    for words in (("explain", file), ("why", file, "dry running"), ("trail", file, "-o", str(tmp_path / "t.json"))):
        assert says in " ".join(diagnose(*words, **rules).stdout.split()), words
    assert json.loads((tmp_path / "t.json").read_text("utf-8"))["journal"]["says"] == says


def test_a_case_file_edited_by_hand_has_no_authors_and_says_so(recorded):
    data = recorded.read_bytes().replace(b"hot water", b"cold water", 1)
    told = kept(data, Path(f"{recorded}.journal").read_bytes())
    assert told.view == "edited" and not told.authors and "edited by hand" in told.says


def test_a_case_file_of_an_earlier_line_is_known_as_such(recorded):
    before = recorded.read_bytes()
    with Recorder(recorded, small_base().knowledge, "Dan", lambda: WHEN) as recorder:
        recorder.accept({"add": "remarks", "entry": {"note": "later"}})
    told = kept(before, Path(f"{recorded}.journal").read_bytes())
    assert told.view == "behind" and {x.who for x in told.authors.values()} == {"Anna", "Ben", "Cleo"}


@pytest.mark.slow
@pytest.mark.slow
def test_why_tells_who_when_and_the_text_of_the_cards_it_uses(recorded):
    rules = {"DIAGNOSE_KNOWLEDGE": str(SMALL / "knowledge"), "COLUMNS": "120"}
    answer = json.loads(diagnose("why", str(recorded), "dry running", "--json", **rules).stdout)
    valid(answer, part="why_cause")
    told = answer["custody"]
    assert told["journal"]["head"] == short(read_journal(Path(f"{recorded}.journal")).lines[-1].digest)
    cards = told["cards"]
    assert cards["causes/dry-running.yaml"] == (SMALL / "knowledge" / "causes" / "dry-running.yaml").read_text("utf-8")
    assert "findings/ring-hard.yaml" in cards
    page = diagnose("why", str(recorded), "dry running", "--cards", **rules).stdout
    assert "Anna 2026-03-12 09:30, journal 1" in page and "cause: dry running" in page


def test_the_head_written_into_a_book_is_found_again_and_a_remade_chain_is_not(recorded):
    rules = {"DIAGNOSE_KNOWLEDGE": str(SMALL / "knowledge")}
    lines = read_journal(Path(f"{recorded}.journal")).lines
    said = diagnose("journal", str(recorded), "--check", **rules).stdout
    assert f"head {short(lines[-1].digest)}" in said
    older = diagnose("journal", str(recorded), "--check", "--head", short(lines[1].digest), **rules)
    assert older.returncode == 0 and "is line 2 of 2026-03-12 09:30, 2 lines since" in older.stdout
    other = diagnose("journal", str(recorded), "--check", "--head", "0123-4567-89ab-cdef-0123", **rules)
    assert other.returncode == 1 and "not the journal whose head was written down" in other.stdout
    assert line_of("0", lines) is None, "a few digits prove nothing"


def test_a_trail_is_compared_with_the_head_that_was_written_down(recorded, tmp_path):
    rules = {"DIAGNOSE_KNOWLEDGE": str(SMALL / "knowledge")}
    made = diagnose("trail", str(recorded), "-o", str(tmp_path / "t.json"), **rules).stdout
    head = made.partition("head ")[2].partition(";")[0]
    assert diagnose("verify", str(tmp_path / "t.json"), "--head", head, **rules).returncode == 0
    bad = diagnose("verify", str(tmp_path / "t.json"), "--head", "0123-4567-89ab-cdef-0123", **rules)
    assert bad.returncode == 1 and "not the trail whose head was written down" in " ".join(bad.stdout.split())


# ---- rules of then ---------------------------------------------------------------------------------------------------


@pytest.fixture
def newer(tmp_path: Path) -> Path:
    """The small rule base a year later: a cause is common no longer, and a word means another number."""
    folder = tmp_path / "knowledge"
    shutil.copytree(SMALL / "knowledge", folder)
    for file, old, new in (
        ("causes/dry-running.yaml", "common: sometimes", "common: rarely"),
        ("words.yaml", "usually: 0.80", "usually: 0.81"),
        ("sources.yaml", "Common practice", "Common Practice"),
    ):
        path = folder / file
        text = path.read_text("utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), "utf-8")
    return folder


@pytest.mark.slow
@pytest.mark.slow
def test_the_verdict_comes_first_and_the_cards_in_the_order_in_which_they_mattered(newer):
    data = evidence.written(CASE.read_bytes(), small_base())
    answer = evidence.checked(data, load(newer), newer)
    valid(answer, part="verify")
    was, now = (answer[side][0]["cause"] for side in ("was", "now"))
    assert was["name"] == "dry running" and answer["verdict"] == "changed" and now["probability"] < was["probability"]
    assert answer["says"].startswith(
        f"The answer has changed: dry running {was['standing']}, now {now['standing']}, 70.52 % -> "
    )
    rows = answer["changes"]["rules"]
    assert [r["file"] for r in rows] == ["causes/dry-running.yaml", "words.yaml", "sources.yaml"]
    assert rows[0]["lines"] == COMMON and rows[0]["moved"] > rows[1]["moved"] > 0
    assert rows[2]["moved"] is None


def test_the_answer_stands_where_only_its_figure_moves(tmp_path):
    folder = tmp_path / "knowledge"
    shutil.copytree(SMALL / "knowledge", folder)
    words = folder / "words.yaml"
    words.write_text(words.read_text("utf-8").replace("usually: 0.80", "usually: 0.81"), "utf-8")
    answer = evidence.checked(evidence.written(CASE.read_bytes(), small_base()), load(folder), folder)
    assert answer["verdict"] == "stands" and answer["says"].startswith(
        "The answer stands: dry running probable, 70.52 % -> 7"
    )


def test_last_years_conclusion_is_replayed_with_last_years_rules_from_the_trail_alone(newer, tmp_path):
    data = evidence.written(CASE.read_bytes(), small_base())
    path = tmp_path / "t.json"
    path.write_bytes(data)
    version = {"DIAGNOSE_KNOWLEDGE": str(newer)}
    moved = diagnose("verify", str(path), **version)
    assert moved.returncode == 1 and "The answer has changed" in moved.stdout
    again = diagnose("verify", str(path), "--knowledge", "carried", **version)
    assert again.returncode == 0 and "Reproduces exactly: dry running probable, 70.52 %" in again.stdout
    assert diagnose("verify", str(path), "--unpack", str(tmp_path / "rules"), "--knowledge", "carried").returncode == 0
    assert contents_of(tmp_path / "rules") == evidence.SMALL_RULES
    by_hand = json.loads(lzma.decompress(base64.b64decode(json.loads(data)["rules"]["data"])))
    assert by_hand == {n: t.decode() for n, t in evidence.SMALL_RULES.items()}, "readable without this tool"


@pytest.mark.slow
def test_a_git_revision_names_the_rules_of_an_old_trail_that_carries_none(newer, tmp_path, monkeypatch):
    def git(*words: str) -> None:
        name = ["-c", "user.name=Anna", "-c", "user.email=anna@example.invalid"]
        subprocess.run(["git", *name, *words], cwd=tmp_path / "repository", check=True, capture_output=True)

    place = tmp_path / "repository" / "knowledge"
    shutil.copytree(SMALL / "knowledge", place)
    git("init", "-q")
    git("add", ".")
    git("commit", "-qm", "then")
    git("tag", "then")
    shutil.copytree(newer, place, dirs_exist_ok=True)
    git("commit", "-qam", "now")
    old = tmp_path / "old.json"
    old.write_bytes((ROOT / "tests" / "trail" / "without-rules.json").read_bytes())
    monkeypatch.chdir(tmp_path / "repository")

    def verified(*words: str) -> Result:
        return CliRunner().invoke(commands("verify"), ["verify", str(old), *words], env={"COLUMNS": "80"})

    bare = verified("--knowledge", "HEAD")
    assert bare.exit_code == 1 and "carries no rules, being of format 2" in " ".join(bare.stdout.split())
    named = json.loads(verified("--knowledge", "HEAD", "--made-with", "then", "--json").stdout)
    assert named["verdict"] == "changed" and named["changes"]["rules"][0]["lines"] == COMMON
    same = verified("--knowledge", "then")
    assert same.exit_code == 0 and "Reproduces exactly: dry running" in same.stdout
    wrong = verified("--made-with", "HEAD", "--knowledge", "HEAD")
    assert isinstance(wrong.exception, BadInput) and "is not the rule base that the trail was made with" in str(
        wrong.exception
    )


@pytest.mark.slow
def test_a_trail_of_version_1_under_a_later_rule_base_says_that_the_answer_moved_and_why(whole_base, tmp_path):
    """The shipped rule base stands for the later one; the earlier one, which the trail carries, thought otherwise of one cause."""
    case = (ROOT / "scenarios" / "condensate-pump-dry-start.yaml").read_bytes()
    contents = contents_of(KNOWLEDGE)
    then = dict(contents)
    for file, old, new in (
        ("causes/gas-not-vented.yaml", b"common: often", b"common: very rarely"),
        ("causes/gas-not-vented.yaml", b"finding: chamber not vented, seen: often", b"finding: chamber not vented, seen: rarely"),
        ("version.yaml", b'version: "', b'version: "0.9.'),
    ):  # fmt: skip
        assert old in then[file]
        then[file] = then[file].replace(old, new, 1)
    base = base_of(then)
    data = dump(trail(case, base, "1", Around(contents=then)))
    answer = verify(data, "trail.json", Given(whole_base, "1", contents))
    assert answer["verdict"] == "changed" and "gas not vented possible, now probable" in answer["says"]
    row = answer["changes"]["rules"][0]
    assert row["file"] == "causes/gas-not-vented.yaml" and {"- common: very rarely", "+ common: often"} <= set(
        row["lines"]
    )
    again = verify(data, "trail.json", Given(base_of(carried(data, "trail.json")), "1", then))
    assert again["verdict"] == "reproduces" and again["made_with"]["version"].startswith("0.9.")


def test_the_case_as_it_is_now_is_held_against_the_one_in_the_trail_with_its_journal(recorded):
    data = dump(trail(recorded.read_bytes(), small_base(), "1", around(recorded)))
    with Recorder(recorded, small_base().knowledge, "Dan", lambda: WHEN) as recorder:
        recorder.accept({"add": "remarks", "entry": {"note": "later"}})
    now = evidence.checked(data, small_base(), case=recorded.read_bytes(), around=around(recorded))
    assert now["verdict"] == "stands" and "the journal has 1 more lines" in now["changes"]["record"]
    Path(f"{recorded}.journal").unlink()
    other = evidence.checked(data, small_base(), case=recorded.read_bytes())
    assert any("no line with the digest of the trail's" in x for x in other["changes"]["record"])


def test_a_rule_base_from_a_stranger_runs_nothing_when_its_revision_is_told(tmp_path):
    """Git runs what core.fsmonitor and a clean filter name (git-config(1), gitattributes(5)) when it is asked for the
    state of the files."""
    place, ran = tmp_path / "knowledge", tmp_path / "ran"
    shutil.copytree(SMALL / "knowledge", place)

    def git(*words: str) -> str:
        name = ["-c", "user.name=Anna", "-c", "user.email=anna@example.invalid"]
        return subprocess.run(
            ["git", *name, *words], cwd=place, check=True, capture_output=True, text=True
        ).stdout.strip()

    git("init", "-q")
    git("add", ".")
    git("commit", "-qm", "then")
    revision = git("rev-parse", "HEAD")
    (place / ".gitattributes").write_text("*.yaml filter=own\n")
    for key in ("core.fsmonitor", "filter.own.clean"):
        git("config", key, f"touch '{ran}'; cat")
    assert revision_of(place) == revision
    card = sorted((place / "causes").glob("*.yaml"))[0]
    card.write_bytes(card.read_bytes() + b"# later\n")
    assert revision_of(place) == f"{revision} and changes"
    assert not ran.exists()


@pytest.mark.slow
@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    [".git/config", ".git/x.yaml", "../x.yaml", "/x.yaml", "conftest.py", "a.test.yaml", "\0.yaml", "\ud800.yaml"],
)
def test_only_the_files_of_a_rule_base_are_unpacked_or_none(tmp_path, name):
    trail = json.loads(evidence.written(CASE.read_bytes(), small_base()))
    files = json.dumps({"a.yaml": "", name: "x"})
    trail["rules"]["data"] = base64.b64encode(lzma.compress(files.encode())).decode()
    path, place = tmp_path / "t.json", tmp_path / "rules"
    path.write_text(json.dumps(trail))
    told = diagnose("verify", str(path), "--unpack", str(place))
    says = "is none of a rule base" if name.isprintable() else "no rule base that can be unpacked"
    assert told.returncode == 2 and says in told.stderr and not place.exists()
    assert diagnose("verify", str(path)).returncode == 1


@pytest.mark.parametrize("name", [None, 3, ["A"], {}])
def test_a_trail_whose_case_has_no_name_is_none(tmp_path, name):
    trail = json.loads(evidence.written(CASE.read_bytes(), small_base()))
    trail["case"]["name"] = name
    path = tmp_path / "t.json"
    path.write_text(json.dumps(trail))
    told = diagnose("verify", str(path))
    assert told.returncode == 2 and "case.name is missing or of another kind" in told.stderr


@pytest.mark.parametrize("lost", ["probability", "text", "standing"])
def test_a_trail_whose_standing_was_changed_to_no_standing_is_told_as_changed(tmp_path, lost):
    trail = json.loads(evidence.written(CASE.read_bytes(), small_base()))
    for entry in trail["standing"]:
        del entry[lost]
    path = tmp_path / "t.json"
    path.write_text(json.dumps(trail))
    told = diagnose("verify", str(path), "--knowledge", str(SMALL / "knowledge"))
    assert told.returncode == 1 and "This trail is not as it was written" in told.stdout


@pytest.mark.slow
@pytest.mark.slow
def test_of_two_rule_bases_far_apart_no_more_cards_are_tried_than_of_near_ones(monkeypatch):
    tried = []
    monkeypatch.setattr(module, "_probabilities", lambda *_: tried.append(1))
    monkeypatch.setattr(module, "MOST_TRIED", 3)
    contents = contents_of(KNOWLEDGE)
    verify(evidence.written(CASE.read_bytes(), small_base()), "t.json", Given(whole_base(), "1", contents))
    assert len(tried) == 1 + 3

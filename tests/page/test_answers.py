"""What tablets send is recorded once, in order, with the guarantees of the journal; nothing else is let near it."""

from __future__ import annotations

import os
import shutil
import uuid

import pytest

from diagnose.casefile.journal import append, journal_path, read_journal
from diagnose.casefile.recorder import Recorder, look
from tests.page.support import Tablet, answer, page_on, saw

PIXEL = bytes.fromhex("ffd8ffe000104a46494600010100000100010000ffd9")


def lines(case):
    return read_journal(journal_path(case)).lines


def test_an_answer_sent_again_is_recorded_once(tablet, dual):
    first = answer(saw("radial cracks", extent="10 to 2"), saw("edge chips"))
    one, two = tablet.send("dual", first), tablet.send("dual", first)
    assert [a["became"] for a in one["acknowledged"] + two["acknowledged"]] == ["recorded", "recorded"]
    assert one["acknowledged"][0]["lines"] == two["acknowledged"][0]["lines"] == [2, 3]
    assert len(lines(dual)) == 3 and lines(dual)[1].who == "Kim"


def test_it_is_recorded_once_across_a_restart_of_the_server(tablet, dual, whole_base):
    first = answer(saw("radial cracks"))
    tablet.send("dual", first)
    again = page_on(dual, whole_base.knowledge)
    assert Tablet(again).send("dual", first)["acknowledged"][0]["lines"] == [2]
    again.close()
    assert len(lines(dual)) == 2


def test_an_answer_that_a_crash_cut_in_two_is_completed(tablet, dual, whole_base):
    first = answer(saw("radial cracks"), saw("blisters", "1"), saw("coke", "3"))
    tablet.send("dual", first)
    whole = lines(dual)
    path = journal_path(dual)
    path.unlink()
    append(path, whole[:3])
    path.write_bytes(path.read_bytes() + whole[3].text().encode()[:40])
    again = page_on(dual, whole_base.knowledge)
    told = Tablet(again).send("dual", first)
    again.close()
    assert told["held"].startswith("the journal ends at line 3")
    dual.unlink()
    again = page_on(dual.parent, whole_base.knowledge)
    with Recorder(dual, whole_base.knowledge, "Kim"):
        pass
    assert Tablet(again).send("dual", first)["acknowledged"][0]["became"] == "recorded"
    again.close()
    seen = [o.feature for o in look_at(dual, whole_base)]
    assert sorted(seen) == ["blisters", "coke", "radial cracks"]


def look_at(case, base):
    from diagnose.casefile.reader import read_case

    return read_case(case, base.knowledge).observations


def test_what_is_on_record_already_is_acknowledged_and_not_doubled(tablet, dual):
    tablet.send("dual", answer(saw("radial cracks")))
    told = tablet.send("dual", answer(saw("radial cracks")))["acknowledged"][0]
    assert (told["became"], told["lines"], told["says"]) == ("recorded", [], ["already on record"])
    assert len(lines(dual)) == 2


def test_two_tablets_merge_and_a_contradiction_is_told(served, tablet, dual):
    other = Tablet(served)
    tablet.send("dual", answer(saw("radial cracks")))
    other.send("dual", answer(saw("blisters", "1")))
    told = other.send(
        "dual",
        answer({"add": "observations", "entry": {"part": "2", "absent": "radial cracks"}}),
        answer(saw("coke", "3")),
    )
    assert [a["became"] for a in told["acknowledged"]] == ["refused", "recorded"]
    assert "on record there as present (record 2)" in told["acknowledged"][0]["says"][0]
    assert tablet.ask("GET", "/api/cases/dual")[2]["others"] == 0
    other.ask("GET", "/api/cases/dual")
    assert tablet.ask("GET", "/api/cases/dual")[2]["others"] == 1


def test_what_does_not_go_together_is_told_with_the_answer_and_stands(tablet, dual):
    told = tablet.send(
        "dual", answer(saw("track wider than the nose", "2")), answer(saw("track narrower than the nose", "2"))
    )
    assert [a["became"] for a in told["acknowledged"]] == ["recorded", "recorded"] and len(lines(dual)) == 3
    first, second = (" ".join(a["says"]) for a in told["acknowledged"])
    assert (
        "does not go with" not in first and "'track wider than the nose on" in second and second.endswith("Both stand")
    )


def test_a_doubtful_reading_is_asked_back_and_taken_from_one_who_is_sure(tablet, dual):
    def read(name, *values):
        return {"add": "measurements", "entry": {"part": "5", "measured": name, "readings": list(values)}}

    odd = answer(read("free length", "25.1 mm", "25.0 mm", "52.0 mm"))
    assert tablet.send("dual", odd)["acknowledged"][0]["became"] == "doubtful"
    assert tablet.send("dual", {**odd, "sure": True})["acknowledged"][0]["became"] == "recorded"
    assert len(lines(dual)) == 2


@pytest.mark.slow
@pytest.mark.slow
def test_a_session_at_a_terminal_holds_answers_up_and_each_is_told_of_the_other(tablet, dual, whole_base, monkeypatch):
    monkeypatch.setattr("diagnose.page.desk.PATIENCE", 0.0)
    tablet.page._desks.clear()
    first = answer(saw("radial cracks"))
    tablet.ask("GET", "/api/cases/dual")
    import subprocess
    import sys

    code = (
        "import sys; from pathlib import Path; from diagnose.casefile.recorder import Recorder; from diagnose.knowledge.cache import open_knowledge\n"
        "from tests.support.places import KNOWLEDGE\n"
        "with Recorder(Path(sys.argv[1]), open_knowledge(KNOWLEDGE), 'Sam') as r:\n    print(r.told, flush=True); sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(dual)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert "a page on this case is open: page on" in other.stdout.readline()
        told = tablet.send("dual", first)
        assert told["acknowledged"] == [] and told["held"].startswith("Sam on ")
        assert tablet.ask("GET", "/api/cases/dual")[2]["elsewhere"].startswith("Sam on ")
        other.stdin.close()
    assert tablet.send("dual", first)["acknowledged"][0]["became"] == "recorded"
    assert tablet.ask("GET", "/api/cases/dual")[2]["elsewhere"] == ""


def test_own_words_are_read_or_kept_as_said(tablet, dual):
    sure = answer(phrase="radial cracks all round", about={"part": "2"})
    strange = answer(phrase="wibbled like a frumious snark", about={"part": "2"})
    chosen = answer(phrase="radial cracks", reading="none of these", about={"part": "4"})
    tablet.send("dual", sure, strange, chosen)
    what = [line.what for line in lines(dual)[1:]]
    assert what[0]["entry"]["saw"] == "radial cracks" and what[0]["entry"]["part"] == "2"
    assert what[1]["to"] == ["wibbled like a frumious snark"] and what[2]["to"][-1] == "radial cracks"


def test_an_answer_that_waited_says_when_it_was_given(tablet, dual):
    tablet.send(
        "dual", {**answer(saw("radial cracks")), "at": "2026-01-02T03:04:05+00:00"}, answer(saw("blisters", "1"))
    )
    assert [line.what.get("answered") for line in lines(dual)[1:]] == ["2026-01-02T03:04:05+00:00", None]


def test_a_photo_goes_onto_the_mark_with_its_digest_and_comes_back_as_a_picture(tablet, dual):
    name = tablet.ask("POST", "/api/cases/dual/photos", raw=PIXEL)[2]["photo"]
    assert tablet.ask("POST", "/api/cases/dual/photos", raw=PIXEL)[2]["photo"] == name
    assert tablet.ask("GET", f"/photos/dual/{name}")[0] == 404
    tablet.send("dual", answer(saw("radial cracks"), photo=name))
    entry = lines(dual)[1].what["entry"]
    assert entry["photo"] == name and len(entry["photo digest"]) == 64
    status, headers, data = tablet.ask("GET", f"/photos/dual/{name}", headers={"x-page-token": None})
    assert (status, headers["content-type"], data) == (200, "image/jpeg", PIXEL)
    assert "sandbox" in headers["content-security-policy"] and headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    "data", [b"<svg xmlns='http://www.w3.org/2000/svg' onload='x()'/>", b"<html>", b"GIF89a<script>", b""]
)
def test_what_is_no_picture_is_not_kept(tablet, dual, data):
    assert tablet.ask("POST", "/api/cases/dual/photos", raw=data)[0] == 415
    assert {p.suffix for p in dual.parent.iterdir()} <= {".yaml", ".journal", ".page"}


@pytest.mark.parametrize(
    "odd",
    [
        {"id": "1"},
        {"who": ""},
        {"who": "Kim\x07"},
        {"at": "today"},
        {"at": "2026-01-01T00:00:00"},
        {"whats": [{"start": {"case": "x"}}]},
        {"whats": [{"edited": "x"}]},
        {"whats": [{"cut off": "x"}]},
        {"whats": [{"add": "observations"}]},
        {"whats": [{"add": "observations", "entry": {"saw": "blisters", "photo": "/etc/passwd"}}]},
        {"whats": [{"withdraw": "2", "answer": "x 0"}]},
        {"whats": [{"set": ["stage"], "to": "before washing", "more": "x"}]},
        {"whats": [{"set": [], "to": "x"}]},
        {"whats": [{"set": ["about"], "to": {"a": [1]}}]},
        {"whats": [{"add": "parts", "entry": {"item": "77", "kind": 5}}]},
        {"whats": [{"add": "measurements", "entry": {"part": "2", "measured": ["a"], "readings": ["1"]}}]},
        {"whats": [{"add": "observations", "entry": ["saw"]}]},
        {"whats": [{"withdraw": ["2"]}]},
        {"about": {"photo": "x"}},
        {"more": 1},
    ],
)
def test_what_is_no_answer_is_refused_whole(tablet, dual, odd):
    status, _, told = tablet.ask(
        "POST", "/api/cases/dual/answers", [answer(saw("blisters", "1")), {**answer(saw("coke", "3")), **odd}]
    )
    assert status == 422 and told["says"]
    assert len(lines(dual)) == 1


@pytest.mark.parametrize(
    "what",
    [saw("no such mark"), saw("radial cracks", "99"), {"set": ["parts"], "to": "x"}, {"withdraw": "99"}, {"add": "elsewhere", "entry": {}}],
)  # fmt: skip
def test_an_answer_that_fits_nothing_is_refused_in_words_and_those_behind_it_go_on(tablet, dual, what):
    told = tablet.send("dual", answer({**what, "why": "x"} if "withdraw" in what else what), answer(saw("coke", "3")))
    assert [a["became"] for a in told["acknowledged"]] == ["refused", "recorded"]
    assert told["acknowledged"][0]["says"][0]


@pytest.mark.parametrize("name", ["../dual.yaml", "dual.yaml", "dual-0123456789abcdef.jpg/../x", "/etc/passwd"])
def test_a_photo_is_one_that_was_sent_to_this_page(tablet, dual, name):
    assert tablet.send("dual", answer(saw("radial cracks"), photo=name))["acknowledged"][0]["became"] == "refused"
    assert len(lines(dual)) == 1


def test_hand_edits_hold_answers_up(tablet, dual):
    dual.write_text(dual.read_text() + "about: edited\n")
    told = tablet.send("dual", answer(saw("radial cracks")))
    assert "edited by hand" in told["held"] and told["acknowledged"] == []


def test_a_case_is_begun_once(tablet, dual):
    begun = {"name": "Second seal / 2", "arrangement": "single", "who": "Kim"}
    assert tablet.ask("POST", "/api/cases", begun)[2] == {"case": "second-seal-2"}
    status, _, told = tablet.ask("POST", "/api/cases", begun)
    assert status == 409 and "exists already" in told["says"]
    assert tablet.ask("GET", "/api/cases")[2] == {"cases": ["dual", "second-seal-2"], "nameless": [], "new": True}
    assert look(dual.parent / "second-seal-2.yaml").view == "same"
    assert str(uuid.UUID(answer()["id"]))


def test_a_file_name_that_is_no_text_is_told_and_keeps_no_other_case_closed(tablet, dual):
    (dual.parent / "second.yml").write_bytes(dual.read_bytes())
    with open(os.fsencode(dual.parent) + b"/\xfcber.yaml", "wb") as file:
        file.write(dual.read_bytes())
    status, _, found = tablet.ask("GET", "/api/cases")
    assert (status, found["cases"], found["nameless"]) == (200, ["dual", "second.yml"], ["\\xfcber.yaml"])
    assert tablet.ask("GET", "/api/cases/second.yml")[0] == 200


def test_a_folder_that_is_gone_is_told(tablet, dual):
    shutil.rmtree(dual.parent)
    status, _, told = tablet.ask("GET", "/api/cases")
    assert (status, told["says"]) == (409, "a file cannot be read or written: No such file or directory")


def test_the_door_answers_who_asks_for_its_head_alone(tablet):
    assert tablet.ask("HEAD", "/enter", headers={"origin": None})[0] == 200

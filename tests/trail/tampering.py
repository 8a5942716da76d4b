"""Ways to tamper with the evidence of a case: a folder with the case file, its journal and photos, a trail and a report.

Each changes a folder in place as somebody would who wants another conclusion, or another author or date, and covers it up as
far as its name says.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from diagnose.casefile.journal import Line, make_line, parse_journal
from diagnose.casefile.recorder import Recorder, view_of
from diagnose.casefile.replay import replay
from diagnose.evaluation.verify import base_of
from diagnose.knowledge.files import digest_of
from diagnose.trail.custody import Around, packed, photos_now, unpacked
from diagnose.trail.document import dump, trail, with_digest
from tests.support import evidence
from tests.support.places import SMALL

WHEN = datetime(2026, 3, 12, 9, 30, tzinfo=UTC)
VERSION = "0.1.0"
Doc = dict[str, Any]


@dataclass(frozen=True)
class Bundle:
    """The files of one case in a folder, all named after it."""

    folder: Path
    name: str = "pump-7"

    @property
    def case(self) -> Path:
        return self.folder / f"{self.name}.yaml"

    @property
    def journal(self) -> Path:
        return self.folder / f"{self.name}.yaml.journal"

    @property
    def trail(self) -> Path:
        return self.folder / f"{self.name}.trail.json"

    @property
    def report(self) -> Path:
        return self.folder / f"{self.name}.html"

    @property
    def evidence(self) -> tuple[Path, ...]:
        return self.journal, self.trail, self.report

    def photo(self, name: str) -> Path:
        return self.folder / f"{name}.jpg"

    # ---- made by the tool ---------------------------------------------------------------------------------------

    def record(self, hard: str = "hardened", edge: str = "absent") -> None:
        """Puts the small case on record in six steps by two people, with two photos and an act of custody."""
        shutil.copy(SMALL / "case.yaml", self.case)
        for photo in ("face", "ring"):
            self.photo(photo).write_bytes(b"\xff\xd8\xff" + f"{self.name} {photo}".encode())
        steps: list[tuple[str, Doc]] = [
            ("Anna", {"add": "remarks", "entry": {"note": "taken over", **self.picture("face")}}),
            ("Anna", {"add": "remarks", "entry": {"note": f"ring is {hard}", **self.picture("ring")}}),
            ("Ben", {"set": ["service", "is"], "to": ["hot water", "solids"], "why": "told by the site"}),
            ("Ben", {"add": "observations", "entry": {"part": "1", edge: "edge chips"}}),
            ("Anna", {"add": "custody", "entry": {"did": "receive", "by": "Anna", "when": "2026-03-12", "bag": "B-17"}}),
            ("Ben", {"add": "outcomes", "entry": {"root": "dry running", "by": "Ben", "how": "laboratory", "when": "2026-04-01"}}),
        ]  # fmt: skip
        for day, (who, what) in enumerate(steps):
            with Recorder(self.case, knowledge(), who, lambda day=day: WHEN + timedelta(days=day)) as recorder:
                recorder.accept(what)

    def picture(self, name: str) -> Doc:
        return {"photo": f"{name}.jpg", "photo digest": hashlib.sha256(self.photo(name).read_bytes()).hexdigest()}

    def write_trail(self, contents: dict[str, bytes] | None = None) -> None:
        rules = contents or rules_with()
        base = base_of(rules)
        read = parsed(self.case.read_bytes(), base)
        around = Around(self.journal.read_bytes() if self.journal.exists() else None, photos_now(self.case, read), rules,
                        "r1", "3.11.0", {"numpy": "2"})  # fmt: skip
        self.trail.write_bytes(dump(trail(self.case.read_bytes(), base, VERSION, around)))

    def write_report(self) -> None:
        self.report.write_bytes(report(self.case))


def rules_with(file: str = "", old: str = "", new: str = "") -> dict[str, bytes]:
    """The small rule base with the words of custody, and one change."""
    contents = {**evidence.SMALL_RULES, "vocabulary/custody.yaml": CUSTODY}
    if file:
        assert old.encode() in contents[file]
        contents[file] = contents[file].replace(old.encode(), new.encode(), 1)
    return contents


CUSTODY = b"custody: {receive: [received]}\nconfirmed by: {laboratory: [lab]}\n"
_KEPT: dict[str, Any] = {}


def knowledge() -> Any:
    return base().knowledge


def base() -> Any:
    if "base" not in _KEPT:
        _KEPT["base"] = base_of(rules_with())
    return _KEPT["base"]


def parsed(data: bytes, with_base: Any) -> Any:
    from diagnose.casefile.reader import parse_case
    from diagnose.reading.problems import Problems

    return parse_case(data, "case.yaml", with_base.knowledge, Problems())


def report(case: Path) -> bytes:
    """The report of a case as the tool writes it."""
    from diagnose.casefile.reader import read_case
    from diagnose.cli.report import made
    from diagnose.views.report import html

    return html.page(made(case, read_case(case, knowledge()), base()), False, "A4").encode()


# ---- tools of a forger -----------------------------------------------------------------------------------------------


def edit(path: Path, old: str, new: str) -> None:
    data = path.read_bytes()
    assert old.encode() in data, f"{old!r} is not in {path.name}"
    path.write_bytes(data.replace(old.encode(), new.encode(), 1))


def lines_of(b: Bundle) -> list[bytes]:
    return b.journal.read_bytes().splitlines(keepends=True)


def put_lines(b: Bundle, lines: list[bytes]) -> None:
    b.journal.write_bytes(b"".join(lines))


def remake(b: Bundle, change: Callable[[list[Doc]], list[Doc]]) -> None:
    """Writes the whole chain anew, every digest right, and the case file as its view."""
    before = [
        {"what": dict(x.what), "who": x.who, "time": x.time} for x in parse_journal(b.journal.read_bytes(), "j").lines
    ]
    lines: list[Line] = []
    for number, row in enumerate(change(json.loads(json.dumps(before))), 1):
        at = datetime.fromisoformat(row["time"])
        lines.append(make_line(number, lines[-1].digest if lines else "", row["what"], row["who"], at))
    b.journal.write_text("".join(x.text() + "\n" for x in lines), "utf-8")
    b.case.write_bytes(view_of(replay(lines), tuple(lines)))


def other_word(rows: list[Doc]) -> list[Doc]:
    text = json.dumps(rows).replace('"saw": "hardened"', '"absent": "hardened"')
    return json.loads(text)


def in_trail(b: Bundle, change: Callable[[Doc], None], digest: bool = True) -> None:
    """Changes a trail, and its own digest with it where `digest`."""
    document = json.loads(b.trail.read_bytes())
    change(document)
    b.trail.write_bytes(dump(with_digest(document) if digest else document))


def rules_in_trail(document: Doc, consistent: bool) -> None:
    files = unpacked(document["rules"])
    file = "causes/dry-running.yaml"
    files[file] = files[file].replace(b"common: sometimes", b"common: rarely")
    document["rules"] = packed(files)
    if consistent:
        document["knowledge"]["files"][file] = hashlib.sha256(files[file]).hexdigest()
        document["knowledge"]["digest"] = digest_of(files)
        document["cards"][file] = files[file].decode()


def first(document: Doc, section: str, **wanted: str) -> Doc:
    return next(e for e in document[section] if all(e.get(k) == v for k, v in wanted.items()))


def other(b: Bundle) -> Bundle:
    """Another case, recorded and put together by the same people in the same way; signed where this one is."""
    return Bundle(b.folder.parent / "other", "pump-8")


def swap(b: Bundle, *which: str) -> None:
    for name in which:
        shutil.copy(getattr(other(b), name), getattr(b, name))
        signature = Path(f"{getattr(other(b), name)}.sig")
        if signature.exists():
            shutil.copy(signature, f"{getattr(b, name)}.sig")


# ---- the kinds -------------------------------------------------------------------------------------------------------


def case_edit(old: str, new: str) -> Callable[[Bundle], None]:
    return lambda b: edit(b.case, old, new)


def line_edit(old: str, new: str) -> Callable[[Bundle], None]:
    return lambda b: edit(b.journal, old, new)


def trail_edit(change: Callable[[Doc], Any]) -> Callable[[Bundle], None]:
    return lambda b: in_trail(b, change)


def plain_trail_edit(change: Callable[[Doc], Any]) -> Callable[[Bundle], None]:
    return lambda b: in_trail(b, change, digest=False)


def set_in(section: str, key: str, value: Any, **wanted: str) -> Callable[[Bundle], None]:
    return trail_edit(lambda d: first(d, section, **wanted).update({key: value}))


def cut(count: int, view: bool = False) -> Callable[[Bundle], None]:
    def tamper(b: Bundle) -> None:
        put_lines(b, lines_of(b)[:-count])
        if view:
            lines = parse_journal(b.journal.read_bytes(), "j").lines
            b.case.write_bytes(view_of(replay(lines), lines))

    return tamper


def moved(change: Callable[[list[bytes]], list[bytes]]) -> Callable[[Bundle], None]:
    return lambda b: put_lines(b, change(lines_of(b)))


def remade(change: Callable[[list[Doc]], list[Doc]], *then: str) -> Callable[[Bundle], None]:
    def tamper(b: Bundle) -> None:
        remake(b, change)
        for step in then:
            getattr(b, step)()

    return tamper


def each(**new: str) -> Callable[[list[Doc]], list[Doc]]:
    return lambda rows: [{**row, **new} for row in rows]


def other_photo(b: Bundle) -> None:
    b.photo("face").write_bytes(b"\xff\xd8\xff" + b"another face")


def other_photo_and_chain(b: Bundle) -> None:
    other_photo(b)
    digest = b.picture("face")["photo digest"]

    def change(rows: list[Doc]) -> list[Doc]:
        rows[1]["what"]["entry"]["photo digest"] = digest
        return rows

    remake(b, change)


def swapped_photos(b: Bundle) -> None:
    face, ring = b.photo("face").read_bytes(), b.photo("ring").read_bytes()
    b.photo("face").write_bytes(ring)
    b.photo("ring").write_bytes(face)


def text_and_digest(document: Doc) -> None:
    text = document["case"]["text"].replace("saw: hardened", "absent: hardened")
    document["case"] |= {"text": text, "digest": hashlib.sha256(text.encode()).hexdigest()}


def with_other_rules(file: str, old: str, new: str) -> Callable[[Bundle], None]:
    return lambda b: b.write_trail(rules_with(file, old, new))


KINDS: dict[str, Callable[[Bundle], None]] = {
    # the case file, by hand
    "record: present made absent": case_edit("saw: hardened", "absent: hardened"),
    "record: another degree": case_edit("degree: moderate", "degree: severe"),
    "record: another extent": case_edit("extent: all round", "extent: patches"),
    "record: taken out": lambda b: b.case.write_bytes(
        b"".join(x for x in b.case.read_bytes().splitlines(keepends=True) if b"leak when standing" not in x)),
    "record: put in": case_edit("observations:\n", "observations:\n  - {part: 1, saw: radial cracks}\n"),
    "record: on another part": case_edit("part: 2, saw: radial cracks", "part: 1, saw: radial cracks"),
    "record: order changed": case_edit("hot water, solids", "solids, hot water"),
    "record: setting changed": case_edit("hot water", "solids, hot water"),
    "record: note changed": case_edit("ring is hardened", "ring is soft"),
    "record: name of the case": case_edit("A small case", "Another case"),
    "record: custody, another bag": case_edit("B-17", "B-71"),
    "record: outcome, another date": case_edit("2026-04-01", "2026-03-01"),
    "record: outcome taken out": case_edit("  - {root: dry running, by: Ben, how: laboratory, when: 2026-04-01}\n", ""),
    "record: photo's digest": lambda b: edit(b.case, b.picture("face")["photo digest"][:8], "00000000"),
    # the journal, by hand
    "journal: word": line_edit("solids", "lumps!"),
    "journal: author": line_edit('"who":"Ben"', '"who":"Eve"'),
    "journal: date": line_edit("2026-03-15", "2026-02-15"),
    "journal: reason": line_edit("told by the site", "told by nobody"),
    "journal: number": line_edit('"number":3', '"number":9'),
    "journal: digest of a line": lambda b: edit(b.journal, json.loads(lines_of(b)[2])["digest"][:8], "00000000"),
    "journal: line taken out": moved(lambda x: [*x[:3], *x[4:]]),
    "journal: two lines change places": moved(lambda x: [*x[:3], x[4], x[3], *x[5:]]),
    "journal: line doubled": moved(lambda x: [*x, x[-1]]),
    "journal: line made up at the end": moved(lambda x: [*x, x[-1].replace(b'"number":7', b'"number":8')]),
    "journal: unfinished line at the end": moved(lambda x: [*x, b'{"number":8']),
    "journal: first line's file": line_edit("A small case", "Another case"),
    "journal: cut by a line": cut(1),
    "journal: cut by four lines": cut(4),
    "journal: cut, case file brought in line": cut(1, True),
    "journal: cut by four, case file brought in line": cut(4, True),
    "journal: taken away": lambda b: b.journal.unlink(),
    "journal: emptied": lambda b: b.journal.write_bytes(b""),
    # the whole chain made anew
    "chain remade: another word": remade(other_word),
    "chain remade: another author": remade(each(who="Eve")),
    "chain remade: backdated": remade(each(time="2026-01-01T08:00:00.000+00:00")),
    "chain remade: without the correction": remade(lambda rows: [r for r in rows if "why" not in r["what"]]),
    "chain remade: another order": remade(lambda rows: [*rows[:3], rows[4], rows[3], *rows[5:]]),
    "chain remade: with another photo": other_photo_and_chain,
    "chain and trail remade": remade(other_word, "write_trail"),
    "chain and report remade": remade(other_word, "write_report"),
    "chain, trail and report remade": remade(other_word, "write_trail", "write_report"),
    "chain, trail and report remade: another author": remade(each(who="Eve"), "write_trail", "write_report"),
    "chain, trail and report remade: backdated": remade(each(time="2026-01-01T08:00:00.000+00:00"), "write_trail", "write_report"),
    "cut, trail and report remade": lambda b: (cut(3, True)(b), b.write_trail(), b.write_report()),
    # photos
    "photo: another picture": other_photo,
    "photo: gone": lambda b: b.photo("face").unlink(),
    "photos: two change names": swapped_photos,
    # the trail
    "trail: case text": trail_edit(lambda d: d["case"].update(text=d["case"]["text"].replace("saw: hardened", "absent: hardened"))),
    "trail: case text with its digest": trail_edit(text_and_digest),
    "trail: standing": set_in("standing", "standing", "established", text="dry running"),
    "trail: probability": set_in("standing", "probability", 0.999, text="dry running"),
    "trail: finding": set_in("findings", "state", "absent", text="ring hard"),
    "trail: what a mark weighs": trail_edit(lambda d: d["marks"][0].update(weight=9.9)),
    "trail: a link taken out": trail_edit(lambda d: d["links"].pop()),
    "trail: author of a record": trail_edit(lambda d: d["recorded"][0]["by"].update(who="Eve")),
    "trail: journal's text": trail_edit(lambda d: d["journal"].update(text=d["journal"]["text"].replace("Ben", "Eve"))),
    "trail: journal's head": trail_edit(lambda d: d["journal"].update(digest="0" * 64)),
    "trail: journal taken out": trail_edit(lambda d: d["journal"].pop("text")),
    "trail: outcome": trail_edit(lambda d: d["outcomes"].clear()),
    "trail: custody": trail_edit(lambda d: d["custody"].clear()),
    "trail: text of a card": trail_edit(lambda d: d["cards"].update({"causes/dry-running.yaml": "cause: dry running\n"})),
    "trail: digest of a photo": trail_edit(lambda d: d["photos"][0].update(recorded="0" * 64)),
    "trail: written otherwise": lambda b: b.trail.write_text(json.dumps(json.loads(b.trail.read_bytes())), "utf-8"),
    "trail: cut": lambda b: b.trail.write_bytes(b.trail.read_bytes()[:-200]),
    "trail: git revision": plain_trail_edit(lambda d: d["knowledge"].update(revision="r0")),
    "trail: version of Python": plain_trail_edit(lambda d: d["tool"].update(python="3.12.0")),
    "trail: version of the tool": plain_trail_edit(lambda d: d["tool"].update(version="0.0.9")),
    "trail: version of a package": plain_trail_edit(lambda d: d["tool"]["packages"].update(numpy="1")),
    "trail: photo as it was then": plain_trail_edit(lambda d: d["photos"][0].update(now="0" * 64)),
    "trail: its digest": plain_trail_edit(lambda d: d.update(digest="0" * 64)),
    "trail: its digest taken out": plain_trail_edit(lambda d: d.pop("digest")),
    "trail: git revision, with its digest": trail_edit(lambda d: d["knowledge"].update(revision="r0")),
    "trail: version of Python, with its digest": trail_edit(lambda d: d["tool"].update(python="3.12.0")),
    # its rules and words
    "rules in the trail: a card": trail_edit(lambda d: rules_in_trail(d, False)),
    "rules in the trail: a card, digests too": trail_edit(lambda d: rules_in_trail(d, True)),
    "rules in the trail: taken out": trail_edit(lambda d: d.update(rules=None, cards={})),
    "trail remade with another card": with_other_rules("causes/dry-running.yaml", "common: sometimes", "common: rarely"),
    "trail remade with another word": with_other_rules("words.yaml", "usually: 0.80", "usually: 0.60"),
    "trail remade with another finding": with_other_rules("findings/ring-hard.yaml", "otherwise: rarely", "otherwise: often"),
    # the report
    "report: a word of the answer": lambda b: edit(b.report, "dry running", "bent shaft"),
    "report: digest of the case": lambda b: edit(b.report, hashlib.sha256(b.case.read_bytes()).hexdigest()[:8], "00000000"),
    # swapped
    "swapped: case file": lambda b: swap(b, "case"),
    "swapped: journal": lambda b: swap(b, "journal"),
    "swapped: case file and journal": lambda b: swap(b, "case", "journal"),
    "swapped: trail": lambda b: swap(b, "trail"),
    "swapped: report": lambda b: swap(b, "report"),
    "swapped: everything, with its signatures": lambda b: (
        swap(b, "case", "journal", "trail", "report"),
        [shutil.copy(other(b).photo(p), b.photo(p)) for p in ("face", "ring")],
    ),
}  # fmt: skip

"""The handbook: every link leads somewhere, nothing comes from outside, text stays text."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser

import pytest

from diagnose.authoring.cards import document, tables
from diagnose.inference.run import load
from diagnose.views.handbook import lesson_name, page_name, pages
from diagnose.views.handbook_marks import feature_documents, step_documents
from diagnose.views.handbook_tables import FULL_BAR, bars
from tests.support.workshop import call, copied_base

VOID = {"meta", "input", "br", "link", "img"}


class Page(HTMLParser):
    def __init__(self, text: str):
        super().__init__()
        self.links, self.outside, self.open, self.wrong, self.scripts = [], [], [], [], 0
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        for key, value in attrs:
            if key in ("href", "src", "action"):
                (self.outside if re.match(r"[a-z]+:|//", value) else self.links).append(value)
            if key.startswith("on"):
                self.wrong.append(key)
        self.scripts += tag == "script"
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if self.open[-1:] != [tag]:
            self.wrong.append(tag)
        else:
            self.open.pop()


def made_from(base) -> dict[str, str]:
    knowledge = base.knowledge
    documents = [document(base, kind, card) for kind, table in tables(knowledge).items() for card in table.values()]
    return pages(
        documents + feature_documents(base),
        {"seen": knowledge.words.seen, "common": knowledge.words.common},
        knowledge.version,
        knowledge.digest,
        step_documents(base),
    )


@pytest.fixture(scope="module")
def whole(whole_base):
    return made_from(whole_base)


@pytest.mark.slow
def test_a_page_for_every_cause_finding_measurement_caution_and_limit(whole, whole_base):
    expected = {page_name(kind, name) for kind, table in tables(whole_base.knowledge).items() for name in table}
    expected |= {page_name("feature", name) for name in whole_base.knowledge.vocabulary.features}
    expected |= {lesson_name(s.stage) for s in whole_base.knowledge.arrangements.steps}
    assert set(whole) == expected | {"index.html"}


@pytest.mark.slow
def test_every_link_leads_to_a_page_and_none_leads_outside(whole):
    for name, text in whole.items():
        page = Page(text)
        assert (page.outside, page.wrong, page.open) == ([], [], []), name
        assert {link.partition("#")[0] for link in page.links} <= set(whole), name


@pytest.mark.slow
def test_only_the_first_page_has_a_script_and_each_has_a_policy_against_the_outside(whole):
    assert {name for name, text in whole.items() if Page(text).scripts} == {"index.html"}
    assert all("default-src &#x27;none&#x27;" in text for text in whole.values())
    assert not any(re.search(r"url\(|@import|fetch\(|XMLHttp", text) for text in whole.values())


@pytest.mark.slow
def test_the_search_knows_every_card_and_its_words(whole, whole_base):
    found = re.search(r"const ENTRIES=(\[.*?\]);\n", whole["index.html"], re.S)
    assert found
    entries = json.loads(found.group(1))
    assert {(e["k"], e["n"]) for e in entries} == {
        (k, n)
        for k, table in {**tables(whole_base.knowledge), "feature": whole_base.knowledge.vocabulary.features}.items()
        for n in table
    }
    dry = next(e for e in entries if e["n"] == "dry running")
    assert dry["u"] in whole and "carbon dust outside the seal" in dry["t"]


@pytest.mark.slow
def test_a_mark_has_its_sketch_how_and_until_when_it_is_seen_and_what_it_tells_apart(whole):
    page = whole[page_name("feature", "radial cracks")]
    assert "<svg" in page and "loupe" in page and "Record it before relapping" in page
    assert f'href="{lesson_name("before relapping")}"' in page and page_name("mechanism", "dry running") in page


@pytest.mark.slow
def test_a_lesson_names_what_goes_with_its_step(whole, whole_base):
    features = whole_base.knowledge.vocabulary.features.values()
    lost = [f.name for f in features if f.lost == "before washing"]
    page = whole[lesson_name("before washing")]
    assert "One wipe takes films" in page and sum(page_name("feature", n) in page for n in lost) > len(lost) / 2


def test_the_longest_bar_is_the_heaviest_weight_and_the_others_are_to_scale():
    made = bars({"if_present": 30.0, "if_absent": -3.0}, 30.0)
    assert f"width:{FULL_BAR}px" in made and f"width:{FULL_BAR // 10}px" in made


@pytest.mark.slow
def test_cautions_stand_on_the_first_page_and_on_the_causes_that_name_them(whole, whole_base):
    knowledge = whole_base.knowledge
    for caution in (c for c in knowledge.cautions.values() if c.always):
        assert caution.says.split(".")[0].replace("'", "&#x27;") in whole["index.html"]
    for kind, cards in (("cause", knowledge.causes), ("mechanism", knowledge.mechanisms)):
        for card in (c for c in cards.values() if c.cautions):
            assert "Take care" in whole[page_name(kind, card.name)]


def test_text_from_the_rule_base_is_shown_and_never_run(tmp_path):
    folder = copied_base(tmp_path)
    evil = "<script>alert(1)</script><img src=x onerror=alert(2)>"
    path = folder / "findings/ring-hard.yaml"
    path.write_text(path.read_text().replace("reads: ring hard", f"reads: '{evil}</title>'"))
    for name, text in made_from(load(folder)).items():
        page = Page(text)
        assert page.wrong == [] and page.outside == []
        assert page.scripts == (name == "index.html")
        assert evil not in text


def test_the_command_writes_the_pages(tmp_path):
    folder = copied_base(tmp_path)
    code, said = call("handbook", "-o", tmp_path / "book", "--knowledge", folder)
    assert code == 0 and "index.html" in said
    text = (tmp_path / "book" / "finding-hot-all-round.html").read_text()
    assert "Cracks right round say that it ran hot" in text

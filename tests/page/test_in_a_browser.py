"""The page as it is used: by touch, cut off and back again, on two tablets, by strangers, with hostile texts, by keyboard alone."""

from __future__ import annotations

import contextlib
import random
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Error

from diagnose.casefile.journal import journal_path, read_journal
from diagnose.casefile.reader import read_case
from diagnose.casefile.recorder import look

pytestmark = pytest.mark.slow

WIDTHS = {"phone": (390, 844), "tablet": (820, 1180), "desk": (1440, 900)}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def entries(case):
    return [line.what["entry"] for line in read_journal(journal_path(case)).lines if "entry" in line.what]


def complaints_of_axe(page):
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": RULES}}).response["violations"]
    return [(v["id"], n["target"], n["failureSummary"]) for v in found for n in v["nodes"]]


def small_targets(page):
    """What can be tapped and is less than 44 px high or wide; links within running text may be."""
    return page.evaluate(
        """() => [...document.querySelectorAll('button, a[href], input:not(.unseen), summary')].filter(e => e.checkVisibility() && !e.matches('.skip'))
        .map(e => [e.textContent || e.id, e.getBoundingClientRect()]).filter(([, b]) => b.width < 44 || b.height < 44).map(([t, b]) => [t, b.width, b.height])"""
    )


def test_a_dual_seal_is_recorded_by_touch(opened, dual, whole_base):
    tablet = opened()
    page = tablet.page
    tablet.tap(page.locator("a.block", has_text="2 Inboard stationary ring"))
    tablet.tap("heat tint, only now: there")
    tablet.tap("severe")
    box = page.locator("svg.dial").bounding_box()
    at = {
        hour: (box["x"] + box["width"] * (0.5 + 0.28 * x), box["y"] + box["height"] * (0.5 - 0.28 * y))
        for hour, x, y in ((12, 0, 1), (3, 1, 0), (6, 0, -1))
    }
    page.locator("svg.dial").scroll_into_view_if_needed()
    page.mouse.move(*at[12])
    page.mouse.down()
    page.mouse.move(*at[3], steps=8)
    page.mouse.move(*at[6], steps=8)
    page.mouse.up()
    assert page.locator(".reads").inner_text() == "12 to 6"
    page.get_by_label("12 o'clock is at which mark of this part").fill("pin slot")
    tablet.tap("driver end")
    tablet.photo()
    page.get_by_role("img", name="Photo 1").wait_for()
    tablet.tap("Record: it is there")
    tablet.settle()
    tablet.tap(page.locator("[data-key='Look for none']"))
    tablet.tap("track width")
    for value in ("4.1", "4.2", "4.1"):
        for sign in value:
            tablet.tap("point" if sign == "." else sign)
        tablet.tap("Another value")
    for sign in ("4", "point", "3"):
        tablet.tap(sign)
    for hour in ("12", "3", "6", "9"):
        tablet.tap(f"{hour} o'clock")
    tablet.tap("Record")
    for part in (
        "22 Outboard stationary ring",
        "1 Inboard rotating ring",
        "21 Outboard rotating ring",
        "3 Inboard sliding O-ring",
    ):
        tablet.tap(page.locator("a.block", has_text=part))
        page.get_by_role("heading", name=part).wait_for()
        tablet.tap(page.locator("[data-key='Look for none']"))
    tablet.settle()
    tablet.tap("Done with this step")
    tablet.tap("None of all these is there")
    tablet.tap(page.locator("[data-key='go on']"))
    for _ in range(50):
        tablet.settle()
        case = read_case(dual, whole_base.knowledge)
        if case.stage == "before removing the O-rings":
            break
        page.wait_for_timeout(200)
    tint = next(o for o in case.observations if o.feature == "heat tint" and o.part == "2")
    assert (tint.state, tint.degree, tint.extent.arcs) == ("present", "severe", ((0.0, 180.0),))
    taken = Image.open(dual.parent / tint.photo)
    assert taken.format == "JPEG" and len(taken.convert("L").resize((40, 40)).getcolors()) > 2, "the camera's pattern"
    assert len(tint.photo_digest) == 64 and not taken.getexif()
    assert (case.part("2").index, case.part("2").seen_from) == ("pin slot", "driver end")
    (width,) = case.measured
    assert [round(r.value * 1000, 2) for r in width.readings] == [4.1, 4.2, 4.1, 4.3] and width.around == (
        0.0,
        90.0,
        180.0,
        270.0,
    )
    assert case.stage == "before removing the O-rings"
    assert look(dual).view == "same" and tablet.complaints == [] and tablet.outside() == []


def test_photos_go_straight_onto_a_part_from_the_camera_and_from_a_file(opened, dual, tmp_path):
    tablet = opened()
    page = tablet.page
    tablet.go("#/part/2")
    tablet.photo()
    tablet.settle()
    page.get_by_role("img", name="Photo of").first.wait_for()
    assert page.evaluate("window.streams.every(s => s.getTracks().every(t => t.readyState === 'ended'))")
    page.evaluate("() => { navigator.mediaDevices.getUserMedia = () => Promise.reject(new Error('none')) }")
    tablet.tap("Photo")
    page.get_by_text("No camera can be used from here.").wait_for()
    picture = tmp_path / "photo.jpg"
    Image.effect_noise((3000, 40), 60).convert("RGB").save(picture)
    with page.expect_file_chooser() as choosing:
        tablet.tap("Choose a picture")
    choosing.value.set_files([picture, __file__])
    page.get_by_text("No picture: test_in_a_browser.py").wait_for()
    tablet.settle()
    found = [e for e in entries(dual) if "photo" in e]
    assert [e["part"] for e in found] == ["2", "2"] and len({e["photo digest"] for e in found}) == 2
    assert Image.open(dual.parent / found[1]["photo"]).size == (2400, 32)
    assert tablet.complaints == [] and tablet.outside() == []


def test_what_was_opened_stays_open_when_something_new_is_told(opened, dual):
    one, two = opened(), opened(name="Sam")
    one.go("#/part/1")
    one.tap("burnt: not there")
    one.settle()
    one.tap(one.page.get_by_text("Looked for and not there (1)"))
    two.go("#/part/1")
    two.tap("heat tint: not there")
    one.page.get_by_text("Looked for and not there (2)").wait_for()
    assert one.page.locator("[data-key^='correct ']").count() == 2
    assert one.page.locator("[data-key^='correct ']").first.is_visible()


@pytest.mark.parametrize("seed", [1, 2])
def test_a_connection_cut_at_random_loses_and_doubles_nothing(opened, dual, seed):
    """Requests are cut before they go out, after they were carried out and by a killed server."""
    tablet, cutting = opened(), random.Random(seed)
    page = tablet.page
    given = cut_at_random(tablet, cutting, 12)
    page.unroute("**/*")
    tablet.settle(60_000)
    told = [e["note"] for e in entries(dual) if "note" in e]
    assert told == given
    answers = [line.what.get("answer") for line in read_journal(journal_path(dual)).lines[1:]]
    assert len(set(answers)) == len(answers)
    assert look(dual).view == "same"


def cut_at_random(tablet, cutting, times, name=""):
    """Gives answers while the connection comes and goes; the remarks given, in order."""
    page, given = tablet.page, []

    def between(route):
        how = cutting.random()
        with contextlib.suppress(Error):  # the server may be dead, or the cut over, by now
            if 0.3 < how < 0.6:
                route.fetch()
            if how < 0.6:
                route.abort("connectionreset")
            else:
                route.continue_()

    for n in range(times):
        if n % 2:
            page.unroute("**/api/**")
        else:
            page.route("**/api/**", between)
        for k in range(cutting.randint(1, 3)):
            given.append(f"remark {name}{n}.{k}")
            page.evaluate(
                "text => import('/static/store.js').then(s => s.answer({whats: [{add: 'remarks', entry: {note: text}}]}))",
                given[-1],
            )
        page.wait_for_timeout(cutting.randint(0, 400))
        if n == times // 2:
            tablet.served.stop(hard=True)
            tablet.served.start()
            enter_again(tablet)
    page.unroute("**/api/**")
    return given


def enter_again(tablet):
    tablet.page.unroute("**/api/**")
    tablet.page.goto(tablet.served.link())
    tablet.page.wait_for_selector(".stack")


def test_answers_outlive_a_closed_page_and_a_server_that_was_killed(opened, dual):
    tablet = opened()
    page = tablet.page
    page.context.set_offline(True)
    tablet.tap(page.locator("a.block", has_text="1 Inboard rotating ring"))
    tablet.tap(page.get_by_role("button", name=re.compile("^burnt(, only now)?: not there")))
    page.locator(".state.waits", has_text="1 kept here").wait_for()
    tablet.served.stop(hard=True)
    tablet.served.start()
    page.context.set_offline(False)
    page.get_by_role("link", name="Enter a new key").wait_for()
    enter_again(tablet)
    tablet.settle()
    assert [(e["part"], e["absent"]) for e in entries(dual) if "absent" in e] == [("1", "burnt")]


def test_two_tablets_see_each_other_and_a_contradiction_is_asked_back(opened, dual, whole_base):
    one, two = opened(name="Kim"), opened(name="Sam", width=390, height=844)
    one.page.get_by_text("Another tablet has this case open as well.").wait_for()
    two.page.context.set_offline(True)
    two.go("#/part/1")
    two.tap("burnt: not there")
    one.go("#/part/1")
    one.tap("burnt, only now: there")
    one.tap("Record: it is there")
    one.settle()
    two.page.context.set_offline(False)
    two.page.get_by_text("is on record there as present").wait_for()
    two.tap("Mine is right")
    two.settle()
    one.page.locator(".records", has_text="absent burnt").or_(
        one.page.get_by_text("Looked for and not there (1)")
    ).first.wait_for()
    case = read_case(dual, whole_base.knowledge)
    assert [(o.feature, o.state) for o in case.observations if o.part == "1"] == [("burnt", "absent")]
    assert [line.who for line in read_journal(journal_path(dual)).lines[1:]] == ["Kim", "Sam"]
    assert "another" not in " ".join(one.complaints)


def test_a_stranger_gets_nothing(opened, chromium):
    tablet = opened()
    context = chromium.new_context()
    page = context.new_page()
    home = tablet.page.url.split("#")[0]
    for path in ("", "api/cases", "api/cases/dual", "report/dual", "photos/dual/x.jpg"):
        assert page.goto(home + path).status == 401
        assert "radial" not in page.content()
    page.goto(home)
    page.get_by_label("Key").fill("guessed")
    page.get_by_role("button", name="Open the page").click()
    page.get_by_text("this key was used, is too old or was never given out").wait_for()
    context.close()


def test_hostile_texts_stay_text(opened, dual):
    hostile = "<script>window.ran=1</script><img src=x onerror=window.ran=1><a href=javascript:window.ran=1>x</a>"
    tablet = opened()
    page = tablet.page
    for whats in (
        [{"add": "remarks", "entry": {"note": hostile, "part": "2"}}],
        [
            {
                "add": "parts",
                "entry": {"item": "77", "kind": "clip", "name": hostile, "position": "inboard", "tag": hostile},
            }
        ],
        [{"add": "observations", "entry": {"part": "2", "saw": "burnt", "note": hostile}}],
        [{"set": ["case"], "to": hostile, "why": "x"}],
    ):
        page.evaluate("whats => import('/static/store.js').then(s => s.answer({whats}))", whats)
    tablet.settle()
    for way in ("#/", "#/part/2", "#/part/77", "#/figures", "#/reading", "#/reading/what-if", "#/reading/why"):
        tablet.go(way)
        page.wait_for_timeout(400)
    tablet.go("#/part/2")
    page.locator(".records", has_text="onerror").first.wait_for()
    report = page.context.new_page()
    report.goto(page.url.split("#")[0] + "report/dual")
    assert report.locator("h1").inner_text() == hostile and report.evaluate("window.ran") is None
    assert page.evaluate("window.ran") is None and page.locator("main img[src='x']").count() == 0
    assert page.locator("h1, b", has_text=hostile).count() >= 1
    assert tablet.complaints == [] and tablet.outside() == []


class Looked(dict):
    """What is wrong with each view that was looked at, by its name; a view without fault has no entry."""

    def __init__(self, page):
        self.page = page

    def __call__(self, name):
        self.page.wait_for_timeout(300)
        wrong = complaints_of_axe(self.page) + small_targets(self.page)
        wrong += ["sticks out"] if self.page.evaluate("document.documentElement.scrollWidth > innerWidth") else []
        if wrong:
            self[name] = wrong


@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing_where_things_are_corrected_go_wrong_or_are_let_in(opened, chromium, width):
    tablet = opened(width=WIDTHS[width][0], height=WIDTHS[width][1])
    page = tablet.page
    check = Looked(page)
    tablet.go("#/part/1")
    tablet.tap("burnt: not there")
    tablet.settle()
    for way, key, name in (
        ("#/part/1", "details:has([data-key^='correct ']) > summary", "records"),
        ("#/part/1", "[data-key^='correct ']", "correct"),
        ("#/figures", "[data-key='fluid']", "a text"),
        ("#/figures", "[data-key='rotation']", "one of several"),
        ("#/figures", "[data-key='speed']", "a figure"),
    ):
        tablet.go(way)
        page.locator(key).last.tap()
        check(name)
        if page.locator("dialog").count():
            tablet.tap("Close")
    for name in ("Another case", "Let another tablet in", "The whole seal is gone"):
        tablet.tap(f"Menu, {tablet.name}")
        tablet.tap(name)
        check(name)
        tablet.tap("Close")
    page.context.set_offline(True)
    tablet.go("#/part/2")
    tablet.tap("burnt: not there")
    page.locator(".state.waits", has_text="kept here").wait_for()
    check("cut off")
    page.context.set_offline(False)
    tablet.settle()
    answers = [
        {"add": "observations", "entry": {"part": "2", "saw": "burnt"}},
        {"add": "observations", "entry": {"part": "2", "saw": "none such"}},
    ]
    for what in answers:
        page.evaluate("what => import('/static/store.js').then(s => s.answer({whats: [what]}))", what)
    page.get_by_text("Not recorded").nth(1).wait_for()
    check("refused")
    stranger = chromium.new_context(viewport={"width": WIDTHS[width][0], "height": WIDTHS[width][1]}).new_page()
    stranger.goto(f"{tablet.served.home}/")
    looked = Looked(stranger)
    looked("without a key")
    stranger.get_by_label("Key").fill("guessed")
    stranger.get_by_role("button", name="Open the page").click()
    stranger.get_by_text("this key was used").wait_for()
    looked("with a wrong key")
    assert check == looked == {}


@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing_and_every_target_is_large(opened, width):
    tablet = opened(width=WIDTHS[width][0], height=WIDTHS[width][1])
    page = tablet.page
    page.locator(".look").wait_for(timeout=30_000)
    check = Looked(page)
    check("stack")
    for way in ("#/part/2", "#/kind/leak", "#/figures"):
        tablet.go(way)
        check(way)
    tablet.go("#/part/2")
    for name in (
        "heat tint, only now: there",
        "track width",
        "Own words",
        "Another mark",
        "About this part",
        "Photo",
        "So far",
    ):
        tablet.tap(name)
        check(name)
        tablet.tap("Close")
    for way, ready in (
        ("", ".ranking"),
        ("/plan", ".looks"),
        ("/why", "h2"),
        ("/what-if", ".result p"),
        ("/report", ".button"),
    ):
        tablet.go(f"#/reading{way}")
        page.locator(f".read {ready}").first.wait_for(timeout=30_000)
        check(way or "reading")
    tablet.go("#/")
    for name in ("How, and what else", "Done with this step", "Other step", "Menu, Kim"):
        tablet.tap(name)
        check(name)
        tablet.tap("Close")
    assert check == {} and tablet.complaints == [] and tablet.outside() == []


def test_a_mark_is_recorded_by_keyboard_alone(opened, dual):
    tablet = opened(width=1440, height=900)
    page = tablet.page

    def to(name):
        """Tabs to what a screen reader calls so."""
        for _ in range(200):
            page.keyboard.press("Tab")
            said = page.evaluate(
                "(document.activeElement.getAttribute('aria-label') || document.activeElement.textContent).trim()"
            )
            if said.startswith(name):
                return
        raise AssertionError(f"{name} is not reached")

    to("To the work")
    page.keyboard.press("Enter")
    to("2 Inboard stationary ring")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="2 Inboard stationary ring").wait_for()
    assert page.evaluate("document.activeElement.tagName") == "H1"
    to("burnt, only now: there")
    page.keyboard.press("Enter")
    to("moderate")
    page.keyboard.press("Space")
    assert page.evaluate("document.activeElement.getAttribute('aria-pressed')") == "true"
    to("Clock position to")
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    assert page.locator(".reads").inner_text() == "12 to 2"
    page.get_by_label("12 o'clock is at which mark").fill("notch")
    to("driver end")
    page.keyboard.press("Enter")
    to("Record: it is there")
    page.keyboard.press("Enter")
    tablet.settle()
    (mark,) = [e for e in entries(dual) if "saw" in e]
    assert (mark["saw"], mark["degree"], mark["extent"]) == ("burnt", "moderate", "12 to 2")
    assert "burnt" in page.locator("#says").inner_text()

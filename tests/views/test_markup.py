"""Text stays text in the markup that reports are built from."""

from __future__ import annotations

from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from diagnose.views.drawings.markup import Markup, el, join, number, text


class Reader(HTMLParser):
    """What a browser makes of markup: its tags and its text."""

    def __init__(self, markup: str):
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.told = ""
        self.feed(markup)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data):
        self.told += data


@given(
    st.text(
        st.characters(
            exclude_categories=["Cc", "Cf", "Cs", "Zl", "Zp"],
        )
    )
)
def test_any_text_comes_back_as_text_and_makes_no_element(told):
    read = Reader(el("p", told, title=told))
    assert read.tags == ["p"] and read.told == told and read.attributes == [("title", told)]


def test_control_and_direction_marks_are_shown_not_obeyed():
    assert text("a\x00b\u202ec\u061cd\u200be") == "a\ufffdb\ufffdc\ufffdd\ufffde"


def test_markup_goes_through_and_joins():
    assert join("<b>", Markup("<i>x</i>"), None, ["&", False]) == "&lt;b&gt;<i>x</i>&amp;"


def test_attributes_are_named_as_html_names_them():
    assert (
        el("a", "x", class_="y", data_proof="c:z", hidden=True, href=None)
        == '<a class="y" data-proof="c:z" hidden>x</a>'
    )


def test_coordinates_are_short_and_without_a_negative_zero():
    assert [number(x) for x in (1.0, -0.001, 2.345678, -3.5)] == ["1", "0", "2.35", "-3.5"]

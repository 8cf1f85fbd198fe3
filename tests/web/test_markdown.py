"""Markdown of bank and handbook: what becomes HTML, and what stays text."""

from __future__ import annotations

import time

import pytest

from quizsvc.web import markdown


@pytest.mark.parametrize(
    "source",
    [
        "<script>alert(1)</script>",
        "<img src=x onerror=alert(1)>",
        "a <b onclick='x'>b</b>",
        "<!-- -->\n<iframe src=//evil>",
    ],
)
def test_html_in_a_text_is_shown_as_text(source):
    """No tag of an author reaches the page."""
    for render in (markdown.text, markdown.inline, markdown.page):
        html = str(render(source))

        assert "<script" not in html
        assert "<img" not in html
        assert "<b " not in html
        assert "<iframe" not in html
        assert "&lt;" in html


@pytest.mark.parametrize(
    "address",
    [
        "javascript:alert(1)",
        "JAVASCRIPT:alert(1)",
        "data:text/html,x",
        "vbscript:x",
        "//evil.example/x",
        "/\\evil.example",
        "http://plain.example",
        "mailto:a@b.example",
        "ftp://files.example",
        "relative/path",
        "https:/evil.example",
    ],
)
def test_a_link_elsewhere_stays_text(address):
    """Links lead to #, to this service, or to https; everything else is left as it was typed."""
    assert "<a " not in markdown.text(f"[word]({address})")
    assert "<a " not in markdown.text(f"[word]: {address}\n\n[word]")


@pytest.mark.parametrize("address", ["#gate", "/handbook/tolquenny-19/21-30", "https://plain.example/x?a=1"])
def test_a_link_that_is_allowed_is_a_link(address):
    """The three kinds that the bank may use."""
    assert f'<a href="{address}">word</a>' in markdown.text(f"[word]({address})")


def test_an_image_is_never_fetched():
    """An image would be a request, and a third party's at that."""
    assert "<img" not in markdown.text("![alt](https://pictures.example/x.png)")
    assert "<img" not in markdown.page("![alt](/x.png)")


def test_emphasis_and_lists_are_rendered():
    """What stems and workings use."""
    assert markdown.text("LDG **above 7,200 ft**") == "<p>LDG <strong>above 7,200 ft</strong></p>\n"
    assert "<li>one</li>" in markdown.text("- one\n- two")
    assert markdown.inline("*lost*") == "<em>lost</em>"


def test_a_stem_makes_no_heading():
    """A heading inside an item would break the page's outline."""
    assert "<h1" not in markdown.text("# 21 high field")
    assert "<h2" not in markdown.text("21 high field\n----")


def test_headings_of_a_section_stand_under_the_page_heading():
    """The page has the h1; the highest heading of the text becomes h2, whatever level its author used."""
    html = markdown.page("### Trap\n\ntext\n\n#### Inner\n\n###### Deep")

    assert "<h2>Trap</h2>" in html
    assert "<h3>Inner</h3>" in html
    assert "<h5>Deep</h5>" in html


def test_a_hostile_text_is_rendered_in_bounded_time():
    """Nested brackets cost more than linear time, so a long text is shown as it is."""
    # The thread's own time: what else the machine does meanwhile is no fault of the text.
    started = time.thread_time()
    html = markdown.text("[" * 200_000)

    assert html == "<p>" + "[" * 200_000 + "</p>"
    assert time.thread_time() - started < 1.0

"""The bank desk with its script: what is typed is checked while one writes, and nothing is kept by that."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.screens import REVIEWER, visitor, world

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def made(templates, tmp_path_factory):
    """One service for the whole file."""
    with world(templates, tmp_path_factory.mktemp("desk")) as whole:
        yield whole


def test_a_text_is_checked_while_it_is_written(made, chromium):
    """The fault goes when it is mended, the question comes, and the page was never left."""
    page = visitor(chromium, made, REVIEWER, viewport={"width": 360, "height": 800})
    page.goto("/bank-desk/items/school-own")
    expect(page.get_by_text("Unknown concept 'K-ONES'")).to_be_visible()
    text = page.get_by_label("The item's text")
    text.fill(text.input_value().replace("K-ONES", "K-ONE").replace("alive", "fed"))
    expect(page.get_by_role("status").filter(has_text="Findings: 1")).to_be_visible(timeout=30_000)
    expect(page.get_by_text("Unknown concept")).to_have_count(0)
    drawn = page.locator(".phone")
    expect(drawn).to_contain_text("Which bus keeps the dump switch fed?")
    # The frame of a phone, never wider than the page.
    assert drawn.bounding_box()["width"] <= 360
    text.fill("kind: one")
    expect(page.get_by_text("The file is no list of items.")).to_be_visible(timeout=30_000)
    assert page.faults == []

    page.goto("/bank-desk/items/school-own")
    expect(page.get_by_label("The item's text")).to_have_value(re.compile("K-ONES"))

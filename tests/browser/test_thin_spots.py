"""Thin spots in Chromium: its folds open without scripts, and on paper nothing is folded away."""

from __future__ import annotations

import pytest

from tests.browser import steps

pytestmark = pytest.mark.browser

SEEN = """() => [...document.querySelectorAll('[data-concept]')]
  .filter(one => one.checkVisibility() && one.getBoundingClientRect().height > 20).length"""


def test_what_is_folded_opens_without_scripts_and_is_printed(phone, site):
    """Every concept of the bank is on the printed page, though the screen shows a few."""
    page = phone(script=False)
    steps.start(page)
    steps.answer(page, site.db, correctly=False)
    page.goto("/thin-spots")
    every, few = page.locator("[data-concept]").count(), page.evaluate(SEEN)
    page.emulate_media(media="print")
    printed = page.evaluate(SEEN)
    page.emulate_media(media="screen")
    assert page.evaluate(SEEN) == few
    for summary in page.locator("summary").all():
        summary.click()

    assert page.evaluate(SEEN) == every == printed
    assert 0 < few < every

"""A page of homework that was closed and is opened without signal: what is said, and that nothing typed is lost."""

from __future__ import annotations

import pytest

from tests.browser import steps
from tests.browser.device_steps import answer, begin
from tests.browser.installed_steps import installed, line, site
from tests.browser.offline import device
from tests.browser.test_homework import NOTHING_WAITS, bank_name, draft, told, until, work

__all__ = ["bank_name", "device", "installed", "line", "site", "work"]
pytestmark = pytest.mark.browser


def test_a_closed_page_says_what_waits_and_sends_it_when_it_comes_again(installed, line, site, work):
    """The device's own screen comes, counts the answer, and leaves it alone; the link brings the page back."""
    token, view = work
    address = f"/works/{view.id}/questions/{view.questions[0].id}"
    page = installed.page
    page.context.add_cookies([{"name": "session", "value": token, "url": site.url}])
    page.goto(address)
    page.locator("#text").wait_for()
    steps.filled(page)
    line.set("refused")
    page.locator("#text").fill("5500")
    told(page, "is kept on this device and sent later")
    page.close()

    page = installed.fresh()
    page.goto(address)
    page.locator("[data-begin]").wait_for()
    page.locator("#status:has-text('This page needs the service')").wait_for()
    page.locator("#status:has-text('One answer to homework is kept too')").wait_for()
    begin(page)
    answer(page, site.db, correctly=True)
    assert not page.evaluate(NOTHING_WAITS) and draft(site, work) is None
    page.close()

    page = installed.fresh()
    page.goto(address)
    again = page.get_by_role("link", name="Open it again")
    again.wait_for()
    line.set("through")
    for _ in range(20):  # the worker waits 8 s for the page, and a busy machine may take longer
        with page.expect_navigation():
            again.click()
        if page.locator("#text").count():
            break
    until(page, NOTHING_WAITS)
    assert draft(site, work) == (1, {"text": "5500"})
    assert page.locator("#text").input_value() == "5500"

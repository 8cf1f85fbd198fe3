"""A draft of homework on a bad line: what refuses it, what does not, and what is said of it meanwhile."""

from __future__ import annotations

import pytest

from tests.browser import steps
from tests.browser.outbox_steps import PASSWORD
from tests.browser.test_homework import NOTHING_WAITS, at, bank_name, draft, held_back, told, until, work

__all__ = ["bank_name", "work"]
pytestmark = pytest.mark.browser

DRAFTS = "**/api/v1/drafts"


def come(page, held):
    """Wait until a request is held back."""
    for _ in range(1200):
        if held:
            return
        page.wait_for_timeout(50)
    raise AssertionError("nothing was asked")


@pytest.mark.parametrize(
    "reply",
    [
        {"status": 429, "json": {"message": "slow down"}},
        {"status": 403, "json": {"detail": "blocked"}},
        {"status": 200, "json": {}},
        {"status": 200, "body": "<h1>Sign in to this network</h1>", "content_type": "text/html"},
    ],
    ids=["too many", "forbidden", "something else", "a page"],
)
def test_what_is_on_the_way_refuses_no_draft(phone, site, work, reply):
    """A reply that is not the service's own: the draft waits, the page says so, and it goes out later."""
    page = at(phone, site, work)
    page.route(DRAFTS, lambda route: route.fulfill(**reply))
    page.locator("#text").fill("5500")
    told(page, "is kept on this device and sent later")
    assert not page.evaluate(NOTHING_WAITS)
    page.unroute(DRAFTS)
    page.reload()
    until(page, NOTHING_WAITS)

    assert draft(site, work) == (1, {"text": "5500"})
    assert page.faults == []


def test_a_session_that_is_over_is_said(phone, site, work):
    """Ended from another device, say: what is typed is kept, and saved when the person has signed in again."""
    page = at(phone, site, work)
    page.goto(f"/works/{work[1].id}/all")
    steps.filled(page)
    page.locator("#q1-text").fill("5500")
    told(page, "Saved")
    page.context.clear_cookies()
    page.locator("#q1-text").fill("6600")
    told(page, "Sign in again")
    assert page.locator("#item-1 [data-saved]").inner_text() == "On this device, not sent yet."
    tab = page.context.new_page()
    tab.goto("/sign-in")
    tab.get_by_label("Name").fill("Ada Quill")
    tab.get_by_label("Password").fill(PASSWORD)
    tab.get_by_role("button", name="Sign in").click()
    tab.wait_for_url(f"{site.url}/")
    page.evaluate("dispatchEvent(new Event('online'))")
    until(page, NOTHING_WAITS)

    assert draft(site, work) == (2, {"text": "6600"})


def test_a_draft_that_is_refused_takes_no_later_one_with_it(phone, site, work):
    """Written on while the first was on its way: that one is refused, and the other is sent."""
    page = at(phone, site, work)
    held = held_back(page, DRAFTS)
    page.locator("#text").fill("5500")
    come(page, held)
    page.locator("#text").fill("5600")
    until(page, "Object.values(localStorage).some((kept) => kept.includes('5600'))")
    problem = {"type": "urn:quizsvc:text-too-long", "detail": "That is too long."}
    held[0].fulfill(status=422, json=problem)
    until(page, NOTHING_WAITS)

    assert draft(site, work) == (1, {"text": "5600"})


# Time-outs come when the trial says so.
GIVE_UP = """() => {
  globalThis.giveUp = [];
  AbortSignal.timeout = () => {
    const control = new AbortController();
    globalThis.giveUp.push(() => control.abort());
    return control.signal;
  };
}"""


def test_a_line_that_stalls_holds_nobody_up(phone, site, work):
    """No reply and no refusal: the sending is given up, and pressing Save goes on."""
    page = at(phone, site, work)
    page.evaluate(GIVE_UP)
    held = held_back(page, DRAFTS)
    page.locator("#text").fill("5500")
    come(page, held)
    page.get_by_role("button", name="Save and go on").click()
    assert draft(site, work) is None and len(held) == 1
    until(page, "globalThis.giveUp.length === 1")
    page.evaluate("giveUp[0]()")
    page.wait_for_url(f"**/{work[1].questions[1].id}")

    assert draft(site, work)[1] == {"text": "5500"}


def both(phone, site, work):
    """The phone wrote 5500 without signal, the desk 6600 meanwhile; the phone's page is closed again."""
    page = at(phone, site, work)
    desk = at(phone, site, work)
    page.context.set_offline(True)
    page.locator("#text").fill("5500")
    told(page, "No signal")
    page.close()
    desk.locator("#text").fill("6600")
    told(desk, "Saved")
    page.context.set_offline(False)
    return page.context


def test_an_undecided_question_is_asked_again(phone, site, work):
    """Who closes the page before choosing has lost neither, also having typed on; then the choice holds."""
    context = both(phone, site, work)
    address = f"/works/{work[1].id}/questions/{work[1].questions[0].id}"
    for typed in ("5500", "5501"):
        page = context.new_page()
        page.goto(address)
        page.locator(".newer-here").wait_for()
        assert page.locator("#text").input_value() == typed
        assert draft(site, work) == (1, {"text": "6600"})
        page.locator("#text").fill("5501")
        until(page, "Object.values(localStorage).some((kept) => kept.includes('5501'))")
        page.close()
    page = context.new_page()
    page.goto(address)
    page.get_by_role("button", name="Keep what stands here").click()
    until(page, NOTHING_WAITS)

    assert draft(site, work) == (2, {"text": "5501"})


def test_a_draft_that_another_device_overtook_is_said(phone, site, work):
    """Sent from the list of the work, where nobody can be asked: both answers are told, none goes in silence."""
    page = both(phone, site, work).new_page()
    page.goto(f"/works/{work[1].id}/hand-in")
    told(page, "was not taken: 5500. Saved meanwhile, here or on another device: 6600")

    assert draft(site, work) == (1, {"text": "6600"})


# Says when the older list has been read; what is done with it is done by then.
READ = """() => {
  const parse = DOMParser.prototype.parseFromString;
  DOMParser.prototype.parseFromString = function (text, ...more) {
    globalThis.read ||= text.includes("<!-- the older -->");
    return parse.call(this, text, ...more);
  };
}"""


def test_a_list_that_comes_late_is_not_shown_over_a_newer_one(phone, site, work):
    """Two were asked for, and the older reply comes last."""
    page = at(phone, site, work)
    page.goto(f"/works/{work[1].id}/hand-in")
    steps.filled(page)
    page.evaluate(READ)
    held = held_back(page, "**/hand-in")
    page.evaluate("dispatchEvent(new Event('saved'))")
    come(page, held)
    older = held[0].fetch()
    tab = at_other(page, site, work)
    tab.locator("#text").fill("5500")
    told(tab, "Saved")
    page.locator("text=1 of 2 answered or passed").wait_for()
    held[0].fulfill(response=older, body=older.text() + "<!-- the older -->")
    until(page, "globalThis.read === true")

    assert "1 of 2 answered or passed" in page.inner_text("main")


def at_other(page, site, work):
    """The first question in another tab."""
    tab = page.context.new_page()
    tab.goto(f"/works/{work[1].id}/questions/{work[1].questions[0].id}")
    steps.filled(tab)
    return tab

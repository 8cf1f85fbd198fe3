"""Homework on a phone: saved while one types, kept without signal, two devices, handed in with the phone's clock."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import pytest

from quizsvc.services import accounts, homework
from quizsvc.store.tables import Answer, Assignment, DraftResponse, Work
from tests.browser import steps
from tests.services.assigned import add_assignment, add_group
from tests.web.keys import right, wrong

pytestmark = pytest.mark.browser


@pytest.fixture
def bank_name():
    """The bank with one item of every kind."""
    return "kinds"


@pytest.fixture
def work(site):
    """A student with a begun work on a number and an order; gives person, session's secret, and the work."""
    now = datetime.now(UTC)
    accounts.add_account(site.db, "Ada Quill", now=now)
    secret = accounts.make_link(site.db, "Ada Quill", hours=24, by=None, now=now)
    signed_in = accounts.use_link(site.db, secret, "ochre lantern nine", device="a phone", now=now)
    person = signed_in.person.id
    group = add_group(site.db, lambda: now, students=[person])
    assignment = add_assignment(
        site.db, lambda: now, group, ["asked-as-number", "asked-as-order"], closes_at=now + timedelta(days=1)
    )
    view = homework.begin(site.db, person, assignment, now=now, rng=random.Random(19))
    return signed_in.token, view


NOTHING_WAITS = "!Object.keys(localStorage).some((key) => key.startsWith('answer:'))"


def at(phone, site, work, question=0, *, clock=False, **options):
    """A phone of that person, on a question of the work; `clock` is one whose time the trial moves on."""
    token, view = work
    page = phone(**options)
    if clock:
        page.clock.install()
    page.context.add_cookies([{"name": "session", "value": token, "url": site.url}])
    page.goto(f"/works/{view.id}/questions/{view.questions[question].id}")
    steps.filled(page)
    return page


def draft(site, work, question=0):
    """What the service has of a question."""
    with site.db.reading() as session:
        found = session.get(DraftResponse, work[1].questions[question].id)
        return None if found is None else (found.version, found.raw)


def told(page, words):
    """Wait until the page says so."""
    page.locator(f"#homework-status:has-text('{words}')").wait_for()


def until(page, expression):
    """Wait until it holds; the page's policy lets nothing wait inside it by evaluating words."""
    for _ in range(1200):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(50)
    raise AssertionError(expression)


def tried(page):
    """Wait until every sending that was asked for has been tried; without signal nothing is sent by that."""
    page.evaluate("""async () => {
      const { flush } = await import(document.querySelector("script[src*='homework.js']").src);
      await flush();
    }""")


def ticking(page):
    """Wait until the script of a Sitting's time, which comes after the page has, has begun to count."""
    page.evaluate("""async () => {
      const beside = document.querySelector("script[src*='homework.js']").src;
      await import(beside.replace("homework.js", "homework-time.js"));
    }""")


def held_back(page, address):
    """Hold the first request to an address back; gives the list where it stands, once it was made."""
    held = []

    def hold(route):
        held.append(route)
        if len(held) > 1:
            route.continue_()

    page.route(address, hold)
    return held


def test_what_is_typed_and_tapped_is_saved_without_a_button(phone, site, work):
    """A number, then steps by taps; closed and opened again, both stand there."""
    page = at(phone, site, work)
    page.locator("#text").fill("4400")
    told(page, "Saved")
    assert draft(site, work) == (1, {"text": "4400"})
    page.goto(f"/works/{work[1].id}/questions/{work[1].questions[1].id}")
    order = right(site.db, work[1].questions[1].id)["order"]
    for step in order:
        page.locator(f"label[for='place-{step}']").click()
    for _ in range(600):  # where the taps come slowly, some of the steps are saved before the others
        if (draft(site, work, 1) or (0, None))[1] == {"order": order}:
            break
        page.wait_for_timeout(50)
    until(page, NOTHING_WAITS)
    page.reload()

    assert draft(site, work, 1)[1] == {"order": order}
    assert [page.locator(f"#place-{step}").input_value() for step in order] == ["1", "2", "3", "4"]
    assert page.faults == []


def test_without_signal_it_is_kept_here_and_sent_when_there_is_some(phone, site, work):
    """Also where the page was closed in between; nothing is handed in before."""
    page = at(phone, site, work)
    page.context.set_offline(True)
    page.locator("#text").fill("5500")
    told(page, "No signal")
    page.get_by_role("button", name="Save and go on").click()
    assert draft(site, work) is None and page.locator("#text").input_value() == "5500"
    assert page.faults == []
    context = page.context
    page.close()  # before there is signal, so that it does not send
    context.set_offline(False)
    page = context.new_page()
    page.goto(f"/works/{work[1].id}/hand-in")
    page.locator("li:has-text('Item 1')").wait_for(state="detached")

    assert draft(site, work) == (1, {"text": "5500"})
    until(page, NOTHING_WAITS)


def test_signing_out_offers_to_send_what_waits(phone, site, work):
    """A draft that could not be saved is counted, sent on demand, and only then deleted here."""
    page = at(phone, site, work)
    page.context.route("**/api/v1/drafts", lambda route: route.abort())
    page.locator("#text").fill("5500")
    told(page, "No signal")
    page.goto("/account")
    page.get_by_role("button", name="Sign out").click()
    page.locator("#leaving:has-text('One answer given on this device still waits to be sent.')").wait_for()
    assert draft(site, work) is None
    page.context.unroute("**/api/v1/drafts")
    page.get_by_role("button", name="Send first, then go on").click()
    page.wait_for_url("**/")

    assert draft(site, work) == (1, {"text": "5500"})
    assert page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('answer:'))") == []
    page.goto("/account")
    assert page.url.endswith("/sign-in?next=/account")


def test_two_devices(phone, site, work):
    """The phone wrote offline what the desk has written over: it asks which one is meant, and neither is lost."""
    page, desk = at(phone, site, work), at(phone, site, work, viewport={"width": 1280, "height": 800})
    page.context.set_offline(True)
    page.locator("#text").fill("5500")
    told(page, "No signal")
    desk.locator("#text").fill("6600")
    told(desk, "Saved")
    page.context.set_offline(False)
    box = page.locator(".newer-here")
    box.wait_for()
    assert "6600" in box.inner_text() and page.locator("#text").input_value() == "5500"
    page.get_by_role("button", name="Keep what stands here").click()
    told(page, "Saved")

    assert draft(site, work) == (2, {"text": "5500"})
    assert page.faults == desk.faults == []


def test_a_whole_work_is_done_without_signal(phone, site, work):
    """Opened once with signal: a number and steps, then signal again, and everything is sent from the same page."""
    page = at(phone, site, work)
    page.goto(f"/works/{work[1].id}")
    page.get_by_role("link", name="All on one page").click()
    page.wait_for_url("**/all")
    steps.filled(page)
    page.context.set_offline(True)
    page.locator("#q1-text").fill("5500")
    page.locator("#q1-text").press("Enter")  # the phone's key for going on: the page stays
    order = right(site.db, work[1].questions[1].id)["order"]
    for step in order:
        page.locator(f"label[for='q2-place-{step}']").click()
    page.locator("#item-2 [data-saved]:has-text('On this device')").wait_for()
    assert page.locator("#item-1 [data-saved]").inner_text() == "On this device, not sent yet."
    page.get_by_role("button", name="Save and go to handing in").click()
    told(page, "No signal")
    tried(page)  # or the press goes on to handing in, once there is signal
    assert page.url.endswith("/all") and draft(site, work) is None
    page.context.set_offline(False)
    for item in (1, 2):  # each is sent by itself
        page.locator(f"#item-{item} [data-saved]:has-text('Saved.')").wait_for()

    assert (draft(site, work), draft(site, work, 1)) == ((1, {"text": "5500"}), (1, {"order": order}))
    page.get_by_role("button", name="Save and go to handing in").click()
    page.wait_for_url("**/hand-in")
    assert "2 of 2 answered or passed." in page.inner_text("main")
    assert page.faults == []


def test_a_browser_that_keeps_nothing_is_told_of(phone, site, work):
    """Storage refused and no signal: said so, held by the page, and sent when there is signal."""
    page = at(phone, site, work)
    page.add_init_script("Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); }")
    page.goto(f"/works/{work[1].id}/all")
    steps.filled(page)
    page.context.set_offline(True)
    page.locator("#q1-text").fill("5500")
    told(page, "this browser keeps nothing")
    page.context.set_offline(False)
    told(page, "Saved")

    assert draft(site, work) == (1, {"text": "5500"})


def test_written_on_while_a_draft_is_on_its_way(phone, site, work):
    """A slow line: what was typed meanwhile follows on the first, and is not taken for another device's."""
    page = at(phone, site, work)
    held = held_back(page, "**/api/v1/drafts")
    with page.expect_request("**/api/v1/drafts"):
        page.locator("#text").fill("5500")
    page.locator("#text").fill("5600")
    until(page, "Object.values(localStorage).some((kept) => kept.includes('5600'))")
    assert draft(site, work) is None
    held[0].continue_()
    until(page, NOTHING_WAITS)

    assert draft(site, work) == (2, {"text": "5600"})
    assert page.locator(".newer-here").count() == 0


def test_the_page_of_handing_in_follows_what_is_saved(phone, site, work):
    """Sent only after the page came, or from another tab: the list is true without loading the page again."""
    page = at(phone, site, work)
    page.context.route("**/api/v1/drafts", lambda route: route.abort())
    page.locator("#text").fill("5500")
    told(page, "No signal")
    page.goto(f"/works/{work[1].id}/hand-in")
    told(page, "No signal")
    page.evaluate("window.same = true")
    assert page.locator("li:has-text('Item 1')").count() == 1
    page.context.unroute("**/api/v1/drafts")
    page.evaluate("dispatchEvent(new Event('online'))")
    page.locator("li:has-text('Item 1')").wait_for(state="detached")
    tab = page.context.new_page()
    tab.goto(f"/works/{work[1].id}/questions/{work[1].questions[1].id}")
    tab.get_by_role("button", name="pass").click()
    tab.wait_for_url(f"**/works/{work[1].id}")
    page.bring_to_front()
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.locator("text=2 of 2 answered or passed").wait_for()

    assert page.evaluate("window.same") and page.get_by_role("button", name="Hand in", exact=True).count() == 1


def test_what_is_saved_while_the_page_of_handing_in_is_on_its_way(phone, site, work):
    """Made by the service before the draft came, shown after the draft was taken: the list looks again by itself."""
    page = at(phone, site, work)
    tab = page.context.new_page()  # sees what is kept here
    tab.goto("/about")
    drafts, pages = held_back(page, "**/api/v1/drafts"), held_back(page, "**/hand-in")
    with page.expect_request("**/api/v1/drafts"):
        page.locator("#text").fill("5500")
    page.evaluate(f"setTimeout(() => location.assign('/works/{work[1].id}/hand-in'))")
    for _ in range(1200):
        if pages:
            break
        page.wait_for_timeout(50)
    made = pages[0].fetch()
    assert "Item 1" in made.text() and draft(site, work) is None
    until(tab, f"!({NOTHING_WAITS})")
    drafts[0].continue_()
    until(tab, NOTHING_WAITS)  # the page that is left has read the reply; it runs nothing for the trial any more
    pages[0].fulfill(response=made)
    page.wait_for_url("**/hand-in")
    page.locator("text=1 of 2 answered or passed").wait_for()

    assert draft(site, work) == (1, {"text": "5500"})


def test_handing_in_by_taps(phone, site, work):
    """Fill in, save, hand in; the receipt has the time of arrival and the phone's beside it."""
    page = at(phone, site, work)
    steps.fill(page, wrong(site.db, work[1].questions[0].id))
    page.get_by_role("button", name="Save and go on").click()
    page.wait_for_url(f"**/{work[1].questions[1].id}")
    steps.fill(page, right(site.db, work[1].questions[1].id))
    page.get_by_role("button", name="Save", exact=True).click()
    page.wait_for_url(f"**/works/{work[1].id}")
    page.get_by_role("link", name="Hand in").click()
    page.wait_for_url("**/hand-in")  # with its script, which adds the phone's time
    page.get_by_role("button", name="Hand in").click()
    page.wait_for_url("**/receipt")

    assert "Your device's clock said" in page.inner_text("main")
    with site.db.reading() as session:
        stored = session.get(Work, work[1].id)
        assert stored.device_at is not None and len(stored.content_hash) == 64
        assert session.query(Answer).count() == 2
    page.get_by_role("link", name="To the feedback").click()
    page.wait_for_url(f"**/works/{work[1].id}")
    assert page.inner_text("h1") == "1 of 2"
    assert page.faults == []


@pytest.mark.parametrize("extended", [True, False])
def test_a_sitting_that_is_lengthened_goes_on(phone, site, work, extended):
    """At the end that the page knows it asks once more; without an extension it says that the time is over."""
    now = datetime.now(UTC)

    def ends(at):
        with site.db.writing() as session:
            session.get_one(Assignment, work[1].assignment_id).sitting_minutes = 40
            session.get_one(Work, work[1].id).ends_at = at

    ends(now + timedelta(minutes=10))
    page = at(phone, site, work, clock=True)
    ticking(page)
    if extended:
        ends(datetime.now(UTC) + timedelta(minutes=10 + 30))
    # Ten minutes pass, for the service and then for the page.
    site.advance(days=10 / 24 / 60)
    page.clock.fast_forward("10:00")
    told_there = "29 min left." if extended else "The time is over."
    page.locator(f".time-left:has-text('{told_there}')").wait_for()

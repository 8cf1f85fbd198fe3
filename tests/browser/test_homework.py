"""Homework on a phone: saved while one types, kept without signal, two devices, handed in with the phone's clock."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import pytest

from quizsvc.services import accounts, homework
from quizsvc.store.tables import Answer, DraftResponse, Work
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


def at(phone, site, work, question=0, **options):
    """A phone of that person, on a question of the work."""
    token, view = work
    page = phone(**options)
    page.context.add_cookies([{"name": "session", "value": token, "url": site.url}])
    page.goto(f"/works/{view.id}/questions/{view.questions[question].id}")
    page.wait_for_load_state("networkidle")  # with everything that a page fetches once it has come
    return page


def draft(site, work, question=0):
    """What the service has of a question."""
    with site.db.reading() as session:
        found = session.get(DraftResponse, work[1].questions[question].id)
        return None if found is None else (found.version, found.raw)


def told(page, words):
    """Wait until the page says so."""
    page.locator(f"#homework-status:has-text('{words}')").wait_for()


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
    told(page, "Saved")
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
    # Sending has loaded the page anew, maybe only now.
    page.wait_for_function("!Object.keys(localStorage).some((key) => key.startsWith('answer:'))")


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
    box = page.locator("#newer-here")
    box.wait_for()
    assert "6600" in box.inner_text() and page.locator("#text").input_value() == "5500"
    page.get_by_role("button", name="Keep what stands here").click()
    told(page, "Saved")

    assert draft(site, work) == (2, {"text": "5500"})
    assert page.faults == desk.faults == []


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

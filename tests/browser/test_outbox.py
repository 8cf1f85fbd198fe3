"""What waits on a device: it arrives once, whatever happens between, and its person sees where it is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from quizsvc.store.tables import Answer, Grade, Person, Question
from tests.browser import steps
from tests.browser.device_steps import HERE, all_stored, answer, arrived, begin, onward, visit
from tests.browser.outbox_steps import BATCHES, databases, give, sign_in, sign_up, stored
from tests.web.keys import right

pytestmark = pytest.mark.browser

# Of `tests.conftest`: one item of every kind.
BANK = "kinds"


def test_a_lost_reply_is_stored_once(pilot, site):
    """The batch arrived, its reply did not: it is sent again, and found stored."""
    page = pilot()
    give(page, site, 3)
    tries = []

    def lose(route):
        tries.append(route.request.post_data_json)
        if len(tries) == 1:
            route.fetch()
            route.abort()
        else:
            route.continue_()

    page.context.route(BATCHES, lose)
    page.context.set_offline(False)
    all_stored(page)

    assert len(tries) >= 2
    assert {one["uuid"] for one in tries[0]["answers"]} >= {one["uuid"] for one in tries[1]["answers"]}
    assert tuple(stored(site)) == (3, 3)


def test_an_ended_session_asks_to_sign_in_and_then_sends(pilot, site):
    """Nothing is lost by it, and the screen leads there and back."""
    page = pilot()
    give(page, site, 2)
    page.context.clear_cookies()
    page.context.set_offline(False)
    page.get_by_role("link", name="Sign in, then they are sent").click()
    sign_in(page)
    page.wait_for_url(f"**{HERE}")

    assert len(arrived(page, site, 2)) == 2
    all_stored(page)


def test_answers_given_before_signing_in_are_claimed_and_sent(phone, site):
    """Given without a name and without signal; the account exists already and takes them over."""
    other = phone()
    sign_up(other)
    page = phone()
    visit(page)
    page.context.set_offline(True)
    given = give(page, site, 2)
    page.context.route(BATCHES, lambda route: route.abort())
    page.context.set_offline(False)
    page.goto("/sign-in")
    sign_in(page)
    page.get_by_role("button", name="Go on").or_(page.locator("button.start")).first.wait_for()
    page.context.unroute(BATCHES)
    page.goto(HERE)
    page.get_by_text("2 answers of somebody else wait here").wait_for()
    page.get_by_role("link", name="Say whether they are yours").click()
    page.get_by_role("button", name="Mine: add them").click()
    page.wait_for_url("**/")
    page.goto(HERE)

    assert {one.question_id for one in arrived(page, site, 2)} == set(given)
    assert tuple(stored(site)) == (2, 2)
    with site.db.reading() as session:
        owners = set(session.scalars(select(Question.person_id).where(Question.id.in_(given))))
    assert len(owners) == 1
    other.goto("/log")
    assert other.locator(".log li").count() == 2


def test_whoever_signs_in_next_has_a_stock_of_their_own(phone, site):
    """Also while that of the person before is full and fresh: no answer is given in somebody else's name."""
    page = phone()
    sign_up(page)
    visit(page)
    page.evaluate(
        """async () => {
          const beside = document.querySelector("script[src$='main.js']").src;
          const { all, open, put, who } = await import(beside.replace("main.js", "store.js"));
          const db = await open(await who());
          for (const one of await all(db, "questions")) await put(db, "questions", { ...one, seconds: 1800 });
          db.close();
        }"""
    )
    page.context.clear_cookies()
    sign_up(page, "Oda Merrowin")
    steps.filled(page)
    assert len(databases(page)) == 2
    visit(page)
    page.context.set_offline(True)
    given = give(page, site, 1)
    arrived(page, site, 1)

    with site.db.reading() as session:
        owner = session.scalars(select(Question.person_id).where(Question.id == given[0])).one()
        named = session.scalars(select(Person.id).where(Person.name == "Oda Merrowin")).one()
    assert owner == named


def test_signing_out_sends_first_and_deletes_what_is_here(pilot, site):
    """Offered, because it would be lost."""
    page = pilot()
    give(page, site, 2)
    page.context.route(BATCHES, lambda route: route.abort())
    page.context.set_offline(False)
    page.goto("/account")
    page.get_by_role("button", name="Sign out", exact=True).click()
    page.get_by_text("2 answers given on this device still wait to be sent.").wait_for()

    assert databases(page)

    page.context.unroute(BATCHES)
    page.get_by_role("button", name="Send first, then go on").click()
    page.get_by_text("Signed out on this device.").wait_for()

    assert tuple(stored(site)) == (2, 2)
    assert databases(page) == []


def test_signing_out_without_sending_deletes_all_the_same(pilot, site):
    """By choice; the next person on this device finds nothing."""
    page = pilot()
    give(page, site, 1)
    page.context.route(BATCHES, lambda route: route.abort())
    page.context.set_offline(False)
    page.goto("/account")
    page.get_by_role("button", name="Sign out", exact=True).click()
    page.get_by_role("button", name="Go on without sending").click()
    page.get_by_text("Signed out on this device.").wait_for()

    assert tuple(stored(site)) == (0, 0)
    assert databases(page) == []
    page.goto(HERE)
    page.get_by_text("No questions are kept here yet.").wait_for()


def test_an_older_client_is_told_to_load_the_page_again(pilot, site):
    """Nothing is stored, nothing is lost."""
    page = pilot()
    give(page, site, 1)
    page.context.route(BATCHES, lambda route: route.continue_(post_data={**route.request.post_data_json, "format": 0}))
    page.context.set_offline(False)
    page.get_by_role("link", name="Load this page again").wait_for()

    assert tuple(stored(site)) == (0, 0)

    page.get_by_role("link", name="Load this page again").click()
    page.get_by_text("1 answer given here waits to be sent.").wait_for()
    page.context.unroute(BATCHES)
    page.goto(HERE)
    all_stored(page)
    assert tuple(stored(site)) == (1, 1)


@pytest.mark.parametrize("days", [1, -1], ids=["a day ahead", "a day behind"])
def test_a_clock_a_day_wrong_is_put_right(phone, site, days):
    """The difference of the clocks is measured at each sending."""
    page = phone()
    page.context.add_init_script(WRONG_CLOCK.replace("DAYS", str(days)))
    visit(page)
    page.context.set_offline(True)
    before = datetime.now(UTC)
    given = give(page, site, 1)
    arrived(page, site, 1)
    with site.db.reading() as session:
        row = session.scalars(select(Answer).where(Answer.question_id == given[0])).one()
        assert abs(row.given_at - row.received_at) > timedelta(hours=23)
        # A browser's clock is read to the millisecond.
        assert before - timedelta(milliseconds=2) <= row.effective_at <= row.received_at


WRONG_CLOCK = """{
  const off = DAYS * 86400000;
  const Real = Date;
  class Wrong extends Real {
    constructor(...given) { if (given.length) super(...given); else super(Real.now() + off); }
    static now() { return Real.now() + off; }
  }
  globalThis.Date = Wrong;
}"""


def test_two_tabs_send_each_answer_once(pilot, site):
    """Both are open on the screen when the signal returns; the same question in both counts once."""
    page = pilot()
    page.context.set_offline(False)
    tab = page.context.new_page()
    tab.goto(HERE)
    tab.locator("[data-begin]").wait_for()
    steps.filled(tab)
    page.context.set_offline(True)
    # A tab in the background paints hardly ever: whoever taps has it before them.
    page.bring_to_front()
    begin(page)
    tab.bring_to_front()
    begin(tab)
    page.bring_to_front()
    first = answer(page, site.db, correctly=True)
    tab.bring_to_front()
    second = answer(tab, site.db, correctly=False)

    assert first == second
    assert tab.locator("#outcome").inner_text().strip() == "full", "the first answer counts, and is what is shown"

    page.bring_to_front()
    onward(page)
    answer(page, site.db, correctly=True)
    arrived(page, site, 2)
    page.wait_for_timeout(500)
    assert tuple(stored(site)) == (2, 2)


def test_storage_wiped_midway_leaves_the_screen_working(pilot, site):
    """What was sent stays, nothing is sent twice, and questions come again."""
    page = pilot()
    give(page, site, 1)
    arrived(page, site, 1)
    all_stored(page)
    page.evaluate(
        """async () => {
          for (const { name } of await indexedDB.databases()) {
            await new Promise((resolve) => (indexedDB.deleteDatabase(name).onsuccess = resolve));
          }
        }"""
    )
    page.goto(HERE)
    page.locator("[data-begin]").wait_for()
    steps.filled(page)
    page.context.set_offline(True)
    give(page, site, 1)
    arrived(page, site, 2)

    assert tuple(stored(site)) == (2, 2)
    assert page.faults == []


def test_full_storage_keeps_the_answer_on_the_screen(pilot, site):
    """A device without room refuses the write: a sentence says so, and what was picked stays."""
    page = pilot()
    begin(page)
    page.evaluate(
        """() => {
          const full = () => { throw new DOMException("The device is full.", "QuotaExceededError"); };
          IDBObjectStore.prototype.add = full;
        }"""
    )
    steps.fill(page, right(site.db, steps.question(page)))
    page.get_by_role("button", name="Answer", exact=True).click()
    page.get_by_text("This could not be kept on this device.").wait_for()

    assert page.locator("#outcome").count() == 0
    assert page.locator("form[aria-busy]").count() == 0
    assert tuple(stored(site)) == (0, 0)


def test_the_service_says_that_answers_came_from_a_device(pilot, site):
    """In the log of answers."""
    page = pilot()
    give(page, site, 1)
    arrived(page, site, 1)
    with site.db.reading() as session:
        row = session.execute(select(Answer.offline, Answer.device_outcome, Grade.outcome).join(Grade)).one()
    assert tuple(row) == (True, "full", "full")
    page.goto("/log")
    assert "given offline" in page.locator(".log").inner_text()


def test_no_answer_is_blamed_for_an_acknowledgement(pilot, site):
    """A clock far off gave an acknowledgement a time that the service refuses: it goes, both answers are stored."""
    page = pilot()
    asked = give(page, site, 2)
    page.evaluate(
        """async () => {
          const beside = document.querySelector("script[src$='main.js']").src;
          const { open, put, who } = await import(beside.replace("main.js", "store.js"));
          const db = await open(await who());
          await put(db, "meta", { name: "acknowledged", rows: [{ id: "C1", at: "3500-01-01T00:00:00Z" }] });
          db.close();
        }"""
    )

    arrived(page, site, 2)

    with site.db.reading() as session:
        assert set(session.scalars(select(Answer.question_id))) == set(asked)
    page.goto(HERE)
    all_stored(page)
    assert page.faults == []

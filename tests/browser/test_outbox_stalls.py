"""Sending goes on: when the signal is back, past an answer that fails, past replies that are not the service's."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from quizsvc.store.tables import Answer
from tests.browser.device_steps import HERE, all_stored, arrived, visit
from tests.browser.test_outbox import BATCHES, give, sign_up, stored

pytestmark = pytest.mark.browser

# Notes how long is waited while there is signal.
WATCH_PAUSES = """() => {
  const real = globalThis.setTimeout;
  globalThis.pauses = [];
  globalThis.setTimeout = (does, ms, ...rest) => {
    if (navigator.onLine && ms >= 1000) globalThis.pauses.push(ms);
    return real(does, ms, ...rest);
  };
}"""


@pytest.fixture
def bank_name():
    """The bank with one item of every kind."""
    return "kinds"


@pytest.fixture
def pilot(phone):
    """A signed-up person's phone, filled and without signal."""

    def new(**options):
        page = phone(**options)
        sign_up(page)
        visit(page)
        page.context.set_offline(True)
        return page

    return new


def sent_in(page, reply):
    """Every batch of answers from here on, as lists of UUIDs; `reply(route, uuids, number)` answers it.

    What was acknowledged by pressing Start may still be on its way alone, from before there was an answer: it goes by.
    """
    batches = []

    def handle(route):
        uuids = [one["uuid"] for one in route.request.post_data_json["answers"]]
        if not uuids:
            route.continue_()
            return
        batches.append(uuids)
        reply(route, uuids, len(batches))

    page.context.route(BATCHES, handle)
    return batches


def test_a_fill_that_breaks_off_leaves_no_part_of_a_stock(phone):
    """A set would be made of the two questions that came; a device that is full midway keeps what it had."""
    page = phone()
    page.add_init_script(
        """{
          const put = IDBObjectStore.prototype.put;
          let left = 2;
          IDBObjectStore.prototype.put = function (...given) {
            if (this.name === "questions" && (left -= 1) < 0) throw new DOMException("Full.", "QuotaExceededError");
            return put.apply(this, given);
          };
        }"""
    )
    sign_up(page)
    with page.expect_response("**/api/v1/kept-questions") as filled:
        page.goto(HERE)
    assert len(filled.value.json()["questions"]) > 2
    page.evaluate(FILLED)

    assert page.evaluate(KEPT) == 0


# Done when a fill is: it holds this lock.
FILLED = "() => navigator.locks.request('fill', () => {})"
KEPT = """async () => {
  const beside = document.querySelector("script[src$='main.js']").src;
  const { all, open, who } = await import(beside.replace("main.js", "store.js"));
  const person = await who();
  return person ? (await all(await open(person), "questions")).length : 0;
}"""


def test_pauses_begin_anew_when_the_signal_is_back(pilot, site):
    """Each answer given without signal is one more try that fails; with signal the first fails too, on a weak line."""
    page = pilot()
    page.evaluate(WATCH_PAUSES)
    give(page, site, 5)
    sent_in(page, lambda route, uuids, number: route.abort() if number <= 2 else route.continue_())
    arrived(page, site, 5)

    assert page.evaluate("globalThis.pauses")[:1] == [1000], "1 s is the shortest; without signal it was at 15 s"


PROXY_PAGE = {"content_type": "text/html", "body": "<h1>Request blocked</h1>"}


@pytest.mark.parametrize("status", [400, 413, 422])
def test_a_page_of_something_on_the_way_refuses_no_answer(pilot, site, status):
    """It judges nothing: the answer waits, the screen says so, and it is tried again."""
    page = pilot()
    give(page, site, 2)
    closed = []
    batches = sent_in(
        page, lambda route, uuids, number: route.continue_() if closed else route.fulfill(status=status, **PROXY_PAGE)
    )
    page.context.set_offline(False)
    page.get_by_text("or something on the way to it, did not take this").wait_for(timeout=60_000)

    assert page.locator("[data-waiting]").inner_text() == "2 answers given here wait to be sent."
    assert page.locator("[data-refused]").is_hidden()

    closed.append(True)
    all_stored(page)
    assert tuple(stored(site)) == (2, 2)
    assert len(batches) > 1


def test_one_answer_that_makes_a_fault_holds_back_no_other(pilot, site):
    """The service fails whenever one of five is in a batch: the others arrive in order, it waits, and that is said."""
    page = pilot()
    asked = give(page, site, 5)
    bad = dict(page.evaluate(UUIDS))[asked[2]]
    mended = []

    def fail(route, uuids, number):
        if bad in uuids and not mended:
            body = {"type": "urn:quizsvc:bug", "title": "Our fault", "status": 500, "detail": "Our fault."}
            route.fulfill(status=500, content_type="application/problem+json", json=body)
        else:
            route.continue_()

    batches = sent_in(page, fail)
    arrived(page, site, 4)
    page.get_by_text("1 answer given here waits to be sent.").wait_for()
    page.get_by_text("or something on the way to it, did not take this").wait_for(timeout=60_000)

    others = [question for question in asked if question != asked[2]]
    assert in_order(site) == others
    assert len([one for one in batches if len(one) > 1]) >= 3, "the whole batch is tried again first"

    mended.append(True)
    page.get_by_role("button", name="Try now").locator("visible=true").click()
    all_stored(page)
    assert in_order(site) == [*others, asked[2]]


UUIDS = """async () => {
  const beside = document.querySelector("script[src$='main.js']").src;
  const { all, open, who } = await import(beside.replace("main.js", "store.js"));
  return (await all(await open(await who()), "answers")).map(({ question, uuid }) => [question, uuid]);
}"""


def in_order(site):
    """The questions of the stored answers, in the order in which they came."""
    with site.db.reading() as session:
        return list(session.scalars(select(Answer.question_id).order_by(Answer.id)))


def test_answers_given_after_one_that_fails_go_first(pilot, site):
    """What waits because it makes a fault does not make each new answer wait for its tries."""
    page = pilot()
    give(page, site, 1)
    bad = []

    def fail(route, uuids, number):
        bad[:] = bad or uuids
        if bad[0] in uuids:
            route.fulfill(status=500, content_type="text/html", body="<h1>Internal Server Error</h1>")
        else:
            route.continue_()

    batches = sent_in(page, fail)
    page.context.set_offline(False)
    for _ in range(300):
        if len(batches) >= 3:
            break
        page.wait_for_timeout(100)
    before = len(batches)
    more = give(page, site, 1)
    arrived(page, site, 1)

    assert in_order(site) == more
    assert page.locator("[data-waiting]").inner_text() == "1 answer given here waits to be sent."
    assert before >= 3


@pytest.mark.parametrize("body", ["<h1>Sign in to this network</h1>", "{}", "[]", '{"format": 1, "resu'])
def test_a_reply_that_is_not_the_services_is_no_reply(pilot, site, body):
    """The page of a network that wants a password, status 200: nothing is taken for sent, and sending goes on."""
    page = pilot()
    give(page, site, 2)
    open_ = []
    sent_in(
        page,
        lambda route, uuids, number: (
            route.continue_() if open_ else route.fulfill(status=200, content_type="text/html", body=body)
        ),
    )
    page.context.set_offline(False)
    page.get_by_role("button", name="Try now").locator("visible=true").wait_for()
    assert tuple(stored(site)) == (0, 0)

    open_.append(True)
    all_stored(page)
    assert tuple(stored(site)) == (2, 2)
    assert page.faults == []

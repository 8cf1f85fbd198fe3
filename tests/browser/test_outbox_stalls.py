"""Sending goes on: when the signal is back, past an answer that fails, past replies that are not the service's."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser import steps
from tests.browser.device_steps import HERE, all_stored, answer, arrived, begin, onward, visit
from tests.browser.offline import until
from tests.browser.outbox_steps import give, in_order, sent_in, sign_up, stored

pytestmark = pytest.mark.browser

# Of `tests.conftest`: one item of every kind.
BANK = "kinds"

# Notes how long is waited while there is signal.
WATCH_PAUSES = """() => {
  const real = globalThis.setTimeout;
  globalThis.pauses = [];
  globalThis.setTimeout = (does, ms, ...rest) => {
    if (navigator.onLine && ms >= 1000) globalThis.pauses.push(ms);
    return real(does, ms, ...rest);
  };
}"""


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
    # The page after signing up fills too: its own reply is not to be taken for the other's.
    with page.expect_response(KEPT_QUESTIONS):
        sign_up(page)
    page.evaluate(FILLED)
    with page.expect_response(KEPT_QUESTIONS) as filled:
        page.goto(HERE)
    assert len(filled.value.json()["questions"]) > 2
    page.evaluate(FILLED)

    assert page.evaluate(KEPT) == 0


LONG = """async () => {
  const beside = document.querySelector("script[src$='main.js']").src;
  const { all, open, put, who } = await import(beside.replace("main.js", "store.js"));
  const db = await open(await who());
  for (const one of await all(db, "questions")) await put(db, "questions", { ...one, seconds: 3600 });
  db.close();
}"""
KEPT_QUESTIONS = "**/api/v1/kept-questions"
# Done when a fill is: it holds this lock.
FILLED = "() => navigator.locks.request('fill', () => {})"
KEPT = """async () => {
  const beside = document.querySelector("script[src$='main.js']").src;
  const { all, open, who } = await import(beside.replace("main.js", "store.js"));
  const person = await who();
  return person ? (await all(await open(person), "questions")).length : 0;
}"""


def test_a_fill_takes_no_question_of_a_set_that_was_begun_meanwhile(phone, site):
    """A week later the service plans anew; while its reply is on its way, a set of the old stock is begun."""
    page = phone()
    visit(page)
    site.advance(days=8)
    held = []
    page.route(KEPT_QUESTIONS, lambda route: held.append(route))
    page.locator("label:has([data-keep])").click()
    page.get_by_text("No more questions come here").wait_for()
    page.locator("label:has([data-keep])").click()
    for _ in range(1200):
        if held:
            break
        page.wait_for_timeout(50)
    begin(page)
    number = page.locator("#progress").inner_text().split()[-1]
    reply = held[0].fetch()
    assert reply.json()["keep"] == []
    held[0].fulfill(response=reply)
    page.evaluate(FILLED)
    answer(page, site.db, correctly=True)

    assert onward(page)
    assert page.locator("#progress").inner_text() == f"2 of {number}"
    assert page.faults == []


def test_a_page_left_before_a_fill_was_told_is_made_up_for(phone):
    """The questions are kept, but not yet that Start may be opened from them: the next page sees to it."""
    page = phone()
    page.add_init_script("Cache.prototype.put = () => new Promise(() => {})")
    steps.start(page)
    until(page, f"({KEPT})().then((kept) => kept > 0)", True)
    page.evaluate(LONG)  # so that there are enough of them
    other = page.context.new_page()
    page.close()
    other.goto("/health")  # a page with scripts would fill at once
    assert other.evaluate("caches.match('/kept').then(Boolean)") is False
    other.goto(HERE)
    until(other, "caches.match('/kept').then(Boolean)", True)


def test_pauses_begin_anew_when_the_signal_is_back(pilot, site):
    """Each answer given without signal is one more try that fails; with signal the first fails too, on a weak line."""
    page = pilot()
    page.evaluate(WATCH_PAUSES)
    give(page, site, 5)
    # However many tries fall into the moment in which the signal comes back, the line is weak until there was a pause.
    paused = "globalThis.pauses.length > 0"
    sent_in(page, lambda route, uuids, number: route.continue_() if page.evaluate(paused) else route.abort())
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
    page.evaluate(NOTE_PRESS)

    def fail(route, uuids, number):
        # Mended by the press and not before it: a try of its own would take the button away from under the thumb.
        if bad in uuids and not page.evaluate("globalThis.pressed"):
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

    page.get_by_role("button", name="Try now").locator("visible=true").click()
    all_stored(page)
    assert in_order(site) == [*others, asked[2]]


NOTE_PRESS = """() => {
  globalThis.pressed = false;
  document.addEventListener("click", ({ target }) => (globalThis.pressed ||= target.matches("[data-send]")), true);
}"""
UUIDS = """async () => {
  const beside = document.querySelector("script[src$='main.js']").src;
  const { all, open, who } = await import(beside.replace("main.js", "store.js"));
  return (await all(await open(await who()), "answers")).map(({ question, uuid }) => [question, uuid]);
}"""


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
    for _ in range(1200):
        if len(batches) >= 3:
            break
        page.wait_for_timeout(100)
    before = len(batches)
    more = give(page, site, 1)
    arrived(page, site, 1)

    assert in_order(site) == more
    # The service may have stored it before its reply is read here.
    expect(page.locator("[data-waiting]")).to_have_text("1 answer given here waits to be sent.")
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

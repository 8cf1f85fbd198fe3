"""Sending goes on: when the signal is back, past an answer that fails, past replies that are not the service's."""

from __future__ import annotations

import pytest

from tests.browser.device_steps import HERE, arrived, visit
from tests.browser.test_outbox import BATCHES, give, sign_up

pytestmark = pytest.mark.browser

ALL_STORED = "Every answer given here is stored by the service."
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
    """Every batch that goes out from here on, as lists of UUIDs; `reply(route, uuids, number)` answers it."""
    batches = []

    def handle(route):
        uuids = [one["uuid"] for one in route.request.post_data_json["answers"]]
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

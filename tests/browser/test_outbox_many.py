"""Many answers, two tabs, two people on one device: each answer goes once, in its order, in its person's name."""

from __future__ import annotations

import uuid

import pytest
from sqlalchemy import select

from quizsvc.store.tables import Answer, Person, Question
from tests.bank.right_answers import right_answer
from tests.browser import steps
from tests.browser.device_steps import HERE, all_stored, arrived, visit
from tests.browser.outbox_steps import (
    BATCHES,
    NAME,
    WAITING,
    come,
    databases,
    give,
    in_order,
    sent_in,
    sign_in,
    sign_up,
    stored,
)

pytestmark = pytest.mark.browser

# Of `tests.conftest`: one item of every kind.
BANK = "kinds"

OTHER = "Oda Merrowin"
KEEP = """async (rows) => {
  const beside = document.querySelector("script[src$='main.js']").src;
  const { open, put, who } = await import(beside.replace("main.js", "store.js"));
  const db = await open(await who());
  for (const row of rows) await put(db, "answers", { ...row, state: "waiting" });
  db.close();
}"""
# Asks for a round and comes back at once.
ASK = """async () => {
  const beside = document.querySelector("script[src$='main.js']").src;
  const { flush } = await import(beside.replace("main.js", "outbox.js"));
  globalThis.round = flush();
}"""


def questions_of(site, number):
    """So many more questions of one person, each answered rightly, as rows of the device's database."""
    with site.db.writing() as session:
        asked = session.scalars(select(Question).where(Question.kind == "one")).first()
        columns = {column.name: getattr(asked, column.name) for column in Question.__table__.columns}
        rows = []
        for at in range(number):
            one = uuid.uuid4().hex
            session.add(Question(**columns | {"id": one, "position": 1000 + at, "draw_key": one}))
            rows.append(
                {
                    "question": one,
                    "uuid": str(uuid.uuid4()),
                    "title": "Anything",
                    "response": right_answer(asked.record),
                    "given_at": f"2026-11-26T08:{at // 60:02}:{at % 60:02}Z",
                }
            )
    return rows


def test_a_hundred_answers_go_in_batches_and_in_their_order(pilot, site):
    """More than one batch carries; the order of giving is the order of the log."""
    page = pilot()
    rows = questions_of(site, 100)
    page.evaluate(KEEP, rows)
    batches = sent_in(page, lambda route, uuids, number: route.continue_())
    arrived(page, site, 100)
    all_stored(page)

    assert in_order(site) == [row["question"] for row in rows]
    assert [one for batch in batches for one in batch] == [row["uuid"] for row in rows], "each goes out once"
    assert len([batch for batch in batches if batch]) >= 3
    assert max(map(len, batches)) <= 40, "what the service takes at once"


def test_of_two_tabs_one_sends(pilot, site):
    """The second waits for the first, and finds nothing left: no answer goes out twice."""
    page = pilot()
    page.context.set_offline(False)
    tab = page.context.new_page()
    tab.goto(HERE)
    tab.locator("[data-begin]").wait_for()
    steps.filled(tab)
    page.context.set_offline(True)
    rows = questions_of(site, 3)
    held = []

    def hold(route, uuids, number):
        if number == 1:
            held.append(route)
        else:
            route.continue_()

    batches = sent_in(page, hold)
    page.context.set_offline(False)
    page.evaluate(KEEP, rows)
    page.evaluate(ASK)
    come(page, lambda: held)
    tab.evaluate(ASK)
    come(page, lambda: tab.evaluate("async () => (await navigator.locks.query()).pending.length") >= 1)
    assert len(batches) == 1
    held[0].continue_()
    arrived(page, site, 3)
    page.evaluate("() => globalThis.round")
    tab.evaluate("() => globalThis.round")

    assert [one for batch in batches for one in batch] == [row["uuid"] for row in rows]
    assert tuple(stored(site)) == (3, 3)


def test_a_lock_that_is_refused_does_not_silence_the_outbox(pilot, site):
    """As browsers do it where a page is about to go, or by a person's settings."""
    page = pilot()
    page.evaluate(
        """() => {
          const request = LockManager.prototype.request;
          LockManager.prototype.request = function (name, ...rest) {
            if (name.startsWith("outbox-")) return Promise.reject(new DOMException("None.", "InvalidStateError"));
            return request.call(this, name, ...rest);
          };
        }"""
    )
    give(page, site, 2)
    arrived(page, site, 2)
    all_stored(page)

    assert page.faults == []


def test_two_tabs_that_note_a_person_lose_none(pilot):
    """Who has something on this device is read and written in one go."""
    page = pilot()
    known = page.evaluate(
        """async () => {
          const beside = document.querySelector("script[src$='main.js']").src;
          const { device } = await import(beside.replace("main.js", "store.js"));
          const numbers = Array.from({ length: 20 }, (_, at) => 900 + at);
          await Promise.all(numbers.map((one) => device("persons", (known = []) => [...known, one])));
          return device("persons");
        }"""
    )

    assert set(range(900, 920)) <= set(known)


def test_one_who_signs_in_by_name_leaves_the_others_answers_alone(phone, pilot, site):
    """They are counted, no more; when the first comes back, they are sent in the first one's name."""
    sign_up(phone(), OTHER)
    page = pilot()
    given = give(page, site, 2)
    [own] = databases(page)
    page.context.clear_cookies()
    page.context.set_offline(False)
    page.goto("/sign-in")
    sign_in(page, OTHER)
    page.wait_for_url("**/")
    come(page, lambda: len(databases(page)) == 2)
    page.goto(HERE)
    page.get_by_text("2 answers of somebody else wait here until that person signs in on this device.").wait_for()

    assert tuple(stored(site)) == (0, 0)
    assert page.evaluate(WAITING, own) == given

    page.context.clear_cookies()
    page.goto("/sign-in")
    sign_in(page)
    page.wait_for_url("**/")
    arrived(page, site, 2)
    with site.db.reading() as session:
        owners = session.scalars(select(Person.name).join(Question).join(Answer)).all()
    assert owners == [NAME, NAME]


def test_a_claim_answered_no_adds_nothing(phone, site):
    """What was given before signing in stays on the device, is counted there, and no log has it."""
    sign_up(phone())
    page = phone()
    visit(page)
    page.context.set_offline(True)
    given = give(page, site, 2)
    [own] = databases(page)
    page.context.route(BATCHES, lambda route: route.abort())
    page.context.set_offline(False)
    page.goto("/sign-in")
    sign_in(page)
    page.get_by_role("button", name="Go on").or_(page.locator("button.start")).first.wait_for()
    page.context.unroute(BATCHES)
    page.goto(HERE)
    page.get_by_role("link", name="Say whether they are yours").click()
    page.get_by_role("button", name="Leave them out").click()
    page.wait_for_url("**/")
    replies = []
    page.on("response", lambda reply: replies.append(reply.status) if "/answer-batches" in reply.url else None)
    page.goto(HERE)
    page.get_by_text("2 answers of somebody else wait here").wait_for()
    come(page, lambda: replies)

    assert set(replies) == {409}
    assert page.get_by_role("link", name="Say whether they are yours").is_hidden()
    assert tuple(stored(site)) == (0, 0)
    assert page.evaluate(WAITING, own) == given
    assert page.faults == []

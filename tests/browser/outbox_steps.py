"""What a person with answers that wait does and sees, and what of it reached the service."""

from __future__ import annotations

import pytest
from sqlalchemy import func, select

from quizsvc.store.tables import Answer
from tests.browser.device_steps import answer, begin, onward

NAME, PASSWORD = "Nadir Eshvale", "ochre lantern nine"
BATCHES = "**/api/v1/answer-batches"
WAITING = """async (name) => {
  const opening = indexedDB.open(name);
  const db = await new Promise((resolve) => (opening.onsuccess = () => resolve(opening.result)));
  const reading = db.transaction("answers").objectStore("answers").getAll();
  const rows = await new Promise((resolve) => (reading.onsuccess = () => resolve(reading.result)));
  db.close();
  return rows.filter(({ state }) => state === "waiting").map(({ question }) => question);
}"""


def sign_up(page, name=NAME):
    """Make an account, and come back to the start page."""
    page.goto("/sign-up")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign up").click()
    page.get_by_text("Signed up as").wait_for()


def sign_in(page, name=NAME):
    """Fill in the form that is on the screen."""
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def give(page, site, number):
    """Answer so many questions of a new set, and stop; returns their ids."""
    begin(page)
    asked = []
    for _ in range(number):
        asked.append(answer(page, site.db, correctly=True))
        if not onward(page):
            break
    else:
        page.get_by_role("button", name="Stop here").click()
    page.get_by_role("button", name="Another set").click()
    page.locator("[data-waits]").wait_for()
    assert len(asked) == number, "more was kept here than that"
    return asked


def stored(site):
    """How many answers there are, and of how many questions."""
    with site.db.reading() as session:
        return session.execute(select(func.count(), func.count(Answer.question_id.distinct()))).one()


def databases(page):
    """Names of what the browser keeps of persons."""
    return page.evaluate(
        "async () => (await indexedDB.databases()).map(({ name }) => name).filter((name) => /-[0-9]+$/.test(name))"
    )


def come(page, done):
    """Wait for something; the test fails where it does not come."""
    for _ in range(1200):
        if done():
            return
        page.wait_for_timeout(100)
    pytest.fail("it did not come")


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


def in_order(site):
    """The questions of the stored answers, in the order in which they came."""
    with site.db.reading() as session:
        return list(session.scalars(select(Answer.question_id).order_by(Answer.id)))

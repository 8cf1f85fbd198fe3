"""Leaving a device, and what was deleted under somebody's hands: nothing goes before the service has said so."""

from __future__ import annotations

import pytest
from sqlalchemy import func, select

from quizsvc.store.tables import Answer, Person
from tests.browser.device_steps import HERE, all_stored, answer, arrived, begin, onward
from tests.browser.offline import until
from tests.browser.outbox_steps import BATCHES, NAME, WAITING, come, databases, give, sign_up, stored

pytestmark = pytest.mark.browser

# Of `tests.conftest`: one item of every kind.
BANK = "kinds"

KEPT_QUESTIONS = "**/api/v1/kept-questions"
NOT_CONFIRMED = "Not confirmed by the service, so nothing here was deleted."
CHANGE_FIRST = """async (state) => {
  const beside = document.querySelector("script[src$='main.js']").src;
  const { all, open, put, who } = await import(beside.replace("main.js", "store.js"));
  const db = await open(await who());
  const [first] = await all(db, "answers");
  const problem = { detail: "That is none of this question's options.", mend: "" };
  await put(db, "answers", { ...first, state, problem });
  db.close();
}"""


def persons(site):
    """How many accounts have a name."""
    with site.db.reading() as session:
        return session.scalar(select(func.count()).select_from(Person).where(Person.name.is_not(None)))


@pytest.mark.parametrize("reply", ["none", "another's page", "another's redirect"])
def test_signing_out_deletes_nothing_before_the_service_has_said_so(pilot, site, reply):
    """The request is lost, or something on the way answers in its place: the session goes on, so does what waits."""
    page = pilot()
    given = give(page, site, 2)
    [own] = databases(page)
    page.context.route(BATCHES, lambda route: route.abort())
    page.context.set_offline(False)
    page.goto("/account")

    def instead(route):
        if reply == "none":
            route.abort()
        elif reply == "another's page":
            route.fulfill(status=200, content_type="text/html", body="<h1>Sign in to this network</h1>")
        else:
            route.fulfill(status=303, headers={"Location": "/about"})

    page.context.route("**/sign-out", instead)
    page.get_by_role("button", name="Sign out", exact=True).click()
    page.get_by_role("button", name="Go on without sending").click()
    page.get_by_text(NOT_CONFIRMED).wait_for()

    assert page.evaluate(WAITING, own) == given

    page.context.unroute("**/sign-out")
    page.get_by_role("button", name="Sign out", exact=True).click()
    page.get_by_role("button", name="Go on without sending").click()
    page.get_by_text("Signed out on this device.").wait_for()
    assert databases(page) == []


def test_a_mistyped_name_deletes_nothing(pilot, site):
    """The account stays, and with it what is kept and what waits; the right name deletes both."""
    page = pilot()
    given = give(page, site, 1)
    [own] = databases(page)
    page.context.route(BATCHES, lambda route: route.abort())
    page.context.set_offline(False)
    page.goto("/account/delete")
    page.locator("#name").fill("Nadir Eshvail")
    page.get_by_role("button", name="Delete everything").click()
    page.get_by_text("One answer given on this device still waits to be sent.").wait_for()
    page.get_by_role("button", name="Go on without sending").click()
    page.get_by_text("What was typed differs from the name.").wait_for()

    assert page.evaluate(WAITING, own) == given
    assert persons(site) == 1

    page.locator("#name").fill(NAME)
    page.get_by_role("button", name="Delete everything").click()
    page.get_by_role("button", name="Go on without sending").click()
    page.get_by_text("Deleted: the account and its answers.").wait_for()

    assert persons(site) == 0
    assert databases(page) == []
    assert page.evaluate("async () => (await caches.keys()).includes('kept')") is False
    assert page.faults == []


def test_what_was_refused_is_counted_before_it_is_deleted(pilot, site):
    """It is nowhere else: the service did not take it."""
    page = pilot()
    give(page, site, 2)
    page.evaluate(CHANGE_FIRST, "refused")
    page.context.route(BATCHES, lambda route: route.abort())
    page.context.set_offline(False)
    page.goto("/account")
    page.get_by_role("button", name="Sign out", exact=True).click()
    box = page.locator("#leaving")
    box.wait_for()

    assert "One answer given on this device still waits to be sent. Refused by the service: 1." in box.inner_text()

    page.context.unroute(BATCHES)
    page.get_by_role("button", name="Send first, then go on").click()
    page.get_by_text("Signed out on this device.").wait_for()
    assert tuple(stored(site)) == (1, 1)


def test_refused_answers_alone_are_said_too(pilot, site):
    """There is nothing to send, so that is not offered."""
    page = pilot()
    give(page, site, 1)
    page.evaluate(CHANGE_FIRST, "refused")
    # It was on its way before it was called refused.
    page.context.route(BATCHES, lambda route: route.abort())
    page.context.set_offline(False)
    page.goto("/account")
    page.get_by_role("button", name="Sign out", exact=True).click()
    box = page.locator("#leaving")
    box.wait_for()

    assert "Refused by the service: 1. Going on deletes what is here." in box.inner_text()
    assert [one.inner_text() for one in box.locator("button").all()] == ["Go on"]

    box.get_by_role("button", name="Go on").click()
    page.get_by_text("Signed out on this device.").wait_for()
    assert databases(page) == []


# What a tab does that sends or fills: it finds out whose device this is, and opens their database.
WHO = """async () => {
  globalThis.store = await import(document.querySelector("script[src$='main.js']").src.replace("main.js", "store.js"));
  globalThis.mine = await globalThis.store.who();
}"""
OPEN = "store.open(mine).then(() => 'opened', () => 'refused')"


def test_who_has_signed_out_gets_no_database_again(pilot):
    """Signed out in one tab between the two steps of another: nothing is made anew, and nobody is listed."""
    page = pilot()
    page.context.set_offline(False)
    page.evaluate(WHO)
    assert page.evaluate(OPEN) == "opened"
    tab = page.context.new_page()
    tab.goto("/account")
    tab.get_by_role("button", name="Sign out", exact=True).click()
    tab.wait_for_url("**/")

    assert page.evaluate(OPEN) == "refused"
    until(page, "indexedDB.databases().then((all) => all.filter(({ name }) => /-[0-9]+$/.test(name)).length)", 0)
    assert page.evaluate("store.device('persons')") == []


DELETE_ALL = """async () => {
  for (const { name } of await indexedDB.databases()) {
    await new Promise((resolve) => (indexedDB.deleteDatabase(name).onsuccess = resolve));
  }
}"""


@pytest.mark.parametrize("how", ["another tab", "the browser's settings"])
def test_an_answer_given_after_everything_was_deleted_is_not_lost(pilot, site, how):
    """It is kept in the page, which says so; the set goes on, and with signal both answers are sent from there."""
    page = pilot()
    begin(page)
    if how == "another tab":
        page.context.set_offline(False)
        tab = page.context.new_page()
        tab.goto("/health")  # a page with scripts would keep questions anew meanwhile
        tab.evaluate(DELETE_ALL)
        tab.close()
        page.context.set_offline(True)
    else:
        session = page.context.new_cdp_session(page)
        session.send("Storage.clearDataForOrigin", {"origin": site.url, "storageTypes": "indexeddb,local_storage"})
    first = answer(page, site.db, correctly=True)
    page.get_by_text("This answer is in this page only, until the service has it").wait_for()
    assert onward(page)
    second = answer(page, site.db, correctly=False)
    page.get_by_role("button", name="Stop here").click()
    page.get_by_text("2 of").wait_for()
    page.get_by_text("2 answers given here wait to be sent.").wait_for()

    assert databases(page) == [], "what was deleted is not written anew"
    assert tuple(stored(site)) == (0, 0)

    arrived(page, site, 2)
    with site.db.reading() as session:
        assert list(session.scalars(select(Answer.question_id).order_by(Answer.id))) == [first, second]
    page.get_by_role("button", name="Another set").click()
    all_stored(page)
    assert tuple(stored(site)) == (2, 2)
    assert page.faults == []


def test_leaving_a_page_that_alone_has_an_answer_is_asked_first(pilot, site):
    """Only while it waits."""
    page = pilot()
    begin(page)
    page.context.new_cdp_session(page).send(
        "Storage.clearDataForOrigin", {"origin": site.url, "storageTypes": "indexeddb"}
    )
    answer(page, site.db, correctly=True)
    asked = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    page.close(run_before_unload=True)
    for _ in range(1200):
        if asked:
            break
        page.wait_for_timeout(100)
    assert asked == ["beforeunload"]
    assert page.locator("#outcome").is_visible()

    arrived(page, site, 1)
    until(page, LEAVES, True)  # the service may have stored it before its reply is read here
    page.goto(HERE)
    assert asked == ["beforeunload"]


# Whether the page may be left without a question.
LEAVES = "dispatchEvent(new Event('beforeunload', { cancelable: true }))"


def test_first_questions_that_come_while_signing_out_go_too(phone):
    """A line so slow that the first stock is still on its way: it tells the device whose it is when nobody is in."""
    page = phone()
    page.route(KEPT_QUESTIONS, lambda route: route.abort())
    sign_up(page)
    page.goto("about:blank")  # what that page was late to ask for would be held in the place of what /account asks
    page.unroute(KEPT_QUESTIONS)
    first, asked = [], []

    def hold(route):
        if route.request.post_data == "{}":  # whether the session is over
            asked.append(route)
        elif not first:
            first.append((route, route.fetch()))
        else:
            route.continue_()

    page.route(KEPT_QUESTIONS, hold)
    page.goto("/account")
    come(page, lambda: first)
    page.get_by_role("button", name="Sign out", exact=True).click()
    come(page, lambda: asked)
    assert databases(page) == []
    route, reply = first[0]
    route.fulfill(response=reply)
    come(page, lambda: databases(page))
    asked[0].continue_()
    page.get_by_text("Signed out on this device.").wait_for()

    assert databases(page) == []

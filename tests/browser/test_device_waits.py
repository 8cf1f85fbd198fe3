"""What the screen "On this device" says of what is kept, what waits, and what the service made of it."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from sqlalchemy import select

from quizsvc.store.tables import Acknowledgement
from tests.browser import steps
from tests.browser.device_steps import HERE, answer, arrived, begin, onward, outcome, outcomes, visit

pytestmark = pytest.mark.browser

# Of `tests.conftest`: one item of every kind.
BANK = "kinds"


def test_pressing_start_is_kept_with_its_time_and_sent(phone, site):
    """C1 always, C9 with the first set of a day; the service stores both with the next batch."""
    page = phone()
    steps.start(page)
    site.advance(days=1)  # the set online acknowledged both for its own day
    page.goto(HERE)
    page.locator("[data-begin]").wait_for()
    steps.filled(page)
    page.locator("label:has([data-keep])").click()
    page.locator("label:has([data-keep])").click()  # asks the service anew, on its new day
    page.locator("main [data-caution=C9]").wait_for()
    page.context.set_offline(True)
    with site.db.reading() as session:
        before = len(session.scalars(select(Acknowledgement)).all())
    begin(page)
    answer(page, site.db, correctly=True)
    page.get_by_role("button", name="Stop here").click()
    page.get_by_role("button", name="Another set").click()
    page.locator("[data-begin]").wait_for()

    page.locator("main [data-caution=C9]").wait_for(state="hidden")
    assert page.locator("main [data-caution=C1]").is_visible()

    arrived(page, site, 1)
    with site.db.reading() as session:
        ids = [row.caution_id for row in session.scalars(select(Acknowledgement).order_by(Acknowledgement.id))]
    assert sorted(ids[before:]) == ["C1", "C9"]


def test_deleting_warns_while_answers_wait(kept, site):
    """Leave it leaves it; deleting deletes, and nothing comes back by itself."""
    page = kept()
    begin(page)
    answer(page, site.db, correctly=True)
    page.get_by_role("button", name="Stop here").click()
    page.get_by_role("button", name="Another set").click()
    page.get_by_role("button", name="Delete what is kept here").click()

    assert "1 answer given here waits to be sent." in page.locator("[data-loses]").inner_text()

    page.get_by_role("button", name="Leave it").click()
    assert page.locator("[data-sure]").is_hidden()
    page.locator("[data-waits]").wait_for()

    page.get_by_role("button", name="Delete what is kept here").click()
    page.get_by_role("button", name="Delete all the same").click()
    page.get_by_text("Deleted.").wait_for()

    assert page.locator("[data-begin]").is_hidden()
    assert page.locator("[data-waits]").is_hidden()
    assert not page.get_by_label("Keep questions ready").is_checked()

    page.context.set_offline(False)
    page.goto(HERE)
    page.get_by_text("No questions are kept here yet.").wait_for()
    page.get_by_label("Keep questions ready").click()  # whether it is checked a moment later, the next screen says
    page.locator("[data-begin]").wait_for()
    expect(page.get_by_label("Keep questions ready")).to_be_checked()


def test_a_stranger_and_a_browser_without_scripts_are_told(phone):
    """Nothing is kept yet; without scripts it says what is needed."""
    page = phone()
    page.goto(HERE)
    page.get_by_text("No questions are kept here yet.").wait_for()

    assert page.locator("[data-begin]").is_hidden()

    bare = phone(script=False)
    bare.goto(HERE)
    assert "needs scripts" in bare.locator("noscript").inner_text()


def change(page, what):
    """Change every question on the device, as a fault of its own would, and begin a set at its `one`."""
    page.evaluate(CHANGE, what)
    page.context.set_offline(False)  # without a worker the page itself needs the line
    page.goto(HERE)
    page.locator("[data-begin]").wait_for()
    steps.filled(page)
    page.context.set_offline(True)
    begin(page)
    while page.locator("[data-kind]").get_attribute("data-kind") != "one":
        page.get_by_role("button", name="pass", exact=True).click()
        page.locator("#outcome").wait_for()
        assert onward(page)


# A page's policy allows no code from text, so the changes stand here whole.
CHANGE = """async (what) => {
  const names = (await indexedDB.databases()).map(({ name }) => name);
  const name = names.find((one) => /^quizsvc-[0-9]+$/.test(one));
  const changes = {
    grades: ({ kind, table }) => { if (kind === "one") for (const id of table.keys) table.grades[id] = ["miss", 0]; },
    option: (row) => {
      if (row.kind !== "one") return;
      const old = row.table.order[0];
      row.table.order[0] = "nowhere";
      for (const part of ["html", "feedback"]) row[part] = row[part].replaceAll(`"${old}"`, '"nowhere"');
    },
  };
  const done = (request) => new Promise((resolve, reject) => {
    request.onsuccess = request.oncomplete = () => resolve(request.result);
    request.onerror = request.onabort = () => reject(request.error);
  });
  const db = await done(indexedDB.open(name));
  const change = db.transaction("questions", "readwrite");
  const questions = change.objectStore("questions");
  for (const row of await done(questions.getAll())) {
    changes[what](row);
    questions.put(row);
  }
  await done(change);
  db.close();
}"""


def test_where_the_service_judges_differently_it_wins(kept, site):
    """A grade on the device that is not the service's: the difference is said, and the service's outcome counts."""
    page = kept()
    change(page, "grades")
    asked = answer(page, site.db, correctly=True)

    assert outcome(page) == "miss", "the device was given another grade"

    page.get_by_role("button", name="Stop here").click()
    page.get_by_role("button", name="Another set").click()
    page.locator("[data-waits]").wait_for()
    page.context.set_offline(False)
    page.get_by_text("The service judged this differently: full, not miss.").wait_for()

    assert outcomes(site)[asked] == "full"

    page.get_by_role("button", name="Remove").click()
    page.locator("[data-differing]").wait_for(state="hidden")


def test_a_refused_answer_says_why_and_can_be_removed(kept, site):
    """Its sentence is the service's; the others are stored."""
    page = kept()
    change(page, "option")
    passed = int(page.locator("#progress").inner_text().split()[0]) - 1
    page.locator("label.row:has(input[value=nowhere])").click()
    page.get_by_role("button", name="Answer", exact=True).click()
    page.locator("#outcome").wait_for()
    if onward(page):
        answer(page, site.db, correctly=True)
        passed += 1
        page.get_by_role("button", name="Stop here").click()
    page.get_by_role("button", name="Another set").click()
    assert len(arrived(page, site, passed)) == passed
    page.locator("[data-refused] button").wait_for()

    assert "is none of this question's" in page.locator("[data-refused] p").last.inner_text()

    page.locator("[data-refused] button").click()
    page.locator("[data-refused]").wait_for(state="hidden")
    page.get_by_text("Every answer given here is stored by the service.").wait_for()


def test_somebody_elses_answers_are_only_counted(kept, site):
    """Who comes next on this device sees that answers wait, and neither whose nor which."""
    page = kept()
    begin(page)
    answer(page, site.db, correctly=True)
    page.context.clear_cookies()
    page.context.route("**/api/v1/answer-batches", lambda route: route.abort())
    page.context.set_offline(False)
    visit(page)

    page.get_by_text("1 answer of somebody else waits here until that person signs in on this device.").wait_for()
    page.locator("[data-waits]").wait_for(state="hidden")
    assert page.get_by_role("button", name="Go on").is_hidden()


@pytest.mark.parametrize("how", ["Next", "Stop here"])
def test_a_full_device_shows_the_end_of_a_set_all_the_same(kept, how):
    """That the set is over cannot be kept: a press goes on nevertheless, to what was answered."""
    page = kept()
    begin(page, 3)
    page.get_by_role("button", name="pass", exact=True).click()
    page.locator("#outcome").wait_for()
    while how == "Next" and page.get_by_role("button", name="End of set").count() == 0:
        onward(page)
        page.get_by_role("button", name="pass", exact=True).click()
        page.locator("#outcome").wait_for()
    page.evaluate(FULL)
    page.get_by_role("button", name="End of set" if how == "Next" else how).click()
    page.locator("[data-tally]:has-text(' pass')").wait_for()
    page.get_by_role("button", name="Another set").click()
    page.locator("[data-waits]").wait_for()

    assert page.faults == []


FULL = """() => {
  const put = IDBObjectStore.prototype.put;
  IDBObjectStore.prototype.put = function (...given) {
    if (this.name === "sets") throw new DOMException("Full.", "QuotaExceededError");
    return put.apply(this, given);
  };
}"""


def test_somebody_elses_database_that_cannot_be_read_hides_nothing_of_ones_own(phone):
    """Of a later version, say: the screen is painted to its end."""
    page = phone()
    visit(page)
    page.evaluate(ANOTHER)
    page.goto(HERE)
    page.get_by_label("Keep questions ready").wait_for(state="visible")

    expect(page.get_by_label("Keep questions ready")).to_be_checked()
    assert page.faults == []


ANOTHER = """async () => {
  const store = await import(document.querySelector("script[src$='main.js']").src.replace("main.js", "store.js"));
  await store.device("persons", (known) => [...known, 999]);
  (await store.done(indexedDB.open("quizsvc-999", 2))).close();
}"""


def test_refused_storage_says_so(phone):
    """As browsers do it where a person has switched storage off."""
    page = phone()
    steps.start(page)
    page.context.add_init_script("IDBFactory.prototype.open = () => { throw new DOMException('no', 'SecurityError'); }")
    page.goto(HERE)
    page.locator("[data-why-off]").locator("visible=true").wait_for()

    assert "Nothing can be kept on this device" in page.locator("[data-why-off]").inner_text()
    assert page.locator("[data-begin]").is_hidden()

"""By keyboard alone: Tab, Shift+Tab, arrows, Space, Enter and typing; at each step the name, the ring and the order."""

from __future__ import annotations

import pytest

from quizsvc.store.tables import Answer, Grade, Question, Squawk
from tests.browser import steps
from tests.browser.keyboard import Keys
from tests.browser.screens import INSTRUCTOR, KINDS, NOBODY, PILOT, REVIEWER, drill_addresses, visitor, world
from tests.web.keys import fields, right

pytestmark = pytest.mark.browser

PHONE = {"width": 360, "height": 800}
BENCH = "/bench/tolquenny-19"
SCREENS = {
    NOBODY: (
        "/", "/sign-in", "/sign-up", "/about", "/cautions", "/handbook", "/handbook/tolquenny-19/21-10", "/bench",
        BENCH, "/nowhere",
    ),
    PILOT: (
        "/", "/log", "/thin-spots", "/expectation", "/account", "/account/password", "/account/devices",
        "/account/delete", "/on-this-device", "/homework", "/account/sharing", "/account/calendar",
        "/people/{school[person]}/evidence", "/plan", "/plan/check-date?last_check=2026-03-31", "/plan/debrief",
    ),
    REVIEWER: (
        "/training", "/preview?q=asked", "/preview/asked-as-one", "/bank-desk", "{school[own desk item]}",
        "/bank-desk/handbook",
    ),
    INSTRUCTOR: (
        "/desk", "/groups/new", "{school[group]}", "{school[group]}/code", "{school[group]}/roll",
        "{school[group]}/roll/links", "{school[draft]}", "{school[draft]}/rules", "/join",
    ),
}  # fmt: skip
STATUS, REFUSAL = "document.getElementById('status')", "document.getElementById('refusal')"


@pytest.fixture(scope="module")
def made(templates, tmp_path_factory):
    """One service for the whole file; each story has persons or screens of its own."""
    with world(templates, tmp_path_factory.mktemp("keys")) as whole:
        yield whole


@pytest.mark.parametrize("who", [NOBODY, PILOT, REVIEWER, INSTRUCTOR])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_tab_walks_every_screen_in_its_order(made, chromium, who, scheme):
    """Everything that can be used is reached once, has a name and a ring; the first stop leads past the navigation."""
    page = visitor(chromium, made, who, viewport=PHONE, color_scheme=scheme)
    drill = drill_addresses(made).values() if who == PILOT and scheme == "light" else ()
    for address in (*SCREENS[who], *drill):
        page.goto(address.format_map(vars(made)))
        if address == "/on-this-device":  # what is kept shows itself when it is read, and once more when it was fetched
            steps.filled(page)
            page.locator("[data-begin]").wait_for()
            page.locator("[data-keeping]").wait_for()
        keys = Keys(page)
        page.evaluate("document.activeElement.blur()")
        while keys.tab():
            assert len(keys.names) < 200, "the focus goes round in the page"
        wanted = page.evaluate(USABLE)
        assert len(keys.names) == wanted, (address, wanted, keys.names)
        assert keys.names[0] == "To the content"


# A group of radio buttons is one stop.
USABLE = """() => {
  const all = [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary')]
    .filter(one => !one.disabled && one.checkVisibility());
  const groups = new Set(all.filter(one => one.type === 'radio').map(one => one.name));
  return all.filter(one => one.type !== 'radio').length + groups.size;
}"""


def test_from_the_first_visit_to_the_end_of_a_set(made, chromium):
    """Every kind: refused aloud, answered, judged; the focus lands on the heading of each new screen."""
    page, asked = visitor(chromium, made, NOBODY, viewport=PHONE), []
    db = made.site.db
    page.goto("/")
    keys = Keys(page)
    keys.tab()
    page.keyboard.press("Enter")
    page.wait_for_url("**#main")
    assert keys.tab()
    assert page.evaluate("document.activeElement.closest('main') !== null"), "the link leads past the navigation"
    keys.press("button[name=minutes][aria-label*='Long set, 25']")
    steps.arrive(page, "[data-answer]")
    heard = []
    while True:
        question = steps.question(page)
        heard += page.evaluate(LISTEN)
        with db.reading() as session:
            row = session.get_one(Question, question)
            asked.append(row.part or row.kind)
        keys.at_heading(" of ")
        if row.kind == "say":
            keys.press("button[name=spoken]")
            steps.arrive(page, "input[name=points]")
        elif not row.part:
            _refused_aloud(page, keys)
        keys.fill(fields(right(db, question)))
        assert keys.to(".send button.button")["name"] == "Answer"
        page.keyboard.press("Enter")
        steps.arrive(page, f"#outcome, [data-question]:not([data-question='{question}'])")
        if page.locator("#outcome").count():
            keys.at_heading("The whole scenario" if row.part == "c" else "full")
            keys.press(".next a.button")
            steps.arrive(page, "[data-answer], h1:text-is('End of set')")
        if not page.locator("[data-answer]").count():
            break
    keys.at_heading("End of set")
    assert keys.to("main a.button")["name"] == "Another set"
    keys.to(".leaders a", back=True)
    page.keyboard.press("Enter")
    steps.arrive(page, "#outcome")

    assert {*asked} == KINDS | {"a", "b", "c"}
    assert set(heard) == {"Sending.", ""}
    with db.reading() as session:
        whose = session.get_one(Question, question).person_id
        judged = session.query(Grade.outcome).join(Answer).filter(Answer.person_id == whose).all()
    assert [outcome for (outcome,) in judged] == ["full"] * len(asked)
    assert page.faults == []


# What a screen reader hears from the one place that tells how the sending goes.
LISTEN = """() => {
  const place = document.getElementById('status');
  if (!window.heard) {
    window.heard = [];
    new MutationObserver(() => window.heard.push(place.textContent)).observe(place, {childList: true});
  }
  return window.heard.splice(0);
}"""


def _refused_aloud(page, keys):
    """An answer with nothing in it: said in an alert that was in the accessibility tree before it had words."""
    before = keys.node(REFUSAL)
    assert before["role"] == "alert" and page.locator("#refusal").inner_text() == ""
    keys.press(".send button.button")
    page.locator("#refusal:not(:empty)").wait_for()
    after = keys.node(REFUSAL)
    assert (after["role"], after["id"]) == ("alert", before["id"])
    assert len(page.locator("#refusal").inner_text()) > 15
    name = page.evaluate("document.activeElement.name")
    if name:  # the field that is open, described by the same sentence
        assert page.locator("#refusal").inner_text() in keys.focused()["description"]


def test_the_state_of_sending_is_said(made, chromium):
    """A line that is down: in the place that was there before, with a button that the keyboard reaches."""
    page = visitor(chromium, made, NOBODY, viewport=PHONE)
    steps.start(page)
    keys = Keys(page)
    before = keys.node(STATUS)
    assert before["role"] == "status"
    page.route("**/api/v1/answers", lambda route: route.abort())
    steps.fill(page, right(made.site.db, steps.question(page)))
    keys.press(".send button.button")
    page.get_by_text("not stored yet").wait_for()
    after = keys.node(STATUS)
    assert (after["role"], after["id"]) == ("status", before["id"])
    assert keys.to("#status button")["name"] == "Try now"
    page.unroute("**/api/v1/answers")  # only now, or a try of its own would take the button away from under the Tab
    page.keyboard.press("Enter")
    steps.arrive(page, "#outcome")

    keys.at_heading("full")
    assert page.locator("#status").inner_text() == ""
    assert keys.node(STATUS)["id"] == before["id"]


def test_sign_up_sign_out_and_sign_in(made, chromium):
    """A refused form opens at its sentence; Enter sends it from a field."""
    page = visitor(chromium, made, NOBODY, viewport=PHONE)
    page.goto("/")
    keys = Keys(page)
    keys.press("main a[href='/sign-in']")
    page.wait_for_url("**/sign-in")
    keys.press("main a[href='/sign-up']")
    page.wait_for_url("**/sign-up")
    keys.write("#name", "Berit Ostrander")
    keys.write("#password", "short")
    page.keyboard.press("Enter")
    steps.arrive(page, "#refusal")
    _opened_at_refusal(keys)
    keys.write("#password", "ochre lantern nine")
    page.keyboard.press("Enter")
    steps.arrive(page, "text=Signed up as")
    keys.press("nav a[href='/account']")
    page.wait_for_url("**/account")
    keys.press("form[action='/sign-out'] button")
    steps.arrive(page, "text=Signed out")
    assert keys.node("document.querySelector('.notice')")["role"] == "status"
    keys.press("nav a[href='/sign-in']")
    page.wait_for_url("**/sign-in")
    keys.write("#name", "Berit Ostrander")
    keys.write("#password", "wrong lantern nine")
    page.keyboard.press("Enter")
    steps.arrive(page, "#refusal")
    _opened_at_refusal(keys)
    keys.write("#password", "ochre lantern nine")
    keys.press("main form button")
    page.wait_for_url(made.site.url + "/")
    assert keys.to("nav a[href='/account']")["name"] == "Settings"


def _opened_at_refusal(keys):
    keys.page.locator("#refusal:focus").wait_for()  # given by the next picture of the page, which may follow its load
    assert keys.focused()["role"] == "alert"


def test_settings(made, chromium):
    """Boxes, radio buttons, a day, a number, a time zone."""
    page = visitor(chromium, made, REVIEWER, viewport=PHONE)
    page.goto("/account")
    keys = Keys(page)
    keys.press("input[name=aircraft]", "Space")
    wanted = page.locator("input[name=experience]").last.get_attribute("value")
    keys.choose("input[name=experience]", wanted)
    keys.to("#check_date")
    page.keyboard.type("12242027")
    keys.write("#minutes_a_day", "many")
    keys.press("main form button")
    steps.arrive(page, "#refusal")
    _opened_at_refusal(keys)
    keys.write("#minutes_a_day", "15")
    keys.to("#time_zone")
    page.keyboard.type("Oslo") if page.locator("#time_zone option", has_text="Oslo").count() else None
    keys.press("main form button")
    steps.arrive(page, ".notice")

    assert page.locator("#minutes_a_day").input_value() == "15"
    assert page.locator(f"input[name=experience][value='{wanted}']").is_checked()
    assert page.locator("#check_date").input_value() == "2027-12-24"


def test_a_squawk_the_log_and_the_handbook(made, chromium):
    """From the Log to an answer, a squawk on it, the handbook's section and back to the question."""
    page = visitor(chromium, made, PILOT, viewport=PHONE)
    page.goto("/log")
    keys = Keys(page)
    keys.choose("#outcome", "miss")
    keys.press(".filter button")
    page.wait_for_url("**outcome=miss**")
    keys.press(".log-stem a")
    page.wait_for_url("**/questions/**")  # the Log has an #outcome too, its filter
    steps.arrive(page, "#outcome")
    keys.press(".to-handbook a")
    page.wait_for_url("**/handbook/**")
    keys.press(".back a")
    steps.arrive(page, "#outcome")
    keys.press(".squawk summary")
    keys.to("#squawk")
    page.keyboard.type("The relief heads crack at another figure.")
    keys.press(".squawk button")
    steps.arrive(page, ".notice")

    assert keys.node("document.querySelector('.notice')")["role"] == "status"
    with made.site.db.reading() as session:
        assert [one.text for one in session.query(Squawk)].count("The relief heads crack at another figure.") == 1


def test_the_fault_bench(made, chromium):
    """A part fails, the counts are said in the place that was there, and the way to a lost part is looked at."""
    page = visitor(chromium, made, NOBODY, viewport=PHONE)
    page.goto(BENCH)
    page.locator("#bench.live").wait_for(state="attached")  # its script comes after the page has
    keys, said = Keys(page), "document.getElementById('said')"
    before = keys.node(said)
    page.locator("summary", has_text="24 Electrical").evaluate("one => one.dataset.test = 'power'")
    keys.press("[data-test=power]")
    keys.press("input[name=fail][value=L_BAR]", "Space")
    page.locator("#said", has_text="1 failed").wait_for()
    assert keys.node(said)["id"] == before["id"] and before["role"] == "status"
    assert keys.focused()["name"] == "L MAIN bus bar"
    keys.press("a[data-look=MFD]")
    page.locator("#way:focus").wait_for()
    assert "centre display" in keys.focused()["name"]


def test_the_preview(made, chromium):
    """An author finds an item and goes on to the next."""
    page = visitor(chromium, made, REVIEWER, viewport=PHONE)
    page.goto("/account")
    keys = Keys(page)
    keys.press("main a[href='/preview']")
    page.wait_for_url("**/preview")
    keys.write("#q", "gauge")
    page.keyboard.press("Enter")
    page.wait_for_url("**q=gauge**")
    assert keys.to("details .contents a")["name"].startswith("asked-as-gauge")
    page.keyboard.press("Enter")
    page.wait_for_url("**/preview/asked-as-gauge")
    onward = page.locator(".pages a").last.get_attribute("href")
    keys.press(".pages a:last-child")
    page.wait_for_url(f"**{onward}")
    assert onward.startswith("/preview/") and page.locator("h1").inner_text() == onward.split("/")[-1]

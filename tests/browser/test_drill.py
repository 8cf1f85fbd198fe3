"""A drill in Chromium at 360x800: with scripts, without them, on a bad line, by keyboard, over days."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import func, select

from quizsvc.store.tables import Answer, Question
from tests.browser import steps
from tests.web.keys import right, wrong

pytestmark = pytest.mark.browser


def _answers(site):
    with site.db.reading() as session:
        return session.scalar(select(func.count()).select_from(Answer))


def _concept(site, question_id):
    with site.db.reading() as session:
        return session.get(Question, question_id).concept_id


def _drawn(site, question_id):
    with site.db.reading() as session:
        question = session.get(Question, question_id)
        return question.item_id, question.drawn, question.option_order, question.repeat_of


def _drill_to_the_end(page, site):
    """Answer all but the second question right; returns the ids in the order asked."""
    asked = []
    more = True
    while more:
        asked.append(steps.question(page))
        steps.answer(page, site.db, correctly=len(asked) != 2)
        more = steps.go_on(page)
    return asked


@pytest.mark.parametrize("script", [True, False], ids=["with-script", "without-script"])
def test_a_set_is_drilled_and_the_missed_one_offered_again(phone, site, script):
    """From Start to the end of the set and the missed one again with new numbers; every answer stored once."""
    page = phone(script=script)
    loads = []
    page.on("request", lambda request: loads.append(request.url) if request.is_navigation_request() else None)
    steps.start(page)
    loads.clear()
    asked = _drill_to_the_end(page, site)

    assert len(asked) >= 3
    if script:
        assert loads == [], "a page was loaded between items"
    assert page.locator("h1").inner_text() == "End of set"
    assert _answers(site) == len(asked)

    page.get_by_role("button", name="Take it again").click()
    steps.arrive(page, "[data-answer]")
    again = steps.question(page)

    assert page.locator("#progress").inner_text().startswith("Again: ")
    before, after = _drawn(site, asked[1]), _drawn(site, again)
    assert after[3] == asked[1]
    assert after[0] == before[0]
    if before[1]:
        assert after[1] != before[1], "the numbers are the old ones"

    steps.answer(page, site.db, correctly=True)

    assert steps.go_on(page) is False
    assert page.get_by_text("Again, with new numbers").is_visible()
    assert page.get_by_role("button", name="Take it again").count() == 0
    assert _answers(site) == len(asked) + 1
    assert page.faults == []


def test_a_lost_request_is_sent_again_and_stored_once(phone, site):
    """The request never left the phone: a sentence says so, nothing is lost, the third try arrives."""
    page = phone()
    page.clock.install()
    steps.start(page)
    steps.filled(page)  # what is sent after a fill ends the pause between two tries
    page.clock.pause_at(datetime.now(UTC) + timedelta(minutes=5))  # no try but the first and those that are asked for
    lost = []

    def lose(route):
        if len(lost) < 2:
            lost.append(route.request.post_data_json["uuid"])
            route.abort()
        else:
            lost.append(route.request.post_data_json["uuid"])
            route.continue_()

    page.route("**/api/v1/answers", lose)
    steps.fill(page, right(site.db, steps.question(page)))
    page.get_by_role("button", name="Answer", exact=True).click()
    page.get_by_text("not stored yet").wait_for()

    assert _answers(site) == 0

    for tries in (1, 2):
        while len(lost) < tries:
            page.wait_for_timeout(20)
        page.get_by_role("button", name="Try now").click()
    steps.arrive(page, "#outcome")

    assert len(lost) == 3
    assert len(set(lost)) == 1
    assert _answers(site) == 1


def test_a_lost_reply_is_not_stored_twice(phone, site):
    """The answer arrived, its reply did not: sending again gives the stored result."""
    page = phone()
    steps.start(page)
    tries = []

    def lose(route):
        tries.append(1)
        if len(tries) == 1:
            route.fetch()
            route.abort()
        else:
            route.continue_()

    page.route("**/api/v1/answers", lose)
    steps.fill(page, wrong(site.db, steps.question(page)))
    page.get_by_role("button", name="Answer", exact=True).click()
    steps.arrive(page, "#outcome")

    assert len(tries) == 2
    assert page.locator("#outcome").inner_text().strip() == "miss"
    assert _answers(site) == 1


def test_a_page_of_something_on_the_way_makes_no_second_answer(phone, site):
    """The answer is stored, and a gateway says that it took too long: whatever is pressed next is the same answer."""
    page = phone()
    steps.start(page)
    tries = []

    def late(route):
        tries.append(1)
        if len(tries) == 1:
            route.fetch()
            route.fulfill(status=524, content_type="text/html", body="<h1>A timeout occurred</h1>")
        else:
            route.continue_()

    page.route("**/api/v1/answers", late)
    steps.fill(page, right(site.db, steps.question(page)))
    page.get_by_role("button", name="Answer", exact=True).click()
    page.locator("#refusal:has-text('This could not be sent.')").wait_for()
    page.locator("input[name=sureness][value=think]").check()
    page.get_by_role("button", name="Answer", exact=True).click()
    steps.arrive(page, "#outcome")

    assert page.locator("#outcome").inner_text().strip() == "full"
    assert _answers(site) == 1


def test_a_browser_closed_over_an_unsent_answer_loses_nothing(phone, site):
    """What was picked comes back, and an answer without a reply goes out by itself at the next opening."""
    page = phone()
    steps.start(page)
    address = page.url
    page.route("**/api/v1/answers", lambda route: route.abort())
    steps.fill(page, right(site.db, steps.question(page)))
    page.get_by_role("button", name="Answer", exact=True).click()
    page.get_by_text("not stored yet").wait_for()
    context = page.context
    page.close()

    assert _answers(site) == 0

    again = context.new_page()
    again.goto(address)
    steps.arrive(again, "#outcome")

    assert again.locator("#outcome").inner_text().strip() == "full"
    assert _answers(site) == 1


def test_what_was_typed_survives_a_reload(phone, site):
    """Also before it was sent."""
    page = phone()
    steps.start(page, minutes=10)
    while page.locator("#text").count() == 0:
        page.get_by_role("button", name="pass", exact=True).click()
        steps.arrive(page, "#outcome")
        assert steps.go_on(page), "the set had no number item"
    page.locator("#text").fill("6,5")
    page.reload()

    assert page.locator("#text").input_value() == "6,5"


def test_an_unreadable_number_keeps_what_was_typed(phone, site):
    """A sentence beside the field, focus in it, nothing stored."""
    page = phone()
    steps.start(page, minutes=10)
    while page.locator("#text").count() == 0:
        page.get_by_role("button", name="pass", exact=True).click()
        steps.arrive(page, "#outcome")
        assert steps.go_on(page), "the set had no number item"
    before = _answers(site)
    page.locator("#text").fill("about half")
    page.get_by_role("button", name="Answer", exact=True).click()
    page.locator("#refusal").wait_for()

    assert page.locator("#text").input_value() == "about half"
    assert page.evaluate("document.activeElement.id") == "text"
    assert _answers(site) == before


def test_a_set_goes_on_in_a_second_browser(phone, site):
    """Signed up on the phone, signed in on another: the same question waits, JavaScript or not."""
    page = phone()
    steps.start(page)
    steps.answer(page, site.db, correctly=True)
    steps.go_on(page)
    waiting = steps.question(page)
    page.goto("/sign-up")
    page.get_by_label("Name").fill("Pim Holloquist")
    page.get_by_label("Password").fill("ochre lantern nine")
    page.get_by_role("button", name="Sign up").click()
    page.get_by_text("Signed up as").wait_for()
    other = phone(script=False, viewport={"width": 1280, "height": 800})
    other.goto("/sign-in")
    other.get_by_label("Name").fill("Pim Holloquist")
    other.get_by_label("Password").fill("ochre lantern nine")
    other.get_by_role("button", name="Sign in").click()
    other.get_by_role("link", name="Go on").click()

    assert steps.question(other) == waiting


def test_a_set_by_keyboard_alone(phone, site):
    """Tab, Space, Enter and arrows; the focus is always somewhere to be seen, and moves to what is new."""
    page = phone()
    page.goto("/")
    _tab_to(page, "button.start")
    page.keyboard.press("Enter")
    steps.arrive(page, "[data-answer]")
    for _ in range(3):
        assert page.evaluate("document.activeElement.id") == "progress"
        fields = right(site.db, steps.question(page))
        if "text" in fields:
            _tab_to(page, "#text")
            page.keyboard.type(fields["text"])
        for option in fields.get("options", []):
            _tab_to(page, f"input[value='{option}']")
            page.keyboard.press("Space")
        if "option" in fields:
            _tab_to(page, "input[name=option]")
            while not page.evaluate(
                "value => document.activeElement.value === value && document.activeElement.checked", fields["option"]
            ):
                page.keyboard.press("ArrowDown")
        _tab_to(page, ".send button.button")
        _focus_is_seen(page)
        page.keyboard.press("Enter")
        steps.arrive(page, "#outcome")

        assert page.locator("#outcome").inner_text().strip() == "full"
        assert page.evaluate("document.activeElement.id") == "outcome"

        _tab_to(page, ".next a.button")
        _focus_is_seen(page)
        page.keyboard.press("Enter")
        steps.arrive(page, "[data-answer], h1:text-is('End of set')")
        if not page.locator("[data-answer]").count():
            break


def _tab_to(page, selector):
    """Press Tab until the element, or one of a group of radio buttons, has the focus."""
    for _ in range(60):
        if page.evaluate("selector => document.activeElement.matches(selector)", selector):
            return
        page.keyboard.press("Tab")
    pytest.fail(f"the keyboard does not reach {selector}")


def _focus_is_seen(page):
    style = page.evaluate(
        "() => { const s = getComputedStyle(document.activeElement);"
        " return [s.outlineStyle, parseFloat(s.outlineWidth)]; }"
    )
    assert style[0] != "none"
    assert style[1] >= 3


def test_the_missed_concept_comes_back_before_those_answered_right(phone, site):
    """One set a day, the clock moved on day by day: the missed one of the first set is asked again first of them."""
    page = phone()
    steps.start(page)
    asked = _drill_to_the_end(page, site)
    concepts = [_concept(site, one) for one in asked]
    missed, held = concepts[1], set(concepts) - {concepts[1]}
    came_back = []
    for _ in range(30):
        site.advance(days=1)
        steps.start(page)
        more = True
        while more:
            came_back.append(_concept(site, steps.question(page)))
            steps.answer(page, site.db, correctly=True)
            more = steps.go_on(page)
        if missed in came_back:
            break

    assert missed in came_back
    assert not held & set(came_back[: came_back.index(missed)])

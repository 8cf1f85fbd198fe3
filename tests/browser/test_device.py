"""The drill on the device in a real Chromium: sets of kept questions without signal, with feedback straight away.

What the device says is held against what the service says of the same answer once it has arrived.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from quizsvc.bank.portable import OFFLINE_KINDS
from quizsvc.store.tables import Question
from tests.browser import steps
from tests.browser.device_steps import (
    ARTICLE,
    HERE,
    answer,
    arrived,
    begin,
    drill,
    onward,
    outcome,
    outcomes,
)  # fmt: skip
from tests.web.keys import right, wrong

pytestmark = pytest.mark.browser

# Of `tests.conftest`: one item of every kind.
BANK = "kinds"


@pytest.mark.parametrize("correctly", [True, False], ids=["rightly", "wrongly"])
def test_a_set_of_every_kind_without_signal(kept, site, correctly):
    """Each answer is judged at once, and the feedback says word for word what the service says once it has arrived."""
    page = kept()
    begin(page)
    said = {}

    def look(kind, asked):
        said[asked] = (outcome(page), page.evaluate(ARTICLE))

    asked = drill(page, site.db, correctly=correctly, each=look)

    assert set(asked.values()) == set(OFFLINE_KINDS)
    assert page.locator("h1").inner_text() == "End of set"
    page.get_by_text(f"{len(asked)} answers given here wait to be sent.").wait_for()

    arrived(page, site, len(asked))

    assert outcomes(site) == {question: word for question, (word, _) in said.items()}
    online = page.context.new_page()
    for question, (_, words) in said.items():
        online.goto(f"/questions/{question}")
        assert online.evaluate(ARTICLE) == words, asked[question]
    assert page.faults == []


def test_a_pass_and_every_sureness_read_as_online(kept, site):
    """The sentence under the outcome goes by the sureness; a pass has its own."""
    page = kept()
    begin(page)
    said, more, at = {}, True, 0
    while more:
        asked = steps.question(page)
        if at == 3:
            page.get_by_role("button", name="pass", exact=True).click()
        else:
            steps.fill(page, (wrong if at == 0 else right)(site.db, asked))
            page.locator(f"input[name=sureness][value={('sure', 'guess', 'think')[at % 3]}]").check()
            page.get_by_role("button", name="Answer", exact=True).click()
        page.locator("#outcome").wait_for()
        said[asked] = page.evaluate(ARTICLE)
        more, at = onward(page), at + 1

    assert at > 4
    arrived(page, site, at)
    online = page.context.new_page()
    for question, words in said.items():
        online.goto(f"/questions/{question}")
        assert online.evaluate(ARTICLE) == words


def test_a_missed_number_is_taken_again_with_its_spare(kept, site):
    """The end offers it by choice; the spare has other numbers, and both answers arrive."""
    page = kept()
    begin(page)
    asked = drill(page, site.db, correctly=False)
    number = next(question for question, kind in asked.items() if kind == "number")
    page.get_by_role("button", name="Take it again").click()
    page.locator("[data-answer]").wait_for()

    assert page.locator("#progress").inner_text() == "Again: 1 of 1"

    spare = answer(page, site.db, correctly=True)

    assert outcome(page) == "full"
    assert onward(page) is False
    assert page.get_by_text("Again, with new numbers").is_visible()
    assert page.get_by_role("button", name="Take it again").count() == 0
    with site.db.reading() as session:
        first, second = session.get_one(Question, number), session.get_one(Question, spare)
        assert second.repeat_of == first.id
        assert second.item_id == first.item_id
        assert second.drawn != first.drawn
    arrived(page, site, len(asked) + 1)
    assert outcomes(site)[spare] == "full"


def test_nothing_open_is_taken(kept, site):
    """A sentence beside what is open, the focus there, what was typed stays, and nothing is kept."""
    page = kept()
    begin(page)
    seen, more = set(), True
    while more:
        kind = page.locator("[data-kind]").get_attribute("data-kind")
        page.get_by_role("button", name="Answer", exact=True).click()
        page.locator("#refusal").wait_for()
        assert page.locator("#refusal").inner_text().strip()
        if kind == "number":
            page.locator("#text").fill("about half")
            page.get_by_role("button", name="Answer", exact=True).click()
            page.locator("[aria-invalid=true]").wait_for()
            assert page.locator("#text").input_value() == "about half"
            assert page.evaluate("document.activeElement.id") == "text"
        if kind == "match":
            page.locator(".letters label").first.click()
            page.get_by_role("button", name="Answer", exact=True).click()
            assert page.locator("fieldset #refusal").inner_text().strip()
            assert page.evaluate("document.activeElement.name").startswith("pair-")
        if kind == "order":
            page.locator(".step").first.click()
            page.get_by_role("button", name="Answer", exact=True).click()
            assert page.locator("li #refusal").inner_text().strip()
            assert page.evaluate("document.activeElement.tagName") == "SELECT"
        seen.add(kind)
        assert page.locator("#outcome").count() == 0
        answer(page, site.db, correctly=True)
        assert outcome(page) == "full", kind
        more = onward(page)

    assert seen == set(OFFLINE_KINDS)
    assert len(arrived(page, site, len(seen))) == len(seen)


def test_what_was_typed_and_the_set_survive_a_reload(kept, site):
    """Also a second one; what is left is offered on the screen, and nothing is asked twice."""
    page = kept()
    begin(page)
    count = int(page.locator("#progress").inner_text().split()[-1])
    first = answer(page, site.db, correctly=True)
    onward(page)
    waiting = steps.question(page)
    page.locator("input[name=sureness][value=think]").check()
    page.context.set_offline(False)  # without a worker the page itself needs the line
    page.goto(HERE)

    page.get_by_role("heading", name=f"Long set, 1 of {count} answered").wait_for()
    steps.filled(page)
    page.context.set_offline(True)
    page.get_by_role("button", name="Go on").click()
    page.locator("[data-answer]").wait_for()

    assert steps.question(page) == waiting != first
    assert page.locator("#progress").inner_text() == f"2 of {count}"
    assert page.locator("input[name=sureness][value=think]").is_checked()


def test_a_set_of_the_day_before_is_offered_no_more(kept, site):
    """As online: after 24 hours the planner would choose differently. What was kept can be begun anew."""
    page = kept()
    begin(page)
    answer(page, site.db, correctly=True)
    page.context.set_offline(False)
    page.goto(HERE)
    page.get_by_role("button", name="Go on").wait_for()
    page.clock.set_fixed_time(datetime.now(UTC) + timedelta(hours=24, minutes=1))
    page.goto(HERE)
    page.get_by_role("heading", name="Short set", exact=True).wait_for()
    page.locator("[data-begin]").wait_for()

    assert page.get_by_role("button", name="Go on").is_hidden()


def test_stop_here_keeps_the_answers_and_another_set_begins(kept, site):
    """The rest stays for the next set."""
    page = kept()
    begin(page)
    given = answer(page, site.db, correctly=True)
    onward(page)
    page.get_by_role("button", name="Stop here").click()
    page.locator("[data-tally]").wait_for()

    assert page.locator("[data-tally]").inner_text().startswith("1 of ")
    assert "not answered" in page.locator("[data-lists]").inner_text()

    page.get_by_role("button", name="Another set").click()
    page.locator("[data-begin]").wait_for()
    assert page.get_by_role("button", name="Go on").is_hidden()
    begin(page)

    assert given not in drill(page, site.db, correctly=True)


def test_feedback_can_be_read_again_from_the_end(kept, site):
    """Each line of the list leads to it and back."""
    page = kept()
    begin(page)
    answer(page, site.db, correctly=False)
    words = page.evaluate(ARTICLE)
    page.get_by_role("button", name="Stop here").click()
    page.locator("[data-review]").click()
    page.locator("#outcome").wait_for()

    assert page.evaluate(ARTICLE) == words

    page.get_by_role("button", name="End of set").click()
    assert page.locator("h1").inner_text() == "End of set"


def test_a_short_set_says_when_there_is_less(kept, site):
    """What is kept is said, not promised."""
    page = kept()
    begin(page, 10)

    assert "more is not kept here" in page.locator("#status").inner_text()


def test_another_script_may_put_its_own_screen_there(kept, site):
    """The device's part stops: it answers no press on a screen that is not its own."""
    page = kept()
    other = "<main><h1>Start</h1><button data-minutes='25'>x</button></main>"
    page.evaluate("html => (document.getElementById('screen').innerHTML = html)", other)
    page.get_by_role("button", name="x").click()
    page.wait_for_timeout(300)

    assert page.locator("h1").inner_text() == "Start"
    assert page.locator("[data-answer]").count() == 0
    assert page.faults == []

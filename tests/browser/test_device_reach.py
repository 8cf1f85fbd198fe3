"""The drill on the device for everybody: cautions, keyboard alone, axe, targets, widths and contrast."""

from __future__ import annotations

import pytest

from quizsvc.bank.portable import OFFLINE_KINDS
from quizsvc.services import reading
from quizsvc.store.tables import Question
from tests.browser import axe, steps
from tests.browser.device_steps import answer, begin, onward, outcome
from tests.browser.test_access import CONTRAST, MEASURE, TARGETS
from tests.browser.test_drill import _focus_is_seen, _tab_to
from tests.web.keys import fields, right

pytestmark = pytest.mark.browser

# Of `tests.conftest`: one item of every kind.
BANK = "kinds"

PARTS = f"{TARGETS}, .letters label, .step, .leaders button"


def test_every_item_owes_its_cautions_on_question_and_feedback(kept, site):
    """Inside the item; C2 in the band where the item does not say it, C1 at the foot of every screen."""
    page = kept()
    words = reading.cautions(site.db)
    begin(page)
    more = True
    while more:
        with site.db.reading() as session:
            owed = set(session.get_one(Question, steps.question(page)).record["cautions"])
        for screen in ("question", "feedback"):
            for one in owed:
                strip = page.locator(f"article [data-caution={one}]")
                assert strip.is_visible(), (screen, one)
                assert strip.inner_text().startswith(words[one].split("{")[0])
            assert page.locator("[data-caution=C2]").locator("visible=true").count() == 1
            assert page.locator("footer [data-caution=C1]").is_visible()
            if screen == "question":
                page.get_by_role("button", name="pass", exact=True).click()
                page.locator("#outcome").wait_for()
        more = onward(page)


def test_a_set_by_keyboard_alone(kept, site):
    """Tab, Space, Enter; each screen begins at its heading, and the focus is always to be seen."""
    page = kept()
    _tab_to(page, "[data-minutes='25']")
    page.keyboard.press("Enter")
    page.locator("[data-answer]").wait_for()
    more, seen = True, set()
    while more:
        assert page.evaluate("document.activeElement.id") == "progress"
        seen.add(page.locator("[data-kind]").get_attribute("data-kind"))
        for name, value in fields(right(site.db, steps.question(page))).items():
            for one in value if isinstance(value, list) else [value]:
                put_by_keyboard(page, name, one)
        _tab_to(page, ".send .button")
        _focus_is_seen(page)
        page.keyboard.press("Enter")
        page.locator("#outcome").wait_for()
        assert page.evaluate("document.activeElement.id") == "outcome"
        assert outcome(page) == "full"
        _tab_to(page, ".next .button")
        page.keyboard.press("Enter")
        page.locator("[data-answer], [data-tally]").wait_for()
        more = page.locator("[data-answer]").count() == 1

    assert seen == set(OFFLINE_KINDS)
    assert page.evaluate("document.activeElement.id") == "progress"


def put_by_keyboard(page, name, value):
    """One field of an answer, by keys."""
    if name == "text" or name.startswith("reading-"):
        _tab_to(page, f"[name='{name}']")
        page.keyboard.type(value)
    elif name.startswith(("place-", "after-")):
        _tab_to(page, f"select[name='{name}']")
        place = page.locator(f"select[name='{name}'] option").evaluate_all(
            "(all, value) => all.findIndex((one) => one.value === value)", value
        )
        for _ in range(place):
            page.keyboard.press("ArrowDown")
    elif name == "options":
        _tab_to(page, f"input[name=options][value='{value}']")
        page.keyboard.press("Space")
    else:
        _tab_to(page, f"input[name='{name}']")
        every = page.locator(f"input[name='{name}']").evaluate_all("all => all.map((one) => one.value)")
        page.keyboard.press("Space")
        for _ in range(every.index(value)):
            page.keyboard.press("ArrowDown")


def test_axe_finds_nothing(kept, site):
    """WCAG 2.2 AA on the first screen, every kind's question and feedback, refusals, and the end."""
    page, found = kept(), []
    every_screen(page, site, lambda name: axe.look(page, name, found))
    assert found == []


def test_targets_widths_and_contrast(kept, site):
    """48 px in both directions, nothing wider than 320 px, and a contrast of 7 to 1 in the drill."""
    page = kept()
    small, wide, low = [], [], []

    def look(name):
        small.extend((name, *one) for one in page.evaluate(MEASURE, PARTS))
        low.extend((name, *one) for one in page.evaluate(CONTRAST))
        for width in (320, 360):
            page.set_viewport_size({"width": width, "height": 800})
            needed = page.evaluate("document.documentElement.scrollWidth")
            if needed > width:
                wide.append((name, width, needed))

    every_screen(page, site, look)
    assert small == []
    assert wide == []
    assert low == []


def every_screen(page, site, look):
    """Look at each screen of a set in which everything is missed."""
    look("first screen")
    begin(page)
    more = True
    while more:
        kind = page.locator("[data-kind]").get_attribute("data-kind")
        look(f"question: {kind}")
        page.get_by_role("button", name="Answer", exact=True).click()
        page.locator("#refusal").wait_for()
        look(f"question refused: {kind}")
        answer(page, site.db, correctly=False)
        look(f"feedback: {kind}")
        more = onward(page)
    look("end of set")
    page.get_by_role("button", name="Another set").click()
    page.locator("[data-waits]").wait_for()
    page.get_by_role("button", name="Delete what is kept here").click()
    look("answers wait")
    assert page.faults == []

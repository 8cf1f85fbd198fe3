"""Every kind of item in Chromium at 360x800: by thumb, without scripts, by keyboard alone, seen by axe, measured."""

from __future__ import annotations

import pytest

from quizsvc.store.tables import Grade, Question
from tests.browser import axe, steps
from tests.browser.screens import unfold
from tests.browser.test_access import MEASURE, TARGETS
from tests.browser.test_drill import _focus_is_seen, _tab_to
from tests.web.keys import fields, right

pytestmark = pytest.mark.browser

# Of `tests.conftest`: one item of every kind.
BANK = "kinds"

KINDS = {"one", "some", "number", "order", "match", "still-works", "gauge", "profile", "say"}
PARTS = ["a", "b", "c"]


def start(page):
    """The longest Long set, which asks every kind."""
    page.goto("/")
    page.get_by_role("button", name="Long set").last.click()
    steps.arrive(page, "[data-answer]")


def stored(site, question_id):
    """Kind and part of a question."""
    with site.db.reading() as session:
        found = session.get_one(Question, question_id)
        return found.kind, found.part


def walk(page, site, look=lambda name: None, *, correctly=True, each=None):
    """Drill the set to its end; returns kinds and parts in the order asked."""
    asked = []
    more = True
    while more:
        question = steps.question(page)
        kind, part = stored(site, question)
        name = f"{kind} ({part})" if part else kind
        look(f"question: {name}")
        if each is not None:
            each(kind, name)
        steps.answer(page, site.db, correctly=correctly)
        if page.locator("#outcome").count():
            look(f"feedback: {name}")
        asked.append((kind, part))
        more = steps.go_on(page)
    return asked


def everything(asked):
    """Whether every kind and every part was among them."""
    return {kind for kind, part in asked if not part} == KINDS and [part for _, part in asked if part] == PARTS


@pytest.mark.parametrize("script", [True, False], ids=["with-script", "without-script"])
def test_every_kind_is_drilled_by_thumb(phone, site, script):
    """Each answered by its own controls and stored as full; feedback of a scenario comes with its last part."""
    page = phone(script=script)
    start(page)
    told = []
    asked = walk(page, site, told.append)

    assert everything(asked)
    assert "feedback: number (a)" not in told and "feedback: number (c)" in told
    with site.db.reading() as session:
        assert [grade.outcome for grade in session.query(Grade)] == ["full"] * len(asked)
    assert page.faults == []


def test_axe_finds_nothing_in_any_kind(phone, site):
    """WCAG 2.2 AA, light and dark: question with all its folds open, the refused form, feedback of a miss."""
    page, found = phone(), []
    start(page)

    def look(name):
        unfold(page)
        axe.look(page, name, found, widths=(axe.PHONE,))

    asked = walk(page, site, look, correctly=False, each=lambda kind, name: refused(page, kind, name, look))

    assert everything(asked)
    assert found == []


def refused(page, kind, name, look):
    """Send the form as it is, where that is no answer."""
    if kind != "say":
        page.get_by_role("button", name="Answer", exact=True).click()
        steps.arrive(page, "#refusal:not(:empty)")
        look(f"refused: {name}")


@pytest.mark.parametrize("script", [True, False], ids=["with-script", "without-script"])
def test_every_kind_fits_thumb_and_screen(phone, site, script):
    """Targets of 48 px in both directions, nothing wider than 320 px."""
    page, small, wide, seen = phone(script=script), [], [], []
    start(page)
    targets = f"{TARGETS}, .letters label, .step"

    def look(name):
        seen.append(page.locator(targets).count())
        small.extend((name, *one) for one in page.evaluate(MEASURE, targets))
        for width in (320, 360):
            page.set_viewport_size({"width": width, "height": 800})
            needed = page.evaluate("document.documentElement.scrollWidth")
            if needed > width:
                wide.append((name, width, needed))

    asked = walk(page, site, look, correctly=False, each=lambda kind, name: refused(page, kind, name, look))

    assert everything(asked)
    assert min(seen) > 3
    assert small == []
    assert wide == []


def test_every_kind_by_keyboard_alone(phone, site):
    """Tab, Space, Enter, arrows and typing; where one is can be seen, and the focus moves to what is new."""
    page, asked = phone(), []
    start(page)
    while True:
        question = steps.question(page)
        asked.append(stored(site, question))
        if asked[-1][0] == "say":
            _tab_to(page, "button[name=spoken]")
            page.keyboard.press("Enter")
            steps.arrive(page, "input[name=points]")
        for name, value in fields(right(site.db, question)).items():
            by_keyboard(page, name, value)
        _tab_to(page, ".send button.button")
        _focus_is_seen(page)
        page.keyboard.press("Enter")
        steps.arrive(page, f"#outcome, [data-question]:not([data-question='{question}'])")
        if page.locator("#outcome").count():
            assert page.evaluate("document.activeElement.id") == "outcome"
            _tab_to(page, ".next a.button")
            page.keyboard.press("Enter")
            steps.arrive(page, "[data-answer], h1:text-is('End of set')")
        if not page.locator("[data-answer]").count():
            break
        assert page.evaluate("document.activeElement.id") == "progress"

    assert everything(asked)
    with site.db.reading() as session:
        assert [grade.outcome for grade in session.query(Grade)] == ["full"] * len(asked)


def by_keyboard(page, name, value):
    """Fill in one field of the form."""
    if name in ("options", "points"):
        for one in value:
            _tab_to(page, f"input[name={name}][value='{one}']")
            page.keyboard.press("Space")
    elif name == "text" or name.startswith("reading-"):
        _tab_to(page, f"[name='{name}']")
        page.keyboard.type(value)
    elif name.startswith(("place-", "after-")):
        _tab_to(page, f"select[name='{name}']")
        _arrow_down(page, value, "document.activeElement.value === value")
    elif name == "option" or name.startswith(("pair-", "row-")):
        _tab_to(page, f"input[name='{name}']")
        page.keyboard.press("Space")
        _arrow_down(page, value, "document.activeElement.value === value && document.activeElement.checked")


def _arrow_down(page, value, there):
    for _ in range(20):
        if page.evaluate(f"value => {there}", value):
            return
        page.keyboard.press("ArrowDown")
    pytest.fail(f"arrows do not reach {value}")


def test_steps_are_tapped_in_their_order(phone, site):
    """A tap gives the next place, a second tap takes it back and moves up the rest; no dragging."""
    page = phone()
    start(page)
    while stored(site, steps.question(page))[0] != "order":
        steps.answer(page, site.db, correctly=True)
        assert steps.go_on(page)
    order = right(site.db, steps.question(page))["order"]
    places = {step: page.locator(f"select[name='place-{step}']") for step in order}

    def tap(step):
        page.locator(f"label[for='place-{step}']").click()

    for step in (order[1], order[0], *order[2:]):
        tap(step)
    assert [places[step].input_value() for step in order] == ["2", "1", "3", "4"]
    tap(order[1])
    assert [places[step].input_value() for step in order] == ["1", "", "2", "3"]
    tap(order[1])
    assert places[order[1]].input_value() == "4"
    for step in order:
        tap(step)
    assert [places[step].input_value() for step in order] == ["", "", "", ""]
    for step in order:
        tap(step)
    places[order[1]].select_option("1")
    page.get_by_role("button", name="Answer", exact=True).click()
    page.get_by_text("Two steps have place 1").wait_for()
    places[order[1]].select_option("2")
    page.get_by_role("button", name="Answer", exact=True).click()
    steps.arrive(page, "#outcome")

    assert page.locator("#outcome").inner_text().strip() == "full"


@pytest.mark.parametrize("script", [True, False], ids=["with-script", "without-script"])
def test_an_open_row_says_so_itself(phone, site, script):
    """The sentence stands in the row that is open, which is on the screen and has the focus; the rest stays."""
    page, tried = phone(script=script), set()
    start(page)

    def leave_one_open(kind, name):
        if kind not in ("order", "match", "still-works", "gauge"):
            return
        filled = fields(right(site.db, steps.question(page)))
        rows = [field for field in filled if "-" in field and not field.startswith("after-")]
        for field, value in filled.items():
            if field == "option":
                page.locator(f"label.row:has(input[value='{value}'])").click()
            elif field not in (rows[-1], rows[-1].replace("row-", "after-")):
                one_field(page, field, value)
        page.get_by_role("button", name="Answer", exact=True).click()
        steps.arrive(page, "#refusal:not(:empty)")
        field = page.locator(f"[name='{rows[-1]}']").first
        told = page.locator("#refusal")

        field.and_(page.locator(":focus")).wait_for(
            state="attached"
        )  # without scripts by the next picture of the page, after its load
        assert page.evaluate("document.activeElement.name") == rows[-1], name
        assert told.count() == 1
        assert 0 <= told.bounding_box()["y"] - field.bounding_box()["y"] < 300, name
        assert 0 <= field.bounding_box()["y"] < 800, name
        tried.add(kind)

    walk(page, site, each=leave_one_open)

    assert tried == {"order", "match", "still-works", "gauge"}


def one_field(page, name, value):
    """Fill in one row by thumb."""
    if name.startswith(("place-", "after-")):
        page.locator(f"select[name='{name}']").select_option(value)
    elif name.startswith("reading-"):
        page.locator(f"[name='{name}']").fill(value)
    else:
        page.locator(f"label:has(input[name='{name}'][value='{value}'])").click()


def test_a_tap_on_a_plot_picks_it(phone, site):
    """The whole picture is a target, besides its row."""
    page = phone()
    start(page)
    while stored(site, steps.question(page))[0] != "profile":
        steps.answer(page, site.db, correctly=True)
        assert steps.go_on(page)
    (option,) = right(site.db, steps.question(page)).values()
    page.locator(f".plot:has(input[value='{option}']) figure").click()

    assert page.locator(f"input[value='{option}']").is_checked()


def test_a_reading_below_zero_can_be_typed_without_a_minus_key(phone, site):
    """Some phones' number pads have none; each reading has a button of its own."""
    page = phone()
    start(page)
    while stored(site, steps.question(page))[0] != "gauge":
        steps.answer(page, site.db, correctly=True)
        assert steps.go_on(page)
    page.locator("[name=reading-differential]").fill("0.4")
    page.locator(".sign").last.click()

    assert page.locator("[name=reading-differential]").input_value() == "-0.4"
    assert page.locator("[name=reading-cabin]").input_value() == ""


def test_what_was_entered_survives_a_reload(phone, site):
    """Rows, pairs, places and readings come back from the device, in every kind."""
    page, compared = phone(), set()
    start(page)

    def half(kind, name):
        if kind == "say":
            return
        filled = fields(right(site.db, steps.question(page)))
        steps.fill(page, right(site.db, steps.question(page)))
        page.reload()
        steps.arrive(page, "[data-answer]")
        for field, value in filled.items():
            if field in ("text",) or field.startswith(("reading-", "place-", "after-")):
                assert page.locator(f"[name='{field}']").input_value() == value, (name, field)
            else:
                for one in value if isinstance(value, list) else [value]:
                    assert page.locator(f"[name='{field}'][value='{one}']").is_checked(), (name, field)
        compared.add(kind)
        if kind == "some":  # picked once more they would be taken back
            for one in filled["options"]:
                page.locator(f"label.row:has(input[value='{one}'])").click()

    walk(page, site, each=half)

    assert compared == KINDS - {"say"}

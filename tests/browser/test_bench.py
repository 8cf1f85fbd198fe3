"""The Fault bench in a real Chromium: thumb, keyboard alone, projector, without scripts, and for axe."""

from __future__ import annotations

import re

import pytest

from tests.browser import axe
from tests.browser.test_access import MEASURE

pytestmark = pytest.mark.browser

BENCH = "/bench/tolquenny-19"
STATE = f"{BENCH}?fail=L_GEN&fail=TIE&node=SPDBRK"
PROJECTOR = {"width": 1280, "height": 800}
TARGETS = (
    "button, summary, select, input[type=range], label.row, a.button, a.plain, .contents a, .bench-parts a, "
    ".to-handbook a, nav a"
)
FAILED = "2 failed, 10 lost, 2 after an action, 55 work."


def _said(page, words):
    page.locator("#said", has_text=words).wait_for()


def _come(page, address=BENCH):
    """The bench with its script, which comes after the page has: what is touched before it is not heard."""
    page.goto(address)
    page.locator("#bench.live").wait_for(state="attached")


def _open(page):
    """Every fold, so that all of the page is looked at."""
    for summary in page.locator("summary").all():
        if summary.is_visible() and not summary.evaluate("one => one.parentElement.open"):
            summary.click()


def test_a_thumb_fails_two_parts_and_nothing_is_loaded_again(phone):
    """Open the list, tap two boxes: counts, lists and address follow."""
    page = phone()
    _come(page)
    page.evaluate("window.sameOne = true")
    page.get_by_text("24 Electrical power").click()
    page.get_by_label("left generator", exact=True).check()
    page.get_by_label("bus tie", exact=True).check()
    _said(page, FAILED)

    assert page.evaluate("window.sameOne") is True
    page.wait_for_url(lambda url: "fail=L_GEN" in url and "fail=TIE" in url)
    assert page.locator("[data-part=dies]").get_by_role("link", name="speedbrakes").is_visible()
    assert page.locator("summary", has_text="24 Electrical power: 2 failed").is_visible()
    assert page.evaluate("document.activeElement.value") == "TIE"
    page.reload()
    assert page.get_by_label("bus tie", exact=True).is_checked()
    _said(page, FAILED)
    assert page.faults == []


def test_a_part_of_the_picture_is_tapped_on_a_projector(phone):
    """Failed by one tap, mended by the next; the box follows."""
    page = phone(viewport=PROJECTOR)
    _come(page)
    page.locator(".bench-wide [data-node=L_BAR]").click()
    _said(page, "1 failed")

    assert "pic-is-failed" in page.locator(".bench-wide [data-node=L_BAR]").get_attribute("class")
    assert "pic-is-lost" in page.locator(".bench-wide [data-node=MFD]").get_attribute("class")
    assert page.locator("input[name=fail][value=L_BAR]").is_checked()

    page.locator(".bench-wide [data-node=L_BAR]").click()
    _said(page, "Nothing has failed")
    assert page.faults == []


def test_the_keyboard_alone_fails_a_part_and_finds_why(phone):
    """Tab, space and return; the focus is never lost and lands on the way to the part."""
    page = phone()
    _come(page)

    def tab_to(condition):
        for _ in range(200):
            page.keyboard.press("Tab")
            if page.evaluate(f"(one => {condition})(document.activeElement)"):
                return
        pytest.fail(f"the keyboard does not reach {condition}")

    tab_to("one.tagName == 'SUMMARY' && one.textContent.startsWith('24 ')")
    page.keyboard.press("Enter")
    tab_to("one.value == 'L_BAR'")
    page.keyboard.press("Space")
    _said(page, "1 failed")
    assert page.evaluate("document.activeElement.value") == "L_BAR"

    tab_to("one.dataset.look == 'MFD'")
    page.keyboard.press("Enter")
    page.locator("#way-head", has_text="centre display").wait_for()
    assert page.evaluate("document.activeElement.id") == "way"
    assert page.get_by_text("Because L MAIN bus bar failed.").is_visible()
    assert page.faults == []


def test_a_switch_is_moved_and_the_counts_are_announced(phone):
    """The line that says what changed is a live region that stays in the page."""
    page = phone()
    _come(page, f"{BENCH}?fail=L_GEN&fail=R_GEN")
    page.evaluate("window.line = document.getElementById('said')")
    before = page.locator("#said").inner_text()
    page.locator("summary", has_text="Switches").click()
    page.get_by_label("BATT switch").select_option("OFF")
    page.locator("summary", has_text="Switches: BATT switch OFF").wait_for()

    assert page.locator("#said").inner_text() != before
    assert page.evaluate("window.line === document.getElementById('said') && line.getAttribute('role') === 'status'")
    page.wait_for_url("**at-BATT=OFF**")


def test_the_slider_reads_the_instrument_at_another_minute(phone):
    """By arrow keys: the number follows, the pointers turn, the focus stays on the slider."""
    page = phone()
    _come(page, f"{BENCH}?fail=CPC&minute=30")
    pointer = page.locator("[data-part=gauge] .pic-pointer[data-dial=cabin]")
    before = pointer.get_attribute("transform")
    page.locator("#minute").focus()
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    page.wait_for_url("**minute=35**")

    assert page.locator("output[for=minute]").inner_text() == "35"
    assert pointer.get_attribute("transform") != before
    assert page.evaluate("document.activeElement.id") == "minute"


def test_another_flight_moves_the_ends_of_the_slider(phone):
    """The low flight is shorter."""
    page = phone()
    _come(page)
    last = page.locator("#minute").get_attribute("max")
    page.locator("summary", has_text="Flight:").click()
    page.get_by_label("From and to").select_option(index=3)
    page.locator("summary", has_text="Hollin Sink").wait_for()

    assert page.locator("#minute").get_attribute("max") != last
    page.wait_for_url("**flight=3**")


def test_it_works_without_scripts(phone):
    """Boxes, Show, a failure of the handbook, a part: all by pages."""
    page = phone(script=False)
    page.goto(BENCH)
    page.get_by_text("24 Electrical power").click()
    page.locator("label.row", has_text=re.compile("^left generator$")).click()
    page.locator("label.row", has_text=re.compile("^bus tie$")).click()
    page.get_by_role("button", name="Show").click()
    assert page.locator("#said").inner_text() == FAILED

    page.locator("[data-part=dies]").get_by_role("link", name="speedbrakes").click()
    assert page.locator("#way-head").inner_text() == "speedbrakes"
    page.get_by_text("Failures from the handbook").click()
    page.get_by_role("link", name="both generators fail, BATT ON").click()
    assert "No speedbrakes." in page.locator("[data-part=dies]").inner_text()


def test_an_answer_that_comes_late_does_not_overwrite_a_newer_one(phone):
    """Two boxes ticked before the first reply is there: what stands is the state of both."""
    page = phone()
    _come(page)
    held = []

    def hold(route):
        if not held:
            held.append(route)
        else:
            route.continue_()

    page.route("**/bench/**", hold)
    page.get_by_text("24 Electrical power").click()
    page.get_by_label("left generator", exact=True).check()
    page.get_by_label("bus tie", exact=True).check()
    _said(page, FAILED)
    held[0].continue_()
    page.wait_for_timeout(300)

    assert page.locator("#said").inner_text() == FAILED


@pytest.mark.parametrize("width", [axe.PHONE, axe.DESK], ids=["phone", "projector"])
def test_axe_finds_nothing_on_the_bench(phone, width):
    """WCAG 2.2 AA with everything unfolded, in light and dark; nothing failed, and much failed."""
    page, found = phone(viewport={"width": width, "height": 800}), []
    for address in (BENCH, STATE, f"{BENCH}?fail=RELIEF&fail=CPC&at-BLEED=OFF"):
        _come(page, address)
        _open(page)
        axe.look(page, address, found, widths=(width,))

    assert found == []
    assert page.faults == []


def test_targets_are_48_px_and_nothing_is_wider_than_the_phone(phone):
    """With everything unfolded, down to 320 px."""
    page = phone()
    _come(page, STATE)
    _open(page)

    assert page.locator(TARGETS).count() > 60
    assert page.evaluate(MEASURE, TARGETS) == []
    for width in (320, 360):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_two_columns_on_a_projector_and_one_in_the_hand(phone):
    """The graph stands beside what it does, and each screen has one graph."""
    wide, narrow = phone(viewport=PROJECTOR), phone()
    for page in (wide, narrow):
        _come(page, STATE)
    left, right = wide.locator(".bench-set").bounding_box(), wide.locator(".bench-seen").bounding_box()

    assert left["x"] + left["width"] <= right["x"] and abs(left["y"] - right["y"]) < 60
    assert [wide.locator(one).is_visible() for one in (".bench-wide", ".bench-narrow")] == [True, False]
    assert [narrow.locator(one).is_visible() for one in (".bench-wide", ".bench-narrow")] == [False, True]
    assert narrow.locator(".bench-seen").bounding_box()["x"] < 40

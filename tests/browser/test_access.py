"""Every screen: axe (WCAG 2.2 AA) in light and dark, targets of 48 px, no sideways scroll; contrast in the drill."""

from __future__ import annotations

import pytest

from tests.browser import axe, steps

pytestmark = pytest.mark.browser

PAGES = (
    "/", "/sign-in", "/sign-up", "/about", "/cautions", "/handbook", "/log", "/thin-spots", "/expectation", "/account",
    "/account/password", "/account/devices", "/account/delete", "/nowhere",
)  # fmt: skip

# What a thumb presses, with the label or row that is pressed for it. Links inside a sentence are exempt (WCAG 2.5.8).
TARGETS = (
    "button, summary, select, textarea, input[type=text], input[type=password], input[type=date], nav a, label.row, "
    ".sureness label, a.button, a.plain, .foot-links a, .contents a, .leaders a, .to-handbook a, .log-stem a"
)
MEASURE = """selector => [...document.querySelectorAll(selector)]
  .filter(one => one.offsetParent !== null)
  .map(one => [one.outerHTML.slice(0, 80), one.getBoundingClientRect().width, one.getBoundingClientRect().height])
  .filter(([, width, height]) => width < 47.99 || height < 47.99)"""


@pytest.fixture
def screens(phone, site):
    """Walks every screen of a signed-up person and calls `look(name)` on each; some states are made on the way."""

    def walk(look):
        page = phone()
        # What a device keeps is not asked online as well: of the small bank that would be every number.
        page.route("**/api/v1/kept-questions", lambda route: route.abort())
        page.goto("/sign-up")
        page.get_by_label("Name").fill("Aluna Dreywick")
        page.get_by_label("Password").fill("short")
        page.get_by_role("button", name="Sign up").click()
        steps.arrive(page, "#refusal")
        look(page, "sign-up refused")
        page.get_by_label("Password").fill("ochre lantern nine")
        page.get_by_role("button", name="Sign up").click()
        steps.arrive(page, "text=Signed up as")
        look(page, "start with a notice")
        steps.start(page, minutes=10)
        kinds = set()
        more = True
        while more:
            kind = page.locator("[data-kind]").get_attribute("data-kind")
            if kind not in kinds:
                for summary in page.locator("summary").all():
                    summary.click()
                look(page, f"question: {kind}")
                page.get_by_role("button", name="Answer", exact=True).click()
                page.locator("#refusal").wait_for()
                look(page, f"question refused: {kind}")
            steps.answer(page, site.db, correctly=kind in kinds)
            if kind not in kinds:
                page.locator("summary").first.click()
                look(page, f"feedback: {kind}")
                links = page.locator(".to-handbook a")
                if links.count() and "section" not in kinds:
                    kinds.add("section")
                    back = page.url
                    links.first.click()
                    page.wait_for_url("**/handbook/**")
                    look(page, "handbook section")
                    page.goto(back)
            kinds.add(kind)
            more = steps.go_on(page)
        look(page, "end of set")
        for path in PAGES:
            page.goto(path)
            for summary in page.locator("summary").all():
                summary.click()
            look(page, path)
        assert page.faults == []
        return kinds

    return walk


def test_axe_finds_nothing_on_any_screen(screens):
    """WCAG 2.2 AA, all rules that a program can check, in light and dark."""
    found = []
    kinds = screens(lambda page, name: axe.look(page, name, found, widths=(axe.PHONE,)))

    assert found == []
    assert {"one", "some", "number"} <= kinds


def test_every_target_is_48_px(screens):
    """In both directions, at 360 px; and nothing is wider than the phone."""
    small, wide, seen = [], [], []

    def look(page, name):
        seen.append(page.locator(TARGETS).count())
        small.extend((name, *one) for one in page.evaluate(MEASURE, TARGETS))
        # 320 px is what is left of 1280 when a person zooms in to 400 % (WCAG 2.2, 1.4.10).
        for width in (320, 360):
            page.set_viewport_size({"width": width, "height": 800})
            needed = page.evaluate("document.documentElement.scrollWidth")
            if needed > width:
                wide.append((name, width, needed))

    screens(look)

    assert min(seen) > 3
    assert small == []
    assert wide == []


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_words_of_the_drill_have_a_contrast_of_seven(phone, site, dark):
    """WCAG 2.2, 1.4.6: 7 to 1, for a screen in the sun; computed from what Chromium really paints."""
    page = phone(dark=dark)
    steps.start(page)
    low = []

    def look(name):
        low.extend((name, *one) for one in page.evaluate(CONTRAST))

    look("question")
    page.locator("input[name=sureness]").first.check()
    steps.answer(page, site.db, correctly=False)
    look("feedback")

    assert low == []


# Relative luminance and contrast as WCAG 2.2 defines them; the background is that of the nearest painted ancestor, and
# that of an instrument or a plot is the page's. What is not wholly opaque is named, for then the colours are not these.
CONTRAST = """() => {
  const rgb = text => text.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => {
    const [x, y, z] = [r, g, b].map(c => { c /= 255; return c <= .04045 ? c / 12.92 : ((c + .055) / 1.055) ** 2.4; });
    return .2126 * x + .7152 * y + .0722 * z;
  };
  const behind = one => {
    const part = one.closest('g') && one.closest('g').querySelector('.pic-body');
    if (part) return rgb(getComputedStyle(part).fill);
    for (; one; one = one.parentElement) {
      const c = rgb(getComputedStyle(one).backgroundColor);
      if (c.length < 4 || c[3] === 1) return c;
      if (c[3] > 0) return null;
    }
    return [255, 255, 255];
  };
  const low = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let seen = 0;
  while (walker.nextNode()) {
    const one = walker.currentNode.parentElement;
    const words = walker.currentNode.textContent.trim().slice(0, 40);
    if (!words || one.offsetParent === null || one.closest('.skip, title, desc, template')) continue;
    const style = getComputedStyle(one);
    const [front, back] = [rgb(one.closest('svg') ? style.fill : style.color), behind(one)];
    let clear = back && front.length < 4;
    for (let up = one; up; up = up.parentElement) clear = clear && getComputedStyle(up).opacity === '1';
    if (!clear) { low.push([words, 'not opaque']); continue; }
    const [a, b] = [light(front), light(back)];
    const ratio = (Math.max(a, b) + .05) / (Math.min(a, b) + .05);
    seen += 1;
    if (ratio < 7) low.push([words, ratio]);
  }
  return seen > 8 ? low : [['too few words seen', seen]];
}"""

"""Seen with other eyes: text at twice its size, forced colours, no motion, in the sun, without any colour."""

from __future__ import annotations

import pytest

from tests.browser.screens import PILOT, drill_addresses, unfold, visitor, world
from tests.browser.test_access import CONTRAST

pytestmark = pytest.mark.browser

BENCH = "/bench/tolquenny-19?fail=L_GEN&fail=TIE&node=SPDBRK"
OTHERS = (
    "/about", "/cautions", "/sign-in", "/sign-up", "/handbook", "/handbook/tolquenny-19/21-10", BENCH, "/log",
    "/thin-spots", "/account", "/account/password", "/account/devices", "/account/delete", "/on-this-device",
)  # fmt: skip


@pytest.fixture(scope="module")
def made(templates, tmp_path_factory):
    """One service for the whole file: nothing here changes it."""
    with world(templates, tmp_path_factory.mktemp("sight")) as whole:
        yield whole


def drill(made):
    """The drill's screens, where it does not matter how an answer turned out: each kind once."""
    return {name: one for name, one in drill_addresses(made).items() if not name.endswith((", full", ", pass"))}


@pytest.mark.parametrize("width", [360, 1280])
def test_text_at_twice_its_size_is_whole(made, chromium, width):
    """WCAG 2.2, 1.4.4 and 1.4.10: the browser's own font size doubled; nothing cut off, covered or beside the page."""
    page, bad = visitor(chromium, made, PILOT, viewport={"width": width, "height": 800}), []
    page.context.new_cdp_session(page).send("Page.setFontSizes", {"fontSizes": {"standard": 32, "fixed": 26}})
    for name, address in {**drill(made), **{one: one for one in OTHERS}}.items():
        page.goto(address)
        unfold(page)
        assert page.evaluate("parseFloat(getComputedStyle(document.documentElement).fontSize)") >= 36
        bad.extend((name, *one) for one in page.evaluate(WHOLE))

    assert bad == []


# What is wrong with the letters of a page: beside the page, out of their own button or row, one over the other, cut
# off; and what cannot be pressed, as something lies over it wherever it is scrolled to. A table scrolls in its fold.
WHOLE = """() => {
  const found = [];
  const told = one => (one.outerHTML || one.textContent).trim().slice(0, 70);
  const width = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > width) found.push(['wide', document.documentElement.scrollWidth]);
  const hidden = one => one.closest('.unseen, .skip, svg, [hidden], select, option, template, table') ||
    !one.checkVisibility({visibilityProperty: true});
  const boxes = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, one = node.parentElement;
    if (!node.textContent.trim() || hidden(one)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const around = one.closest('button, a.button, a.plain, label, summary, legend, th, td, .unit, nav a, li, p');
    const outer = around && around.getBoundingClientRect();
    const still = one.closest('#status, .item .next');
    for (const box of range.getClientRects()) {
      if (!box.width) continue;
      if (box.left < -1 || box.right > width + 1) found.push(['beside the page', told(one)]);
      if (outer && getComputedStyle(around).display !== 'inline' && (box.left < outer.left - 1 ||
          box.right > outer.right + 1 || box.top < outer.top - 6 || box.bottom > outer.bottom + 6))
        found.push(['out of its box', told(around)]);
      if (!still) boxes.push([box, one]);
    }
  }
  for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
    const [[a, first], [b, second]] = [boxes[i], boxes[j]];
    const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (across > 2 && down > Math.min(a.height, b.height) * .3) found.push(['over', told(first), told(second)]);
  }
  for (const one of document.querySelectorAll('body *')) {
    if (hidden(one) || one.matches('textarea')) continue;
    const style = getComputedStyle(one);
    if (style.overflowX !== 'visible' && !one.matches('input, .bench-seen, details:has(> table)') &&
        (one.scrollWidth > one.clientWidth + 1 || one.scrollHeight > one.clientHeight + 1))
      found.push(['cut off', told(one)]);
  }
  for (const one of document.querySelectorAll('a[href], button, input, select, textarea, summary')) {
    if (hidden(one) || one.type === 'hidden') continue;
    one.scrollIntoView({block: 'center'});
    const box = (one.getClientRects()[0]);
    const hit = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
    if (!hit || !(one.contains(hit) || hit.contains(one) || (one.labels && [...one.labels].some(l => l.contains(hit)))))
      found.push(['covered', told(one), hit && told(hit)]);
  }
  return boxes.length > 8 ? found : [['too few words seen']];
}"""


@pytest.mark.parametrize("width", [360, 1280])
def test_no_word_is_broken_at_the_usual_size(made, chromium, width):
    """Words may break where a large text leaves no other way; at the usual size each stands in one line."""
    page, broken = visitor(chromium, made, PILOT, viewport={"width": width, "height": 800}), []
    for name, address in {**drill(made), **{one: one for one in OTHERS}}.items():
        page.goto(address)
        unfold(page)
        broken.extend((name, one) for one in page.evaluate(BROKEN))

    assert broken == []


BROKEN = """() => {
  const found = [], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let seen = 0;
  while (walker.nextNode()) {
    const node = walker.currentNode;
    if (node.parentElement.closest('svg, .unseen, template, select') || !node.parentElement.checkVisibility()) continue;
    for (const word of node.textContent.matchAll(/[\\p{L}\\p{N}.,]+/gu)) {
      const range = document.createRange();
      range.setStart(node, word.index);
      range.setEnd(node, word.index + word[0].length);
      seen += 1;
      const tops = [...range.getClientRects()].filter(box => box.width).map(box => box.top);
      if (new Set(tops).size > 1 && word[0].length < 17) found.push(word[0]);
    }
  }
  return seen > 8 ? found : ['too few words seen'];
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_word_of_the_drill_has_a_contrast_of_seven(made, chromium, scheme):
    """WCAG 2.2, 1.4.6, for a screen in the sun; by the standard's own formula from what Chromium paints."""
    page, low = visitor(chromium, made, PILOT, color_scheme=scheme, viewport={"width": 360, "height": 800}), []
    for name, address in drill_addresses(made).items():
        page.goto(address)
        unfold(page)
        if page.locator("[data-answer]").count() and "say" not in name:
            page.get_by_role("button", name="Answer", exact=True).click()
            low.extend((f"{name}, refused", *one) for one in page.evaluate(CONTRAST))
        for box in page.locator("form[data-answer] input:is([type=radio], [type=checkbox])").all():
            box.check()
        low.extend((name, *one) for one in page.evaluate(CONTRAST))

    assert low == []


def test_nothing_moves_for_those_who_asked_for_that(made, chromium):
    """Neither at rest nor under the thumb."""
    page = visitor(chromium, made, PILOT, viewport={"width": 360, "height": 800})
    moving = """() => [...document.querySelectorAll('*')].filter(one => [null, '::before', '::after'].some(part => {
        const style = getComputedStyle(one, part);
        return style.animationName !== 'none' || style.transitionDuration.split(', ').some(d => parseFloat(d) > 0);
      }) || getComputedStyle(one).scrollBehavior !== 'auto').map(one => one.outerHTML.slice(0, 80))"""
    for address in (*drill(made).values(), *OTHERS):
        page.goto(address)
        assert page.evaluate(moving) == [], address
    page.goto("/")
    for button in page.locator("button:visible").all()[:2]:
        button.hover()
        page.mouse.down()
        assert button.evaluate("one => getComputedStyle(one).transform") == "none"
        assert page.evaluate("document.getAnimations().length") == 0
        page.mouse.move(5, 5)
        page.mouse.up()

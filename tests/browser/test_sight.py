"""Seen with other eyes: text at twice its size, forced colours, no motion, in the sun, without any colour."""

from __future__ import annotations

import base64

import pytest

from tests.browser.screens import INSTRUCTOR, PILOT, REVIEWER, drill_addresses, unfold, visitor, world
from tests.browser.test_access import CONTRAST

pytestmark = pytest.mark.browser

BENCH = "/bench/tolquenny-19?fail=L_GEN&fail=TIE&node=SPDBRK"
OTHERS = (
    "/about", "/cautions", "/sign-in", "/sign-up", "/handbook", "/handbook/tolquenny-19/21-10", BENCH, "/log",
    "/thin-spots", "/expectation", "/account", "/account/password", "/account/devices", "/account/delete",
    "/on-this-device", "/homework", "/account/sharing", "/account/looks", "/account/calendar",
    "/people/{school[person]}/evidence", "/people/{school[person]}/evidence.html",
    "/plan", "/plan/check-date?last_check=2026-03-31", "/plan/debrief",
)  # fmt: skip
OF_INSTRUCTOR = (
    "/desk", "{school[group]}", "{school[group]}/code", "{school[group]}/roll", "{school[group]}/roll/links",
    "{school[draft]}/rules", "{school[told]}/spread", "{school[told]}/marks",
)  # fmt: skip
WIDTHS, SCHEMES = (360, 1280), ("light", "dark")
LOOKS = [(scheme, colours) for scheme in SCHEMES for colours in ("none", "active")]


@pytest.fixture(scope="module")
def made(templates, tmp_path_factory):
    """One service for the whole file: nothing here changes it."""
    with world(templates, tmp_path_factory.mktemp("sight")) as whole:
        yield whole


def drill(made):
    """The drill's screens, where it does not matter how an answer turned out: each kind once."""
    return {name: one for name, one in drill_addresses(made).items() if not name.endswith((", full", ", pass"))}


def screens(chromium, made):
    """Visits the drill, the pilot's other screens, and the two that are others before the first answer."""
    page = visitor(chromium, made, PILOT, viewport={"width": 360, "height": 800})
    for name, address in {**drill(made), **{one: one for one in OTHERS}}.items():
        page.goto(address.format_map(vars(made)))
        yield page, name
    page = visitor(chromium, made, REVIEWER, viewport={"width": 360, "height": 800})
    for address in (
        "/thin-spots", "/expectation", "/training", "/bank-desk", "{school[desk item]}", "{school[own desk item]}",
        "/bank-desk/handbook",
    ):  # fmt: skip
        page.goto(address.format_map(vars(made)))
        yield page, f"{address} of {REVIEWER}"
    page = visitor(chromium, made, INSTRUCTOR, viewport={"width": 360, "height": 800})
    for address in OF_INSTRUCTOR:
        page.goto(address.format_map(vars(made)))
        yield page, f"{address} of {INSTRUCTOR}"


def test_text_at_twice_its_size_is_whole(made, chromium):
    """WCAG 2.2, 1.4.4 and 1.4.10: the browser's own font size doubled; nothing cut off, covered or beside the page."""
    doubled, bad = {}, []
    for page, name in screens(chromium, made):
        if page not in doubled:
            doubled[page] = page.context.new_cdp_session(page)
            doubled[page].send("Page.setFontSizes", {"fontSizes": {"standard": 32, "fixed": 26}})
        unfold(page)
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 800})
            assert page.evaluate("parseFloat(getComputedStyle(document.documentElement).fontSize)") >= 36
            bad.extend((name, width, *one) for one in page.evaluate(WHOLE))

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


def test_no_word_is_broken_and_nothing_moves(made, chromium):
    """Words may break where a large text leaves no other way; at the usual size each stands in one line.

    And nothing moves by itself for those who asked for that.
    """
    broken, moving = [], []
    for page, name in screens(chromium, made):
        unfold(page)
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 800})
            broken.extend((name, width, one) for one in page.evaluate(BROKEN))
            moving.extend((name, width, one) for one in page.evaluate(MOVING))

    assert broken == []
    assert moving == []


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

MOVING = """() => [...document.querySelectorAll('*')].filter(one => [null, '::before', '::after'].some(part => {
    const style = getComputedStyle(one, part);
    return style.animationName !== 'none' || style.transitionDuration.split(', ').some(d => parseFloat(d) > 0);
  }) || getComputedStyle(one).scrollBehavior !== 'auto').map(one => one.outerHTML.slice(0, 80))"""


def test_nothing_moves_under_the_thumb(made, chromium):
    """For those who asked for that."""
    page = visitor(chromium, made, PILOT, viewport={"width": 360, "height": 800})
    page.goto("/")
    for button in page.locator("button:visible").all()[:2]:
        button.hover()
        page.mouse.down()
        assert button.evaluate("one => getComputedStyle(one).transform") == "none"
        assert page.evaluate("document.getAnimations().length") == 0
        page.mouse.move(5, 5)
        page.mouse.up()


def test_every_word_has_a_contrast_of_seven(made, chromium):
    """WCAG 2.2, 1.4.6, for a screen in the sun; by the standard's own formula from what Chromium paints."""
    page, low = visitor(chromium, made, PILOT, viewport={"width": 360, "height": 800}), []

    def look(name):
        for scheme in SCHEMES:
            page.emulate_media(color_scheme=scheme)
            low.extend((f"{name}, {scheme}", *one) for one in page.evaluate(CONTRAST))

    for name, address in {**drill_addresses(made), **{one: one for one in OTHERS}}.items():
        page.goto(address)
        unfold(page)
        if page.locator("form[data-answer]").count():
            if "say" not in name:
                page.get_by_role("button", name="Answer", exact=True).click()
                page.locator("#refusal:not(:empty)").wait_for()
                look(f"{name}, refused")
            page.evaluate(CHOOSE)
        look(name)

    assert low == []


# Every box of the answer; of a group of radio buttons the last.
CHOOSE = """() => {
  for (const one of document.querySelectorAll('form[data-answer] input:is([type=radio], [type=checkbox])'))
    if (!one.checked) one.click();
}"""


def test_what_is_chosen_and_where_one_is_can_be_seen(made, chromium):
    """WCAG 2.2, 1.4.11 and 2.4.7: an own look that differs by 3 to 1, with our colours and with those of the system.

    Each sort of control is weighed once in each look: what is built alike in parents built alike is drawn alike.
    """
    pages, seen = {**drill(made), "/expectation": "/expectation", "/log": "/log"}, set()
    for scheme, colours in LOOKS:
        page, known = _looking(chromium, made, scheme, colours), []
        for name, address in list(pages.items()):
            page.goto(address)
            page.keyboard.press("Shift")  # a keyboard is used, so that the focus is shown
            fresh = page.evaluate(FRESH, known)
            known.extend(sign for sign, _ in fresh)
            if not fresh:
                del pages[name]  # nothing new for the other looks either
            for place, (sign, kind) in enumerate(fresh):
                where, one = f"{name}, {scheme}, {colours}: {sign}", page.locator(f"[data-look='{place}']")
                one.scroll_into_view_if_needed()
                if kind == "row":
                    plain, chosen, focused = _states(one)
                    assert page.scale.differing(plain, chosen) > 150, f"{where}: a chosen one looks like any other"
                else:
                    page.evaluate("document.activeElement.blur()")
                    chosen = _around(page, one)
                    one.focus()
                    focused = _around(page, one)
                assert page.scale.differing(chosen, focused) > 250, f"{where}: the focus is not seen"
                seen.add((sign, kind))

    assert {kind for _, kind in seen} == {"row", "other"}
    assert len(seen) > 15


def _states(row):
    """Pictures of the row as it stands, chosen, and chosen with the focus on it."""
    box, shots = row.locator("input"), []
    for change in ("one.checked = false; one.blur()", "one.checked = true", "one.focus()"):
        box.evaluate(f"one => {{ {change} }}")
        shots.append(row.screenshot())
    return shots


def _around(page, element):
    """The element with what is drawn round it."""
    box = element.bounding_box()
    clip = {"x": box["x"] - 8, "y": box["y"] - 8, "width": box["width"] + 16, "height": box["height"] + 16}
    return page.screenshot(clip={**clip, "x": max(clip["x"], 0), "y": max(clip["y"], 0)})


# The controls whose like was not weighed yet, marked with numbers. Alike are those of one element, class and type, in
# parents of the same, which is all that the style sheet goes by.
FRESH = """known => {
  const name = one => [one.localName, ...one.classList].join('.') + (one.type ? '=' + one.type : '');
  const fresh = [];
  const look = (one, kind) => {
    if (!one.checkVisibility()) return;
    const path = [];
    for (let up = one; up && !up.matches('main'); up = up.parentElement) path.unshift(name(up));
    const input = kind === 'row' ? one.querySelector('input') : null;
    const sign = path.join(' > ') + (input ? ' > ' + name(input) : '');
    if (known.includes(sign) || fresh.some(([it]) => it === sign)) return;
    one.dataset.look = fresh.length;
    fresh.push([sign, kind]);
  };
  document.querySelectorAll('form[data-answer] :is(.row, .letters label, .sureness label)')
    .forEach(one => look(one, 'row'));
  document.querySelectorAll('main :is(button, select, input[type=text], textarea, summary, a[href])')
    .forEach(one => look(one, 'other'));
  return fresh;
}"""


def test_shapes_and_pictures_keep_their_meaning(made, chromium):
    """The five outcomes differ from one another by shape, and pictures stand off from what is behind them."""
    pages, looked = {**drill(made), "bench": BENCH, "expectation": "/expectation"}, 0
    for scheme, colours in LOOKS:
        page, shapes = _looking(chromium, made, scheme, colours), {}
        for address in ("/log", "/log?page=2", "/log?page=3"):
            page.goto(address)
            for row in page.locator(".log-head .how").all():
                outcome = row.inner_text().strip().split(",")[0]
                if outcome not in shapes:
                    shapes[outcome] = row.locator(".shape").screenshot()
        assert set(shapes) == {"full", "part", "miss", "pass", "void"}
        for one in shapes:
            assert page.scale.inked(shapes[one]) > 20, one
            for other in shapes:
                assert one >= other or page.scale.differing(shapes[one], shapes[other]) > 20, (one, other)
        for name, address in list(pages.items()):
            page.goto(address)
            pictures = page.locator("svg.pic:visible").all()
            if not pictures:
                del pages[name]
            for picture in pictures:
                assert page.scale.inked(picture.screenshot()) > 1500, (name, scheme, colours)
                looked += 1

    assert looked > 6 * len(LOOKS)
    assert "expectation" in pages


def _looking(chromium, made, scheme, colours):
    """A pilot's page in a look of its own from the start: a canvas whose colours change is not all painted again."""
    page = visitor(
        chromium, made, PILOT, color_scheme=scheme, forced_colors=colours, viewport={"width": 360, "height": 800}
    )
    page.scale = Scale(page.context.new_page())
    page.bring_to_front()
    return page


class Scale:
    """Weighs two pictures of a screen against one another, pixel by pixel, by the contrast of WCAG 2.2."""

    def __init__(self, page) -> None:
        self.page = page
        page.goto("about:blank")

    def differing(self, one: bytes, other: bytes) -> int:
        """How many pixels differ by 3 to 1 or more."""
        return self.page.evaluate(DIFFERING, [_address(one), _address(other)])

    def inked(self, one: bytes) -> int:
        """How many pixels stand off by 3 to 1 or more from that of the upper left corner."""
        return self.page.evaluate(DIFFERING, [_address(one), None])


def _address(png: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(png).decode()


DIFFERING = """async ([one, other]) => {
  const read = async address => {
    const image = await createImageBitmap(await (await fetch(address)).blob());
    const canvas = new OffscreenCanvas(image.width, image.height).getContext('2d');
    canvas.drawImage(image, 0, 0);
    return canvas.getImageData(0, 0, image.width, image.height);
  };
  const a = await read(one), b = other && await read(other);
  const part = c => { c /= 255; return c <= .04045 ? c / 12.92 : ((c + .055) / 1.055) ** 2.4; };
  const light = (d, i) => .2126 * part(d[i]) + .7152 * part(d[i + 1]) + .0722 * part(d[i + 2]);
  let found = 0;
  for (let y = 0; y < a.height; y++) for (let x = 0; x < a.width; x++) {
    const i = 4 * (y * a.width + x);
    if (b && (x >= b.width || y >= b.height)) continue;
    const p = light(a.data, i), q = b ? light(b.data, 4 * (y * b.width + x)) : light(a.data, 0);
    if ((Math.max(p, q) + .05) / (Math.min(p, q) + .05) >= 3) found += 1;
  }
  return found;
}"""

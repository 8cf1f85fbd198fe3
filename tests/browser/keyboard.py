"""A person with a keyboard and no mouse, who at each step sees where they are and hears what it is called."""

from __future__ import annotations

from typing import Any

# Of the focused element, or of the row around it that draws its ring: width and contrast of the ring.
RING = """() => {
  const rgb = text => text.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => {
    const [x, y, z] = [r, g, b].map(c => { c /= 255; return c <= .04045 ? c / 12.92 : ((c + .055) / 1.055) ** 2.4; });
    return .2126 * x + .7152 * y + .0722 * z;
  };
  const behind = one => {
    for (; one; one = one.parentElement) {
      const c = rgb(getComputedStyle(one).backgroundColor);
      if (c.length < 4 || c[3] === 1) return c;
    }
    return [255, 255, 255];
  };
  const one = document.activeElement;
  const both = [one, one.closest('.row, .letters label')];
  const drawn = both.find(it => it && getComputedStyle(it).outlineStyle !== 'none');
  if (!drawn) return [0, 0];
  const [a, b] = [light(rgb(getComputedStyle(drawn).outlineColor)), light(behind(drawn.parentElement))];
  return [parseFloat(getComputedStyle(drawn).outlineWidth), (Math.max(a, b) + .05) / (Math.min(a, b) + .05)];
}"""

# Whether the focus went on in the order in which the page is read: in the document and, in one column, on the screen.
# What stays at the lower edge of the screen has its place in the document only.
ONWARD = """() => {
  const [before, now] = [window.focusBefore, document.activeElement];
  if (!before || !before.isConnected || before === document.body || now === document.body) return '';
  if (before === now) return 'within'; // a date has a stop for its day, its month and its year
  if (now.matches('.skip')) return 'round';
  if (!(before.compareDocumentPosition(now) & Node.DOCUMENT_POSITION_FOLLOWING)) return 'back in the document';
  if ([before, now].some(one => one.closest('.next, #status, .skip'))) return '';
  const [a, b] = [before.getBoundingClientRect(), now.getBoundingClientRect()];
  return b.bottom > a.top + 1 ? '' : 'up on the screen';
}"""

# All that is asked after a press, in one go: the order, whether nothing has the focus, what it is, and its ring.
STEP = f"""() => {{
  const one = document.activeElement;
  return [({ONWARD})(), one === document.body, one.outerHTML.slice(0, 120), ...({RING})()];
}}"""


class Keys:
    """Presses keys and checks, after each, the name of what has the focus, its ring and the order."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.cdp = page.context.new_cdp_session(page)
        self.cdp.send("Accessibility.enable")
        self.names: list[str] = []

    def node(self, script: str) -> dict[str, Any]:
        """What the accessibility tree holds of an element: its role, name, description, and an id that stays."""
        found = self.cdp.send("Runtime.evaluate", {"expression": script})["result"]
        tree = self.cdp.send("Accessibility.getPartialAXTree", {"objectId": found["objectId"], "fetchRelatives": False})
        node = tree["nodes"][0]
        if node["ignored"]:
            return {"role": "", "name": "", "description": "", "id": node.get("backendDOMNodeId")}
        says = {key: node.get(key, {}).get("value", "") for key in ("role", "name", "description")}
        return {**says, "id": node["backendDOMNodeId"]}

    def focused(self) -> dict[str, Any]:
        """The same of what has the focus."""
        return self.node("document.activeElement")

    def tab(self, *, back: bool = False) -> bool:
        """Press Tab once; whether something on the page has the focus then."""
        self.page.evaluate("void (window.focusBefore = document.activeElement)")
        self.page.keyboard.press("Shift+Tab" if back else "Tab")
        wrong, nothing, told, width, contrast = self.page.evaluate(STEP)
        if wrong == "within":
            return True
        if wrong == "round" or nothing:
            return False
        node = self.focused()
        assert node["name"].strip(), f"no name: {told}"
        assert node["role"] not in ("", "generic", "none"), f"no role: {told}"
        assert back or not wrong, f"{wrong}: {told} after {self.names[-1:]}"
        assert width >= 2 and contrast >= 3, f"the focus is not seen: {told}, {width} px, {contrast:.1f} to 1"
        self.names.append(node["name"])
        return True

    def to(self, selector: str, *, back: bool = False) -> dict[str, Any]:
        """Press Tab until that element, or one of its group of radio buttons, has the focus."""
        for _ in range(120):
            if self.page.evaluate("selector => document.activeElement.matches(selector)", selector):
                return self.focused()
            self.tab(back=back)
        raise AssertionError(f"the keyboard does not reach {selector}; it was at {self.names[-8:]}")

    def press(self, selector: str, key: str = "Enter") -> None:
        """Go there and press a key."""
        self.to(selector)
        self.page.keyboard.press(key)

    def write(self, selector: str, words: str) -> None:
        """Go to a field and type instead of what stands in it."""
        self.to(selector)
        self.page.keyboard.press("ControlOrMeta+a")
        self.page.keyboard.type(words)

    def choose(self, selector: str, value: str) -> None:
        """Go to a group of radio buttons or a list and move by arrows to a value."""
        self.to(selector)
        if self.page.evaluate("document.activeElement.type === 'radio'"):
            self.page.keyboard.press("Space")
        for _ in range(30):
            if self.page.evaluate("value => document.activeElement.value === value", value):
                return
            self.page.keyboard.press("ArrowDown")
        raise AssertionError(f"arrows do not reach {value}")

    def at_heading(self, words: str = "") -> None:
        """After a screen has changed, the focus is on its heading, which a screen reader then says."""
        node = self.focused()
        assert node["role"] == "heading", node
        assert words in node["name"], node
        assert not self.page.evaluate("document.activeElement.getBoundingClientRect().top < 0"), "scrolled away"

    def fill(self, filled: dict[str, Any]) -> None:
        """Fill in the fields of an item in the order of the page."""
        order = self.page.evaluate("[...document.querySelectorAll('form[data-answer] [name]')].map(one => one.name)")
        for name in sorted(filled, key=lambda one: order.index(one) if one in order else 999):
            value = filled[name]
            if name in ("options", "points"):
                listed = self.page.evaluate("name => [...document.getElementsByName(name)].map(one => one.value)", name)
                for one in sorted(value, key=listed.index):
                    self.press(f"input[name={name}][value='{one}']", "Space")
            elif name == "text" or name.startswith("reading-"):
                self.write(f"[name='{name}']", value)
            elif name.startswith(("place-", "after-")):
                self.choose(f"select[name='{name}']", value)
            elif name != "spoken":
                self.choose(f"input[name='{name}']", value)

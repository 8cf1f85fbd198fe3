"""axe on a screen as it stands, in light and dark and at the widths of a phone and a desk."""

from __future__ import annotations

import json
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT

# All rules of WCAG 2.2 AA that a program can check, and beyond them: one h1, headings in order, one main, everything
# within a landmark.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
# Those that depend on colours: dark changes nothing else, which `test_dark_changes_colours_only` holds fast.
COLOURS = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}
PHONE, DESK = 360, 1280


def look(page: Any, name: str, found: list[Any], *, widths: tuple[int, ...] = (PHONE, DESK)) -> None:
    """Run axe in each look; what it finds is added to `found`."""
    page.wait_for_load_state()
    if page.evaluate("!window.axe"):
        page.evaluate(AXE_SCRIPT)
    before = page.viewport_size
    for width in widths:
        page.set_viewport_size({"width": width, "height": 800})
        for scheme, rules, least in (("dark", COLOURS, 1), ("light", TAGS, 6)):
            page.emulate_media(color_scheme=scheme)
            options = json.dumps({"runOnly": rules, "resultTypes": ["violations"], "elementRef": False})
            passed, violations = page.evaluate(f"axe.run({options}).then(r => [r.passes.length, r.violations])")
            assert passed >= least, f"axe has not looked at {name}, {scheme}, {width}: {passed} rules passed"
            found.extend(
                (name, scheme, width, one["id"], [node["html"][:120] for node in one["nodes"]]) for one in violations
            )
    page.set_viewport_size(before)

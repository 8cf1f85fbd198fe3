"""The files that browsers fetch: small, own, and without words of a script in a page."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import quizsvc.web

STATIC = Path(quizsvc.web.__file__).parent / "static"


def test_all_scripts_together_stay_small():
    """At most 25 KB on a poor line, unminified: what the service allows itself for all ten kinds and the bench."""
    assert sum(file.stat().st_size for file in STATIC.glob("*.js")) <= 25_000


def test_nothing_is_fetched_from_elsewhere():
    """No address with a host in any file but the icon's namespace."""
    for file in STATIC.iterdir():
        addresses = re.findall(r"(?:https?:)?//[A-Za-z0-9.-]+\.[a-z]+[^\s\"']*", file.read_text(encoding="utf-8"))

        assert [one for one in addresses if "www.w3.org/2000/svg" not in one] == [], file.name


def test_the_icon_is_a_picture():
    """Well-formed SVG."""
    assert ElementTree.parse(STATIC / "icon.svg").getroot().tag == "{http://www.w3.org/2000/svg}svg"


def test_colour_is_never_the_only_signal_of_an_outcome():
    """No rule of the style sheet gives an outcome a colour, and no colour has the hue of a traffic light.

    The amber and red of an instrument are the trade's own; nothing but its picture may use them.
    """
    css = (STATIC / "quizsvc.css").read_text(encoding="utf-8")
    used = [line for line in css.splitlines() if re.search(r"var\(--(?:amber|red)\)", line)]
    css = re.sub(r"--(?:amber|red): #[0-9a-f]{6};", "", css)

    assert used and all(line.startswith((".pic-amber", ".pic-red")) for line in used)
    for red, green, blue in re.findall(r"#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})\b", css):
        r, g, b = int(red, 16), int(green, 16), int(blue, 16)
        grey = max(r, g, b) - min(r, g, b) <= 24
        assert grey or b == max(r, g, b), f"#{red}{green}{blue}"
    for word in ("full", "part", "miss", "pass", "void"):
        assert f".{word}" not in css

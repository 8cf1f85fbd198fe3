"""The files that browsers fetch: small, own, and without words of a script in a page."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import quizsvc.web

STATIC = Path(quizsvc.web.__file__).parent / "static"


def test_all_scripts_together_stay_small():
    """Under 15 KB on a poor line, unminified."""
    assert sum(file.stat().st_size for file in STATIC.glob("*.js")) < 15_000


def test_nothing_is_fetched_from_elsewhere():
    """No address with a host in any file but the icon's namespace."""
    for file in STATIC.iterdir():
        addresses = re.findall(r"(?:https?:)?//[A-Za-z0-9.-]+\.[a-z]+[^\s\"']*", file.read_text(encoding="utf-8"))

        assert [one for one in addresses if "www.w3.org/2000/svg" not in one] == [], file.name


def test_the_icon_is_a_picture():
    """Well-formed SVG."""
    assert ElementTree.parse(STATIC / "icon.svg").getroot().tag == "{http://www.w3.org/2000/svg}svg"


def test_colour_is_never_the_only_signal_of_an_outcome():
    """No rule of the style sheet gives an outcome a colour, and no colour has the hue of a traffic light."""
    css = (STATIC / "quizsvc.css").read_text(encoding="utf-8")

    for red, green, blue in re.findall(r"#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})\b", css):
        r, g, b = int(red, 16), int(green, 16), int(blue, 16)
        grey = max(r, g, b) - min(r, g, b) <= 24
        assert grey or b == max(r, g, b), f"#{red}{green}{blue}"
    for word in ("full", "part", "miss", "pass", "void"):
        assert f".{word}" not in css

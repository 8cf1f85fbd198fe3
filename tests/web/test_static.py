"""The files that browsers fetch: small, own, and without words of a script in a page."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

from sqlalchemy import select

import quizsvc.web
from quizsvc.bank.kinds import KINDS
from quizsvc.store.tables import Question
from quizsvc.web.app import create_app
from quizsvc.web.assets import FIRST_MODULES
from tests.web.pages import Visitor

STATIC = Path(quizsvc.web.__file__).parent / "static"


# What the first drill page brings in, the worker and what it keeps ready among it; the screen on the device has its own
# modules, and so have the fault bench and the preview.
FIRST_PAGE = ("main", "drill", "form", "kept", "send", "installed", "store", "outbox", "fill", "sw")
ON_DEVICE = ("device", "live", "device-home", "device-set", "feedback", "table", "grade")
OTHERS = ("bench", "preview", "sign-out")
HOMEWORK = ("homework",)
HOMEWORK_MORE = ("homework-list", "homework-time")
DESK = ("bank-desk",)


def scripts(client, names):
    """The scripts as they go out, by name."""
    addresses = {name: "/sw.js" if name == "sw" else f"/static/{name}.js" for name in names}
    return {name: client.get(address, buffered=True).data for name, address in addresses.items()}


def test_every_script_belongs_to_a_screen():
    """A new one counts somewhere."""
    screens = (FIRST_PAGE, ON_DEVICE, OTHERS, HOMEWORK, HOMEWORK_MORE, DESK)
    assert {file.stem for file in STATIC.glob("*.js")} == {name for screen in screens for name in screen}


def test_scripts_of_the_first_drill_page_stay_small(visitor):
    """At most 25,000 bytes as a browser gets them, before compression, everything that loads after it included."""
    sizes = {name: len(script) for name, script in scripts(visitor.client, FIRST_PAGE).items()}

    assert sum(sizes.values()) <= 25_000, sizes


def test_scripts_of_the_device_stay_small(visitor):
    """The drill without signal, grading and all: 40,000 bytes more; the others 7,000, homework 8,000, with its
    list and a Sitting's clock 2,500 more, desk 2,000.
    """
    assert sum(map(len, scripts(visitor.client, ON_DEVICE).values())) <= 40_000
    assert sum(map(len, scripts(visitor.client, OTHERS).values())) <= 7_000
    assert sum(map(len, scripts(visitor.client, HOMEWORK).values())) <= 8_000
    assert sum(map(len, scripts(visitor.client, HOMEWORK_MORE).values())) <= 2_500
    assert sum(map(len, scripts(visitor.client, DESK).values())) <= 2_000


def imported(name, pattern):
    """What a script brings in, followed through."""
    found, waiting = set(), [name]
    while waiting:
        one = waiting.pop()
        if one not in found:
            found.add(one)
            waiting += re.findall(pattern, (STATIC / f"{one}.js").read_text("utf-8"), re.MULTILINE)
    return found - {name}


def test_the_imports_of_the_first_page_are_those_counted():
    """Before a tap counts those that the page names beside main.js; with what comes after, those counted above."""
    first = imported("main", r'^import .* from "\./(.+)\.js";$')
    every = imported("main", r'(?:from |import\()"\./(.+?)\.js"')

    assert {f"{name}.js" for name in first} == set(FIRST_MODULES)
    # Homework comes in where somebody signs out while a draft of it waits.
    assert {"main", *every} == (set(FIRST_PAGE) | set(OTHERS) | set(HOMEWORK) | {"live", "homework-time"}) - {"sw"}


def test_the_first_drill_page_weighs_at_most_60_kb(settings, kinds_db, clock, chance):
    """Page, style, icon, manifest and scripts, gzipped, with any of the ten kinds as the first item."""
    one = Visitor(create_app(settings, clock=clock, db=kinds_db, rng=chance).test_client())
    one.start(60, long=True)
    packed = {"Accept-Encoding": "gzip"}
    with kinds_db.reading() as session:
        asked = session.execute(select(Question.id, Question.kind)).all()
    sizes = {kind: len(one.client.get(f"/questions/{question}", headers=packed).data) for question, kind in asked}
    files = ["/static/quizsvc.css", "/static/icon.svg", "/manifest.webmanifest", "/sw.js"]
    files += [f"/static/{name}.js" for name in FIRST_PAGE if name != "sw"]
    around = sum(len(one.client.get(address, headers=packed, buffered=True).data) for address in files)

    assert set(sizes) == set(KINDS) - {"scenario"}
    assert around + max(sizes.values()) <= 60_000, (around, sizes)


def test_nothing_is_fetched_from_elsewhere():
    """No address with a host in any file but the icon's namespace."""
    for file in STATIC.iterdir():
        if file.suffix == ".png":
            continue
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


def test_dark_changes_colours_only():
    """So what does not depend on colours needs no second look in dark (`tests/browser/axe.py`)."""
    css = "".join(file.read_text(encoding="utf-8") for file in STATIC.glob("*.css"))
    (dark,) = re.findall(r"@media \(prefers-color-scheme: dark\) \{(.*?)\n\}", css, re.DOTALL)

    assert css.count("prefers-color-scheme") == 1
    assert re.fullmatch(r"\s*:root \{(?:\s*--[a-z-]+: #[0-9a-f]{6};)+\s*\}", dark)
    coloured = r"(?:color|fill|stroke|border[a-z-]*|outline|background|shadow):[^;]*var\({}\)"
    for name in re.findall(r"--[a-z-]+", dark):
        uses = [line for line in css.splitlines() if f"var({name})" in line]
        assert [line for line in uses if not re.search(coloured.format(name), line)] == []
    for script in STATIC.glob("*.js"):
        assert "prefers-color-scheme" not in script.read_text(encoding="utf-8"), script.name

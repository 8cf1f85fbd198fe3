"""The kinds that ask an aircraft, on a second invented one: other buses, switches, limits, and no change in Python.

Keys are read off `tests/aircraft/second.yaml` by hand.
"""

import random
from pathlib import Path

import pytest

from quizsvc.bank.check import BankText, check_bank
from quizsvc.bank.grade import grade, read_response, worked
from quizsvc.bank.question import compile_item, issue, present
from quizsvc.pictures import describe, draw
from tests.bank.bank_texts import CAUTIONS

AIRCRAFT = (Path(__file__).parents[2] / "aircraft" / "second.yaml").read_text(encoding="utf-8")
CONCEPTS = """\
- concept: V-BUS
  title: What hangs on the main bus
  system: 24 power
  handbook: 24-10
  what: predict
  consequence: 3
- concept: V-GAUGE
  title: Reading the gauge
  system: 21 cabin
  handbook: 24-10
  what: recall
  consequence: 1
"""
ITEMS = """\
- item: main-bar-fails
  kind: still-works
  concept: V-BUS
  demand: application
  handbook: 24-10
  stem: The main bus bar fails. SENSE A, RESERVE ARM, MODE SELF. What is left?
  fail: [BAR]
  switches: {SENSE: A, RESERVE: ARM, MODE: SELF}
  rows: [SELF, HORN, DROP, VENT]
  key: {SELF: after SENSE B, HORN: works, DROP: lost, VENT: works}
  why: The standby bus lives on the reserve.
  author: first author
  status: draft
- item: any-of-its-failures
  kind: still-works
  concept: V-BUS
  demand: application
  handbook: 24-10
  draw: {failure: {one-of: failures}}
  stem: "Then {failure}. What is left?"
  fail: failure
  rows: [SELF, VENT, FLOATS, LEVER]
  why: "{failure_consequence}"
  author: first author
  status: draft
- item: gauge-at-the-relief
  kind: gauge
  concept: V-GAUGE
  demand: application
  handbook: 24-10
  draw: {level: {from: 20000 ft, to: 27000 ft, step: 1000 ft}}
  stem: Level at {level}. Read both pointers.
  picture: {gauge: {cabin: "cabin_altitude(level, relief_crack_diff)", differential: relief_crack_diff}}
  readings: {cabin: {within: 100 ft}, differential: {within: 0.1 psi}}
  ask:
    stem: What holds the cabin?
    options:
      - {id: relief, text: the relief heads, key: true}
      - {id: limit, text: the controller, belief: every high differential is the limit}
  why: "{relief_crack_diff:psi:1} is where the heads crack."
  author: first author
  status: draft
- item: to-the-high-field
  kind: profile
  concept: V-GAUGE
  demand: correlation
  handbook: 24-10
  stem: Brackmoor Sands to Upper Thessen. Which plot?
  flight:
    from: 40 ft
    to: 8630 ft
    cruise: 25000 ft
    climb: 1000 fpm
    cruise-until: 60 min
    descent: [{rate: 1500 fpm}]
  plots:
    - {id: waits, key: true}
    - {id: at-once, belief: starts when the descent is sensed, change: {gate: none}}
    - {id: in-cruise, belief: climbs in cruise, change: {regime: target-in-cruise}}
  why: It waits for the gate.
  author: first author
  status: draft
"""


def texts():
    """The files of its bank."""
    return [
        BankText("vessandry-44/aircraft.yaml", "vessandry-44", AIRCRAFT),
        BankText("vessandry-44/concepts.yaml", "vessandry-44", CONCEPTS),
        BankText("vessandry-44/items.yaml", "vessandry-44", ITEMS),
        BankText("vessandry-44/handbook/24.md", "vessandry-44", "# Power\n\n## 24-10 Buses\n\nTwo.\n"),
        BankText("cautions.yaml", "", CAUTIONS),
    ]


@pytest.fixture(scope="module")
def items():
    """The compiled items by id."""
    checked = check_bank(texts(), rng=random.Random(44))
    assert checked.faults == []
    return {item.id: compile_item(item.body, checked.aircraft["vessandry-44"]) for item in checked.items}


def test_rows_of_its_own_graph(items):
    """The hand-written key agrees; grave rows because the concept can hurt; its own switch words."""
    question = issue(items["main-bar-fails"], random.Random(1))
    shown = present(items["main-bar-fails"], question.drawn, question.order)
    answers = {"SELF": "after SENSE B", "HORN": "works", "DROP": "lost", "VENT": "works"}

    assert "works after SENSE to B" in [choice.text for choice in shown.choices]
    assert grade(question.record, read_response(question.record, {"rows": answers})).outcome == "full"
    swapped = read_response(question.record, {"rows": answers | {"DROP": "works"}})
    assert grade(question.record, swapped).credit == 0.5


def test_every_failure_of_its_list(items):
    """A to C with their switches: the vent comes back with the reserve armed, or works."""
    keys = {}
    for seed in range(30):
        question = issue(items["any-of-its-failures"], random.Random(seed))
        rows = {row["id"]: row["keys"] for row in question.record["rows"]}
        keys[question.drawn["failure_id"]["shown"]] = rows

    assert keys == {
        "A": {"SELF": ["works"], "VENT": ["works"], "FLOATS": ["works"], "LEVER": ["works"]},
        "B": {"SELF": ["after SENSE B"], "VENT": ["works"], "FLOATS": ["lost"], "LEVER": ["works"]},
        "C": {"SELF": ["lost"], "VENT": ["after RESERVE ARM"], "FLOATS": ["lost"], "LEVER": ["works"]},
    }


def test_gauge_with_its_own_scale(items):
    """6.4 psi on a dial that ends at 7, amber from 9,500 ft."""
    question = issue(items["gauge-at-the-relief"], random.Random(1))
    shown = present(items["gauge-at-the-relief"], question.drawn, question.order)
    cabin, differential = shown.picture["dials"]

    assert differential["value"] == 6.4
    assert differential["high"] == 7.0
    assert cabin["bands"][0]["from"] == 9.5


def test_plots_of_its_own_flight(items):
    """By hand: 6,711 ft by its schedule until 20,000 ft at minute 63.3, then 500 fpm to 8,600 plus 200."""
    question = issue(items["to-the-high-field"], random.Random(1))
    shown = present(items["to-the-high-field"], question.drawn, question.order)
    plots = {option.id: option.picture["lines"][0]["points"] for option in shown.options}

    assert [cabin for minute, cabin in plots["waits"] if 30 < minute < 63] == pytest.approx([6711.1], abs=1)
    assert max(cabin for minute, cabin in plots["waits"]) == pytest.approx(8800, abs=1)
    assert max(cabin for minute, cabin in plots["in-cruise"] if minute < 60) > 8000


@pytest.mark.parametrize("item", ["main-bar-fails", "any-of-its-failures", "gauge-at-the-relief", "to-the-high-field"])
def test_its_pictures_can_be_drawn(items, item):
    """Each description is one that the pictures know."""
    for seed in range(6):
        question = issue(items[item], random.Random(seed))
        shown = present(items[item], question.drawn, question.order)
        plots = [option.picture for option in shown.options]
        for picture in filter(None, (shown.picture, *plots, *worked(question.record).pictures)):
            assert "<svg" in draw(picture)
            assert describe(picture)

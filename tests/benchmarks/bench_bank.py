"""`bank check` over 100 and 1,000 items: seconds and growth; and what one question costs."""

from __future__ import annotations

import random
import timeit

from quizsvc.bank.check import BankText, check_bank
from quizsvc.bank.formula import compile_formula
from quizsvc.bank.functions import library
from quizsvc.bank.grade import grade, read_response
from quizsvc.bank.question import compile_item, issue
from tests.bank.bank_texts import number_text, texts
from tests.benchmarks import Row, best_seconds

# Of three items one is a number with two traps, as in the shipped bank; every number is drawn 200 times.
NUMBER = """
stem: Level {level}, differential {diff}. Cabin altitude?
draw:
  level: {from: FL180, to: FL390, step: 1000 ft}
  diff: {from: 3.0 psi, to: 8.7 psi, step: 0.1 psi}
let: {ambient: isa_pressure(level)}
refuse: ["cabin_altitude(level, diff) < 0*ft", "cabin_altitude(level, diff) > 12000*ft"]
answer: cabin_altitude(level, diff)
unit: ft
within: 150 ft
round: nearest 100 ft
traps:
  - {id: from-sea-level, value: isa_altitude(isa_pressure(0*ft) - diff), belief: took it off sea-level pressure}
  - {id: schedule, value: schedule(level), belief: read the schedule}
"""
CHOICE = """\
- item: choice-{number}
  kind: {kind}
  concept: P-LDG
  demand: application
  handbook: 21-10
  stem: Cruise FL310, AUTO, LDG 10,650. A slow leak lets the cabin climb. When does CABIN ALT sound?
  options:
    - {{id: ten, text: "10,000 ft cabin", key: true}}
    - {{id: shifted, text: "13,400 ft cabin", belief: the high setting alone moves the warning}}
    - {{id: target, text: "10,950 ft cabin", belief: takes the landing target for a threshold}}
    - {{id: never, text: not before the masks, belief: a high-field regime has no warning}}
  why: The warning moves only with LDG above 7,200 ft and the aircraft below FL230.
  author: first author
  status: draft
"""


def _bank(items: int) -> list[BankText]:
    blocks = [
        number_text(NUMBER, f"number-{number}")
        if number % 3 == 0
        else CHOICE.format(number=number, kind="one" if number % 3 == 1 else "some")
        for number in range(items)
    ]
    return texts("".join(blocks))


def _check(bank: list[BankText], items: int) -> None:
    checked = check_bank(bank, rng=random.Random(1))
    assert not checked.faults and len(checked.items) == items


def run() -> list[Row]:
    """Both sizes in one run; growth is seconds an item at 1,000 over seconds an item at 100."""
    small, large, empty = _bank(100), _bank(1000), _bank(0)
    _check(small, 100)  # loads pint
    base = best_seconds(lambda: _check(empty, 0), repeats=3)
    few = best_seconds(lambda: _check(small, 100), repeats=3)
    many = best_seconds(lambda: _check(large, 1000), repeats=2)
    growth = ((many - base) / 1000) / ((few - base) / 100)

    checked = check_bank(small, rng=random.Random(1))
    body = next(item.body for item in checked.items if item.kind == "number")
    aircraft = checked.aircraft["tolquenny-19"]
    item, rng = compile_item(body, aircraft), random.Random(1)
    record = issue(item, rng).record
    formula = compile_formula("a + 27.3*ft/hPa*(1013.25*hPa - b)", library(None), ("a", "b"))
    names = {"a": 100.0, "b": 99600.0}
    code = compile("a + 27.3*ft/hPa*(1013.25*hPa - b)", "formula", "eval")
    python_names = {**names, "ft": 0.3048, "hPa": 100.0}
    ours, python = _once(lambda: formula(names)), _once(lambda: eval(code, {}, python_names))  # noqa: S307
    return [
        Row("bank: check, aircraft file alone", base, "s"),
        Row("bank: check of 100 items", few, "s"),
        Row("bank: check of 1,000 items, growth an item", many, "s", growth, "at most 1.5"),
        Row("bank: compile one number item", _once(lambda: compile_item(body, aircraft), 200) * 1e6, "us"),
        Row("bank: draw one question", _once(lambda: issue(item, rng), 500) * 1e6, "us"),
        Row(
            "bank: read and grade one answer",
            _once(lambda: grade(record, read_response(record, {"text": "5,500 ft"})), 2000) * 1e6,
            "us",
        ),
        Row("bank: one formula, against Python's eval of it", ours * 1e6, "us", ours / python, "at most 10"),
    ]


def _once(call: object, number: int = 20_000) -> float:
    return min(timeit.repeat(call, number=number, repeat=5)) / number

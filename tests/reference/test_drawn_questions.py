"""Ten thousand drawn questions over all number items of the bank: no key that is wrong, no draw that may not be asked.

Every key is recomputed outside the service by `recomputed.py`, from the values as a person reads them. A key is wrong
where it is off by more than a hundredth of the item's own tolerance, or by a millionth where the tolerance is `exact`.
"""

from __future__ import annotations

import inspect
import math
import random

import numpy as np
import pytest

from quizsvc.bank.check import check_bank
from quizsvc.bank.grade import grade, read_response
from quizsvc.bank.question import compile_item, issue
from quizsvc.physics.units import UNITS, from_si
from quizsvc.services.bank_files import read_folder
from tests.bank.bank_texts import SHIPPED
from tests.reference.recomputed import KEYS, PARTS, feet, psi, read_shown

QUESTIONS = 10_000


@pytest.fixture(scope="module")
def bank():
    """The shipped bank."""
    return check_bank(read_folder(SHIPPED), rng=random.Random(3))


@pytest.fixture(scope="module")
def questions(bank):
    """10,000 questions and a few, evenly over the number items and parts; each with its drawn values and record."""
    items = [item for item in bank.items if _number_parts(item)]
    each = math.ceil(QUESTIONS / sum(len(_number_parts(item)) for item in items))
    rng = random.Random(20261125)
    found = {name: [] for item in items for name in _number_parts(item)}
    for item in items:
        compiled = compile_item(item.body, bank.aircraft.get(item.folder))
        for question in (issue(compiled, rng) for _ in range(each)):
            parts = {f"{item.id}/{part['part']}": part["record"] for part in question.record.get("parts", ())}
            for name in _number_parts(item):
                found[name].append((question.drawn, parts.get(name, question.record)))
    return found


def _number_parts(item):
    """The item's own id where it is a number, the names of its parts that are."""
    if item.kind == "number":
        return [item.id]
    return [f"{item.id}/{part['part']}" for part in item.body.get("parts", ()) if part["kind"] == "number"]


def test_every_number_item_is_recomputed(questions):
    """A number without a recomputation of its own would go unchecked: write it in recomputed.py."""
    assert set(questions) == set(KEYS) | set(PARTS)


def _recomputed(item, drawn_values):
    work = (KEYS | PARTS)[item]
    columns = {name: [] for name in inspect.signature(work).parameters}
    for drawn in drawn_values:
        for name, column in columns.items():
            column.append(read_shown(drawn[name]["shown"]))
    keys = work(**{name: np.array(column) for name, column in columns.items()})
    return np.broadcast_to(np.asarray(keys, float), (len(drawn_values),))


def test_no_key_of_ten_thousand_is_wrong(questions):
    """0 wrong keys."""
    wrong, count = [], 0
    for item, drawn in questions.items():
        for (values, record), expected in zip(drawn, _recomputed(item, [values for values, _ in drawn]), strict=True):
            count += 1
            key = from_si(record["key"], record["unit"])
            within = record["within"] / UNITS[record["unit"]].factor
            if not abs(key - expected) <= max(0.01 * within, 1e-6 * max(1.0, abs(expected))):
                wrong.append((item, {name: entry["shown"] for name, entry in values.items()}, key, expected))

    assert count >= QUESTIONS
    assert wrong == []


def test_the_recomputed_key_is_graded_full(questions):
    """Typed with the digits that the solution shows, it is a full answer: reading, units and rounding in the way."""
    for item, drawn in questions.items():
        some = drawn[:40]
        for (_, record), expected in zip(some, _recomputed(item, [values for values, _ in some]), strict=True):
            typed = f"{expected:.{max(record['decimals'], 0)}f}"
            graded = grade(record, read_response(record, {"text": typed}))

            assert graded.outcome == "full", (item, typed, record["key"])


def test_no_draw_has_a_trap_that_cannot_be_told_from_the_key(questions):
    """Each trap lies more than two tolerances off and rounds to another number (rules common to all families)."""
    traps = 0
    for item, drawn in questions.items():
        for values, record in drawn:
            for trap in record["traps"]:
                traps += 1
                assert abs(trap["value"] - record["key"]) > 2 * record["within"], (item, trap["id"], values)
                if record["rounded"] is not None:
                    assert trap["rounded"] != record["rounded"], (item, trap["id"], values)
    assert traps > QUESTIONS


def test_draws_are_not_a_handful(questions):
    """Most items show many different numbers; none shows one or two all the time."""
    shown = {
        item: len({tuple(entry["shown"] for entry in values.values()) for values, _ in drawn})
        for item, drawn in questions.items()
    }

    assert min(shown.values()) >= 5
    assert sum(count > 50 for count in shown.values()) > 0.6 * len(shown)


def test_the_recomputation_reads_what_is_shown():
    """The reader of shown texts and the way back through the atmosphere, by hand."""
    assert [read_shown(text) for text in ("FL330", "1,200 psi", "-10 C", "80 %", "2", "-168 ft", "0.50 psi/min")] == [
        33_000, 1200, -10, 0.8, 2, -168, 0.5,
    ]  # fmt: skip
    levels = np.array([-1000.0, 0.0, 18_000.0, 36_089.0, 45_000.0])
    assert feet(psi(levels)) == pytest.approx(levels, abs=0.15)

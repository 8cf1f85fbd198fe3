"""People in a bank of our shape: what carries over, what is guessed, which days they keep; each by hand."""

from __future__ import annotations

import numpy as np
import pytest

from quizsvc.memory.simulation.bank_shape import (
    ITEMS_EACH,
    BankShape,
    columns,
    free_days,
    kind_of,
    speeds,
    stays,
)
from quizsvc.memory.simulation.halflife import HalfLife
from quizsvc.memory.simulation.people import crowd
from quizsvc.memory.simulation.policies import Rotation
from quizsvc.memory.simulation.running import run
from quizsvc.memory.simulation.scenario import BANK_CELLS, Cell, cells_named
from quizsvc.memory.simulation.worlds import begun

ONE, RIGHT = np.array([0]), np.array([True])
NUMBER, CHOICE = 0, 1  # the kinds of the first two concepts


def bank(concepts=2):
    """One person; every memory has a half-life of 8 days, one exponential, and a right answer leaves it as it is."""
    shape = (1, columns(concepts))
    return BankShape(HalfLife(np.full(shape, 8.0), np.zeros(shape), np.zeros((1, 1)), ratio=1.0), concepts, 1)


def test_an_item_of_fixed_text_carries_seven_tenths_over():
    """Eight days after one answer: the next item is known as the concept is, .7 of one half; all three .7 + .3 / 3."""
    people = bank()
    assert [kind_of(concept) for concept in range(2)] == ["number", "one"]
    people.answer(ONE, np.array([CHOICE]), 0.0, RIGHT, 60.0)

    assert people.recall_of(ONE, np.array([CHOICE]), 8.0)[0] == pytest.approx(0.7 * 0.5)
    assert people.recall(8.0)[0].tolist() == pytest.approx([0.0, (0.7 + 0.3 / 3) * 0.5])
    for _ in range(ITEMS_EACH):  # round to the first item again
        people.answer(ONE, np.array([CHOICE]), 0.0, RIGHT, 60.0)
    assert people.recall_of(ONE, np.array([CHOICE]), 8.0)[0] == pytest.approx(0.5)


def test_new_numbers_are_known_as_the_concept_is():
    """Whichever item comes: one half after a half-life."""
    people = bank()
    people.answer(ONE, np.array([NUMBER]), 0.0, RIGHT, 60.0)

    assert people.recall_of(ONE, np.array([NUMBER]), 8.0)[0] == pytest.approx(0.5)
    assert people.recall(8.0)[0, NUMBER] == pytest.approx(0.5)


def test_chance_of_a_right_answer():
    """Unknown: one of four options is guessed, a number never. Known for sure: slips of 2 and 8 in a hundred remain."""
    people = bank()
    both, what = np.array([0, 0]), np.array([NUMBER, CHOICE])
    assert people.chance_of(both, what, 0.0).tolist() == [0.0, 0.25]

    for concept in (NUMBER, CHOICE):
        for _ in range(ITEMS_EACH):
            people.answer(ONE, np.array([concept]), 0.0, RIGHT, 60.0)
    assert people.chance_of(both, what, 0.0).tolist() == pytest.approx([0.92, 0.98])


def drawn(people=200, concepts=2):
    """Some people of a small bank."""
    own = [np.random.default_rng([8, number]) for number in range(people)]
    return crowd(own, np.random.default_rng(9), columns(concepts))


def test_habits_differ_and_everybody_is_away_once():
    """Shares from .45 to .95 around .7, less twelve days of ninety: 90 * .7 * 78 / 90 = 54.6 sittings on average."""
    days = free_days(drawn(), 90)
    sittings = days.sum(axis=1)
    longest = [max(len(run) for run in "".join("01"[int(day)] for day in row).split("1")) for row in days]

    # Standard deviation of a person's sittings is about 12: a mean over 200 lies within 3 * 12 / 14 of its own.
    assert sittings.mean() == pytest.approx(54.6, abs=2.6)
    assert sittings.std() > 8
    assert min(longest) >= 12


def test_one_sitting_in_seven_is_cut_off():
    """15 % of 200 * 90, within three standard errors of .0027; the share that is left is even from 0 to 1."""
    share = stays(drawn(), 90)

    assert (share < 1).mean() == pytest.approx(0.15, abs=0.008)
    assert share[share < 1].mean() == pytest.approx(0.5, abs=0.02)


def test_the_fast_answer_more_in_the_same_minutes_and_nobody_goes_beyond_them():
    """Twelve answers at the usual pace; at 1.2 times the usual time ten."""
    people = drawn(6, 24)
    cell = Cell("B", "sparse", days=28, items=24, answers=12, bank=True)
    learners = BankShape(begun("B", "sparse", people), cell.items, len(people))
    found = run(cell, learners, people, Rotation(cell, len(people), np.random.default_rng(1)))

    # Everybody has a sitting that was not cut off.
    assert found.most_a_day.tolist() == np.floor(12 / speeds(people)).tolist()
    assert set(np.unique(found.log.at.astype(int))) <= set(np.flatnonzero(free_days(people, 28).any(axis=0)))
    assert found.most_a_day.min() < 12 < found.most_a_day.max()


def test_cells_of_the_banks_shape_have_to_be_asked_for():
    """As many concepts as the bank had when this was set; a letter alone means the worlds of the study."""
    assert [cell.name for cell in cells_named("bank")] == [f"{world}-sparse-90-bank" for world in "ABC"]
    assert cells_named("B-bank") == BANK_CELLS[1:2]
    assert not any(cell.bank for cell in cells_named("B"))

"""The plain schedules of the study, each by what defines it, counted by hand in a tiny bank."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quizsvc.memory.scoring import gain
from quizsvc.memory.simulation import policies
from quizsvc.memory.simulation.believing import Greedy, Shipped, Threshold
from quizsvc.memory.simulation.people import Crowd, crowd
from quizsvc.memory.simulation.running import run
from quizsvc.memory.simulation.scenario import CELLS, Cell, cells_named
from quizsvc.memory.simulation.worlds import begun
from quizsvc.memory.weights import STARTING

CELL = Cell("B", "sparse", days=28, items=12, answers=4)
SIX_DAYS_OF_SEVEN = np.arange(28) % 7 != 6


def made(schedule, *more, cell=CELL, people=1):
    """A schedule of a class, with its own generator."""
    return schedule(cell, people, np.random.default_rng(4), *more)


def asked(schedule, days, right=lambda item, time: True, places=4):
    """Ask one person on some days; each sitting's items, with outcomes by item and how often it was asked before."""
    times = {}
    sittings = []
    for day in days:
        items = schedule.choose(0, day + 0.5, places).tolist()
        for item in items:
            schedule.heard(0, item, day + 0.5, right(item, times.get(item, 0)))
            times[item] = times.get(item, 0) + 1
        sittings.append(items)
    return sittings


def drawn(people=3, items=12, days=None) -> Crowd:
    """A few people; with `days` their free days are these."""
    found = crowd([np.random.default_rng([5, number]) for number in range(people)], np.random.default_rng(6), items)
    if days is not None:
        found.free[:, : len(days)] = np.where(days, 0.0, 1.0)
    return found


def test_rotation_comes_round_in_the_same_order():
    """Twelve items by four: every third sitting is the same, and one round has every item once."""
    sittings = asked(made(policies.Rotation), range(9))

    assert sittings[:3] == sittings[3:6] == sittings[6:]
    assert sorted(sum(sittings[:3], [])) == list(range(12))


def test_random_asks_nothing_twice_in_a_sitting_and_keeps_no_order():
    """Distinct items within a sitting; over fifty sittings each item comes, but three sittings are seldom one round."""
    sittings = asked(made(policies.Random), range(50))

    assert all(len(set(items)) == 4 for items in sittings)
    assert set(sum(sittings, [])) == set(range(12))
    # By chance three sittings have all twelve once in 495 * 495 / (C(8, 4) * 1) = 3,500 times.
    assert sum(len(set(sum(sittings[place : place + 3], []))) == 12 for place in range(0, 48, 3)) <= 1


def test_blocked_asks_each_item_four_times_in_a_row():
    """Six places: four of one and two of the next, which gets its other two next time."""
    sittings = asked(made(policies.Blocked), range(9), places=6)
    row = sum(sittings, [])

    assert [row[4 * block : 4 * block + 4] == [row[4 * block]] * 4 for block in range(12)] == [True] * 12
    assert sorted(row[:48:4]) == list(range(12))
    assert row[48:] == row[:6]


def test_a_cram_gives_the_same_answers_in_the_last_fortnight():
    """24 sittings of 4 are 96 answers: fourteen days of 6 or 7, and none before."""
    table = made(policies.Cram).timetable(np.array([SIX_DAYS_OF_SEVEN]))

    assert table[0, :14].tolist() == [0] * 14
    assert table[0].sum() == 96
    assert set(table[0, 14:].tolist()) == {6, 7}


def test_generic_comes_back_after_a_week_and_a_month():
    """One place in a bank of sixty: new items day by day, but day 7 belongs to the first one.

    Days 8 to 13 belong to the items of days 1 to 6 and day 14 to the next new one, which was put off.
    """
    schedule = made(policies.Generic, cell=Cell("B", "sparse", days=60, items=60, answers=1))
    row = [items[0] for items in asked(schedule, range(45), places=1)]

    assert len(set(row[:7])) == 7
    assert row[7:14] == row[:7]
    assert row[14:21] == list(dict.fromkeys(row))[7:14]
    # The second visit on day 7 is due again on day 37, as is the first visit of the item that was new on day 30.
    assert {row[0], row[30]} == {row[37], row[38]}
    assert row.count(row[0]) == 3


def test_expanding_steps_on_after_a_right_answer_and_back_after_a_miss():
    """Right, right, miss, right: due after 1, 3, then 1 and 3 days again."""
    schedule = made(policies.Expanding)
    for at, right, due in ((0.0, True, 1.0), (1.0, True, 4.0), (4.0, False, 5.0), (5.0, True, 8.0)):
        schedule.heard(0, 3, at, right)
        assert schedule.due[0, 3] == due
    for at in (8.0, 15.0, 31.0, 66.0, 101.0):
        schedule.heard(0, 3, at, True)
    assert schedule.due[0, 3] == 101 + 35


def test_expanding_gives_new_items_their_share_or_what_is_left():
    """All of six due and six new: five new and one due in a set of six, or six due where those go first."""
    new_first, due_first = made(policies.Expanding), made(policies.Expanding, False)
    for schedule in (new_first, due_first):
        for item in range(6):
            schedule.heard(0, item, 0.5, False)

    assert sum(item >= 6 for item in new_first.choose(0, 9.5, 6)) == 5
    assert sorted(due_first.choose(0, 9.5, 6).tolist()) == [0, 1, 2, 3, 4, 5]
    assert sorted(new_first.choose(0, 9.5, 12).tolist()) == list(range(12))


def test_a_threshold_asks_the_lowest_of_those_below_it():
    """Item 0 was missed long ago and is believed lowest; where nothing is below, the lowest come all the same."""
    schedule = made(Threshold, STARTING, 0.85)
    for item in range(12):
        schedule.heard(0, item, float(item), item > 0)

    assert schedule.choose(0, 12.0, 4)[0] == 0
    assert len(set(made(Threshold, STARTING, 0.0).choose(0, 0.5, 4).tolist())) == 4
    unseen = made(Threshold, STARTING, 0.85, cell=Cell("B", "sparse", days=28, items=40, answers=20))
    for item in range(20):
        unseen.heard(0, item, 0.5, False)
    assert sum(item >= 20 for item in unseen.choose(0, 9.5, 20)) == 5


def test_greedy_takes_the_best_gain_as_if_nothing_came_later():
    """The same items as by the score's own gain with no visit planned."""
    schedule = made(Greedy, STARTING)
    for item in range(7):
        schedule.heard(0, item, item / 2, item % 3 > 0)
    best = gain(schedule.held(0), schedule.learner[0].ability, STARTING, now=9.5, horizon=28.0, visits=0)
    found = schedule.choose(0, 9.5, 4)

    assert best[found].min() >= np.delete(best, found).max() - 1e-9


def test_the_oracle_index_is_gain_times_the_root_of_the_wait():
    """Two waits in reach of the cap: the score over the true gain is the root of wait / C, C = 12 / (4 * 5/7) days."""
    people = drawn(people=1)
    learners = begun("B", "sparse", people)
    schedule = made(policies.OracleIndex, learners)
    schedule.heard(0, 2, 5.5, True)
    schedule.heard(0, 3, 0.5, True)
    at = 7.5
    visits = 4  # 4 * 20.5 * 5/7 / 12 = 4.9 answers are left for each item
    later = [at + (j + 0.5) * (28 - at) / visits for j in range(visits)]
    true_gain = np.maximum(learners.gain(np.array([0]), at, later, 28.0)[0], 1e-6)
    factor = schedule.scores(0, at) / true_gain

    assert factor[2] == pytest.approx(math.sqrt(2.0 / 4.2))
    assert factor[3] == pytest.approx(math.sqrt(7.0 / 4.2))
    assert factor[0] == 1.0


SAME_BUDGET = [
    policies.Rotation,
    policies.Random,
    policies.Generic,
    policies.Expanding,
    policies.Blocked,
    lambda *parts: policies.Expanding(*parts, False),
    lambda *parts: Threshold(*parts, STARTING, 0.85),
    lambda *parts: Greedy(*parts, STARTING),
    lambda *parts: Shipped(*parts, STARTING),
]


@pytest.mark.parametrize("schedule", SAME_BUDGET)
def test_nobody_goes_beyond_the_days_budget_and_all_give_equal_answers(schedule):
    """Four answers on each of the 24 free days, none on others, whatever the schedule."""
    people = drawn(days=SIX_DAYS_OF_SEVEN)
    found = run(CELL, begun("B", "sparse", people), people, made(schedule, people=3))

    assert found.given.tolist() == [96, 96, 96]
    assert found.most_a_day.tolist() == [4, 4, 4]
    assert set(np.floor(found.log.at).astype(int).tolist()) == set(np.flatnonzero(SIX_DAYS_OF_SEVEN).tolist())


def test_a_run_says_true_recall_at_its_times():
    """At the check and thirty days later, from the learners themselves; the mean over days lies between its ends."""
    people = drawn()
    learners = begun("C", "rich", people)
    before = learners.recall(0.0).mean(axis=1)
    found = run(CELL, learners, people, made(policies.Rotation, people=3))

    assert found.at_check.tolist() == learners.recall(28.0).mean(axis=1).tolist()
    assert found.after.tolist() == learners.recall(58.0).mean(axis=1).tolist()
    assert (before < found.average).all() and (found.average < 1).all()
    assert found.reached.tolist() == [1.0, 1.0, 1.0]


def test_the_same_people_meet_every_schedule_and_the_first_are_those_of_a_smaller_run():
    """Free days, luck and traits are drawn once for each person, from a generator of their own."""
    few, many = drawn(people=2), drawn(people=5)

    for name in ("person", "pair", "trained", "free", "luck"):
        np.testing.assert_array_equal(getattr(few, name), getattr(many, name)[:2])


def test_twelve_cells_and_their_names():
    """Three worlds, two starts, two horizons; a part of a name stands for all that have it."""
    assert len(CELLS) == 12
    assert [cell.name for cell in cells_named("A-sparse-90")] == ["A-sparse-90"]
    assert len(cells_named("C")) == 4
    assert len(cells_named("rich-180,A-rich")) == 4

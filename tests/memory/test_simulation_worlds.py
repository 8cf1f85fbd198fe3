"""The simulated learners against published equations and predictions, and their oracle against plain stepping."""

from __future__ import annotations

import copy
import csv
from pathlib import Path

import numpy as np
import pytest

from quizsvc.memory.simulation.activation import Activation
from quizsvc.memory.simulation.halflife import HalfLife
from quizsvc.memory.simulation.multiscale import Multiscale
from quizsvc.memory.simulation.people import crowd
from quizsvc.memory.simulation.worlds import STARTS, WORLDS, begun

DATA = Path(__file__).parents[1] / "reference" / "data" / "memory"
DAY_S = 86_400.0
ONE = np.array([0])


def rows(name):
    """Rows of a reference file, whose source lines begin with #."""
    with (DATA / name).open(encoding="utf-8") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.parametrize("row", rows("pavlik_anderson_2005_golden.csv"), ids=lambda row: row["study_times_s"])
def test_activation_reproduces_the_published_equations(row):
    """Pavlik and Anderson (2005): activation and decay of each practice, then activation and recall at the test.

    All times count in full and there is no offset, as in the reference file; its digits are the tolerance.
    """
    learner = Activation(np.zeros((1, 1)), between=1.0)
    for at_s, activation in zip(row["study_times_s"].split(), row["activation_before_each"].split(), strict=True):
        at = float(at_s) / DAY_S
        assert learner.activation(ONE, ONE, at)[0] == pytest.approx(float(activation), abs=5e-7)
        learner.answer(ONE, ONE, at, np.array([True]), 0.0)
    decays = [float(text) for text in row["decay_of_each"].split()]
    test = float(row["test_time_s"]) / DAY_S

    assert learner.decay[0, 0, : len(decays)].tolist() == pytest.approx(decays, abs=5e-7)
    assert learner.activation(ONE, ONE, test)[0] == pytest.approx(float(row["test_activation"]), abs=5e-7)
    assert learner.recall_of(ONE, ONE, test)[0] == pytest.approx(float(row["test_recall"]), abs=5e-7)
    assert learner.recall(test)[0, 0] == learner.recall_of(ONE, ONE, test)[0]


def test_time_between_sittings_counts_by_a_fortieth():
    """h = .025 of Pavlik and Anderson: 40,000 s with no sitting are as long as 1,000 s of one."""
    within, between = Activation(np.zeros((1, 1)), between=1.0), Activation(np.zeros((1, 1)))
    for learner in (within, between):
        learner.answer(ONE, ONE, 0.0, np.array([True]), 0.0)

    assert between.recall(40_000 / DAY_S)[0, 0] == pytest.approx(within.recall(1000 / DAY_S)[0, 0], rel=1e-12)
    # Reference file, first row: one practice, 1,000 s later.
    assert between.recall(40_000 / DAY_S)[0, 0] == pytest.approx(0.115678, abs=5e-7)


# Mozer, Pashler, Cepeda, Lindsey and Vul (2009): parameters as the reference file states them. A practice is taken in
# with probability omega; what is expected is the mean over all ways that this and the recall can go.
MU, NU, OMEGA, XI, STORES, RIGHT_STEP = 23.6907, 1.07361, 0.80668, 0.93531, 100, 9.0
SAME_SESSION_DAYS = 0.00256


def multiscale_prediction(gap, retention):
    """Two practices and a test: expected recall."""
    powers = np.arange(1, STORES + 1)
    shares = XI**powers / (XI**powers).sum()
    # Four ways as four people: both taken in after a miss, both after recall, only the first, only the second.
    learners = Multiscale(MU * NU**powers, shares, np.ones((4, 1)), np.full((4, 1), RIGHT_STEP))
    first, second = np.array([0, 1, 2]), np.array([0, 1, 3])
    learners.answer(first, np.zeros(3, int), 0.0, np.zeros(3, bool), 0.0)
    chance = learners.recall_of(np.array([0]), ONE, gap)[0]
    learners.answer(second, np.zeros(3, int), gap, np.array([False, True, False]), 0.0)
    both_miss, both_right, only_first, only_second = learners.recall(gap + retention)[:, 0]
    both = (1 - chance) * both_miss + chance * both_right
    return OMEGA * (OMEGA * both + (1 - OMEGA) * only_first) + (1 - OMEGA) * OMEGA * only_second


@pytest.mark.parametrize("row", rows("mcm_2009_golden.csv"), ids=lambda row: "-".join(list(row.values())[:2]))
def test_multiscale_reproduces_published_predictions(row):
    """All 26 cells: to the digits of an independent computation, and of the predictions with unrounded parameters.

    The reference file states 3.4e-5 as the effect of rounding the parameters to the digits above.
    """
    gap, retention = float(row["gap_days"]) or SAME_SESSION_DAYS, float(row["retention_interval_days"])
    found = multiscale_prediction(gap, retention)

    assert found == pytest.approx(float(row["predicted_recomputed"]), abs=1e-6)
    assert found == pytest.approx(float(row["predicted_read"]), abs=3.5e-5)


def test_half_life_by_hand():
    """One exponential (ratio 1): half is left after a half-life; 1 + 3 * .5 ** .7 = 2.84672; a miss halves."""
    learner = HalfLife(np.full((1, 1), 2.0), np.full((1, 1), 3.0), np.zeros((1, 1)), ratio=1.0)
    right, miss = np.array([True]), np.array([False])

    assert learner.recall(0.0)[0, 0] == 0.0
    learner.answer(ONE, ONE, 10.0, right, 0.0)
    assert learner.recall(12.0)[0, 0] == pytest.approx(0.5)
    learner.answer(ONE, ONE, 12.0, right, 0.0)
    assert learner.half[0, 0] == pytest.approx(2 * 2.84672, abs=1e-5)
    learner.answer(ONE, ONE, 13.0, miss, 0.0)
    assert learner.half[0, 0] == pytest.approx(2.84672, abs=1e-5)
    learner.answer(ONE, ONE, 14.0, miss, 0.0)
    assert learner.half[0, 0] == 2.0


def test_two_exponentials_of_one_half_life():
    """f = .4 fast with h / 2 and .6 slow with 2 h: after one half-life .4 / 4 + .6 / sqrt 2."""
    learner = HalfLife(np.full((1, 1), 5.0), np.ones((1, 1)), np.full((1, 1), 0.4), ratio=2.0)
    learner.answer(ONE, ONE, 0.0, np.array([True]), 0.0)

    assert learner.recall(5.0)[0, 0] == pytest.approx(0.4 / 4 + 0.6 / 2**0.5)


def people(world, start="rich", count=3, items=40):
    """A few people of a world on day 0."""
    drawn = crowd([np.random.default_rng([5, number]) for number in range(count)], np.random.default_rng(6), items)
    return begun(world, start, drawn)


@pytest.mark.parametrize("world", sorted(WORLDS))
def test_the_oracles_gain_is_that_of_both_outcomes(world):
    """Without later visits: recall after each outcome, weighted by its chance, less recall without an answer."""
    learners = people(world)
    who = np.array([1])
    found = learners.gain(who, 3.0, [], 60.0)[0]

    for item in range(0, 40, 7):
        what = np.array([item])
        chance = learners.recall_of(who, what, 3.0)[0]
        expected = -learners.recall(60.0)[1, item]
        for right, share in ((True, chance), (False, 1 - chance)):
            moved = copy.deepcopy(learners)
            moved.answer(who, what, 3.0, np.array([right]), 0.0)
            expected += share * moved.recall(60.0)[1, item]
        assert found[item] == pytest.approx(expected, abs=1e-12)


def test_the_oracles_gain_with_later_visits_where_outcomes_leave_no_mark():
    """World A: the visits can be stepped through, with and without the answer now."""
    learners = people("A")
    who, visits = np.array([2]), [10.0, 20.0, 30.0]
    found = learners.gain(who, 3.0, visits, 60.0)[0]

    for item in (0, 11, 29):
        reached = []
        for times in ([3.0, *visits], visits):
            moved = copy.deepcopy(learners)
            for at in times:
                moved.answer(who, np.array([item]), at, np.array([True]), 0.0)
            reached.append(moved.recall(60.0)[2, item])
        assert found[item] == pytest.approx(reached[0] - reached[1], abs=1e-12)


# Scheduling study, section 2: mean recall on day 0, printed with two digits.
FIRST_DAY = {
    ("A", "sparse"): 0.09, ("B", "sparse"): 0.16, ("C", "sparse"): 0.06,
    ("A", "rich"): 0.24, ("B", "rich"): 0.38, ("C", "rich"): 0.26,
}  # fmt: skip


@pytest.mark.parametrize(("world", "start"), sorted(FIRST_DAY))
def test_earlier_training_leaves_about_what_the_study_printed(world, start):
    """Twenty people, whose mean has a standard error of .01 or so: within .05 of the print."""
    found = people(world, start, count=20, items=150).recall(0.0).mean()

    assert found == pytest.approx(FIRST_DAY[world, start], abs=0.05)
    assert STARTS[start][world].last > 0


@pytest.mark.parametrize("world", sorted(WORLDS))
def test_recall_fades_while_nothing_is_asked(world):
    """In every world, for everybody and every item; and what was never practised is not known."""
    learners = people(world, "sparse")
    days = [learners.recall(day) for day in (0.0, 1.0, 30.0, 300.0)]

    assert all((later <= earlier + 1e-12).all() for earlier, later in zip(days, days[1:], strict=False))
    assert (days[0] == 0).any() and (days[0] > 0).any()

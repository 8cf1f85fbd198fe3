"""What the study counts, against counting by hand; and that it is the same each time."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from quizsvc.errors import InputError
from quizsvc.memory.fit_rows import believed
from quizsvc.memory.gap import best_gaps
from quizsvc.memory.simulation import goals, tables
from quizsvc.memory.simulation.left_out import RHOS, neutral, spaced, without
from quizsvc.memory.simulation.running import Answers
from quizsvc.memory.simulation.scenario import Cell, cells_named
from quizsvc.memory.simulation.study import (
    LOGGED,
    PLANNER,
    SCHEDULES,
    Outcome,
    Streams,
    logged,
    next_visit,
    simulate,
)
from quizsvc.memory.weights import STARTING

TINY = Cell("C", "sparse", days=21, items=30, answers=6)


def streams(people=3, schedule=0):
    """Fresh generators, the same each time."""
    return Streams(
        [np.random.default_rng([1, number]) for number in range(people)],
        np.random.default_rng(2),
        np.random.default_rng([3, schedule]),
    )


def outcome(schedule, at_check, **other):
    """An outcome with plain numbers."""
    values = {
        "after": at_check,
        "average": at_check,
        "reached": (1.0,) * len(at_check),
        "given": (90,) * len(at_check),
        "most_a_day": (6,) * len(at_check),
        "after_miss": 6.0,
        "after_right": 10.0,
    }
    return Outcome(cell=TINY, schedule=schedule, at_check=at_check, **(values | other))


@pytest.mark.parametrize("schedule", sorted(SCHEDULES))
def test_the_same_generators_give_the_same_numbers(schedule):
    """Every schedule, run twice."""
    first, second = (simulate(TINY, schedule, streams(), STARTING, STARTING) for _ in range(2))

    assert repr(first) == repr(second)
    assert all(0 < recall < 1 for recall in first.at_check)


@pytest.mark.parametrize("schedule", [PLANNER, "below .85", "oracle index", "last fortnight"])
def test_a_bank_of_our_shape_gives_the_same_numbers_too(schedule):
    """Concepts with items, guesses, slips and habits."""
    cell = replace(TINY, bank=True)
    first, second = (simulate(cell, schedule, streams(), STARTING, STARTING) for _ in range(2))

    assert repr(first) == repr(second)
    assert all(0 < recall < 1 for recall in first.at_check)


def test_days_to_the_next_answer_by_hand():
    """Person 0, item 1: missed on day 0, right on 3 and 10. Item 2: missed on 1 only. Person 1: right on 2, 6."""
    log = Answers(
        person=np.array([0, 0, 1, 0, 1, 0]),
        item=np.array([1, 2, 1, 1, 1, 1]),
        at=np.array([0.0, 1.0, 2.0, 3.0, 6.0, 10.0]),
        right=np.array([False, False, True, True, True, True]),
    )

    # After a miss: 3 days and never; the lower of two middle ones. After a right answer before day 5: 4 and 7 days.
    assert next_visit(log, 5.0) == (3.0, 4.0)
    # All answers: after a right one 4, 7, never (6.0) and never (10.0).
    assert next_visit(log, 99.0) == (3.0, 7.0)
    assert math.isnan(next_visit(log, 0.0)[0])


def test_a_paired_difference_and_its_error_by_hand():
    """Differences .1, .2 and .3: mean .2, standard deviation .1, over the root of three."""
    mean, error = goals.paired((0.5, 0.7, 0.9), (0.4, 0.5, 0.6))

    assert mean == pytest.approx(0.2)
    assert error == pytest.approx(0.1 / math.sqrt(3))
    assert math.isnan(goals.paired((0.5,), (0.4,))[1])


def cell_of(planner, **others):
    """One cell in which every other schedule has recall .5 unless told otherwise."""
    found = {name: outcome(name, others.get(name.replace(" ", "_"), (0.5, 0.5))) for name in SCHEDULES}
    return found | {PLANNER: planner}


def test_floors_by_hand():
    """Each floor once met exactly and once missed by a little."""
    met = cell_of(outcome(PLANNER, (0.65, 0.65), average=(0.515, 0.515), after_miss=7.0), rotation=(0.655, 0.655))
    values = {goal.name: goal for goal in goals.floors(TINY, met)}
    assert all(goal.met for goal in values.values())
    assert values["recall at the check less rotation"].value == pytest.approx(-0.005)
    assert values["recall at the check over blocked"].value == pytest.approx(1.3)
    assert values["average recall over expanding"].value == pytest.approx(1.03)
    # 6 * 21 * 5/7 = 90 answers for 30 items: two for each fit.
    assert values["share of the items reached, least of all people"].value == 1.0

    missed = cell_of(
        outcome(PLANNER, (0.39, 0.39), average=(0.49, 0.49), reached=(1.0, 0.96), most_a_day=(6, 7), after_miss=7.1)
    )
    assert not any(goal.met for goal in goals.floors(TINY, missed))


def test_no_floor_for_reaching_everything_where_two_answers_each_do_not_fit():
    """90 answers for 60 items."""
    names = [goal.name for goal in goals.floors(replace(TINY, items=60), cell_of(outcome(PLANNER, (0.6, 0.6))))]

    assert not [name for name in names if "reached" in name]


def test_a_value_that_is_no_number_meets_nothing():
    """In either direction; the table then shows it as the worst."""
    unknown = [goals.Goal("x", "here", math.nan, 1.0, at_least) for at_least in (True, False)]

    assert [goal.met for goal in unknown] == [False, False]
    rows = tables.goal_table([goals.Goal("y", "there", 2.0, 1.0), goals.Goal("y", "here", math.nan, 1.0)])
    assert rows[1] == ("y", ">= 1", "-", "here", "1 of 2", "NOT met")


def test_wishes_by_hand():
    """One cell with .6 against .5: 1.2 times both rotation and oracle; 6 days against 10."""
    found = list(goals.stretches({TINY: cell_of(outcome(PLANNER, (0.6, 0.6)))}))

    assert [goal.value for goal in found] == pytest.approx([1.2, 1.2, 0.6])
    assert all(goal.met and goal.stretch for goal in found)


def test_gap_goals_take_the_published_optimum():
    """Shipped weights meet all five, as tests/reference/test_memory_published.py finds; without credit one fails."""
    assert [goal.met for goal in goals.gap_goals("shipped", STARTING)] == [True] * 5
    assert not list(goals.gap_goals("none", replace(STARTING, rho=1e-9)))[-1].met


def test_tables_show_what_beats_the_planner():
    """Rotation is better, all others equal: beaten by one schedule of those without the planner's own."""
    found = cell_of(outcome(PLANNER, (0.5, 0.5)), rotation=(0.6, 0.6))
    rows = tables.not_beaten(list(found.values()))
    table = tables.cell_table(TINY, found)

    assert {row[0]: row[1] for row in rows[1:]}["rotation"] == "1 of 1"
    assert sum(row[1] == "1 of 1" for row in rows[1:]) == 1
    assert len(rows) == 1 + len(SCHEDULES) - 2
    assert table[1][:3] == (PLANNER, "0.500 (0.000)", "-0.100 (0.000)")
    assert len(list(tables.csv_rows(list(found.values())))[0]) == len(tables.CSV_COLUMNS)


def test_weights_for_a_world_are_fitted_to_the_others_only():
    """The log of the world itself is not even looked at; the others move every weight that their answers speak of."""
    cells = {world: Cell(world, "sparse", days=60, items=60, answers=20) for world in "BC"}
    logs = {
        world: [row for name in LOGGED[:2] for row in logged(cell, name, streams(2), [neutral(STARTING)])[0]]
        for world, cell in cells.items()
    }
    for_a = without("A", logs | {"A": None}, STARTING)

    assert all(weight >= 0 for weight in (*for_a.v, *for_a.w))
    assert (for_a.rho, for_a.tau_days) == (STARTING.rho, STARTING.tau_days)
    assert all(abs(new - old) > 0.01 for new, old in zip(for_a.v[1:], neutral(STARTING).v[1:], strict=True))


def test_rho_is_the_one_whose_best_gaps_are_nearest_to_those_of_people():
    """Of weights for A, fitted to one log of B. By hand: squared log ratios to 3, 8, 12 and 27 days at each rho."""
    cell = Cell("B", "sparse", days=40, items=40, answers=12)
    rows = logged(cell, "rotation", streams(1), [replace(STARTING, rho=rho) for rho in RHOS])
    logs = {rho: {"B": own} for rho, own in zip(RHOS, rows, strict=True)}
    first = without("A", logs[STARTING.rho], STARTING)
    apart = {
        rho: np.square(np.log(np.array(best_gaps(replace(first, rho=rho))) / [3.0, 8.0, 12.0, 27.0])).sum()
        for rho in RHOS
    }
    nearest = min(apart, key=apart.__getitem__)

    assert STARTING.rho in RHOS
    assert len(set(apart.values())) == len(RHOS)
    assert spaced("A", logs, STARTING) == without("A", logs[nearest], replace(STARTING, rho=nearest))


def test_a_log_is_read_with_the_spacing_credit_of_each_of_the_weights():
    """Trace without end: 1 at the second answer to an item, 2 - exp(-dt / (105 rho)) at the third (recall.py).

    dt are the days between the first two.
    """
    cell = Cell("B", "sparse", days=60, items=30, answers=20)
    by_rho = logged(cell, "rotation", streams(1), [replace(STARTING, rho=rho) for rho in RHOS])

    for rho, (rows,) in zip(RHOS, by_rho, strict=True):
        first, second, third = np.flatnonzero(rows.concept == 0)[:3]
        wait = rows.at[second] - rows.at[first]
        assert np.expm1(rows.logs[second, 4]) == pytest.approx(1.0, abs=1e-12)
        assert np.expm1(rows.logs[third, 4]) == pytest.approx(2 - math.exp(-wait / (105 * rho)), abs=1e-12)


def test_more_of_the_same_rows_do_not_free_the_weights_of_right_answers():
    """The same rows eight times over give the same w, which is not 0; the prior of v, outweighed, gives way."""
    cell = Cell("B", "sparse", days=60, items=60, answers=20)
    (rows,) = logged(cell, "rotation", streams(1), [STARTING])
    once, often = (without("A", {"B": rows * times}, STARTING) for times in (1, 8))
    start = neutral(STARTING)

    assert sum(once.w) > 0.1
    assert sum(often.w) == pytest.approx(sum(once.w), rel=0.05)
    assert np.abs(np.subtract(often.v, start.v)).sum() > 1.2 * np.abs(np.subtract(once.v, start.v)).sum()


def test_an_unknown_cell_is_named():
    """With what may be given instead."""
    with pytest.raises(InputError) as caught:
        cells_named("A-sparse-90,D")
    assert "'D'" in str(caught.value)


def test_fitted_weights_leave_no_drift_between_intercept_and_ability():
    """The mean of what the filter believes of ability and offsets, over the people fitted to, is small.

    Without centring, the turns of filter and fit end with means of 3 to 7 and an intercept as much lower.
    """
    cell = Cell("C", "sparse", days=60, items=60, answers=20)
    rows = [row for name in LOGGED[:2] for row in logged(cell, name, streams(4), [neutral(STARTING)])[0]]
    fitted = without("A", {"C": rows}, STARTING)

    assert abs(np.mean([believed(one, fitted)[0].mean() for one in rows])) < 0.3

"""The time until a check: figures counted by hand, sets ahead against plans, the last week goes over everything."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quizsvc.memory.pool import pool
from quizsvc.memory.states import fresh_concept, fresh_learner
from quizsvc.memory.until_check import coming_sets, outlook, to_cover
from quizsvc.memory.weights import STARTING
from tests.memory.learners import some_candidates, some_history
from tests.memory.test_planning import NOW, one_item_each, planned

LEARNER = fresh_learner("in training")


def ahead(candidates, moments, *, cold=(), minutes=5.0, check=None, seed=0):
    """The sets ahead with what the test does not care about filled in."""
    return coming_sets(
        candidates,
        cold,
        LEARNER,
        STARTING,
        moments=[NOW + day for day in moments],
        minutes=minutes,
        check_day=None if check is None else NOW + check,
        rng=random.Random(seed),
    )


@pytest.mark.parametrize(
    ("days", "minutes", "answers", "rounds", "beyond"),
    [
        # 40 concepts of 30 s: 20 answers in 10 minutes, on five days of seven; counted by hand.
        (14.0, 10.0, 200.0, 5.0, 0),
        (14.0, 15.0, 300.0, 7.5, 0),
        (1.4, 10.0, 20.0, 0.5, 20),
        (1.4, 15.0, 30.0, 0.75, 10),
        (0.0, 10.0, 0.0, 0.0, 40),
    ],
)
def test_what_the_time_left_covers(days, minutes, answers, rounds, beyond):
    """Answers, how often each concept comes up, and how many of those never asked stay so; as the plan itself says."""
    candidates = one_item_each([fresh_concept()] * 40)
    found = outlook(pool(candidates), now=NOW, horizon=NOW + days, minutes_a_day=minutes)

    assert found.answers_left == pytest.approx(answers, abs=1e-6)
    assert found.rounds == pytest.approx(rounds, abs=1e-6)
    assert (found.untried, found.beyond_reach) == (40, beyond)
    if days:
        assert found == planned(candidates, minutes=minutes, check=days).outlook


def test_the_first_set_ahead_is_the_plan_of_now():
    """The same concepts with the same reasons, in the same order."""
    candidates = some_candidates(random.Random(3), 60, now=NOW)
    plan = planned(candidates, minutes=5.0, check=30.0, seed=4)
    first = [one for one in ahead(candidates, [0.0, 1.0], check=30.0, seed=4) if one.set_number == 0]

    assert [(one.concept, one.reason) for one in first] == [(place.concept, place.reason) for place in plan.places]


def test_what_was_right_in_one_set_gives_way_in_the_next():
    """Of forty never asked, ten a set: four sets go through all of them, none twice before that."""
    found = ahead(one_item_each([fresh_concept()] * 40), [0.0, 1.0, 2.0, 3.0], check=5.6)

    assert [one.set_number for one in found] == [number for number in range(4) for _ in range(10)]
    assert {one.reason for one in found} == {"You have not been asked this yet."}


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32), st.integers(0, 40), st.floats(0.5, 20.0), st.one_of(st.none(), st.floats(0.2, 30.0)))
def test_sets_ahead_name_each_concept_once(seed, count, minutes, check):
    """In the order of the sets, and only concepts that are there; the candidates handed in are not changed."""
    candidates = some_candidates(random.Random(seed), count, now=NOW, ramp=0.7)
    before = list(candidates)
    found = ahead(candidates, [0.0, 1.4, 2.8], minutes=minutes, check=check, seed=seed)
    names = [one.concept for one in found]

    assert candidates == before
    assert len(set(names)) == len(names) and set(names) <= {one.concept for one in candidates}
    assert [one.set_number for one in found] == sorted(one.set_number for one in found)


@pytest.mark.parametrize("check", [None, 7.5, 0.0, -1.0])
def test_outside_the_last_week_nothing_has_to_be_gone_over(check):
    """Without a date, more than seven days ahead, and once the day has come; a mark left from before is taken off."""
    candidates = [replace(one, cover=("left over",)) for one in some_candidates(random.Random(1), 20, now=NOW)]
    marked = to_cover(candidates, {"C1"}, now=NOW, check_day=None if check is None else NOW + check)

    assert all(one.cover == () for one in marked)


def test_what_came_up_in_the_week_is_gone_over():
    """Four systems, a limit in each; the week began five days ago. Counted by hand."""
    tried = replace(some_history(random.Random(1), end=NOW - 9, most=3), last_missed=False, answers=1)
    states = [
        replace(tried, last_at=NOW - 6),  # the limit of system 0, asked before the week began
        replace(tried, last_at=NOW - 1),  # the limit of system 1, asked in it
        fresh_concept(),  # the limit of system 2, never asked
        replace(tried, last_at=NOW - 20),
        replace(tried, last_at=NOW - 4),  # no limit: system 0 came up
        fresh_concept(),
        fresh_concept(),
        fresh_concept(),
    ]
    marked = to_cover(one_item_each(states, systems=4), {"C0", "C1", "C2", "C3"}, now=NOW, check_day=NOW + 2.0)

    assert [one.cover for one in marked] == [
        ("concept C0",),
        (),
        ("system S2", "concept C2"),
        ("system S3", "concept C3"),
        (),
        (),
        ("system S2",),
        ("system S3",),
    ]


@pytest.mark.parametrize("seed", range(5))
def test_the_last_week_goes_over_every_system_and_every_limit(seed):
    """120 concepts in 12 systems, 20 of them limits, five sets of ten minutes: all have come up, whatever they gain."""
    rng = random.Random(seed)
    well = [
        replace(
            some_history(rng, end=NOW - 20, most=6), last_missed=False, last_at=NOW - 20 * rng.random() - 8, answers=2
        )
        for _ in range(120)
    ]
    candidates = one_item_each(well, systems=12)
    limits = {f"C{number}" for number in rng.sample(range(120), 20)}
    found = {one.concept for one in ahead(candidates, [0.4, 1.8, 3.2, 4.6, 6.0], cold=limits, minutes=10, check=7.0)}

    assert limits <= found
    assert {one.system for one in candidates if one.concept in found} == {f"S{number}" for number in range(12)}

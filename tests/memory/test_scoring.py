"""The planner's score, recomputed with plain loops straight from the formula."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest

from quizsvc.memory.planning import plan_set
from quizsvc.memory.pool import Askable, Candidate
from quizsvc.memory.recall import stack, update
from quizsvc.memory.scoring import Budget, gain, held_back, score
from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState, fresh_concept
from quizsvc.memory.weights import STARTING
from tests.memory.learners import some_candidates, some_history

NOW = 20_000.5

# The weights again, typed from the scheduling study (section 6) and not taken from the package.
B0 = -2.49
V = (3.24, 0.10, 1.55, 0.74, 1.12)
W = (0.05, 0.0, 0.0, 0.49, 0.14)
TAU = (1 / 24, 1.0, 7.0, 30.0, math.inf)
SPACING = tuple(0.05 * days for days in (1 / 24, 1.0, 7.0, 30.0, 105.0))


def expected_gain(state, ability, horizon, visits):
    """Delta = p V(right) + (1 - p) V(miss) - V(none), visit by visit, one concept at a time."""

    def success(n, c):
        x = B0 + ability + state.offset
        for k in range(5):
            x += V[k] * math.log(1 + n[k]) + W[k] * math.log(1 + c[k])
        return 1 / (1 + math.exp(-x))

    def fade(traces, days):
        return [traces[k] * math.exp(-days / TAU[k]) for k in range(5)]

    def credit(days):
        return [1.0 if days is None else 1 - math.exp(-days / SPACING[k]) for k in range(5)]

    def value(n, c, since_answer):
        span, passed = horizon - NOW, 0.0
        for j in range(1, visits + 1):
            later = (j - 0.5) * span / visits
            days = later - passed
            n, c = fade(n, days), fade(c, days)
            p = success(n, c)
            q = credit(None if since_answer is None else since_answer + days)
            n = [n[k] + q[k] for k in range(5)]
            c = [c[k] + p * q[k] for k in range(5)]
            passed, since_answer = later, 0.0
        return success(fade(n, span - passed), fade(c, span - passed))

    lag = None if state.last_at is None else NOW - state.last_at
    n, c = fade(state.n, lag or 0.0), fade(state.c, lag or 0.0)
    q = credit(lag)
    p = success(n, c)
    asked = [n[k] + q[k] for k in range(5)]
    right = value(asked, [c[k] + q[k] for k in range(5)], 0.0)
    miss = value(asked, c, 0.0)
    return p * right + (1 - p) * miss - value(n, c, lag)


def expected_score(candidate, concepts, answers_a_day, ability, horizon):
    """max(Delta, 1e-6) * min(wait / C, 2) ** e * boost * weight for one horizon."""
    left = answers_a_day * (horizon - NOW) * 5 / 7
    visits = min(6, int(left / concepts))
    one_pass = concepts / answers_a_day * 7 / 5
    state = candidate.state
    wait = 1.0 if state.last_at is None else (NOW - state.last_at) / one_pass
    exponent = 1.0 if left / concepts >= 8 else 0.5
    boost = 1.25 if state.last_missed else 1.0
    weight = {1: 1.0, 2: 1.25, 3: 1.5}[candidate.consequence]
    delta = expected_gain(state, ability, horizon, visits)
    return max(delta, 1e-6) * min(wait, 2) ** exponent * boost * weight


@pytest.fixture(scope="module")
def candidates():
    """A dozen concepts, untried ones, missed ones and one seen a minute ago among them."""
    rng = random.Random(11)
    chosen = some_candidates(rng, 12, now=NOW)
    just_now = replace(some_history(rng, end=NOW - 40, most=6), last_at=NOW - 1 / 1440)
    return [*chosen, Candidate("just-now", "S0", 1, just_now, chosen[0].items)]


@pytest.mark.parametrize(
    ("horizon", "visits"), [(30, 0), (60, 1), (90, 5), (180, 6), (2, 6), (0.2, 3), (1.5, 0), (2, 1)]
)
def test_gain_is_what_the_formula_gives(candidates, horizon, visits):
    """Delta of each concept equals the plain loops within 1e-12."""
    states = [candidate.state for candidate in candidates]
    expected = [expected_gain(state, 0.4, NOW + horizon, visits) for state in states]
    found = gain(stack(states), 0.4, STARTING, now=NOW, horizon=NOW + horizon, visits=visits)

    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    ("answers_a_day", "horizon"), [(0.1, 60), (0.3, 60), (1.0, 60), (1.0, 180), (20.0, 60), (2.4267, 60)]
)
def test_score_is_what_the_formula_gives(candidates, answers_a_day, horizon):
    """Few answers (no later visit) to plenty (exponent 1), with boost, weight and wait."""
    consequence = np.array([{1: 1.0, 2: 1.25, 3: 1.5}[candidate.consequence] for candidate in candidates])
    expected = [
        expected_score(candidate, len(candidates), answers_a_day, 0.4, NOW + horizon) for candidate in candidates
    ]
    budget = Budget(len(candidates), answers_a_day, NOW, NOW + horizon)
    found = score(stack([candidate.state for candidate in candidates]), 0.4, STARTING, consequence, budget)

    np.testing.assert_allclose(found, expected, rtol=1e-9)


def test_the_cases_meant_above_do_occur(candidates):
    """Untried, missed and right concepts, and a budget on either side of eight answers a concept."""
    assert {True, False} == {candidate.state.last_missed for candidate in candidates}
    assert {True, False} == {candidate.state.last_at is None for candidate in candidates}
    assert (0.5, 1.0) == (Budget(13, 2.42, NOW, NOW + 60).exponent, Budget(13, 2.4267, NOW, NOW + 60).exponent)
    assert [0, 0, 3, 6, 6] == [
        Budget(13, rate, NOW, NOW + days).visits for rate, days in ((0.1, 60), (0.3, 59), (1, 60), (1, 180), (20, 60))
    ]


def test_a_set_takes_the_concepts_that_the_formula_ranks_highest():
    """With equal items, one system each and nothing untried or long unseen, the set is the top of the plain loops.

    One concept has homework that closes in nine days: the score for that horizon is added to its own.
    """
    rng = random.Random(5)
    candidates = []
    for number in range(30):
        state = fresh_concept()
        while state.last_at is None or state.last_missed:
            state = some_history(rng, end=NOW - 0.4 - 0.05 * number)
        state = replace(state, last_at=NOW - 1 - number, last_day=int(NOW) - 1 - number)
        items = (Askable(f"i{number}", "one", 30.0, True),)
        closing = NOW + 9 if number == 3 else None
        candidates.append(Candidate(f"C{number}", f"S{number}", 1 + number % 3, state, items, closing))
    ability, a_day = 0.2, 2.0  # a minute a day at 30 s an answer: one pass takes 21 days

    def total(candidate):
        own = 0.0 if candidate.horizon is None else expected_score(candidate, 30, a_day, ability, candidate.horizon)
        return own + expected_score(candidate, 30, a_day, ability, NOW + 75)

    ranked = sorted(candidates, key=total, reverse=True)
    plan = plan_set(
        candidates,
        LearnerState(ability, 1.0),
        STARTING,
        now=NOW,
        minutes=4.0,
        minutes_a_day=1.0,
        check_day=NOW + 75,
        long=False,
        rng=rng,
    )

    assert {candidate.concept for candidate in ranked[:8]} == {place.concept for place in plan.places}
    assert "C3" in {place.concept for place in plan.places}


@pytest.mark.parametrize("concepts", [1, 2, 4095, 4096, 4097, 9000])
def test_blocks_of_concepts_are_scored_as_one(concepts):
    """A concept scores the same alone and among thousands."""
    seven = [some_history(random.Random(number), end=NOW) for number in range(7)]
    states = [seven[number % 7] for number in range(concepts)]
    found = gain(stack(states), 0.0, STARTING, now=NOW, horizon=NOW + 90, visits=4)
    alone = [gain(stack([state]), 0.0, STARTING, now=NOW, horizon=NOW + 90, visits=4)[0] for state in seven]

    np.testing.assert_allclose(found, np.resize(alone, concepts), rtol=0, atol=1e-14)


def test_traces_of_other_rows_may_carry_weight():
    """Weights with zeros elsewhere leave out other rows; the result is that of weights a trace above zero."""
    states = [some_history(random.Random(number), end=NOW) for number in range(9)]
    for v, w in (((0, 1, 0, 1, 0), (1, 0, 1, 0, 1)), ((1, 0, 0, 0, 1), (0, 0, 0, 0, 0)), ((0,) * 5, (0,) * 5)):
        sparse = replace(STARTING, v=tuple(map(float, v)), w=tuple(map(float, w)))
        full = replace(STARTING, v=tuple(x + 1e-13 for x in sparse.v), w=tuple(x + 1e-13 for x in sparse.w))
        results = [gain(stack(states), 0.0, weights, now=NOW, horizon=NOW + 20, visits=3) for weights in (sparse, full)]
        np.testing.assert_allclose(*results, rtol=0, atol=1e-11)


def test_no_trace_weight_means_no_gain():
    """Where answers leave nothing behind, asking adds nothing."""
    nothing = replace(STARTING, v=(0.0,) * 5, w=(0.0,) * 5)

    assert [0.0] == gain(stack([ConceptState()]), 0.0, nothing, now=NOW, horizon=NOW + 20, visits=3).tolist()


def test_hopeless_odds_stay_finite():
    """Log odds of minus ten thousand give no gain and no overflow."""
    lost = [ConceptState(offset=-1e4), ConceptState(offset=1e4)]

    found = gain(stack(lost), 0.0, STARTING, now=NOW, horizon=NOW + 20, visits=3)

    assert found.tolist() == pytest.approx([0.0, 0.0], abs=1e-200)


LITTLE_HELD = -1.6
"""Ability of somebody who misses most of what they try, log odds."""


def answered(right, wait):
    """A concept answered once by somebody who holds little, so many days ago."""
    at = NOW - wait
    outcome = "full" if right else "miss"
    event = AnswerEvent(at, int(at), outcome, float(right), "number", "one", True, None, "C")
    return update(LearnerState(LITTLE_HELD, 0.05, at=at), fresh_concept(), event, STARTING)[1]


def scored(states):
    """Scores of these beside as many untried ones, at two answers a day: two later visits for each of seventeen."""
    every = [*states, *[ConceptState()] * len(states)]
    budget = Budget(len(every), 2.0, NOW, NOW + 60)
    return score(stack(every), LITTLE_HELD, STARTING, np.ones(len(every)), budget)[: len(states)]


@pytest.mark.parametrize("wait", [4.0, 9.0])
def test_who_misses_most_meets_the_missed_before_the_right_ones(wait):
    """By the gain alone what was right would come first; it comes after a wait of more than 1.25 squared as long."""
    missed, right = [answered(False, wait)] * 9, answered(True, wait)
    states = [*missed, *[right] * 8]
    delta = gain(stack(states), LITTLE_HELD, STARTING, now=NOW, horizon=NOW + 60, visits=2)
    assert delta[-1] > 1.25 * delta[0]

    scores = scored(states)
    assert scores[-1] == pytest.approx(scores[0] / 1.25, rel=1e-12)
    soon, late = answered(True, 1.25**2 * wait - 0.01), answered(True, 1.25**2 * wait + 0.01)
    scores = scored([*missed, *[soon, late] * 4])
    assert scores[-2] < scores[0] < scores[-1]


def test_what_is_held_back_stands_at_the_middle_of_the_missed_and_nothing_else_moves():
    """Worked by hand: of the missed .1 .2 .6 the middle is .2; a right one of less, the missed and the untried stay."""
    missed, right = answered(False, 5.0), answered(True, 5.0)
    delta = np.array([0.1, 0.6, 0.2, 0.5, 0.15, 0.7])
    held = stack([missed, missed, missed, right, right, ConceptState()])

    assert held_back(delta, held, 1).tolist() == [0.1, 0.6, 0.2, 0.2, 0.15, 0.7]
    assert delta[3] == 0.5


def test_nothing_is_held_back_without_a_later_visit_or_once_as_much_was_right():
    """Then the gain alone decides: a right one counts with more than the missed."""
    missed, right = answered(False, 5.0), answered(True, 5.0)
    delta = np.array([0.1, 0.1, 0.5, 0.5])

    assert held_back(delta, stack([missed, missed, missed, right]), 0).tolist() == delta.tolist()
    assert held_back(delta, stack([missed, missed, right, right]), 1).tolist() == delta.tolist()
    assert held_back(delta[:0], stack([]), 1).tolist() == []

"""The rivals of `tests.benchmarks`: the arithmetic of the trace bank by hand, and what is fitted beside it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import expit

from quizsvc.memory.simulation.believing import event_of
from tests.benchmarks.model_variants import answered, difficulties
from tests.benchmarks.trace_bank import SCALES, ReadOut, after_sessions, faded, features, gain, raised


def test_time_constants():
    """.02 * 8^k by hand."""
    assert SCALES.tolist() == pytest.approx([0.02, 0.16, 1.28, 10.24, 81.92, 655.36], rel=1e-12)


def test_what_an_answer_adds():
    """By hand. From nothing every s_k is 0: each trace gets .8.

    With x = (.5, 1, 0, 0, 0, 2): s_0 = .5; s_1 = (.5 + .9) / 1.9 = 1.4 / 1.9; s_2 = 1.4 / 2.71; s_3 = 1.4 / 3.439;
    s_4 = 1.4 / 4.0951; s_5 = (1.4 + 2 * .59049) / 4.68559 = 2.58098 / 4.68559. Overfull, x = 3 alone: s_0 = 3, s_1 =
    3 / 1.9 and s_2 = 3 / 2.71 are above 1, so the first three get nothing.
    """
    assert raised(np.zeros(6)).tolist() == pytest.approx([0.8] * 6, rel=1e-12)
    held = [0.5, 1.4 / 1.9, 1.4 / 2.71, 1.4 / 3.439, 1.4 / 4.0951, 2.58098 / 4.68559]
    found = raised(np.array([0.5, 1.0, 0.0, 0.0, 0.0, 2.0]))
    assert found.tolist() == pytest.approx([0.8 * (1 - s) for s in held], rel=1e-12)
    overfull = raised(np.array([3.0, 0, 0, 0, 0, 0]))
    assert overfull[:3].tolist() == [0.0, 0.0, 0.0]
    assert overfull[3] == pytest.approx(0.8 * (1 - 3 / 3.439), rel=1e-12)


def test_fading_and_the_traces_before_each_answer():
    """A right answer, a miss ten days later, and a look thirty days after that.

    Ten days leave .8 exp(-10 / tau) of each trace. .16 d and less is gone: exp(-62.5); so s_3 = .729 x_3 / 3.439 but
    for x_2, which keeps exp(-7.8125). What the miss adds goes to the traces of all answers alone.
    """
    events = [event_of(4, 100.0, True), event_of(4, 110.0, False), event_of(4, 140.0, True)]
    found = features(events)
    left = 0.8 * np.exp(-10.0 / SCALES)

    assert found[0].tolist() == [0.0] * 12
    assert found[1].tolist() == pytest.approx([*left, *left], rel=1e-12, abs=1e-30)
    third = (0.81 * left[2] + 0.729 * left[3]) / 3.439
    assert found[2, 3] == pytest.approx((left[3] + 0.8 * (1 - third)) * np.exp(-30 / 10.24), rel=1e-9)
    assert found[2, 9] == pytest.approx(left[3] * np.exp(-30 / 10.24), rel=1e-12)
    assert faded(np.ones(6), 0.02)[0] == pytest.approx(1 / np.e, rel=1e-12)
    assert faded(np.ones(6), -1.0).tolist() == [1.0] * 6


def test_gain_is_the_sum_over_the_outcomes():
    """One later visit, halfway; with no weight on right answers the outcome does not matter: 1 / (1 + exp(-x)) twice.

    Without traces: an answer now leaves .8 everywhere, five days later the visit adds to what is left, and the horizon
    is five days on; without an answer the visit adds .8. Only the slowest trace has weight, 2, and b0 is -1.
    """
    read = ReadOut(-1.0, np.array([0, 0, 0, 0, 0, 2.0]), np.zeros(6))
    nothing = np.zeros((1, 6))
    found = gain(read, np.zeros(1), nothing, nothing, now=0.0, horizon=10.0, visits=1)

    half = np.exp(-5 / SCALES)
    s = float((0.9 ** np.arange(6) * 0.8 * half).sum() / 4.68559)
    answered = (0.8 * half[5] + 0.8 * (1 - s)) * half[5]
    alone = 0.8 * half[5]
    expected = 1 / (1 + np.exp(1 - 2 * answered)) - 1 / (1 + np.exp(1 - 2 * alone))
    assert found.tolist() == pytest.approx([expected], rel=1e-9)


def test_two_sessions_are_five_answers():
    """Of credit the expected success; without a second session three."""
    read = ReadOut(-1.0, np.full(6, 0.3), np.full(6, 0.2))
    pause = 0.5 / 1440
    found = after_sessions(read, np.array([7.0, np.nan]), np.array([35.0, 35.0]), ability=0.4)

    for row, times in enumerate(
        ([0, pause, 2 * pause, 2 * pause + 7, 3 * pause + 7], [0, pause, 2 * pause]),
    ):
        every, right, last = np.zeros(6), np.zeros(6), 0.0
        for at in times:
            every, right = every * np.exp(-(at - last) / SCALES), right * np.exp(-(at - last) / SCALES)
            success = 1 / (1 + np.exp(-(0.4 - 1.0 + 0.3 * every.sum() + 0.2 * right.sum())))
            step = raised(every)
            every, right, last = every + step, right + success * step, at
        expected = np.concatenate([every, right]) * np.exp(-35.0 / np.tile(SCALES, 2))
        assert found[row].tolist() == pytest.approx(expected.tolist(), rel=1e-9, abs=1e-30)


def test_difficulties_are_those_of_scipy():
    """Three concepts, 90 answers of credit 0 or 1 in half-known log odds: BFGS on the penalised loss, then centred."""
    rng = np.random.default_rng(3)
    item = np.arange(90) % 3
    rest, factor = rng.normal(0, 1, 90), rng.uniform(0.6, 1.0, 90)
    outcome = (rng.random(90) < expit(rest + np.array([-1.0, 0.0, 1.5])[item])).astype(float)

    def loss(d):
        x = factor * (rest + d[item])
        return np.sum(np.logaddexp(0, x) - outcome * x) + np.sum(d**2) / (2 * 0.5**2)

    peer = minimize(loss, np.zeros(3), options={"gtol": 1e-9}).x
    found = difficulties(np.zeros(3), item, factor, rest, outcome)
    assert found.tolist() == pytest.approx((peer - peer.mean()).tolist(), rel=0, abs=1e-6)


def test_what_is_said_of_the_items_of_a_concept():
    """Counted by hand: items a, a (a repeat, ten minutes later), b, a, a; four rows. New numbers are never familiar."""
    times = [0.0, 10 / 1440, 3.0, 5.0, 6.0]
    events = [replace(event_of(8, at, True, "one"), item=item) for at, item in zip(times, "aabaa", strict=True)]
    person = answered(events, trained=True)

    assert person.rows.at.tolist() == [0.0, 3.0, 5.0, 6.0]
    assert person.same.tolist() == [0.0, 0.0, 0.0, 1.0]
    assert person.seen.tolist() == [0.0, 0.0, 1.0, 1.0]
    assert person.item.tolist() == [8, 8, 8, 8]
    assert person.trained_untried.tolist() == [1.0, 0.0, 0.0, 0.0]

    drawn = answered([replace(event, kind="number") for event in events], trained=False)
    assert drawn.same.tolist() == drawn.seen.tolist() == drawn.trained_untried.tolist() == [0.0] * 4

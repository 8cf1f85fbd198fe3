"""The planner's score of every concept at the start of a set.

    score = max(Delta, 1e-6) * min(wait / C, 2) ** e * boost * weight

Delta is what an answer now adds to the expected recall at the horizon T, given the m later visits that the budget will
allow anyway, at now + (j - 1/2) (T - now) / m for j = 1..m:

    Delta = p V(right now) + (1 - p) V(miss now) - V(no answer now)

where V pushes the traces through the visits with expected success (n_k += q_k, c_k += p q_k) and ability and offsets
are held fixed: what an answer tells about the learner is no reason to ask. C is the days of one pass over all concepts,
wait the days since the last answer (C for the untried), e = 1/2, or 1 where 8 or more answers per concept remain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.recall import Array, Stack
from quizsvc.memory.weights import Weights

__all__ = ["BOOST", "CONSEQUENCE_WEIGHT", "STUDY_SHARE", "Budget", "gain", "score"]

STUDY_SHARE = 5 / 7
"""Days with a set, as a share of all days, where nothing better is known."""

BOOST = 1.25
"""Factor for a concept whose last answer was a miss."""

CONSEQUENCE_WEIGHT = {1: 1.0, 2: 1.25, 3: 1.5}

MOST_VISITS = 6
PLENTY = 8.0
_LEAST_GAIN = 1e-6
_MOST_WAIT = 2.0


@dataclass(frozen=True)
class Budget:
    """What the time allows until a horizon.

    Parameters
    ----------
    concepts : int
        Active concepts.
    answers_a_day : float
        Answers that fit into the minutes of one study day.
    now, horizon : float
        Days since the epoch.
    """

    concepts: int
    answers_a_day: float
    now: float
    horizon: float

    @property
    def answers_left(self) -> float:
        """Answers that fit in before the horizon, on five days of seven."""
        return self.answers_a_day * max(0.0, self.horizon - self.now) * STUDY_SHARE

    @property
    def rounds(self) -> float:
        """Answers left per concept."""
        return self.answers_left / self.concepts if self.concepts else 0.0

    @property
    def visits(self) -> int:
        """Later visits m that each concept will get anyway."""
        return min(MOST_VISITS, math.floor(self.rounds))

    @property
    def exponent(self) -> float:
        """Exponent of the wait."""
        return 1.0 if self.rounds >= PLENTY else 0.5

    @property
    def pass_days(self) -> float:
        """Days C of one pass over all concepts."""
        return self.concepts / (self.answers_a_day * STUDY_SHARE)


def gain(held: Stack, ability: float, weights: Weights, *, now: float, horizon: float, visits: int) -> Array:
    """Delta of every concept.

    Parameters
    ----------
    held : Stack
        The concept states.
    ability : float
        Mean of the learner's ability, log odds.
    weights : Weights
        Weights of the model.
    now, horizon : float
        Days since the epoch; a horizon before now counts as now.
    visits : int
        Later visits m, 0 or more.

    Returns
    -------
    ndarray of float64, shape (concepts,)
        Expected recall added, from -1 to 1.
    """
    tau = np.array(weights.tau_days)[:, None]
    spacing = weights.rho * np.array(weights.spacing_days)[:, None]
    v, w = np.array(weights.v), np.array(weights.w)
    lag = np.maximum(now - held.last_at, 0.0)
    base = weights.b0 + ability + held.offset

    def value(n: Array, c: Array) -> Array:
        p: Array = 0.5 + 0.5 * np.tanh(0.5 * (base + v @ np.log1p(n) + w @ np.log1p(c)))
        return p

    decay = np.exp(-lag / tau)
    n, c = held.traces[:5] * decay, held.traces[5:] * decay
    credit = np.where(held.untried, 1.0, -np.expm1(-lag / spacing))
    p = value(n, c)

    span = max(0.0, horizon - now)
    between = span / visits if visits else 0.0
    first = between / 2 if visits else span
    waited = np.where(held.untried, 1.0, -np.expm1(-(lag + first) / spacing))
    again = -np.expm1(-first / spacing)
    values = []
    for n_k, c_k, q in ((n + credit, c + credit, again), (n + credit, c, again), (n, c, waited)):
        gap = first
        for _ in range(visits):
            fade = np.exp(-gap / tau)
            n_k, c_k = n_k * fade, c_k * fade
            success = value(n_k, c_k)
            n_k, c_k = n_k + q, c_k + q * success
            gap, q = between, -np.expm1(-between / spacing)
        fade = np.exp(-first / tau)
        values.append(value(n_k * fade, c_k * fade))
    right, miss, none = values
    delta: Array = p * right + (1.0 - p) * miss - none
    return delta


def score(
    held: Stack,
    ability: float,
    weights: Weights,
    consequence: NDArray[np.float64],
    budget: Budget,
) -> Array:
    """Score of every concept for one horizon.

    Parameters
    ----------
    held : Stack
        The concept states.
    ability : float
        Mean of the learner's ability, log odds.
    weights : Weights
        Weights of the model.
    consequence : ndarray of float64, shape (concepts,)
        Factor for what a wrong belief can do.
    budget : Budget
        Time left and what it allows.

    Returns
    -------
    ndarray of float64, shape (concepts,)
        Above or equal to 0.
    """
    delta = gain(held, ability, weights, now=budget.now, horizon=budget.horizon, visits=budget.visits)
    wait = np.maximum(budget.now - held.last_at, 0.0) / budget.pass_days
    wait[held.untried] = 1.0
    boost = np.where(held.missed, BOOST, 1.0)
    result: Array = (
        np.maximum(delta, _LEAST_GAIN) * np.minimum(wait, _MOST_WAIT) ** budget.exponent * boost * consequence
    )
    return result

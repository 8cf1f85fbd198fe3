"""The planner's score of every concept at the start of a set.

    score = max(Delta, 1e-6) * min(wait / C, 2) ** e * boost * weight

Delta is what an answer now adds to the expected recall at the horizon T, given the m later visits that the budget will
allow anyway, at now + (j - 1/2) (T - now) / m for j = 1..m:

    Delta = p V(right now) + (1 - p) V(miss now) - V(no answer now)

where V pushes the traces through the visits with expected success (n_k += q_k, c_k += p q_k) and ability and offsets
are held fixed: what an answer tells about the learner is no reason to ask. C is the days of one pass over all concepts,
wait the days since the last answer (C for the untried), e = 1/2, or 1 where 8 or more answers per concept remain.

Where somebody misses most of what they try, what was right stands where the logistic is steep, so Delta is larger there
than for what was missed: what they know would come back nearly as soon as what they do not, and keep the untried
waiting. So while more stands missed than right and a later visit is planned, a concept answered right counts with no
more than the middle Delta of those missed. It then waits for at least 1.25^2 times as long as such a one, of equal
weight, at e = 1/2 and up to two passes. Without a later visit the plain gain decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.recall import Array, Stack
from quizsvc.memory.weights import Weights

__all__ = ["BOOST", "STUDY_SHARE", "Budget", "gain", "held_back", "score"]

STUDY_SHARE = 5 / 7
"""Days with a set, as a share of all days, where nothing better is known."""

BOOST = 1.25
"""Factor for a concept whose last answer was a miss."""

MOST_VISITS = 6
PLENTY = 8.0
_LEAST_GAIN = 1e-6
_MOST_WAIT = 2.0
_FADED = 1e-18
_BLOCK = 4096


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
    study_share : float
        Days with a set, as a share of all days.
    """

    concepts: int
    answers_a_day: float
    now: float
    horizon: float
    study_share: float = STUDY_SHARE

    @property
    def answers_left(self) -> float:
        """Answers that fit in before the horizon, on its share of study days."""
        return self.answers_a_day * max(0.0, self.horizon - self.now) * self.study_share

    @property
    def rounds(self) -> float:
        """Answers left per concept."""
        return self.answers_left / self.concepts if self.concepts else 0.0

    @property
    def visits(self) -> int:
        """Later visits m that each concept will get anyway."""
        return math.floor(min(MOST_VISITS, self.rounds))

    @property
    def exponent(self) -> float:
        """Exponent of the wait."""
        return 1.0 if self.rounds >= PLENTY else 0.5

    @property
    def pass_days(self) -> float:
        """Days C of one pass over all concepts."""
        return self.concepts / (self.answers_a_day * self.study_share)


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
        Probability of recall added at the horizon, from -1 to 1.
    """
    result = np.empty(len(held))
    path = _Path.of(weights, max(0.0, horizon - now), visits)
    # One allocation for all blocks: fresh pages cost more than the arithmetic done in them.
    room = np.empty(path.room_per_concept * min(len(held), _BLOCK))
    for start in range(0, len(held), _BLOCK):
        block = slice(start, min(start + _BLOCK, len(held)))
        lag = np.maximum(now - held.last_at[block], 0.0)
        # Traces only raise the log odds: a base of -600 or more keeps every exponential finite.
        base = np.maximum(weights.b0 + ability + held.offset[block], -600.0)
        path.fill(result[block], room, held.traces[:, block], lag, held.untried[block], base)
    return result


@dataclass(frozen=True)
class _Path:
    """The planned visits, as factors per trace that all concepts share.

    Only the lag to now differs between concepts. From now on every decay, and after the first visit every credit, is
    one number per trace. The n traces do not depend on outcomes, so all their moments (the visits, then the horizon)
    are affine in the traces after the first visit, with factors `carry` and `gather`. Traces without weight, or faded
    to nothing before the first visit, are left out: `n_rows` and `c_rows` are those kept. Shapes end in 1 so that a
    block of concepts broadcasts along the last axis.
    """

    visits: int
    slope: Array  # minus the ten weights: exp(slope @ logs) is exp(-x)
    rates: Array  # -1 / tau, shape (5, 1)
    credit_rates: Array  # -1 / (rho s), shape (5, 1)
    unlearnt: Array  # exp(-first gap / (rho s)), all five
    n_rows: slice | NDArray[np.intp]
    n_slope: Array
    n_first: Array  # exp(-first gap / tau); the gap from the last visit to the horizon is as long
    carry: Array  # shape (rows, visits, 1)
    gather: Array  # shape (rows, visits, 1), with the 1 of log(1 + n) added
    c_rows: slice | NDArray[np.intp]
    c_slope: Array
    c_fades: tuple[Array, ...]  # to each visit, then to the horizon; shape (rows, 1, 1)
    c_credit: Array  # q of a visit after another one, shape (rows, 1, 1)

    @classmethod
    def of(cls, weights: Weights, span: float, visits: int) -> _Path:
        """Factors for `visits` visits in `span` days."""
        between = span / visits if visits else 0.0
        first = between / 2 if visits else span
        rates = 1.0 / np.array(weights.tau_days)
        credit_rates = 1.0 / (weights.rho * np.array(weights.spacing_days))
        first_fade, fade = np.exp(-first * rates), np.exp(-between * rates)
        credit = -np.expm1(-between * credit_rates)
        kept = first_fade > _FADED
        n_rows = np.flatnonzero(kept & (np.array(weights.v) > 0))
        c_rows = np.flatnonzero(kept & (np.array(weights.w) > 0))
        carry, gather = np.ones((5, visits)), np.zeros((5, visits))
        for j in range(visits):
            if j:
                carry[:, j] = carry[:, j - 1]
                gather[:, j] = gather[:, j - 1] + credit
            step = first_fade if j == visits - 1 else fade
            carry[:, j] *= step
            gather[:, j] *= step
        slope = -np.array(weights.v + weights.w)
        fades = [first_fade, *[fade] * (visits - 1), first_fade] if visits else [first_fade]
        return cls(
            visits=visits,
            slope=slope,
            rates=-rates[:, None],
            credit_rates=-credit_rates[:, None],
            unlearnt=np.exp(-first * credit_rates)[:, None],
            n_rows=_span(n_rows),
            n_slope=slope[n_rows],
            n_first=first_fade[n_rows, None],
            carry=carry[n_rows, :, None],
            gather=1.0 + gather[n_rows, :, None],
            c_rows=_span(c_rows),
            c_slope=slope[5 + c_rows],
            c_fades=tuple(step[c_rows, None, None] for step in fades),
            c_credit=credit[c_rows, None, None],
        )

    @property
    def room_per_concept(self) -> int:
        """Floats that `fill` needs for each concept."""
        rows = self.n_slope.size
        return 20 + 2 * rows * (self.visits + 2) + 3 * (self.visits + 1) + 6 * self.c_slope.size + 10 + 3

    def fill(self, out: Array, room: Array, traces: Array, lag: Array, untried: NDArray[np.bool_], base: Array) -> None:
        """Delta of a block of concepts, written into `out`."""
        size, visits, n_rows, c_rows = lag.size, self.visits, self.n_rows, self.c_rows
        taken = 0

        def take(*shape: int) -> Array:
            nonlocal taken
            start, taken = taken, taken + math.prod(shape)
            return room[start:taken].reshape(shape)

        held, work, unlearnt = take(2, 5, size), take(5, size), take(5, size)
        np.multiply(self.rates, lag, out=work)
        np.exp(work, out=work)
        np.multiply(traces.reshape(2, 5, size), work, out=held)
        np.multiply(self.credit_rates, lag, out=unlearnt)
        np.exp(unlearnt, out=unlearnt)
        unlearnt[:, untried] = 0.0  # a first answer earns the full credit
        credit_now = np.subtract(1.0, unlearnt, out=work)
        recall_now = np.exp(self.slope @ np.log1p(held).reshape(10, size) - base)
        recall_now += 1.0

        # Branches: an answer now, none. Moments: each visit, then the horizon.
        rows = self.n_slope.size
        n, after, first_credit = take(rows, visits + 1, 2 * size), take(rows, 2 * size), take(5, 2 * size)
        np.add(held[0, n_rows], credit_now[n_rows], out=after[:, :size])
        after[:, size:] = held[0, n_rows]
        after *= self.n_first
        np.add(after, 1.0, out=n[:, 0])
        if visits:
            np.subtract(1.0, self.unlearnt, out=first_credit[:, :1])
            first_credit[:, :size] = first_credit[:, :1]
            unlearnt *= self.unlearnt
            np.subtract(1.0, unlearnt, out=first_credit[:, size:])
            after += first_credit[n_rows]
            np.multiply(self.carry, after[:, None], out=n[:, 1:])
            n[:, 1:] += self.gather
        np.log(n, out=n)
        n_part = take(visits + 1, 3, size)
        both = (self.n_slope @ n.reshape(rows, (visits + 1) * 2 * size)).reshape(visits + 1, 2, size)
        np.subtract(both, base, out=n_part[:, 1:])
        n_part[:, 0] = n_part[:, 1]

        # The c traces take expected success, visit by visit. Branches: right now, miss now, none.
        rows = self.c_slope.size
        c, work, odds = take(rows, 3, size), take(rows, 3, size), take(3, size)
        c[:] = held[1, c_rows][:, None]
        c[:, 0] += credit_now[c_rows]
        flat_work, flat_odds = work.reshape(rows, 3 * size), odds.reshape(3 * size)
        for j, fade in enumerate(self.c_fades):
            c *= fade
            np.add(c, 1.0, out=work)
            np.log(work, out=work)
            np.matmul(self.c_slope, flat_work, out=flat_odds)
            odds += n_part[j]
            np.exp(odds, out=odds)
            odds += 1.0  # 1 / expected success
            if j == visits:
                break
            if j == 0:
                np.divide(first_credit[c_rows, None, :size], odds[:2], out=work[:, :2])
                np.divide(first_credit[c_rows, size:], odds[2], out=work[:, 2])
            else:
                np.divide(self.c_credit, odds, out=work)
            c += work
        right, miss, none = np.reciprocal(odds, out=odds)
        right -= miss
        right /= recall_now
        right += miss
        np.subtract(right, none, out=out)


def _span(rows: NDArray[np.intp]) -> slice | NDArray[np.intp]:
    """The rows as a slice where they lie side by side, which indexes without a copy."""
    if rows.size and rows[-1] - rows[0] == rows.size - 1:
        return slice(int(rows[0]), int(rows[-1]) + 1)
    return rows


def held_back(delta: Array, held: Stack, visits: int) -> Array:
    """Delta with what was answered right held back behind what was missed, for somebody who misses most.

    Parameters
    ----------
    delta : ndarray of float64, shape (concepts,)
        What an answer now adds, probability of recall.
    held : Stack
        The concept states.
    visits : int
        Later visits m, 0 or more.

    Returns
    -------
    ndarray of float64, shape (concepts,)
        The same probability, but where a later visit is planned and more stands missed than right: there no concept
        answered right last has more than the middle value of those missed last.
    """
    right = ~(held.untried | held.missed)
    if visits < 1 or np.count_nonzero(held.missed) <= np.count_nonzero(right):
        return delta
    middle = np.median(delta[held.missed])
    result: Array = np.where(right, np.minimum(delta, middle), delta)
    return result


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
        Weighted probability of recall added, 0 or more.
    """
    delta = gain(held, ability, weights, now=budget.now, horizon=budget.horizon, visits=budget.visits)
    delta = held_back(delta, held, budget.visits)
    wait = np.maximum(budget.now - held.last_at, 0.0) / budget.pass_days
    wait[held.untried] = 1.0
    boost = np.where(held.missed, BOOST, 1.0)
    result: Array = (
        np.maximum(delta, _LEAST_GAIN) * np.minimum(wait, _MOST_WAIT) ** budget.exponent * boost * consequence
    )
    return result

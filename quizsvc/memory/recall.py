"""Recall of a concept: the scalar update that request and replay share, and the prediction of all concepts at once.

    x = b0 + a + b_c + k_kind + sum_k v_k log(1 + n_k) + w_k log(1 + c_k),      recall = 1 / (1 + exp(-x))

The traces n (all answers) and c (right ones) decay with exp(-dt / tau_k). An answer dt after the last one adds
q_k = 1 - exp(-dt / (rho s_k)) to n_k and y q_k to c_k, where s_k is tau_k (105 d for the infinite one) and q = 1 at
the first answer. The ability a and the offset b_c are Gaussian, with variances U and V; b_c starts at the difficulty of
its concept where the weights name one, else at 0 (`states.fresh_concept`). An answer of credit y moves them to the
moments of the posterior (y between 0 and 1: of the two likelihoods weighed by it). The chance of a right answer is
there the logistic of x averaged over the doubt, in the form that `shown_recall` has:

    k = 1 / sqrt(1 + pi (U + V) / 8),  m = 1 / (1 + exp(-k x)),  g = k (y - m),  r = k^2 m (1 - m),
    a += U g,  b_c += V g,  U -= U^2 r,  V -= V^2 r.

The form of m is MacKay's (1992, Neural Computation 4(5), 720-736); given m, mean and variance follow exactly from the
first and second derivative of log m in x. It is the average that matters, not the chance at the mean of x: where recall
is low, a right answer is more likely by what is better than believed, and against the mean alone every one would count
as a greater surprise than it is. What an answer says of a and b_c together, their covariance, is not kept.
While nothing is asked U and V creep back: U(t + dt) = U0 - (U0 - U(t)) exp(-dt / creep_days).

What holds at every later moment, because no trace weight is negative:

- While nothing is asked, recall never rises.
- A right answer, one of credit 1, never leaves recall of any concept lower than it would have been had nothing been
  asked, until the next answer. A `full` of less credit than m can, as any disappointment does.
- A repeat, right or wrong, never lowers recall either; all that it moves are the traces.
- Traces keep this through whatever is answered later, as no credit is wiped out by an earlier answer (`Weights` sees to
  rho s_k <= tau_k): an answer put into the log leaves no trace n of any later moment lower, a right one no trace c.
- Ability and offset do not, and should not: after a right answer, a miss tells more where the ability is known well,
  and one within half an hour is a repeat that tells nothing. So recall after both can be lower than after the second
  alone.

All this is about `recall`. `shown_recall` is drawn towards one half by doubt that grows with time and shrinks with
answers, so where it is below one half it may rise with time, and fall for a concept held next to hopeless (log odds
below -9) when another one is answered right.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState, hold_after
from quizsvc.memory.weights import Weights

__all__ = [
    "REPEAT_DAYS",
    "Stack",
    "UpdateNote",
    "all_log_odds",
    "recall",
    "recall_of",
    "shown_recall",
    "stack",
    "trace_logs",
    "update",
    "variances",
]

Array = NDArray[np.float64]

REPEAT_DAYS = 30 / 1440
"""An answer earlier than this after the last one to its concept is a repeat."""

# A float of days in this century resolves 4e-12 d: an answer exactly 30 minutes later must not fall below by rounding.
_RESOLUTION_DAYS = 1e-9

_BLOCK = 2048


@dataclass(frozen=True)
class UpdateNote:
    """What an update saw: whether the answer was a `repeat`, and the recall that was `predicted` for its kind."""

    repeat: bool
    predicted: float


def _logistic(x: float) -> float:
    """1 / (1 + exp(-x)) without overflow."""
    if x >= 0:
        return 1.0 / (1.0 + math.exp(-x))
    e = math.exp(x)
    return e / (1.0 + e)


def _lag(since: float | None, at: float) -> float:
    """Days passed; 0 where nothing went before or the clock went back."""
    return 0.0 if since is None else max(0.0, at - since)


def _crept(variance: float, prior: float, lag_days: float, creep_days: float) -> float:
    """Variance after a lag in which nothing was asked."""
    return prior - (prior - variance) * math.exp(-lag_days / creep_days) if lag_days > 0 else variance


def _log_odds(learner: LearnerState, state: ConceptState, at: float, weights: Weights, kind: str | None) -> float:
    lag = _lag(state.last_at, at)
    x = weights.b0 + learner.ability + state.offset
    if kind is not None:
        x += weights.kind_shift.get(kind, 0.0)
    for v, w, tau, n, c in zip(weights.v, weights.w, weights.tau_days, state.n, state.c, strict=True):
        decay = math.exp(-lag / tau)
        x += v * math.log1p(n * decay) + w * math.log1p(c * decay)
    return x


def recall_of(
    learner: LearnerState, state: ConceptState, at: float, weights: Weights, kind: str | None = None
) -> float:
    """Recall of one concept at a time, from 0 to 1; the scalar twin of `recall`.

    Parameters
    ----------
    learner : LearnerState
        Whose ability counts.
    state : ConceptState
        Their hold on the concept.
    at : float
        Time, days since the epoch; before the last answer counts as the moment of that answer.
    weights : Weights
        Weights of the model.
    kind : str or None
        Kind of the item asked, for its guess level; None where no chance is to be counted.

    Returns
    -------
    float
        Probability from 0 to 1.
    """
    return _logistic(_log_odds(learner, state, at, weights, kind))


def trace_logs(state: ConceptState, at: float, weights: Weights) -> list[float]:
    """What the trace weights multiply at a time: log(1 + n_k) of the five traces, then log(1 + c_k).

    `state` and `at` as for `recall_of`; the ten are 0 or more.
    """
    lag = _lag(state.last_at, at)
    decays = [math.exp(-lag / tau) for tau in weights.tau_days]
    of_all = [math.log1p(n * decay) for n, decay in zip(state.n, decays, strict=True)]
    return of_all + [math.log1p(c * decay) for c, decay in zip(state.c, decays, strict=True)]


def update(
    learner: LearnerState, state: ConceptState, event: AnswerEvent, weights: Weights
) -> tuple[LearnerState, ConceptState, UpdateNote]:
    """Take one answer into memory. Request and replay both call this, so both reach the same bits.

    Parameters
    ----------
    learner : LearnerState
        The person before the answer.
    state : ConceptState
        Their hold on `event.concept` before the answer.
    event : AnswerEvent
        The answer; the next one in the order of the log.
    weights : Weights
        Weights of the model.

    Returns
    -------
    tuple of LearnerState, ConceptState, UpdateNote
        States after the answer. A repeat (under 30 minutes after the last answer to the concept) moves only the traces
        by its small credit and the record of what was asked last.
    """
    lag = _lag(state.last_at, event.at)
    repeat = state.last_at is not None and lag < REPEAT_DAYS - _RESOLUTION_DAYS

    # One pass over the traces gives what was predicted, by the steps of `_log_odds`, and what the answer leaves.
    x = weights.b0 + learner.ability + state.offset + weights.kind_shift.get(event.kind, 0.0)
    n, c = [], []
    for v, w, tau, spacing, n_k, c_k in zip(
        weights.v, weights.w, weights.tau_days, weights.spacing_days, state.n, state.c, strict=True
    ):
        decay = math.exp(-lag / tau)
        n_k, c_k = n_k * decay, c_k * decay
        x += v * math.log1p(n_k) + w * math.log1p(c_k)
        credit = 1.0 if state.last_at is None else -math.expm1(-lag / (weights.rho * spacing))
        n.append(n_k + credit)
        c.append(c_k + event.credit * credit)
    predicted = _logistic(x)
    last_at = event.at if state.last_at is None else max(state.last_at, event.at)
    if repeat:
        moved = replace(state, n=tuple(n), c=tuple(c), last_at=last_at, last_item=event.item, last_kind=event.kind)
        return learner, moved, UpdateNote(True, predicted)

    variance = _crept(learner.variance, weights.ability_variance, _lag(learner.at, event.at), weights.creep_days)
    offset_lag = _lag(state.offset_at, event.at)
    offset_variance = _crept(state.offset_variance, weights.offset_variance, offset_lag, weights.creep_days)
    k = 1.0 / math.sqrt(1.0 + (math.pi / 8.0) * (variance + offset_variance))
    average = _logistic(k * x)
    g = k * (event.credit - average)
    r = k * k * average * (1.0 - average)

    new_day = learner.last_day is None or event.local_day > learner.last_day
    learner = LearnerState(
        ability=learner.ability + variance * g,
        variance=max(weights.ability_floor, variance - variance * variance * r),
        at=event.at if learner.at is None else max(learner.at, event.at),
        answers=learner.answers + 1,
        concepts=learner.concepts + (state.answers == 0),
        days=learner.days + new_day,
        last_day=event.local_day if new_day else learner.last_day,
    )
    held = hold_after(state, event)
    # Written out: `replace` would take as long as all of the arithmetic.
    moved = ConceptState(
        n=tuple(n),
        c=tuple(c),
        last_at=last_at,
        offset=state.offset + offset_variance * g,
        offset_variance=offset_variance - offset_variance * offset_variance * r,
        offset_at=event.at if state.offset_at is None else max(state.offset_at, event.at),
        answers=state.answers + 1,
        last_missed=held.last_missed,
        last_item=event.item,
        last_kind=event.kind,
        last_day=event.local_day if state.last_day is None else max(state.last_day, event.local_day),
        right_days=held.right_days,
        right_day=held.right_day,
        held=held.held,
        steady=held.steady,
        suspect=held.suspect,
    )
    return learner, moved, UpdateNote(False, predicted)


@dataclass(frozen=True)
class Stack:
    """Many concept states as arrays, concepts along the last axis.

    Parameters
    ----------
    traces : ndarray of float64, shape (10, concepts)
        Rows 0 to 4 are n, rows 5 to 9 are c, as of `last_at`.
    last_at, offset_at : ndarray of float64, shape (concepts,)
        Days since the epoch; +inf where never asked, which makes every lag 0.
    offset, offset_variance : ndarray of float64, shape (concepts,)
        Mean and variance of b_c.
    untried, missed : ndarray of bool, shape (concepts,)
        Never asked; last answer (no repeat) a miss.
    """

    traces: Array
    last_at: Array
    offset_at: Array
    offset: Array
    offset_variance: Array
    untried: NDArray[np.bool_]
    missed: NDArray[np.bool_]

    def __len__(self) -> int:
        return int(self.last_at.size)


def stack(states: Sequence[ConceptState]) -> Stack:
    """The states as arrays, to be built once and asked many times.

    Parameters
    ----------
    states : sequence of ConceptState
        Concepts of one learner.

    Returns
    -------
    Stack
        Concepts in the order given.
    """
    count = len(states)
    traces = np.empty((10, count))
    traces[:5] = _column(chain.from_iterable([state.n for state in states]), 5 * count).reshape(count, 5).T
    traces[5:] = _column(chain.from_iterable([state.c for state in states]), 5 * count).reshape(count, 5).T
    last_at = _column([math.inf if state.last_at is None else state.last_at for state in states], count)
    return Stack(
        traces=traces,
        last_at=last_at,
        offset_at=_column([math.inf if state.offset_at is None else state.offset_at for state in states], count),
        offset=_column([state.offset for state in states], count),
        offset_variance=_column([state.offset_variance for state in states], count),
        untried=np.isinf(last_at),
        missed=np.array([state.last_missed for state in states], dtype=np.bool_),
    )


def _column(numbers: Iterable[float], count: int) -> Array:
    return np.fromiter(numbers, dtype=np.float64, count=count)


def all_log_odds(held: Stack, learner: LearnerState, at: float, weights: Weights, kind: str | None) -> Array:
    """The log odds of recall of every concept; see `recall`."""
    constant = weights.b0 + learner.ability + (0.0 if kind is None else weights.kind_shift.get(kind, 0.0))
    x: Array = constant + held.offset
    rates, slopes = -1.0 / np.array(weights.tau_days)[:, None], np.array(weights.v + weights.w)
    # Blocks that stay in the cache, and log(1 + n) in place of log1p: a class at once takes a sixth of the time.
    for start in range(0, len(held), _BLOCK):
        lag = np.maximum(at - held.last_at[start : start + _BLOCK], 0.0)
        decay = rates * lag
        np.exp(decay, out=decay)
        logs = held.traces[:, start : start + _BLOCK].reshape(2, 5, lag.size) * decay
        logs += 1.0
        np.log(logs, out=logs)
        x[start : start + _BLOCK] += slopes @ logs.reshape(10, lag.size)
    return x


def _logistic_array(x: Array) -> Array:
    # tanh never overflows; it agrees with the scalar form within 1e-15.
    return 0.5 + 0.5 * np.tanh(0.5 * x)


def recall(held: Stack, learner: LearnerState, at: float, weights: Weights, kind: str | None = None) -> Array:
    """Recall of every concept at a time.

    Parameters
    ----------
    held : Stack
        The concept states.
    learner : LearnerState
        Whose ability counts.
    at : float
        Time, days since the epoch; before a concept's last answer counts as the moment of that answer.
    weights : Weights
        Weights of the model.
    kind : str or None
        Kind of item that asks, for its guess level; None where no chance is to be counted.

    Returns
    -------
    ndarray of float64, shape (concepts,)
        Probability from 0 to 1; agrees with `recall_of` within 1e-12.
    """
    return _logistic_array(all_log_odds(held, learner, at, weights, kind))


def shown_recall(held: Stack, learner: LearnerState, at: float, weights: Weights, kind: str | None = None) -> Array:
    """Recall as it may be shown: drawn towards one half by the doubt about ability and offset.

    logistic(x / sqrt(1 + pi (U + V) / 8)), U and V crept to `at`.

    Parameters
    ----------
    held : Stack
        The concept states.
    learner : LearnerState
        Whose ability counts.
    at : float
        Time, days since the epoch.
    weights : Weights
        Weights of the model.
    kind : str or None
        Kind of item that asks; None where no chance is to be counted.

    Returns
    -------
    ndarray of float64, shape (concepts,)
        Probability from 0 to 1.
    """
    of_ability, of_offset = variances(held, learner, at, weights)
    doubt = of_ability + of_offset
    return _logistic_array(all_log_odds(held, learner, at, weights, kind) / np.sqrt(1.0 + (math.pi / 8.0) * doubt))


def variances(held: Stack, learner: LearnerState, at: float, weights: Weights) -> tuple[float, Array]:
    """Variance of the ability and of each offset, crept to a time.

    Parameters
    ----------
    held : Stack
        The concept states.
    learner : LearnerState
        The person.
    at : float
        Time, days since the epoch.
    weights : Weights
        Weights of the model.

    Returns
    -------
    tuple of float and ndarray of float64, shape (concepts,)
        U and V, square log odds.
    """
    prior = weights.offset_variance
    of_ability = _crept(learner.variance, weights.ability_variance, _lag(learner.at, at), weights.creep_days)
    lag = np.maximum(at - held.offset_at, 0.0)
    of_offset: Array = prior - (prior - held.offset_variance) * np.exp(-lag / weights.creep_days)
    return of_ability, of_offset

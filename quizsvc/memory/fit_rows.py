"""The log of answers as numbers that weights can be fitted to.

A row is an answer that is no repeat, with the logs of its traces just before it. They do not depend on the weights that
are fitted. The ability and the offset before each answer do, and are filtered anew for each set of weights.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.recall import Array, trace_logs, update
from quizsvc.memory.replay import log_order
from quizsvc.memory.states import AnswerEvent, ConceptState, fresh_concept, fresh_learner
from quizsvc.memory.weights import Weights

__all__ = ["LearnerRows", "believed", "believed_from", "doubt_factor", "rows_of", "shown"]

_DOUBT = math.pi / 8.0


@dataclass(frozen=True)
class LearnerRows:
    """One learner's answers without repeats, in the order of the log.

    Parameters
    ----------
    logs : ndarray of float64, shape (n, 10)
        `trace_logs` of the concept just before each answer.
    at : ndarray of float64, shape (n,)
        Times, days since the epoch.
    credit : ndarray of float64, shape (n,)
        0 to 1.
    shift : ndarray of float64, shape (n,)
        Shift of the log odds for the kind of item.
    concept : ndarray of int64, shape (n,)
        Which concept, numbered from 0 as they first come.
    ability : float
        Prior mean of the ability.
    names : tuple of str
        Ids of the concepts in the order of their numbers.
    """

    logs: Array
    at: Array
    credit: Array
    shift: Array
    concept: NDArray[np.int64]
    ability: float
    names: tuple[str, ...]

    def __len__(self) -> int:
        return int(self.at.size)


def rows_of(events: Iterable[AnswerEvent], experience: str, weights: Weights) -> LearnerRows:
    """The rows of one learner.

    Parameters
    ----------
    events : iterable of AnswerEvent
        Every answer of one person that is not void; sorted here into the order of the log.
    experience : str
        What the person said at the start.
    weights : Weights
        Their time constants, spacing credit, kind shifts and prior abilities are used; b0, v, w and difficulties are
        not.

    Returns
    -------
    LearnerRows
        Repeats move the traces of later rows and are no rows themselves.
    """
    learner = fresh_learner(experience, weights)
    states: dict[str, ConceptState] = {}
    numbers: dict[str, int] = {}
    logs: list[list[float]] = []
    rest: list[tuple[float, float, float]] = []
    concepts: list[int] = []
    prior = learner.ability
    for event in sorted(events, key=log_order):
        before = states.get(event.concept) or fresh_concept(weights, event.concept)
        learner, states[event.concept], note = update(learner, before, event, weights)
        if not note.repeat:
            logs.append(trace_logs(before, event.at, weights))
            rest.append((event.at, event.credit, weights.kind_shift.get(event.kind, 0.0)))
            concepts.append(numbers.setdefault(event.concept, len(numbers)))
    columns = np.array(rest, dtype=np.float64).reshape(len(rest), 3).T.copy()
    return LearnerRows(
        logs=np.array(logs, dtype=np.float64).reshape(len(logs), 10),
        at=columns[0],
        credit=columns[1],
        shift=columns[2],
        concept=np.array(concepts, dtype=np.int64),
        ability=prior,
        names=tuple(numbers),
    )


def believed(rows: LearnerRows, weights: Weights) -> tuple[Array, Array]:
    """What the model with these weights believed of ability and offset just before each answer.

    Parameters
    ----------
    rows : LearnerRows
        One learner's answers, made with the same time constants.
    weights : Weights
        Weights to filter with.

    Returns
    -------
    tuple of ndarray of float64, shape (n,)
        Mean and variance of a + b_c. The same recursion as `recall.update`, which the tests hold it to: this one goes
        over a log many times faster.
    """
    mean, variance, _ = believed_from(rows, weights)
    return mean, variance


def believed_from(rows: LearnerRows, weights: Weights) -> tuple[Array, Array, Array]:
    """What `believed` gives, and how much of the start of b_c was left in its mean just before each answer.

    Arguments as for `believed`.

    Returns
    -------
    tuple of ndarray of float64, shape (n,)
        Mean, variance and what is left: the derivative of the offset's mean by the one it started from, ability and
        variances given. It is 1 before the first answer to a concept, and each answer leaves 1 - V r of it.
    """
    fixed = (weights.b0 + rows.shift + rows.logs @ np.array(weights.v + weights.w)).tolist()
    prior_a, prior_b, creep, floor = (
        weights.ability_variance,
        weights.offset_variance,
        weights.creep_days,
        weights.ability_floor,
    )
    ability, of_ability, ability_at = rows.ability, prior_a, math.inf
    offsets: dict[int, tuple[float, float, float, float]] = {
        number: (weights.concept_shift[name], prior_b, math.inf, 1.0)
        for number, name in enumerate(rows.names)
        if name in weights.concept_shift
    }
    means, variances, lefts = [], [], []
    for x, at, y, concept in zip(fixed, rows.at.tolist(), rows.credit.tolist(), rows.concept.tolist(), strict=True):
        offset, of_offset, offset_at, left = offsets.get(concept, (0.0, prior_b, math.inf, 1.0))
        if at > ability_at:
            of_ability = prior_a - (prior_a - of_ability) * math.exp((ability_at - at) / creep)
        if at > offset_at:
            of_offset = prior_b - (prior_b - of_offset) * math.exp((offset_at - at) / creep)
        mean, variance = ability + offset, of_ability + of_offset
        means.append(mean)
        variances.append(variance)
        lefts.append(left)
        k = 1.0 / math.sqrt(1.0 + _DOUBT * variance)
        x = k * (x + mean)
        e = math.exp(-abs(x))
        m = (1.0 if x >= 0 else e) / (1.0 + e)
        g = k * (y - m)
        r = k * k * m * (1.0 - m)
        ability += of_ability * g
        moved = 1.0 - of_offset * r
        offsets[concept] = (offset + of_offset * g, of_offset - of_offset * of_offset * r, at, left * moved)
        of_ability = max(floor, of_ability - of_ability * of_ability * r)
        ability_at = at
    return np.array(means, dtype=np.float64), np.array(variances, dtype=np.float64), np.array(lefts, dtype=np.float64)


def doubt_factor(variance: Array) -> Array:
    """1 / sqrt(1 + pi s / 8): what draws the log odds towards 0 under a doubt of variance s, as `shown_recall` does."""
    factor: Array = 1.0 / np.sqrt(1.0 + _DOUBT * variance)
    return factor


def shown(rows: Sequence[LearnerRows], weights: Weights) -> Array:
    """The recall that would have been shown just before each answer, with the shift of its kind; 0 to 1.

    Parameters
    ----------
    rows : sequence of LearnerRows
        Some learners.
    weights : Weights
        Weights to predict with.

    Returns
    -------
    ndarray of float64, shape (answers,)
        All answers of the first learner, then of the next.
    """
    found = [np.zeros(0)]
    slopes = np.array(weights.v + weights.w)
    for one in rows:
        mean, variance = believed(one, weights)
        x = (weights.b0 + one.shift + one.logs @ slopes + mean) * doubt_factor(variance)
        found.append(0.5 + 0.5 * np.tanh(0.5 * x))
    return np.concatenate(found)

"""The best gap between two sessions that a set of weights predicts.

The design follows Cepeda, Vul, Rohrer, Wixted and Pashler (2008), Psychological Science 19(11), 1095-1102: facts are
practised three times in a first session, twice in a second one a gap later, and tested after a retention interval. Each
practice counts with its expected success; ability and offset are held fixed, as the planner holds them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from quizsvc.memory.recall import recall_of, update
from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState, fresh_concept
from quizsvc.memory.weights import Weights

__all__ = ["PEOPLE_GAPS", "RETENTION_DAYS", "best_gaps", "recall_after_gap"]

RETENTION_DAYS = (7.0, 35.0, 70.0, 350.0)
"""The four retention intervals of the experiment."""

PEOPLE_GAPS = (3.0, 8.0, 12.0, 27.0)
"""Best gap of people at each of them, days, interpolated: Cepeda et al. (2008) by way of two notes on it."""

_PAUSE = 0.5 / 1440
_FIRST, _SECOND = 3, 2
# The shortest gap of the experiment was about three minutes. The curves are flat near the top: steps of 8 % suffice.
_GAPS = tuple(float(gap) for gap in np.geomspace(3 / 1440, 400, 160))


def recall_after_gap(gap_days: float, retention_days: Sequence[float], weights: Weights) -> list[float]:
    """Predicted recall at the test, for each retention interval.

    Parameters
    ----------
    gap_days : float
        From the last practice of the first session to the first of the second, days.
    retention_days : sequence of float
        From the last practice to the test, days.
    weights : Weights
        Weights of the model.

    Returns
    -------
    list of float
        Probability, from 0 to 1, for a middle learner (ability 0, no chance of guessing).
    """
    learner, state, at = LearnerState(0.0, weights.ability_variance), fresh_concept(weights), 0.0
    for session, practices in enumerate((_FIRST, _SECOND)):
        at += gap_days if session else 0.0
        for practice in range(practices):
            at += _PAUSE if practice else 0.0
            state = _practised(learner, state, at, weights)
    return [recall_of(learner, state, at + days, weights) for days in retention_days]


def _practised(learner: LearnerState, state: ConceptState, at: float, weights: Weights) -> ConceptState:
    success = recall_of(learner, state, at, weights)
    event = AnswerEvent(at, 0, "part", success, "", "", True, None, "")
    return replace(update(learner, state, event, weights)[1], offset=0.0, offset_variance=weights.offset_variance)


def best_gaps(weights: Weights, retention_days: Sequence[float] = RETENTION_DAYS) -> list[float]:
    """The gap with the highest recall at the test, for each retention interval; days, 3 minutes to 400 days.

    Parameters
    ----------
    weights : Weights
        Weights of the model.
    retention_days : sequence of float
        Retention intervals, days.

    Returns
    -------
    list of float
        Days, on a grid whose steps are 8 %; of equal gaps the shortest.
    """
    table = np.array([recall_after_gap(gap, retention_days, weights) for gap in _GAPS])
    return [_GAPS[row] for row in np.argmax(table, axis=0)]

"""A learner rebuilt from the log of answers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from quizsvc.memory.recall import update
from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState, fresh_concept, fresh_learner
from quizsvc.memory.weights import Weights

__all__ = ["log_order", "replay", "snapshots"]


def log_order(event: AnswerEvent) -> tuple[float, int]:
    """Place of an answer in the log: effective time, then answer id."""
    return event.at, event.answer_id


def replay(
    events: Iterable[AnswerEvent], experience: str, weights: Weights
) -> tuple[LearnerState, dict[str, ConceptState]]:
    """States after all answers, whatever order they are given in.

    Parameters
    ----------
    events : iterable of AnswerEvent
        Every answer of one person that is not void; sorted here into the order of the log.
    experience : str
        What the person said at the start.
    weights : Weights
        Weights to replay into.

    Returns
    -------
    tuple of LearnerState and dict
        The learner, and the state of each concept answered, by concept id: the same bits as one `update` after the
        other reached.
    """
    learner = fresh_learner(experience, weights)
    states: dict[str, ConceptState] = {}
    for event in sorted(events, key=log_order):
        before = states.get(event.concept) or fresh_concept(weights, event.concept)
        learner, states[event.concept], _ = update(learner, before, event, weights)
    return learner, states


def snapshots(
    events: Iterable[AnswerEvent], experience: str, weights: Weights, moments: Sequence[float]
) -> list[tuple[LearnerState, dict[str, ConceptState]]]:
    """States as they were at some moments of the past, in one run over the log.

    Parameters
    ----------
    events, experience, weights
        As for `replay`.
    moments : sequence of float
        Days since the epoch, rising.

    Returns
    -------
    list of tuple
        The learner and the concepts answered by then, for each moment.
    """
    learner = fresh_learner(experience, weights)
    states: dict[str, ConceptState] = {}
    found = []
    waiting = list(moments)
    for event in sorted(events, key=log_order):
        while waiting and event.at > waiting[0]:
            found.append((learner, dict(states)))
            waiting.pop(0)
        before = states.get(event.concept) or fresh_concept(weights, event.concept)
        learner, states[event.concept], _ = update(learner, before, event, weights)
    return found + [(learner, dict(states)) for _ in waiting]

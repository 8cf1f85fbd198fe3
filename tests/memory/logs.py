"""Invented logs for tests of fitting: learners who answer as the model says, with known weights. No person is in it."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from quizsvc.memory.recall import recall_of, update
from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState, fresh_concept
from quizsvc.memory.weights import STARTING, Weights

TRUE = replace(STARTING, b0=-1.5, v=(3.0, 0.4, 0.7, 0.4, 0.4), w=(0.3, 0.2, 0.0, 0.7, 0.4))
"""Other weights than the starting ones."""


CONCEPTS = tuple(f"C{number}" for number in range(40))


def model_log(
    seed: int,
    answers: int,
    true: Weights = TRUE,
    concepts: Sequence[str] = CONCEPTS,
    difficulty: Mapping[str, float] = MappingProxyType({}),
) -> list[AnswerEvent]:
    """Sets of a dozen answers, the last one mostly a repeat, one to ten days apart; ability and offsets drawn N(0, 1),
    offsets around the `difficulty` of their concept where it has one.

    Times are whole seconds, as the store keeps them.
    """
    rng = random.Random(seed)
    learner = LearnerState(rng.gauss(0, 1), 1.0)
    offsets: dict[str, float] = {}
    states: dict[str, ConceptState] = {}
    events: list[AnswerEvent] = []
    day = 20_000
    while len(events) < answers:
        day += rng.choice((1, 1, 1, 2, 3, 10))
        at = day + 0.5
        asked = rng.sample(concepts, 11)
        for concept in (*asked, rng.choice(asked)):
            at = round((at + 0.0004 + (0.03 if rng.random() < 0.05 else 0.0)) * 86_400) / 86_400
            kind = rng.choice(("one", "number"))
            offset = offsets.setdefault(concept, rng.gauss(difficulty.get(concept, 0), 1))
            before = replace(states.get(concept, fresh_concept()), offset=offset)
            right = rng.random() < recall_of(learner, before, at, true, kind)
            event = AnswerEvent(
                at=at,
                local_day=math.floor(at),
                outcome="full" if right else "miss",
                credit=float(right),
                kind=kind,
                item="i",
                fresh=True,
                sureness=None,
                concept=concept,
                answer_id=len(events),
            )
            events.append(event)
            states[concept] = update(learner, before, event, true)[1]
    return events[:answers]

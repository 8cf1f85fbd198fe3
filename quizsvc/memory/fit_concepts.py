"""Difficulties of concepts in a fit: which concepts get one, their rows, and what is said of them.

A difficulty is where everybody's offset b_c starts. Each answer to the concept moves the offset, so ever less of the
start is left in what is believed (`fit_rows.believed_from`); that share is what the difficulty counts by in a row. What
is left to explain in each row is then new, whatever went before, and the standard errors are those that one finds: on
invented logs the errors of the fit have 0.9 to 1.0 of the size that they say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.fit_rows import LearnerRows
from quizsvc.memory.recall import Array
from quizsvc.memory.weights import MOST_CONCEPT_SHIFT, Weights

__all__ = ["CONCEPT_SD", "LEAST_OF_CONCEPT", "Answered", "ConceptFit", "answered", "found_of", "numbered"]

LEAST_OF_CONCEPT = (30, 5)
"""Answers to a concept, repeats apart, and people who gave them: with fewer of either it has no difficulty."""

CONCEPT_SD = 0.5
"""Standard deviation of the prior of a difficulty, log odds; its mean is 0."""


@dataclass(frozen=True)
class Answered:
    """A concept, the answers to it without repeats, and the learners who gave them."""

    concept: str
    answers: int
    learners: int

    @property
    def enough(self) -> bool:
        """Whether it gets a difficulty."""
        return self.answers >= LEAST_OF_CONCEPT[0] and self.learners >= LEAST_OF_CONCEPT[1]


@dataclass(frozen=True)
class ConceptFit:
    """A fitted difficulty: rise of the log odds `before` and `after`, and its standard error.

    The standard error is None where the difficulty is held at the furthest that weights may name. `answers` and
    `learners` are those it was fitted to.
    """

    concept: str
    before: float
    after: float
    se: float | None
    answers: int
    learners: int

    def to_json(self) -> dict[str, Any]:
        """Value for `json.dumps`."""
        return {
            "concept": self.concept,
            "before": self.before,
            "after": self.after,
            "se": self.se,
            "answers": self.answers,
            "learners": self.learners,
        }


def answered(learners: Sequence[LearnerRows]) -> tuple[Answered, ...]:
    """Every concept that somebody answered, in the order of their ids."""
    counts: dict[str, tuple[int, int]] = {}
    for rows in learners:
        for concept, of_learner in zip(rows.names, np.bincount(rows.concept).tolist(), strict=True):
            answers, people = counts.get(concept, (0, 0))
            counts[concept] = (answers + of_learner, people + 1)
    return tuple(Answered(concept, *counts[concept]) for concept in sorted(counts))


def numbered(learners: Sequence[LearnerRows], concepts: Sequence[Answered]) -> NDArray[np.int64]:
    """The place among `concepts` of the concept of each row, -1 where it is not among them; learner after learner."""
    places = {one.concept: place for place, one in enumerate(concepts)}
    found = [np.array([places.get(name, -1) for name in rows.names], np.int64)[rows.concept] for rows in learners]
    return np.concatenate(found)


def found_of(concepts: Sequence[Answered], weights: Weights, after: Array, se: Array) -> tuple[ConceptFit, ...]:
    """What is said of each of `concepts`, with the weights that were fitted from."""
    return tuple(
        ConceptFit(
            one.concept,
            weights.concept_shift.get(one.concept, 0.0),
            shift,
            None if abs(shift) >= MOST_CONCEPT_SHIFT else error,
            one.answers,
            one.learners,
        )
        for one, shift, error in zip(concepts, after.tolist(), se.tolist(), strict=True)
    )

"""Schedules that believe something of each learner: they use the model, the score and the planner of the product."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.random import Generator

from quizsvc.memory.planning import plan_set
from quizsvc.memory.pool import Askable, Candidate, pool
from quizsvc.memory.recall import Stack, recall, stack, update
from quizsvc.memory.scoring import gain
from quizsvc.memory.simulation.bank_shape import SYSTEMS, kind_of
from quizsvc.memory.simulation.people import Index
from quizsvc.memory.simulation.policies import Plain, fill
from quizsvc.memory.simulation.scenario import SECONDS, Cell
from quizsvc.memory.states import AnswerEvent, ConceptState, fresh_concept, fresh_learner
from quizsvc.memory.weights import Weights

__all__ = ["Greedy", "Shipped", "Threshold", "event_of"]

EXPERIENCE = "never trained"
KIND = "number"
"""A kind that nobody guesses right; the worlds of the study have no guessing."""


def event_of(item: int, at: float, right: bool, kind: str = KIND) -> AnswerEvent:
    """A simulated answer as memory takes it; each item is a concept of its own."""
    return AnswerEvent(
        at=at,
        local_day=int(at),
        outcome="full" if right else "miss",
        credit=float(right),
        kind=kind,
        item=str(item),
        fresh=True,
        sureness=None,
        concept=str(item),
    )


class _Believing(Plain):
    """Keeps the states of the model for each person."""

    def __init__(self, cell: Cell, people: int, rng: Generator, weights: Weights) -> None:
        super().__init__(cell, people, rng)
        self.weights = weights
        self.kinds = [kind_of(item) if cell.bank else KIND for item in range(cell.items)]
        self.learner = [fresh_learner(EXPERIENCE, weights) for _ in range(people)]
        fresh = [fresh_concept(weights, str(item)) for item in range(cell.items)]
        self.states: list[list[ConceptState]] = [list(fresh) for _ in range(people)]

    def heard(self, person: int, item: int, at: float, right: bool) -> None:
        """The update of the product."""
        super().heard(person, item, at, right)
        states = self.states[person]
        self.learner[person], states[item], _ = update(
            self.learner[person], states[item], event_of(item, at, right, self.kinds[item]), self.weights
        )

    def held(self, person: int) -> Stack:
        """What is believed of a person's items."""
        return stack(self.states[person])


class Shipped(_Believing):
    """The planner of the product, as it stands: `plan_set` with one concept an item and sittings of equal items."""

    def __init__(self, cell: Cell, people: int, rng: Generator, weights: Weights) -> None:
        super().__init__(cell, people, rng, weights)
        # Consequences are equal; no two concepts share a system in the study's worlds, which had none.
        systems = SYSTEMS if cell.bank else cell.items
        self.candidates = [
            [
                Candidate(str(item), str(item % systems), 1, state, (self._way(item),))
                for item, state in enumerate(states)
            ]
            for states in self.states
        ]
        # What a pool reads besides the states never changes here, and building it anew would take longer than the plan.
        self.pool = pool(self.candidates[0])

    def _way(self, item: int) -> Askable:
        # The items of a concept are asked in turn, whatever the schedule: to the planner they are one that varies.
        return Askable(str(item), self.kinds[item], SECONDS, True, generated=True)

    def choose(self, person: int, at: float, places: int) -> Index:
        """The set that the product would ask."""
        minutes = places * SECONDS / 60.0
        plan = plan_set(
            replace(self.pool, candidates=tuple(self.candidates[person]), held=self.held(person)),
            self.learner[person],
            self.weights,
            now=at,
            minutes=minutes,
            minutes_a_day=minutes,
            check_day=float(self.cell.days),
            long=False,
            rng=self.rng,
        )
        return np.array([int(place.concept) for place in plan.places], dtype=np.intp)

    def heard(self, person: int, item: int, at: float, right: bool) -> None:
        """The candidate moves with the state."""
        super().heard(person, item, at, right)
        candidate = self.candidates[person][item]
        way = candidate.items[0]
        self.candidates[person][item] = replace(
            candidate, state=self.states[person][item], items=(replace(way, last_asked=at, asks=way.asks + 1),)
        )


class Threshold(_Believing):
    """Items whose believed recall is below a threshold, the lowest first; five new ones before them.

    Parameters
    ----------
    below : float
        The threshold.
    """

    NEW = 5

    def __init__(self, cell: Cell, people: int, rng: Generator, weights: Weights, below: float) -> None:
        super().__init__(cell, people, rng, weights)
        self.below = below

    def choose(self, person: int, at: float, places: int) -> Index:
        """Five new, then those below, then new ones, then the lowest of the rest."""
        believed = recall(self.held(person), self.learner[person], at, self.weights)
        seen = np.isfinite(self.last[person])
        order = self.order[person]
        new = order[~seen[order]]
        lowest = np.argsort(believed, kind="stable")
        lowest = lowest[seen[lowest]]
        waiting = lowest[believed[lowest] < self.below]
        return fill(places, new[: self.NEW], waiting, new, lowest)


class Greedy(_Believing):
    """What raises the expected recall at the check most if nothing else were ever asked. Shown as a warning."""

    def choose(self, person: int, at: float, places: int) -> Index:
        """The best gains."""
        believed = gain(
            self.held(person),
            self.learner[person].ability,
            self.weights,
            now=at,
            horizon=float(self.cell.days),
            visits=0,
        )
        return np.argsort(-believed - 1e-12 * self.rng.random(believed.size), kind="stable")[:places]

"""Plain schedules to compare the planner with. Each is what people do, or what is often proposed.

A schedule says how many answers each person gives on each day, and which items at the start of a sitting; it hears the
outcomes. All but the cram give the same answers on the same days.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quizsvc.memory.simulation.people import Array, Index, Learners
from quizsvc.memory.simulation.scenario import Cell

__all__ = ["Blocked", "Cram", "Expanding", "Generic", "OracleIndex", "Plain", "Random", "Rotation", "Schedule", "fill"]

Counts = NDArray[np.intp]


class Schedule(Protocol):
    """Which items each person is asked."""

    def timetable(self, days: NDArray[np.bool_]) -> Counts:
        """Answers by person and day, from the days with a sitting; both shape (people, days)."""

    def choose(self, person: int, at: float, places: int) -> Index:
        """Items of a sitting in order, for one person; at most `places`."""

    def heard(self, person: int, item: int, at: float, right: bool) -> None:
        """An answer was given."""


class Plain:
    """Every sitting has the same length, and outcomes are not heard."""

    def __init__(self, cell: Cell, people: int, rng: Generator) -> None:
        self.cell, self.rng = cell, rng
        self.order = np.stack([rng.permutation(cell.items) for _ in range(people)])
        self.last = np.full((people, cell.items), -np.inf)

    def timetable(self, days: NDArray[np.bool_]) -> Counts:
        """The same number of answers on each day with a sitting."""
        return np.where(days, self.cell.answers, 0)

    def heard(self, person: int, item: int, at: float, right: bool) -> None:
        """Only the time is kept."""
        self.last[person, item] = at

    def longest_ago(self, person: int) -> Index:
        """Items by waiting time, those never asked first, in the person's shuffled order."""
        order: Index = self.order[person]
        return order[np.argsort(self.last[person, order], kind="stable")]


class Random(Plain):
    """Items drawn anew for each sitting, no item twice in one."""

    def choose(self, person: int, at: float, places: int) -> Index:
        """Any items."""
        return self.rng.permutation(self.cell.items)[:places]


class Rotation(Plain):
    """The bank in shuffled order, again and again."""

    def choose(self, person: int, at: float, places: int) -> Index:
        """Those waiting longest."""
        items: Index = self.longest_ago(person)[:places]
        return items


class Cram(Rotation):
    """The same number of answers, all in the last fortnight, by rotation."""

    LAST_DAYS = 14

    def timetable(self, days: NDArray[np.bool_]) -> Counts:
        """Nothing, then the whole budget in equal parts."""
        total = days.sum(axis=1, dtype=np.intp) * self.cell.answers
        table = np.zeros(days.shape, dtype=np.intp)
        ends = total[:, None] * np.arange(self.LAST_DAYS + 1) // self.LAST_DAYS
        table[:, -self.LAST_DAYS :] = np.diff(ends, axis=1)
        return table


class Blocked(Plain):
    """Each item four times in a row, then the next item."""

    TIMES = 4

    def __init__(self, cell: Cell, people: int, rng: Generator) -> None:
        super().__init__(cell, people, rng)
        self.done = np.zeros(people, dtype=np.intp)

    def choose(self, person: int, at: float, places: int) -> Index:
        """The next answers of the row."""
        row = np.arange(self.done[person], self.done[person] + places) // self.TIMES % self.cell.items
        self.done[person] += places
        items: Index = self.order[person, row]
        return items


class Generic(Plain):
    """Each item again after a week and after a month; new ones and then rotation fill the sitting."""

    STEPS = (7.0, 30.0)

    def __init__(self, cell: Cell, people: int, rng: Generator) -> None:
        super().__init__(cell, people, rng)
        self.visits = np.zeros((people, cell.items), dtype=np.intp)
        self.due = np.full((people, cell.items), np.inf)

    def choose(self, person: int, at: float, places: int) -> Index:
        """Due ones, the longest due first; new ones; the rest by rotation."""
        due = self.due[person]
        waiting = np.flatnonzero(due <= at)
        return fill(places, waiting[np.argsort(due[waiting], kind="stable")], self.longest_ago(person))

    def heard(self, person: int, item: int, at: float, right: bool) -> None:
        """The next step counts from the first two visits, whatever their outcome."""
        super().heard(person, item, at, right)
        step = self.visits[person, item]
        self.visits[person, item] += 1
        self.due[person, item] = at + self.STEPS[step] if step < len(self.STEPS) else np.inf


class Expanding(Plain):
    """Intervals of 1, 3, 7, 16 and 35 days, one step on after a right answer, back to the first after a miss.

    Parameters
    ----------
    new_first : bool
        Whether five new items come before what is due; otherwise all that is due comes first.
    """

    INTERVALS = (1.0, 3.0, 7.0, 16.0, 35.0)
    NEW = 5

    def __init__(self, cell: Cell, people: int, rng: Generator, new_first: bool = True) -> None:
        super().__init__(cell, people, rng)
        self.new_first = new_first
        self.step = np.full((people, cell.items), -1, dtype=np.intp)
        self.due = np.full((people, cell.items), np.inf)

    def choose(self, person: int, at: float, places: int) -> Index:
        """New and due ones; where both run out, what is due next."""
        due, order = self.due[person], self.order[person]
        new = order[np.isinf(due[order])]
        soonest = np.argsort(due, kind="stable")[: self.cell.items - new.size]
        # A sitting on the last planned day counts as that day, whatever its hour.
        waiting = soonest[due[soonest] <= at + 0.5]
        first = (new[: self.NEW], waiting) if self.new_first else (waiting, new[: self.NEW])
        return fill(places, *first, new, soonest)

    def heard(self, person: int, item: int, at: float, right: bool) -> None:
        """One step on, or back."""
        super().heard(person, item, at, right)
        step = min(self.step[person, item] + 1, len(self.INTERVALS) - 1) if right else 0
        self.step[person, item] = step
        self.due[person, item] = at + self.INTERVALS[step]


class OracleIndex(Plain):
    """The planned-later index with the true recall of the world: gain given later visits, times the root of the wait.

    Nobody can ship it; it shows what knowing each learner would be worth.
    """

    MOST_VISITS = 6

    def __init__(self, cell: Cell, people: int, rng: Generator, learners: Learners) -> None:
        super().__init__(cell, people, rng)
        self.learners = learners

    def choose(self, person: int, at: float, places: int) -> Index:
        """The best scores."""
        score = self.scores(person, at)
        return np.argsort(-score - 1e-12 * self.rng.random(score.size), kind="stable")[:places]

    def scores(self, person: int, at: float) -> Array:
        """Score of each item."""
        cell = self.cell
        span = cell.days - at
        rounds = cell.answers * span * cell.study_share / cell.items
        visits = int(min(self.MOST_VISITS, rounds))
        later = [at + (j + 0.5) * span / visits for j in range(visits)]
        gain = self.learners.gain(np.array([person]), at, later, cell.days)[0]
        wait = (at - self.last[person]) / (cell.items / (cell.answers * cell.study_share))
        wait[np.isinf(wait)] = 1.0
        score: Array = np.maximum(gain, 1e-6) * np.sqrt(np.minimum(wait, 2.0))
        return score


def fill(places: int, *parts: Index) -> Index:
    """The first distinct items of some lists, one list after the other."""
    everything = np.concatenate(parts)
    _, first = np.unique(everything, return_index=True)
    chosen: Index = everything[np.sort(first)][:places]
    return chosen

"""Which concepts a set asks, by which items, and why.

There is no backlog: every set is planned anew from the state of memory and the time left. Concepts come in this order:
those not seen for three passes (up to a quarter of the set), the places reserved for the untried, then by score. Items
fill the minutes; no concept comes twice, no more than four of one system; the order is mixed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from quizsvc.errors import InputError
from quizsvc.memory.picking import Askable, mixed, pick_item
from quizsvc.memory.recall import Array, Stack, recall, stack
from quizsvc.memory.scoring import CONSEQUENCE_WEIGHT, STUDY_SHARE, Budget, score
from quizsvc.memory.states import ConceptState, LearnerState
from quizsvc.memory.weights import Weights

__all__ = ["Askable", "Candidate", "Outlook", "Place", "Plan", "due", "plan_set"]

DUE_BELOW = 0.70
ROLLING_DAYS = 60.0
MOST_OF_A_SYSTEM = 4
LONG_UNSEEN_PASSES = 3.0
_QUARTER = 4


class Generator(Protocol):
    """The part of `random.Random` that planning uses."""

    def random(self) -> float:
        """A float from 0 to below 1."""


@dataclass(frozen=True)
class Candidate:
    """An active concept that could be asked.

    Parameters
    ----------
    concept, system : str
        Ids; at most four concepts of a system come in a set.
    consequence : int
        1, 2 or 3; 3 can hurt people within minutes.
    state : ConceptState
        The learner's hold on it.
    items : tuple of Askable
        Its live items that are not in an open assignment.
    horizon : float or None
        Closing of homework on it, days since the epoch.
    """

    concept: str
    system: str
    consequence: int
    state: ConceptState
    items: tuple[Askable, ...]
    horizon: float | None = None


@dataclass(frozen=True)
class Place:
    """One place of a set: what is asked, how long it should take, and why in one plain sentence."""

    concept: str
    item: str
    seconds: float
    reason: str


@dataclass(frozen=True)
class Outlook:
    """What the time left covers.

    Parameters
    ----------
    horizon : float
        Day planned for, days since the epoch.
    answers_left : float
        Answers that fit in before it.
    rounds : float
        The same per concept.
    untried : int
        Concepts never asked.
    beyond_reach : int
        How many of these the time left cannot cover.
    """

    horizon: float
    answers_left: float
    rounds: float
    untried: int
    beyond_reach: int


@dataclass(frozen=True)
class Plan:
    """A set in the order it is asked, which concepts are due, and the outlook."""

    places: tuple[Place, ...]
    due: frozenset[str]
    outlook: Outlook

    @property
    def seconds(self) -> float:
        """Expected seconds of the whole set."""
        return math.fsum(place.seconds for place in self.places)


def due(
    held: Stack, learner: LearnerState, next_day: float, weights: Weights
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which concepts are due: tried, and recall on the next planned day below .70."""
    return (recall(held, learner, next_day, weights) < DUE_BELOW) & ~held.untried


def plan_set(
    candidates: Sequence[Candidate],
    learner: LearnerState,
    weights: Weights,
    *,
    now: float,
    minutes: float,
    minutes_a_day: float,
    check_day: float | None,
    long: bool,
    rng: Generator,
    next_day: float | None = None,
) -> Plan:
    """Plan one set.

    Parameters
    ----------
    candidates : sequence of Candidate
        All active concepts, those without an askable item too: they share the time left.
    learner : LearnerState
        The person.
    weights : Weights
        Weights of the model.
    now : float
        Days since the epoch.
    minutes : float
        Length of the set, minutes; the expected seconds never exceed it.
    minutes_a_day : float
        What the person means to spend on a study day, minutes.
    check_day : float or None
        Day of the check, days since the epoch; without one, or once it has passed, the horizon rolls 60 days ahead.
    long : bool
        Whether items that are no ramp items may be asked.
    rng : Generator
        Breaks ties and mixes the order.
    next_day : float or None
        Next day with a set, days since the epoch; a day ahead if unknown.

    Returns
    -------
    Plan
        Empty of places where nothing fits.

    Raises
    ------
    InputError
        Minutes that are not above 0, or a time that is not finite.
    """
    if not (math.isfinite(now) and 0 < minutes < math.inf and 0 < minutes_a_day < math.inf):
        raise InputError(
            "set-length-unusable",
            f"a set of {minutes} minutes at {minutes_a_day} minutes a day cannot be planned",
            mend="give minutes above 0",
        )
    held = stack([candidate.state for candidate in candidates])
    return _Planner(candidates, held, learner, weights, now, minutes, minutes_a_day, check_day, long, rng).plan(
        now + 1.0 if next_day is None else next_day
    )


class _Planner:
    """The steps of planning one set, over what they share."""

    def __init__(
        self,
        candidates: Sequence[Candidate],
        held: Stack,
        learner: LearnerState,
        weights: Weights,
        now: float,
        minutes: float,
        minutes_a_day: float,
        check_day: float | None,
        long: bool,
        rng: Generator,
    ) -> None:
        self.candidates, self.held, self.learner, self.weights = candidates, held, learner, weights
        self.now, self.long, self.rng = now, long, rng
        self.seconds = 60.0 * minutes
        self.dated = check_day is not None and check_day > now
        horizon = check_day if check_day is not None and check_day > now else now + ROLLING_DAYS
        self.fitting = [
            tuple(item for item in candidate.items if (long or item.ramp) and item.seconds <= self.seconds)
            for candidate in candidates
        ]
        lengths = [items[0].seconds for items in self.fitting if items]
        mean_seconds = math.fsum(lengths) / len(lengths) if lengths else 60.0
        self.set_answers = self.seconds / mean_seconds
        self.budget = Budget(len(candidates), 60.0 * minutes_a_day / mean_seconds, now, horizon)

    def plan(self, next_day: float) -> Plan:
        """Places, due concepts and outlook."""
        held, budget = self.held, self.budget
        untried = int(held.untried.sum())
        outlook = Outlook(
            horizon=budget.horizon,
            answers_left=budget.answers_left,
            rounds=budget.rounds,
            untried=untried,
            beyond_reach=max(0, untried - math.floor(budget.answers_left)),
        )
        is_due = due(held, self.learner, next_day, self.weights).tolist()
        words = frozenset(candidate.concept for candidate, flag in zip(self.candidates, is_due, strict=True) if flag)
        if not any(self.fitting):
            return Plan((), words, outlook)
        order, first, reserved = self._order(self._scores())
        chosen = self._fill(order)
        places = [
            (
                self.candidates[index].system,
                Place(
                    self.candidates[index].concept,
                    item.item,
                    item.seconds,
                    self._reason(index, index in first, is_due[index]),
                ),
            )
            for index, item in chosen
        ]
        return Plan(tuple(mixed(places, self.rng)), words, outlook)

    def _scores(self) -> Array:
        """Score for the horizon, with the score for its own closing added to each concept of open homework."""
        consequence = np.array([CONSEQUENCE_WEIGHT[candidate.consequence] for candidate in self.candidates])
        total = score(self.held, self.learner.ability, self.weights, consequence, self.budget)
        closings = np.array([_closing(candidate, self.now) for candidate in self.candidates])
        for closing in np.unique(closings[np.isfinite(closings)]):
            budget = Budget(self.budget.concepts, self.budget.answers_a_day, self.now, float(closing))
            extra = score(self.held, self.learner.ability, self.weights, consequence, budget)
            total = np.where(closings == closing, total + extra, total)
        return total

    def _order(self, scores: Array) -> tuple[list[int], set[int], set[int]]:
        """Concepts in the order they are tried for a place; those unseen long, and those reserved for the untried."""
        held, budget = self.held, self.budget
        askable = np.array([bool(items) for items in self.fitting])
        # Ties break by a random rotation: the golden ratio spreads neighbours, the generator turns the wheel.
        ties = (np.arange(len(scores)) * (math.sqrt(5) + self.rng.random()) + self.rng.random()) % 1.0
        ranked = np.lexsort((ties, -scores))
        ranked = ranked[askable[ranked]]

        wait = self.now - held.last_at
        long_unseen = ~held.untried & (wait > LONG_UNSEEN_PASSES * budget.pass_days)
        quarter = max(1, int(self.set_answers) // _QUARTER)
        first = ranked[long_unseen[ranked]]
        first = first[np.argsort(held.last_at[first], kind="stable")][:quarter]
        untried = ranked[held.untried[ranked]]
        reserved = untried[: self._reserve(len(untried), quarter)]
        order = dict.fromkeys([*first.tolist(), *reserved.tolist(), *ranked.tolist()])
        return list(order), set(first.tolist()), set(reserved.tolist())

    def _reserve(self, untried: int, quarter: int) -> int:
        """Places for the untried: a steady share up to a quarter of the set, more where only that reaches them all."""
        if not untried:
            return 0
        budget = self.budget
        share = min(1.0, self.set_answers / budget.answers_a_day)
        days = budget.horizon - self.now
        steady = 0
        if days > budget.pass_days:
            sessions = max(1.0, math.floor((days - budget.pass_days) * STUDY_SHARE))
            steady = min(quarter, math.ceil(untried / sessions * share))
        last = 0
        if budget.answers_left >= untried:
            last = math.ceil(untried / max(1.0, math.floor(days * STUDY_SHARE)) * share)
        return max(steady, last)

    def _fill(self, order: Sequence[int]) -> list[tuple[int, Askable]]:
        """Take concepts in order while an item of theirs fits the seconds left."""
        left = self.seconds
        shortest = min(item.seconds for items in self.fitting for item in items)
        of_system: dict[str, int] = {}
        chosen = []
        for index in order:
            if left < shortest:
                break
            candidate = self.candidates[index]
            if of_system.get(candidate.system, 0) >= MOST_OF_A_SYSTEM:
                continue
            item = pick_item(
                [item for item in self.fitting[index] if item.seconds <= left], candidate.state, self.now, self.rng
            )
            if item is None:
                continue
            chosen.append((index, item))
            left -= item.seconds
            of_system[candidate.system] = of_system.get(candidate.system, 0) + 1
        return chosen

    def _reason(self, index: int, long_unseen: bool, is_due: bool) -> str:
        """One plain sentence."""
        candidate = self.candidates[index]
        if _closing(candidate, self.now) < math.inf:
            return "It is in homework that is still open."
        if self.held.untried[index]:
            return "You have not been asked this yet."
        if candidate.state.last_missed:
            return "You missed it last time, so it is brought forward."
        if long_unseen:
            return "You have not seen it for a long time."
        if is_due:
            return "It is due: by your next day it may have faded."
        if self.dated:
            return "Asking it now helps most towards your check."
        return "Asking it now helps it to last."


def _closing(candidate: Candidate, now: float) -> float:
    """Closing of homework that is still open; +inf without one."""
    return candidate.horizon if candidate.horizon is not None and candidate.horizon > now else math.inf

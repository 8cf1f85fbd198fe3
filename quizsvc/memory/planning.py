"""Which concepts a set asks, by which items, and why.

There is no backlog: every set is planned anew from the state of memory and the time left. Concepts get places in this
order: those not seen for three passes (up to a quarter of the set), those reserved for the untried, then by score; but
a concept that was missed goes before any that was last answered right in the same sitting. Items fill the minutes; no
concept comes twice, no more than four of one system; the order is mixed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from quizsvc.errors import InputError
from quizsvc.memory.picking import Generator, mixed, pick_item
from quizsvc.memory.pool import Askable, Candidate, Pool, pool
from quizsvc.memory.recall import Array, Stack, recall
from quizsvc.memory.scoring import STUDY_SHARE, Budget, score
from quizsvc.memory.states import LearnerState
from quizsvc.memory.weights import Weights

__all__ = ["Askable", "Candidate", "Outlook", "Place", "Plan", "Pool", "due", "plan_set", "pool"]

DUE_BELOW = 0.70
ROLLING_DAYS = 60.0
MOST_OF_A_SYSTEM = 4
LONG_UNSEEN_PASSES = 3.0
SITTING_DAYS = 4 / 24
MINUTES_OF_A_DAY = 1440
_QUARTER = 4
_TIE = 1e-9


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


def due(held: Stack, learner: LearnerState, next_day: float, weights: Weights) -> NDArray[np.bool_]:
    """Which concepts are due: tried, and recall on the next planned day below .70.

    Parameters
    ----------
    held : Stack
        The concept states.
    learner : LearnerState
        The person.
    next_day : float
        Next day with a set, days since the epoch.
    weights : Weights
        Weights of the model.

    Returns
    -------
    ndarray of bool, shape (concepts,)
        False for the untried: nothing is held that could fade.
    """
    return (recall(held, learner, next_day, weights) < DUE_BELOW) & ~held.untried


def plan_set(
    candidates: Sequence[Candidate] | Pool,
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
    candidates : sequence of Candidate, or Pool
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
        Minutes that are not above 0 or more than a day has, or a time that is not finite.
    """
    if not (0 < minutes <= MINUTES_OF_A_DAY and 0 < minutes_a_day <= MINUTES_OF_A_DAY):
        raise InputError(
            "set-length-unusable",
            f"a set of {minutes} minutes at {minutes_a_day} minutes a day cannot be planned",
            mend=f"give minutes above 0 and up to {MINUTES_OF_A_DAY}",
        )
    if not (math.isfinite(now) and (check_day is None or math.isfinite(check_day))):
        raise InputError(
            "set-time-unusable",
            f"a set at {now} d for a check at {check_day} d cannot be planned",
            mend="give finite days since the epoch, and no check day if there is none",
        )
    choice = candidates if isinstance(candidates, Pool) else pool(candidates)
    dated = check_day is not None and check_day > now
    horizon = check_day if check_day is not None and dated else now + ROLLING_DAYS
    seconds = 60.0 * minutes
    answer_seconds = choice.mean_seconds(long)
    budget = Budget(len(choice.candidates), 60.0 * minutes_a_day / answer_seconds, now, horizon)
    untried = int(np.count_nonzero(choice.held.untried))
    is_due = due(choice.held, learner, now + 1.0 if next_day is None else next_day, weights)

    chosen = []
    if choice.candidates:
        scores = _scores(choice, learner, weights, budget)
        turn = _Turn(choice, scores, budget, seconds, seconds / answer_seconds, long, rng)
        chosen = _missed_before_right(mixed(turn.fill(), rng), choice.held)
    return Plan(
        places=tuple(
            Place(
                choice.candidates[index].concept,
                item.item,
                item.seconds,
                _reason(choice.candidates[index], budget, bool(is_due[index]), dated),
            )
            for index, item in chosen
        ),
        due=frozenset(choice.names[is_due].tolist()),
        outlook=Outlook(
            horizon=horizon,
            answers_left=budget.answers_left,
            rounds=budget.rounds,
            untried=untried,
            beyond_reach=untried - math.floor(min(untried, budget.answers_left)),
        ),
    )


def _scores(choice: Pool, learner: LearnerState, weights: Weights, budget: Budget) -> Array:
    """Score for the horizon, with the score for its own closing added to each concept of open homework."""
    total = score(choice.held, learner.ability, weights, choice.consequence, budget)
    is_open = np.isfinite(choice.closing) & (choice.closing > budget.now)
    for closing in sorted(set(choice.closing[is_open].tolist())):
        until = Budget(budget.concepts, budget.answers_a_day, budget.now, closing)
        extra = score(choice.held, learner.ability, weights, choice.consequence, until)
        total += np.where(choice.closing == closing, extra, 0.0)
    return total


@dataclass(frozen=True)
class _Turn:
    """The filling of one set."""

    choice: Pool
    scores: Array
    budget: Budget
    seconds: float
    answers: float  # that fit into the set
    long: bool
    rng: Generator

    def order(self) -> Iterator[int]:
        """Askable concepts in the order in which they are offered a place; some come again further down."""
        held, budget = self.choice.held, self.budget
        # Ties break at random: the golden ratio spreads neighbours, the generator turns and stretches the wheel.
        golden = (1 + math.sqrt(5)) / 2 + self.rng.random()
        ties = (np.arange(len(held)) * golden + self.rng.random()) % 1.0
        ranked = np.argsort(self.scores * (-1.0 - _TIE * ties))
        ranked = ranked[(self.choice.shortest(self.long) <= self.seconds)[ranked]]

        quarter = max(1, int(self.answers) // _QUARTER)
        long_unseen = ~held.untried & (budget.now - held.last_at > LONG_UNSEEN_PASSES * budget.pass_days)
        first = ranked[long_unseen[ranked]]
        first = first[np.argsort(held.last_at[first], kind="stable")][:quarter]
        untried = ranked[held.untried[ranked]]
        reserved = untried[: self.reserve(untried.size, quarter)]
        return chain(first.tolist(), reserved.tolist(), ranked.tolist())

    def reserve(self, untried: int, quarter: int) -> int:
        """Places for the untried: a steady share up to a quarter of the set, more where only that reaches them all."""
        days = self.budget.horizon - self.budget.now
        share = min(1.0, self.answers / self.budget.answers_a_day)
        steady = last = 0
        if days > self.budget.pass_days:
            study_days = max(1, math.floor((days - self.budget.pass_days) * STUDY_SHARE))
            steady = min(quarter, math.ceil(untried / study_days * share))
        if self.budget.answers_left >= untried:
            last = math.ceil(untried / max(1, math.floor(days * STUDY_SHARE)) * share)
        return max(steady, last)

    def fill(self) -> list[tuple[str, tuple[int, Askable]]]:
        """Concepts and items, with their systems, until no item fits the seconds left."""
        candidates, held = self.choice.candidates, self.choice.held
        shortest = float(self.choice.shortest(self.long).min())
        left = self.seconds
        of_system: dict[str, int] = {}
        chosen: list[tuple[str, tuple[int, Askable]]] = []
        tried: dict[int, bool] = {}

        def offer(index: int) -> bool:
            """Give a concept its place; False where it has to wait for another set."""
            nonlocal left
            if index not in tried:
                candidate = candidates[index]
                fitting = [item for item in candidate.items if item.seconds <= left and (self.long or item.ramp)]
                if of_system.get(candidate.system, 0) >= MOST_OF_A_SYSTEM:
                    fitting = []
                item = pick_item(fitting, candidate.state, self.budget.now, self.rng)
                tried[index] = item is not None
                if item is not None:
                    chosen.append((candidate.system, (index, item)))
                    left -= item.seconds
                    of_system[candidate.system] = of_system.get(candidate.system, 0) + 1
            return tried[index]

        for index in self.order():
            if left < shortest:
                break
            missed = _missed_beside(index, held)
            missed = missed[(self.choice.shortest(self.long) <= self.seconds)[missed]]
            best_first = missed[np.argsort(-self.scores[missed], kind="stable")].tolist()
            if all([offer(other) for other in best_first]):
                offer(index)
        return chosen


def _missed_beside(index: int, held: Stack) -> NDArray[np.intp]:
    """Concepts missed in the sitting in which this one was answered right; none where it was not answered right.

    A sitting is told by time, not by date: four hours either way, the longest set.
    """
    if held.untried[index] or held.missed[index]:
        return np.empty(0, dtype=np.intp)
    return np.flatnonzero(held.missed & (np.abs(held.last_at - held.last_at[index]) <= SITTING_DAYS))


def _missed_before_right(chosen: Sequence[tuple[int, Askable]], held: Stack) -> list[tuple[int, Askable]]:
    """The same places, but what was missed in a sitting pulled ahead of what was right in it."""
    waiting = dict(chosen)
    result = []
    for index, _ in chosen:
        for other in (*_missed_beside(index, held).tolist(), index):
            if other in waiting:
                result.append((other, waiting.pop(other)))
    return result


def _reason(candidate: Candidate, budget: Budget, is_due: bool, dated: bool) -> str:
    """One plain sentence; no number, since an expectation may not be shown yet."""
    state = candidate.state
    if candidate.horizon is not None and candidate.horizon > budget.now:
        return "It is in homework that is still open."
    if state.last_at is None:
        return "You have not been asked this yet."
    if state.last_missed:
        return "You missed it last time, so it is brought forward."
    if budget.now - state.last_at > LONG_UNSEEN_PASSES * budget.pass_days:
        return "You have not seen it for a long time."
    if is_due:
        return "It is due: by your next day it may have faded."
    return "Asking it now helps most towards your check." if dated else "Asking it now helps it to last."

"""Which concepts a set asks, by which items, and why.

There is no backlog: every set is planned anew from the state of memory and the time left. `filling` has the order in
which concepts are offered places. Items fill the minutes; no concept comes twice, no more than four of one system; the
order is mixed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quizsvc.errors import InputError
from quizsvc.memory.filling import LONG_UNSEEN_PASSES, Turn
from quizsvc.memory.picking import Generator, mixed
from quizsvc.memory.pool import Askable, Candidate, Pool, pool
from quizsvc.memory.recall import Array, Stack, recall
from quizsvc.memory.scoring import STUDY_SHARE, Budget, score
from quizsvc.memory.states import LearnerState
from quizsvc.memory.weights import Weights

__all__ = ["Askable", "Candidate", "Outlook", "Place", "Plan", "Pool", "due", "plan_set", "pool"]

DUE_BELOW = 0.70
ROLLING_DAYS = 60.0
MINUTES_OF_A_DAY = 1440


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

    @classmethod
    def of(cls, budget: Budget, untried: int) -> Outlook:
        """What a budget covers, with so many concepts never asked."""
        return cls(
            horizon=budget.horizon,
            answers_left=budget.answers_left,
            rounds=budget.rounds,
            untried=untried,
            beyond_reach=untried - math.floor(min(untried, budget.answers_left)),
        )


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
    study_share: float = STUDY_SHARE,
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
    study_share : float
        Days with a set, as a share of all days, above 0 and up to 1.

    Returns
    -------
    Plan
        Empty of places where nothing fits.

    Raises
    ------
    InputError
        Minutes that are not above 0 or more than a day has, a share of days that is none, or a time that is not finite.
    """
    if not 0 < study_share <= 1:
        raise InputError(
            "set-share-unusable",
            f"sets on {study_share} of all days cannot be planned",
            mend="give a share above 0 and up to 1",
        )
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
    budget = Budget(len(choice.candidates), 60.0 * minutes_a_day / answer_seconds, now, horizon, study_share)
    untried = int(np.count_nonzero(choice.held.untried))
    is_due = due(choice.held, learner, now + 1.0 if next_day is None else next_day, weights)

    chosen: list[tuple[int, Askable]] = []
    ahead = frozenset[int]()
    if choice.candidates:
        scores = _scores(choice, learner, weights, budget)
        turn = Turn(choice, scores, budget, seconds, seconds / answer_seconds, long, rng, is_due)
        filled, ahead = turn.fill()
        chosen = turn.in_order(mixed(filled, rng))
    return Plan(
        places=tuple(
            Place(
                choice.candidates[index].concept,
                item.item,
                item.seconds,
                _reason(choice.candidates[index], budget, bool(is_due[index]), dated, index in ahead),
            )
            for index, item in chosen
        ),
        due=frozenset(choice.names[is_due].tolist()),
        outlook=Outlook.of(budget, untried),
    )


def _scores(choice: Pool, learner: LearnerState, weights: Weights, budget: Budget) -> Array:
    """Score for the horizon, with the score for its own closing added to each concept of open homework."""
    total = score(choice.held, learner.ability, weights, choice.consequence, budget)
    is_open = np.isfinite(choice.closing) & (choice.closing > budget.now)
    for closing in sorted(set(choice.closing[is_open].tolist())):
        until = Budget(budget.concepts, budget.answers_a_day, budget.now, closing, budget.study_share)
        extra = score(choice.held, learner.ability, weights, choice.consequence, until)
        total += np.where(choice.closing == closing, extra, 0.0)
    return total


def _reason(candidate: Candidate, budget: Budget, is_due: bool, dated: bool, ahead: bool) -> str:
    """One plain sentence; no number, since an expectation may not be shown yet.

    What was missed is not named: the title of a concept can tell the key of the question to come.
    """
    state = candidate.state
    if candidate.horizon is not None and candidate.horizon > budget.now:
        return "It is in homework that is still open."
    if ahead and not state.last_missed:
        return "What builds on this was not answered right, so this comes before it."
    if state.last_at is None:
        return "You have not been asked this yet."
    if state.last_missed:
        done = "passed on" if candidate.passed else "missed"
        return f"You {done} it last time, so it is brought forward."
    if candidate.cover:
        return "Before a check every system, limit and drill comes up once; this one has not yet."
    if budget.now - state.last_at > LONG_UNSEEN_PASSES * budget.pass_days:
        return "You have not seen it for a long time."
    if is_due:
        return "It is due: by your next day it may have faded."
    if candidate.asked_at_check:
        which = "at your last check" if candidate.asked_at_last else "at a check before your last"
        return f"It was asked {which}, so it comes oftener."
    return "Asking it now helps most towards your check." if dated else "Asking it now helps it to last."

"""The check-day expectation: how many of twenty fresh items a learner would get right, with a plausible range.

A check is simulated many times: the ability is drawn once for each, the offset of every concept for itself, then each
item is right or not by the recall of that moment. What is not known of the learner widens the range this way; what the
model itself gets wrong does not.

Ability and offsets have the variances U and V of that day, which creep back while nothing is asked. That is the doubt
about somebody who changes: one whose ability and offsets wander about their means with unchanging spread, losing 1/e of
what they were in 2 creep_days. For such people the range holds its eight checks of ten; for people who stay as they are
it is too wide, the more the longer nothing is asked. `python -m tests.benchmarks range` measures both, and people of
other models.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.planning import DUE_BELOW
from quizsvc.memory.pool import CONSEQUENCE_WEIGHT
from quizsvc.memory.recall import Stack, all_log_odds, recall, variances
from quizsvc.memory.scoring import Budget, gain
from quizsvc.memory.states import LearnerState
from quizsvc.memory.weights import Weights

__all__ = [
    "BLUEPRINT_ITEMS",
    "Expectation",
    "SystemExpectation",
    "blueprint",
    "expectation",
    "fades",
    "worth_of_a_minute",
]

Array = NDArray[np.float64]

BLUEPRINT_ITEMS = 20
"""Items of the check that is simulated."""

CHECKS = 2000
"""Simulated checks: the ends of the range wobble by less than half an item."""

RANGE = 0.80
"""Share of checks that the plausible range holds."""

_RAREST_END = 10


@dataclass(frozen=True)
class SystemExpectation:
    """What is expected of one system: `share` right of its items, with its plausible range; 0 to 1."""

    system: str
    share: float
    low: float
    high: float
    concepts: int
    untried: int


@dataclass(frozen=True)
class Expectation:
    """What is expected of a check.

    Parameters
    ----------
    items : int
        Items of the blueprint.
    expected : float
        Mean number right.
    low, high : int
        Plausible range: the whole numbers around the median whose share of the simulated checks comes nearest to eight
        of ten, above or below, so that it is neither too wide nor too narrow on the average.
    untried : int
        Concepts of the blueprint's scope that were never asked.
    systems : tuple of SystemExpectation
        In the order of their first concept.
    """

    items: int
    expected: float
    low: int
    high: int
    untried: int
    systems: tuple[SystemExpectation, ...]


def blueprint(consequences: Sequence[int], items: int = BLUEPRINT_ITEMS) -> Array:
    """How many of the items fall on each concept, on the average over checks.

    Parameters
    ----------
    consequences : sequence of int
        1 to 3 for each concept.
    items : int
        Items of one check.

    Returns
    -------
    ndarray of float64, shape (concepts,)
        Sums to `items`, in proportion to the weight 1, 1.25 or 1.5. No concept has more than one while there are as
        many concepts as items.
    """
    weight = np.array([CONSEQUENCE_WEIGHT[one] for one in consequences], dtype=np.float64)
    share: Array = items * weight / weight.sum()
    if len(weight) >= items:
        # What is cut off above one goes to the others, until none is above.
        while (share > 1.0 + 1e-12).any():
            full = share >= 1.0
            rest = items - full.sum()
            share = np.where(full, 1.0, rest * weight / weight[~full].sum())
    return share


def expectation(
    held: Stack,
    learner: LearnerState,
    weights: Weights,
    *,
    at: float,
    systems: Sequence[str],
    consequences: Sequence[int],
    rng: np.random.Generator,
    items: int = BLUEPRINT_ITEMS,
    checks: int = CHECKS,
) -> Expectation:
    """Simulate the check of a day.

    Parameters
    ----------
    held : Stack
        The active concepts' states; at least one.
    learner : LearnerState
        The person.
    weights : Weights
        Weights of the model.
    at : float
        Moment of the check, days since the epoch; nothing is practised until then.
    systems, consequences : sequence
        Of each concept.
    rng : numpy.random.Generator
        Draws the checks.
    items : int
        Items of one check.
    checks : int
        How many are simulated.

    Returns
    -------
    Expectation
        Counted in items right.
    """
    share = blueprint(consequences, items)
    chance = _drawn_chances(held, learner, weights, at, rng, checks)
    asked = _drawn_places(share, rng, checks)
    found = rng.binomial(asked.astype(np.int64), chance).sum(axis=1)
    low, high = _range(found, items)
    return Expectation(
        items=items,
        expected=float((share * chance).sum(axis=1).mean()),
        low=low,
        high=high,
        untried=int(held.untried.sum()),
        systems=tuple(
            _of_system(system, np.array([one == system for one in systems]), held, chance)
            for system in dict.fromkeys(systems)
        ),
    )


def fades(held: Stack, learner: LearnerState, weights: Weights, *, at: float, days: int = 7) -> tuple[int | None, ...]:
    """On which of the coming days recall of each concept falls below .70, if nothing is asked.

    Parameters
    ----------
    held : Stack
        The concept states.
    learner : LearnerState
        The person.
    weights : Weights
        Weights of the model.
    at : float
        Now, days since the epoch.
    days : int
        How far to look.

    Returns
    -------
    tuple of int or None, by concept
        1 for within a day; None where it holds, is below already, or was never asked.
    """
    over_days = np.array([recall(held, learner, at + day, weights) for day in range(days + 1)])
    below = over_days < DUE_BELOW
    fading = below.any(axis=0) & ~below[0] & ~held.untried
    return tuple(int(day) if fell else None for day, fell in zip(below.argmax(axis=0), fading, strict=True))


def worth_of_a_minute(
    held: Stack,
    learner: LearnerState,
    weights: Weights,
    budget: Budget,
    *,
    consequences: Sequence[int],
    seconds: Sequence[float],
    items: int = BLUEPRINT_ITEMS,
) -> Array:
    """How much a minute spent on each concept now adds to the expected number right at the horizon.

    Parameters
    ----------
    held : Stack
        The active concepts' states; at least one.
    learner : LearnerState
        The person.
    weights : Weights
        Weights of the model.
    budget : Budget
        Now, the horizon, and the later visits that time allows anyway: an answer is worth what the planner takes it to
        be worth, its Delta, without what the planner adds for waiting, for a miss or for homework.
    consequences : sequence of int
        1 to 3 for each concept.
    seconds : sequence of float
        Time of an answer by concept, s; +inf where it cannot be asked.
    items : int
        Items of one check.

    Returns
    -------
    ndarray of float64, shape (concepts,)
        Items right per minute: items of the blueprint that fall on the concept, times Delta, over the minutes of an
        answer.
    """
    delta = gain(held, learner.ability, weights, now=budget.now, horizon=budget.horizon, visits=budget.visits)
    worth: Array = blueprint(consequences, items) * delta * 60.0 / np.asarray(seconds, dtype=np.float64)
    return worth


def _drawn_chances(
    held: Stack, learner: LearnerState, weights: Weights, at: float, rng: np.random.Generator, checks: int
) -> Array:
    """Chance of a right answer by check and concept."""
    ability, offset = variances(held, learner, at, weights)
    odds = all_log_odds(held, learner, at, weights, None)
    odds = odds + math.sqrt(ability) * rng.standard_normal((checks, 1))
    odds = odds + np.sqrt(offset) * rng.standard_normal((checks, len(held)))
    chances: Array = 0.5 + 0.5 * np.tanh(0.5 * odds)
    return chances


def _drawn_places(share: Array, rng: np.random.Generator, checks: int) -> Array:
    """How often each concept is asked in each check, drawn systematically: every check has as many items."""
    order = rng.permuted(np.tile(np.arange(len(share)), (checks, 1)), axis=1)
    ends = np.cumsum(share[order], axis=1)
    start = rng.random((checks, 1))
    counted = np.floor(ends + start + 1e-9)
    places = np.diff(counted, axis=1, prepend=np.floor(start))
    asked = np.empty_like(places)
    np.put_along_axis(asked, order, places, axis=1)
    return asked


def _range(found: NDArray[np.int64], items: int) -> tuple[int, int]:
    """The run of whole numbers around the middle whose share of the checks comes nearest to the nominal one.

    Quantiles would not do: both ends count too, which makes a range of whole items hold up to a tenth more. An end is
    at most ten times rarer than the commonest number: near full marks a run down to 0 holds as much as one down to 16.
    """
    counts = np.bincount(found, minlength=items + 1)
    below = np.concatenate(([0.0], counts.cumsum() / len(found)))
    middle = int(np.median(found))
    common = counts * _RAREST_END >= counts.max()
    runs = (
        (abs(below[high + 1] - below[low] - RANGE) + abs(below[low] - (1.0 - below[high + 1])) / 4, low, high)
        for low in range(middle + 1)
        for high in range(middle, items + 1)
        # A single number would claim a certainty that nobody has.
        if low < high and common[low] and common[high]
    )
    # Where nearly all checks came to one number, the run takes in the one beside it.
    _, low, high = min(runs, default=(0.0, max(middle - 1, 0), max(middle, 1)))
    return low, high


def _of_system(system: str, which: NDArray[np.bool_], held: Stack, chance: Array) -> SystemExpectation:
    mean = chance[:, which].mean(axis=1)
    low, high = np.quantile(mean, ((1.0 - RANGE) / 2.0, (1.0 + RANGE) / 2.0))
    return SystemExpectation(
        system=system,
        share=float(mean.mean()),
        low=float(low),
        high=float(high),
        concepts=int(which.sum()),
        untried=int(held.untried[which].sum()),
    )

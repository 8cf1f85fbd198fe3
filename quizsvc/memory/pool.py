"""The active concepts of a person and the ways to ask them, once as objects and once as arrays."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quizsvc.errors import InputError
from quizsvc.memory.recall import Array, Stack, stack
from quizsvc.memory.states import ConceptState

__all__ = ["Askable", "Candidate", "Pool", "pool"]

CONSEQUENCE_WEIGHT = {1: 1.0, 2: 1.25, 3: 1.5}
"""Factor of the score by consequence of a wrong belief."""

ASKED_AT_CHECK = 1.25
"""Factor of the score for what was asked at a check, as much as for a miss."""

_USUAL_SECONDS = 60.0


@dataclass(frozen=True)
class Askable:
    """One way of asking a concept.

    Parameters
    ----------
    item, kind : str
        Id and kind.
    seconds : float
        Expected time, s.
    ramp : bool
        Fit for a Short set.
    last_asked : float or None
        When this person was asked it last, days since the epoch.
    generated : bool
        Whether it draws new numbers each time.
    asks : int
        How often this person was asked it.
    numbers_met : float or None
        Of one that draws numbers, when those met longest ago were met, days since the epoch; None while it has others.
    """

    item: str
    kind: str
    seconds: float
    ramp: bool
    last_asked: float | None = None
    generated: bool = False
    asks: int = 0
    numbers_met: float | None = None

    def __post_init__(self) -> None:
        if not 0 < self.seconds < math.inf:
            raise InputError(
                "item-seconds-unusable",
                f"expected time of {self.seconds} s cannot be planned",
                where=f"item '{self.item}'",
                mend="give seconds above 0",
            )

    @property
    def met_at(self) -> float:
        """When the wording that comes next was met last, days since the epoch; -inf where it was not."""
        met = self.numbers_met if self.generated else self.last_asked
        return -math.inf if met is None else met


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
    cover : tuple of str
        What the last week before a check has still to go over and asking this does, such as its system.
    asked_at_check : bool
        Whether it was asked at a check not long ago.
    asked_at_last : bool
        Whether that was the last check told of.
    first : tuple of str
        Ids of the concepts to hold before it.
    folder : str
        Where it belongs, such as an aircraft: two may name a system alike.
    passed : bool
        Whether the last answer was a pass: planned like a miss, but not called one.
    """

    concept: str
    system: str
    consequence: int
    state: ConceptState
    items: tuple[Askable, ...]
    horizon: float | None = None
    cover: tuple[str, ...] = ()
    asked_at_check: bool = False
    asked_at_last: bool = True
    first: tuple[str, ...] = ()
    folder: str = ""
    passed: bool = False

    def __post_init__(self) -> None:
        if self.consequence not in CONSEQUENCE_WEIGHT:
            raise InputError(
                "consequence-unknown",
                f"consequence {self.consequence} is not one of the three",
                where=f"concept '{self.concept}'",
                mend="accepted: 1, 2, 3",
            )


@dataclass(frozen=True)
class Pool:
    """Candidates with what planning reads of all of them at once; build it with `pool`.

    Parameters
    ----------
    candidates : tuple of Candidate
        The concepts.
    names : ndarray of str objects, shape (concepts,)
        Their concept ids.
    held : Stack
        Their states.
    consequence, closing : ndarray of float64, shape (concepts,)
        Factor of the score; closing of homework, days since the epoch, +inf without.
    to_cover : ndarray of bool, shape (concepts,)
        Whether asking it goes over something that the last week before a check still has to.
    shortest_ramp, shortest_any : ndarray of float64, shape (concepts,)
        Seconds of the shortest ramp item, and of the shortest item; +inf without one.
    met_ramp, met_any : ndarray of float64, shape (concepts,)
        When that wording of a ramp item, and of an item, was met that was met longest ago, days since the epoch;
        -inf where there is one with new numbers or never met, +inf without one.
    mean_ramp, mean_any : float
        Seconds of a ramp item, and of an item: mean over the concepts of the means over their items.
    first : mapping of int to tuple of int
        Of the concepts that were missed: the positions of those to hold before them.
    """

    candidates: tuple[Candidate, ...]
    names: NDArray[np.object_]
    held: Stack
    consequence: Array
    closing: Array
    to_cover: NDArray[np.bool_]
    shortest_ramp: Array
    shortest_any: Array
    met_ramp: Array
    met_any: Array
    mean_ramp: float
    mean_any: float
    first: Mapping[int, tuple[int, ...]]

    def shortest(self, long: bool) -> Array:
        """Seconds of the shortest item that the length of set allows, by concept; +inf without one."""
        return self.shortest_any if long else self.shortest_ramp

    def met(self, long: bool) -> Array:
        """When the wording met longest ago was met, of those that the length of set allows, by concept."""
        return self.met_any if long else self.met_ramp

    def mean_seconds(self, long: bool) -> float:
        """Expected seconds of an answer in the length of set."""
        return self.mean_any if long else self.mean_ramp


def pool(candidates: Sequence[Candidate]) -> Pool:
    """The candidates as a pool, to be built once for a plan.

    Parameters
    ----------
    candidates : sequence of Candidate
        All active concepts, those without an askable item too.

    Returns
    -------
    Pool
        Concepts in the order given.
    """
    any_seconds = [[item.seconds for item in candidate.items] for candidate in candidates]
    ramp_seconds = [[item.seconds for item in candidate.items if item.ramp] for candidate in candidates]
    met = np.array([_longest_ago(candidate.items) for candidate in candidates], dtype=np.float64).reshape(-1, 2)
    return Pool(
        candidates=tuple(candidates),
        names=np.array([candidate.concept for candidate in candidates], dtype=np.object_),
        held=stack([candidate.state for candidate in candidates]),
        consequence=np.array([_weight(candidate) for candidate in candidates], dtype=np.float64),
        closing=np.array(
            [math.inf if candidate.horizon is None else candidate.horizon for candidate in candidates], dtype=np.float64
        ),
        to_cover=np.array([bool(candidate.cover) for candidate in candidates], dtype=np.bool_),
        shortest_ramp=np.array([min(seconds, default=math.inf) for seconds in ramp_seconds], dtype=np.float64),
        shortest_any=np.array([min(seconds, default=math.inf) for seconds in any_seconds], dtype=np.float64),
        met_ramp=met[:, 0],
        met_any=met[:, 1],
        mean_ramp=_mean_of_means(ramp_seconds),
        mean_any=_mean_of_means(any_seconds),
        first=_first(candidates),
    )


def _first(candidates: Sequence[Candidate]) -> dict[int, tuple[int, ...]]:
    missed = [number for number, one in enumerate(candidates) if one.first and one.state.last_missed]
    if not missed:
        return {}
    place = {one.concept: number for number, one in enumerate(candidates)}
    return {number: tuple(place[name] for name in candidates[number].first if name in place) for number in missed}


def _weight(candidate: Candidate) -> float:
    return CONSEQUENCE_WEIGHT[candidate.consequence] * (ASKED_AT_CHECK if candidate.asked_at_check else 1.0)


def _longest_ago(items: Sequence[Askable]) -> tuple[float, float]:
    """Of ramp items, and of all: when the wording met longest ago was met; +inf without one."""
    of_ramp = of_any = math.inf
    for item in items:
        met = item.numbers_met if item.generated else item.last_asked
        if met is None:
            met = -math.inf
        if met < of_any:
            of_any = met
        if item.ramp and met < of_ramp:
            of_ramp = met
    return of_ramp, of_any


def _mean_of_means(groups: Sequence[Sequence[float]]) -> float:
    means = [sum(group) / len(group) for group in groups if group]
    return sum(means) / len(means) if means else _USUAL_SECONDS

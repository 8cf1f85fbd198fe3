"""The active concepts of a person and the ways to ask them, once as objects and once as arrays."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quizsvc.errors import InputError
from quizsvc.memory.recall import Array, Stack, stack
from quizsvc.memory.states import ConceptState

__all__ = ["Askable", "Candidate", "Pool", "pool"]

CONSEQUENCE_WEIGHT = {1: 1.0, 2: 1.25, 3: 1.5}
"""Factor of the score by consequence of a wrong belief."""

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
    """

    item: str
    kind: str
    seconds: float
    ramp: bool
    last_asked: float | None = None
    generated: bool = False
    asks: int = 0

    def __post_init__(self) -> None:
        if not 0 < self.seconds < math.inf:
            raise InputError(
                "item-seconds-unusable",
                f"expected time of {self.seconds} s cannot be planned",
                where=f"item '{self.item}'",
                mend="give seconds above 0",
            )


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
    shortest_ramp, shortest_any : ndarray of float64, shape (concepts,)
        Seconds of the shortest ramp item, and of the shortest item; +inf without one.
    mean_ramp, mean_any : float
        Seconds of a ramp item, and of an item: mean over the concepts of the means over their items.
    """

    candidates: tuple[Candidate, ...]
    names: NDArray[np.object_]
    held: Stack
    consequence: Array
    closing: Array
    shortest_ramp: Array
    shortest_any: Array
    mean_ramp: float
    mean_any: float

    def shortest(self, long: bool) -> Array:
        """Seconds of the shortest item that the length of set allows, by concept; +inf without one."""
        return self.shortest_any if long else self.shortest_ramp

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
    return Pool(
        candidates=tuple(candidates),
        names=np.array([candidate.concept for candidate in candidates], dtype=np.object_),
        held=stack([candidate.state for candidate in candidates]),
        consequence=np.array([CONSEQUENCE_WEIGHT[candidate.consequence] for candidate in candidates], dtype=np.float64),
        closing=np.array(
            [math.inf if candidate.horizon is None else candidate.horizon for candidate in candidates], dtype=np.float64
        ),
        shortest_ramp=np.array([min(seconds, default=math.inf) for seconds in ramp_seconds], dtype=np.float64),
        shortest_any=np.array([min(seconds, default=math.inf) for seconds in any_seconds], dtype=np.float64),
        mean_ramp=_mean_of_means(ramp_seconds),
        mean_any=_mean_of_means(any_seconds),
    )


def _mean_of_means(groups: Sequence[Sequence[float]]) -> float:
    means = [sum(group) / len(group) for group in groups if group]
    return sum(means) / len(means) if means else _USUAL_SECONDS

"""World B: each item has one half-life, which answers stretch or halve.

    recall = f 2 ** (-dt / (h / r)) + (1 - f) 2 ** (-dt / (h r))

A right answer multiplies the half-life h by 1 + A (1 - recall) ** .7, so a late one pays more; a miss halves it, down
to the item's first half-life. An adaptation of the family of half-life models, and no published fit.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.simulation.people import Array, Crowd, Index

__all__ = ["HalfLife", "people_of"]

LATE = 0.7
"""Exponent of what was forgotten, in the stretch of a right answer."""

# Ours, set so that the first-day recall and the recall by rotation come near the printed ones of the scheduling study.
_FIRST_DAYS, _STRETCH, _FAST, _RATIO = 6.5, 3.2, 0.5, 4.0
_PERSON_SD, _ITEM_SD = 0.25, 0.75


class HalfLife:
    """Learners of world B.

    Parameters
    ----------
    first : ndarray of float64, shape (people, items)
        First half-life, days; also the least.
    stretch : ndarray of float64, shape (people, items)
        A.
    fast : ndarray of float64, shape (people, 1)
        Share f of the fast exponential.
    ratio : float
        r; the two half-lives are h / r and h r.
    """

    def __init__(self, first: Array, stretch: Array, fast: Array, ratio: float = _RATIO) -> None:
        self.first, self.stretch, self.fast, self.ratio = first, stretch, fast, ratio
        self.half = first.copy()
        self.last = np.full(first.shape, -np.inf)

    def _fade(self, half: Array, fast: Array, days: Array) -> Array:
        half_lives = np.maximum(days, 0.0) / half
        chance: Array = fast * np.exp2(-half_lives * self.ratio) + (1.0 - fast) * np.exp2(-half_lives / self.ratio)
        return chance

    def recall_of(self, who: Index, what: Index, at: float | Array) -> Array:
        """Recall of one item for each of some people."""
        return self._fade(self.half[who, what], self.fast[who, 0], at - self.last[who, what])

    def recall(self, at: float) -> Array:
        """Recall of every item by everybody, shape (people, items)."""
        return self._fade(self.half, self.fast, at - self.last)

    chance_of = recall_of

    def answer(
        self, who: Index, what: Index, at: float | Array, right: NDArray[np.bool_], seconds: float | Array
    ) -> None:
        """Everybody in `who` answers an item."""
        half, first = self.half[who, what], self.first[who, what]
        after_right, after_miss = self._stretched(half, first, self.stretch[who, what], self.recall_of(who, what, at))
        seen = np.isfinite(self.last[who, what])
        self.half[who, what] = np.where(seen, np.where(right, after_right, after_miss), first)
        self.last[who, what] = at

    @staticmethod
    def _stretched(half: Array, first: Array, stretch: Array, chance: Array) -> tuple[Array, Array]:
        """Half-life after a right answer, and after a miss."""
        return half * (1.0 + stretch * (1.0 - chance) ** LATE), np.maximum(half / 2.0, first)

    def gain(self, who: Index, now: float, visits: Sequence[float], horizon: float) -> Array:
        """What an answer now adds to the recall at the horizon, given the later visits; shape (len(who), items).

        A later visit moves the logarithm of the half-life by its expectation.
        """
        fast, first, stretch, last = self.fast[who], self.first[who], self.stretch[who], self.last[who]
        seen = np.isfinite(last)
        chance = self._fade(self.half[who], fast, now - last)
        right, miss = self._stretched(self.half[who], first, stretch, chance)
        reached = []
        for half, since, known in (
            (np.where(seen, right, first), np.full_like(last, now), np.ones_like(seen)),
            (np.where(seen, miss, first), np.full_like(last, now), np.ones_like(seen)),
            (self.half[who], last, seen),
        ):
            for at in visits:
                then = self._fade(half, fast, at - since)
                after_right, after_miss = self._stretched(half, first, stretch, then)
                moved = np.exp(then * np.log(after_right) + (1.0 - then) * np.log(after_miss))
                half, since, known = np.where(known, moved, first), np.full_like(last, at), np.ones_like(known)
            reached.append(self._fade(half, fast, horizon - since))
        added: Array = chance * reached[0] + (1.0 - chance) * reached[1] - reached[2]
        return added


def people_of(crowd: Crowd) -> HalfLife:
    """Invented people of world B; every parameter varies."""
    return HalfLife(
        first=_FIRST_DAYS * np.exp(_PERSON_SD * crowd.person[:, :1] + _ITEM_SD * (crowd.item[:1] + crowd.pair[:, 0])),
        stretch=_STRETCH * np.exp(_PERSON_SD * crowd.person[:, 1:2] + _ITEM_SD * (crowd.item[1:2] + crowd.pair[:, 1])),
        fast=np.clip(_FAST + 0.1 * crowd.person[:, 2:3], 0.3, 0.9),
    )

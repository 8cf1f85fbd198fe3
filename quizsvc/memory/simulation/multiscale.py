"""World C: stores that fade at many rates and correct each other's error.

After Mozer, Pashler, Cepeda, Lindsey and Vul (2009), Advances in Neural Information Processing Systems 22: store i
fades with its own time constant, and what is recalled is the weighted mean of all. A practice raises each store by what
the stores up to it still lack:

    s_i = sum_{j <= i} g_j x_j / sum_{j <= i} g_j,      x_i += step (1 - s_i),      recall = min(1, s_N)

with a larger step after a right answer than after a miss.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.simulation.people import Array, Crowd, Index

__all__ = ["Multiscale", "people_of"]

# Ours, set so that the first-day recall and the recall by rotation come near the printed ones of the scheduling study.
SCALES = np.geomspace(0.02, 600.0, 10)
"""Time constants of the stores, days."""

_MISS_STEP, _RIGHT_STEP = 0.37, 1.43
_PERSON_SD, _ITEM_SD, _PAIR_SD = 0.25, 0.4, 0.2


class Multiscale:
    """Learners of world C.

    Parameters
    ----------
    taus, shares : ndarray of float64, shape (stores,)
        Time constants, days, rising; weights of the stores, which sum to 1.
    miss_step, right_step : ndarray of float64, shape (people, items)
        Step after a miss and after a right answer.
    """

    def __init__(self, taus: Array, shares: Array, miss_step: Array, right_step: Array) -> None:
        self.taus, self.shares = taus, shares
        self.miss_step, self.right_step = miss_step, right_step
        self.stores = np.zeros((*miss_step.shape, taus.size))
        self.last = np.full(miss_step.shape, -np.inf)

    def _faded(self, stores: Array, days: Array) -> Array:
        faded: Array = stores * np.exp(-np.maximum(days, 0.0)[..., None] / self.taus)
        return faded

    def _practised(self, stores: Array, step: Array) -> Array:
        held = np.cumsum(self.shares * stores, axis=-1) / np.cumsum(self.shares)
        raised: Array = stores + step[..., None] * (1.0 - held)
        return raised

    def _recall(self, stores: Array) -> Array:
        return np.clip(stores @ self.shares, 0.0, 1.0)

    def recall_of(self, who: Index, what: Index, at: float | Array) -> Array:
        """Recall of one item for each of some people."""
        return self._recall(self._faded(self.stores[who, what], at - self.last[who, what]))

    def recall(self, at: float) -> Array:
        """Recall of every item by everybody, shape (people, items)."""
        return self._recall(self._faded(self.stores, at - self.last))

    chance_of = recall_of

    def answer(
        self, who: Index, what: Index, at: float | Array, right: NDArray[np.bool_], seconds: float | Array
    ) -> None:
        """Everybody in `who` answers an item."""
        step = np.where(right, self.right_step[who, what], self.miss_step[who, what])
        faded = self._faded(self.stores[who, what], at - self.last[who, what])
        self.stores[who, what] = self._practised(faded, step)
        self.last[who, what] = at

    def gain(self, who: Index, now: float, visits: Sequence[float], horizon: float) -> Array:
        """What an answer now adds to the recall at the horizon, given the later visits; shape (len(who), items).

        A later visit takes the expected step.
        """
        right_step, miss_step = self.right_step[who], self.miss_step[who]
        held = self._faded(self.stores[who], now - self.last[who])
        chance = self._recall(held)
        none = np.zeros(chance.shape)
        reached = []
        for stores in (self._practised(held, right_step), self._practised(held, miss_step), held):
            since = now
            for at in visits:
                stores = self._faded(stores, none + (at - since))
                then = self._recall(stores)
                stores = self._practised(stores, then * right_step + (1.0 - then) * miss_step)
                since = at
            reached.append(self._recall(self._faded(stores, none + (horizon - since))))
        added: Array = chance * reached[0] + (1.0 - chance) * reached[1] - reached[2]
        return added


def people_of(crowd: Crowd) -> Multiscale:
    """Invented people of world C."""
    shares = np.full(SCALES.size, 1.0 / SCALES.size)
    ease = np.exp(_PERSON_SD * crowd.person[:, :1] + _ITEM_SD * crowd.item[:1] + _PAIR_SD * crowd.pair[:, 0])
    return Multiscale(SCALES, shares, _MISS_STEP * ease, _RIGHT_STEP * ease)

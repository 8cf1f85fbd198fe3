"""World A: recall by activation, after Pavlik and Anderson (2005), Cognitive Science 29(4), 559-586.

Each practice leaves a trace that fades as a power of its age, the faster the more active the memory was when it was
practised:

    m = offset + ln sum_k (t - t_k) ** -d_k,      d_k = c exp(m_k) + a,      recall = 1 / (1 + exp((tau - m) / s))

with m_k the activation by the traces just before practice k (the offset, ours, stays out of it). A miss is followed by
feedback, which is a practice like any other: outcomes leave no mark. Time between sittings counts by `between` only.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.simulation.people import Array, Crowd, Index

__all__ = ["Activation", "people_of"]

DECAY, RISE, THRESHOLD, NOISE, BETWEEN = 0.177, 0.217, -0.704, 0.255, 0.025
"""a, c, tau, s and the share of time between sittings that counts, as published."""

# Ours: material with meaning is easier than word pairs, and people, items and their pairs differ.
_MEANING, _PERSON_SD, _ITEM_SD, _PAIR_SD = 0.3, 0.25, 0.35, 0.2
_DAY_S = 86_400.0
_YOUNGEST_S = 1.0
_AT_ONCE = 4


class Activation:
    """Learners of world A.

    Parameters
    ----------
    offset : ndarray of float64, shape (people, items)
        Rise of the activation.
    between : float
        Share of the time between sittings that counts.
    """

    def __init__(self, offset: Array, between: float = BETWEEN) -> None:
        self.offset = offset
        self.between = between
        self.made = np.full((*offset.shape, _AT_ONCE), -np.inf)
        self.decay = np.full((*offset.shape, _AT_ONCE), DECAY)
        self.count = np.zeros(offset.shape, dtype=np.intp)
        self.active = np.zeros(offset.shape[0])

    def _clock(self, who: Index, at: float | Array) -> Array:
        """Seconds that count, for each of some people."""
        clock: Array = self.between * _DAY_S * at + (1.0 - self.between) * self.active[who]
        return clock

    def activation(self, who: Index, what: Index, at: float | Array) -> Array:
        """Activation by the traces alone, one pair of person and item each; -inf without a trace."""
        ages = np.maximum(self._clock(who, at)[:, None] - self.made[who, what], _YOUNGEST_S)
        return _log((ages ** -self.decay[who, what]).sum(axis=-1))

    def recall_of(self, who: Index, what: Index, at: float | Array) -> Array:
        """Recall of one item for each of some people."""
        return _recall(self.activation(who, what, at) + self.offset[who, what])

    def recall(self, at: float) -> Array:
        """Recall of every item by everybody, shape (people, items)."""
        clock = self._clock(np.arange(len(self.active)), at)[:, None, None]
        used = int(self.count.max(initial=0))
        ages = np.maximum(clock - self.made[:, :, :used], _YOUNGEST_S)
        return _recall(_log((ages ** -self.decay[:, :, :used]).sum(axis=-1)) + self.offset)

    chance_of = recall_of

    def answer(
        self, who: Index, what: Index, at: float | Array, right: NDArray[np.bool_], seconds: float | Array
    ) -> None:
        """Everybody in `who` answers an item; `seconds` of sitting have passed since the answer before."""
        self.active[who] += seconds
        place = self.count[who, what]
        if place.size and int(place.max()) == self.made.shape[2]:
            self._grow()
        strength = np.exp(self.activation(who, what, at))
        self.made[who, what, place] = self._clock(who, at)
        self.decay[who, what, place] = RISE * strength + DECAY
        self.count[who, what] += 1

    def _grow(self) -> None:
        self.made = np.concatenate((self.made, np.full_like(self.made, -np.inf)), axis=2)
        self.decay = np.concatenate((self.decay, np.full_like(self.decay, DECAY)), axis=2)

    def gain(self, who: Index, now: float, visits: Sequence[float], horizon: float) -> Array:
        """What an answer now adds to the recall at the horizon, given the later visits; shape (len(who), items)."""
        used = int(self.count.max(initial=0))
        clock = self._clock(who, now)[:, None]
        reached = []
        for asked in (True, False):
            made, decay = (
                list(np.moveaxis(self.made[who, :, :used], 2, 0)),
                list(np.moveaxis(self.decay[who, :, :used], 2, 0)),
            )
            for at in [now, *visits] if asked else visits:
                then = clock + self.between * _DAY_S * (at - now)
                strength = _strength(made, decay, then)
                made.append(np.broadcast_to(then, strength.shape))
                decay.append(RISE * strength + DECAY)
            end = clock + self.between * _DAY_S * (horizon - now)
            reached.append(_recall(_log(_strength(made, decay, end)) + self.offset[who]))
        added: Array = reached[0] - reached[1]
        return added


def _strength(made: Sequence[Array], decay: Sequence[Array], clock: Array) -> Array:
    if not made:
        return np.zeros((clock.shape[0], 1))
    total: Array = sum(
        (np.maximum(clock - m, _YOUNGEST_S) ** -d for m, d in zip(made, decay, strict=True)), np.zeros(made[0].shape)
    )
    return total


def _log(strength: Array) -> Array:
    return np.log(strength, out=np.full_like(strength, -np.inf), where=strength > 0)


def _recall(activation: Array) -> Array:
    x = np.clip((activation - THRESHOLD) / NOISE, -700.0, 700.0)
    chance: Array = 1.0 / (1.0 + np.exp(-x))
    return np.where(np.isneginf(activation), 0.0, chance)


def people_of(crowd: Crowd) -> Activation:
    """Invented people of world A."""
    return Activation(
        _MEANING + _PERSON_SD * crowd.person[:, :1] + _ITEM_SD * crowd.item[:1] + _PAIR_SD * crowd.pair[:, 0]
    )

"""People in a bank of the shape of ours: concepts with several items, guesses, slips, and habits that are not even.

Each concept is a memory of the world, and so is each of its items. What is known of an item with fixed text is a
mixture of both, so an answer to one item carries over to the others; an item with new numbers each time is known as its
concept is. The items of a concept are asked in turn. A right answer needs knowledge without a slip, or a guess without
knowledge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.simulation.people import Array, Crowd, Index, Learners

__all__ = ["ITEMS_EACH", "KINDS", "SYSTEMS", "BankShape", "columns", "free_days", "kind_of", "speeds", "stays"]

ITEMS_EACH = 3
SYSTEMS = 12
KINDS = ("number", "one", "number", "some", "one", "number", "order", "one", "number", "some")
"""Kinds of ten concepts in turn, about as our bank has them; `number` draws new numbers each time."""

_GUESS = {"number": 0.0, "one": 0.25, "some": 1 / 15, "order": 1 / 24}
_SLIP = {"number": 0.08, "one": 0.02, "some": 0.04, "order": 0.04}
_CARRIED = 0.7
_HABITS = (0.45, 0.95)
_AWAY_DAYS = 12
_CUT_OFF = 0.15
_SPEED_SD = 0.25


def kind_of(concept: int) -> str:
    """Kind of the items of a concept."""
    return KINDS[concept % len(KINDS)]


def columns(concepts: int) -> int:
    """Memories that a world has to hold for so many concepts."""
    return concepts * (1 + ITEMS_EACH)


@dataclass
class BankShape:
    """Learners of a world in a bank of concepts.

    Parameters
    ----------
    base : Learners
        The world, with `columns(concepts)` memories: the concepts, then the items of the first, of the second ...
    concepts : int
        How many.
    people : int
        How many.
    """

    base: Learners
    concepts: int
    people: int

    def __post_init__(self) -> None:
        kinds = [kind_of(concept) for concept in range(self.concepts)]
        self.carried = np.array([1.0 if kind == "number" else _CARRIED for kind in kinds])
        self.guess = np.array([_GUESS[kind] for kind in kinds])
        self.slip = np.array([_SLIP[kind] for kind in kinds])
        self.turn = np.zeros((self.people, self.concepts), dtype=np.intp)

    def _item(self, who: Index, what: Index) -> Index:
        column: Index = self.concepts + what * ITEMS_EACH + self.turn[who, what] % ITEMS_EACH
        return column

    def recall(self, at: float) -> Array:
        """What is known of each concept, mean over its items, shape (people, concepts)."""
        found = self.base.recall(at)
        of_items = found[:, self.concepts :].reshape(len(found), self.concepts, ITEMS_EACH).mean(axis=2)
        known: Array = self.carried * found[:, : self.concepts] + (1.0 - self.carried) * of_items
        return known

    def recall_of(self, who: Index, what: Index, at: float | Array) -> Array:
        """What is known of the item that would be asked."""
        share = self.carried[what]
        known: Array = share * self.base.recall_of(who, what, at) + (1.0 - share) * self.base.recall_of(
            who, self._item(who, what), at
        )
        return known

    def chance_of(self, who: Index, what: Index, at: float | Array) -> Array:
        """Chance that the item would be answered right."""
        known = self.recall_of(who, what, at)
        chance: Array = known * (1.0 - self.slip[what]) + (1.0 - known) * self.guess[what]
        return chance

    def answer(
        self, who: Index, what: Index, at: float | Array, right: NDArray[np.bool_], seconds: float | Array
    ) -> None:
        """The concept and the item are both practised; the next item comes next time."""
        self.base.answer(who, what, at, right, seconds)
        self.base.answer(who, self._item(who, what), at, right, 0.0)
        self.turn[who, what] += 1

    def gain(self, who: Index, now: float, visits: Sequence[float], horizon: float) -> Array:
        """True gain of the concept; the item counts as one of those it stands among."""
        found = self.base.gain(who, now, visits, horizon)
        everything = np.arange(self.concepts)
        rows = np.arange(len(who))[:, None]
        of_item = found[rows, np.stack([self._item(np.full(self.concepts, person), everything) for person in who])]
        added: Array = self.carried * found[:, : self.concepts] + (1.0 - self.carried) * of_item / ITEMS_EACH
        return added


def free_days(drawn: Crowd, days: int) -> NDArray[np.bool_]:
    """Days with a sitting, shape (people, days): each person has a habit of their own, and is away for twelve days."""
    low, high = _HABITS
    habit = low + (high - low) * drawn.habit[:, :1]
    away = np.floor(drawn.habit[:, 1:2] * max(1, days - _AWAY_DAYS))
    number = np.arange(days)
    return (drawn.free[:, :days] < habit) & ~((number >= away) & (number < away + _AWAY_DAYS))


def speeds(drawn: Crowd) -> Array:
    """Time of an answer over the usual one, by person."""
    speed: Array = np.exp(_SPEED_SD * drawn.person[:, -1])
    return speed


def stays(drawn: Crowd, days: int) -> Array:
    """Share of each sitting that is answered, shape (people, days): one in seven is cut off somewhere."""
    cut = drawn.cut[:, :days]
    share: Array = np.where(cut < _CUT_OFF, cut / _CUT_OFF, 1.0)
    return share

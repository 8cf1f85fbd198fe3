"""Invented people: what is drawn of each, whatever world and schedule they are put in.

Everything random about a person is drawn once from that person's own generator, in one order. So the first four of
thirty are the four that a smaller run has, and every schedule meets the same people with the same luck: differences
between schedules are paired.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

__all__ = ["ITEMS", "LONGEST", "MOST_LUCK", "Array", "Crowd", "Flags", "Index", "Learners", "crowd"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]

ITEMS = 300
LONGEST = 180
MOST_LUCK = 48
_EARLIER = 8
_TRAITS = 4


class Learners(Protocol):
    """People of a world: true recall, and what answers do to it. Times are days; day 0 is the first of the study."""

    def recall(self, at: float) -> Array:
        """Recall of every item by everybody, shape (people, items)."""

    def recall_of(self, who: Index, what: Index, at: float | Array) -> Array:
        """Recall of one item for each of some people, shape (len(who),)."""

    def chance_of(self, who: Index, what: Index, at: float | Array) -> Array:
        """Chance that these people answer right; recall, where nobody guesses or slips."""

    def answer(
        self, who: Index, what: Index, at: float | Array, right: NDArray[np.bool_], seconds: float | Array
    ) -> None:
        """Everybody in `who`, each named once, answers an item; `seconds` of sitting since the answer before."""

    def gain(self, who: Index, now: float, visits: Sequence[float], horizon: float) -> Array:
        """What an answer now truly adds to the recall at the horizon, given the visits; shape (len(who), items)."""


@dataclass(frozen=True)
class Crowd:
    """What is drawn of some people and of the bank; standard normal and uniform numbers.

    Parameters
    ----------
    person : ndarray of float64, shape (people, 4)
    item : ndarray of float64, shape (4, items)
    pair : ndarray of float64, shape (people, 4, items)
        Normal numbers that a world makes its traits of.
    trained, rank : ndarray of float64, shape (people, items)
        Uniform numbers that decide whether an item had earlier training, and how much.
    earlier, earlier_luck : ndarray of float64, shape (people, items, 8)
        Uniform numbers for the times and outcomes of that training.
    free : ndarray of float64, shape (people, 180)
        Uniform numbers that decide which days have a sitting.
    luck : ndarray of float64, shape (people, items, 48)
        Uniform numbers against which the outcome of each answer falls.
    cut : ndarray of float64, shape (people, 180)
    habit : ndarray of float64, shape (people, 2)
        Uniform numbers for sittings that are cut off, and for the days that somebody keeps free.
    """

    person: Array
    item: Array
    pair: Array
    trained: Array
    rank: Array
    earlier: Array
    earlier_luck: Array
    free: Array
    luck: Array
    cut: Array
    habit: Array

    def __len__(self) -> int:
        return len(self.person)


def crowd(people: Sequence[Generator], bank: Generator, items: int = ITEMS) -> Crowd:
    """Some people before their first day.

    Parameters
    ----------
    people : sequence of Generator
        One for each person.
    bank : Generator
        For what items have in common for everybody.
    items : int
        Size of the bank.
    """
    drawn = [
        (
            rng.standard_normal(_TRAITS),
            rng.standard_normal((_TRAITS, items)),
            rng.random(items),
            rng.random(items),
            rng.random((items, _EARLIER)),
            rng.random((items, _EARLIER)),
            rng.random(LONGEST),
            rng.random((items, MOST_LUCK)),
            rng.random(LONGEST),
            rng.random(2),
        )
        for rng in people
    ]
    person, pair, *rest = (np.stack(part) for part in zip(*drawn, strict=True))
    return Crowd(person, bank.standard_normal((_TRAITS, items)), pair, *rest)

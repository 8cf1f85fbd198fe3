"""The filling of one set: who is offered a place in which order, and in which order the set is asked.

Concepts are offered places in this order: what the last week before a check has still to go over (up to half of the
set: systems, limits, drills, and what was missed in an earlier sitting), those not seen for three passes (up to a
quarter), those reserved for the untried, then by score. A concept that was missed is offered its place before any that
was last answered right in the same sitting, and what is to be held before it, and is not, before it.

No wording comes with the same numbers twice within 30 days: an item that draws numbers comes with others, one with a
fixed text waits. A concept of which no other wording is left is worn: it is offered a place after all that are not, so
that another takes its place whatever it scores, and does not go first for not having been seen for long, unless the
check comes before its wording is free. It waits for 30 days at most. Three are asked all the same, by the wording met
longest ago: what was missed, since it must come back soon; what such a miss builds on; and what the last week before a
check has still to go over. So is a worn concept where the others leave minutes of the set unused.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.picking import LATELY_DAYS, Generator, pick_item
from quizsvc.memory.pool import Askable, Pool
from quizsvc.memory.recall import Array, Stack
from quizsvc.memory.scoring import Budget

__all__ = ["LONG_UNSEEN_PASSES", "MOST_OF_A_SYSTEM", "SITTING_DAYS", "Turn", "missed_beside"]

MOST_OF_A_SYSTEM = 4
LONG_UNSEEN_PASSES = 3.0
SITTING_DAYS = 4 / 24
_QUARTER = 4
_TIE = 1e-9


@dataclass(frozen=True)
class Turn:
    """The filling of one set."""

    choice: Pool
    scores: Array
    budget: Budget
    seconds: float
    answers: float  # that fit into the set
    long: bool
    rng: Generator
    is_due: NDArray[np.bool_]

    def order(self) -> Iterator[int]:
        """Askable concepts in the order in which they are offered a place; some come again further down."""
        held, budget = self.choice.held, self.budget
        # Ties break at random: the golden ratio spreads neighbours, the generator turns and stretches the wheel.
        golden = (1 + math.sqrt(5)) / 2 + self.rng.random()
        ties = (np.arange(len(held)) * golden + self.rng.random()) % 1.0
        ranked = np.argsort(self.scores * (-1.0 - _TIE * ties))
        ranked = ranked[(self.choice.shortest(self.long) <= self.seconds)[ranked]]

        quarter = max(1, int(self.answers) // _QUARTER)
        # What is worn waits until a wording is free, unless what is planned for comes before that.
        waits = self.worn & (self.choice.met(self.long) + LATELY_DAYS <= budget.horizon)
        long_unseen = ~held.untried & (budget.now - held.last_at > LONG_UNSEEN_PASSES * budget.pass_days) & ~waits
        first = ranked[long_unseen[ranked]]
        first = first[np.argsort(held.last_at[first], kind="stable")][:quarter]
        untried = ranked[held.untried[ranked]]
        reserved = untried[: self.reserve(untried.size, quarter)]
        fresh, worn = ranked[~self.worn[ranked]], ranked[self.worn[ranked]]
        return chain(self.cover(ranked), first.tolist(), reserved.tolist(), fresh.tolist(), worn.tolist())

    @cached_property
    def worn(self) -> NDArray[np.bool_]:
        """Concepts of which every wording was met lately; not those that were missed, which must come back soon."""
        return (self.budget.now - self.choice.met(self.long) < LATELY_DAYS) & ~self.choice.held.missed

    def cover(self, ranked: NDArray[np.intp]) -> list[int]:
        """Concepts that go over what has still to be, up to half of the set: most at once first, then best score."""
        choice = self.choice.candidates
        waiting = ranked[self.choice.to_cover[ranked]].tolist()
        chosen, gone_over = [], set[str]()
        for most in range(max((len(choice[index].cover) for index in waiting), default=0), 0, -1):
            for index in waiting:
                if len(set(choice[index].cover) - gone_over) == most:
                    chosen.append(index)
                    gone_over.update(choice[index].cover)
        return chosen[: max(1, int(self.answers) // 2)]

    def reserve(self, untried: int, quarter: int) -> int:
        """Places for the untried: a steady share up to a quarter of the set, more where only that reaches them all."""
        days = self.budget.horizon - self.budget.now
        share = min(1.0, self.answers / self.budget.answers_a_day)
        steady = last = 0
        if days > self.budget.pass_days:
            study_days = max(1, math.floor((days - self.budget.pass_days) * self.budget.study_share))
            steady = min(quarter, math.ceil(untried / study_days * share))
        if self.budget.answers_left >= untried:
            last = math.ceil(untried / max(1, math.floor(days * self.budget.study_share)) * share)
        return max(steady, last)

    def before(self, index: int, above: tuple[int, ...] = ()) -> list[int]:
        """What is to be asked before a concept that was missed, what comes before that first of all."""
        found = []
        for other in self.choice.first.get(index, ()):
            # The check of a bank refuses a circle of concepts; here one only ends.
            if other != index and other not in above and self.lacking(other, index):
                found += [*self.before(other, (*above, index)), other]
        return list(dict.fromkeys(found))

    def lacking(self, other: int, missed: int) -> bool:
        """Whether a concept is not held, and was neither asked since the miss nor right in a sitting with another.

        Asked once more after the miss it has had its turn: the missed one must not wait behind it for ever. Right
        beside another miss it has to wait for that one itself.
        """
        held = self.choice.held
        if held.untried[other] or not self.is_due[other]:
            return bool(held.untried[other])
        since = held.last_at[other] >= held.last_at[missed] - SITTING_DAYS
        return bool(held.missed[other]) or not (since or missed_beside(other, held).size)

    def in_order(self, chosen: Sequence[tuple[int, Askable]]) -> list[tuple[int, Askable]]:
        """The same places, but a miss ahead of what was right in its sitting, and before it what it builds on."""
        waiting = dict(chosen)
        result = []
        for index, _ in chosen:
            for other in (*missed_beside(index, self.choice.held).tolist(), index):
                for one in (*self.before(other), other) if other in waiting else ():
                    if one in waiting:
                        result.append((one, waiting.pop(one)))
        return result

    def fill(self) -> tuple[list[tuple[str, tuple[int, Askable]]], frozenset[int]]:
        """Concepts and items, with their systems, until no item fits the seconds left; and which go before a miss."""
        candidates, held = self.choice.candidates, self.choice.held
        shortest = float(self.choice.shortest(self.long).min())
        left = self.seconds
        of_system: dict[str, int] = {}
        chosen: list[tuple[str, tuple[int, Askable]]] = []
        tried: dict[int, bool] = {}
        ahead = set[int]()

        def offer(index: int, even_lately: bool = False) -> bool:
            """Give a concept its place; False where it has to wait for another set."""
            nonlocal left
            if index not in tried:
                candidate = candidates[index]
                fitting = [item for item in candidate.items if item.seconds <= left and (self.long or item.ramp)]
                if not (even_lately or held.missed[index] or self.worn[index]):
                    # Where the seconds left are too few for what is new, the place goes to another concept.
                    fitting = [item for item in fitting if self.budget.now - item.met_at >= LATELY_DAYS]
                if of_system.get(candidate.system, 0) >= MOST_OF_A_SYSTEM:
                    fitting = []
                item = pick_item(fitting, candidate.state, self.budget.now, self.rng)
                tried[index] = item is not None
                if item is not None:
                    chosen.append((candidate.system, (index, item)))
                    left -= item.seconds
                    of_system[candidate.system] = of_system.get(candidate.system, 0) + 1
            return tried[index]

        def place(index: int) -> bool:
            """Offer a concept its place, and before it what a miss of it builds on."""
            if index not in tried:
                before = self.before(index)
                ahead.update(before)
                for other in before:
                    offer(other, even_lately=True)
            return offer(index)

        for index in self.order():
            if left < shortest:
                break
            missed = missed_beside(index, held)
            missed = missed[(self.choice.shortest(self.long) <= self.seconds)[missed]]
            best_first = missed[np.argsort(-self.scores[missed], kind="stable")].tolist()
            if all([place(other) for other in best_first]):
                place(index)
        return chosen, frozenset(ahead)


def missed_beside(index: int, held: Stack) -> NDArray[np.intp]:
    """Concepts missed in the sitting in which this one was answered right; none where it was not answered right.

    A sitting is told by time, not by date: four hours either way, the longest set.
    """
    if held.untried[index] or held.missed[index]:
        return np.empty(0, dtype=np.intp)
    return np.flatnonzero(held.missed & (np.abs(held.last_at - held.last_at[index]) <= SITTING_DAYS))

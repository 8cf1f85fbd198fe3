"""Which item asks a concept, and the order of a set."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, TypeVar

from quizsvc.memory.pool import Askable
from quizsvc.memory.states import ConceptState

__all__ = ["Generator", "mixed", "pick_item"]

LATELY_DAYS = 30.0
"""A wording with the same numbers met in this time does not come again, but for what `filling` says, days."""

Thing = TypeVar("Thing")


class Generator(Protocol):
    """The part of `random.Random` that planning uses."""

    def random(self) -> float:
        """A float from 0 to below 1."""


def pick_item(items: Sequence[Askable], state: ConceptState, now: float, rng: Generator) -> Askable | None:
    """The item to ask of a concept.

    First one with new numbers or not met in the last 30 days; of these another kind than last time, then the one
    waiting longest, then the one asked least. Where all were met, the one met longest ago.

    Parameters
    ----------
    items : sequence of Askable
        Those that fit.
    state : ConceptState
        The learner's hold on the concept.
    now : float
        Days since the epoch.
    rng : Generator
        Breaks ties.

    Returns
    -------
    Askable or None
        None where there is no item.
    """

    def rank(item: Askable) -> tuple[bool, bool, float, int, float]:
        asked = float("-inf") if item.last_asked is None else item.last_asked
        if now - item.met_at < LATELY_DAYS:
            return True, False, item.met_at, item.asks, rng.random()
        return False, item.kind == state.last_kind, asked, item.asks, rng.random()

    return min(items, key=rank, default=None)


def mixed(places: Sequence[tuple[str, Thing]], rng: Generator) -> list[Thing]:
    """The things in random order, two of one system side by side only where it cannot be helped.

    Parameters
    ----------
    places : sequence of (system, thing)
        What to mix.
    rng : Generator
        Shuffles.

    Returns
    -------
    list
        The things.
    """
    waiting = sorted(places, key=lambda _: rng.random())
    left: dict[str, int] = {}
    for system, _ in waiting:
        left[system] = left.get(system, 0) + 1
    result: list[Thing] = []
    last: str | None = None
    while waiting:
        # A system that holds more than half of what is left must go now, or it ends up beside itself.
        forced = next((name for name, count in left.items() if 2 * count > len(waiting) and name != last), None)
        index = next(
            (
                i
                for i, (system, _) in enumerate(waiting)
                if (system == forced if forced is not None else system != last)
            ),
            0,
        )
        system, thing = waiting.pop(index)
        left[system] -= 1
        result.append(thing)
        last = system
    return result

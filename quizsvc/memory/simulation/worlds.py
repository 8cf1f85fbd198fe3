"""The worlds, and the earlier training that people come with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from quizsvc.memory.simulation import activation, halflife, multiscale
from quizsvc.memory.simulation.people import Crowd, Learners

__all__ = ["STARTS", "WORLDS", "Start", "begun"]

WORLDS: Mapping[str, Callable[[Crowd], Learners]] = {
    "A": activation.people_of,
    "B": halflife.people_of,
    "C": multiscale.people_of,
}
"""The worlds of the scheduling study by letter: activation, half-life, multiscale."""


@dataclass(frozen=True)
class Start:
    """Earlier training.

    Parameters
    ----------
    share : float
        Of the items, those that had any.
    least, most : int
        Answers to such an item.
    first, last : float
        Days before day 0 between which they lie.
    """

    share: float
    least: int
    most: int
    first: float
    last: float


STARTS: Mapping[str, Mapping[str, Start]] = {
    "sparse": {
        "A": Start(0.55, 1, 3, 200.0, 20.0),
        "B": Start(0.55, 2, 5, 130.0, 15.0),
        "C": Start(0.55, 1, 2, 140.0, 24.0),
    },
    "rich": {
        "A": Start(0.8, 2, 5, 300.0, 10.0),
        "B": Start(0.8, 7, 8, 175.0, 16.0),
        "C": Start(0.8, 3, 5, 220.0, 35.0),
    },
}
"""Earlier training by starting state and world, set so that first-day recall comes near that of the study."""


def begun(world: str, start: str, drawn: Crowd) -> Learners:
    """People of a world on day 0, with their earlier training behind them.

    Parameters
    ----------
    world : str
        A, B or C.
    start : str
        `sparse` or `rich`.
    drawn : Crowd
        Who they are.
    """
    learners, plan = WORLDS[world](drawn), STARTS[start][world]
    people, items = drawn.trained.shape
    answers = plan.least + np.floor(drawn.rank * (plan.most - plan.least + 1)).astype(np.intp)
    answers[drawn.trained >= plan.share] = 0
    when = np.sort(drawn.earlier[:, :, : plan.most], axis=2)
    at = -plan.first + when * (plan.first - plan.last)
    # No time within a sitting passes, so the order of items does not matter.
    for item in range(items):
        for number in range(plan.most):
            who = np.flatnonzero(answers[:, item] > number)
            what, time = np.full(who.size, item), at[who, item, number]
            right = drawn.earlier_luck[who, what, number] < learners.recall_of(who, what, time)
            learners.answer(who, what, time, right, 0.0)
    return learners

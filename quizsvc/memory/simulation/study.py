"""The schedules of the study by name, and one of them run in one cell."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from quizsvc.memory.fit_rows import LearnerRows, rows_of
from quizsvc.memory.simulation.bank_shape import BankShape, columns
from quizsvc.memory.simulation.believing import EXPERIENCE, Greedy, Shipped, Threshold, event_of
from quizsvc.memory.simulation.people import Array, Learners, crowd
from quizsvc.memory.simulation.policies import (
    Blocked,
    Cram,
    Expanding,
    Generic,
    OracleIndex,
    Random,
    Rotation,
    Schedule,
)
from quizsvc.memory.simulation.running import Answers, Run, run
from quizsvc.memory.simulation.scenario import Cell
from quizsvc.memory.simulation.worlds import begun
from quizsvc.memory.weights import Weights

__all__ = ["LOGGED", "PLANNER", "PLANNER_SHIPPED", "SCHEDULES", "Outcome", "Streams", "logged", "simulate"]

PLANNER = "planner"
PLANNER_SHIPPED = "planner, shipped weights *"
"""The weights that ship were fitted to all three worlds, those of the test among them: marked with an asterisk."""


@dataclass(frozen=True)
class Streams:
    """Where chance comes from: one generator for each person, one for the bank, one for the schedule."""

    people: Sequence[Generator]
    bank: Generator
    schedule: Generator


@dataclass(frozen=True)
class _Given:
    """What a schedule may be made of."""

    cell: Cell
    people: int
    rng: Generator
    learners: Learners
    left_out: Weights
    shipped: Weights


SCHEDULES: Mapping[str, Callable[[_Given], Schedule]] = {
    PLANNER: lambda g: Shipped(g.cell, g.people, g.rng, g.left_out),
    PLANNER_SHIPPED: lambda g: Shipped(g.cell, g.people, g.rng, g.shipped),
    "rotation": lambda g: Rotation(g.cell, g.people, g.rng),
    "random": lambda g: Random(g.cell, g.people, g.rng),
    "week and month": lambda g: Generic(g.cell, g.people, g.rng),
    "expanding, new first": lambda g: Expanding(g.cell, g.people, g.rng),
    "expanding, due first": lambda g: Expanding(g.cell, g.people, g.rng, new_first=False),
    "below .80": lambda g: Threshold(g.cell, g.people, g.rng, g.left_out, 0.80),
    "below .85": lambda g: Threshold(g.cell, g.people, g.rng, g.left_out, 0.85),
    "below .90": lambda g: Threshold(g.cell, g.people, g.rng, g.left_out, 0.90),
    "blocked": lambda g: Blocked(g.cell, g.people, g.rng),
    "greedy": lambda g: Greedy(g.cell, g.people, g.rng, g.left_out),
    "last fortnight": lambda g: Cram(g.cell, g.people, g.rng),
    "oracle index": lambda g: OracleIndex(g.cell, g.people, g.rng, g.learners),
}
"""Every schedule of the study, the planner first."""

LOGGED = ("random", "rotation", "expanding, new first", "week and month", "blocked")
"""Schedules whose answers the weights are fitted to, one after the other from person to person."""


@dataclass(frozen=True)
class Outcome:
    """What a schedule did in a cell.

    Parameters
    ----------
    cell : Cell
        Where.
    schedule : str
        Which.
    at_check, after, average, reached : tuple of float
        By person, as in `Run`.
    given, most_a_day : tuple of int
        By person.
    after_miss, after_right : float
        Median days to the next answer to the item, for answers in the first half; +inf where most never come again.
    """

    cell: Cell
    schedule: str
    at_check: tuple[float, ...]
    after: tuple[float, ...]
    average: tuple[float, ...]
    reached: tuple[float, ...]
    given: tuple[int, ...]
    most_a_day: tuple[int, ...]
    after_miss: float
    after_right: float


def simulate(cell: Cell, schedule: str, streams: Streams, left_out: Weights, shipped: Weights) -> Outcome:
    """Run one schedule in one cell.

    Parameters
    ----------
    cell : Cell
        The setting.
    schedule : str
        A name of `SCHEDULES`.
    streams : Streams
        Fresh generators; the same ones give the same people to every schedule.
    left_out : Weights
        Weights that were never fitted to the world of the cell.
    shipped : Weights
        The weights that ship.
    """
    found = _run(cell, schedule, streams, left_out, shipped)
    miss, right = next_visit(found.log, cell.days / 2)
    return Outcome(
        cell=cell,
        schedule=schedule,
        at_check=tuple(found.at_check.tolist()),
        after=tuple(found.after.tolist()),
        average=tuple(found.average.tolist()),
        reached=tuple(found.reached.tolist()),
        given=tuple(found.given.tolist()),
        most_a_day=tuple(found.most_a_day.tolist()),
        after_miss=miss,
        after_right=right,
    )


def logged(cell: Cell, schedule: str, streams: Streams, weights: Sequence[Weights]) -> list[list[LearnerRows]]:
    """The answers of some people as rows to fit weights to.

    Parameters
    ----------
    cell, schedule, streams
        As for `simulate`; a schedule that needs no weights.
    weights : sequence of Weights
        Their time constants and spacing credit make the traces.

    Returns
    -------
    list of list of LearnerRows
        For each of the weights, the people.
    """
    log = _run(cell, schedule, streams, weights[0], weights[0]).log
    events = []
    for person in range(len(streams.people)):
        own = log.person == person
        answers = zip(log.item[own].tolist(), log.at[own].tolist(), log.right[own].tolist(), strict=True)
        events.append([event_of(*answer) for answer in answers])
    return [[rows_of(own, EXPERIENCE, one) for own in events] for one in weights]


def _run(cell: Cell, schedule: str, streams: Streams, left_out: Weights, shipped: Weights) -> Run:
    drawn = crowd(streams.people, streams.bank, columns(cell.items) if cell.bank else cell.items)
    learners = begun(cell.world, cell.start, drawn)
    if cell.bank:
        learners = BankShape(learners, cell.items, len(drawn))
    made = SCHEDULES[schedule](_Given(cell, len(drawn), streams.schedule, learners, left_out, shipped))
    return run(cell, learners, drawn, made)


def next_visit(log: Answers, until: float) -> tuple[float, float]:
    """Median days to the next answer to the same item by the same person, after a miss and after a right answer.

    Parameters
    ----------
    log : Answers
        A log.
    until : float
        Only answers before this day count; where none follows the time is +inf.

    Returns
    -------
    tuple of float
        NaN where there is no such answer.
    """
    order = np.lexsort((log.at, log.item, log.person))
    person, item, at, right = log.person[order], log.item[order], log.at[order], log.right[order]
    gap = np.full(at.size, np.inf)
    again = (person[1:] == person[:-1]) & (item[1:] == item[:-1])
    gap[:-1][again] = np.diff(at)[again]
    early = at < until
    return _median(gap[early & ~right]), _median(gap[early & right])


def _median(values: Array) -> float:
    # The lower of two middle values: a mean with +inf would say nothing.
    return float(np.sort(values)[(values.size - 1) // 2]) if values.size else float("nan")

"""The study of schedules on both cores: logs of invented people, weights fitted to them, every schedule in every cell.

Nothing here reads or writes the database. Each part of the work makes its own generators from the seed and from what it
is, so the numbers do not depend on how many processes there are, nor on which other cells are asked for.
"""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, replace
from multiprocessing import get_context
from statistics import fmean
from typing import Any, TypeVar

import numpy as np

from quizsvc.memory.fit_rows import LearnerRows
from quizsvc.memory.simulation.goals import Goal, by_cell, floors, gap_goals, stretches
from quizsvc.memory.simulation.left_out import RHOS, spaced
from quizsvc.memory.simulation.scenario import BANK_CELLS, CELLS, Cell, cells_named
from quizsvc.memory.simulation.study import LOGGED, PLANNER, SCHEDULES, Outcome, Streams, logged, simulate
from quizsvc.memory.simulation.tables import CSV_COLUMNS, cell_table, csv_rows, goal_table, not_beaten, picture
from quizsvc.memory.simulation.worlds import STARTS, WORLDS
from quizsvc.memory.weights import STARTING, Weights
from quizsvc.pictures import draw

__all__ = [
    "BANK_CELLS",
    "CELLS",
    "Progress",
    "Study",
    "cells_named",
    "csv_of",
    "reference_worlds",
    "study",
    "streams",
    "tables_of",
]

Progress = Callable[[int, int], None]
"""Hears how many parts of the work are done, and how many there are, weighted by their length."""

_STUDY, _LOG = 0, 1
_FEW = 4
_REFERENCE_PEOPLE = 8
_LOGGED_A_UNIT, _FITTED_A_UNIT = 180, 24  # answers of one schedule and start in 10 ms
_LOG_DAYS, _LOG_PEOPLE = 180, 6
_SHORT_LOG_DAYS, _SHORT_LOG_PEOPLE = 50, 1
Result = TypeVar("Result")


@dataclass(frozen=True)
class Study:
    """Everything the study found.

    Parameters
    ----------
    outcomes : tuple of Outcome
        By cell, then by schedule, in the order of `CELLS` and `SCHEDULES`.
    goals : tuple of Goal
        Floors of each cell, the gap check of each set of weights, and the wishes.
    weights : dict of str to Weights
        By world, fitted to the other worlds.
    """

    outcomes: tuple[Outcome, ...]
    goals: tuple[Goal, ...]
    weights: dict[str, Weights]

    def drawing(self) -> str:
        """The planner less rotation in every cell, as SVG."""
        return draw(picture(self.outcomes))


def csv_of(found: Study) -> list[tuple[Any, ...]]:
    """A heading, then a row for each cell and schedule."""
    return [CSV_COLUMNS, *csv_rows(found.outcomes)]


def tables_of(found: Study) -> list[list[tuple[str, ...]]]:
    """Each cell, the goals, and what is not beaten; rows of texts, the first of each a heading."""
    cells = [cell_table(cell, of_cell) for cell, of_cell in by_cell(found.outcomes).items()]
    return [*cells, goal_table(found.goals), not_beaten(found.outcomes)]


def streams(seed: int, world: str, start: str, people: int, purpose: int, schedule: int) -> Streams:
    """Generators of one part of the work; the people are the same for every schedule and every number of days."""
    place = (seed, purpose, sorted(WORLDS).index(world), sorted(STARTS).index(start))
    return Streams(
        people=[np.random.default_rng([*place, 0, number]) for number in range(people)],
        bank=np.random.default_rng([seed, 2]),
        schedule=np.random.default_rng([*place, 1, schedule]),
    )


def study(
    *,
    cells: Sequence[Cell] = CELLS + BANK_CELLS,
    learners: int = 30,
    seed: int = 1,
    processes: int = 1,
    shipped: Weights = STARTING,
    progress: Progress = lambda done, total: None,
) -> Study:
    """Run it.

    Parameters
    ----------
    cells : sequence of Cell
        Some or all of `CELLS` and `BANK_CELLS`.
    learners : int
        People in each cell. With fewer than four the weights come from shorter logs too.
    seed : int
        0 or more.
    processes : int
        How many work at a time; one stays in this process.
    shipped : Weights
        The weights that ship.
    progress : callable
        See `Progress`.

    Returns
    -------
    Study
        The same numbers for the same cells, learners and seed.
    """
    wanted = [(cell, name) for cell in cells for name in SCHEDULES]
    # The longest first, so that no process works alone at the end.
    wanted.sort(key=lambda part: -_length(part[0], part[1], learners))
    worlds = sorted({cell.world for cell in cells})
    logs_wanted = [
        (world, start, place)
        for world in sorted(WORLDS)
        if worlds != [world]  # nothing is fitted to a world for itself
        for start in sorted(STARTS)
        for place in range(len(LOGGED))
    ]
    # For each schedule, start and world. A look at a few people need not wait for weights from sixty in each world.
    log_size = (_SHORT_LOG_DAYS, _SHORT_LOG_PEOPLE) if learners < _FEW else (_LOG_DAYS, _LOG_PEOPLE)
    log_length, fit_length = (_answers(*log_size) // per for per in (_LOGGED_A_UNIT, _FITTED_A_UNIT))
    total = sum(_length(*part, learners) for part in wanted) + log_length * len(logs_wanted) + fit_length * len(worlds)
    done = 0

    with _Workers(processes) as run:

        def through(
            function: Callable[..., Result], parts: Sequence[tuple[Any, ...]], lengths: list[int]
        ) -> list[Result]:
            nonlocal done
            found: dict[int, Result] = {}
            for place, result in run(function, parts):
                found[place] = result
                done += lengths[place]
                progress(done, total)
            return [found[place] for place in range(len(parts))]

        progress(done, total)
        parts = [(seed, *part, *log_size, shipped) for part in logs_wanted]
        logs: dict[float, dict[str, list[LearnerRows]]] = {rho: {world: [] for world in WORLDS} for rho in RHOS}
        for (world, _, _), by_rho in zip(logs_wanted, through(_log, parts, [log_length] * len(parts)), strict=True):
            for rho, rows in zip(RHOS, by_rho, strict=True):
                logs[rho][world] += rows
        fits = through(spaced, [(world, logs, shipped) for world in worlds], [fit_length] * len(worlds))
        weights = dict(zip(worlds, fits, strict=True))
        outcomes = through(
            _simulate,
            [(seed, cell, name, learners, weights[cell.world], shipped) for cell, name in wanted],
            [_length(*part, learners) for part in wanted],
        )
    names = list(SCHEDULES)
    ordered = sorted(outcomes, key=lambda found: (list(cells).index(found.cell), names.index(found.schedule)))
    return Study(tuple(ordered), tuple(_goals(ordered, weights, shipped)), weights)


def reference_worlds(weights: Weights) -> dict[str, float]:
    """Recall at the check in each of the study's worlds when the planner uses some weights; always the same people.

    Parameters
    ----------
    weights : Weights
        The weights to try.

    Returns
    -------
    dict of str to float
        Mean true recall by the name of the cell: eight people, sparse start, 90 days.
    """
    place = list(SCHEDULES).index(PLANNER)
    found = {}
    for world in sorted(WORLDS):
        cell = Cell(world, "sparse", 90)
        drawn = streams(1, world, cell.start, _REFERENCE_PEOPLE, _STUDY, place)
        found[cell.name] = fmean(simulate(cell, PLANNER, drawn, weights, weights).at_check)
    return found


def _goals(outcomes: Sequence[Outcome], weights: dict[str, Weights], shipped: Weights) -> Iterator[Goal]:
    cells = {cell: found for cell, found in by_cell(outcomes).items() if not cell.bank}
    for cell, found in cells.items():
        yield from floors(cell, found)
    for world, left_out in weights.items():
        yield from gap_goals(f"weights for {world}", left_out)
    yield from gap_goals("shipped weights *", shipped)
    if cells:
        yield from stretches(cells)


def _length(cell: Cell, schedule: str, learners: int) -> int:
    """Rough time of a part, about 10 ms of a processor a unit."""
    of_answer = 1 + 3 * (schedule.startswith("below") or schedule in ("greedy", "oracle index"))
    if schedule.startswith(PLANNER):
        of_answer = 7
    return of_answer * learners * cell.days * cell.answers // 900


def _answers(days: int, people: int) -> int:
    """Answers of one log, had every day a sitting."""
    return days * people * CELLS[0].answers


def _log(
    seed: int, world: str, start: str, place: int, days: int, people: int, shipped: Weights
) -> list[list[LearnerRows]]:
    cell = Cell(world, start, days)
    # Different people for each schedule: no two rows of the fit are of the same person.
    drawn = streams(seed, world, start, people * len(LOGGED), _LOG, place)
    own = drawn.people[place * people : (place + 1) * people]
    with_each = [replace(shipped, rho=rho) for rho in RHOS]
    return logged(cell, LOGGED[place], Streams(own, drawn.bank, drawn.schedule), with_each)


def _simulate(seed: int, cell: Cell, schedule: str, people: int, left_out: Weights, shipped: Weights) -> Outcome:
    drawn = streams(seed, cell.world, cell.start, people, _STUDY, list(SCHEDULES).index(schedule))
    return simulate(cell, schedule, drawn, left_out, shipped)


class _Workers:
    """Runs a function over parts in some processes, or here where there is but one; yields (place, result)."""

    def __init__(self, processes: int) -> None:
        self.pool = None
        if processes > 1:
            # A fresh interpreter each: a copy of this one would carry its threads' locks along.
            self.pool = ProcessPoolExecutor(processes, get_context("spawn"), initializer=_die_quietly)

    def __enter__(self) -> Callable[..., Iterator[tuple[int, Any]]]:
        return self._run

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        if self.pool is not None:
            self.pool.shutdown(cancel_futures=kind is not None)

    def _run(self, function: Callable[..., Any], parts: Sequence[tuple[Any, ...]]) -> Iterator[tuple[int, Any]]:
        if self.pool is None:
            for place, part in enumerate(parts):
                yield place, function(*part)
            return
        waiting: dict[Future[Any], int] = {self.pool.submit(function, *part): place for place, part in enumerate(parts)}
        while waiting:
            ready, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in ready:
                yield waiting.pop(future), future.result()


def _die_quietly() -> None:
    """Ctrl-C reaches every process of the terminal; the one that started them says what there is to say."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)

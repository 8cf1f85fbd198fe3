"""The goals of the study, each with its value."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean, median, stdev

from quizsvc.memory.gap import PEOPLE_GAPS, RETENTION_DAYS, best_gaps
from quizsvc.memory.simulation.scenario import Cell
from quizsvc.memory.simulation.study import PLANNER, Outcome
from quizsvc.memory.weights import Weights

__all__ = ["PEOPLE_GAPS", "Goal", "by_cell", "floors", "gap_goals", "paired", "ratio", "stretches"]

_EPS = 1e-12


@dataclass(frozen=True)
class Goal:
    """A goal, where it was measured, and whether it was met.

    Parameters
    ----------
    name, where : str
        In words.
    value, goal : float
        What was found and what was wanted.
    at_least : bool
        Whether the value may not be below the goal; otherwise not above.
    stretch : bool
        Whether it is a wish rather than a floor.
    """

    name: str
    where: str
    value: float
    goal: float
    at_least: bool = True
    stretch: bool = False

    @property
    def met(self) -> bool:
        """Whether the value meets the goal; a value that is not a number never does."""
        return self.value >= self.goal - _EPS if self.at_least else self.value <= self.goal + _EPS


def by_cell(outcomes: Sequence[Outcome]) -> Mapping[Cell, Mapping[str, Outcome]]:
    """Outcomes by cell and schedule, in the order given."""
    found: dict[Cell, dict[str, Outcome]] = {}
    for outcome in outcomes:
        found.setdefault(outcome.cell, {})[outcome.schedule] = outcome
    return found


def paired(one: Sequence[float], other: Sequence[float]) -> tuple[float, float]:
    """Mean difference between two schedules for the same people, and its standard error (NaN for one person)."""
    differences = [a - b for a, b in zip(one, other, strict=True)]
    error = stdev(differences) / math.sqrt(len(differences)) if len(differences) > 1 else math.nan
    return fmean(differences), error


def ratio(one: Sequence[float], other: Sequence[float]) -> float:
    """Mean of one over mean of the other."""
    return fmean(one) / fmean(other)


def floors(cell: Cell, found: Mapping[str, Outcome]) -> Iterator[Goal]:
    """The floors of one cell."""
    own = found[PLANNER]

    def goal(name: str, value: float, wanted: float, at_least: bool = True) -> Goal:
        return Goal(name, cell.name, value, wanted, at_least)

    yield goal("recall at the check less rotation", paired(own.at_check, found["rotation"].at_check)[0], -0.005)
    for name, other, wanted in (
        ("recall at the check over random", "random", 1.04),
        ("recall at the check over blocked", "blocked", 1.3),
        ("recall at the check over oracle index", "oracle index", 0.80),
    ):
        yield goal(name, ratio(own.at_check, found[other].at_check), wanted)
    for name, other, wanted in (
        ("average recall over week and month", "week and month", 0.99),
        ("average recall over expanding", "expanding, new first", 1.03),
    ):
        yield goal(name, ratio(own.average, found[other].average), wanted)
    yield goal("days to the next visit, miss over right", own.after_miss / own.after_right, 0.70, at_least=False)
    if cell.answers * cell.days * cell.study_share >= 2 * cell.items:
        yield goal("share of the items reached, least of all people", min(own.reached), 1.0)
    yield goal("answers on the fullest day over the budget", max(own.most_a_day) / cell.answers, 1.0, at_least=False)


def gap_goals(name: str, weights: Weights) -> Iterator[Goal]:
    """Best gap between sessions: rising, and within a factor of two of that of people."""
    gaps = best_gaps(weights)
    rise = min(later / earlier for earlier, later in zip(gaps, gaps[1:], strict=False))
    yield Goal("best gap rises: least step, as a factor", name, rise, 1.0)
    for retention, people, gap in zip(RETENTION_DAYS, PEOPLE_GAPS, gaps, strict=True):
        factor = max(gap / people, people / gap)
        yield Goal(f"best gap at {retention:.0f} days against {people:.0f}, as a factor", name, factor, 2.0, False)


def stretches(cells: Mapping[Cell, Mapping[str, Outcome]]) -> Iterator[Goal]:
    """The wishes over all cells."""
    against = [ratio(found[PLANNER].at_check, found["rotation"].at_check) for found in cells.values()]
    yield Goal("recall at the check over rotation, median cell", "all cells", median(against), 1.04, stretch=True)
    worst, where = min(
        (ratio(found[PLANNER].at_check, found["oracle index"].at_check), cell.name) for cell, found in cells.items()
    )
    yield Goal("recall at the check over oracle index, worst cell", where, worst, 0.85, stretch=True)
    slowest, where = max(
        (found[PLANNER].after_miss / found[PLANNER].after_right, cell.name) for cell, found in cells.items()
    )
    yield Goal("days to the next visit, miss over right, worst cell", where, slowest, 0.6, False, stretch=True)

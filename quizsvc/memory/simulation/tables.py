"""The study's results as tables, rows for a CSV file, and a picture."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from statistics import fmean, stdev
from typing import Any

from quizsvc.memory.simulation.goals import Goal, by_cell, paired
from quizsvc.memory.simulation.scenario import Cell
from quizsvc.memory.simulation.study import PLANNER, Outcome

__all__ = ["CSV_COLUMNS", "cell_table", "csv_rows", "goal_table", "not_beaten", "picture"]

Rows = list[tuple[str, ...]]

CSV_COLUMNS = (
    "world",
    "start",
    "days",
    "schedule",
    "people",
    "answers",
    "recall_at_check",
    "recall_at_check_se",
    "less_rotation",
    "less_rotation_se",
    "recall_30_days_later",
    "average_recall",
    "items_reached",
    "days_after_miss",
    "days_after_right",
    "most_answers_a_day",
)


def _error(values: Sequence[float]) -> float:
    return stdev(values) / math.sqrt(len(values)) if len(values) > 1 else math.nan


def _number(value: float, decimals: int = 3) -> str:
    if math.isnan(value):
        return "-"
    return "never" if math.isinf(value) else f"{value:.{decimals}f}"


def cell_table(cell: Cell, found: Mapping[str, Outcome]) -> Rows:
    """Every schedule in one cell, a heading first; recall from 0 to 1, standard errors in brackets."""
    rows: Rows = [
        (
            cell.name,
            "at the check",
            "less rotation",
            "30 days on",
            "average",
            "reached",
            "answers",
            "days after miss : right",
        )
    ]
    for name, outcome in found.items():
        difference, error = paired(outcome.at_check, found["rotation"].at_check)
        rows.append(
            (
                name,
                f"{fmean(outcome.at_check):.3f} ({_number(_error(outcome.at_check))})",
                "" if name == "rotation" else f"{difference:+.3f} ({_number(error)})",
                f"{fmean(outcome.after):.3f}",
                f"{fmean(outcome.average):.3f}",
                f"{fmean(outcome.reached):.2f}",
                f"{fmean(outcome.given):.0f}",
                f"{_number(outcome.after_miss, 0)} : {_number(outcome.after_right, 0)}",
            )
        )
    return rows


def goal_table(goals: Sequence[Goal]) -> Rows:
    """The goals by name: in how many places each was met, the worst value, and where that was."""
    rows: Rows = [("goal", "wanted", "worst", "where", "met in", "")]
    names = list(dict.fromkeys((goal.stretch, goal.name) for goal in goals))
    for stretch, name in sorted(names, key=lambda entry: entry[0]):
        group = [goal for goal in goals if (goal.stretch, goal.name) == (stretch, name)]
        # NaN first, whichever way the goal points: it meets nothing.
        worst = min(group, key=lambda goal: (not math.isnan(goal.value), goal.value if goal.at_least else -goal.value))
        met = sum(goal.met for goal in group)
        rows.append(
            (
                f"wish: {name}" if stretch else name,
                f"{'>=' if worst.at_least else '<='} {worst.goal:g}",
                _number(worst.value),
                worst.where,
                f"{met} of {len(group)}",
                "met" if met == len(group) else "NOT met",
            )
        )
    return rows


def not_beaten(outcomes: Sequence[Outcome]) -> Rows:
    """How often each other schedule leaves more recall than the planner: at the check, 30 days later, on average.

    In the cells of the scheduling study; where there is none among the outcomes, in those of the bank's shape.
    """
    everywhere = by_cell(outcomes)
    cells = [found for cell, found in everywhere.items() if not cell.bank] or list(everywhere.values())
    rows: Rows = [("cells in which the planner is beaten by", "at the check", "30 days on", "on average")]
    for name in cells[0]:
        if name.startswith(PLANNER):
            continue
        counts = [
            sum(paired(getattr(found[name], what), getattr(found[PLANNER], what))[0] > 0 for found in cells)
            for what in ("at_check", "after", "average")
        ]
        rows.append((name, *(f"{count} of {len(cells)}" for count in counts)))
    return rows


def csv_rows(outcomes: Sequence[Outcome]) -> Iterator[tuple[Any, ...]]:
    """One row for each cell and schedule, in the order of `CSV_COLUMNS`."""
    for cell, found in by_cell(outcomes).items():
        for name, outcome in found.items():
            difference, error = paired(outcome.at_check, found["rotation"].at_check)
            yield (
                cell.world,
                cell.start,
                cell.days,
                name,
                len(outcome.at_check),
                fmean(outcome.given),
                fmean(outcome.at_check),
                _error(outcome.at_check),
                difference,
                error,
                fmean(outcome.after),
                fmean(outcome.average),
                fmean(outcome.reached),
                outcome.after_miss,
                outcome.after_right,
                max(outcome.most_a_day),
            )


def picture(outcomes: Sequence[Outcome]) -> Mapping[str, Any]:
    """The planner less rotation at the check as a picture description, in hundredths of recall with 95 % ranges."""
    rows = []
    for cell, found in by_cell(outcomes).items():
        difference, error = paired(found[PLANNER].at_check, found["rotation"].at_check)
        row = {"label": cell.name, "value": 100 * difference}
        if not math.isnan(error):
            row |= {"low": 100 * (difference - 1.96 * error), "high": 100 * (difference + 1.96 * error)}
        rows.append(row)
    title = "Simulated recall at the check: planner less rotation, in hundredths, with 95 % ranges"
    return {"type": "bars", "title": title, "unit": "", "rows": rows}

"""What the memory model says of published experiments; `python -m tests.reference.published_recall` prints the table.

Each experiment is 3 practices half a minute apart, and in those on spacing a second session of 2 a gap later, then a
test; a practice counts with its expected success. The starting weights come from simulated learners and know none of
the data:

- as shipped: the middle learner (ability 0), nothing fitted;
- level fitted: one number for each experiment, the ability, by logistic regression;
- trace weights fitted: level and the five v >= 0 (w = 0) for each experiment: what the form of the model can follow.

The errors are root mean squares over the points, in percent of items recalled.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.special import expit, log_expit, logit

from quizsvc.memory.fitting import Prior, fit_bounded
from quizsvc.memory.gap import recall_after_gap
from quizsvc.memory.recall import recall_of, trace_logs, update
from quizsvc.memory.states import AnswerEvent, LearnerState, fresh_concept
from quizsvc.memory.weights import STARTING, Weights
from tests.reference.tables import rows_of

PAUSE = 0.5 / 1440
SHORTEST_GAP = 3 / 1440  # days; what the experiment calls gap 0 was about three minutes
SAME_DAY = 10 / 1440  # days; a first test called lag 0 came some minutes after the practice
MUCH = 1000.0  # weight of a point against the prior of the fits, which is only there to keep them finite


@dataclass(frozen=True)
class Point:
    """A published recall: `gap` is None where there was no second session; `retention` from the last practice, days."""

    gap: float | None
    retention: float
    recalled: float


def published() -> dict[str, list[Point]]:
    """Every experiment by name."""
    found = {
        "Cepeda 2008, spacing": [
            Point(max(float(row["gap_days"]), SHORTEST_GAP), float(row["retention_interval_days"]), share(row))
            for row in rows_of("memory/cepeda_2008_recall.csv")
        ],
        "Cepeda 2008, forgetting": [
            Point(None, max(float(row["lag_days"]), SAME_DAY), share(row))
            for row in rows_of("memory/cepeda_2008_forgetting.csv")
        ],
    }
    for row in rows_of("memory/cepeda_2009_recall.csv"):
        name = f"Cepeda 2009 {row['experiment'].replace('_', ' ')}, {row['function']}"
        gap = float(row["gap_days"])
        point = (
            Point(None, max(gap, SAME_DAY), share(row))
            if row["function"] == "forgetting"
            else Point(max(gap, SHORTEST_GAP), float(row["retention_interval_days"]), share(row))
        )
        found.setdefault(name, []).append(point)
    for who in ("ebbinghaus", "mack", "seitz", "dros"):
        found[f"savings, {who.title()}"] = [
            Point(None, float(row["t_minutes"]) / 1440, float(row[who]))
            for row in rows_of("memory/murre_dros_2015.csv")
        ]
    return found


def share(row) -> float:
    """Recalled items as a share of all."""
    return float(row["recall_pct"]) / 100


def practised(learner: LearnerState, gap: float | None, weights: Weights):
    """State of a concept after the practices, and the time of the last one."""
    state, at = fresh_concept(weights), 0.0
    moments = [0.0, PAUSE, 2 * PAUSE]
    if gap is not None:
        moments += [moments[-1] + gap, moments[-1] + gap + PAUSE]
    for at in moments:
        success = recall_of(learner, state, at, weights)
        event = AnswerEvent(at, 0, "part", success, "", "", True, None, "")
        state = replace(update(learner, state, event, weights)[1], offset=0.0, offset_variance=weights.offset_variance)
    return state, at


def predicted(points: list[Point], ability: float, weights: Weights = STARTING) -> np.ndarray:
    """Recall of each point."""
    learner = LearnerState(ability, 1.0)
    found = []
    for point in points:
        state, at = practised(learner, point.gap, weights)
        found.append(recall_of(learner, state, at + point.retention, weights))
    return np.array(found)


def level(points: list[Point], weights: Weights = STARTING) -> float:
    """The ability whose predictions have the least log loss."""
    recalled = np.array([point.recalled for point in points])

    def loss(ability):
        x = logit(np.clip(predicted(points, ability, weights), 1e-12, 1 - 1e-12))
        return -np.sum(recalled * log_expit(x) + (1 - recalled) * log_expit(-x))

    return float(minimize_scalar(loss, bounds=(-8, 8), method="bounded").x)


def refitted(points: list[Point]) -> tuple[np.ndarray, np.ndarray]:
    """Predictions with level and v fitted to the points by the product's solver, and the six numbers."""
    learner = LearnerState(0.0, 1.0)
    rows = []
    for point in points:
        state, at = practised(learner, point.gap, STARTING)
        rows.append([1.0, *trace_logs(state, at + point.retention, STARTING)[:5]])
    design, recalled = np.array(rows), np.array([point.recalled for point in points])
    prior = Prior(np.zeros(6), np.full(6, np.sqrt(MUCH)), np.array([-np.inf, 0, 0, 0, 0, 0]))
    theta = fit_bounded(np.repeat(design, int(MUCH), axis=0), np.repeat(recalled, int(MUCH)), prior).theta
    return expit(design @ theta), theta


def error(points: list[Point], found: np.ndarray) -> float:
    """Root mean square difference, in percent of the items."""
    return float(100 * np.sqrt(np.mean((found - [point.recalled for point in points]) ** 2)))


def best_published(points: list[Point]) -> dict[float, float]:
    """The observed best gap by retention interval, days."""
    best: dict[float, Point] = {}
    for point in points:
        if point.retention not in best or point.recalled > best[point.retention].recalled:
            best[point.retention] = point
    return {retention: point.gap for retention, point in best.items()}


def best_modelled(points: list[Point]) -> dict[float, float]:
    """The best of the gaps that were tried, as the starting weights have it."""
    found = {}
    for retention in dict.fromkeys(point.retention for point in points):
        gaps = [point.gap for point in points if point.retention == retention]
        found[retention] = max(gaps, key=lambda gap: recall_after_gap(gap, [retention], STARTING)[0])
    return found


def main() -> None:
    """Print the table."""
    print("error, % of items           points  as shipped  level fitted (ability)  trace weights fitted")
    everything = published()
    everything["Cepeda 2008, all 37 points"] = (
        everything["Cepeda 2008, spacing"] + everything["Cepeda 2008, forgetting"]
    )
    for name, points in everything.items():
        ability = level(points)
        shipped, levelled = error(points, predicted(points, 0.0)), error(points, predicted(points, ability))
        print(
            f"{name:44s} {len(points):3d} {shipped:6.1f} {levelled:6.1f} ({ability:+.2f})"
            f" {error(points, refitted(points)[0]):6.1f}"
        )
    for name, points in everything.items():
        if name.endswith("spacing"):
            for (retention, people), model in zip(
                best_published(points).items(), best_modelled(points).values(), strict=True
            ):
                print(f"{name}, test after {retention:g} d: best gap tried {people:.3g} d, by the model {model:.3g} d")


if __name__ == "__main__":
    main()

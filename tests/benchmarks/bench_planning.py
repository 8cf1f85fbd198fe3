"""Planning one set over 300 and 3,000 concepts, against one `numpy.exp` over the same trace array.

Four steps are timed, from recall alone to a plan from candidate objects, so that it shows where the time goes.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable

import numpy as np

from quizsvc.memory.planning import plan_set, pool
from quizsvc.memory.recall import recall
from quizsvc.memory.scoring import Budget, score
from quizsvc.memory.states import fresh_learner
from quizsvc.memory.weights import STARTING
from tests.benchmarks import Row
from tests.memory.learners import some_candidates

NOW, CHECK = 20_000.5, 20_090.5
SIZES = (300, 3_000)
MINUTES_A_DAY_AND_CONCEPT = 0.04  # leaves each concept three later visits, whatever the size of the bank
ROUNDS, LEAST_S = 15, 0.004


def run() -> list[Row]:
    """Times and ratios at both sizes, then growth of the plan from the smaller to the larger."""
    rows, plans = [], []
    for concepts in SIZES:
        times = _best(_steps(concepts))
        floor = times.pop("numpy.exp over the traces")
        plans.append(times["plan"])
        rows.append(Row(f"planning: {concepts} concepts, numpy.exp over the traces", floor * 1e6, "us"))
        for name, seconds in times.items():
            goal = "at most 10" if name == "plan" else ""
            rows.append(Row(f"planning: {concepts} concepts, {name}", seconds * 1e6, "us", seconds / floor, goal))
    growth = plans[1] / plans[0]
    rows.append(Row("planning: growth of the plan for ten times the concepts", growth, "times", growth, "at most 10"))
    return rows


def _steps(concepts: int) -> dict[str, Callable[[], object]]:
    rng = random.Random(1)
    candidates = some_candidates(rng, concepts, now=NOW, systems=30)
    choice, learner = pool(candidates), fresh_learner("in training")
    held, out = choice.held, np.empty_like(choice.held.traces)
    minutes_a_day = MINUTES_A_DAY_AND_CONCEPT * concepts
    budget = Budget(concepts, 60.0 * minutes_a_day / choice.mean_seconds(True), NOW, CHECK)
    assert budget.visits == 3

    def plan(asked):
        return plan_set(
            asked,
            learner,
            STARTING,
            now=NOW,
            minutes=8.0,
            minutes_a_day=minutes_a_day,
            check_day=CHECK,
            long=True,
            rng=rng,
        )

    return {
        "numpy.exp over the traces": lambda: np.exp(held.traces, out=out),
        "recall": lambda: recall(held, learner, NOW, STARTING),
        "score": lambda: score(held, learner.ability, STARTING, choice.consequence, budget),
        "plan": lambda: plan(choice),
        "arrays and plan": lambda: plan(candidates),
    }


def _best(steps: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Shortest mean of a batch for each step, s; the steps take turns, so that a busy machine slows all alike."""
    batch = {name: max(1, round(LEAST_S / _once(step, 3))) for name, step in steps.items()}
    best = dict.fromkeys(steps, float("inf"))
    for _ in range(ROUNDS):
        for name, step in steps.items():
            best[name] = min(best[name], _once(step, batch[name]))
    return best


def _once(step: Callable[[], object], times: int) -> float:
    start = time.perf_counter()
    for _ in range(times):
        step()
    return (time.perf_counter() - start) / times

"""Planning one set over 300 and 3,000 concepts, against one `numpy.exp` over the same trace array.

Goal: at most 10 times the exponential; growth linear. Four steps are timed, from the score alone to a plan from
candidate objects, so that it shows where the time goes. Every step and its floor are measured in turn, in one run.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator

import numpy as np

from quizsvc.memory.planning import plan_set, pool
from quizsvc.memory.recall import recall
from quizsvc.memory.scoring import Budget, score
from quizsvc.memory.states import fresh_learner
from quizsvc.memory.weights import STARTING
from tests.memory.learners import some_candidates

TITLE = "plan one set"
GOAL = 10.0
NOW, CHECK = 20_000.5, 20_090.5
SIZES = (300, 3_000)
ROUNDS, LEAST_S = 15, 0.004


def run() -> Iterator[str]:
    """Lines of the report."""
    seconds: dict[str, list[float]] = {}
    for concepts in SIZES:
        rng = random.Random(1)
        candidates = some_candidates(rng, concepts, now=NOW, systems=30)
        choice = pool(candidates)
        learner = fresh_learner("in training")
        # Minutes a day grow with the bank: each concept is left three later visits in both sizes.
        how = {
            "now": NOW,
            "minutes": 8.0,
            "minutes_a_day": 12.0 * concepts / 300,
            "check_day": CHECK,
            "long": True,
            "rng": rng,
        }
        budget = Budget(concepts, 60.0 * how["minutes_a_day"] / choice.mean_seconds(True), NOW, CHECK)
        out = np.empty_like(choice.held.traces)
        traces, held, consequence = choice.held.traces, choice.held, choice.consequence
        steps: dict[str, Callable[[], object]] = {
            "numpy.exp": lambda traces=traces, out=out: np.exp(traces, out=out),
            "recall": lambda held=held, learner=learner: recall(held, learner, NOW, STARTING),
            "score": lambda held=held, learner=learner, consequence=consequence, budget=budget: score(
                held, learner.ability, STARTING, consequence, budget
            ),
            "plan": lambda choice=choice, learner=learner, how=how: plan_set(choice, learner, STARTING, **how),
            "pool + plan": lambda candidates=candidates, learner=learner, how=how: plan_set(
                candidates, learner, STARTING, **how
            ),
        }
        for name, best in _best(steps).items():
            seconds.setdefault(name, []).append(best)
        places = len(plan_set(choice, learner, STARTING, **how).places)
        yield f"{concepts} concepts, {budget.visits} later visits each, {places} places in the set"

    floor = seconds["numpy.exp"]
    yield f"{'':14}" + "".join(f"{f'{size} us':>12}{'ratio':>8}" for size in SIZES) + f"{'growth':>9}"
    for name, times in seconds.items():
        cells = "".join(f"{1e6 * t:12.1f}{t / f:8.1f}" for t, f in zip(times, floor, strict=True))
        yield f"{name:14}{cells}{times[1] / times[0]:9.1f}"
    worst = max(t / f for t, f in zip(seconds["plan"], floor, strict=True))
    growth = seconds["plan"][1] / seconds["plan"][0]
    yield f"goal: plan at most {GOAL:.0f} times numpy.exp: {'reached' if worst <= GOAL else 'missed'} ({worst:.0f})"
    yield f"goal: growth at most linear ({SIZES[1] / SIZES[0]:.0f}): {'reached' if growth <= 10.5 else 'missed'}"


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


if __name__ == "__main__":
    for line in run():
        print(line)

"""The memory model in bulk: one class scored at once, weights fitted, a log replayed.

- Recall and score of 117 concepts for each of 1,000 learners in one call, against one `numpy.exp` over the same traces.
  One learner with 300 and 3,000 concepts is timed by `bench_planning`.
- A fit of 10,000 and 1,000,000 answers against scikit-learn's logistic regression with the same penalty, no bound met,
  on the same matrix. scikit-learn stops at its default tolerance; ours at the minimum.
- The turns of filter and fit over 10,000 answers of a log, in answers a second.
- A replay of 1,000,000 answers from the database, against reading the same rows.
"""

from __future__ import annotations

import os
import random
import tempfile
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from scipy.special import expit
from sklearn.linear_model import LogisticRegression

from quizsvc.memory.fit_rows import believed, rows_of
from quizsvc.memory.fitting import Prior, fit_bounded
from quizsvc.memory.recall import recall, stack
from quizsvc.memory.scoring import Budget, score
from quizsvc.memory.states import LearnerState
from quizsvc.memory.weights import STARTING
from quizsvc.services import banks, memory_replay
from quizsvc.settings import migrations_folder, question_bank_folder
from quizsvc.store import answers as answer_rows
from quizsvc.store import learners as learner_rows
from quizsvc.store import migration
from quizsvc.store.session import Database
from tests.benchmarks import Row, best_seconds
from tests.log_rows import bank_concepts, write_logs, write_people
from tests.memory.learners import some_history
from tests.memory.logs import model_log

NOW, CHECK = 20_000.5, 20_090.5
LEARNERS, CONCEPTS = 1_000, 117
BEGUN = datetime(2026, 3, 2, 9, tzinfo=UTC)


def run() -> list[Row]:
    """All of them; the load of the machine stands first."""
    rows = [Row("memory: load of the machine before", os.getloadavg()[0], "processes")]
    return [*rows, *_class_at_once(), *_fits(), *_turns(), *_replay()]


def _class_at_once() -> list[Row]:
    rng = random.Random(1)
    some = [some_history(rng, end=NOW) for _ in range(2_000)]
    states = [rng.choice(some) for _ in range(LEARNERS * CONCEPTS)]
    # What a learner's ability adds to the log odds of each of their concepts stands in the offsets.
    ability = np.repeat([rng.gauss(0, 1) for _ in range(LEARNERS)], CONCEPTS)
    held = stack(states)
    held = replace(held, offset=held.offset + ability)
    middle, consequence = LearnerState(0.0, 1.0), np.ones(len(held))
    budget = Budget(CONCEPTS, 3 * CONCEPTS / (90 * 5 / 7) * 1.1, NOW, CHECK)
    assert budget.visits == 3
    out = np.empty_like(held.traces)
    steps: dict[str, Callable[[], object]] = {
        "recall": lambda: recall(held, middle, NOW, STARTING),
        "score": lambda: score(held, 0.0, STARTING, consequence, budget),
    }
    floor = best_seconds(lambda: np.exp(held.traces, out=out))
    name = f"memory: {LEARNERS} learners of {CONCEPTS} concepts"
    rows = [Row(f"{name}, numpy.exp over the traces", floor * 1e3, "ms")]
    for step, call in steps.items():
        seconds = best_seconds(call)
        rows.append(Row(f"{name}, {step}", seconds * 1e3, "ms", seconds / floor))
    return rows


def _fits() -> list[Row]:
    return [row for answers in (10_000, 1_000_000) for row in _fit(answers)]


def _fit(answers: int) -> list[Row]:
    rng = np.random.default_rng(answers)
    design = np.hstack([np.ones((answers, 1)), np.log1p(rng.exponential(1.0, (answers, 10)))])
    right = rng.random(answers) < expit(design @ [-2.5, 1.0, 0.3, 0.8, 0.5, 0.7, 0.1, 0.2, 0.1, 0.4, 0.2])
    outcome = right.astype(float)
    free = Prior(np.zeros(11), np.full(11, 0.5), np.full(11, -np.inf))
    bounded = Prior(np.zeros(11), np.full(11, 0.5), np.array([-np.inf] + [0.0] * 10))
    usual = LogisticRegression(C=0.25, fit_intercept=False)
    newton = LogisticRegression(C=0.25, fit_intercept=False, solver="newton-cholesky")
    steps: dict[str, Callable[[], object]] = {
        "usual": lambda: usual.fit(design, outcome),
        "newton": lambda: newton.fit(design, outcome),
        "ours": lambda: fit_bounded(design, outcome, free),
        "bounded": lambda: fit_bounded(design, outcome, bounded),
    }
    best = dict.fromkeys(steps, float("inf"))
    for _ in range(9 if answers < 100_000 else 3):  # in turns, so that a busy machine slows all alike
        for step, call in steps.items():
            best[step] = min(best[step], best_seconds(call, repeats=1))
    name = f"memory: fit of {answers:,} answers"
    return [
        Row(f"{name}, scikit-learn, its default solver", best["usual"] * 1e3, "ms"),
        Row(f"{name}, scikit-learn, newton-cholesky", best["newton"] * 1e3, "ms"),
        Row(f"{name}, against the default solver", best["ours"] * 1e3, "ms", best["ours"] / best["usual"], "at most 1"),
        Row(f"{name}, against newton-cholesky", best["ours"] * 1e3, "ms", best["ours"] / best["newton"], "at most 1"),
        Row(f"{name}, with bounds", best["bounded"] * 1e3, "ms", best["bounded"] / best["usual"], "at most 1"),
    ]


def _turns() -> list[Row]:
    log = model_log(1, 10_000)
    made = best_seconds(lambda: rows_of(log, "never trained", STARTING), repeats=3)
    rows = rows_of(log, "never trained", STARTING)
    filtered = best_seconds(lambda: believed(rows, STARTING), repeats=5)
    return [
        Row("memory: rows made from a log", len(log) / made, "answers/s"),
        Row("memory: rows filtered, one turn", len(rows) / filtered, "answers/s", made / filtered),
    ]


def _replay(answers: int = 1_000_000, people: int = 1_000) -> list[Row]:
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'quizsvc.db'}"
        db = Database.open(url, busy_timeout_s=5.0)
        migration.upgrade(db, migrations_folder())
        banks.load(db, question_bank_folder(), now=BEGUN, rng=random.Random(1))
        concepts = bank_concepts(db)
        ids = write_people(db, [f"pilot {number}" for number in range(people)], BEGUN)
        logs = [model_log(seed, answers // people, concepts=concepts) for seed in range(20)]
        for start in range(0, people, 100):
            write_logs(db, {person: logs[person % 20] for person in ids[start : start + 100]})

        def read() -> int:
            count = 0
            with db.reading() as session:
                for person in learner_rows.all_ids(session):
                    count += len(answer_rows.events(session, person))
            return count

        floor = best_seconds(read, repeats=2)
        taken = best_seconds(lambda: memory_replay.replay_all(db, now=BEGUN), repeats=1)
        db.close()
    return [
        Row(f"memory: rows of {answers:,} answers read", answers / floor, "answers/s"),
        Row(f"memory: replay of {answers:,} answers", answers / taken, "answers/s", taken / floor),
    ]

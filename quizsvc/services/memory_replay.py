"""Rebuild every learner from the log, into the weights in use."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from quizsvc.services import memory_log, weights
from quizsvc.store import learners
from quizsvc.store.session import Database


@dataclass(frozen=True)
class ReplayReport:
    """What a replay did: learners rebuilt, answers taken in, version of the weights."""

    learners: int
    answers: int
    weights_version: int

    def __str__(self) -> str:
        return f"{self.learners} learners rebuilt from {self.answers} answers, weights version {self.weights_version}"


def replay_all(db: Database, *, now: datetime, progress: Callable[[int, int], None] | None = None) -> ReplayReport:
    """Rebuild all learners, each in a unit of work of their own, so that people can go on answering meanwhile."""
    with db.writing() as session:
        used = weights.in_use(session, now=now)
        ids = learners.all_ids(session)
    rebuilt = taken = 0
    for number, person_id in enumerate(ids, 1):
        answered = memory_log.rebuild_one(db, person_id, used)
        if answered is not None:
            rebuilt += 1
            taken += answered
        if progress is not None:
            progress(number, len(ids))
    return ReplayReport(rebuilt, taken, used.version)

"""Rebuild every learner from the log, into the weights in use; and whether that is called for."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.services import memory_log, weights
from quizsvc.store import learners, people
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


LOOKED_AT = 3
"""So many learners are looked at who have not answered for longest, and so many who have answered last."""

TO_REPLAY = (
    "what is stored of learners' memory is not what this version makes of their answers; bring it up to date by: "
    "quizsvc memory replay"
)

# By another machine's arithmetic a learner comes out alike to 1e-9; what no one could see is no reason for a word.
_ALIKE = 1e-6


def differs(db: Database) -> bool:
    """Whether a learner of a few looked at is stored otherwise than the log gives, as after a change of the update.

    True is certain. False is only that these few are as they should be: all would take as long as the replay.
    """
    with db.reading() as session:
        ids = learners.longest_and_shortest_ago(session, LOOKED_AT)
    return any(_differs(db, person_id) for person_id in ids)


def _differs(db: Database, person_id: int) -> bool:
    with db.reading() as session:
        person, learner = people.by_id(session, person_id), learners.get(session, person_id)
        if person is None or learner is None:
            return False
        version, kept = learner.version, learner.state
        held = learners.states(session, person_id)
        state, made = memory_log.from_log(session, person, learner)
    with db.reading() as session:
        again = learners.get(session, person_id)
        if again is None or again.version != version:
            return False  # an answer has come meanwhile: log and state were not of one moment
    return not _alike(kept, state.to_json()) or not _alike(held, {one: hold.to_json() for one, hold in made.items()})


def _alike(one: Any, other: Any) -> bool:
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_alike(value, other[key]) for key, value in one.items())
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_alike, one, other))
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=_ALIKE, abs_tol=_ALIKE)
    return bool(one == other)

"""The memory model's weights: a versioned row, read once a process."""

from __future__ import annotations

from datetime import datetime

from quizsvc.memory.weights import STARTING, Weights
from quizsvc.store import learners
from quizsvc.store.session import Database, Session

# A version's weights never change, so they are read once in each process; by database, for tests open many.
_read: dict[tuple[str, int], Weights] = {}


def of_version(session: Session, version: int) -> Weights:
    """The weights of a version that is stored."""
    return Weights.from_json(learners.weights_of(session, version).body)


def kept(db: Database, version: int) -> Weights:
    """The weights of a version, without asking the database again: every answer needs them."""
    found = _read.get((db.url, version))
    if found is None:
        with db.reading() as session:
            found = _read[db.url, version] = of_version(session, version)
    return found


def in_use(session: Session, *, now: datetime) -> Weights:
    """The accepted weights with the highest version; the starting ones are written down at their first use."""
    row = learners.weights_row(session)
    if row is None:
        learners.add_weights(session, STARTING.version, STARTING.to_json(), STARTING.source, now)
        row = learners.weights_row(session)
    assert row is not None
    return Weights.from_json(row.body)

"""The memory model's weights: a versioned row, read once a process."""

from __future__ import annotations

from datetime import datetime

from quizsvc.errors import ConflictError
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


def add_next(session: Session, new: Weights, origin: str, *, now: datetime) -> Weights:
    """Store weights under the version after the one they name, which must be in use; returns them with their number.

    Raises
    ------
    ConflictError
        Somebody else has just stored that version.
    """
    stored = new.with_version(new.version + 1)
    learners.add_weights(session, stored.version, stored.to_json(), origin, now)
    if of_version(session, stored.version) != stored:
        raise ConflictError(
            "weights-version",
            f"version {stored.version} of the memory weights has just been stored by somebody else",
            mend="fit again: quizsvc memory fit FILE",
        )
    return stored

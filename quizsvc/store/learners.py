"""Learners and their hold on concepts, as the memory model's own values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Protocol

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from quizsvc.store.tables import ConceptState, Learner, Weights


class _Jsonable(Protocol):
    def to_json(self) -> dict[str, Any]:
        """Plain values."""


def weights_row(session: Session) -> Weights | None:
    """The weights in use: the accepted ones with the highest version."""
    return session.scalars(sa.select(Weights).order_by(Weights.version.desc()).limit(1)).one_or_none()


def weights_of(session: Session, version: int) -> Weights:
    """The weights of a version that a learner names; there always are some."""
    return session.get_one(Weights, version)


def all_weights(session: Session) -> list[Weights]:
    """Every version of the weights, oldest first."""
    return list(session.scalars(sa.select(Weights).order_by(Weights.version)))


def add_weights(session: Session, version: int, body: dict[str, Any], origin: str, at: datetime) -> None:
    """Write weights down, unless another process has just done so."""
    values = {"version": version, "body": body, "origin": origin, "accepted_at": at}
    dialect = sqlite if session.get_bind().dialect.name == "sqlite" else postgresql
    session.execute(dialect.insert(Weights).values(values).on_conflict_do_nothing(index_elements=["version"]))


def add(session: Session, person_id: int, state: _Jsonable, weights_version: int) -> None:
    """Add the learner of a new person."""
    session.add(Learner(person_id=person_id, state=state.to_json(), version=0, weights_version=weights_version))
    session.flush()


def add_many(session: Session, person_ids: Sequence[int], state: _Jsonable, weights_version: int) -> None:
    """Add the learners of several new persons, who all begin alike."""
    body = state.to_json()
    rows = [
        {"person_id": person_id, "state": body, "version": 0, "weights_version": weights_version}
        for person_id in person_ids
    ]
    if rows:
        session.execute(sa.insert(Learner), rows)


def get(session: Session, person_id: int) -> Learner | None:
    """A learner, or None."""
    return session.get(Learner, person_id)


def longest_and_shortest_ago(session: Session, count: int) -> list[int]:
    """Persons who have answered: so many whose last answer is the oldest, and so many of the newest, each once."""
    answered = sa.select(Learner.person_id).where(Learner.newest_at.is_not(None))
    oldest = session.scalars(answered.order_by(Learner.newest_at, Learner.person_id).limit(count))
    newest = session.scalars(answered.order_by(Learner.newest_at.desc(), Learner.person_id.desc()).limit(count))
    return list(dict.fromkeys([*oldest, *newest]))


def states(session: Session, person_id: int) -> dict[str, dict[str, Any]]:
    """A person's holds by concept, as stored."""
    rows = session.execute(
        sa.select(ConceptState.concept_id, ConceptState.state).where(ConceptState.person_id == person_id)
    )
    return {row.concept_id: row.state for row in rows}


def replace(
    session: Session,
    learner: Learner,
    state: _Jsonable,
    held: Mapping[str, _Jsonable],
    *,
    newest_at: datetime | None,
    weights_version: int,
) -> None:
    """Store a learner as rebuilt from the log. The learner's row must be locked."""
    learner.state = state.to_json()
    learner.newest_at = newest_at
    learner.version += 1
    learner.weights_version = weights_version
    session.execute(sa.delete(ConceptState).where(ConceptState.person_id == learner.person_id))
    _add_holds(session, learner.person_id, held)


def replace_some(
    session: Session, learner: Learner, state: _Jsonable, held: Mapping[str, _Jsonable], *, newest_at: datetime | None
) -> None:
    """Store a learner as rebuilt, where only these holds have moved. The learner's row must be locked."""
    learner.state = state.to_json()
    learner.newest_at = newest_at
    learner.version += 1
    session.execute(
        sa.delete(ConceptState).where(
            ConceptState.person_id == learner.person_id, ConceptState.concept_id.in_(list(held))
        )
    )
    _add_holds(session, learner.person_id, held)


def _add_holds(session: Session, person_id: int, held: Mapping[str, _Jsonable]) -> None:
    if held:
        session.execute(
            sa.insert(ConceptState),
            [
                {"person_id": person_id, "concept_id": concept, "state": value.to_json()}
                for concept, value in held.items()
            ],
        )


def all_ids(session: Session) -> list[int]:
    """The persons of all learners."""
    return list(session.scalars(sa.select(Learner.person_id).order_by(Learner.person_id)))

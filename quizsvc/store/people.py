"""Persons and their roles."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection
from sqlalchemy.orm import Session

from quizsvc.store import checks
from quizsvc.store.tables import (
    Acknowledgement,
    Answer,
    Learner,
    Person,
    PersonAlias,
    PersonRole,
    PracticeSet,
    Question,
    Squawk,
)


@contextmanager
def on(connection: Connection) -> Iterator[Session]:
    """An ORM session inside a unit of work that began with a bare connection; the unit's owner commits."""
    # Closing such a session leaves the connection's transaction alone.
    with Session(connection, expire_on_commit=False, join_transaction_mode="rollback_only") as session:
        yield session
        session.flush()


def by_id(session: Session, person_id: int) -> Person | None:
    """The person, or None."""
    return session.get(Person, person_id)


def by_name(session: Session, name_key: str) -> Person | None:
    """The account of that name, or None."""
    return session.scalars(sa.select(Person).where(Person.name_key == name_key)).one_or_none()


def by_names(session: Session, name_keys: Collection[str]) -> dict[str, Person]:
    """The accounts of those of the names that have one."""
    found = session.scalars(sa.select(Person).where(Person.name_key.in_(name_keys)))
    return {person.name_key or "": person for person in found}


def add_many(session: Session, rows: Sequence[Mapping[str, Any]]) -> dict[str, int]:
    """Add many accounts by few statements; gives their ids by name key."""
    if not rows:
        return {}
    session.execute(sa.insert(Person), list(rows))
    keys = [row["name_key"] for row in rows]
    found = session.execute(sa.select(Person.name_key, Person.id).where(Person.name_key.in_(keys)))
    return {str(name_key): person_id for name_key, person_id in found}


def roles(session: Session, person_id: int) -> tuple[str, ...]:
    """A person's roles, in alphabetical order."""
    return tuple(
        session.scalars(sa.select(PersonRole.role).where(PersonRole.person_id == person_id).order_by(PersonRole.role))
    )


def roles_of(session: Session, person_ids: Collection[int]) -> dict[int, tuple[str, ...]]:
    """The roles of several people, in alphabetical order; everybody asked for is in it."""
    found: dict[int, tuple[str, ...]] = dict.fromkeys(person_ids, ())
    rows = session.execute(
        sa.select(PersonRole.person_id, PersonRole.role)
        .where(PersonRole.person_id.in_(person_ids))
        .order_by(PersonRole.role)
    )
    for person_id, role in rows:
        found[person_id] += (role,)
    return found


def set_roles(session: Session, person_id: int, wanted: Iterable[str]) -> None:
    """Give a person exactly these roles."""
    session.execute(sa.delete(PersonRole).where(PersonRole.person_id == person_id))
    session.add_all(PersonRole(person_id=person_id, role=role) for role in sorted(set(wanted)))


def add_role(session: Session, person_ids: Iterable[int], role: str) -> None:
    """Give several new persons a role."""
    rows = [{"person_id": person_id, "role": role} for person_id in person_ids]
    if rows:
        session.execute(sa.insert(PersonRole), rows)


def count_with_role(session: Session, role: str) -> int:
    """How many people hold a role."""
    return session.scalar(sa.select(sa.func.count()).where(PersonRole.role == role)) or 0


# Built once, since every change of a log begins with it.
_LOCK = (
    sa.select(Learner)
    .where(Learner.person_id == sa.bindparam("person"))
    .with_for_update()
    .execution_options(populate_existing=True)
)


def lock(session: Session, person_id: int) -> Learner | None:
    """The person's learner row, locked until the unit of work ends; first in every change of their log.

    SQLite has one writer at a time anyway and ignores FOR UPDATE.
    """
    return session.scalars(_LOCK, {"person": person_id}).one_or_none()


def count_answers(session: Session, person_id: int) -> int:
    """How many answers a person has given."""
    return session.scalar(sa.select(sa.func.count()).where(Answer.person_id == person_id)) or 0


def reown(session: Session, old_id: int, new_id: int, *, at: datetime) -> int:
    """Give an anonymous person's sets, questions, answers and debriefs to another; keeps the old id as an alias.

    Returns how many answers moved.
    """
    moved = count_answers(session, old_id)
    for table in (PracticeSet, Question, Answer, Squawk, Acknowledgement):
        session.execute(sa.update(table).where(table.person_id == old_id).values(person_id=new_id))
    checks.reown(session, old_id, new_id)
    # Whoever had moved to the old one before now belongs to the new one too.
    session.execute(sa.update(PersonAlias).where(PersonAlias.person_id == old_id).values(person_id=new_id))
    session.add(PersonAlias(old_id=old_id, person_id=new_id, claimed_at=at, answers=moved))
    session.flush()
    session.execute(sa.delete(Person).where(Person.id == old_id))
    return moved


def claimed_by(session: Session, old_id: int) -> int | None:
    """Whose account the answers of a former person without a name went to, or None."""
    return session.scalar(sa.select(PersonAlias.person_id).where(PersonAlias.old_id == old_id))


def delete(session: Session, person_id: int) -> None:
    """Delete a person with everything of theirs; squawks stay without the person."""
    session.execute(sa.update(Squawk).where(Squawk.person_id == person_id).values(person_id=None, question_id=None))
    session.execute(sa.delete(Person).where(Person.id == person_id))


def delete_idle_anonymous(session: Session, *, before: datetime, before_offline: datetime) -> int:
    """Delete persons without an account that nobody came back to; returns how many.

    `before` holds for those who fetched no question for offline use, `before_offline` for those who did.
    """
    fetched = sa.exists().where(Question.person_id == Person.id, Question.offline)
    idle = sa.select(Person.id).where(
        Person.name.is_(None),
        # Who has left and was blanked has no learner, and stays for the sake of their homework.
        sa.exists().where(Learner.person_id == Person.id),
        sa.or_(
            sa.and_(Person.last_seen_at < before, sa.not_(fetched)),
            Person.last_seen_at < before_offline,
        ),
    )
    ids = list(session.scalars(idle))
    for person_id in ids:
        delete(session, person_id)
    return len(ids)


def acknowledgements(session: Session, person_id: int) -> list[Acknowledgement]:
    """What a person acknowledged, oldest first."""
    return list(
        session.scalars(
            sa.select(Acknowledgement).where(Acknowledgement.person_id == person_id).order_by(Acknowledgement.id)
        )
    )


def last_acknowledged(session: Session, person_id: int, caution_id: str) -> datetime | None:
    """When a person last acknowledged a caution."""
    return session.scalar(
        sa.select(Acknowledgement.at)
        .where(Acknowledgement.person_id == person_id, Acknowledgement.caution_id == caution_id)
        .order_by(Acknowledgement.at.desc())
        .limit(1)
    )

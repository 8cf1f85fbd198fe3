"""Sessions of devices."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from quizsvc.store.prepared import Prepared
from quizsvc.store.session import Rows, touched
from quizsvc.store.tables import DeviceSession, Person, PersonRole

_WHO = Prepared(
    sa.select(
        DeviceSession.id.label("device_id"),
        DeviceSession.last_seen_at.label("seen_at"),
        Person.id,
        Person.name,
        Person.aircraft,
        Person.check_date,
        Person.minutes_a_day,
        Person.time_zone,
        Person.experience,
        Person.created_at,
        PersonRole.role,
    )
    .select_from(DeviceSession)
    .join(Person, Person.id == DeviceSession.person_id)
    .outerjoin(PersonRole, PersonRole.person_id == Person.id)
    .where(DeviceSession.token_hash == sa.bindparam("token_hash"))
)


_DEVICE_SEEN = Prepared(
    sa.update(DeviceSession)
    .where(DeviceSession.id == sa.bindparam("of_device"))
    .values(last_seen_at=sa.bindparam("at"))
)
_PERSON_SEEN = Prepared(
    sa.update(Person).where(Person.id == sa.bindparam("of_person")).values(last_seen_at=sa.bindparam("at"))
)


def who(rows: Rows, token_hash: str) -> list[Any]:
    """The session of a token with its person, a row for each role (one without, if none): every request asks it."""
    return _WHO.all(rows, {"token_hash": token_hash})


def seen(rows: Rows, person_id: int, device_id: int, at: datetime) -> None:
    """Note that a device was seen, and its person with it."""
    _DEVICE_SEEN.run(rows, {"of_device": device_id, "at": at})
    _PERSON_SEEN.run(rows, {"of_person": person_id, "at": at})


def by_token(session: Session, token_hash: str) -> DeviceSession | None:
    """The session of a token, or None."""
    return session.scalars(sa.select(DeviceSession).where(DeviceSession.token_hash == token_hash)).one_or_none()


def of_person(session: Session, person_id: int) -> list[DeviceSession]:
    """A person's sessions, the one seen last first."""
    return list(
        session.scalars(
            sa.select(DeviceSession)
            .where(DeviceSession.person_id == person_id)
            .order_by(DeviceSession.last_seen_at.desc(), DeviceSession.id.desc())
        )
    )


def end(session: Session, *, person_id: int, device_id: int) -> bool:
    """End one session of a person; False where they have no such session."""
    return (
        touched(
            session,
            sa.delete(DeviceSession).where(DeviceSession.id == device_id, DeviceSession.person_id == person_id),
        )
        == 1
    )


def end_all(session: Session, person_id: int, *, but: int | None = None) -> None:
    """End all sessions of a person, or all but one."""
    statement = sa.delete(DeviceSession).where(DeviceSession.person_id == person_id)
    session.execute(statement if but is None else statement.where(DeviceSession.id != but))


def end_idle(session: Session, before: datetime) -> int:
    """End the sessions not seen since; returns how many."""
    return touched(session, sa.delete(DeviceSession).where(DeviceSession.last_seen_at < before))

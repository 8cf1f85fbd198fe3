"""Sheets as they were handed out."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.orm import Session, defer

from quizsvc.store.tables import Person, ProducedFile


def by_id(session: Session, file_id: str) -> ProducedFile | None:
    """The file, or None."""
    return session.get(ProducedFile, file_id)


def same(
    session: Session, person_id: int, what: str, media_type: str, sha256: str, *, made_by: int | None = None
) -> ProducedFile | None:
    """The first file of that kind about a person with just these bytes, or None; of one maker where they are given."""
    statement = sa.select(ProducedFile).where(
        ProducedFile.person_id == person_id,
        ProducedFile.what == what,
        ProducedFile.media_type == media_type,
        ProducedFile.sha256 == sha256,
    )
    if made_by is not None:
        statement = statement.where(ProducedFile.made_by == made_by)
    return session.scalars(statement.order_by(ProducedFile.made_at, ProducedFile.id).limit(1)).one_or_none()


def of_person(session: Session, person_id: int, what: str | None = None) -> list[ProducedFile]:
    """The files about a person, newest first, without their bytes; of one kind only where it is given."""
    statement = sa.select(ProducedFile).options(defer(ProducedFile.body)).where(ProducedFile.person_id == person_id)
    if what is not None:
        statement = statement.where(ProducedFile.what == what)
    return list(session.scalars(statement.order_by(ProducedFile.made_at.desc(), ProducedFile.id)))


def of_those_gone(session: Session, what: str, *, made_by: int | None = None) -> list[ProducedFile]:
    """The files of a kind about people who have left the service, newest first, without their bytes; of one maker."""
    statement = (
        sa.select(ProducedFile)
        .options(defer(ProducedFile.body))
        .outerjoin(Person, Person.id == ProducedFile.person_id)
        .where(ProducedFile.what == what, Person.name.is_(None))
    )
    if made_by is not None:
        statement = statement.where(ProducedFile.made_by == made_by)
    return list(session.scalars(statement.order_by(ProducedFile.made_at.desc(), ProducedFile.id)))

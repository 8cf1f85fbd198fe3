"""Notices."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from quizsvc.store.tables import Notice


def count_new(session: Session, person_id: int) -> int:
    """How many notices a person has not seen."""
    statement = sa.select(sa.func.count()).where(Notice.person_id == person_id, Notice.seen_at.is_(None))
    return session.scalar(statement) or 0


def newest(session: Session, person_id: int, limit: int) -> list[Notice]:
    """A person's last notices, newest first."""
    return list(
        session.scalars(
            sa.select(Notice)
            .where(Notice.person_id == person_id)
            .order_by(Notice.at.desc(), Notice.id.desc())
            .limit(limit)
        )
    )


def mark_seen(session: Session, person_id: int, newest: int, at: datetime) -> None:
    """A person's notices up to the one of this number are seen."""
    session.execute(
        sa.update(Notice)
        .where(Notice.person_id == person_id, Notice.id <= newest, Notice.seen_at.is_(None))
        .values(seen_at=at)
        .execution_options(synchronize_session=False)
    )

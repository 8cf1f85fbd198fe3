"""Who looked at whose record, what each person shares, and the secret addresses of their closings."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from quizsvc.store.tables import CalendarFeed, Look, Person, Sharing


def looks_at(session: Session, person_id: int, limit: int | None = None) -> list[tuple[Look, str | None]]:
    """Who looked at a person's record, newest first, with the name of who did, if they are still here."""
    rows = session.execute(
        sa.select(Look, Person.name)
        .outerjoin(Person, Person.id == Look.looked_by)
        .where(Look.person_id == person_id)
        .order_by(Look.at.desc(), Look.id.desc())
        .limit(limit)
    )
    return [(row[0], row[1]) for row in rows]


def sharing(session: Session, person_id: int) -> Sharing | None:
    """What a person chose to share; None where they never chose."""
    return session.get(Sharing, person_id, populate_existing=True)


def feed(session: Session, secret_hash: str) -> CalendarFeed | None:
    """The feed of a secret that still works, or None."""
    return session.scalars(
        sa.select(CalendarFeed).where(CalendarFeed.secret_hash == secret_hash, CalendarFeed.revoked_at.is_(None))
    ).one_or_none()


def feeds_of(session: Session, person_id: int) -> list[CalendarFeed]:
    """A person's feeds that still work."""
    return list(
        session.scalars(
            sa.select(CalendarFeed)
            .where(CalendarFeed.person_id == person_id, CalendarFeed.revoked_at.is_(None))
            .order_by(CalendarFeed.id)
        )
    )


def all_feeds_of(session: Session, person_id: int) -> list[CalendarFeed]:
    """A person's feeds, those too that were ended."""
    return list(
        session.scalars(sa.select(CalendarFeed).where(CalendarFeed.person_id == person_id).order_by(CalendarFeed.id))
    )


def revoke_feeds(session: Session, person_id: int, at: datetime) -> int:
    """End a person's feeds; returns how many there were."""
    found = feeds_of(session, person_id)
    for one in found:
        one.revoked_at = at
    return len(found)

"""One-time links."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from quizsvc.store.session import touched
from quizsvc.store.tables import OneTimeLink


def by_secret(session: Session, secret_hash: str) -> OneTimeLink | None:
    """The link of a secret; locked until the unit of work ends, so that it is used once."""
    return session.scalars(
        sa.select(OneTimeLink).where(OneTimeLink.secret_hash == secret_hash).with_for_update()
    ).one_or_none()


def withdraw_unused(session: Session, person_id: int) -> None:
    """Delete a person's links that were not used: only the newest works."""
    session.execute(sa.delete(OneTimeLink).where(OneTimeLink.person_id == person_id, OneTimeLink.used_at.is_(None)))


def delete_expired(session: Session, before: datetime) -> int:
    """Delete the links that ran out before a time; returns how many."""
    return touched(session, sa.delete(OneTimeLink).where(OneTimeLink.expires_at < before))

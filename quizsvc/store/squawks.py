"""Squawks: disputes of items."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.orm import Session

from quizsvc.store.tables import Squawk


def of_person(session: Session, person_id: int) -> list[Squawk]:
    """What a person disputed, oldest first."""
    return list(session.scalars(sa.select(Squawk).where(Squawk.person_id == person_id).order_by(Squawk.id)))


def same(session: Session, person_id: int, question_id: str, text: str) -> Squawk | None:
    """The squawk that a person has raised in these words already: sending twice stores one."""
    return session.scalars(
        sa.select(Squawk)
        .where(Squawk.person_id == person_id, Squawk.question_id == question_id, Squawk.text == text)
        .limit(1)
    ).one_or_none()

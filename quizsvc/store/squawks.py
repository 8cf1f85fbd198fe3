"""Squawks: disputes of items."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.orm import Session

from quizsvc.store.tables import Revision, Squawk, SquawkStep


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


def by_id(session: Session, squawk_id: int, *, lock: bool = False) -> Squawk | None:
    """A squawk, or None; locked until the unit of work ends where it is going to be answered."""
    statement = sa.select(Squawk).where(Squawk.id == squawk_id)
    return session.scalars(statement.with_for_update() if lock else statement).one_or_none()


def page(session: Session, status: str | None, *, offset: int, limit: int) -> tuple[list[tuple[Squawk, str]], int]:
    """Squawks with the concepts of their revisions, newest first, and how many there are."""
    statement = sa.select(Squawk, Revision.concept_id).join(Revision, Revision.id == Squawk.revision_id)
    count = sa.select(sa.func.count()).select_from(Squawk)
    if status is not None:
        statement, count = statement.where(Squawk.status == status), count.where(Squawk.status == status)
    rows = session.execute(statement.order_by(Squawk.id.desc()).offset(offset).limit(limit))
    return [(row[0], row[1]) for row in rows], session.scalar(count) or 0


def steps(session: Session, squawk_id: int) -> list[SquawkStep]:
    """What became of a squawk, the first step first."""
    return list(session.scalars(sa.select(SquawkStep).where(SquawkStep.squawk_id == squawk_id).order_by(SquawkStep.id)))


def others_withdraw(session: Session, squawk: Squawk) -> bool:
    """Whether another squawk that nobody found groundless keeps the same revision out of use."""
    return bool(
        session.scalar(
            sa.select(
                sa.exists().where(
                    Squawk.revision_id == squawk.revision_id,
                    Squawk.id != squawk.id,
                    Squawk.withdrew,
                    Squawk.status != "no fault found",
                )
            )
        )
    )

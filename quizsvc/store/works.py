"""Work of persons on assignments: one row for each try."""

from __future__ import annotations

from collections.abc import Collection

import sqlalchemy as sa
from sqlalchemy.orm import Session

from quizsvc.store.tables import Question, Work


def by_id(session: Session, work_id: str) -> Work | None:
    """A work, or None."""
    return session.get(Work, work_id)


def of_try(session: Session, assignment_id: int, person_id: int, number: int) -> Work | None:
    """A person's try of that number at an assignment, or None."""
    return session.scalars(
        sa.select(Work).where(Work.assignment_id == assignment_id, Work.person_id == person_id, Work.number == number)
    ).one_or_none()


def of_person(session: Session, assignment_id: int, person_id: int) -> list[Work]:
    """A person's tries at an assignment, the first one first."""
    return list(
        session.scalars(
            sa.select(Work)
            .where(Work.assignment_id == assignment_id, Work.person_id == person_id)
            .order_by(Work.number)
        )
    )


def of_assignment(session: Session, assignment_id: int) -> list[Work]:
    """Everybody's tries at an assignment, by person and number."""
    return list(
        session.scalars(
            sa.select(Work).where(Work.assignment_id == assignment_id).order_by(Work.person_id, Work.number)
        )
    )


def draws_at(session: Session, assignment_id: int, items: Collection[str]) -> set[str]:
    """The numbers that anybody has at an assignment for some of its items, as their draw keys."""
    if not items:
        return set()
    return set(
        session.scalars(
            sa.select(Question.draw_key)
            .join(Work, Work.id == Question.work_id)
            .where(Work.assignment_id == assignment_id, Question.item_id.in_(items))
        )
    )

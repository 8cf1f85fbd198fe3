"""Work of persons on assignments: one row for each try."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

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


def first_begun(session: Session, person_ids: Sequence[int]) -> dict[int, str]:
    """By person the begun work whose id comes first; ids are random, so it is any of theirs, and always the same."""
    found: dict[int, str] = {}
    for start in range(0, len(person_ids), 500):
        rows = session.execute(
            sa.select(Work.person_id, sa.func.min(Work.id))
            .where(Work.person_id.in_(person_ids[start : start + 500]), Work.begun_at.is_not(None))
            .group_by(Work.person_id)
        )
        found |= {person_id: work_id for person_id, work_id in rows}
    return found


def sittings(session: Session, assignment_id: int) -> list[Work]:
    """The Sittings of an assignment that were begun and not handed in."""
    return list(session.scalars(_begun_sittings(assignment_id)))


def sitting_of(session: Session, assignment_id: int, person_id: int) -> Work | None:
    """The Sitting that a person has begun and not handed in, as it stands, or None."""
    found: Work | None = session.scalars(
        _begun_sittings(assignment_id)
        .where(Work.person_id == person_id)
        .order_by(Work.number.desc())
        .limit(1)
        .execution_options(populate_existing=True)
    ).one_or_none()
    return found


def _begun_sittings(assignment_id: int) -> sa.Select[Any]:
    return sa.select(Work).where(
        Work.assignment_id == assignment_id,
        Work.begun_at.is_not(None),
        Work.ends_at.is_not(None),
        Work.handed_in_at.is_(None),
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

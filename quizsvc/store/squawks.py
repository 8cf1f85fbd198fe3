"""Squawks: disputes of items."""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session

from quizsvc.store.tables import Concept, Person, PersonRole, Question, Revision, Squawk, SquawkStep


def of_person(session: Session, person_id: int) -> list[Squawk]:
    """What a person disputed, oldest first."""
    return list(session.scalars(sa.select(Squawk).where(Squawk.person_id == person_id).order_by(Squawk.id)))


def raised(session: Session, person_id: int, limit: int) -> list[Row]:
    """So many of a person's squawks, the newest first: id, words, status, when, title of the concept, and the question.

    Question and work are None where the question is gone, the work also where it was practice.
    """
    return list(
        session.execute(
            sa.select(
                Squawk.id,
                Squawk.text,
                Squawk.status,
                Squawk.raised_at,
                Concept.title.label("concept_title"),
                Question.id.label("question_id"),
                Question.work_id,
            )
            .join(Revision, Revision.id == Squawk.revision_id)
            .join(Concept, Concept.id == Revision.concept_id)
            .outerjoin(Question, Question.id == Squawk.question_id)
            .where(Squawk.person_id == person_id)
            .order_by(Squawk.id.desc())
            .limit(limit)
        )
    )


def answers(session: Session, squawk_ids: Sequence[int]) -> dict[int, list[Row]]:
    """By squawk its steps, the first one first: status, words, when, and the name of whose it is, if they are here."""
    found: dict[int, list[Row]] = {squawk_id: [] for squawk_id in squawk_ids}
    rows = session.execute(
        sa.select(SquawkStep.squawk_id, SquawkStep.status, SquawkStep.text, SquawkStep.at, Person.name)
        .outerjoin(Person, Person.id == SquawkStep.by)
        .where(SquawkStep.squawk_id.in_(squawk_ids))
        .order_by(SquawkStep.id)
    )
    for row in rows:
        found[row.squawk_id].append(row)
    return found


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


def fixed_by_reviewer(session: Session, squawk_id: int) -> SquawkStep | None:
    """The last step by which a reviewer said that it is fixed; None where none did, or the squawk is no longer so."""
    reviewer = sa.exists().where(PersonRole.person_id == SquawkStep.by, PersonRole.role == "reviewer")
    return session.scalars(
        sa.select(SquawkStep)
        .join(Squawk, Squawk.id == SquawkStep.squawk_id)
        .where(SquawkStep.squawk_id == squawk_id, Squawk.status == "fixed", SquawkStep.status == "fixed", reviewer)
        .order_by(SquawkStep.id.desc())
        .limit(1)
    ).one_or_none()


def fixed(session: Session) -> list[int]:
    """Squawks that are fixed, by number."""
    return list(session.scalars(sa.select(Squawk.id).where(Squawk.status == "fixed").order_by(Squawk.id)))

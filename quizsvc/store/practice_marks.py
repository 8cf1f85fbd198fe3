"""Practice answers to a faulty revision: whose are still to be re-marked, and the grades that they got."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session, aliased

from quizsvc.store.questions import CHAIN_OPEN
from quizsvc.store.tables import Answer, Concept, Grade, Person, Question, Revision

__all__ = ["Faulty", "history", "people_remarked", "people_waiting", "waiting"]

_Later = aliased(Grade)
_Again = aliased(Grade)
# The grade with the highest running number counts.
_COUNTS = ~sa.exists().where(_Later.answer_id == Grade.answer_id, _Later.number > Grade.number)


@dataclass(frozen=True)
class Faulty:
    """Which answers: those to a revision, and those to older ones of the item that a re-mark has judged since.

    `since` is from when on a re-mark of them is the one that is wanted; an answer that has one is done. Answers that
    are void for another reason than `void_reason` stay as they are: they count for nothing by whatever text.
    """

    revision_id: int
    older: Sequence[int]
    since: datetime
    void_reason: str


def _of(faulty: Faulty) -> list[sa.ColumnElement[bool]]:
    return [
        Question.set_id.is_not(None),
        Question.revision_id.in_([faulty.revision_id, *faulty.older]),
        sa.or_(Question.revision_id == faulty.revision_id, Grade.why.is_not(None)),
    ]


def _waits(faulty: Faulty) -> list[sa.ColumnElement[bool]]:
    done = sa.exists().where(_Again.answer_id == Answer.id, _Again.why.is_not(None), _Again.graded_at >= faulty.since)
    return [
        *_of(faulty),
        sa.or_(Grade.outcome != "void", Grade.void_reason.startswith(faulty.void_reason)),
        # Of a scenario that is not done nothing is told yet, and nothing is re-marked.
        sa.not_(CHAIN_OPEN),
        ~done,
    ]


def _from(statement: sa.Select) -> sa.Select:
    return (
        statement.select_from(Question)
        .join(Answer, sa.and_(Answer.question_id == Question.id, sa.not_(Answer.again)))
        .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
    )


def people_waiting(session: Session, faulty: Faulty, *, limit: int | None = None) -> list[int]:
    """Persons with such an answer that is not re-marked yet, by number; at most so many."""
    statement = _from(sa.select(Answer.person_id).distinct()).where(*_waits(faulty))
    return list(session.scalars(statement.order_by(Answer.person_id).limit(limit)))


def waiting(session: Session, faulty: Faulty, person_id: int) -> list[Row]:
    """A person's answers that are not re-marked yet, with all that judging them again needs, in the log's order."""
    statement = _from(
        sa.select(
            Answer.id.label("answer_id"),
            Answer.raw,
            Answer.response,
            Question.item_id,
            Question.drawn,
            Question.option_order,
            Question.record,
            Question.part,
            Question.revision_id,
            Revision.hash.label("revision_hash"),
            Grade.number,
            Grade.outcome,
            Grade.credit,
            Grade.void_reason,
            Grade.marks,
        )
    ).join(Revision, Revision.id == Question.revision_id)
    statement = statement.where(Answer.person_id == person_id, *_waits(faulty))
    return list(session.execute(statement.order_by(Answer.effective_at, Answer.id)))


def people_remarked(session: Session, faulty: Faulty) -> int:
    """How many persons have such an answer that was re-marked."""
    statement = _from(sa.select(sa.func.count(sa.distinct(Answer.person_id)))).where(
        *_of(faulty), Grade.why.is_not(None), Grade.graded_at >= faulty.since
    )
    return session.scalar(statement) or 0


def history(session: Session, person_id: int, *, limit: int) -> list[Row]:
    """Every grade of a person's practice answers that were re-marked: the answer re-marked last first, each from its
    first grade on; of so many answers at most.
    """
    newest = (
        sa.select(Answer.id, sa.func.max(Grade.id).label("newest"))
        .join(Question, Question.id == Answer.question_id)
        .join(Grade, Grade.answer_id == Answer.id)
        .where(
            Answer.person_id == person_id, sa.not_(Answer.again), Question.set_id.is_not(None), Grade.why.is_not(None)
        )
        .group_by(Answer.id)
        .order_by(sa.func.max(Grade.id).desc())
        .limit(limit)
        .subquery()
    )
    return list(
        session.execute(
            sa.select(
                Question.id.label("question_id"),
                Answer.effective_at,
                Concept.title.label("concept_title"),
                Grade.number,
                Grade.outcome,
                Grade.credit,
                Grade.void_reason,
                Grade.graded_at,
                Grade.why,
                Person.name.label("graded_by"),
            )
            .select_from(newest)
            .join(Answer, Answer.id == newest.c.id)
            .join(Question, Question.id == Answer.question_id)
            .join(Concept, Concept.id == Question.concept_id)
            .join(Grade, Grade.answer_id == Answer.id)
            .outerjoin(Person, Person.id == Grade.graded_by)
            .order_by(newest.c.newest.desc(), Grade.number)
        )
    )

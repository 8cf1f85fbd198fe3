"""The log: answers with the grade that counts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session, aliased

from quizsvc.store.questions import CHAIN_OPEN
from quizsvc.store.tables import Answer, Concept, Grade, Question, Revision

_Later = aliased(Grade)
# The grade with the highest running number counts.
_COUNTS = ~sa.exists().where(_Later.answer_id == Grade.answer_id, _Later.number > Grade.number)

_LOG = (
    sa.select(
        Answer.id,
        Answer.effective_at,
        Answer.local_day,
        Answer.sureness,
        Grade.outcome,
        Grade.credit,
        Question.kind,
        Question.item_id,
        Question.draw_key,
        Question.concept_id,
        Revision.withdrawn_at,
    )
    .select_from(Answer)
    .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
    .join(Question, Question.id == Answer.question_id)
    .join(Revision, Revision.id == Question.revision_id)
    .where(Answer.person_id == sa.bindparam("person_id"), sa.not_(Answer.again), sa.not_(Question.sealed))
    .order_by(Answer.effective_at, Answer.id)
)
_LOG_AFTER = _LOG.where(
    sa.or_(
        Answer.effective_at > sa.bindparam("after_at"),
        sa.and_(Answer.effective_at == sa.bindparam("after_at"), Answer.id > sa.bindparam("after_id")),
    )
)

_ROWS = (
    sa.select(
        Answer.id,
        Answer.effective_at,
        Answer.received_at,
        Answer.raw,
        Answer.response,
        Answer.sureness,
        Answer.again,
        Answer.offline,
        Answer.device_outcome,
        Grade.outcome,
        Grade.credit,
        Grade.void_reason,
        Grade.read_back,
        Question.id.label("question_id"),
        Question.work_id,
        Question.item_id,
        Question.concept_id,
        Question.kind,
        Question.drawn,
        Question.option_order,
        Question.part,
        Question.repeat_of,
        Question.revision_id,
        Revision.number.label("revision_number"),
        Revision.withdrawn_at,
        Concept.title.label("concept_title"),
        Concept.folder,
        Concept.system,
    )
    .select_from(Answer)
    .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
    .join(Question, Question.id == Answer.question_id)
    .join(Revision, Revision.id == Question.revision_id)
    .join(Concept, Concept.id == Question.concept_id)
)


def events(session: Session, person_id: int, after: tuple[datetime, int] | None = None) -> list[Row]:
    """A person's first answers to questions, in the order of the log; the void ones too, for what was seen by then.

    With `after`, an effective time and an answer's id, only those behind that place.
    """
    if after is None:
        return list(session.execute(_LOG, {"person_id": person_id}))
    return list(session.execute(_LOG_AFTER, {"person_id": person_id, "after_at": after[0], "after_id": after[1]}))


def log_rows(
    session: Session,
    person_id: int,
    *,
    systems: Sequence[tuple[str, str]] | None = None,
    outcome: str | None = None,
    offset: int = 0,
    limit: int | None = None,
) -> list[Row]:
    """A person's answers with question, concept and the grade that counts, newest first.

    `systems`, by folder and name, and `outcome` narrow them down.
    """
    statement = _filtered(_ROWS, person_id, systems, outcome)
    return list(
        session.execute(statement.order_by(Answer.effective_at.desc(), Answer.id.desc()).offset(offset).limit(limit))
    )


def count_rows(
    session: Session, person_id: int, *, systems: Sequence[tuple[str, str]] | None = None, outcome: str | None = None
) -> int:
    """How many answers `log_rows` has."""
    statement = (
        sa.select(sa.func.count())
        .select_from(Answer)
        .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
        .join(Question, Question.id == Answer.question_id)
        .join(Concept, Concept.id == Question.concept_id)
    )
    return session.scalar(_filtered(statement, person_id, systems, outcome)) or 0


def _filtered(
    statement: sa.Select, person_id: int, systems: Sequence[tuple[str, str]] | None, outcome: str | None
) -> sa.Select:
    # What is said of a scenario's parts waits for its last one; what is said of homework, for its release.
    statement = statement.where(Answer.person_id == person_id, sa.not_(CHAIN_OPEN), sa.not_(Question.sealed))
    if systems is not None:
        statement = statement.where(sa.tuple_(Concept.folder, Concept.system).in_(systems))
    if outcome is not None:
        statement = statement.where(Grade.outcome == outcome)
    return statement


def systems_answered(session: Session, person_id: int) -> list[tuple[str, str]]:
    """Folder and name of the systems of a person's answers, in alphabetical order of the names."""
    rows = session.execute(
        sa.select(Concept.folder, Concept.system)
        .distinct()
        .join(Question, Question.concept_id == Concept.id)
        .join(Answer, Answer.question_id == Question.id)
        .where(Answer.person_id == person_id, sa.not_(Question.sealed))
        .order_by(Concept.system, Concept.folder)
    )
    return [(folder, name) for folder, name in rows]


def count(session: Session, person_id: int) -> int:
    """How many answers of a person count for something."""
    return (
        session.scalar(
            sa.select(sa.func.count())
            .select_from(Answer)
            .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
            .join(Question, Question.id == Answer.question_id)
            .where(Answer.person_id == person_id, Grade.outcome != "void", sa.not_(Question.sealed))
        )
        or 0
    )


def reasons(session: Session, person_id: int) -> dict[int, tuple[datetime, str]]:
    """Of each of a person's answers its effective time, and why the question was put; homework has no reason."""
    found = session.execute(
        sa.select(Answer.id, Answer.effective_at, Question.reason)
        .join(Question, Question.id == Answer.question_id)
        .where(Answer.person_id == person_id)
    )
    return {answer_id: (at, reason or "") for answer_id, at, reason in found}


def passes(session: Session, person_id: int, times: Iterable[datetime]) -> list[tuple[str, datetime]]:
    """Concept and effective time of the passes among a person's answers of these times."""
    found = session.execute(
        sa.select(Question.concept_id, Answer.effective_at)
        .select_from(Answer)
        .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
        .join(Question, Question.id == Answer.question_id)
        .where(
            Answer.person_id == person_id,
            Answer.effective_at.in_(list(times)),
            Grade.outcome == "pass",
            sa.not_(Answer.again),
            sa.not_(Question.sealed),
        )
    )
    return [(concept, at) for concept, at in found]


def people_who_answered(session: Session, items: Iterable[str]) -> list[int]:
    """Persons with an answer to one of the items."""
    return list(
        session.scalars(
            sa.select(Answer.person_id)
            .distinct()
            .join(Question, Question.id == Answer.question_id)
            .where(Question.item_id.in_(list(items)))
            .order_by(Answer.person_id)
        )
    )

"""What a person has written and done for the school, for their own copy of it: each function gives their rows only."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session

from quizsvc.store.tables import (
    Allowance,
    Answer,
    Assignment,
    DeskItem,
    DeskStep,
    Grade,
    Group,
    HandbookRevision,
    Look,
    ProducedFile,
    Question,
    Squawk,
    SquawkStep,
)

_Other = sa.orm.aliased(Grade)


def allowances_given(session: Session, person_id: int) -> list[Row]:
    """Title of the assignment, what was given, until when, whether it was taken back, when; not to whom nor why."""
    return _rows(
        session,
        sa.select(Assignment.title, Allowance.what, Allowance.until_at, Allowance.taken_back, Allowance.given_at)
        .join(Assignment, Assignment.id == Allowance.assignment_id)
        .where(Allowance.given_by == person_id)
        .order_by(Allowance.id),
    )


def assignments(session: Session, person_id: int) -> list[Row]:
    """Title, group, state, and when it was made and released; None for what of the two somebody else did."""
    return _rows(
        session,
        sa.select(
            Assignment.title,
            Group.name.label("group"),
            Assignment.state,
            sa.case((Assignment.made_by == person_id, Assignment.made_at)).label("made_at"),
            sa.case((Assignment.released_by == person_id, Assignment.released_at)).label("released_at"),
        )
        .join(Group, Group.id == Assignment.group_id)
        .where(sa.or_(Assignment.made_by == person_id, Assignment.released_by == person_id))
        .order_by(Assignment.id),
    )


def texts_read(session: Session, person_id: int) -> list[Row]:
    """Texts of the bank desk, by id, that count as read by the person, and since when."""
    return _rows(
        session, sa.select(DeskItem.id, DeskItem.read_at).where(DeskItem.read_by == person_id).order_by(DeskItem.id)
    )


def desk_steps(session: Session, person_id: int) -> list[Row]:
    """What the person did with texts of the bank desk: item, what, in which words, when."""
    return _rows(
        session,
        sa.select(DeskStep.item_id, DeskStep.what, DeskStep.text, DeskStep.at)
        .where(DeskStep.by == person_id)
        .order_by(DeskStep.id),
    )


def re_marks(session: Session, person_id: int) -> list[Row]:
    """Items that the person re-marked, when and with which reason; not whose answers."""
    return _rows(
        session,
        sa.select(Question.item_id, Grade.why, Grade.graded_at)
        .distinct()
        .join(Answer, Answer.id == Grade.answer_id)
        .join(Question, Question.id == Answer.question_id)
        .where(Grade.graded_by == person_id)
        .order_by(Grade.graded_at, Question.item_id),
    )


def grades_again(session: Session, person_id: int) -> list[Row]:
    """Every grade, the first one too, of the person's answers that have several; homework once its feedback is out."""
    more = sa.exists().where(_Other.answer_id == Grade.answer_id, _Other.number > 1)
    return _rows(
        session,
        sa.select(
            Grade.answer_id,
            Question.item_id,
            Grade.number,
            Grade.outcome,
            Grade.credit,
            Grade.void_reason,
            Grade.why,
            Grade.graded_at,
        )
        .join(Answer, Answer.id == Grade.answer_id)
        .join(Question, Question.id == Answer.question_id)
        .where(Answer.person_id == person_id, sa.not_(Question.sealed), more)
        .order_by(Grade.answer_id, Grade.number),
    )


def handbook_revisions(session: Session, person_id: int) -> list[Row]:
    """Revisions of handbooks that the person recorded: folder, name, changed sections, when."""
    return _rows(
        session,
        sa.select(
            HandbookRevision.folder, HandbookRevision.name, HandbookRevision.sections, HandbookRevision.made_at
        )
        .where(HandbookRevision.made_by == person_id)
        .order_by(HandbookRevision.id),
    )  # fmt: skip


def looks(session: Session, person_id: int) -> list[Row]:
    """At what of other people's records the person looked, and when; not at whose."""
    return _rows(session, sa.select(Look.what, Look.at).where(Look.looked_by == person_id).order_by(Look.id))


def files(session: Session, person_id: int) -> list[Row]:
    """Sheets that the person made: the kind, when, and the SHA-256; not about whom."""
    return _rows(
        session,
        sa.select(ProducedFile.what, ProducedFile.made_at, ProducedFile.sha256)
        .where(ProducedFile.made_by == person_id)
        .order_by(ProducedFile.made_at, ProducedFile.id),
    )


def groups(session: Session, person_id: int) -> list[Row]:
    """Groups that the person made: name and when."""
    return _rows(session, sa.select(Group.name, Group.made_at).where(Group.made_by == person_id).order_by(Group.id))


def squawk_steps(session: Session, person_id: int) -> list[Row]:
    """The person's answers to squawks: item, status, in which words, when."""
    return _rows(
        session,
        sa.select(Squawk.item_id, SquawkStep.status, SquawkStep.text, SquawkStep.at)
        .join(Squawk, Squawk.id == SquawkStep.squawk_id)
        .where(SquawkStep.by == person_id)
        .order_by(SquawkStep.id),
    )


def _rows(session: Session, statement: sa.Select) -> list[Row]:
    return list(session.execute(statement))

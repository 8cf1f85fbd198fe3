"""What a person has touched, by system, item and revision; and the people of whom there can be evidence."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import InstrumentedAttribute, Session, aliased

from quizsvc.store.tables import Answer, Assignment, Concept, Grade, Group, Membership, Person, Question, Revision, Work

_Later = aliased(Grade)
_COUNTS = ~sa.exists().where(_Later.answer_id == Grade.answer_id, _Later.number > Grade.number)


def touched(session: Session, person_id: int) -> list[Row]:
    """Folder, system, concept, item, revision number and time of the last answer, one row for each revision of an item.

    First answers to questions that are not void, of practice and of homework whose feedback is released; never what
    was answered.
    """
    return list(
        session.execute(
            sa.select(
                Concept.folder,
                Concept.system,
                Question.concept_id,
                Question.item_id,
                Revision.number,
                sa.func.max(Answer.effective_at).label("last"),
            )
            .select_from(Answer)
            .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
            .join(Question, Question.id == Answer.question_id)
            .join(Revision, Revision.id == Question.revision_id)
            .join(Concept, Concept.id == Question.concept_id)
            .where(
                Answer.person_id == person_id,
                sa.not_(Answer.again),
                sa.not_(Question.sealed),
                Grade.outcome != "void",
            )
            .group_by(Concept.folder, Concept.system, Question.concept_id, Question.item_id, Revision.number)
            .order_by(Concept.system, Question.item_id, Revision.number)
        )
    )


def revisions_of_work(session: Session, work_id: str) -> list[Row]:
    """Item and revision number of a work's questions, in order, each once."""
    return list(
        session.execute(
            sa.select(Question.item_id, Revision.number)
            .join(Revision, Revision.id == Question.revision_id)
            .where(Question.work_id == work_id)
            .group_by(Question.item_id, Revision.number)
            .order_by(sa.func.min(Question.position))
        )
    )


def taught(session: Session, instructor_id: int, person_id: int) -> list[int]:
    """The groups that one instructs now and in which the other is a student now."""
    student, instructor = aliased(Membership), aliased(Membership)
    return list(
        session.scalars(
            sa.select(student.group_id)
            .join(instructor, instructor.group_id == student.group_id)
            .where(
                student.person_id == person_id,
                student.part == "student",
                student.state == "in",
                instructor.person_id == instructor_id,
                instructor.part == "instructor",
                instructor.state == "in",
            )
            .order_by(student.group_id)
        )
    )


def accounts(session: Session) -> list[tuple[int, str]]:
    """Number and name of everybody with an account, by name."""
    rows = session.execute(sa.select(Person.id, Person.name).where(Person.name.is_not(None)).order_by(Person.name_key))
    return [(person_id, name or "") for person_id, name in rows]


def last_practised(session: Session, person_ids: Sequence[int] | None = None) -> dict[int, datetime]:
    """By person, when they answered last, homework before its release left out; of a page of people, or of all.

    Only who has begun homework that is not released can have an answer that is left out. For everybody else the index
    over the answers is enough, and no question need be looked up.
    """
    last = sa.select(Answer.person_id, sa.func.max(Answer.effective_at)).group_by(Answer.person_id)
    among = _among(Answer.person_id, person_ids)
    waiting = sa.select(Work.person_id).where(Work.begun_at.is_not(None), Work.released_at.is_(None))
    told = last.where(among, Answer.person_id.not_in(waiting))
    partly = (
        last.join(Question, Question.id == Answer.question_id)
        .where(among, Answer.person_id.in_(waiting))
        .where(sa.not_(Question.sealed))
    )
    return {person_id: at for statement in (told, partly) for person_id, at in session.execute(statement)}


def handed_in(session: Session, person_ids: Sequence[int] | None = None) -> dict[int, int]:
    """By person, at how many assignments something was handed in; of a page of people, or of all."""
    rows = session.execute(
        sa.select(Work.person_id, sa.func.count(sa.distinct(Work.assignment_id)))
        .where(Work.handed_in_at.is_not(None), _among(Work.person_id, person_ids))
        .group_by(Work.person_id)
    )
    return {person_id: number for person_id, number in rows}


def _among(column: InstrumentedAttribute[int], person_ids: Sequence[int] | None) -> sa.ColumnElement[bool]:
    return sa.true() if person_ids is None else column.in_(person_ids)


def groups_of(session: Session) -> dict[int, list[str]]:
    """By person, the names of the groups that they are a student of now."""
    found: dict[int, list[str]] = {}
    rows = session.execute(
        sa.select(Membership.person_id, Group.name)
        .join(Group, Group.id == Membership.group_id)
        .where(Membership.part == "student", Membership.state == "in")
        .order_by(Group.name_key)
    )
    for person_id, name in rows:
        found.setdefault(person_id, []).append(name)
    return found


def closings(session: Session, person_id: int, since: datetime) -> list[tuple[Assignment, Group]]:
    """Released assignments that close after a time, of the groups that a person is a student of, by closing."""
    rows = session.execute(
        sa.select(Assignment, Group)
        .join(Group, Group.id == Assignment.group_id)
        .where(
            Assignment.state == "released",
            Assignment.closes_at > since,
            sa.exists().where(
                Membership.group_id == Group.id,
                Membership.person_id == person_id,
                Membership.part == "student",
                Membership.state == "in",
            ),
        )
        .order_by(Assignment.closes_at, Assignment.id)
    )
    return [(row[0], row[1]) for row in rows]


def practice_of_group(session: Session, group_id: int, since: datetime) -> list[Row]:
    """System, person, how many answers and their credits, of a group's students' practice after a time.

    First answers that are not void; homework is no practice. By system and person; for counting only, never to show.
    """
    return list(
        session.execute(
            sa.select(
                Concept.system,
                Answer.person_id,
                sa.func.count().label("answers"),
                sa.func.sum(Grade.credit).label("credit"),
            )
            .select_from(Answer)
            .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
            .join(Question, Question.id == Answer.question_id)
            .join(Concept, Concept.id == Question.concept_id)
            .join(
                Membership,
                sa.and_(
                    Membership.person_id == Answer.person_id,
                    Membership.group_id == group_id,
                    Membership.part == "student",
                    Membership.state == "in",
                ),
            )
            .where(
                Question.work_id.is_(None),
                sa.not_(Answer.again),
                Grade.outcome != "void",
                Answer.effective_at > since,
            )
            .group_by(Concept.system, Answer.person_id)
            .order_by(Concept.system)
        )
    )

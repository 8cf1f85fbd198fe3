"""Marks of assignments: the answers in handed-in work, with the grade that counts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session, aliased

from quizsvc.store.tables import (
    Answer,
    Assignment,
    AssignmentPlace,
    Concept,
    Grade,
    Group,
    Membership,
    Person,
    Question,
    Revision,
    Work,
)

_Later = aliased(Grade)
_Other = aliased(Work)
# The grade with the highest running number counts.
_COUNTS = ~sa.exists().where(_Later.answer_id == Grade.answer_id, _Later.number > Grade.number)
_FIRST = sa.and_(Answer.question_id == Question.id, sa.not_(Answer.again))


def _last(until: datetime | None = None) -> sa.ColumnElement[bool]:
    """Of a person's tries the last one handed in, by a time where one is given."""

    def handed_in(work: type[Work]) -> sa.ColumnElement[bool]:
        return work.handed_in_at.is_not(None) if until is None else work.handed_in_at <= until

    return sa.and_(
        handed_in(Work),
        ~sa.exists().where(
            _Other.assignment_id == Work.assignment_id,
            _Other.person_id == Work.person_id,
            _Other.number > Work.number,
            handed_in(_Other),
        ),
    )


_SUM = (
    sa.func.coalesce(sa.func.sum(sa.case((Grade.outcome != "void", Grade.credit), else_=0.0)), 0.0).label("points"),
    sa.func.coalesce(sa.func.sum(sa.case((Grade.outcome != "void", 1), else_=0)), 0).label("of"),
    sa.func.coalesce(sa.func.sum(sa.case((Grade.outcome == "void", 1), else_=0)), 0).label("void"),
)


def sums(session: Session, assignment_id: int) -> dict[str, Row]:
    """Points, out of how many, and how many are void, by the work that counts of each person."""
    rows = session.execute(
        sa.select(Work.id, *_SUM)
        .select_from(Work)
        .join(Question, Question.work_id == Work.id)
        .join(Answer, _FIRST)
        .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
        .where(Work.assignment_id == assignment_id, _last())
        .group_by(Work.id)
    )
    return {row.id: row for row in rows}


def counting(session: Session, assignment_id: int, until: datetime | None = None) -> list[Row]:
    """The work that counts of each person who handed one in, by a time where one is given: what a list says of it."""
    return list(
        session.execute(
            sa.select(Work.id, Work.person_id, Work.handed_in_at, Work.device_at, Work.late, Work.released_at)
            .where(Work.assignment_id == assignment_id, _last(until))
            .order_by(Work.person_id)
        )
    )


def students(session: Session, group_id: int) -> list[Row]:
    """Person and state of a group's students, those who left too; in the order in which they came."""
    return list(
        session.execute(
            sa.select(Membership.person_id, Membership.state)
            .where(Membership.group_id == group_id, Membership.part == "student", Membership.state.in_(("in", "left")))
            .order_by(Membership.id)
        )
    )


def tries(session: Session, assignment_id: int) -> dict[int, tuple[int, int, datetime | None]]:
    """By person: tries handed in, tries begun, and when one was begun last."""
    rows = session.execute(
        sa.select(
            Work.person_id,
            sa.func.count(Work.handed_in_at),
            sa.func.count(Work.begun_at),
            sa.func.max(Work.begun_at),
        )
        .where(Work.assignment_id == assignment_id)
        .group_by(Work.person_id)
    )
    return {person_id: (handed_in, begun, last) for person_id, handed_in, begun, last in rows}


def gone(session: Session, assignment_id: int) -> list[Person]:
    """Who has left the service and had handed in something at an assignment."""
    handed_in = sa.exists().where(
        Work.assignment_id == assignment_id, Work.person_id == Person.id, Work.handed_in_at.is_not(None)
    )
    return list(session.scalars(sa.select(Person).where(Person.name.is_(None), handed_in)))


def people(session: Session, person_ids: Sequence[int]) -> dict[int, Person]:
    """Persons by id."""
    found: dict[int, Person] = {}
    for start in range(0, len(person_ids), 500):
        some = person_ids[start : start + 500]
        found |= {person.id: person for person in session.scalars(sa.select(Person).where(Person.id.in_(some)))}
    return found


def credits(session: Session, assignment_id: int) -> Iterator[Row]:
    """Person, place, part, outcome and credit of each answer that counts, in no order."""
    return iter(
        session.execute(
            sa.select(Work.person_id, Question.place, Question.part, Grade.outcome, Grade.credit)
            .select_from(Work)
            .join(Question, Question.work_id == Work.id)
            .join(Answer, _FIRST)
            .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
            .where(Work.assignment_id == assignment_id, _last())
            .execution_options(yield_per=2000)
        )
    )


def judged(session: Session, assignment_id: int, until: datetime) -> Iterator[Row]:
    """Of each answer that counts, handed in by then, what a spread needs: person, place, part, outcome, credit, belief,
    marks.

    The marks come as they are stored, as JSON text: many people's are alike, and each text need be read only once.
    """
    return iter(
        session.execute(
            sa.select(
                Work.person_id,
                Question.place,
                Question.part,
                Grade.outcome,
                Grade.credit,
                Grade.belief,
                sa.cast(Grade.marks, sa.Text).label("marks"),
            )
            .select_from(Work)
            .join(Question, Question.work_id == Work.id)
            .join(Answer, _FIRST)
            .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
            .where(Work.assignment_id == assignment_id, _last(until))
            .execution_options(yield_per=2000)
        )
    )


def asked(session: Session, assignment_id: int) -> list[Row]:
    """Each place, and part of it, once: item, revision, concept, kind; taken from one work, since all ask the same.

    From one that was handed in where there is one: a work that was only drawn is written anew when places change.
    """
    # In the order of the index, so that the first row found ends the search.
    one = sa.select(Work.id).where(Work.assignment_id == assignment_id).order_by(Work.person_id, Work.number).limit(1)
    first = sa.func.coalesce(one.where(Work.handed_in_at.is_not(None)).scalar_subquery(), one.scalar_subquery())
    return list(
        session.execute(
            sa.select(
                Question.id,
                Question.place,
                Question.part,
                Question.position,
                Question.item_id,
                Question.revision_id,
                Question.concept_id,
                Question.kind,
                Concept.title.label("concept_title"),
                Concept.system,
                Revision.hash.label("revision_hash"),
                Revision.number.label("revision_number"),
                Revision.folder,
            )
            .join(Concept, Concept.id == Question.concept_id)
            .join(Revision, Revision.id == Question.revision_id)
            .where(Question.work_id == first)
            .order_by(Question.position)
        )
    )


_AT_PLACE = (
    sa.select(
        Answer.id.label("answer_id"),
        Answer.person_id,
        Answer.raw,
        Answer.response,
        Question.id.label("question_id"),
        Question.drawn,
        Question.option_order,
        Question.part,
        Question.sealed,
        Work.id.label("work_id"),
        Grade.number,
        Grade.outcome,
        Grade.credit,
        Grade.void_reason,
        Grade.marks,
    )
    .select_from(Work)
    .join(Question, Question.work_id == Work.id)
    .join(Answer, _FIRST)
    .join(Grade, sa.and_(Grade.answer_id == Answer.id, _COUNTS))
)


def at_place(session: Session, assignment_id: int, place: int, person_id: int | None = None) -> list[Row]:
    """The answers of all tries at a place with all that judging them again needs, by person; of one person if given."""
    statement = _AT_PLACE.where(Work.assignment_id == assignment_id, Question.place == place)
    if person_id is not None:
        statement = statement.where(Work.person_id == person_id)
    return list(session.execute(statement.order_by(Answer.person_id, Answer.id)))


def open_works(session: Session, assignment_id: int) -> int:
    """How many tries were begun and not handed in."""
    statement = sa.select(sa.func.count()).where(
        Work.assignment_id == assignment_id, Work.begun_at.is_not(None), Work.handed_in_at.is_(None)
    )
    return session.scalar(statement) or 0


def grades_of_work(session: Session, work_id: str) -> list[Row]:
    """Every grade of the answers in a work, the first one first, with the name of who gave it."""
    return list(
        session.execute(
            sa.select(
                Question.id.label("question_id"),
                Grade.number,
                Grade.outcome,
                Grade.credit,
                Grade.void_reason,
                Grade.graded_at,
                Grade.why,
                Person.name.label("graded_by"),
            )
            .select_from(Question)
            .join(Answer, _FIRST)
            .join(Grade, Grade.answer_id == Answer.id)
            .outerjoin(Person, Person.id == Grade.graded_by)
            .where(Question.work_id == work_id)
            .order_by(Question.position, Grade.number)
        )
    )


def assignments_with(session: Session, item_id: str, group_ids: Sequence[int]) -> list[Row]:
    """Released assignments of some groups that ask an item, newest first: id, title, group's name, place."""
    return list(
        session.execute(
            sa.select(Assignment.id, Assignment.title, Group.name.label("group_name"), AssignmentPlace.position)
            .join(AssignmentPlace, AssignmentPlace.assignment_id == Assignment.id)
            .join(Group, Group.id == Assignment.group_id)
            .where(
                AssignmentPlace.item_id == item_id, Assignment.state == "released", Assignment.group_id.in_(group_ids)
            )
            .order_by(Assignment.id.desc())
        )
    )

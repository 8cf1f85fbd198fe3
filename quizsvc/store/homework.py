"""Homework as the person has it who does it: what is assigned, works, drafts, allowances, and what is due."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session, aliased

from quizsvc.store.tables import (
    Allowance,
    Answer,
    Assignment,
    AssignmentPlace,
    DraftResponse,
    Grade,
    Group,
    Membership,
    Question,
    Work,
)

_Later = aliased(Grade)
_Newer = aliased(Allowance)
_EXCUSED = sa.exists().where(
    Allowance.assignment_id == Work.assignment_id,
    Allowance.person_id == Work.person_id,
    Allowance.what == "excused",
    sa.not_(Allowance.taken_back),
    ~sa.exists().where(
        _Newer.assignment_id == Allowance.assignment_id,
        _Newer.person_id == Allowance.person_id,
        _Newer.id > Allowance.id,
    ),
)
# What every page of a work asks, built once: to build a statement anew costs more than to run it.
_OWN_WORK = (
    sa.select(Work, Assignment, Group)
    .join(Assignment, Assignment.id == Work.assignment_id)
    .join(Group, Group.id == Assignment.group_id)
    .where(Work.id == sa.bindparam("work"), Work.person_id == sa.bindparam("person"), Work.begun_at.is_not(None))
    .execution_options(populate_existing=True)
)
_ALLOWANCES = (
    sa.select(Allowance)
    .where(
        Allowance.person_id == sa.bindparam("person"),
        Allowance.assignment_id.in_(sa.bindparam("assignments", expanding=True)),
    )
    .order_by(Allowance.id)
)
_DRAFTS = (
    sa.select(DraftResponse)
    .join(Question, Question.id == DraftResponse.question_id)
    .where(Question.work_id == sa.bindparam("work"))
    .execution_options(populate_existing=True)
)
_PERSON: sa.BindParameter[int] = sa.bindparam("person")
_STUDENT = (Membership.person_id == _PERSON, Membership.part == "student", Membership.state == "in")
_BEGUN_OF = (Work.person_id == _PERSON, Work.begun_at.is_not(None))
_ASSIGNED = (
    sa.select(Assignment, Group)
    .join(Group, Group.id == Assignment.group_id)
    .where(
        sa.or_(
            sa.and_(
                Assignment.state == "released", sa.exists().where(Membership.group_id == Assignment.group_id, *_STUDENT)
            ),
            sa.exists().where(Work.assignment_id == Assignment.id, *_BEGUN_OF),
        )
    )
    .order_by(Assignment.closes_at.is_(None), Assignment.closes_at, Assignment.id)
)
_ASSIGNED_ONE = _ASSIGNED.where(Assignment.id == sa.bindparam("assignment"))
_IS_STUDENT = sa.select(sa.exists().where(Membership.group_id == sa.bindparam("group"), *_STUDENT))
_ANY_BEGUN = sa.select(sa.exists().where(*_BEGUN_OF))
_BEGUN = (
    sa.select(Work)
    .where(*_BEGUN_OF, Work.assignment_id.in_(sa.bindparam("assignments", expanding=True)))
    .order_by(Work.assignment_id, Work.number)
)
_PLACES = (
    sa.select(AssignmentPlace.assignment_id, AssignmentPlace.item_id)
    .where(AssignmentPlace.assignment_id.in_(sa.bindparam("assignments", expanding=True)))
    .order_by(AssignmentPlace.assignment_id, AssignmentPlace.position)
)
_EXTENSIONS = (
    sa.select(Allowance)
    .where(Allowance.assignment_id.in_(sa.bindparam("assignments", expanding=True)))
    .order_by(Allowance.id)
)


def assigned(session: Session, person_id: int, assignment_id: int | None = None) -> list[tuple[Assignment, Group]]:
    """Released assignments of the groups that a person is a student of, and all that they have begun.

    Also begun ones that were taken back, or whose group they have left.
    What closes first comes first, without a closing last; one only where its number is given.
    """
    if assignment_id is None:
        rows = session.execute(_ASSIGNED, {"person": person_id})
    else:
        rows = session.execute(_ASSIGNED_ONE, {"person": person_id, "assignment": assignment_id})
    return [(row[0], row[1]) for row in rows]


def is_student(session: Session, person_id: int, group_id: int) -> bool:
    """Whether a person is in a group as a student now."""
    return bool(session.scalar(_IS_STUDENT, {"person": person_id, "group": group_id}))


def begun(session: Session, person_id: int, assignment_ids: Collection[int]) -> list[Work]:
    """A person's begun tries at some assignments, by number."""
    return list(session.scalars(_BEGUN, {"person": person_id, "assignments": list(assignment_ids)}))


def own_work(session: Session, person_id: int, work_id: str) -> tuple[Work, Assignment, Group] | None:
    """A begun work of a person's own, with its assignment and group; None where it is not theirs, or not begun."""
    found = session.execute(_OWN_WORK, {"work": work_id, "person": person_id}).one_or_none()
    return None if found is None else (found[0], found[1], found[2])


def work_of_question(session: Session, person_id: int, question_id: str) -> str | None:
    """The begun work of a person's own that a question belongs to, or None."""
    return session.scalar(
        sa.select(Question.work_id)
        .join(Work, Work.id == Question.work_id)
        .where(Question.id == question_id, Question.person_id == person_id, Work.begun_at.is_not(None))
    )


def any_begun(session: Session, person_id: int) -> bool:
    """Whether a person has ever begun homework."""
    return bool(session.scalar(_ANY_BEGUN, {"person": person_id}))


def places(session: Session, assignment_ids: Collection[int]) -> dict[int, list[str]]:
    """The items of some assignments, in the order of their places."""
    found: dict[int, list[str]] = {one: [] for one in assignment_ids}
    for assignment_id, item_id in session.execute(_PLACES, {"assignments": list(assignment_ids)}):
        found[assignment_id].append(item_id)
    return found


def allowances(session: Session, person_id: int, assignment_ids: Collection[int]) -> dict[int, Allowance]:
    """The allowance that counts for a person, by assignment: the newest, unless it was taken back."""
    newest = {
        one.assignment_id: one
        for one in session.scalars(_ALLOWANCES, {"person": person_id, "assignments": list(assignment_ids)})
    }
    return {assignment_id: one for assignment_id, one in newest.items() if not one.taken_back}


def extensions(session: Session, assignment_ids: Collection[int]) -> dict[int, list[datetime]]:
    """The ends of the extensions that count, of everybody, by assignment."""
    newest = {
        (one.assignment_id, one.person_id): one
        for one in session.scalars(_EXTENSIONS, {"assignments": list(assignment_ids)})
    }
    found: dict[int, list[datetime]] = {one: [] for one in assignment_ids}
    for (assignment_id, _), one in newest.items():
        if one.until_at is not None and not one.taken_back:
            found[assignment_id].append(one.until_at)
    return found


def drafts(session: Session, work_id: str) -> dict[str, DraftResponse]:
    """What stands in the fields of a work's questions."""
    rows = session.scalars(_DRAFTS, {"work": work_id})
    return {one.question_id: one for one in rows}


def sittings_over(
    session: Session, before: datetime, *, person_id: int | None = None, assignment_id: int | None = None
) -> list[Work]:
    """Sittings that ended before a time and were not handed in, but for those of people who are excused now."""
    return list(
        session.scalars(
            _of(
                sa.select(Work).where(
                    Work.handed_in_at.is_(None), Work.begun_at.is_not(None), Work.ends_at < before, ~_EXCUSED
                ),
                person_id,
                assignment_id,
            )
        )
    )


def unreleased(
    session: Session, *, person_id: int | None = None, assignment_id: int | None = None
) -> list[tuple[Work, Assignment]]:
    """Works that were handed in and whose feedback nobody has seen yet."""
    statement = (
        sa.select(Work, Assignment)
        .join(Assignment, Assignment.id == Work.assignment_id)
        .where(Work.handed_in_at.is_not(None), Work.released_at.is_(None))
    )
    return [(row[0], row[1]) for row in session.execute(_of(statement, person_id, assignment_id))]


def _of(statement: sa.Select, person_id: int | None, assignment_id: int | None) -> sa.Select:
    if person_id is not None:
        statement = statement.where(Work.person_id == person_id)
    if assignment_id is not None:
        statement = statement.where(Work.assignment_id == assignment_id)
    return statement.order_by(Work.person_id, Work.number, Work.id)


def marks(session: Session, work_ids: Collection[str]) -> dict[str, tuple[float, int]]:
    """Points, and of how many, of works that were handed in; void questions count for neither."""
    if not work_ids:
        return {}
    rows = session.execute(
        sa.select(Question.work_id, sa.func.sum(Grade.credit), sa.func.count())
        .join(Answer, sa.and_(Answer.question_id == Question.id, sa.not_(Answer.again)))
        .join(Grade, Grade.answer_id == Answer.id)
        .where(
            Question.work_id.in_(work_ids),
            Grade.outcome != "void",
            ~sa.exists().where(_Later.answer_id == Grade.answer_id, _Later.number > Grade.number),
        )
        .group_by(Question.work_id)
    )
    return {work_id: (points, of) for work_id, points, of in rows if work_id is not None}


def unseal(session: Session, question_ids: Iterable[str]) -> None:
    """Let memory, log and practice know some questions' answers."""
    session.execute(sa.update(Question).where(Question.id.in_(list(question_ids))).values(sealed=False))


def sealed_items(session: Session, person_id: int) -> set[str]:
    """Items whose answers were handed in and are not released."""
    return set(
        session.scalars(
            sa.select(Question.item_id)
            .join(Answer, Answer.question_id == Question.id)
            .where(Question.person_id == person_id, Question.sealed)
        )
    )

"""Doing homework: what is assigned to a person, beginning a try and coming back to it, its questions, its drafts.

A draft is what stands in an answer's fields. It is no answer, is not judged, and may be changed until handing in; of
two devices the last write wins, by the draft's running number.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from quizsvc.errors import ConflictError
from quizsvc.services import edge, homework_release, remarking, works
from quizsvc.services.homework_drafts import checked, keep_in
from quizsvc.services.homework_reading import (
    assigned_views,
    begun_work,
    draft_view,
    refuse_closed,
    shown_question,
    view_of,
    work_view,
)
from quizsvc.services.homework_rules import sitting_end
from quizsvc.services.homework_times import times_for
from quizsvc.services.homework_views import (
    AssignmentView,
    HomeworkQuestion,
    SavedDraft,
    WorkView,
)
from quizsvc.store import homework, people, questions
from quizsvc.store import works as drawn_works
from quizsvc.store.session import Database, Session

__all__ = [
    "assignment",
    "begin",
    "list_homework",
    "question",
    "save_draft",
    "work",
    "work_with_question",
]


def list_homework(db: Database, person_id: int, *, now: datetime) -> tuple[AssignmentView, ...]:
    """Everything that is assigned to a person, what closes first first."""
    homework_release.settle_person(db, person_id, now=now)
    with db.reading() as session:
        return assigned_views(session, person_id, None, now)


def assignment(db: Database, person_id: int, assignment_id: int, *, now: datetime) -> AssignmentView:
    """One assignment as a person has it.

    Raises
    ------
    NotFoundError
        There is none of that number for this person.
    """
    edge.row_id(assignment_id, "assignment")
    homework_release.settle_person(db, person_id, now=now)
    with db.reading() as session:
        return _one(session, person_id, assignment_id, now)


def begin(db: Database, person_id: int, assignment_id: int, *, now: datetime, rng: Any) -> WorkView:
    """Begin a try, or go on with the one that was begun; a Sitting's time runs from here.

    Raises
    ------
    NotFoundError
        There is none of that number for this person.
    ConflictError
        It is not open, or no try is left.
    """
    edge.row_id(assignment_id, "assignment")
    homework_release.settle_person(db, person_id, now=now)
    with db.reading() as session:
        found = _one(session, person_id, assignment_id, now)
        number = len(found.works) + 1
        row = homework.assigned(session, person_id, assignment_id)[0][0]
        # Drawing computes: done while only reading, so that no writer waits for it. A preview may have done it before.
        drawn = None
        if found.may_begin and row.numbers == "own" and not drawn_works.of_try(session, row.id, person_id, number):
            drawn = works.prepare(session, row, person_id, rng)
    if found.at_work is not None:
        return work(db, person_id, found.at_work.id, now=now)
    with db.writing() as session:
        people.lock(session, person_id)
        found = _one(session, person_id, assignment_id, now)
        if found.at_work is None:
            if not found.may_begin:
                raise _cannot_begin(found)
            row, group = homework.assigned(session, person_id, assignment_id)[0]
            if not homework.is_student(session, person_id, group.id):
                raise edge.not_found("assignment")
            if len(found.works) + 1 != number:
                drawn = None
            made = works.draw(session, row, person_id, len(found.works) + 1, now, rng, prepared=drawn)
            made.begun_at = now
            if row.sitting_minutes is not None:
                made.ends_at = sitting_end(times_for(session, row, person_id), row.sitting_minutes, now)
            session.flush()
            work_id = made.id
        else:
            work_id = found.at_work.id
    return work(db, person_id, work_id, now=now)


def work(db: Database, person_id: int, work_id: str, *, now: datetime) -> WorkView:
    """A person's own try with its questions.

    Raises
    ------
    NotFoundError
        There is none, or it is another person's.
    """
    edge.key(work_id, "work")
    homework_release.settle_person(db, person_id, now=now)
    with db.reading() as session:
        return work_view(session, *begun_work(session, person_id, work_id), now)


def question(
    db: Database, person_id: int, work_id: str, question_id: str, *, now: datetime, spoken: bool = False
) -> HomeworkQuestion:
    """A question of a person's own work: with what stands in its fields, or with its feedback once that is released.

    Raises
    ------
    NotFoundError
        There is none, or it is another person's.
    """
    edge.key(work_id, "work")
    homework_release.settle_person(db, person_id, now=now)
    with db.reading() as session:
        owned = begun_work(session, person_id, work_id)
        rows = questions.shown_of_work(session, work_id)
        row = next((one for one in rows if one.id == edge.key(question_id, "question")), None)
        if row is None:
            raise edge.not_found("question")
        kept = homework.drafts(session, work_id)
        view = shown_question(session, row, rows, kept, spoken=spoken)
        return HomeworkQuestion(
            view,
            view_of(session, *owned, now, rows, kept),
            draft_view(kept.get(question_id)),
            remarking.history(session, work_id).get(question_id, ()) if view.feedback is not None else (),
        )


def save_draft(
    db: Database,
    person_id: int,
    work_id: str,
    question_id: str,
    *,
    raw: Mapping[str, Any],
    sureness: str | None,
    version: int,
    given_at: datetime | None = None,
    sent_at: datetime | None = None,
    now: datetime,
) -> SavedDraft:
    """Keep what stands in an answer's fields, readable or not; an empty `raw` takes back what was there.

    Parameters
    ----------
    raw : mapping
        As `bank.grade.read_response` takes it; empty where nothing is given.
    version : int
        Running number of this writing: one more than that of the draft it was made from. The same number with the
        same content again changes nothing; a number that is not above the stored one is not taken, and the draft that
        stands there comes back.
    given_at, sent_at : aware datetime or None
        The client's clock when it was given and when it was sent.

    Raises
    ------
    NotFoundError
        There is no such question of theirs.
    InputError
        A value is out of bounds.
    ConflictError
        It is handed in, answered for good, or its time is over.
    """
    edge.key(work_id, "work")
    edge.key(question_id, "question")
    draft = checked(raw, sureness, version)
    with db.writing() as session:
        people.lock(session, person_id)
        owned = begun_work(session, person_id, work_id)
        row = questions.shown_homework(session, person_id, question_id)
        if row is None or row.work_id != work_id:
            raise edge.not_found("question")
        refuse_closed(session, *owned, now)
        return keep_in(session, row, draft, given_at=given_at, sent_at=sent_at, now=now)


def work_with_question(db: Database, person_id: int, question_id: str) -> str | None:
    """The work of a person's own that a question belongs to; None where it is no homework of theirs."""
    with db.reading() as session:
        return homework.work_of_question(session, person_id, edge.key(question_id, "question"))


def _one(session: Session, person_id: int, assignment_id: int, now: datetime) -> AssignmentView:
    found = assigned_views(session, person_id, assignment_id, now)
    if not found:
        raise edge.not_found("assignment")
    return found[0]


def _cannot_begin(found: AssignmentView) -> ConflictError:
    if found.phase == "not yet":
        return ConflictError("not-open", f"'{found.title}' is not open yet", mend="come back when it opens")
    if found.phase == "over":
        return ConflictError("time-over", f"'{found.title}' is closed", mend="ask your instructor for an extension")
    return ConflictError("no-try-left", f"'{found.title}' has no try left", mend="the last one handed in counts")

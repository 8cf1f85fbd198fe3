"""One row of the mark list, opened: everything that a person handed in at an assignment, try by try."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from quizsvc.services import edge, homework_marks, looks, pseudonyms
from quizsvc.services.homework_release import settle_assignment
from quizsvc.services.remarking import RemarkLine, history
from quizsvc.services.school_access import assignment_for_instructor
from quizsvc.services.stored_questions import stored_question
from quizsvc.services.views import QuestionView
from quizsvc.store import marking, people, questions, works
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Assignment, Person

__all__ = ["HandedIn", "OpenedRow", "TryView", "opened"]


@dataclass(frozen=True)
class HandedIn:
    """A question as it was asked and answered; `remarks` are all its grades where it was re-marked."""

    place: int
    view: QuestionView
    remarks: tuple[RemarkLine, ...]


@dataclass(frozen=True)
class TryView:
    """One try that was handed in. `counts` is whether it is the one that counts, `released` whether feedback is out."""

    number: int
    handed_in_at: datetime
    device_at: datetime | None
    late: bool
    counts: bool
    released: bool
    mark: homework_marks.Mark
    content_hash: str
    questions: tuple[HandedIn, ...]


@dataclass(frozen=True)
class OpenedRow:
    """A person's tries at an assignment, the last one first; `gone` is whether they have left the service."""

    assignment_id: int
    title: str
    time_zone: str
    person_id: int
    name: str
    gone: bool
    tries: tuple[TryView, ...]
    caution_ids: tuple[str, ...]


def opened(db: Database, by: int, assignment_id: int, who: int | str, *, now: datetime) -> OpenedRow:
    """What a person handed in. The look is noted with it: that person can see who looked, at what, and when.

    Parameters
    ----------
    who : int or str
        The person's number; of who has left the service the key of `pseudonyms.keys`, and no longer the number.

    Raises
    ------
    NotFoundError
        No such assignment of a group that `by` instructs, or nothing of that person's was handed in.
    """
    with db.reading() as session:
        assignment_for_instructor(session, by, assignment_id)
    settle_assignment(db, assignment_id, now=now)
    with db.writing() as session:
        assignment, group = assignment_for_instructor(session, by, assignment_id)
        person = _person(session, assignment, who)
        tried = works.of_person(session, assignment.id, person.id) if person is not None else ()
        handed_in = [one for one in tried if one.handed_in_at is not None]
        if person is None or not handed_in:
            raise edge.not_found("mark")
        if person.name is not None:
            looks.note(session, person.id, by, f"homework: {assignment.title}", now)
        last = handed_in[-1].number
        tries = []
        for work in reversed(handed_in):
            rows = questions.shown_of_work(session, work.id)
            remarked = history(session, work.id)
            assert work.handed_in_at is not None and work.content_hash is not None  # a constraint
            tries.append(
                TryView(
                    number=work.number,
                    handed_in_at=work.handed_in_at,
                    device_at=work.device_at,
                    late=work.late,
                    counts=work.number == last,
                    released=work.released_at is not None,
                    mark=homework_marks.mark(rows),
                    content_hash=work.content_hash,
                    questions=tuple(
                        HandedIn(row.place, stored_question(session, row), remarked.get(row.id, ())) for row in rows
                    ),
                )
            )
        return OpenedRow(
            assignment_id=assignment.id,
            title=assignment.title,
            time_zone=group.time_zone,
            person_id=person.id,
            name=pseudonyms.names(session, [person])[person.id],
            gone=person.name is None,
            tries=tuple(tries),
            caution_ids=("C2", "C4") if any(one.folder != "general" for one in marking.asked(session, assignment.id))
            else ("C4",),
        )  # fmt: skip


def _person(session: Session, assignment: Assignment, who: int | str) -> Person | None:
    if isinstance(who, int):
        person = people.by_id(session, edge.row_id(who, "mark"))
        return person if person is not None and person.name is not None else None
    gone = marking.gone(session, assignment.id)
    keys = pseudonyms.keys(session, gone)
    return next((person for person in gone if keys.get(person.id) == who), None)

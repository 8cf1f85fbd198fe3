"""The preview of an assignment, and its paper: each person's own questions, numbers and keys, as that person gets them.

Drawing the preview writes the works and their questions. What is opened later are these, never others.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.errors import InputError
from quizsvc.services import assignments as verbs
from quizsvc.services import edge, older_handbooks, school_access, works
from quizsvc.services.assignments import AssignmentView
from quizsvc.services.compiled import compiled_in
from quizsvc.services.question_views import question_view, shown_to
from quizsvc.services.showing import with_key
from quizsvc.services.views import CitesOlder, QuestionView
from quizsvc.store import assignments, picking, questions
from quizsvc.store import works as stored_works
from quizsvc.store.session import Database, Session

__all__ = ["Drawn", "PersonLine", "Preview", "Question", "Sheet", "draw_all", "look", "sheet", "sheets"]

FIRST_TRY = 1
_BATCH = 20


@dataclass(frozen=True)
class PersonLine:
    """A student in the preview's list; `drawn` says that their questions are written."""

    id: int
    name: str
    drawn: bool
    begun: bool


@dataclass(frozen=True)
class Preview:
    """Who gets the assignment. `stale` names items that have a newer text than when they were picked."""

    assignment: AssignmentView
    people: tuple[PersonLine, ...]
    stale: tuple[str, ...]

    @property
    def missing(self) -> int:
        """How many have no questions yet."""
        return sum(1 for one in self.people if not one.drawn)


@dataclass(frozen=True)
class Question:
    """A question as its person sees it, and `key` with all that an instructor may see (`showing.with_key`)."""

    place: int
    view: QuestionView
    key: Mapping[str, Any]


@dataclass(frozen=True)
class Sheet:
    """One person's questions of their first try, in order; empty where nothing is drawn yet."""

    assignment: AssignmentView
    person_id: int
    name: str
    questions: tuple[Question, ...]

    @property
    def pressure_card(self) -> tuple[tuple[int, float], ...]:
        """The card that goes with the sheet, where a question allows a table."""
        return next((one.view.pressure_card for one in self.questions if one.view.pressure_card), ())

    @property
    def caution_ids(self) -> tuple[str | CitesOlder, ...]:
        """The cautions of all its items, each once."""
        return tuple(dict.fromkeys(one for question in self.questions for one in question.view.caution_ids))


@dataclass(frozen=True)
class Drawn:
    """How many people's questions were written just now."""

    people: int


def draw_all(db: Database, person_id: int, assignment_id: int, *, now: datetime, rng: Any) -> Drawn:
    """Write the first try of every student who has none; of a draft, with its items as they stand in the bank now.

    Numbers are drawn while nobody has to wait, and written for a few people at a time; stopped half-way, the rest is
    drawn by doing it again.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs.
    ConflictError
        Somebody changes it meanwhile, or it was taken back.
    InputError
        It has no item, or one that cannot be drawn.
    """
    with db.writing() as session:
        found, group = school_access.assignment_for_instructor(session, person_id, assignment_id)
        assignment, group = verbs.for_change(session, person_id, assignment_id, found.version)
        if assignment.state == "draft":
            _refresh(session, assignment.id)
        if not assignments.places(session, assignment.id):
            raise InputError("preview-empty", "it has no item", where="items", mend="pick at least one")
        version = assignment.version
        waiting = [
            student
            for student, _ in verbs.students(session, group.id)
            if stored_works.of_try(session, assignment.id, student, FIRST_TRY) is None
        ]
    own = assignment.numbers == "own"
    # Common numbers lock the assignment after a learner, so there only one learner may be locked at a time.
    batch = _BATCH if own else 1
    for first in range(0, len(waiting), batch):
        these = waiting[first : first + batch]
        prepared: dict[int, works.Prepared] = {}
        if own:
            with db.reading() as session:
                assignment = _still(session, assignment_id, version)
                taken = works.taken_at(session, assignment_id)
                prepared = {one: works.prepare(session, assignment, one, rng, taken=taken) for one in these}
        with db.writing() as session:
            assignment = _still(session, assignment_id, version)
            for one in these:
                works.draw(session, assignment, one, FIRST_TRY, now, rng, prepared=prepared.get(one))
    return Drawn(len(waiting))


def look(db: Database, person_id: int, assignment_id: int, *, now: datetime) -> Preview:
    """Who gets an assignment, and whose questions are written.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs.
    """
    with db.reading() as session:
        assignment, group = school_access.assignment_for_instructor(session, person_id, assignment_id)
        drawn = {
            work.person_id: work
            for work in stored_works.of_assignment(session, assignment.id)
            if work.number == FIRST_TRY
        }
        draft = assignment.state == "draft"
        return Preview(
            verbs.view_in(session, assignment, group, now=now),
            tuple(
                PersonLine(student, name, student in drawn, student in drawn and drawn[student].begun_at is not None)
                for student, name in verbs.students(session, group.id)
            ),
            tuple(
                row.id
                for row in picking.placed(session, assignment.id)
                if draft and row.revision_id != row.revision_in_use
            ),
        )


def sheet(db: Database, person_id: int, assignment_id: int, student_id: int, *, now: datetime) -> Sheet:
    """One student's questions with their keys.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs; or no such student in its group.
    """
    with db.reading() as session:
        assignment, group = school_access.assignment_for_instructor(session, person_id, assignment_id)
        name = dict(verbs.students(session, group.id)).get(edge.row_id(student_id, "person"))
        if name is None:
            raise edge.not_found("person")
        return _sheet(session, verbs.view_in(session, assignment, group, now=now), student_id, name)


def sheets(db: Database, person_id: int, assignment_id: int, *, now: datetime) -> tuple[Sheet, ...]:
    """Every student's questions with their keys, by name, for the printer; who has none drawn has an empty sheet.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs.
    """
    with db.reading() as session:
        assignment, group = school_access.assignment_for_instructor(session, person_id, assignment_id)
        view = verbs.view_in(session, assignment, group, now=now)
        return tuple(_sheet(session, view, student, name) for student, name in verbs.students(session, group.id))


def _refresh(session: Session, assignment_id: int) -> None:
    """Take each item's text as it is in use now; what was drawn of an older one is forgotten."""
    rows = picking.placed(session, assignment_id)
    if any(row.revision_id != row.revision_in_use for row in rows):
        assignments.forget_draws(session, assignment_id)
        assignments.set_places(session, assignment_id, [(row.id, row.revision_in_use) for row in rows])


def _still(session: Session, assignment_id: int, version: int) -> Any:
    """The assignment, if it is still the one that is being drawn."""
    assignment = assignments.by_id(session, assignment_id)
    if assignment is None:
        raise edge.not_found("assignment")
    verbs.require_version(assignment, version)
    return assignment


def _sheet(session: Session, assignment: AssignmentView, student: int, name: str) -> Sheet:
    work = stored_works.of_try(session, assignment.id, student, FIRST_TRY)
    found = []
    for row in questions.shown_of_work(session, work.id) if work is not None else ():
        revision = compiled_in(session, row.revision_hash, row.revision_id)
        presented = shown_to(row, revision)
        older = older_handbooks.of_row(session, row)
        view = question_view(row, revision, feedback=None, shown=presented, older=older)
        found.append(Question(row.place, view, with_key(presented, row.record)))
    return Sheet(assignment, student, name, tuple(found))

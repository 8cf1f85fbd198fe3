"""Assignments: made, changed, taken back. Two who edit one at once do not overwrite each other: the second is told."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from quizsvc.errors import ConflictError, InputError
from quizsvc.services import assignment_rules, local_times, notices, school_access
from quizsvc.services.assignment_rules import Rules, RulesForm
from quizsvc.services.homework_rules import Times, phase
from quizsvc.store import assignments, groups
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Assignment, Group

__all__ = [
    "AssignmentView",
    "change",
    "discard",
    "for_change",
    "form_of",
    "make",
    "make_in",
    "require_version",
    "students",
    "take_back",
    "tell_students",
    "touch",
    "view",
    "view_in",
]

CLOSES_IN_DAYS, CLOSES_AT_HOUR = 7, 20
"""A new assignment closes in a week, in the evening of the group's zone."""


@dataclass(frozen=True)
class AssignmentView:
    """An assignment as its instructor sees it. Times aware UTC; `time_zone` is the group's, in which they are shown.

    `phase` is draft, released (not open yet), open, late, over or taken back. `students` counts those in the group,
    `drawn`, `begun` and `handed_in` the people who have got so far.
    """

    id: int
    group_id: int
    group_name: str
    time_zone: str
    title: str
    state: str
    phase: str
    version: int
    numbers: str
    feedback: str
    tries: int
    sitting_minutes: int | None
    opens_at: datetime | None
    closes_at: datetime | None
    late_until_at: datetime | None
    released_at: datetime | None
    places: int
    students: int
    drawn: int
    begun: int
    handed_in: int

    @property
    def changeable(self) -> bool:
        """Whether items may still be picked."""
        return self.state == "draft"


def make(db: Database, person_id: int, group_id: int, title: str, *, now: datetime) -> int:
    """Make a draft with the usual rules: own numbers, one try, feedback with the mark, a week; returns its id.

    Raises
    ------
    NotFoundError
        No such group, or not theirs to instruct.
    InputError
        A title that cannot be taken.
    """
    with db.writing() as session:
        return make_in(
            session, school_access.group_for_instructor(session, person_id, group_id), person_id, title, now
        ).id


def make_in(session: Session, group: Group, person_id: int, title: str, now: datetime) -> Assignment:
    """Make a draft inside the caller's unit of work; `title` is as typed."""
    made = Assignment(
        group_id=group.id,
        title=assignment_rules.title_of(title),
        state="draft",
        version=1,
        numbers="own",
        feedback="with the mark",
        tries=1,
        closes_at=local_times.days_later_at(now, group.time_zone, days=CLOSES_IN_DAYS, hour=CLOSES_AT_HOUR),
        made_by=person_id,
        made_at=now,
        changed_at=now,
    )
    session.add(made)
    session.flush()
    return made


def view(db: Database, person_id: int, assignment_id: int, *, now: datetime) -> AssignmentView:
    """An assignment, for its instructor.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs.
    """
    with db.reading() as session:
        return view_in(session, *school_access.assignment_for_instructor(session, person_id, assignment_id), now=now)


def view_in(session: Session, assignment: Assignment, group: Group, *, now: datetime) -> AssignmentView:
    """An assignment's view inside the caller's unit of work."""
    counts = assignments.counts(session, assignment.id)
    return AssignmentView(
        id=assignment.id,
        group_id=group.id,
        group_name=group.name,
        time_zone=group.time_zone,
        title=assignment.title,
        state=assignment.state,
        phase=_phase(assignment, now),
        version=assignment.version,
        numbers=assignment.numbers,
        feedback=assignment.feedback,
        tries=assignment.tries,
        sitting_minutes=assignment.sitting_minutes,
        opens_at=assignment.opens_at,
        closes_at=assignment.closes_at,
        late_until_at=assignment.late_until_at,
        released_at=assignment.released_at,
        places=len(assignments.places(session, assignment.id)),
        students=len(students(session, group.id)),
        drawn=counts.drawn,
        begun=counts.begun,
        handed_in=counts.handed_in,
    )


def form_of(found: AssignmentView) -> RulesForm:
    """The rules as the form asks for them again."""

    def shown(at: datetime | None) -> local_times.LocalForm:
        return local_times.shown(at, found.time_zone) if at is not None else local_times.LocalForm("")

    return RulesForm(
        title=found.title,
        numbers=found.numbers,
        feedback=found.feedback,
        tries=found.tries,
        sitting_minutes=found.sitting_minutes,
        opens=shown(found.opens_at),
        closes=shown(found.closes_at),
        late_until=shown(found.late_until_at),
    )


def change(
    db: Database, person_id: int, assignment_id: int, version: int, form: RulesForm, *, now: datetime
) -> AssignmentView:
    """Change title, rules and times.

    Parameters
    ----------
    version : int
        The version that the form was filled in from.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs.
    ConflictError
        Somebody changed it meanwhile; nothing is overwritten.
    InputError
        A rule that cannot be taken, or may not change any more; `where` is the field.
    """
    with db.writing() as session:
        assignment, group = for_change(session, person_id, assignment_id, version)
        new = assignment_rules.read(form, group.time_zone)
        old = _rules(assignment)
        over = old is not None and now > old.last_at
        if old is not None:
            assignment_rules.check_change(
                old,
                new := _as_stored(old, new),
                released=assignment.state == "released",
                feedback_out=over and (assignment.feedback == "after closing" or assignment.summed_at is not None),
                now=now,
            )
        if assignment.state == "draft" and new.numbers != assignment.numbers:
            assignments.forget_draws(session, assignment.id)
        if assignment.state == "released" and new.closes_at != assignment.closes_at:
            when = local_times.in_words(new.closes_at, group.time_zone)
            tell_students(session, assignment, f"{new.title} now closes {when}.", now)
        assignment.title = new.title
        assignment.numbers = new.numbers
        assignment.feedback = new.feedback
        assignment.tries = new.tries
        assignment.sitting_minutes = new.sitting_minutes
        assignment.opens_at = new.opens_at if new.opens_at or assignment.state == "draft" else now
        assignment.closes_at = new.closes_at
        assignment.late_until_at = new.late_until_at
        touch(assignment, now)
        session.flush()
        return view_in(session, assignment, group, now=now)


def take_back(db: Database, person_id: int, assignment_id: int, version: int, *, now: datetime) -> str:
    """Take a released assignment back, and tell its students; returns the state that it has then.

    Where nobody has begun it becomes a draft again, and what was drawn stays as previewed. Otherwise it is over for
    good: nothing more is taken, and the work that was done is kept. Beside the errors of `for_change` an InputError
    says that it is not released.
    """
    with db.writing() as session:
        assignment, _ = for_change(session, person_id, assignment_id, version)
        if assignment.state != "released":
            raise InputError("not-released", "it is not released", where="state", mend="release it first")
        if assignments.counts(session, assignment.id).begun:
            assignment.state = "taken back"
        else:
            assignment.state, assignment.released_at, assignment.released_by = "draft", None, None
        touch(assignment, now)
        tell_students(session, assignment, f"Taken back: {assignment.title}.", now, with_path=False)
        return assignment.state


def discard(db: Database, person_id: int, assignment_id: int, version: int) -> int:
    """Delete a draft with what was drawn for its preview; returns the id of its group.

    Beside the errors of `for_change` an InputError says that it is released: what people may have worked on is taken
    back, not deleted.
    """
    with db.writing() as session:
        assignment, group = for_change(session, person_id, assignment_id, version)
        if assignment.state != "draft":
            raise InputError("released-already", "it is released", where="state", mend="take it back instead")
        session.delete(assignment)
        return group.id


def for_change(session: Session, person_id: int, assignment_id: int, version: int) -> tuple[Assignment, Group]:
    """An assignment to be changed by its instructor, locked, as it stood when they looked at it.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs.
    ConflictError
        Somebody changed it meanwhile, or it was taken back for good.
    """
    assignment, group = school_access.assignment_for_instructor(session, person_id, assignment_id)
    assignments.lock(session, assignment.id)
    if assignment.state == "taken back":
        raise ConflictError(
            "assignment-taken-back", "this assignment was taken back", where="state", mend="make a new one"
        )
    require_version(assignment, version)
    return assignment, group


def require_version(assignment: Assignment, version: int) -> None:
    """Let nobody go on who looked at an older state of it.

    Raises
    ------
    ConflictError
        Somebody changed it meanwhile.
    """
    if assignment.version != version:
        raise ConflictError(
            "assignment-changed",
            "somebody changed it meanwhile, so nothing of this was stored",
            where="version",
            mend="look at what it is now, and send again what you still want",
        )


def students(session: Session, group_id: int) -> list[tuple[int, str]]:
    """Id and name of the students who are in a group, by name."""
    return [
        (person.id, person.name or "")
        for membership, person in groups.members(session, group_id)
        if membership.part == "student"
    ]


def tell_students(
    session: Session, assignment: Assignment, text: str, now: datetime, *, with_path: bool = True
) -> None:
    """Leave a notice for every student of the group."""
    path = f"/homework/{assignment.id}" if with_path else None
    for person_id, _ in students(session, assignment.group_id):
        notices.tell(session, person_id, text, path=path, now=now)


def touch(assignment: Assignment, now: datetime) -> None:
    """Count a change, so that who looked before it is told."""
    assignment.version += 1
    assignment.changed_at = now


def _rules(assignment: Assignment) -> Rules | None:
    if assignment.closes_at is None:
        return None
    return Rules(
        assignment.title,
        assignment.numbers,
        assignment.feedback,
        assignment.tries,
        assignment.sitting_minutes,
        assignment.opens_at,
        assignment.closes_at,
        assignment.late_until_at,
    )


def _as_stored(old: Rules, new: Rules) -> Rules:
    """The opening to the second where the form, which shows minutes, gave it back unchanged."""
    if old.opens_at is None or new.opens_at != old.opens_at.replace(second=0, microsecond=0):
        return new
    return replace(new, opens_at=old.opens_at)


def _phase(assignment: Assignment, now: datetime) -> str:
    if assignment.state != "released":
        return assignment.state
    times = Times(assignment.opens_at, assignment.closes_at, assignment.late_until_at)
    found = phase(times, now)
    return "released" if found == "not yet" else found

"""An extension or an excuse for one person, with its reason; the person is told, and the reason is kept."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from quizsvc.errors import InputError
from quizsvc.services import edge, local_times, notices, school_access
from quizsvc.services.homework_rules import Times, own_times
from quizsvc.services.local_times import LocalForm
from quizsvc.store import allowances, assignments, groups
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Allowance, Assignment, Group

__all__ = [
    "LONGEST_REASON",
    "WHAT",
    "AllowanceForm",
    "AllowanceLine",
    "Standing",
    "extensions",
    "give",
    "listed",
    "standing",
    "standings",
    "take_back",
]

WHAT = ("extension", "excused")
LONGEST_REASON = 500


@dataclass(frozen=True)
class AllowanceForm:
    """What an instructor allows somebody; `until` is read in the group's zone and left empty for an excuse."""

    person_id: int
    what: str
    reason: str
    until: LocalForm = LocalForm("")


@dataclass(frozen=True)
class Standing:
    """What holds for one person: `times` with the extension counted in."""

    excused: bool
    extended_until: datetime | None
    times: Times


@dataclass(frozen=True)
class AllowanceLine:
    """One line of what was given: to whom, what, why, by whom; `stands` says that it counts now."""

    person_id: int
    name: str
    what: str
    until_at: datetime | None
    reason: str
    taken_back: bool
    given_at: datetime
    given_by: str
    stands: bool


def standing(session: Session, assignment: Assignment, person_id: int) -> Standing:
    """What holds for one person at an assignment."""
    return _standing(assignment, allowances.standing_of(session, assignment.id, person_id))


def standings(session: Session, assignment: Assignment, person_ids: Iterable[int]) -> dict[int, Standing]:
    """What holds for each of these people."""
    given = allowances.standing(session, assignment.id)
    return {person_id: _standing(assignment, given.get(person_id)) for person_id in person_ids}


def extensions(session: Session, assignment_id: int) -> list[datetime]:
    """Until when each extension that stands goes."""
    return [one.until_at for one in allowances.standing(session, assignment_id).values() if one.until_at is not None]


def listed(db: Database, person_id: int, assignment_id: int) -> tuple[AllowanceLine, ...]:
    """Everything given at an assignment, the newest first, for its instructor.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs.
    """
    with db.reading() as session:
        assignment, _ = school_access.assignment_for_instructor(session, person_id, assignment_id)
        lines, seen = [], set()
        for row in allowances.history(session, assignment.id):
            lines.append(
                AllowanceLine(
                    row.person_id,
                    row.name or "",
                    row.what,
                    row.until_at,
                    row.reason,
                    row.taken_back,
                    row.given_at,
                    row.giver or "",
                    row.person_id not in seen and not row.taken_back,
                )
            )
            seen.add(row.person_id)
        return tuple(lines)


def give(db: Database, person_id: int, assignment_id: int, form: AllowanceForm, *, now: datetime) -> None:
    """Allow a student of the group something, and tell them. What was allowed before no longer counts.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs; or the person is no student of the group.
    InputError
        No reason, a time that cannot be taken, or one before the closing.
    """
    reason = edge.text(form.reason, "reason", longest=LONGEST_REASON, label="the reason", lines=True)
    if form.what not in WHAT:
        raise InputError("allowance-unknown", "neither extension nor excused", where="what", mend=" or ".join(WHAT))
    if not reason:
        raise InputError("reason-missing", "the reason is empty", where="reason", mend="say why, in a few words")
    with db.writing() as session:
        assignment, group = _locked(session, person_id, assignment_id)
        student = _student(session, group, form.person_id)
        if assignment.state != "released":
            raise InputError(
                "allowance-not-released", "the assignment is not released", where="what", mend="release it first"
            )
        until = None
        if form.what == "extension":
            until = local_times.read(form.until, group.time_zone, where="until")
            if until is None:
                raise InputError("until-missing", "the extension has no end", where="until", mend="say until when")
            if assignment.closes_at is not None and until <= assignment.closes_at:
                raise InputError(
                    "until-early", "the extension ends before the closing", where="until", mend="a time after it"
                )
            if until <= now:
                raise InputError("until-past", "the extension ends in the past", where="until", mend="a time to come")
        session.add(
            Allowance(
                assignment_id=assignment.id,
                person_id=student,
                what=form.what,
                until_at=until,
                reason=reason,
                taken_back=False,
                given_by=person_id,
                given_at=now,
            )
        )
        words = f"Extension until {local_times.in_words(until, group.time_zone)}" if until else "You are excused"
        _tell(session, student, f"{words}: {assignment.title}. {reason}", assignment, now)


def take_back(db: Database, person_id: int, assignment_id: int, student_id: int, *, now: datetime) -> None:
    """Take back what stands for a person, and tell them; doing it twice changes nothing.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs; or the person is no student of the group.
    """
    with db.writing() as session:
        assignment, group = _locked(session, person_id, assignment_id)
        student = _student(session, group, student_id)
        stands = allowances.standing_of(session, assignment.id, student)
        if stands is None:
            return
        session.add(
            Allowance(
                assignment_id=assignment.id,
                person_id=student,
                what=stands.what,
                until_at=stands.until_at,
                reason=stands.reason,
                taken_back=True,
                given_by=person_id,
                given_at=now,
            )
        )
        words = "The extension is taken back" if stands.what == "extension" else "You are no longer excused"
        _tell(session, student, f"{words}: {assignment.title}.", assignment, now)


def _standing(assignment: Assignment, given: Allowance | None) -> Standing:
    until = given.until_at if given is not None else None
    return Standing(
        excused=given is not None and given.what == "excused",
        extended_until=until,
        times=own_times(assignment.opens_at, assignment.closes_at, assignment.late_until_at, until),
    )


def _locked(session: Session, person_id: int, assignment_id: int) -> tuple[Assignment, Group]:
    found = school_access.assignment_for_instructor(session, person_id, assignment_id)
    assignments.lock(session, found[0].id)
    return found


def _student(session: Session, group: Group, person_id: int) -> int:
    member = groups.membership(session, edge.row_id(person_id, "person"), group.id)
    if member is None or member.state != "in" or member.part != "student":
        raise edge.not_found("person")
    return person_id


def _tell(session: Session, person_id: int, text: str, assignment: Assignment, now: datetime) -> None:
    notices.tell(session, person_id, text, path=f"/homework/{assignment.id}", now=now)

"""An extension or an excuse for one person, with its reason; the person is told, and the reason is kept."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from quizsvc.errors import InputError
from quizsvc.services import edge, homework_release, local_times, notices, pseudonyms, school_access
from quizsvc.services.homework_rules import Times, own_times, sitting_end
from quizsvc.services.local_times import LocalForm
from quizsvc.store import allowances, assignments, groups, marking, people, works
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Allowance, Assignment, Group, Work

__all__ = [
    "LONGEST_REASON",
    "WHAT",
    "AllowanceForm",
    "AllowanceLine",
    "Standing",
    "extensions",
    "give",
    "listed",
    "sittings",
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
        rows = allowances.history(session, assignment.id)
        about = sorted({row.person_id for row in rows})
        named = pseudonyms.names(session, marking.people(session, about).values())
        for row in rows:
            lines.append(
                AllowanceLine(
                    row.person_id,
                    named[row.person_id],
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


def sittings(db: Database, person_id: int, assignment_id: int, *, now: datetime) -> dict[int, datetime]:
    """Who is in a Sitting of an assignment now, and when it ends for them, for its instructor.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs.
    """
    with db.reading() as session:
        assignment, _ = school_access.assignment_for_instructor(session, person_id, assignment_id)
        running = works.sittings(session, assignment.id)
        return {one.person_id: one.ends_at for one in running if one.ends_at is not None and one.ends_at > now}


def give(db: Database, person_id: int, assignment_id: int, form: AllowanceForm, *, now: datetime) -> None:
    """Allow a student of the group something, and tell them. What was allowed before no longer counts.

    For somebody who is in a Sitting, the end of an extension is the Sitting's new end; else it is a later closing, by
    which a Sitting that begins later is cut short.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs; or the person is no student of the group.
    InputError
        No reason, a time that cannot be taken, or one that is no longer than what holds.
    """
    reason = edge.text(form.reason, "reason", longest=LONGEST_REASON, label="the reason", lines=True)
    if form.what not in WHAT:
        raise InputError("allowance-unknown", "neither extension nor excused", where="what", mend=" or ".join(WHAT))
    if not reason:
        raise InputError("reason-missing", "the reason is empty", where="reason", mend="say why, in a few words")
    _settle(db, person_id, assignment_id, form.person_id, now)
    with db.writing() as session:
        assignment, group, student = _locked(session, person_id, assignment_id, form.person_id)
        if assignment.state != "released":
            raise InputError(
                "allowance-not-released", "the assignment is not released", where="what", mend="release it first"
            )
        until, words = None, "You are excused"
        if form.what == "extension":
            sitting = works.sitting_of(session, assignment.id, student)
            until = _until(form.until, assignment, group, sitting, now)
            words = f"Extension until {local_times.in_words(until, group.time_zone)}"
            if sitting is not None:
                sitting.ends_at = until
                words = f"Your Sitting now ends {local_times.in_words(until, group.time_zone)}"
        _add(session, assignment, student, form.what, until, reason, by=person_id, now=now)
        _tell(session, student, f"{words}: {assignment.title}. {reason}", assignment, now)


def take_back(db: Database, person_id: int, assignment_id: int, student_id: int, *, now: datetime) -> None:
    """Take back what stands for a person, and tell them; doing it twice changes nothing.

    A Sitting that an extension lengthened ends as it would have without, but not before now.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs; or the person is no student of the group.
    """
    _settle(db, person_id, assignment_id, student_id, now)
    with db.writing() as session:
        assignment, group, student = _locked(session, person_id, assignment_id, student_id)
        stands = allowances.standing_of(session, assignment.id, student)
        if stands is None:
            return
        words = "The extension is taken back" if stands.what == "extension" else "You are no longer excused"
        sitting = works.sitting_of(session, assignment.id, student) if stands.what == "extension" else None
        end = _without(assignment, sitting, now) if sitting is not None else None
        if sitting is not None and end is not None:
            sitting.ends_at = end
            words = f"{words}, your Sitting now ends {local_times.in_words(end, group.time_zone)}"
        _add(
            session, assignment, student, stands.what, stands.until_at, stands.reason, by=person_id, now=now, back=True
        )
        _tell(session, student, f"{words}: {assignment.title}.", assignment, now)


def _until(form: LocalForm, assignment: Assignment, group: Group, sitting: Work | None, now: datetime) -> datetime:
    """The end of an extension: after now, and after what holds without it."""
    until = local_times.read(form, group.time_zone, where="until")
    if until is None:
        raise InputError("until-missing", "the extension has no end", where="until", mend="say until when")
    before, what = (assignment.closes_at, "the closing") if sitting is None else (sitting.ends_at, "the Sitting's end")
    if before is not None and until <= before:
        raise InputError(
            "until-early",
            f"the extension ends before {what}, {local_times.in_words(before, group.time_zone)}",
            where="until",
            mend="a time after it",
        )
    if until <= now:
        raise InputError("until-past", "the extension ends in the past", where="until", mend="a time to come")
    return until


def _without(assignment: Assignment, sitting: Work, now: datetime) -> datetime | None:
    """When a Sitting ends whose extension is taken back, and None where that is no sooner.

    What was given up to now was given in time.
    """
    if sitting.ends_at is None or sitting.begun_at is None or assignment.sitting_minutes is None:
        return None
    times = own_times(assignment.opens_at, assignment.closes_at, assignment.late_until_at)
    end = max(sitting_end(times, assignment.sitting_minutes, sitting.begun_at), now)
    return end if end < sitting.ends_at else None


def _standing(assignment: Assignment, given: Allowance | None) -> Standing:
    until = given.until_at if given is not None else None
    return Standing(
        excused=given is not None and given.what == "excused",
        extended_until=until,
        times=own_times(assignment.opens_at, assignment.closes_at, assignment.late_until_at, until),
    )


def _settle(db: Database, person_id: int, assignment_id: int, student_id: int, now: datetime) -> None:
    """Hand in a Sitting whose time is over before it is asked whether one is under way."""
    with db.reading() as session:
        _, group = school_access.assignment_for_instructor(session, person_id, assignment_id)
        student = _student(session, group, student_id)
    homework_release.settle_person(db, student, now=now)


def _locked(session: Session, person_id: int, assignment_id: int, student_id: int) -> tuple[Assignment, Group, int]:
    """The assignment and its student; the learner's row is locked first, as by whoever hands in."""
    assignment, group = school_access.assignment_for_instructor(session, person_id, assignment_id)
    student = _student(session, group, student_id)
    people.lock(session, student)
    assignments.lock(session, assignment.id)
    return assignment, group, student


def _student(session: Session, group: Group, person_id: int) -> int:
    member = groups.membership(session, edge.row_id(person_id, "person"), group.id)
    if member is None or member.state != "in" or member.part != "student":
        raise edge.not_found("person")
    return person_id


def _add(
    session: Session,
    assignment: Assignment,
    student: int,
    what: str,
    until: datetime | None,
    reason: str,
    *,
    by: int,
    now: datetime,
    back: bool = False,
) -> None:
    session.add(
        Allowance(
            assignment_id=assignment.id,
            person_id=student,
            what=what,
            until_at=until,
            reason=reason,
            taken_back=back,
            given_by=by,
            given_at=now,
        )
    )


def _tell(session: Session, person_id: int, text: str, assignment: Assignment, now: datetime) -> None:
    notices.tell(session, person_id, text, path=f"/homework/{assignment.id}", now=now)

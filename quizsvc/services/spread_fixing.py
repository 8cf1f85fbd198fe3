"""Fixing an assignment's summary: once, when nobody can hand in any more, whoever notices it first.

A page that shows the summary fixes it where that is due; the daily settling fixes what no page has asked for. Both go
through `fix_one`, so the two cannot count differently.
"""

from __future__ import annotations

from datetime import datetime

from quizsvc.services import allowances, spread_counts
from quizsvc.services.compiled import compiled_in
from quizsvc.services.homework_rules import all_over_at
from quizsvc.services.spread_counts import LEAST
from quizsvc.store import assignments, groups, homework, marking
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Assignment

__all__ = ["fix", "fix_again", "fix_all", "fix_one", "over_at"]


def fix_all(db: Database, *, now: datetime) -> int:
    """Fix every summary that is due, each in a unit of work of its own; returns how many.

    What is handed in by the service at the end of a Sitting has to be handed in before.
    """
    with db.reading() as session:
        waiting = assignments.unsummed(session)
    return sum(fix_one(db, assignment_id, now=now) for assignment_id in waiting)


def fix_one(db: Database, assignment_id: int, *, now: datetime) -> bool:
    """Fix the summary of an assignment if that is due; whether it was done now. Looks first while only reading."""
    with db.reading() as session:
        assignment = assignments.by_id(session, assignment_id)
        if assignment is None or not _due(session, assignment, now):
            return False
    with db.writing() as session:
        locked = assignments.lock(session, assignment_id)
        return locked is not None and fix(session, locked, now)


def over_at(session: Session, assignment: Assignment) -> datetime | None:
    """When nobody can hand in any more; None where nothing closes."""
    extended = homework.extensions(session, [assignment.id])[assignment.id]
    sitting = assignment.sitting_minutes is not None
    return all_over_at(assignment.closes_at, assignment.late_until_at, extended, sitting=sitting)


def fix(session: Session, assignment: Assignment, now: datetime) -> bool:
    """Fix the summary of an assignment, whose row is locked, if it is due and not fixed; whether it was done now."""
    if not _due(session, assignment, now):
        return False
    assignment.summed_at = now
    _write(session, assignment, now)
    return True


def fix_again(session: Session, assignment_id: int) -> None:
    """Count a fixed summary again, after a re-mark: who chose what stays, what is right has changed.

    Only what had been handed in when it was fixed is counted, since two summaries that differ by one person would tell
    what that person answered.
    """
    assignment = assignments.lock(session, assignment_id)
    if assignment is not None and assignment.summed_at is not None:
        _write(session, assignment, assignment.summed_at)


def _due(session: Session, assignment: Assignment, now: datetime) -> bool:
    """Whether the summary is not fixed yet and can be: time is over, or everybody's only try is in."""
    if assignment.summed_at is not None or assignment.state == "draft":
        return False
    if assignment.state == "taken back":
        return True
    over = over_at(session, assignment)
    if over is not None and now >= over:
        return True
    if assignment.tries > 1:
        return False
    students = {
        membership.person_id
        for membership, _ in groups.members(session, assignment.group_id)
        if membership.part == "student"
    }
    done = {work.person_id for work in marking.counting(session, assignment.id)}
    waited_for = students - done
    if waited_for:
        standings = allowances.standings(session, assignment, waited_for)
        waited_for = {person_id for person_id in waited_for if not standings[person_id].excused}
    return bool(done) and not waited_for


def _write(session: Session, assignment: Assignment, until: datetime) -> None:
    """Count what was handed in by a time."""
    asked = marking.asked(session, assignment.id)
    revisions = {one.revision_id: compiled_in(session, one.revision_hash, one.revision_id) for one in asked}
    people = len(marking.counting(session, assignment.id, until))
    judged = marking.judged(session, assignment.id, until) if people >= LEAST else ()
    assignment.summary = spread_counts.counted(asked, judged, revisions, people)
    session.flush()

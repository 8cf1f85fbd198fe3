"""Releasing the feedback of homework when its rule says so, and handing in Sittings whose time is over.

Nothing waits for a timer: whoever looks at a work, an assignment's results or their own practice settles first what is
due; the daily tidying settles the rest, and fixes the summaries of what is over, which no page may have asked for.
"""

from __future__ import annotations

from datetime import datetime

from quizsvc.services import edge, memory_log, notices, spread_fixing
from quizsvc.services.homework_answers import hand_in_now
from quizsvc.services.homework_rules import GRACE, all_over_at, feedback_at, handed_in_by_service_at, phase
from quizsvc.services.homework_times import times_of
from quizsvc.store import homework, homework_due, people, questions
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Assignment, Work

__all__ = [
    "feedback_time",
    "kept_out",
    "release_in",
    "settle_all",
    "settle_assignment",
    "settle_person",
]


def settle_person(db: Database, person_id: int, *, now: datetime) -> int:
    """Do what is due for one person's works; returns how many changed."""
    return _settle(db, now, person_id=edge.row_id(person_id, "person"))


def settle_assignment(db: Database, assignment_id: int, *, now: datetime) -> int:
    """Do what is due for everybody's works at an assignment; returns how many changed."""
    return _settle(db, now, assignment_id=edge.row_id(assignment_id, "assignment"))


def settle_all(db: Database, *, now: datetime) -> int:
    """Do what is due anywhere, and fix the summaries that are due by then; returns how many works changed."""
    changed = _settle(db, now)
    spread_fixing.fix_all(db, now=now)
    return changed


def feedback_time(session: Session, found: Work, assigned: Assignment) -> datetime | None:
    """From when a work's feedback may be seen, by its assignment's rule; None while that is not known."""
    extended = homework.extensions(session, [assigned.id])[assigned.id]
    return _feedback_time(found, assigned, extended)


def release_in(session: Session, found: Work, *, now: datetime) -> None:
    """Release a work's feedback inside the caller's unit of work: its answers now count for memory and practice.

    The person's learner row is locked first, as by every change of their log.
    """
    people.lock(session, found.person_id)
    found.released_at = now
    homework.unseal(session, [row.id for row in questions.shown_of_work(session, found.id)])
    memory_log.rebuild_in(session, found.person_id)


def kept_out(session: Session, person_id: int, *, now: datetime) -> set[str]:
    """Items that practice does not ask a person now.

    Those of an assignment that they can still do, and those that they handed in, until the feedback is released.
    """
    sealed = homework.sealed_items(session, person_id)
    rows = homework.assigned(session, person_id)
    if not rows:
        return sealed
    ids = [row.id for row, _ in rows]
    allowances = homework.allowances(session, person_id, ids)
    tries = homework.begun(session, person_id, ids)
    items = homework.places(session, ids)
    found = set(sealed)
    for row, _ in rows:
        times = times_of(row, allowances.get(row.id))
        if row.state != "released":
            continue
        done = [one for one in tries if one.assignment_id == row.id and one.released_at is not None]
        if phase(times, now) != "over" and len(done) < row.tries:
            found.update(items[row.id])
    return found


def _settle(db: Database, now: datetime, *, person_id: int | None = None, assignment_id: int | None = None) -> int:
    """Look while only reading; what is due is then done work by work, each in a unit of work of its own.

    A page asks this first, and mostly there is nothing: so one short question comes before the long ones.
    """
    if person_id is not None or assignment_id is not None:
        with db.glance() as rows:
            if not homework_due.may_be_due(rows, now - GRACE, person_id=person_id, assignment_id=assignment_id):
                return 0
    with db.reading() as session:
        over = homework.sittings_over(session, now - GRACE, person_id=person_id, assignment_id=assignment_id)
        waiting = homework.unreleased(session, person_id=person_id, assignment_id=assignment_id)
        extended = homework.extensions(session, {assigned.id for _, assigned in waiting}) if waiting else {}
        due = [found for found, assigned in waiting if _is_due(found, assigned, extended[assigned.id], now)]
    return sum(_settle_one(db, one.person_id, one.id, now) for one in [*over, *due])


def _settle_one(db: Database, person_id: int, work_id: str, now: datetime) -> int:
    changed = 0
    with db.writing() as session:
        people.lock(session, person_id)
        owned = homework.own_work(session, person_id, work_id)
        if owned is None:
            return 0
        found, assigned, _ = owned
        if found.handed_in_at is None and found.ends_at is not None:
            at = handed_in_by_service_at(found.ends_at, now)
            if at is not None:
                hand_in_now(session, found, assigned, at=at)
                _tell(session, found, f"Handed in for you at its end: {assigned.title}", now)
                changed = 1
        if found.released_at is None and found.handed_in_at is not None:
            extended = homework.extensions(session, [assigned.id])[assigned.id]
            if _is_due(found, assigned, extended, now):
                release_in(session, found, now=now)
                if assigned.feedback == "after closing":
                    _tell(session, found, f"The feedback is there: {assigned.title}", now)
                changed = 1
    return changed


def _tell(session: Session, found: Work, text: str, now: datetime) -> None:
    """Nobody was there when it happened, so a notice says it."""
    notices.tell(session, found.person_id, text, path=f"/works/{found.id}", now=now)


def _is_due(found: Work, assigned: Assignment, extended: list[datetime], now: datetime) -> bool:
    at = _feedback_time(found, assigned, extended)
    return at is not None and at <= now


def _feedback_time(found: Work, assigned: Assignment, extended: list[datetime]) -> datetime | None:
    sitting = assigned.sitting_minutes is not None
    return feedback_at(
        assigned.feedback,
        sitting=sitting,
        handed_in_at=found.handed_in_at,
        all_over=all_over_at(assigned.closes_at, assigned.late_until_at, extended, sitting=sitting),
    )

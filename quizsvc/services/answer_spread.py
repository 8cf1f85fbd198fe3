"""The answer spread: what a group answered, unnamed, fixed once when nobody can hand in any more."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.services import allowances, spread_counts
from quizsvc.services.compiled import compiled_in
from quizsvc.services.homework_release import settle_assignment
from quizsvc.services.homework_rules import all_over_at
from quizsvc.services.school_access import assignment_for_instructor
from quizsvc.services.spread_counts import LEAST
from quizsvc.store import assignments, groups, homework, marking
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Assignment

__all__ = ["LEAST", "ConceptShare", "SpreadView", "fix", "fix_again", "over_at", "spread"]


@dataclass(frozen=True)
class ConceptShare:
    """How a concept went: mean credit of its questions, 0 to 1, over how many questions."""

    id: str
    title: str
    system: str
    share: float
    questions: int


@dataclass(frozen=True)
class SpreadView:
    """An assignment's summary.

    `fixed_at` is None before it is fixed: then `over_at` says from when it can be (None: it never closes). `too_few` is
    whether fewer than five people handed in. `questions` are mappings as `services.spread_counts` makes them;
    `weakest` the concepts with the lowest mean credit first. `people` handed in.
    """

    assignment_id: int
    title: str
    group_id: int
    group_name: str
    time_zone: str
    fixed_at: datetime | None
    over_at: datetime | None
    people: int
    too_few: bool
    questions: tuple[Mapping[str, Any], ...]
    statistics: Mapping[str, Any] | None
    weakest: tuple[ConceptShare, ...]


def spread(db: Database, by: int, assignment_id: int, *, now: datetime) -> SpreadView:
    """The summary of an assignment, fixed now where that is due.

    Raises
    ------
    NotFoundError
        No such assignment of a group that the person instructs.
    """
    with db.reading() as session:
        assignment_for_instructor(session, by, assignment_id)
    settle_assignment(db, assignment_id, now=now)
    with db.reading() as session:
        assignment, _ = assignment_for_instructor(session, by, assignment_id)
        due = _due(session, assignment, now)
    if due:
        with db.writing() as session:
            locked = assignments.lock(session, assignment_id)
            if locked is not None:
                fix(session, locked, now)
    with db.reading() as session:
        assignment, group = assignment_for_instructor(session, by, assignment_id)
        summary = assignment.summary or {"people": 0, "questions": [], "statistics": None}
        return SpreadView(
            assignment_id=assignment.id,
            title=assignment.title,
            group_id=group.id,
            group_name=group.name,
            time_zone=group.time_zone,
            fixed_at=assignment.summed_at,
            over_at=over_at(session, assignment),
            people=summary["people"],
            too_few=summary["people"] < LEAST,
            questions=tuple(summary["questions"]),
            statistics=summary["statistics"],
            weakest=_weakest(summary["questions"]),
        )


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


def _weakest(questions: list[dict[str, Any]]) -> tuple[ConceptShare, ...]:
    """Concepts by mean credit, the lowest first; each answer weighs the same."""
    sums: dict[str, list[float]] = {}
    heads: dict[str, dict[str, Any]] = {}
    for one in questions:
        if one["answers"]:
            entry = sums.setdefault(one["concept"], [0.0, 0.0, 0.0])
            entry[0] += one["mean"] * one["answers"]
            entry[1] += one["answers"]
            entry[2] += 1
            heads[one["concept"]] = one
    shares = [
        ConceptShare(concept, heads[concept]["concept_title"], heads[concept]["system"], total / answers, int(count))
        for concept, (total, answers, count) in sums.items()
    ]
    return tuple(sorted(shares, key=lambda share: (share.share, share.title)))

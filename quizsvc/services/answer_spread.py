"""The answer spread: what a group answered, unnamed, fixed once when nobody can hand in any more."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.services import older_handbooks
from quizsvc.services.homework_release import settle_assignment
from quizsvc.services.school_access import assignment_for_instructor
from quizsvc.services.spread_counts import LEAST
from quizsvc.services.spread_fixing import fix_one, over_at
from quizsvc.store import marking
from quizsvc.store.session import Database, Session

__all__ = ["LEAST", "ConceptShare", "SpreadView", "spread"]


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
        fixed = assignment_for_instructor(session, by, assignment_id)[0].summed_at is not None
    if not fixed:
        settle_assignment(db, assignment_id, now=now)
        fix_one(db, assignment_id, now=now)
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
            questions=_with_older(session, assignment.id, summary["questions"]),
            statistics=summary["statistics"],
            weakest=_weakest(summary["questions"]),
        )


def _with_older(session: Session, assignment_id: int, counted: list[dict[str, Any]]) -> tuple[Mapping[str, Any], ...]:
    """The counted questions with caution C3 where it has come to be owed, last in `cautions`, and alone as `older`."""
    asked = {(one.place, one.part): one.revision_id for one in marking.asked(session, assignment_id)} if counted else {}
    older = older_handbooks.of_revisions(session, set(asked.values()))
    found = []
    for one in counted:
        owed = older.get(asked.get((one["place"], one["part"]), 0))
        found.append(one | {"cautions": [*one["cautions"], owed], "older": owed})
    return tuple(found)


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

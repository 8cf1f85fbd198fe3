"""What a group has practised lately, unnamed: by system, and only where at least five people did."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta

from quizsvc.services.school_access import group_for_instructor
from quizsvc.store import evidence, groups
from quizsvc.store.session import Database

__all__ = ["DAYS", "FEWEST", "GroupPractice", "PractisedSystem", "summary"]

FEWEST = 5
"""People, below whom nothing is said: with fewer, somebody could be made out."""
DAYS = 28


@dataclass(frozen=True)
class PractisedSystem:
    """A system that enough people practised; `share` is the mean of these people's own mean credits, 0 to 1."""

    system: str
    people: int
    answers: int
    share: float


@dataclass(frozen=True)
class GroupPractice:
    """The systems that enough people practised, those with the smallest share first."""

    group_id: int
    name: str
    students: int
    systems: tuple[PractisedSystem, ...]

    @property
    def enough(self) -> bool:
        """Whether the group has enough students for anything to be said."""
        return self.students >= FEWEST


def summary(db: Database, by: int, group_id: int, *, now: datetime) -> GroupPractice:
    """The practice of a group's students in the last 28 days.

    Raises
    ------
    NotFoundError
        No such group, or it is not this person's to instruct.
    """
    with db.reading() as session:
        group = group_for_instructor(session, by, group_id)
        students = sum(one.part == "student" for one, _ in groups.members(session, group.id))
        by_system: dict[str, list[tuple[int, float]]] = defaultdict(list)
        if students >= FEWEST:
            for row in evidence.practice_of_group(session, group.id, now - timedelta(days=DAYS)):
                by_system[row.system].append((row.answers, row.credit))
        found = [
            PractisedSystem(
                system=system,
                people=len(rows),
                answers=sum(answers for answers, _ in rows),
                share=sum(credit / answers for answers, credit in rows) / len(rows),
            )
            for system, rows in by_system.items()
            if len(rows) >= FEWEST
        ]
        return GroupPractice(
            group_id=group.id,
            name=group.name,
            students=students,
            systems=tuple(sorted(found, key=lambda one: (one.share, one.system))),
        )

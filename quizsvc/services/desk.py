"""The Desk: what an instructor sees first. Own groups, what closes next, squawks that are open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from quizsvc.services.school_access import INSTRUCTOR, group_for_instructor, require_instructor
from quizsvc.store import groups
from quizsvc.store.session import Database
from quizsvc.store.tables import Assignment, Group


@dataclass(frozen=True)
class DeskGroup:
    """A group that the person instructs: how many students are in it and how many wait for a yes."""

    id: int
    name: str
    time_zone: str
    students: int
    waiting: int


@dataclass(frozen=True)
class DeskAssignment:
    """An assignment of one of these groups. `when` is `draft`, `not yet open`, `open`, `late` or `closed`."""

    id: int
    title: str
    group: str
    time_zone: str
    when: str
    sitting: bool
    opens_at: datetime | None
    closes_at: datetime | None
    handed_in: int
    students: int


@dataclass(frozen=True)
class DeskView:
    """The Desk; `ahead` closes soonest first, `closed` latest first."""

    groups: tuple[DeskGroup, ...]
    drafts: tuple[DeskAssignment, ...]
    ahead: tuple[DeskAssignment, ...]
    closed: tuple[DeskAssignment, ...]
    squawks: int


def desk(db: Database, person_id: int, *, now: datetime) -> DeskView:
    """An instructor's Desk.

    Raises
    ------
    NotFoundError
        The person has not the role.
    """
    with db.reading() as session:
        require_instructor(session, person_id)
        own = [
            group
            for group, member in groups.of_person(session, person_id)
            if member.part == INSTRUCTOR and member.state == "in"
        ]
        ids = [group.id for group in own]
        counts = groups.counts(session, ids)
        found = groups.assignments(session, ids)
        handed_in = groups.handed_in(session, [one.id for one in found])
        squawks = groups.open_squawks(session)
    listed = tuple(_group(group, counts[group.id]) for group in own)
    by_id = {group.id: group for group in listed}
    rows = [_row(one, by_id[one.group_id], handed_in.get(one.id, 0), now) for one in found]
    return DeskView(
        groups=listed,
        drafts=tuple(row for row in rows if row.when == "draft"),
        ahead=tuple(row for row in rows if row.when in ("not yet open", "open", "late")),
        closed=tuple(row for row in reversed(rows) if row.when == "closed"),
        squawks=squawks,
    )


def of_group(db: Database, person_id: int, group_id: int, *, now: datetime) -> tuple[DeskAssignment, ...]:
    """The assignments of one group for its instructors, what closes first at the top.

    Raises
    ------
    NotFoundError
        No such group of the person's.
    """
    with db.reading() as session:
        group = group_for_instructor(session, person_id, group_id)
        found = groups.assignments(session, [group.id])
        handed_in = groups.handed_in(session, [one.id for one in found])
        listed = _group(group, groups.counts(session, [group.id])[group.id])
    return tuple(_row(one, listed, handed_in.get(one.id, 0), now) for one in found)


def require(db: Database, person_id: int) -> None:
    """Let only those go on who have the role of an instructor.

    Raises
    ------
    NotFoundError
        The person has it not.
    """
    with db.reading() as session:
        require_instructor(session, person_id)


def _group(group: Group, counts: Mapping[tuple[str, str], int]) -> DeskGroup:
    return DeskGroup(
        id=group.id,
        name=group.name,
        time_zone=group.time_zone,
        students=counts.get(("student", "in"), 0),
        waiting=counts.get(("student", "waiting"), 0),
    )


def _row(one: Assignment, group: DeskGroup, handed_in: int, now: datetime) -> DeskAssignment:
    return DeskAssignment(
        id=one.id,
        title=one.title,
        group=group.name,
        time_zone=group.time_zone,
        when=_when(one, now),
        sitting=one.sitting_minutes is not None,
        opens_at=one.opens_at,
        closes_at=one.closes_at,
        handed_in=handed_in,
        students=group.students,
    )


def _when(one: Assignment, now: datetime) -> str:
    if one.state == "draft":
        return "draft"
    if one.opens_at is not None and now < one.opens_at:
        return "not yet open"
    if one.closes_at is None or now < one.closes_at:
        return "open"
    return "late" if one.late_until_at is not None and now < one.late_until_at else "closed"

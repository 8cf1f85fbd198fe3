"""Groups that nobody instructs, and the head of training who names somebody for them.

The last instructor may leave, or delete the account, once they were told what it means. The head of training then
names another person who has the role of an instructor, and gets no more to see by that: nobody names themselves.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from quizsvc.errors import ConflictError, InputError
from quizsvc.services import edge, notices, school_access
from quizsvc.services.groups import path
from quizsvc.services.school_access import HEAD, INSTRUCTOR
from quizsvc.store import groups, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Group, Membership

__all__ = ["GroupLine", "Overview", "left_alone", "name_instructor", "only_instructed_by", "overview", "tell_heads"]


@dataclass(frozen=True)
class GroupLine:
    """A group that nobody instructs, with how many students it has."""

    id: int
    name: str
    students: int


@dataclass(frozen=True)
class Overview:
    """What the head of training sees: the groups by name, and whom they can name, by id and name."""

    groups: tuple[GroupLine, ...]
    instructors: tuple[tuple[int, str], ...]


def overview(db: Database, by: int) -> Overview:
    """The groups that nobody instructs, for a head of training.

    Raises
    ------
    NotFoundError
        The person is none.
    """
    with db.reading() as session:
        school_access.require_head(session, by)
        found = groups.uninstructed(session)
        counts = groups.counts(session, [group.id for group in found])
        return Overview(
            groups=tuple(
                GroupLine(group.id, group.name, counts[group.id].get(("student", "in"), 0)) for group in found
            ),
            instructors=tuple(
                (person.id, person.name or "") for person in groups.with_role(session, INSTRUCTOR) if person.id != by
            ),
        )


def name_instructor(db: Database, by: int, group_id: int, person_id: int, *, now: datetime) -> tuple[str, str]:
    """Make somebody the instructor of a group that has none; returns the names of the person and of the group.

    Their membership keeps who named them and when. The person is told.

    Raises
    ------
    NotFoundError
        The one who asks is no head of training, or there is no such group.
    ConflictError
        Somebody instructs the group.
    InputError
        The person is not to be had, has not the role, or is the one who asks.
    """
    with db.writing() as session:
        school_access.require_head(session, by)
        group = groups.by_id(session, edge.row_id(group_id, "group"))
        if group is None:
            raise edge.not_found("group")
        groups.lock(session, group.id)
        if not groups.is_uninstructed(session, group.id):
            raise ConflictError(
                "group-instructed", f"somebody instructs {group.name}", mend="they can let others instruct it"
            )
        person = people.by_id(session, edge.row_id(person_id, "person"))
        if person is None or person.name is None or INSTRUCTOR not in people.roles(session, person.id):
            raise InputError(
                "instructor-unknown",
                "nobody of that number has the role of an instructor",
                where="person",
                mend="choose one of the list",
            )
        if person.id == by:
            raise InputError(
                "instructor-oneself",
                "a head of training does not name themselves: it would show them marks and answers",
                where="person",
                mend="choose another person",
            )
        _seat(session, group, person.id, by, now)
        namer = people.by_id(session, by)
        told = f"You instruct the group {group.name}: {namer.name if namer else ''}, head of training, has named you."
        notices.tell(session, person.id, told, path=path(group), now=now)
        return person.name, group.name


def only_instructed_by(db: Database, person_id: int) -> tuple[str, ...]:
    """The names of the groups that nobody else instructs, so that they can be told before they go."""
    with db.reading() as session:
        return tuple(group.name for group in left_alone(session, person_id))


def left_alone(session: Session, person_id: int) -> list[Group]:
    """The groups that nobody instructs once a person has gone, by name."""
    return [
        group
        for group, member in groups.of_person(session, person_id)
        if (member.part, member.state) == (INSTRUCTOR, "in")
        and school_access.instructs(session, person_id, group.id)
        and groups.is_uninstructed(session, group.id, without=person_id)
    ]


def tell_heads(session: Session, names: Iterable[str], now: datetime) -> None:
    """Tell every head of training that nobody instructs the groups of these names any more."""
    for name in names:
        for head in groups.with_role(session, HEAD):
            notices.tell(session, head.id, f"Nobody instructs the group {name} now.", path="/training/groups", now=now)


def _seat(session: Session, group: Group, person_id: int, by: int, now: datetime) -> None:
    member = groups.membership(session, person_id, group.id)
    if member is None:
        member = Membership(group_id=group.id, person_id=person_id, asked_at=now)
        session.add(member)
    if member.state != "in":
        member.joined_at = now
    member.part, member.state, member.decided_by = INSTRUCTOR, "in", by

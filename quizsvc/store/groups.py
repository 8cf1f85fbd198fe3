"""Groups, their people, what a roll expects, and the codes that lead to a group's door."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from quizsvc.store.tables import Assignment, Group, JoinCode, Membership, Person, PersonRole, RollEntry, Squawk, Work

OPEN_STATES = ("waiting", "in")


def by_id(session: Session, group_id: int) -> Group | None:
    """The group, or None."""
    return session.get(Group, group_id)


def lock(session: Session, group_id: int) -> None:
    """Lock a group's row until the unit of work ends; first in every change of who belongs to it."""
    session.scalars(sa.select(Group.id).where(Group.id == group_id).with_for_update()).one_or_none()


def by_name(session: Session, name_key: str) -> Group | None:
    """The group of that name, or None."""
    return session.scalars(sa.select(Group).where(Group.name_key == name_key)).one_or_none()


def membership(session: Session, person_id: int, group_id: int) -> Membership | None:
    """A person's membership of now, waiting or in; None for who left, was refused, or was never there."""
    return session.scalars(
        sa.select(Membership).where(
            Membership.group_id == group_id, Membership.person_id == person_id, Membership.state.in_(OPEN_STATES)
        )
    ).one_or_none()


def member_of_number(session: Session, group_id: int, membership_id: int) -> Membership | None:
    """The membership of that number, if it is of this group."""
    return session.scalars(
        sa.select(Membership).where(Membership.id == membership_id, Membership.group_id == group_id)
    ).one_or_none()


def members(session: Session, group_id: int, states: tuple[str, ...] = ("in",)) -> list[tuple[Membership, Person]]:
    """Who is in a group in one of the states, by name."""
    rows = session.execute(
        sa.select(Membership, Person)
        .join(Person, Person.id == Membership.person_id)
        .where(Membership.group_id == group_id, Membership.state.in_(states))
        .order_by(Person.name_key, Membership.id)
    )
    return [(row[0], row[1]) for row in rows]


def is_uninstructed(session: Session, group_id: int, *, without: int | None = None) -> bool:
    """Whether nobody with the role instructs a group, leaving one person out of the count."""
    statement = sa.select(_instructs(sa.literal(group_id)))
    if without is not None:
        statement = sa.select(_instructs(sa.literal(group_id)).where(Membership.person_id != without))
    return not session.scalar(statement)


def uninstructed(session: Session) -> list[Group]:
    """The groups that nobody with the role instructs, by name."""
    return list(session.scalars(sa.select(Group).where(~_instructs(Group.id)).order_by(Group.name_key)))


def _instructs(group_id: Any) -> sa.Exists:
    return sa.exists().where(
        Membership.group_id == group_id,
        Membership.part == "instructor",
        Membership.state == "in",
        PersonRole.person_id == Membership.person_id,
        PersonRole.role == "instructor",
    )


def with_role(session: Session, role: str) -> list[Person]:
    """Everybody with an account who has a role, by name."""
    return list(
        session.scalars(
            sa.select(Person)
            .join(PersonRole, PersonRole.person_id == Person.id)
            .where(PersonRole.role == role, Person.name.is_not(None))
            .order_by(Person.name_key)
        )
    )


def of_person(session: Session, person_id: int) -> list[tuple[Group, Membership]]:
    """The groups that a person waits for or is in, by name."""
    rows = session.execute(
        sa.select(Group, Membership)
        .join(Membership, Membership.group_id == Group.id)
        .where(Membership.person_id == person_id, Membership.state.in_(OPEN_STATES))
        .order_by(Group.name_key)
    )
    return [(row[0], row[1]) for row in rows]


def ever_of_person(session: Session, person_id: int) -> list[tuple[Group, Membership]]:
    """Every time of a person in a group, those too that are over or were refused, in the order of asking."""
    rows = session.execute(
        sa.select(Group, Membership)
        .join(Membership, Membership.group_id == Group.id)
        .where(Membership.person_id == person_id)
        .order_by(Membership.id)
    )
    return [(row[0], row[1]) for row in rows]


def counts(session: Session, group_ids: list[int]) -> dict[int, dict[tuple[str, str], int]]:
    """How many there are of each part and state, by group."""
    found: dict[int, dict[tuple[str, str], int]] = {group_id: {} for group_id in group_ids}
    rows = session.execute(
        sa.select(Membership.group_id, Membership.part, Membership.state, sa.func.count())
        .where(Membership.group_id.in_(group_ids))
        .group_by(Membership.group_id, Membership.part, Membership.state)
    )
    for group_id, part, state, number in rows:
        found[group_id][(part, state)] = number
    return found


def assignments(session: Session, group_ids: list[int]) -> list[Assignment]:
    """What these groups were given or shall be given; what closes first comes first, without a closing at the end."""
    return list(
        session.scalars(
            sa.select(Assignment)
            .where(Assignment.group_id.in_(group_ids), Assignment.state != "taken back")
            .order_by(Assignment.closes_at.is_(None), Assignment.closes_at, Assignment.id)
        )
    )


def handed_in(session: Session, assignment_ids: list[int]) -> dict[int, int]:
    """How many persons have handed in work on each of the assignments."""
    rows = session.execute(
        sa.select(Work.assignment_id, sa.func.count(sa.distinct(Work.person_id)))
        .where(Work.assignment_id.in_(assignment_ids), Work.handed_in_at.is_not(None))
        .group_by(Work.assignment_id)
    )
    return {assignment_id: number for assignment_id, number in rows}


def open_squawks(session: Session) -> int:
    """How many squawks nobody has settled."""
    return session.scalar(sa.select(sa.func.count()).where(Squawk.status == "open")) or 0


def roll(session: Session, group_id: int) -> list[tuple[RollEntry, bool]]:
    """The names that a group expects, by name, and whether the person of the name is still there."""
    rows = session.execute(
        sa.select(RollEntry, Person.name_key)
        .outerjoin(Person, Person.id == RollEntry.person_id)
        .where(RollEntry.group_id == group_id)
        .order_by(RollEntry.name_key)
    )
    return [(row[0], row[1] == row[0].name_key) for row in rows]


def never_signed_in(session: Session, group_id: int) -> list[Person]:
    """The students of a group who have no password yet, by name. Only a roll lets such people in."""
    return list(
        session.scalars(
            sa.select(Person)
            .join(Membership, Membership.person_id == Person.id)
            .where(
                Membership.group_id == group_id,
                Membership.state == "in",
                Membership.part == "student",
                Person.password_hash.is_(None),
                Person.name.is_not(None),
            )
            .order_by(Person.name_key)
        )
    )


def add_all(session: Session, table: type[Membership] | type[RollEntry], rows: Sequence[Mapping[str, Any]]) -> None:
    """Add many memberships or entries by few statements."""
    # As mapped objects they would be one statement each on SQLite, which cannot say in which order ids were given.
    if rows:
        session.execute(sa.insert(table), list(rows))


def roll_entry(session: Session, group_id: int, name_key: str) -> RollEntry | None:
    """The entry of a name on a group's roll, or None."""
    return session.scalars(
        sa.select(RollEntry).where(RollEntry.group_id == group_id, RollEntry.name_key == name_key)
    ).one_or_none()


def code(session: Session, written: str) -> JoinCode | None:
    """The code as it stands now, or None; whether it still opens is the caller's question."""
    return session.get(JoinCode, written, populate_existing=True)


def codes_in_use(session: Session, group_id: int, now: datetime) -> list[JoinCode]:
    """A group's codes that open its door now, newest first."""
    return list(
        session.scalars(
            sa.select(JoinCode)
            .where(JoinCode.group_id == group_id, JoinCode.ended_at.is_(None), JoinCode.expires_at > now)
            .order_by(JoinCode.made_at.desc(), JoinCode.code)
        )
    )

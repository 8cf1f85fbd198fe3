"""Groups: making them, changing them, looking at them. What happens to their people stands in `members`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from quizsvc.errors import ConflictError, InputError
from quizsvc.services import edge, passwords, pseudonyms
from quizsvc.services.clocks import time_zone_name
from quizsvc.services.school_access import INSTRUCTOR, group_for_instructor, group_for_member, require_instructor
from quizsvc.store import bank, groups, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Group, Membership, Person

EARLIEST, LATEST = date(2000, 1, 1), date(2199, 12, 31)


@dataclass(frozen=True)
class GroupForm:
    """What an instructor chooses for a group; with both days it is an intake."""

    name: str
    time_zone: str
    starts_on: date | None = None
    ends_on: date | None = None
    aircraft: tuple[str, ...] = ()


@dataclass(frozen=True)
class MemberView:
    """One person's time in a group, as its instructors see it. `number` is that of the membership.

    `new` says that the person has never signed in; `other_roles` that the account is more than a pilot's.
    """

    number: int
    person_id: int
    name: str
    part: str
    state: str
    asked_at: datetime
    joined_at: datetime | None
    left_at: datetime | None
    new: bool
    may_instruct: bool
    other_roles: bool


@dataclass(frozen=True)
class GroupView:
    """A group as somebody in it sees it: `part` is theirs, and `members` is empty for students."""

    id: int
    name: str
    time_zone: str
    starts_on: date | None
    ends_on: date | None
    aircraft: tuple[str, ...]
    part: str
    instructors: tuple[str, ...]
    members: tuple[MemberView, ...] = ()
    waiting: tuple[MemberView, ...] = ()
    gone: tuple[MemberView, ...] = ()

    @property
    def students(self) -> tuple[MemberView, ...]:
        """Those who are in the group and do not instruct it."""
        return tuple(one for one in self.members if one.part == "student")


@dataclass(frozen=True)
class OwnGroup:
    """A group in its own member's list; `state` is `waiting` or `in`."""

    id: int
    name: str
    part: str
    state: str


def make(db: Database, person_id: int, form: GroupForm, *, now: datetime) -> int:
    """Make a group that the person instructs; returns its number.

    Raises
    ------
    NotFoundError
        The person has not the role.
    InputError
        A field that cannot be taken; `where` names it.
    ConflictError
        Another group has the name.
    """
    with db.writing() as session:
        require_instructor(session, person_id)
        group = Group(aircraft=[], made_by=person_id, made_at=now)
        _fill(session, group, form)
        session.add(group)
        session.flush()
        session.add(
            Membership(
                group_id=group.id,
                person_id=person_id,
                part=INSTRUCTOR,
                state="in",
                asked_at=now,
                joined_at=now,
                decided_by=person_id,
            )
        )
        return group.id


def change(db: Database, person_id: int, group_id: int, form: GroupForm) -> None:
    """Change a group. The errors are those of `make`; a group of others is not found."""
    with db.writing() as session:
        group = group_for_instructor(session, person_id, group_id)
        _fill(session, group, form)


def view(db: Database, person_id: int, group_id: int) -> GroupView:
    """A group for somebody who is in it; lists of people are for its instructors.

    Raises
    ------
    NotFoundError
        No such group, or not the person's.
    """
    with db.reading() as session:
        group, own = group_for_member(session, person_id, group_id)
        rows = groups.members(session, group.id, ("waiting", "in", "refused", "left"))
        teaching = tuple(
            person.name or "" for found, person in rows if found.part == INSTRUCTOR and found.state == "in"
        )
        instructing = own.part == INSTRUCTOR and INSTRUCTOR in people.roles(session, person_id)
        listed = _members(session, rows) if instructing else ()
    return GroupView(
        id=group.id,
        name=group.name,
        time_zone=group.time_zone,
        starts_on=group.starts_on,
        ends_on=group.ends_on,
        aircraft=tuple(group.aircraft),
        part=INSTRUCTOR if instructing else "student",
        instructors=teaching,
        members=tuple(one for one in listed if one.state == "in"),
        waiting=tuple(one for one in listed if one.state == "waiting"),
        gone=_gone(listed),
    )


def require(db: Database, person_id: int, group_id: int) -> None:
    """Let only an instructor of the group go on.

    Raises
    ------
    NotFoundError
        No such group of the person's.
    """
    with db.reading() as session:
        group_for_instructor(session, person_id, group_id)


def own(db: Database, person_id: int) -> list[OwnGroup]:
    """The groups that a person is in or waits for, by name."""
    with db.reading() as session:
        found = groups.of_person(session, edge.row_id(person_id, "person"))
        return [OwnGroup(group.id, group.name, one.part, one.state) for group, one in found]


def path(group: Group) -> str:
    """The address of a group's screen."""
    return f"/groups/{group.id}"


def _fill(session: Session, group: Group, form: GroupForm) -> None:
    shown = passwords.name(form.name)
    zone = time_zone_name(form.time_zone)
    _refuse_days(form.starts_on, form.ends_on)
    known = [key for key, _name in bank.aircraft_list(session)]
    for key in form.aircraft:
        if key not in known:
            raise InputError(
                "aircraft-unknown",
                f"'{str(key)[:80]}' is not an aircraft of the bank",
                where="aircraft",
                mend=f"one of: {', '.join(known)}",
            )
    name_key = passwords.name_key(shown)
    same = groups.by_name(session, name_key)
    if same is not None and same is not group:
        raise ConflictError(
            "group-name-taken", f"another group is called '{shown}'", where="name", mend="choose another name"
        )
    group.name, group.name_key, group.time_zone = shown, name_key, zone
    group.starts_on, group.ends_on = form.starts_on, form.ends_on
    group.aircraft = list(dict.fromkeys(form.aircraft))


def _refuse_days(starts_on: date | None, ends_on: date | None) -> None:
    if (starts_on is None) != (ends_on is None):
        missing = "starts_on" if starts_on is None else "ends_on"
        raise InputError(
            "group-days",
            "an intake has a first and a last day",
            where=missing,
            mend="fill in both, or neither for a group that goes on",
        )
    if starts_on is None or ends_on is None:
        return
    for day, field in ((starts_on, "starts_on"), (ends_on, "ends_on")):
        if not EARLIEST <= day <= LATEST:
            raise InputError("group-day", f"{day} is no day of an intake", where=field, mend="a year from 2000 to 2199")
    if ends_on < starts_on:
        raise InputError(
            "group-days-order", f"the last day, {ends_on}, is before the first", where="ends_on", mend="change one"
        )


def _members(session: Session, rows: list[tuple[Membership, Person]]) -> tuple[MemberView, ...]:
    roles = people.roles_of(session, {person.id for _, person in rows})
    names = pseudonyms.names(session, (person for _, person in rows))
    return tuple(
        MemberView(
            number=found.id,
            person_id=person.id,
            name=names[person.id],
            part=found.part,
            state=found.state,
            asked_at=found.asked_at,
            joined_at=found.joined_at,
            left_at=found.left_at,
            new=person.password_hash is None,
            may_instruct=INSTRUCTOR in roles[person.id],
            other_roles=more_than_pilot(roles[person.id]),
        )
        for found, person in rows
    )


def _gone(listed: tuple[MemberView, ...]) -> tuple[MemberView, ...]:
    """Who has left and has not come back, each once."""
    here = {one.person_id for one in listed if one.state in groups.OPEN_STATES}
    last = {one.person_id: one for one in listed if one.state == "left" and one.person_id not in here}
    return tuple(last.values())


def more_than_pilot(roles: tuple[str, ...]) -> bool:
    """Whether an account can do more than practise: an instructor must not get into such a one."""
    return bool(set(roles) - {"pilot"})

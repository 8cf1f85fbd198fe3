"""Who is in a group: a yes or no to those who wait, leaving, parts, and links for those who cannot sign in."""

from __future__ import annotations

from datetime import datetime, timedelta

from quizsvc.errors import ConflictError
from quizsvc.services import edge, links, notices, uninstructed
from quizsvc.services.groups import more_than_pilot, path
from quizsvc.services.school_access import HEAD, INSTRUCTOR, group_for_instructor, instructs
from quizsvc.store import groups, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Group, Membership, Person

LINK_HOURS = 24


def answer(db: Database, person_id: int, group_id: int, number: int, *, accept: bool, now: datetime) -> str:
    """Say yes or no to somebody who waits; returns the name. Saying the same again changes nothing.

    Raises
    ------
    NotFoundError
        No such group of the person's, or nobody of that number in it.
    ConflictError
        It was answered otherwise meanwhile.
    """
    with db.writing() as session:
        group, member, person = _member(session, person_id, group_id, number)
        wanted = "in" if accept else "refused"
        if member.state == "waiting":
            member.state, member.decided_by = wanted, person_id
            if accept:
                member.joined_at = now
                notices.tell(session, person.id, f"You are in the group {group.name}.", path=path(group), now=now)
            else:
                notices.tell(session, person.id, f"The group {group.name} did not take you in.", path="/join", now=now)
        elif member.state != wanted:
            raise _changed(person)
        return person.name or ""


def remove(db: Database, person_id: int, group_id: int, number: int, *, now: datetime) -> str:
    """Take somebody out of a group; what they did in it stays. Returns the name.

    The name leaves the roll with them, or its code would let them in again without a yes.

    Raises
    ------
    NotFoundError
        No such group of the person's, or nobody of that number in it.
    ConflictError
        Nobody would instruct the group any more.
    """
    with db.writing() as session:
        group, member, person = _member(session, person_id, group_id, number)
        if member.state in groups.OPEN_STATES:
            _leave(session, group, member, now)
            entry = groups.roll_entry(session, group.id, person.name_key or "")
            if entry is not None:
                session.delete(entry)
            if person.id != person_id:
                notices.tell(session, person.id, f"You are no longer in the group {group.name}.", path="/join", now=now)
        return person.name or ""


def leave(db: Database, person_id: int, group_id: int, *, anyway: bool = False, now: datetime) -> str:
    """Leave a group, or stop waiting for it; what was done in it stays. Returns the group's name.

    Parameters
    ----------
    anyway : bool
        Whether a group's last instructor leaves it all the same; the heads of training are told.

    Raises
    ------
    NotFoundError
        No such group, or the person neither is in it nor waits.
    ConflictError
        Nobody would instruct the group any more, and not `anyway`, or there is no head of training to name another.
    """
    with db.writing() as session:
        group = groups.by_id(session, edge.row_id(group_id, "group"))
        if group is not None:
            groups.lock(session, group.id)
        member = groups.membership(session, person_id, group.id) if group is not None else None
        if group is None or member is None:
            raise edge.not_found("group")
        if anyway and _is_last(session, group, member):
            if not groups.with_role(session, HEAD):
                raise _last(group, "nobody is head of training, who could name another: let one join and instruct it")
            member.state, member.left_at = "left", now
            uninstructed.tell_heads(session, [group.name], now)
        else:
            _leave(session, group, member, now)
        return group.name


def give_part(db: Database, person_id: int, group_id: int, number: int, part: str, *, now: datetime) -> str:
    """Let somebody in the group instruct it, or no longer; they need the role for it. Returns the name.

    Raises
    ------
    NotFoundError
        No such group of the person's, or nobody of that number is in it.
    ConflictError
        The account has not the role, or nobody would instruct the group any more.
    """
    with db.writing() as session:
        group, member, person = _member(session, person_id, group_id, number)
        if member.state != "in":
            raise edge.not_found("member")
        if part == member.part:
            return person.name or ""
        if part == INSTRUCTOR and INSTRUCTOR not in people.roles(session, person.id):
            raise ConflictError(
                "group-part-role",
                f"{person.name} has not the role of an instructor",
                mend="ask the keeper of this installation to give it",
            )
        if part != INSTRUCTOR:
            _refuse_last(session, group, member)
        member.part = part
        said = "instruct" if part == INSTRUCTOR else "no longer instruct"
        notices.tell(session, person.id, f"You {said} the group {group.name}.", path=path(group), now=now)
        return person.name or ""


def make_member_link(db: Database, person_id: int, group_id: int, number: int, *, now: datetime) -> tuple[str, str]:
    """A one-time link for a student of the group who cannot sign in: name and secret, good for 24 hours.

    Raises
    ------
    NotFoundError
        No such group of the person's, or nobody of that number is in it.
    ConflictError
        The account has other roles than a pilot's: an instructor must not get into it.
    """
    with db.writing() as session:
        group, member, person = _member(session, person_id, group_id, number)
        if member.state != "in":
            raise edge.not_found("member")
        if more_than_pilot(people.roles(session, person.id)):
            raise ConflictError(
                "group-link-roles",
                f"the account of {person.name} is more than a pilot's",
                mend="ask the keeper of this installation for the link",
            )
        secret = links.add_link(session, person.id, hours=LINK_HOURS, by=person_id, now=now)
        if person.password_hash is not None:
            told = f"An instructor of {group.name} made a one-time link for a new password of yours."
            notices.tell(session, person.id, told, path="/account/devices", now=now)
        return person.name or "", secret


def link_until(now: datetime) -> datetime:
    """Until when a link that is made now works."""
    return now + timedelta(hours=LINK_HOURS)


def _member(session: Session, person_id: int, group_id: int, number: int) -> tuple[Group, Membership, Person]:
    group = group_for_instructor(session, person_id, group_id)
    groups.lock(session, group.id)
    member = groups.member_of_number(session, group.id, edge.row_id(number, "member"))
    person = people.by_id(session, member.person_id) if member is not None else None
    if member is None or person is None:
        raise edge.not_found("member")
    return group, member, person


def _leave(session: Session, group: Group, member: Membership, now: datetime) -> None:
    _refuse_last(session, group, member)
    member.state, member.left_at = "left", now


def _refuse_last(session: Session, group: Group, member: Membership) -> None:
    if _is_last(session, group, member):
        raise _last(group, "let another instructor join, give them the part of an instructor, and try again")


def _is_last(session: Session, group: Group, member: Membership) -> bool:
    return instructs(session, member.person_id, group.id) and groups.is_uninstructed(
        session, group.id, without=member.person_id
    )


def _last(group: Group, mend: str) -> ConflictError:
    return ConflictError("group-last-instructor", f"nobody else instructs {group.name}", mend=mend)


def _changed(person: Person) -> ConflictError:
    return ConflictError(
        "group-answered", f"{person.name} was answered otherwise meanwhile", mend="load the group's page again"
    )

"""The roll: the names that a group expects. An import is one unit of work: all of it, or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.services import notices
from quizsvc.services.groups import path
from quizsvc.services.roll_text import RollName
from quizsvc.services.school_access import group_for_instructor
from quizsvc.services.sessions import new_people
from quizsvc.store import bank, groups, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Group, Membership, RollEntry


@dataclass(frozen=True)
class RollRow:
    """One name on the roll. `state` is `in`, `waiting`, `expected`, `new` (in, never signed in) or `gone`."""

    name: str
    state: str


@dataclass(frozen=True)
class RollView:
    """A group's roll, and how many in the group have never signed in."""

    group_id: int
    group: str
    rows: tuple[RollRow, ...]
    new: int


@dataclass(frozen=True)
class RollReport:
    """What an import did, by names: `made` have a new account, `expected` had one, which the code lets in."""

    made: tuple[str, ...] = ()
    expected: tuple[str, ...] = ()
    let_in: tuple[str, ...] = ()
    already: tuple[str, ...] = ()


def import_roll(db: Database, person_id: int, group_id: int, names: Sequence[RollName], *, now: datetime) -> RollReport:
    """Put names on a group's roll, in one unit of work.

    A name that nobody has gets an account and is in. The owner of one that exists is not touched: they join by the
    code, without waiting; one who waits already is let in.

    Raises
    ------
    NotFoundError
        No such group of the person's.
    """
    with db.writing() as session:
        group = group_for_instructor(session, person_id, group_id)
        groups.lock(session, group.id)
        there = {entry.name_key for entry in _entries_of_people(session, group)}
        fresh = [name for name in names if name.key not in there]
        owners = people.by_names(session, [name.key for name in fresh])
        belonging = {person.id: member for member, person in groups.members(session, group.id, groups.OPEN_STATES)}
        report: dict[str, list[str]] = {"made": [], "expected": [], "let_in": []}
        entries = []
        for name in fresh:
            owner = owners.get(name.key)
            member = belonging.get(owner.id) if owner is not None else None
            if owner is None:
                report["made"].append(name.shown)
                continue
            if member is not None and member.state == "waiting":
                member.state, member.joined_at, member.decided_by = "in", now, person_id
                notices.tell(session, owner.id, f"You are in the group {group.name}.", path=path(group), now=now)
                report["let_in"].append(name.shown)
            elif member is None:
                report["expected"].append(name.shown)
            entries.append(_entry(group, name, owner.id, now))
        made = _add_people(session, group, [name for name in fresh if name.key not in owners], person_id, now)
        entries += [_entry(group, name, made[name.key], now) for name in fresh if name.key in made]
        groups.add_all(session, RollEntry, entries)
        touched = {shown for names_of in report.values() for shown in names_of}
        return RollReport(
            made=tuple(report["made"]),
            expected=tuple(report["expected"]),
            let_in=tuple(report["let_in"]),
            already=tuple(name.shown for name in names if name.shown not in touched),
        )


def view(db: Database, person_id: int, group_id: int) -> RollView:
    """A group's roll, for its instructors.

    Raises
    ------
    NotFoundError
        No such group of the person's.
    """
    with db.reading() as session:
        group = group_for_instructor(session, person_id, group_id)
        here = {
            person.id: "new" if member.state == "in" and person.password_hash is None else member.state
            for member, person in groups.members(session, group.id, groups.OPEN_STATES)
        }
        rows = tuple(
            RollRow(entry.name, here.get(entry.person_id or 0, "expected") if owned else "gone")
            for entry, owned in groups.roll(session, group.id)
        )
        return RollView(group.id, group.name, rows, len(groups.never_signed_in(session, group.id)))


def _entries_of_people(session: Session, group: Group) -> list[RollEntry]:
    """The roll's entries; one whose person has left the service makes room, for the name may be another's now."""
    kept = []
    for entry, owned in groups.roll(session, group.id):
        if owned:
            kept.append(entry)
        else:
            session.delete(entry)
    session.flush()
    return kept


def _entry(group: Group, name: RollName, person_id: int, now: datetime) -> dict[str, Any]:
    return {
        "group_id": group.id,
        "name": name.shown,
        "name_key": name.key,
        "person_id": person_id,
        "imported_at": now,
    }


def _add_people(session: Session, group: Group, names: Sequence[RollName], by: int, now: datetime) -> dict[str, int]:
    """Accounts for new names, in the group at once; gives their ids by name key."""
    aircraft = list(group.aircraft) or [key for key, _name in bank.aircraft_list(session)][:1]
    made = new_people(
        session, [(name.shown, name.key) for name in names], aircraft=aircraft, time_zone=group.time_zone, now=now
    )
    common = {
        "group_id": group.id,
        "part": "student",
        "state": "in",
        "asked_at": now,
        "joined_at": now,
        "decided_by": by,
    }
    groups.add_all(session, Membership, [{"person_id": person_id, **common} for person_id in made.values()])
    return made

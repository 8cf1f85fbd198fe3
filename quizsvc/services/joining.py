"""Joining a group by its code: eight characters, seven days, and a yes unless the roll has the name."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import datetime, timedelta

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import edge
from quizsvc.services.school_access import group_for_instructor
from quizsvc.store import groups, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Group, JoinCode, Membership

# Capitals and digits without those that are taken for one another: 0 and O, 1, I and L.
ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
LENGTH = 8
DAYS = 7


@dataclass(frozen=True)
class CodeView:
    """A code that opens a group's door now; None for `code` where the group has none."""

    group_id: int
    group: str
    time_zone: str
    code: str | None = None
    expires_at: datetime | None = None

    @property
    def spaced(self) -> str:
        """The code in two halves, as it is read out."""
        return f"{self.code[:4]} {self.code[4:]}" if self.code else ""


@dataclass(frozen=True)
class DoorView:
    """What somebody sees who has come by a code. `state` is None, or `waiting` or `in` for one who has joined."""

    group_id: int
    group: str
    code: str
    state: str | None


def code_of(db: Database, person_id: int, group_id: int, *, now: datetime) -> CodeView:
    """A group's code of now, for its instructors.

    Raises
    ------
    NotFoundError
        No such group of the person's.
    """
    with db.reading() as session:
        group = group_for_instructor(session, person_id, group_id)
        found = groups.codes_in_use(session, group.id, now)
        code = found[0] if found else None
        return CodeView(
            group.id, group.name, group.time_zone, code.code if code else None, code.expires_at if code else None
        )


def make_code(db: Database, person_id: int, group_id: int, *, rng: random.Random, now: datetime) -> str:
    """Make a new code, good for seven days; the earlier one ends. `rng` must be one that nobody can foresee.

    Raises
    ------
    NotFoundError
        No such group of the person's.
    """
    with db.writing() as session:
        group = group_for_instructor(session, person_id, group_id)
        groups.lock(session, group.id)
        _end(session, group, now)
        # The database refuses a code that was used before; of 31 to the power of 8 none comes twice by chance.
        code = "".join(rng.choice(ALPHABET) for _ in range(LENGTH))
        session.add(
            JoinCode(
                code=code, group_id=group.id, made_by=person_id, made_at=now, expires_at=now + timedelta(days=DAYS)
            )
        )
        return code


def end_code(db: Database, person_id: int, group_id: int, *, now: datetime) -> None:
    """End a group's code: from now on it opens nothing.

    Raises
    ------
    NotFoundError
        No such group of the person's.
    """
    with db.writing() as session:
        group = group_for_instructor(session, person_id, group_id)
        groups.lock(session, group.id)
        _end(session, group, now)


def typed(value: str) -> str:
    """A code as people type it, in its one spelling: blanks and hyphens go, small letters become capitals.

    Raises
    ------
    InputError
        It cannot be a code; the error says which character or length is wrong.
    """
    shown = edge.text(value, "code", longest=40, label="the code")
    code = "".join(shown.replace("-", " ").split()).upper()
    wrong = next((character for character in code if character not in ALPHABET), None)
    if wrong is not None:
        raise InputError(
            "code-character",
            f"no code has the character '{wrong}'",
            where="code",
            mend="a code is of the digits 2 to 9 and capitals without I, L and O; look at it again",
        )
    if len(code) != LENGTH:
        said = f"'{shown}' has {len(code)} characters" if code else "no code is typed"
        raise InputError("code-length", said, where="code", mend=f"a code has {LENGTH}, such as ABCD 2345")
    return code


def door(db: Database, person_id: int | None, code: str, *, now: datetime) -> DoorView:
    """Where a code leads; `person_id` is None for somebody without an account.

    Raises
    ------
    NotFoundError
        Unknown, ended or run out: the answer is the same.
    """
    with db.reading() as session:
        group = _open(session, code, now)
        found = groups.membership(session, person_id, group.id) if person_id is not None else None
        return DoorView(group.id, group.name, code, found.state if found else None)


def join(db: Database, person_id: int, code: str, *, now: datetime) -> DoorView:
    """Join by a code: at once where the roll has the name, else to wait for a yes. Joining again changes nothing.

    Raises
    ------
    NotFoundError
        The code is unknown, ended or run out.
    ConflictError
        The person has no name yet, by which an instructor could know them.
    """
    with db.writing() as session:
        groups.lock(session, _open(session, code, now).id)
        # Read again under the lock: whoever waited for it may have waited for the code's end.
        group = _open(session, code, now)
        person = people.by_id(session, edge.row_id(person_id, "person"))
        if person is None:
            raise edge.not_found("person")
        if person.name_key is None:
            raise ConflictError(
                "join-without-name", "an instructor cannot know you without a name", mend="sign up first, then join"
            )
        found = groups.membership(session, person.id, group.id)
        if found is None:
            entry = groups.roll_entry(session, group.id, person.name_key)
            expected = entry is not None and entry.person_id == person.id
            found = Membership(
                group_id=group.id,
                person_id=person.id,
                part="student",
                state="in" if expected else "waiting",
                asked_at=now,
                joined_at=now if expected else None,
            )
            session.add(found)
        return DoorView(group.id, group.name, code, found.state)


def _end(session: Session, group: Group, now: datetime) -> None:
    for code in groups.codes_in_use(session, group.id, now):
        code.ended_at = now


def _open(session: Session, code: str, now: datetime) -> Group:
    """The group behind a code that opens its door now."""
    found = groups.code(session, code)
    group = groups.by_id(session, found.group_id) if found is not None else None
    if found is None or group is None or found.ended_at is not None or now >= found.expires_at:
        raise NotFoundError(
            "code-not-usable",
            "this code has ended, has run out, or was never made",
            where="code",
            mend="look at it again, or ask your instructor for a new one",
        )
    return group

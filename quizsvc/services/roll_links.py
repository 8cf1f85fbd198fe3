"""The sheet of one-time links by which the people of a roll sign in for the first time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from quizsvc.errors import ConflictError, InputError
from quizsvc.services import links
from quizsvc.services.school_access import group_for_instructor
from quizsvc.store import groups
from quizsvc.store.session import Database

MOST_LINKS = 60
"""On one sheet: a class. Each has a picture to draw, and a sheet is made while somebody waits for it."""
LINK_HOURS = 7 * 24


@dataclass(frozen=True)
class SheetPerson:
    """Somebody for whom a link can be made, or has been: `secret` is in hand only then."""

    person_id: int
    name: str
    secret: str | None = None


@dataclass(frozen=True)
class SheetView:
    """The sheet of one-time links; `people` are at most a class, `left` how many wait for another sheet."""

    group_id: int
    group: str
    time_zone: str
    people: tuple[SheetPerson, ...]
    left: int = 0
    expires_at: datetime | None = None


def sheet(db: Database, person_id: int, group_id: int) -> SheetView:
    """Those of a group who have never signed in, for a sheet of links; none is made by looking.

    Raises
    ------
    NotFoundError
        No such group of the person's.
    """
    with db.reading() as session:
        group = group_for_instructor(session, person_id, group_id)
        found = groups.never_signed_in(session, group.id)
        listed = tuple(SheetPerson(person.id, person.name or "") for person in found)
        return SheetView(group.id, group.name, group.time_zone, listed)


def make_sheet(db: Database, person_id: int, group_id: int, wanted: Sequence[int], *, now: datetime) -> SheetView:
    """One-time links, good for seven days, for those of `wanted` who have never signed in; their earlier links end.

    Raises
    ------
    NotFoundError
        No such group of the person's.
    InputError
        Nobody is wanted, or more than a sheet holds.
    ConflictError
        Somebody in `wanted` has signed in meanwhile, or has left.
    """
    if not 1 <= len(set(wanted)) <= MOST_LINKS:
        raise InputError(
            "sheet-size",
            f"{len(set(wanted))} people are marked" if wanted else "nobody is marked",
            where="person",
            mend=f"mark from 1 to {MOST_LINKS} people for one sheet",
        )
    until = now + timedelta(hours=LINK_HOURS)
    with db.writing() as session:
        group = group_for_instructor(session, person_id, group_id)
        groups.lock(session, group.id)
        found = {person.id: person for person in groups.never_signed_in(session, group.id)}
        if any(one not in found for one in wanted):
            raise ConflictError(
                "sheet-signed-in",
                "somebody who is marked has signed in meanwhile, or is no longer in the group",
                mend="load the page again",
            )
        chosen = [person for person in found.values() if person.id in set(wanted)]
        made = tuple(
            SheetPerson(
                person.id,
                person.name or "",
                links.add_link(session, person.id, hours=LINK_HOURS, by=person_id, now=now),
            )
            for person in chosen
        )
        return SheetView(
            group.id,
            group.name,
            group.time_zone,
            made,
            left=len(found) - len(made),
            expires_at=until,
        )

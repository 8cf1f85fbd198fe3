"""A person's closings as a calendar (RFC 5545) behind an address that nobody guesses.

The address holds a secret of 160 bits, of which only the hash is stored; one address works at a time. What stands in
the calendar is the title of an assignment and its group, never an item or a mark.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from icalendar import Calendar, Event

from quizsvc.services import allowances, edge
from quizsvc.services.sessions import hash_of
from quizsvc.store import evidence, people, privacy
from quizsvc.store.session import Database
from quizsvc.store.tables import CalendarFeed

__all__ = ["SECRET_BYTES", "FeedView", "calendar", "end", "in_use", "make"]

SECRET_BYTES = 20
KEPT_AFTER = timedelta(days=60)
"""How long a closing stays in the calendar after it has passed."""


@dataclass(frozen=True)
class FeedView:
    """An address that works; the secret itself is not known any more."""

    made_at: datetime


def make(db: Database, person_id: int, *, now: datetime) -> str:
    """Make a new address and return its secret, 40 hexadecimal digits, which is not kept; an earlier one ends.

    Raises
    ------
    NotFoundError
        No such person.
    """
    secret = secrets.token_hex(SECRET_BYTES)
    with db.writing() as session:
        if people.lock(session, edge.row_id(person_id, "person")) is None:
            raise edge.not_found("person")
        privacy.revoke_feeds(session, person_id, now)
        session.add(CalendarFeed(person_id=person_id, secret_hash=hash_of(secret), made_at=now))
    return secret


def end(db: Database, person_id: int, *, now: datetime) -> None:
    """End a person's address; where none works, nothing happens."""
    with db.writing() as session:
        people.lock(session, edge.row_id(person_id, "person"))
        privacy.revoke_feeds(session, person_id, now)


def in_use(db: Database, person_id: int) -> FeedView | None:
    """The address of a person that works now, if there is one."""
    with db.reading() as session:
        found = privacy.feeds_of(session, edge.row_id(person_id, "person"))
        return FeedView(found[-1].made_at) if found else None


def calendar(db: Database, secret: str, *, public_url: str, now: datetime) -> bytes:
    """The calendar of a secret: the closings of the person's assignments, an extension counted in.

    Raises
    ------
    NotFoundError
        No address with that secret works.
    """
    with db.reading() as session:
        feed = privacy.feed(session, hash_of(secret))
        if feed is None:
            raise edge.not_found("calendar")
        whole = Calendar()
        whole.add("version", "2.0")
        whole.add("prodid", "-//quizsvc//closings//EN")
        whole.add("name", "Homework closings")
        for assignment, group in evidence.closings(session, feed.person_id, now - KEPT_AFTER):
            standing = allowances.standing(session, assignment, feed.person_id)
            if standing.excused or standing.times.closes_at is None:
                continue
            event = Event()
            event.add("uid", f"assignment-{assignment.id}@{public_url.split('//', 1)[-1]}")
            event.add("dtstamp", assignment.changed_at.replace(microsecond=0))
            event.add("last-modified", assignment.changed_at.replace(microsecond=0))
            event.add("sequence", assignment.version)
            # A closing is a moment: a start without an end.
            event.add("dtstart", standing.times.closes_at.replace(microsecond=0))
            event.add("summary", f"Homework closes: {assignment.title}")
            event.add("description", group.name)
            event.add("url", f"{public_url}/homework/{assignment.id}")
            event.add("transp", "TRANSPARENT")
            whole.add_component(event)
        return bytes(whole.to_ical())

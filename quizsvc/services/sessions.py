"""Sessions of devices: who is asking, beginning without an account, signing out, the list of own devices."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from quizsvc.errors import NotPreparedError, StoreUnavailableError
from quizsvc.memory.states import fresh_learner
from quizsvc.services import edge, weights
from quizsvc.services.clocks import time_zone_name
from quizsvc.services.views import DeviceView, PersonView, SignedIn
from quizsvc.store import bank, device_sessions, learners, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import DeviceSession, Person

DEFAULT_MINUTES_A_DAY = 10
DEFAULT_EXPERIENCE = "in training"
TOUCH_EVERY = timedelta(minutes=1)
# Browsers keep no cookie longer, and questions fetched for offline use live as long.
LONGEST_IDLE = timedelta(days=400)


def hash_of(secret: str) -> str:
    """What is stored in place of a secret of 256 random bits; such a one needs no salt and no slow hash."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def person_of(db: Database, token: str | None, *, now: datetime) -> PersonView | None:
    """The person behind a session's token, or None; notes at most once a minute that the device was seen."""
    if not token:
        return None
    with db.glance() as connection:
        rows = device_sessions.who(connection, hash_of(token))
    if not rows or now - rows[0].seen_at > LONGEST_IDLE:
        return None
    row = rows[0]
    if now - row.seen_at >= TOUCH_EVERY:
        try:
            with db.recording() as connection:
                device_sessions.seen(connection, row.id, row.device_id, now)
        except StoreUnavailableError:
            pass  # Reading must not fail because the note of it cannot be written; the next request tries again.
    return PersonView(
        id=row.id,
        name=row.name,
        roles=tuple(sorted(found.role for found in rows if found.role)),
        aircraft=tuple(row.aircraft),
        check_date=row.check_date,
        minutes_a_day=row.minutes_a_day,
        time_zone=row.time_zone,
        experience=row.experience,
        created_at=row.created_at,
        device_id=row.device_id,
    )


def begin_anonymous(db: Database, *, device: str, time_zone: str, now: datetime) -> SignedIn:
    """A new person without an account and a session for their device.

    Raises
    ------
    NotPreparedError
        No bank is loaded: there is nothing to ask.
    """
    with db.writing() as session:
        if bank.newest_load(session) is None:
            raise NotPreparedError("bank-not-loaded", "no question bank is loaded", mend="quizsvc bank load")
        person = new_person(session, time_zone=time_zone, now=now)
        return open_session(session, person, device=device, now=now)


def sign_out(db: Database, token: str | None, *, now: datetime) -> None:
    """End the session of a token."""
    with db.writing() as session:
        found = device_sessions.by_token(session, hash_of(token or ""))
        if found is not None:
            session.delete(found)


def devices(db: Database, person_id: int, *, this: int | None = None) -> list[DeviceView]:
    """A person's signed-in devices, the one seen last first; `this` is the session that asks."""
    with db.reading() as session:
        return [
            DeviceView(
                id=found.id,
                device=found.device,
                created_at=found.created_at,
                last_seen_at=found.last_seen_at,
                this_one=found.id == this,
            )
            for found in device_sessions.of_person(session, edge.row_id(person_id, "person"))
        ]


def end_device(db: Database, person_id: int, device_id: int, *, now: datetime) -> None:
    """Sign one of a person's devices out.

    Raises
    ------
    NotFoundError
        The person has no such session.
    """
    with db.writing() as session:
        if not device_sessions.end(session, person_id=person_id, device_id=edge.row_id(device_id, "device")):
            raise edge.not_found("device")


# What the other account services build on; each runs inside the caller's unit of work.


def new_person(
    session: Session,
    *,
    time_zone: str,
    now: datetime,
    name: str | None = None,
    name_key: str | None = None,
    password_hash: str | None = None,
) -> Person:
    """Add a person with the usual settings and a learner who has answered nothing."""
    keys = [key for key, _name in bank.aircraft_list(session)]
    person = Person(
        name=name,
        name_key=name_key,
        password_hash=password_hash,
        aircraft=keys[:1],
        minutes_a_day=DEFAULT_MINUTES_A_DAY,
        time_zone=time_zone_name(time_zone),
        experience=DEFAULT_EXPERIENCE,
        created_at=now,
        last_seen_at=now,
    )
    session.add(person)
    session.flush()
    used = weights.in_use(session, now=now)
    learners.add(session, person.id, fresh_learner(person.experience, used), used.version)
    return person


def new_people(
    session: Session, names: Sequence[tuple[str, str]], *, aircraft: Sequence[str], time_zone: str, now: datetime
) -> dict[str, int]:
    """Add many pilots without a password, by name and name key, with a few statements; gives their ids by name key."""
    common = {
        "aircraft": list(aircraft),
        "minutes_a_day": DEFAULT_MINUTES_A_DAY,
        "time_zone": time_zone_name(time_zone),
        "experience": DEFAULT_EXPERIENCE,
        "created_at": now,
        "last_seen_at": now,
    }
    ids = people.add_many(session, [{"name": name, "name_key": name_key, **common} for name, name_key in names])
    used = weights.in_use(session, now=now)
    learners.add_many(session, list(ids.values()), fresh_learner(DEFAULT_EXPERIENCE, used), used.version)
    people.add_role(session, list(ids.values()), "pilot")
    return ids


def open_session(
    session: Session, person: Person, *, device: str, now: datetime, claim_from: int | None = None, claimable: int = 0
) -> SignedIn:
    """Open a session for a person on a device; its token is new, whatever session the device had before."""
    token = secrets.token_urlsafe(32)
    opened = DeviceSession(
        token_hash=hash_of(token),
        person_id=person.id,
        claim_from=claim_from,
        device=device_name(device),
        created_at=now,
        last_seen_at=now,
    )
    session.add(opened)
    person.last_seen_at = max(person.last_seen_at, now)
    session.flush()
    return SignedIn(person_view(session, person, opened.id), token, claimable)


def person_view(session: Session, person: Person, device_id: int) -> PersonView:
    """A mapped person as the web sees it."""
    return PersonView(
        id=person.id,
        name=person.name,
        roles=people.roles(session, person.id),
        aircraft=tuple(person.aircraft),
        check_date=person.check_date,
        minutes_a_day=person.minutes_a_day,
        time_zone=person.time_zone,
        experience=person.experience,
        created_at=person.created_at,
        device_id=device_id,
    )


def device_name(value: str) -> str:
    """What a browser calls itself, without anything that a database cannot hold."""
    return "".join(c if c.isprintable() else " " for c in str(value))[:200].strip() or "unknown device"


@dataclass(frozen=True)
class Asking:
    """The session that asks and its person, as mapped rows of one unit of work."""

    session: DeviceSession
    person: Person


def asking(session: Session, token: str | None) -> Asking | None:
    """The session of a token and its person, or None."""
    found = device_sessions.by_token(session, hash_of(token)) if token else None
    person = people.by_id(session, found.person_id) if found else None
    return Asking(found, person) if found and person else None

"""One-time links: for a first sign-in and for a forgotten password. Stored hashed; the newest of a person works."""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta

from quizsvc.errors import InputError, NotFoundError
from quizsvc.services import passwords
from quizsvc.services.sessions import hash_of, open_session
from quizsvc.services.views import LinkView, SignedIn
from quizsvc.store import device_sessions, links, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import OneTimeLink

LONGEST_HOURS = 7 * 24


def make_link(db: Database, name: str, *, hours: int = 24, by: int | None = None, now: datetime) -> str:
    """Make a one-time link for an account and return its secret, which is not kept; earlier unused ones end.

    Raises
    ------
    NotFoundError
        No account has that name.
    InputError
        More hours than a link may live.
    """
    if not 1 <= hours <= LONGEST_HOURS:
        raise InputError(
            "link-hours", f"a link cannot live {hours} hours", where="hours", mend=f"from 1 to {LONGEST_HOURS}"
        )
    with db.writing() as session:
        person = people.by_name(session, passwords.name_key(passwords.name(name)))
        if person is None:
            raise NotFoundError("account-not-found", f"no account is named '{name}'", mend="check the spelling")
        return add_link(session, person.id, hours=hours, by=by, now=now)


def add_link(session: Session, person_id: int, *, hours: int, by: int | None, now: datetime) -> str:
    """Make a one-time link in the caller's unit of work and return its secret; earlier unused ones end."""
    secret = secrets.token_urlsafe(32)
    links.withdraw_unused(session, person_id)
    session.add(
        OneTimeLink(
            secret_hash=hash_of(secret),
            person_id=person_id,
            made_by=by,
            created_at=now,
            expires_at=now + timedelta(hours=hours),
        )
    )
    return secret


def look_at_link(db: Database, secret: str, *, now: datetime) -> LinkView:
    """What a link is for; looking does not use it, so a preview in a mail program spoils nothing.

    Raises
    ------
    NotFoundError
        Unknown, used or run out: the answer is the same.
    """
    with db.reading() as session:
        link, person = _usable(session, secret, now)
        return LinkView(name=person.name or "", expires_at=link.expires_at, first_sign_in=person.password_hash is None)


def use_link(db: Database, secret: str, password: str, *, device: str, now: datetime) -> SignedIn:
    """Set a password by a link and sign in; the link is used up and every earlier session of the person ends.

    Raises
    ------
    NotFoundError
        Unknown, used or run out.
    InputError
        The password cannot be taken; the link stays usable.
    """
    with db.reading() as session:
        _usable(session, secret, now)
    password_hash = passwords.hashed(passwords.password(password))
    with db.writing() as session:
        link, person = _usable(session, secret, now)
        link.used_at = now
        person.password_hash = password_hash
        device_sessions.end_all(session, person.id)
        return open_session(session, person, device=device, now=now)


def _usable(session: Session, secret: str, now: datetime) -> tuple[OneTimeLink, people.Person]:
    link = links.by_secret(session, hash_of(secret))
    person = people.by_id(session, link.person_id) if link else None
    if link is None or person is None or link.used_at is not None or now >= link.expires_at:
        raise NotFoundError(
            "link-not-usable",
            "this link was used, has run out, or was never made",
            mend="ask your instructor or keeper for a new one",
        )
    return link, person

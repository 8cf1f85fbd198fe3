"""Signing in, slowed by counts in the database, and what happens to answers given on the device before."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from quizsvc.errors import InputError, ThrottledError
from quizsvc.services import memory_log, passwords
from quizsvc.services.sessions import asking, open_session
from quizsvc.services.views import SignedIn
from quizsvc.store import people, questions, sign_in_failures
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import SignInFailure

WINDOW = timedelta(minutes=15)

# One name from one address: five mistakes are free, then each costs twice the wait of the one before.
FREE_AT_ONE_ADDRESS = 5
LONGEST_WAIT_S = 300
# One name from all addresses together: a guesser with many addresses is slowed, its owner waits seconds, not minutes.
FREE_AT_ALL_ADDRESSES = 30
WAIT_AT_ALL_ADDRESSES_S = 10
# One address, all names: a classroom behind it mistypes dozens of times; after that one try in a few seconds passes.
FREE_FOR_AN_ADDRESS = 100
WAIT_FOR_AN_ADDRESS_S = 3


def sign_in(
    db: Database, token: str | None, name: str, password: str, *, address: str, device: str, now: datetime
) -> SignedIn:
    """Sign in to an account. Answers that this device's anonymous person gave are offered for it (`claimable`).

    A try is counted before its password is looked at, and taken back when that was right: a hundred tries at once, in
    any number of processes, are counted like a hundred in turn. A try that is made to wait is not counted.

    Raises
    ------
    InputError
        No such name, or the wrong password; the sentence is the same.
    ThrottledError
        Too many tries.
    """
    try:
        name_key = passwords.name_key(passwords.name(name))
    except InputError:
        raise _refused() from None
    address = address[:100]
    with db.writing() as session:
        sign_in_failures.lock_name(session, name_key)
        _refuse_too_many(session, name_key, address, now)
        counted = SignInFailure(name_key=name_key, address=address, at=now)
        session.add(counted)
        person = people.by_name(session, name_key)
        stored = person.password_hash if person else None

    if not passwords.matches(stored, password):
        raise _refused()

    with db.writing() as session:
        person = people.by_name(session, name_key)
        if person is None or person.password_hash != stored:
            raise _refused()
        sign_in_failures.forget(session, name_key, address)
        before = asking(session, token)
        claim_from, claimable = None, 0
        if before is not None:
            if before.person.name is None:
                claimable = people.count_answers(session, before.person.id)
                # Who keeps questions on a device may have answers there that are not here yet.
                waits = claimable or questions.holds_kept(session, before.person.id)
                claim_from = before.person.id if waits else None
            session.delete(before.session)
        return open_session(session, person, device=device, now=now, claim_from=claim_from, claimable=claimable)


def _refused() -> InputError:
    return InputError(
        "sign-in-refused",
        "no account has this name and password",
        where="name",
        mend="check both; your instructor or keeper can make a one-time link for a forgotten password",
    )


def _refuse_too_many(session: Session, name_key: str, address: str, now: datetime) -> None:
    since = now - WINDOW
    here = sign_in_failures.tally(session, since, name_key=name_key, address=address)
    everywhere = sign_in_failures.tally(session, since, name_key=name_key)
    from_address = sign_in_failures.tally(session, since, address=address)
    waits = [
        (here, FREE_AT_ONE_ADDRESS, min(LONGEST_WAIT_S, 2 ** min(20, max(0, here.count - FREE_AT_ONE_ADDRESS)))),
        (everywhere, FREE_AT_ALL_ADDRESSES, WAIT_AT_ALL_ADDRESSES_S),
        (from_address, FREE_FOR_AN_ADDRESS, WAIT_FOR_AN_ADDRESS_S),
    ]
    left = 0.0
    for tally, free, wait_s in waits:
        if tally.count >= free and tally.last_at is not None:
            left = max(left, (tally.last_at + timedelta(seconds=wait_s) - now).total_seconds())
    if left > 0:
        seconds = math.ceil(left)
        raise ThrottledError(
            "sign-in-throttled",
            "too many wrong tries",
            retry_after_s=seconds,
            where="name",
            mend=f"try again in {seconds} s" if seconds < 120 else f"try again in {math.ceil(seconds / 60)} minutes",
        )


def claim_offer(db: Database, token: str | None) -> int | None:
    """How many answers here could be added to the account of a session, or None where there is nothing to add.

    0 means that answers may wait on the device: the person who was here before keeps questions there.
    """
    with db.reading() as session:
        who = asking(session, token)
        if who is None or who.session.claim_from is None or people.by_id(session, who.session.claim_from) is None:
            return None
        return people.count_answers(session, who.session.claim_from)


def claim(db: Database, token: str | None, accept: bool, *, now: datetime) -> int:
    """Add the answers given on this device before signing in to the account, or leave them; returns how many moved.

    They move once: their person's id becomes an alias of the account, and the account's memory is rebuilt from both
    logs. Asking again, or from another device, moves nothing more.
    """
    with db.writing() as session:
        who = asking(session, token)
        if who is None or who.session.claim_from is None:
            return 0
        old_id = who.session.claim_from
        if not accept:
            who.session.claim_from = None
            return 0
        # Always in the order of their ids, so that two claims that cross cannot wait for each other.
        for person_id in sorted((old_id, who.person.id)):
            people.lock(session, person_id)
        who.session.claim_from = None
        session.flush()
        old = people.by_id(session, old_id)
        learner = people.lock(session, who.person.id)
        if old is None or old.name is not None or learner is None:
            return 0
        moved = people.reown(session, old_id, who.person.id, at=now)
        memory_log.rebuild(session, who.person, learner)
        return moved

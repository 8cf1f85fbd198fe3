"""Tries to sign in that failed, counted across all processes."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from quizsvc.store.session import touched
from quizsvc.store.tables import SignInFailure


@dataclass(frozen=True)
class Tally:
    """How many tries failed, and when the last of them was."""

    count: int
    last_at: datetime | None


def lock_name(session: Session, name_key: str) -> None:
    """Let the tries at one name pass one after another, so that a hundred at once are counted like a hundred in turn.

    SQLite has one writer at a time anyway.
    """
    if session.get_bind().dialect.name == "postgresql":
        number = int.from_bytes(hashlib.sha256(name_key.encode()).digest()[:8], "big", signed=True)
        session.execute(sa.select(sa.func.pg_advisory_xact_lock(number)))


def tally(session: Session, since: datetime, *, name_key: str | None = None, address: str | None = None) -> Tally:
    """Failures since a time, of a name, of an address, or of both together."""
    statement = sa.select(sa.func.count(), sa.func.max(SignInFailure.at)).where(SignInFailure.at >= since)
    if name_key is not None:
        statement = statement.where(SignInFailure.name_key == name_key)
    if address is not None:
        statement = statement.where(SignInFailure.address == address)
    count, last_at = session.execute(statement).one()
    return Tally(count, last_at)


def forget(session: Session, name_key: str, address: str) -> None:
    """The right password came from this address: its failures at this name no longer count."""
    session.execute(
        sa.delete(SignInFailure).where(SignInFailure.name_key == name_key, SignInFailure.address == address)
    )


def forget_one(session: Session, failure_id: int) -> None:
    """Take back one try."""
    session.execute(sa.delete(SignInFailure).where(SignInFailure.id == failure_id))


def delete_old(session: Session, before: datetime) -> int:
    """Delete the tries before a time; returns how many."""
    return touched(session, sa.delete(SignInFailure).where(SignInFailure.at < before))

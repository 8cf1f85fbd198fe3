"""Deleting what has had its time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from quizsvc.errors import StoreUnavailableError
from quizsvc.services import homework_release, practice_remarking
from quizsvc.services.sessions import LONGEST_IDLE
from quizsvc.store import device_sessions, links, people, questions, sign_in_failures
from quizsvc.store.session import Database

UNANSWERED = timedelta(days=30)
OFFLINE = timedelta(days=400)
IDLE_ANONYMOUS = timedelta(days=90)
SIGN_IN_FAILURES = timedelta(days=1)
EXPIRED_LINKS = timedelta(days=30)
EVERY = timedelta(days=1)

# When this process tidied last, by database.
_last: dict[str, datetime] = {}


@dataclass(frozen=True)
class Tidied:
    """How many of each were deleted."""

    questions: int
    sets: int
    persons: int
    sessions: int
    links: int
    sign_in_failures: int


def tidy(db: Database, *, now: datetime) -> Tidied:
    """Delete what nobody comes back to.

    Questions without an answer after 30 days (400 where fetched for offline use), anonymous persons after 90 idle days
    (400 where they fetched questions), sessions after 400 idle days, links that ran out, old tries to sign in.
    """
    with db.writing() as session:
        return Tidied(
            questions=questions.delete_unanswered(session, before=now - UNANSWERED, before_offline=now - OFFLINE),
            sets=questions.delete_empty_sets(session, now - UNANSWERED),
            persons=people.delete_idle_anonymous(session, before=now - IDLE_ANONYMOUS, before_offline=now - OFFLINE),
            sessions=device_sessions.end_idle(session, now - LONGEST_IDLE),
            links=links.delete_expired(session, now - EXPIRED_LINKS),
            sign_in_failures=sign_in_failures.delete_old(session, now - SIGN_IN_FAILURES),
        )


def tidy_once_a_day(db: Database, *, now: datetime) -> None:
    """Tidy, settle homework that is due and go on with re-marking practice, where this process has not done so for a
    day; where the database is busy, another time.
    """
    last = _last.get(db.url)
    if last is not None and last <= now < last + EVERY:
        return
    _last[db.url] = now
    try:
        tidy(db, now=now)
        homework_release.settle_all(db, now=now)
        practice_remarking.go_on(db, now=now)
    except StoreUnavailableError:
        del _last[db.url]

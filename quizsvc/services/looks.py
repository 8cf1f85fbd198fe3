"""Looks at a person's record: each is noted, and that person can see who looked, at what, and when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from quizsvc.services import edge
from quizsvc.store import privacy
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Look

__all__ = ["SHOWN", "LookView", "listed", "note"]

SHOWN = 200


@dataclass(frozen=True)
class LookView:
    """One look; `by` is None where the account of who looked has gone."""

    by: str | None
    what: str
    at: datetime


def note(session: Session, person_id: int, by: int, what: str, now: datetime) -> None:
    """Note in the caller's unit of work that `by` looked at a person's record; one's own is no look.

    `what` names the record in plain words, such as "evidence sheet", without item or mark.
    """
    if by != person_id:
        session.add(Look(person_id=person_id, looked_by=by, what=what, at=now))


def listed(db: Database, person_id: int) -> tuple[LookView, ...]:
    """The last looks at a person's own record, newest first."""
    with db.reading() as session:
        found = privacy.looks_at(session, edge.row_id(person_id, "person"), SHOWN)
        return tuple(LookView(by=name, what=look.what, at=look.at) for look, name in found)

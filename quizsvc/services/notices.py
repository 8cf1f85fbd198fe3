"""What a person has to be told: a yes to joining, an extension, a re-mark."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from quizsvc.services import edge
from quizsvc.store import notices
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Notice

SHOWN = 100


@dataclass(frozen=True)
class NoticeView:
    """One notice; `path` is the screen that it is about, if there is one."""

    number: int
    text: str
    path: str | None
    at: datetime
    new: bool


def tell(session: Session, person_id: int, text: str, *, path: str | None = None, now: datetime) -> None:
    """Leave a notice for a person, in the caller's unit of work. `text` is a plain sentence, without item or mark."""
    session.add(Notice(person_id=person_id, text=text, path=path, at=now))


def count_new(db: Database, person_id: int) -> int:
    """How many notices a person has not seen."""
    with db.reading() as session:
        return notices.count_new(session, edge.row_id(person_id, "person"))


def listed(db: Database, person_id: int) -> list[NoticeView]:
    """A person's notices, newest first. Looking changes nothing."""
    with db.reading() as session:
        found = notices.newest(session, edge.row_id(person_id, "person"), SHOWN)
        return [NoticeView(one.id, one.text, one.path, one.at, one.seen_at is None) for one in found]


def mark_seen(db: Database, person_id: int, newest: int, *, now: datetime) -> None:
    """A person has seen their notices up to the one of this number; what came since stays new."""
    with db.writing() as session:
        notices.mark_seen(session, edge.row_id(person_id, "person"), edge.row_id(newest, "notice"), now)

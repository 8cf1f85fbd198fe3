"""What a person shares of their practice: nothing with instructors, the expectation with the head of training.

So it begins; each person may change both.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from quizsvc.services import edge
from quizsvc.store import people, privacy
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Sharing

__all__ = ["Shared", "change", "of", "shared"]


@dataclass(frozen=True)
class Shared:
    """The two switches. Neither ever shows a single answer, or what was answered wrong, in practice."""

    practice_to_instructors: bool = False
    expectation_to_head: bool = True


def shared(session: Session, person_id: int) -> Shared:
    """What a person shares, inside the caller's unit of work."""
    found = privacy.sharing(session, person_id)
    return Shared(found.practice_to_instructors, found.expectation_to_head) if found is not None else Shared()


def of(db: Database, person_id: int) -> Shared:
    """What a person shares."""
    with db.reading() as session:
        return shared(session, edge.row_id(person_id, "person"))


def change(db: Database, person_id: int, wanted: Shared, *, now: datetime) -> None:
    """Share this from now on. Sheets that were made before stay as they are.

    Raises
    ------
    NotFoundError
        No such person.
    """
    with db.writing() as session:
        # The person's row is locked first, so that two browsers that choose for the first time do not collide.
        if people.lock(session, edge.row_id(person_id, "person")) is None:
            raise edge.not_found("person")
        found = privacy.sharing(session, person_id)
        if found is None:
            found = Sharing(person_id=person_id)
            session.add(found)
        found.practice_to_instructors = wanted.practice_to_instructors
        found.expectation_to_head = wanted.expectation_to_head
        found.changed_at = now

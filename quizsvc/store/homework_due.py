"""Whether anything may be due for a person's works or an assignment's, asked before each page that shows them."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa

from quizsvc.store.prepared import Prepared
from quizsvc.store.session import Rows
from quizsvc.store.tables import Work

__all__ = ["may_be_due"]

# A Sitting whose time is over, or work whose feedback nobody has seen: whoever finds one looks closer.
_OPEN = (
    sa.select(Work.id)
    .where(
        Work.released_at.is_(None),
        Work.begun_at.is_not(None),
        sa.or_(Work.handed_in_at.is_not(None), Work.ends_at < sa.bindparam("before", type_=Work.ends_at.type)),
    )
    .limit(1)
)
_OF_PERSON = Prepared(_OPEN.where(Work.person_id == sa.bindparam("person_id")))
_OF_ASSIGNMENT = Prepared(_OPEN.where(Work.assignment_id == sa.bindparam("assignment_id")))


def may_be_due(rows: Rows, before: datetime, *, person_id: int | None, assignment_id: int | None) -> bool:
    """Whether there is such a work of a person, or else of an assignment."""
    if person_id is not None:
        return _OF_PERSON.first(rows, {"before": before, "person_id": person_id}) is not None
    return _OF_ASSIGNMENT.first(rows, {"before": before, "assignment_id": assignment_id}) is not None

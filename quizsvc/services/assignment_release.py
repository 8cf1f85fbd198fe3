"""Releasing an assignment: from here on its items, their revisions and its numbers are fixed."""

from __future__ import annotations

from datetime import datetime

from quizsvc.errors import InputError
from quizsvc.services import assignments as verbs
from quizsvc.services import local_times
from quizsvc.services.assignment_items import trouble_of
from quizsvc.services.assignments import AssignmentView
from quizsvc.store import assignments, picking
from quizsvc.store.session import Database

__all__ = ["release"]


def release(db: Database, person_id: int, assignment_id: int, version: int, *, now: datetime) -> AssignmentView:
    """Release a draft: freeze the revision of each item, open it now where no opening is set, tell the students.

    What was drawn for the preview is what people get, so an item with a newer text than at the preview is refused.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs.
    ConflictError
        Somebody changed it meanwhile.
    InputError
        It is released already, is empty, closes in the past, has an item that may not be asked, or one that changed
        since the preview.
    """
    with db.writing() as session:
        assignment, group = verbs.for_change(session, person_id, assignment_id, version)
        if assignment.state != "draft":
            raise InputError("released-already", "it is released already", where="state", mend="nothing is left to do")
        rows = picking.placed(session, assignment.id)
        if not rows:
            raise InputError("release-empty", "it has no item", where="items", mend="pick at least one")
        troubles = [f"{row.id} ({trouble})" for row in rows if (trouble := trouble_of(row))]
        if troubles:
            raise InputError(
                "release-item",
                f"these cannot be asked: {'; '.join(troubles)}",
                where="items",
                mend="take them out, or pick others in their place",
            )
        if assignment.closes_at is None or assignment.closes_at <= max(now, assignment.opens_at or now):
            raise InputError("closes-past", "it closes in the past", where="closes", mend="set a later closing")
        changed = [row.id for row in rows if row.revision_id != row.revision_in_use]
        if changed and assignments.counts(session, assignment.id).drawn:
            raise InputError(
                "release-changed",
                f"these have a newer text than at the preview: {', '.join(changed)}",
                where="items",
                mend="draw the preview again, look, and release then",
            )
        if changed:
            assignments.set_places(session, assignment.id, [(row.id, row.revision_in_use) for row in rows])
        assignment.state = "released"
        assignment.released_at = now
        assignment.released_by = person_id
        assignment.opens_at = assignment.opens_at or now
        verbs.touch(assignment, now)
        closes = local_times.in_words(assignment.closes_at, group.time_zone)
        verbs.tell_students(session, assignment, f"Homework: {assignment.title}. Closes {closes}.", now)
        session.flush()
        return verbs.view_in(session, assignment, group, now=now)

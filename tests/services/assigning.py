"""What an instructor does with an assignment, as tests do it: look, preview, release; and what is stored then."""

from __future__ import annotations

import sqlalchemy as sa

from quizsvc.services import assignment_preview, assignment_release, assignments
from quizsvc.store.tables import AssignmentPlace, Item, Question

__all__ = ["drawn", "placed", "preview", "release", "update_item", "view"]


def view(db, clock, teacher, assignment_id):
    """The assignment as its instructor sees it."""
    return assignments.view(db, teacher, assignment_id, now=clock())


def preview(db, clock, rng, teacher, assignment_id):
    """Draw everybody's questions; returns what each student gets as {person: [(place, item, drawn)]}."""
    assignment_preview.draw_all(db, teacher, assignment_id, now=clock(), rng=rng)
    return drawn(db)


def drawn(db):
    """What has been drawn."""
    with db.reading() as session:
        rows = session.scalars(sa.select(Question).where(Question.work_id.is_not(None)).order_by(Question.position))
        found = {}
        for row in rows:
            found.setdefault(row.person_id, []).append((row.place, row.item_id, row.drawn))
        return found


def release(db, clock, teacher, assignment_id):
    """Release it as it is now."""
    version = view(db, clock, teacher, assignment_id).version
    return assignment_release.release(db, teacher, assignment_id, version, now=clock())


def placed(db, assignment_id):
    """The items of an assignment in order."""
    with db.reading() as session:
        return list(
            session.scalars(
                sa.select(AssignmentPlace.item_id)
                .where(AssignmentPlace.assignment_id == assignment_id)
                .order_by(AssignmentPlace.position)
            )
        )


def update_item(db, item_id, **values):
    """Set columns of an item."""
    with db.writing() as session:
        session.execute(sa.update(Item).where(Item.id == item_id).values(**values))

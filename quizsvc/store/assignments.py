"""Assignments, their places, and the common numbers of each try."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session

from quizsvc.store.session import touched
from quizsvc.store.tables import Assignment, AssignmentPlace, CommonDraw, Revision, Work


def by_id(session: Session, assignment_id: int) -> Assignment | None:
    """An assignment, or None."""
    return session.get(Assignment, assignment_id)


def lock(session: Session, assignment_id: int) -> Assignment | None:
    """An assignment as it stands, locked until the unit of work ends; after a learner's row where both are locked."""
    return session.scalars(
        sa.select(Assignment)
        .where(Assignment.id == assignment_id)
        .with_for_update()
        .execution_options(populate_existing=True)
    ).one_or_none()


def unsummed(session: Session) -> list[int]:
    """Assignments that were released and whose summary is not fixed, by number."""
    return list(
        session.scalars(
            sa.select(Assignment.id)
            .where(Assignment.summed_at.is_(None), Assignment.state != "draft")
            .order_by(Assignment.id)
        )
    )


def places(session: Session, assignment_id: int) -> list[Row]:
    """Position, item, revision and whether it draws numbers, of each place in order."""
    return list(
        session.execute(
            sa.select(
                AssignmentPlace.position,
                AssignmentPlace.item_id,
                AssignmentPlace.revision_id,
                Revision.generated,
            )
            .join(Revision, Revision.id == AssignmentPlace.revision_id)
            .where(AssignmentPlace.assignment_id == assignment_id)
            .order_by(AssignmentPlace.position)
        )
    )


def common(session: Session, assignment_id: int, number: int) -> dict[int, list[dict[str, Any]]]:
    """The common drafts of a try by place; empty before the first person draws it."""
    rows = session.execute(
        sa.select(CommonDraw.position, CommonDraw.drafts).where(
            CommonDraw.assignment_id == assignment_id, CommonDraw.number == number
        )
    )
    return {row.position: row.drafts for row in rows}


def common_keys(session: Session, assignment_id: int) -> set[str]:
    """The draw keys of every try's common numbers."""
    rows = session.scalars(sa.select(CommonDraw.drafts).where(CommonDraw.assignment_id == assignment_id))
    return {draft["draw_key"] for drafts in rows for draft in drafts}


def add_common(session: Session, assignment_id: int, number: int, drafts: dict[int, list[dict[str, Any]]]) -> None:
    """Keep the common drafts of a try."""
    session.add_all(
        CommonDraw(assignment_id=assignment_id, position=position, number=number, drafts=ones)
        for position, ones in drafts.items()
    )
    session.flush()


def set_places(session: Session, assignment_id: int, placed: Sequence[tuple[str, int]]) -> None:
    """Give an assignment exactly these items and revisions, in this order."""
    session.execute(sa.delete(AssignmentPlace).where(AssignmentPlace.assignment_id == assignment_id))
    session.add_all(
        AssignmentPlace(assignment_id=assignment_id, position=position, item_id=item_id, revision_id=revision_id)
        for position, (item_id, revision_id) in enumerate(placed, 1)
    )
    session.flush()


@dataclass(frozen=True)
class Counts:
    """How many people have a work, have begun one, have handed one in."""

    drawn: int
    begun: int
    handed_in: int


def counts(session: Session, assignment_id: int) -> Counts:
    """Who has got how far, in numbers."""

    def people(*where: Any) -> Any:
        return sa.func.count(sa.distinct(Work.person_id)).filter(*where)

    row = session.execute(
        sa.select(
            sa.func.count(sa.distinct(Work.person_id)),
            people(Work.begun_at.is_not(None)),
            people(Work.handed_in_at.is_not(None)),
        ).where(Work.assignment_id == assignment_id)
    ).one()
    return Counts(row[0], row[1], row[2])


def forget_draws(session: Session, assignment_id: int) -> int:
    """Forget what was drawn for people who have not begun, and the common numbers; returns how many works went.

    Only for an assignment that nobody has begun: the common numbers of a work that is under way must stay.
    """
    gone = touched(session, sa.delete(Work).where(Work.assignment_id == assignment_id, Work.begun_at.is_(None)))
    session.execute(sa.delete(CommonDraw).where(CommonDraw.assignment_id == assignment_id))
    return gone

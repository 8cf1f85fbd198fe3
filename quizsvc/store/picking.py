"""What an assignment can be made of: live items with their concepts, and which of them a group has met."""

from __future__ import annotations

from collections.abc import Collection

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session

from quizsvc.store.tables import Answer, AssignmentPlace, Concept, Item, Membership, Question, Revision, Squawk

_DISPUTED = sa.exists().where(
    Squawk.item_id == Item.id, Squawk.revision_id == Item.revision_id, Squawk.status == "open"
)


def pickable(session: Session, folders: Collection[str], without_kinds: Collection[str]) -> list[Row]:
    """Live items of some folders that nobody disputes, in the order of their concepts."""
    return list(
        session.execute(
            sa.select(
                Item.id,
                Item.source,
                Item.homework_only,
                Revision.id.label("revision_id"),
                Revision.hash,
                Revision.kind,
                Revision.seconds,
                Revision.generated,
                Concept.id.label("concept_id"),
                Concept.title.label("concept_title"),
                Concept.system,
            )
            .select_from(Item)
            .join(Revision, Revision.id == Item.revision_id)
            .join(Concept, Concept.id == Revision.concept_id)
            .where(
                Item.status == "live",
                Item.withdrawn_at.is_(None),
                Revision.folder.in_(folders),
                Revision.kind.not_in(without_kinds),
                Concept.active,
                ~_DISPUTED,
            )
            .order_by(Concept.folder.desc(), Concept.position, Item.id)
        )
    )


def bodies(session: Session, revision_ids: Collection[int]) -> dict[int, str]:
    """The texts of some revisions."""
    rows = session.execute(sa.select(Revision.id, Revision.body).where(Revision.id.in_(revision_ids)))
    return {row.id: row.body for row in rows}


def practised(session: Session, group_id: int) -> set[str]:
    """Items that a student of the group has answered with feedback: their keys are open to the group."""
    return set(
        session.scalars(
            sa.select(Question.item_id)
            .distinct()
            .join(Answer, Answer.question_id == Question.id)
            .join(Membership, Membership.person_id == Answer.person_id)
            .where(
                Membership.group_id == group_id,
                Membership.part == "student",
                Membership.state == "in",
                sa.not_(Question.sealed),
            )
        )
    )


def placed(session: Session, assignment_id: int) -> list[Row]:
    """The places of an assignment in order, with what has become of their items since they were picked."""
    return list(
        session.execute(
            sa.select(
                AssignmentPlace.position,
                AssignmentPlace.item_id.label("id"),
                AssignmentPlace.revision_id,
                Item.revision_id.label("revision_in_use"),
                Item.status,
                Item.source,
                Item.homework_only,
                Item.withdrawn_at,
                _DISPUTED.label("disputed"),
                Revision.hash,
                Revision.kind,
                Revision.seconds,
                Revision.generated,
                Concept.id.label("concept_id"),
                Concept.title.label("concept_title"),
                Concept.system,
            )
            .select_from(AssignmentPlace)
            .join(Item, Item.id == AssignmentPlace.item_id)
            .join(Revision, Revision.id == AssignmentPlace.revision_id)
            .join(Concept, Concept.id == Revision.concept_id)
            .where(AssignmentPlace.assignment_id == assignment_id)
            .order_by(AssignmentPlace.position)
        )
    )

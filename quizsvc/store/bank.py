"""The bank as loaded: what can be asked, what can be read."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session, defer

from quizsvc.store.session import touched
from quizsvc.store.tables import (
    Aircraft,
    AircraftText,
    Answer,
    BankLoad,
    Caution,
    Concept,
    HandbookSection,
    Item,
    Question,
    Revision,
)


def newest_load(session: Session) -> BankLoad | None:
    """The last load, or None."""
    return session.scalars(sa.select(BankLoad).order_by(BankLoad.id.desc()).limit(1)).one_or_none()


def aircraft_list(session: Session) -> list[tuple[str, str]]:
    """Key and name of each aircraft, in the order of their loading."""
    rows = session.execute(sa.select(Aircraft.key, Aircraft.name).order_by(Aircraft.position, Aircraft.key))
    return [(row.key, row.name) for row in rows]


def aircraft(session: Session, key: str) -> Aircraft | None:
    """An aircraft, or None."""
    return session.get(Aircraft, key)


def aircraft_text(session: Session, text_hash: str) -> str:
    """The aircraft description of a hash that a revision names; there always is one."""
    return session.get_one(AircraftText, text_hash).body


def active_concepts(session: Session, folders: list[str]) -> list[Concept]:
    """The concepts of some folders that have a live item, in the order of their files."""
    live = sa.exists().where(Item.concept_id == Concept.id, Item.status == "live", Item.withdrawn_at.is_(None))
    return list(
        session.scalars(
            sa.select(Concept)
            .where(Concept.active, Concept.folder.in_(folders), live)
            .order_by(Concept.folder, Concept.position)
        )
    )


# Items that practice may ask.
IN_PRACTICE = (Item.status == "live", Item.withdrawn_at.is_(None), sa.not_(Item.homework_only))


def askable(session: Session, folders: list[str]) -> list[Row]:
    """Items that practice may ask, with what planning needs of their revision."""
    return list(
        session.execute(
            sa.select(
                Item.id,
                Revision.id.label("revision_id"),
                Revision.hash,
                Revision.concept_id,
                Revision.kind,
                Revision.seconds,
                Revision.ramp,
                Revision.generated,
            )
            .select_from(Item)
            .join(Revision, Revision.id == Item.revision_id)
            .where(*IN_PRACTICE, Revision.folder.in_(folders))
            .order_by(Item.id)
        )
    )


def live_bodies(session: Session, folder: str) -> list[Row]:
    """Hash, text and concept of the items of a folder that may be asked, in the order of their ids."""
    return list(
        session.execute(
            sa.select(Revision.hash, Revision.body, Revision.concept_id)
            .select_from(Item)
            .join(Revision, Revision.id == Item.revision_id)
            .where(*IN_PRACTICE, Revision.folder == folder)
            .order_by(Item.id)
        )
    )


def asked(session: Session, person_id: int) -> dict[str, tuple[datetime, int]]:
    """By item: when a person answered it last, and how often; homework counts once its feedback is released."""
    rows = session.execute(
        sa.select(Question.item_id, sa.func.max(Answer.effective_at), sa.func.count())
        .join(Answer, Answer.question_id == Question.id)
        .where(Answer.person_id == person_id, sa.not_(Answer.again), sa.not_(Question.sealed))
        .group_by(Question.item_id)
    )
    return {item: (last, count) for item, last, count in rows}


def revision(session: Session, revision_id: int) -> Revision:
    """A revision that a question or an item names; there always is one."""
    return session.get_one(Revision, revision_id)


def item(session: Session, item_id: str) -> Item | None:
    """An item, or None."""
    return session.get(Item, item_id)


def items(session: Session) -> list[Item]:
    """All items of all sources."""
    return list(session.scalars(sa.select(Item)))


def all_revisions(session: Session) -> dict[str, dict[str, Revision]]:
    """Every revision, by item and hash."""
    found: dict[str, dict[str, Revision]] = {}
    for row in session.scalars(sa.select(Revision).options(defer(Revision.body))):
        found.setdefault(row.item_id, {})[row.hash] = row
    return found


def revisions_of(session: Session, item_id: str) -> list[Revision]:
    """Every revision of an item, without their texts."""
    return list(session.scalars(sa.select(Revision).options(defer(Revision.body)).where(Revision.item_id == item_id)))


def live_count(session: Session) -> int:
    """How many items may be asked."""
    return session.scalar(sa.select(sa.func.count()).where(Item.status == "live", Item.withdrawn_at.is_(None))) or 0


def lock_loading(session: Session) -> None:
    """Let loads of a bank pass one after another."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(sa.select(sa.func.pg_advisory_xact_lock(7183045202)))


def all_concepts(session: Session) -> dict[str, Concept]:
    """Every concept by id, active or not."""
    return {concept.id: concept for concept in session.scalars(sa.select(Concept))}


def all_aircraft(session: Session) -> dict[str, Aircraft]:
    """Every aircraft by key."""
    return {found.key: found for found in session.scalars(sa.select(Aircraft))}


def all_sections(session: Session) -> dict[tuple[str, str], HandbookSection]:
    """Every handbook section by folder and id."""
    return {(found.folder, found.id): found for found in session.scalars(sa.select(HandbookSection))}


def all_cautions(session: Session) -> dict[str, Caution]:
    """Every caution by id, in the order of its file."""
    return {found.id: found for found in session.scalars(sa.select(Caution).order_by(Caution.position, Caution.id))}


def sections(session: Session, folder: str) -> list[Row]:
    """Id and title of a handbook's sections, in order."""
    return list(
        session.execute(
            sa.select(HandbookSection.id, HandbookSection.title)
            .where(HandbookSection.folder == folder)
            .order_by(HandbookSection.position, HandbookSection.id)
        )
    )


def section(session: Session, folder: str, section_id: str) -> HandbookSection | None:
    """A handbook section, or None."""
    return session.get(HandbookSection, (folder, section_id))


def concepts_of_section(session: Session, folder: str, section_id: str) -> list[Row]:
    """Id, title, own section and number of live items of the concepts that a section teaches, in their files' order.

    Those whose own section it is, and those of live items that cite it.
    """
    in_use = (Item.status == "live", Item.withdrawn_at.is_(None))
    citing = (
        sa.select(Item.concept_id)
        .join(Revision, Revision.id == Item.revision_id)
        .where(*in_use, Revision.folder == folder, Revision.handbook == section_id)
    )
    counted = (
        sa.select(sa.func.count()).where(Item.concept_id == Concept.id, *in_use).correlate(Concept).scalar_subquery()
    )
    own = sa.and_(Concept.folder == folder, Concept.handbook == section_id)
    return list(
        session.execute(
            sa.select(Concept.id, Concept.title, Concept.folder, Concept.handbook, counted.label("items"))
            .where(Concept.active, sa.or_(own, Concept.id.in_(citing)))
            .order_by(sa.case((own, 0), else_=1), Concept.folder, Concept.position)
        )
    )


def consequence(session: Session, concept_id: str) -> int:
    """How much a concept matters, 1 to 3."""
    return session.scalar(sa.select(Concept.consequence).where(Concept.id == concept_id)) or 1


def withdraw(session: Session, item_id: str, revision_id: int, *, by: str, at: datetime) -> bool:
    """Take a revision out of use, and its item where that is the revision in use; False where it was out already."""
    session.execute(
        sa.update(Revision).where(Revision.id == revision_id, Revision.withdrawn_at.is_(None)).values(withdrawn_at=at)
    )
    return (
        touched(
            session,
            sa.update(Item)
            .where(Item.id == item_id, Item.revision_id == revision_id, Item.withdrawn_at.is_(None))
            .values(withdrawn_at=at, withdrawn_by=by),
        )
        == 1
    )


def bring_back(session: Session, item_id: str, revision_id: int) -> None:
    """Take an item that a squawk had withdrawn into use again, with the same revision."""
    session.execute(sa.update(Revision).where(Revision.id == revision_id).values(withdrawn_at=None))
    session.execute(
        sa.update(Item)
        .where(Item.id == item_id, Item.revision_id == revision_id, Item.withdrawn_by == "squawk")
        .values(withdrawn_at=None, withdrawn_by=None)
    )

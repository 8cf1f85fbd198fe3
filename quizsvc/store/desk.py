"""The bank desk: a school's own items as text, and the revisions of handbooks."""

from __future__ import annotations

from collections.abc import Collection

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session

from quizsvc.store.tables import Concept, DeskItem, DeskStep, HandbookRevision, Item, Person, Revision


def by_id(session: Session, item_id: str, *, lock: bool = False) -> DeskItem | None:
    """A school's item, or None; locked until the unit of work ends where it is going to be changed."""
    statement = sa.select(DeskItem).where(DeskItem.id == item_id)
    return session.scalars(statement.with_for_update() if lock else statement).one_or_none()


def all_texts(session: Session) -> list[DeskItem]:
    """Every text, in the order of folder and id."""
    return list(session.scalars(sa.select(DeskItem).order_by(DeskItem.folder, DeskItem.id)))


def of_author(session: Session, author_id: int) -> list[DeskItem]:
    """What one person wrote, and what was written by people who have left, in the order of folder and id."""
    return list(
        session.scalars(
            sa.select(DeskItem)
            .outerjoin(Person, Person.id == DeskItem.author_id)
            .where(sa.or_(DeskItem.author_id == author_id, Person.name.is_(None)))
            .order_by(DeskItem.folder, DeskItem.id)
        )
    )


def written_by(session: Session, author_id: int) -> list[DeskItem]:
    """What one person wrote, and nothing else, in the order of folder and id."""
    statement = sa.select(DeskItem).where(DeskItem.author_id == author_id)
    return list(session.scalars(statement.order_by(DeskItem.folder, DeskItem.id)))


def steps(session: Session, item_ids: list[str]) -> list[Row]:
    """What was done with these texts, the newest first: id, item, what, words, version, when, and by whose name."""
    return list(
        session.execute(
            sa.select(
                DeskStep.id,
                DeskStep.item_id,
                DeskStep.what,
                DeskStep.text,
                DeskStep.version,
                DeskStep.by,
                DeskStep.at,
                Person.name,
            )
            .outerjoin(Person, Person.id == DeskStep.by)
            .where(DeskStep.item_id.in_(item_ids))
            .order_by(DeskStep.id.desc())
        )
    )


def delete(session: Session, found: DeskItem) -> None:
    """Delete a text with its history."""
    session.execute(sa.delete(DeskStep).where(DeskStep.item_id == found.id))
    session.delete(found)


def ids(session: Session) -> set[str]:
    """The ids of all items that are kept at the desk."""
    return set(session.scalars(sa.select(DeskItem.id)))


def in_use(session: Session, item_ids: list[str]) -> dict[str, Row]:
    """By id, of those that have been live: source, number of the revision, what withdrew it, whether homework only."""
    rows = session.execute(
        sa.select(Item.id, Item.source, Revision.number, Item.withdrawn_by, Item.homework_only)
        .join(Revision, Revision.id == Item.revision_id)
        .where(Item.id.in_(item_ids))
    )
    return {row.id: row for row in rows}


def folders(session: Session) -> list[str]:
    """The folders that have concepts, `general` first."""
    found = session.scalars(sa.select(Concept.folder).where(Concept.active).distinct())
    return sorted(found, key=lambda folder: (folder != "general", folder))


def citing(session: Session, folder: str) -> list[Row]:
    """Items of a folder that are in use or wait to be read again, with section and text of their revision."""
    return list(
        session.execute(
            sa.select(Item.id, Item.revision_id, Revision.handbook, Revision.kind, Revision.body)
            .join(Revision, Revision.id == Item.revision_id)
            .where(
                Revision.folder == folder,
                Item.status != "withdrawn",
                sa.or_(Item.withdrawn_at.is_(None), Item.withdrawn_by == "handbook"),
            )
            .order_by(Item.id)
        )
    )


def handbook_revisions(session: Session) -> list[HandbookRevision]:
    """All of them, the newest first."""
    return list(session.scalars(sa.select(HandbookRevision).order_by(HandbookRevision.id.desc())))


def handbook_revision(session: Session, revision_id: int) -> HandbookRevision | None:
    """One, or None."""
    return session.get(HandbookRevision, revision_id)


def withdrawn_revisions(session: Session, revision_ids: Collection[int]) -> list[Row]:
    """Of these revisions those that are out of use: id, item, folder, since when, and their aircraft's text."""
    return list(
        session.execute(
            sa.select(
                Revision.id, Revision.item_id, Revision.folder, Revision.withdrawn_at, Revision.aircraft_hash
            ).where(Revision.id.in_(revision_ids), Revision.withdrawn_at.is_not(None))
        )
    )


def read_again(session: Session, item_id: str) -> bool:
    """Take an item that a handbook's revision had withdrawn into use again; False where it was not withdrawn by one."""
    row = session.scalars(
        sa.select(Item).where(Item.id == item_id, Item.withdrawn_by == "handbook").with_for_update()
    ).one_or_none()
    if row is None:
        return False
    row.withdrawn_at = row.withdrawn_by = None
    session.execute(sa.update(Revision).where(Revision.id == row.revision_id).values(withdrawn_at=None))
    return True


def withdraw_for_good(session: Session, item_id: str) -> None:
    """Say of an item that is out of use already that its own text was withdrawn: it comes back with a released text."""
    session.execute(sa.update(Item).where(Item.id == item_id).values(withdrawn_by="bank"))


def set_homework_only(session: Session, item_id: str, homework_only: bool) -> None:
    """Say whether practice may ask an item."""
    session.execute(sa.update(Item).where(Item.id == item_id).values(homework_only=homework_only))


def in_use_with_text(session: Session, item_ids: list[str]) -> dict[str, Row]:
    """By id: text of the revision in use as JSON, the section it cites, and by what the item is withdrawn."""
    rows = session.execute(
        sa.select(Item.id, Revision.body, Revision.handbook, Item.withdrawn_by)
        .join(Revision, Revision.id == Item.revision_id)
        .where(Item.id.in_(item_ids))
    )
    return {row.id: row for row in rows}

"""What can be read: handbooks and cautions."""

from __future__ import annotations

from typing import Any

from quizsvc.services import edge, handbook_figures
from quizsvc.services.views import HandbookView, SectionView, TaughtConcept
from quizsvc.store import bank
from quizsvc.store.session import Database


def aircraft_list(db: Database) -> tuple[tuple[str, str], ...]:
    """Key and name of each aircraft of the bank."""
    with db.reading() as session:
        return tuple(bank.aircraft_list(session))


def handbook(db: Database, aircraft: str) -> HandbookView:
    """The contents of an aircraft's handbook.

    Raises
    ------
    NotFoundError
        The bank has no such aircraft.
    """
    with db.reading() as session:
        found = bank.aircraft(session, _word(aircraft))
        if found is None:
            raise edge.not_found("handbook")
        sections = tuple((row.id, row.title) for row in bank.sections(session, found.key))
        return HandbookView(aircraft=found.key, name=found.name, sections=sections)


def section(db: Database, aircraft: str, section_id: str) -> SectionView:
    """One section of a handbook, with its figures, the concepts it teaches and its neighbours.

    Raises
    ------
    NotFoundError
        There is no such section.
    """
    with db.reading() as session:
        found = bank.section(session, _word(aircraft), _word(section_id))
        if found is None:
            raise edge.not_found("section")
        ids = [row.id for row in bank.sections(session, found.folder)]
        place = ids.index(found.id)
        return SectionView(
            aircraft=found.folder,
            id=found.id,
            title=found.title,
            body=found.body,
            concepts=tuple(
                TaughtConcept(
                    row.id,
                    row.title,
                    row.items,
                    row.handbook if row.folder == found.folder and row.handbook != found.id else None,
                )
                for row in bank.concepts_of_section(session, found.folder, found.id)
            ),
            figures=handbook_figures.of_section(session, found.folder, found.body),
            previous=ids[place - 1] if place else None,
            next=ids[place + 1] if place + 1 < len(ids) else None,
        )


def cautions(db: Database) -> dict[str, str]:
    """The cautions' texts by id, in the order of their file."""
    with db.reading() as session:
        return {key: found.text for key, found in bank.all_cautions(session).items()}


def _word(value: Any) -> str:
    """A key that can exist in a column; anything else is not found."""
    if isinstance(value, str) and 0 < len(value) <= 100 and value.isprintable():
        return value
    raise edge.not_found("section")

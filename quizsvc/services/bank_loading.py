"""Storing a checked bank inside the loader's unit of work: rows of other sources are never touched."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from quizsvc.bank.check import CheckedBank, CheckedItem, canonical_json
from quizsvc.errors import InputError
from quizsvc.store import bank, desk
from quizsvc.store.session import Session
from quizsvc.store.tables import (
    Aircraft,
    AircraftText,
    BankLoad,
    Caution,
    Concept,
    HandbookSection,
    Item,
    Revision,
)

# The source of the bank that comes with the service.
_SHIPPED = "shipped"


@dataclass
class Done:
    """What a load did; `moved` are items that went out of use or came back."""

    new: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    unchanged: int = 0
    withdrawn: list[str] = field(default_factory=list)
    moved: list[str] = field(default_factory=list)


def store(session: Session, checked: CheckedBank, *, source: str, content_hash: str, now: datetime) -> Done:
    """Store a bank without faults.

    Raises
    ------
    InputError
        An id of the bank belongs to another source.
    """
    texts = _store_aircraft(session, checked, source)
    _store_concepts(session, checked, source)
    _store_reading(session, checked, source)
    session.flush()
    done = _store_items(session, checked, source, texts, now)
    session.add(
        BankLoad(
            source=source,
            loaded_at=now,
            new=len(done.new),
            changed=len(done.changed),
            unchanged=done.unchanged,
            withdrawn=len(done.withdrawn),
            content_hash=content_hash,
        )
    )
    return done


def _own(kind: str, key: str, row: Any, source: str, mend: str = "give it another id") -> None:
    """Refuse a row that another source brought."""
    if row is not None and row.source != source:
        raise InputError(
            "bank-other-source",
            f"{kind} '{key}' belongs to the bank '{row.source}'",
            where=f"{kind} '{key}'",
            mend=mend,
        )


def _store_aircraft(session: Session, checked: CheckedBank, source: str) -> dict[str, str]:
    """Store the aircraft; returns the hash of each one's description by folder."""
    stored = bank.all_aircraft(session)
    last = max((row.position for row in stored.values()), default=0)
    texts = {}
    for key, aircraft in checked.aircraft.items():
        body = canonical_json(aircraft.canonical())
        texts[key] = text_hash = hashlib.sha256(body.encode()).hexdigest()
        if session.get(AircraftText, text_hash) is None:
            session.add(AircraftText(hash=text_hash, body=body))
        row = stored.get(key)
        _own("aircraft", key, row, source)
        if row is None:
            last += 1
            row = Aircraft(key=key, source=source, position=last)
            session.add(row)
        row.name, row.hash, row.body = aircraft.name, text_hash, body
    _delete_gone(session, stored, source, texts)
    return texts


def _store_concepts(session: Session, checked: CheckedBank, source: str) -> None:
    stored = bank.all_concepts(session)
    for position, concept in enumerate(checked.concepts):
        row = stored.get(concept.id)
        _own("concept", concept.id, row, source)
        if row is None:
            row = Concept(id=concept.id, source=source)
            session.add(row)
        row.folder, row.title, row.system = concept.folder, concept.title, concept.system
        row.handbook, row.what, row.first = concept.handbook, list(concept.what), list(concept.first)
        row.consequence, row.position, row.active = concept.consequence, position, True
    # A concept that has gone stays, because answers hang on it; it is only not asked any more.
    here = {concept.id for concept in checked.concepts}
    for key, row in stored.items():
        if row.source == source and key not in here:
            row.active = False


def _store_reading(session: Session, checked: CheckedBank, source: str) -> None:
    """Store handbook sections and cautions."""
    sections = bank.all_sections(session)
    for section in checked.sections:
        key = (section.folder, section.id)
        row = sections.get(key)
        _own("handbook section", " ".join(key), row, source)
        if row is None:
            row = HandbookSection(folder=section.folder, id=section.id, source=source)
            session.add(row)
        row.title, row.body, row.position = section.title, section.body, section.position
    _delete_gone(session, sections, source, {(section.folder, section.id) for section in checked.sections})

    cautions = bank.all_cautions(session)
    for position, caution in enumerate(checked.cautions):
        kept = cautions.get(caution.id)
        if kept is not None and kept.source != source and kept.text == caution.text:
            # A bank beside another owes the same cautions. The shipped bank keeps them: what a school takes out of its
            # own files must not take them from the other's items.
            if source != _SHIPPED:
                continue
            kept.source = source
        _own("caution", caution.id, kept, source, mend="word it as there, or give it another id")
        if kept is None:
            kept = Caution(id=caution.id, source=source)
            session.add(kept)
        kept.text, kept.where_owed, kept.position = caution.text, caution.where, position
    _delete_gone(session, cautions, source, {caution.id for caution in checked.cautions})


def _delete_gone(session: Session, stored: Mapping[Any, Any], source: str, here: Iterable[Any]) -> None:
    here = set(here)
    for key, row in stored.items():
        if row.source == source and key not in here:
            session.delete(row)


def _store_items(session: Session, checked: CheckedBank, source: str, texts: Mapping[str, str], now: datetime) -> Done:
    done = Done()
    stored = {row.id: row for row in bank.items(session)}
    revisions = bank.all_revisions(session)
    for item in checked.items:
        hashed = texts.get(item.folder) if item.uses_aircraft else None
        known = revisions.get(item.id, {})
        _store_item(session, item, stored.get(item.id), known, source, hashed, now, done)
    # What is kept as text at the bank desk is in no file, and no load of files takes it away.
    here = {item.id for item in checked.items} | desk.ids(session)
    for key, row in stored.items():
        if row.source == source and key not in here and row.withdrawn_by != "bank":
            if row.withdrawn_at is None:
                bank.withdraw(session, key, row.revision_id, by="bank", at=now)
                done.moved.append(key)
            else:
                row.withdrawn_by = "bank"
            done.withdrawn.append(key)
    return done


def store_item(session: Session, item: CheckedItem, *, source: str, aircraft_hash: str | None, now: datetime) -> Done:
    """Store one item without faults; everything else stays as it is.

    Raises
    ------
    InputError
        The id belongs to another source.
    """
    done = Done()
    known = {revision.hash: revision for revision in bank.revisions_of(session, item.id)}
    _store_item(session, item, bank.item(session, item.id), known, source, aircraft_hash, now, done)
    return done


def _store_item(
    session: Session,
    item: CheckedItem,
    row: Item | None,
    known: Mapping[str, Revision],
    source: str,
    aircraft_hash: str | None,
    now: datetime,
    done: Done,
) -> None:
    _own("item", item.id, row, source)
    revision = known.get(item.hash)
    if row is None:
        row = Item(id=item.id, source=source, concept_id=item.concept, status=item.status, revision_id=0)
        session.add(row)
        session.flush()
        done.new.append(item.id)
    if revision is None:
        revision = _revision(item, number=len(known) + 1, aircraft_hash=aircraft_hash, now=now)
        session.add(revision)
        session.flush()
    if row.revision_id != revision.id:
        if row.revision_id:
            done.changed.append(item.id)
    elif _counts_as_changed(row, item):
        done.changed.append(item.id)
    else:
        done.unchanged += 1
    _move(session, row, revision, item.status, now, done)
    row.concept_id, row.status = item.concept, item.status


def _counts_as_changed(row: Item, item: Any) -> bool:
    """Whether an item with the same text has another status now, or comes back into the files."""
    return row.status != item.status or (row.withdrawn_by == "bank" and item.status != "withdrawn")


def _move(session: Session, row: Item, revision: Revision, status: str, now: datetime, done: Done) -> None:
    """Take the item out of use or back into it, and make the revision the one in use.

    One withdrawn by a squawk comes back with another text only: that one was read again (`read-by`), the old one not.
    """
    changed = row.revision_id != revision.id
    if changed:
        row.revision_id = revision.id
    if status == "withdrawn":
        if row.withdrawn_at is None:
            row.withdrawn_at, row.withdrawn_by = now, "bank"
            revision.withdrawn_at = revision.withdrawn_at or now
            done.withdrawn.append(row.id)
            done.moved.append(row.id)
        return
    if row.withdrawn_at is not None and (row.withdrawn_by == "bank" or (changed and revision.withdrawn_at is None)):
        by_bank = row.withdrawn_by == "bank"
        row.withdrawn_at = row.withdrawn_by = None
        if by_bank:
            revision.withdrawn_at = None
        done.moved.append(row.id)


def _revision(item: Any, *, number: int, aircraft_hash: str | None, now: datetime) -> Revision:
    return Revision(
        item_id=item.id,
        number=number,
        hash=item.hash,
        kind=item.kind,
        folder=item.folder,
        concept_id=item.concept,
        seconds=item.seconds,
        ramp=item.ramp,
        generated=bool(item.body["draw"]),
        handbook=item.body["handbook"],
        aircraft_hash=aircraft_hash,
        body=canonical_json(item.body),
        loaded_at=now,
    )

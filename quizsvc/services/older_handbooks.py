"""Caution C3: which texts cite a section that a newer revision of their handbook has changed, and has been loaded."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Mapping
from typing import Any

from quizsvc.services.views import CitesOlder
from quizsvc.store import bank, desk
from quizsvc.store.session import Database, Session

__all__ = ["of_item", "of_revisions", "of_row", "of_text"]

_MANUAL = re.compile(r"^(?P<manual>.+?),? +rev(?:ision|\.)? +(?P<number>\S.*)$", re.IGNORECASE)
_NUMBER = re.compile(r"^rev(?:ision|\.)? +(?=\S)", re.IGNORECASE)


def of_row(session: Session, row: Any) -> CitesOlder | None:
    """What a question's row owes; it has `revision_id` and `withdrawn_at` of the revision that was asked."""
    if row.withdrawn_at is None:
        return None
    return of_revisions(session, [row.revision_id]).get(row.revision_id)


def of_item(session: Session, item_id: str) -> CitesOlder | None:
    """What the text in use of an item owes."""
    item = bank.item(session, item_id)
    return of_revisions(session, [item.revision_id]).get(item.revision_id) if item is not None else None


def of_text(db: Database, item_id: str, text_hash: str) -> CitesOlder | None:
    """What a text of a file owes, which may be loaded as it stands there: known by item and hash."""
    with db.reading() as session:
        same = next((one for one in bank.revisions_of(session, item_id) if one.hash == text_hash), None)
        return of_revisions(session, [same.id]).get(same.id) if same is not None else None


def of_revisions(session: Session, revision_ids: Collection[int]) -> Mapping[int, CitesOlder]:
    """By revision, of those that a handbook's revision took out of use until they are read again.

    A text withdrawn for another reason owes nothing here: its handbook still says what it says. The revision that it
    cites is the one before that which withdrew it; before the first it is what the aircraft's file names.
    """
    out = desk.withdrawn_revisions(session, revision_ids)
    if not out:
        return {}
    books: dict[str, list[Any]] = {}
    for book in reversed(desk.handbook_revisions(session)):
        books.setdefault(book.folder, []).append(book)
    found = {}
    for row in out:
        of_folder = books.get(row.folder, [])
        # Both times are of one unit of work. A second handbook's revision leaves the time of the first.
        place = next(
            (
                number
                for number, book in enumerate(of_folder)
                if book.made_at == row.withdrawn_at and row.item_id in book.items
            ),
            None,
        )
        if place is None:
            continue
        manual, cited = _named(session, row.folder, row.aircraft_hash)
        if place:
            cited = _number(of_folder[place - 1].name)
        found[row.id] = CitesOlder(manual, cited, _number(of_folder[-1].name))
    return found


def _named(session: Session, folder: str, aircraft_hash: str | None) -> tuple[str, str]:
    """The manual's name and the number of its revision, as the aircraft's file has them in one line."""
    aircraft = bank.aircraft(session, folder)
    if aircraft is None:
        return f"handbook of {folder}", "not named"
    body = bank.aircraft_text(session, aircraft_hash) if aircraft_hash is not None else aircraft.body
    named = str(json.loads(body)["aircraft"]["handbook"])
    match = _MANUAL.match(named)
    return (match["manual"], match["number"]) if match else (named, "not named")


def _number(name: str) -> str:
    """A revision's name without the word that the caution has already."""
    return _NUMBER.sub("", name)

"""Compiled revisions, kept by hash: a worker compiles each once from the stored JSON."""

from __future__ import annotations

import json
from collections import OrderedDict
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from threading import Lock
from typing import Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.bank.question import compile_item, variants
from quizsvc.store import bank
from quizsvc.store.session import Database, Session

_MOST = 4096
MANY = 30
"""So many different draws are enough for one a day in the time in which none should come twice."""


@dataclass(frozen=True)
class Compiled:
    """An item that can be issued and shown, and what its text cites."""

    item: Any
    body: dict[str, Any]
    cite_source: str | None
    cite_read_on: date | None

    @cached_property
    def variants(self) -> int:
        """How many different draws may be asked, counted up to `MANY`."""
        return variants(self.item, MANY)


_items: OrderedDict[str, Compiled] = OrderedDict()
_aircraft: dict[str, Aircraft] = {}
_lock = Lock()


def compiled(db: Database, revision_hash: str, revision_id: int) -> Compiled:
    """The compiled revision; opens a unit of work of its own only where it is not kept yet."""
    kept = _items.get(revision_hash)
    if kept is not None:
        return kept
    with db.reading() as session:
        return compiled_in(session, revision_hash, revision_id)


def compiled_in(session: Session, revision_hash: str, revision_id: int) -> Compiled:
    """The compiled revision, read where need be inside the caller's unit of work."""
    kept = _items.get(revision_hash)
    if kept is None:
        row = bank.revision(session, revision_id)
        body = json.loads(row.body)
        found = aircraft_of(session, row.aircraft_hash) if row.aircraft_hash else None
        source, read_on = _cited(body["cite"])
        kept = Compiled(compile_item(body, found), body, source, read_on)
        with _lock:
            _items[revision_hash] = kept
            while len(_items) > _MOST:
                _items.popitem(last=False)
    return kept


def aircraft_of(session: Session, text_hash: str) -> Aircraft:
    """The aircraft of a description's hash, kept."""
    found = _aircraft.get(text_hash)
    if found is None:
        text = bank.aircraft_text(session, text_hash)
        found = _aircraft[text_hash] = Aircraft.from_canonical(json.loads(text))
    return found


def _cited(cites: list[dict[str, Any]]) -> tuple[str | None, date | None]:
    """All sources, and the oldest reading among them: the caution must not promise more than it."""
    read = sorted(date.fromisoformat(cite["read-on"]) for cite in cites if cite["read-on"])
    return "; ".join(cite["source"] for cite in cites) or None, read[0] if read else None

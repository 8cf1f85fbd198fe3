"""Question banks: checking, loading, looking at an item."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from quizsvc.bank.check import CheckedBank, check_bank
from quizsvc.bank.question import compile_item
from quizsvc.errors import FindingsError, NotFoundError
from quizsvc.services import bank_loading, memory_log
from quizsvc.services.bank_files import read_folder
from quizsvc.services.showing import shown
from quizsvc.services.views import LoadReport
from quizsvc.store import bank
from quizsvc.store.session import Database

__all__ = ["check", "load", "read_folder", "show"]

Progress = Callable[[int, int], None]


def check(path: Path | str, *, rng: Any, progress: Progress | None = None) -> CheckedBank:
    """Check a bank's files; every finding of the whole bank is in the result.

    Raises
    ------
    InputError
        The folder cannot be read at all.
    """
    return check_bank(read_folder(path), rng=rng, progress=progress)


def load(
    db: Database,
    path: Path | str,
    *,
    source: str = "shipped",
    now: datetime,
    rng: Any,
    progress: Progress | None = None,
) -> LoadReport:
    """Check a bank and store it, all of it in one unit of work.

    Touches only what came from the same `source`. An item that is gone from the files is withdrawn, never deleted; a
    changed one gets a new revision, and questions that are out keep the one they were drawn from.

    Raises
    ------
    FindingsError
        The bank has faults; nothing was stored.
    InputError
        An id belongs to another source; nothing was stored.
    """
    texts = read_folder(path)
    checked = check_bank(texts, rng=rng, progress=progress)
    if checked.faults:
        count = len(checked.faults)
        raise FindingsError(
            "bank-faults",
            f"the bank has {count} {'fault' if count == 1 else 'faults'}; nothing was loaded",
            checked.findings,
            mend="mend them, then load again",
        )
    content = hashlib.sha256()
    for text in texts:
        content.update(f"{text.folder}\0{text.name}\0{text.text}\0".encode())
    with db.writing() as session:
        bank.lock_loading(session)
        done = bank_loading.store(session, checked, source=source, content_hash=content.hexdigest(), now=now)
    memory_log.rebuild_who_answered(db, done.moved)
    return LoadReport(
        new=tuple(done.new),
        changed=tuple(done.changed),
        unchanged=done.unchanged,
        withdrawn=tuple(done.withdrawn),
        concepts=len(checked.concepts),
        remarks=len(checked.remarks),
    )


def show(path: Path | str, item_id: str, draws: int, rng: Any) -> dict[str, Any]:
    """An item of a bank's files as a learner gets it, so many times, each with key, traps and working.

    Faults elsewhere in the bank do not matter; those of this item are in `findings`.

    Raises
    ------
    NotFoundError
        The bank has no such item, or its faults leave nothing to show.
    """
    checked = check(path, rng=rng)
    found = next((item for item in checked.items if item.id == item_id), None)
    findings = [finding for finding in checked.findings if finding.item == item_id]
    if found is None:
        raise NotFoundError(
            "item-not-found",
            f"the bank has no item '{item_id}' that could be shown",
            where=str(path),
            mend=f"{findings[0].what} ({findings[0].where})" if findings else "check the spelling: quizsvc bank check",
        )
    aircraft = checked.aircraft.get(found.folder) if found.uses_aircraft else None
    item = compile_item(found.body, aircraft)
    return {
        "item": found.id,
        "kind": found.kind,
        "concept": found.concept,
        "status": found.status,
        "seconds": found.seconds,
        "ramp": found.ramp,
        "revision": found.hash,
        "findings": [f"{finding.severity}: {finding.what} ({finding.where})" for finding in findings],
        "draws": [shown(item, rng) for _ in range(draws)],
    }

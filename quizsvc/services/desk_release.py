"""From draft to read to live at the bank desk: by a second person, a reviewer, never the author."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from quizsvc.errors import ConflictError, FindingsError
from quizsvc.services import bank_loading, desk_history, edge, memory_log
from quizsvc.services.desk_check import DeskCheck
from quizsvc.services.desk_items import REVIEWER, SOURCE, hold_version, left, roles_in, seen
from quizsvc.services.desk_text import stamped
from quizsvc.store import bank, desk
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import AircraftText, DeskItem

__all__ = ["READER", "SOURCE", "read", "release"]

# A role and no name: the text goes out of the service, and outlives the account.
READER = "reviewer of the school"

Check = Callable[[str, str], DeskCheck]


def read(db: Database, by: int, wanted: str, *, version: int, check: Check, now: datetime) -> None:
    """Say that the item has been read and holds.

    Parameters
    ----------
    version : int
        The version that the reviewer had before their eyes.
    check : callable
        Checks a text of a folder: `desk_check.check` with what it needs.

    Raises
    ------
    NotFoundError
        There is none, or the person is no reviewer, or wrote it.
    ConflictError
        It was changed meanwhile, or is no draft any more.
    FindingsError
        The text has faults.
    """
    folder, text = _held(db, by, wanted, version, "draft")
    text = stamped(text, "read", READER)
    _without_faults(check(folder, text))
    with db.writing() as session:
        found = _review(session, by, wanted, version, "draft")
        found.text, found.state, found.read_by, found.read_at = text, "read", by, now
        found.version += 1
        found.changed_at = now
        desk_history.note(session, found, desk_history.READ, by=by, now=now)


def release(
    db: Database, by: int, wanted: str, *, version: int, homework_only: bool, check: Check, now: datetime
) -> None:
    """Put an item that has been read into use beside the shipped bank, or say anew whether practice may ask it.

    Raises
    ------
    NotFoundError
        There is none, or the person is no reviewer, or wrote it.
    ConflictError
        It was changed meanwhile, or has not been read.
    FindingsError
        The text has faults: the bank has changed since it was read.
    InputError
        The bank has an item with this id by now.
    """
    folder, text = _held(db, by, wanted, version, "read", "live")
    text = stamped(text, "live", READER)
    found_now = check(folder, text)
    _without_faults(found_now)
    item = found_now.item
    assert item is not None  # there was no fault
    with db.writing() as session:
        bank.lock_loading(session)
        found = _review(session, by, wanted, version, "read", "live")
        aircraft_hash = item.body["aircraft"]
        if aircraft_hash is not None and session.get(AircraftText, aircraft_hash) is None:
            raise _moved("the aircraft was loaded anew meanwhile")
        done = bank_loading.store_item(session, item, source=SOURCE, aircraft_hash=aircraft_hash, now=now)
        session.flush()
        desk.set_homework_only(session, wanted, homework_only)
        if found.state != "live":
            found.text, found.state, found.live_text = text, "live", text
            found.version += 1
            found.changed_at = now
            desk_history.note(session, found, desk_history.PUT_INTO_USE, by=by, now=now)
    memory_log.rebuild_who_answered(db, done.moved)


def _held(db: Database, by: int, wanted: str, version: int, *states: str) -> tuple[str, str]:
    with db.reading() as session:
        found = _review(session, by, wanted, version, *states, lock=False)
        return found.folder, found.text


def _review(session: Session, by: int, wanted: str, version: int, *states: str, lock: bool = True) -> DeskItem:
    roles = roles_in(session, by, REVIEWER)
    found = seen(session, by, roles, wanted, lock=lock)
    # A text whose author has left could be the reviewer's own under an earlier account: somebody takes it over first.
    if found.author_id == by or left(session, found):
        raise edge.not_found("item")
    hold_version(found, version)
    if found.state not in states:
        raise _moved(f"the item is {found.state} now")
    return found


def _moved(what: str) -> ConflictError:
    return ConflictError("desk-item-moved", what, where="text", mend="load the page again and look at it once more")


def _without_faults(found: DeskCheck) -> None:
    if found.faults or found.item is None:
        count = len(found.faults)
        raise FindingsError(
            "desk-item-faults",
            f"the text has {count} {'fault' if count == 1 else 'faults'}",
            found.findings,
            mend="its author mends them first",
        )

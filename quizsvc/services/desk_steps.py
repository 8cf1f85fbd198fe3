"""A text of the bank desk on its way back: sent back, taken over, deleted, withdrawn, made a draft again."""

from __future__ import annotations

from datetime import datetime

from quizsvc.errors import ConflictError, InputError
from quizsvc.services import desk_history, edge, memory_log, notices
from quizsvc.services.desk_items import AUTHOR, DRAFT, REVIEWER, SOURCE, hold_version, left, own, roles_in, seen
from quizsvc.services.desk_release import READER
from quizsvc.services.desk_text import stamped
from quizsvc.store import bank, desk
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import DeskItem, Item

__all__ = ["LONGEST", "delete", "draft_again", "drop_changes", "send_back", "take_over", "withdraw"]

LONGEST = 2000
"""Characters of what somebody writes beside a text."""


def send_back(db: Database, by: int, wanted: str, *, version: int, words: str, now: datetime) -> None:
    """Give a text back to its author with what is wrong; one that had been read is a draft again.

    Parameters
    ----------
    version : int
        The version that the reader had before their eyes.
    words : str
        What is wrong; the author reads them beside the text and gets a notice.

    Raises
    ------
    NotFoundError
        There is none, or the person is no reviewer, or wrote it, or its author has left.
    InputError
        No words.
    ConflictError
        It was changed meanwhile, or is in use or withdrawn.
    """
    with db.reading() as session:
        _to_read(session, by, wanted)
    words = _words(words, "words", "what is wrong", "say what is wrong, so that the author can mend it")
    with db.writing() as session:
        found = _to_read(session, by, wanted, lock=True)
        last = desk_history.last(session, wanted, desk_history.SENT_BACK)
        if last is not None and (last.by, last.text, last.version) == (by, words, found.version):
            return  # the same form, sent twice
        hold_version(found, version)
        if found.state not in (DRAFT, "read"):
            raise _moved(f"the item is {found.state} now")
        if found.state == "read":
            _make_draft(found, now)
        desk_history.note(session, found, desk_history.SENT_BACK, by=by, text=words, now=now)
        assert found.author_id is not None  # one that nobody has any more is not there to be read
        notices.tell(
            session,
            found.author_id,
            "A reader has sent a text of yours back, with what is wrong in it.",
            path=_path(wanted),
            now=now,
        )


def take_over(db: Database, by: int, wanted: str, *, version: int, now: datetime) -> None:
    """Become the author of a text whose author has left. Whoever had read it then reads their own, so it is a draft.

    Raises
    ------
    NotFoundError
        There is none, or the person is no item author, or its author is still there.
    ConflictError
        It is theirs already, or was changed meanwhile.
    """
    with db.writing() as session:
        roles = roles_in(session, by, AUTHOR)
        found = seen(session, by, roles, wanted, lock=True)
        if found.author_id == by:
            raise _moved("the text is yours already")
        if not left(session, found):
            raise edge.not_found("item")
        hold_version(found, version)
        if found.read_by == by:
            _make_draft(found, now)
        else:
            found.version += 1
            found.changed_at = now
        found.author_id = by
        desk_history.note(session, found, "taken over", by=by, now=now)


def delete(db: Database, by: int, wanted: str, *, version: int) -> None:
    """Delete an own text that has never been in use, with its history.

    Raises
    ------
    NotFoundError
        There is none, or it is not this author's.
    ConflictError
        It has been in use, so that answers may hang on it; or it was changed meanwhile.
    """
    with db.writing() as session:
        bank.lock_loading(session)  # so that nobody puts it into use meanwhile
        found = own(session, by, wanted, lock=True)
        if _in_bank(session, wanted) is not None:
            raise ConflictError(
                "desk-item-used",
                "the item has been in use, and answers may hang on it",
                where="text",
                mend="withdraw it instead; nothing that was answered is lost",
            )
        hold_version(found, version)
        desk.delete(session, found)


def drop_changes(db: Database, by: int, wanted: str, *, version: int, now: datetime) -> None:
    """Put the text that is in use back in place of an own changed one.

    It counts as read by whoever had read it; where that person has left, or is its author by now, it is a draft.

    Raises
    ------
    NotFoundError
        There is none, or it is not this author's.
    ConflictError
        There is no other text to go back to, or it was changed meanwhile.
    """
    with db.writing() as session:
        found = own(session, by, wanted, lock=True)
        hold_version(found, version)
        item = _in_bank(session, wanted)
        if item is None or found.live_text is None or found.state not in (DRAFT, "read"):
            raise _moved("there is no other text to go back to")
        read = desk_history.read_before_use(session, wanted)
        reader = read.by if read is not None and read.by != found.author_id else None
        state = "withdrawn" if item.withdrawn_by == "bank" else "live"
        found.text = stamped(found.live_text, state, READER)
        if reader is None:
            _make_draft(found, now)
        else:
            found.state, found.read_by, found.read_at = state, reader, read.at
            found.version += 1
            found.changed_at = now
        desk_history.note(session, found, "changes dropped", by=by, now=now)


def withdraw(db: Database, by: int, wanted: str, *, version: int, reason: str, now: datetime) -> None:
    """Take a school's item out of use, by its author or a reviewer.

    Answers that were given stay as they were judged. A question of it that is still open counts for nothing, homework
    that was released keeps its revision, and what was learned on it is suspect, as after every withdrawal.

    Parameters
    ----------
    reason : str
        Why; it stays in the text's history.

    Raises
    ------
    NotFoundError
        There is none, or it is neither this author's nor is the person a reviewer.
    InputError
        No reason.
    ConflictError
        It is not in use, or was changed meanwhile.
    """
    with db.reading() as session:
        _to_withdraw(session, by, wanted)
    reason = _words(reason, "reason", "the reason", "say why; it stays in the text's history")
    with db.writing() as session:
        bank.lock_loading(session)
        found = _to_withdraw(session, by, wanted, lock=True)
        hold_version(found, version)
        item = _in_bank(session, wanted)
        if item is None or item.withdrawn_by == "bank":
            raise _moved("the item is not in use")
        moved = item.withdrawn_at is None
        if moved:
            bank.withdraw(session, wanted, item.revision_id, by="bank", at=now)
        else:
            desk.withdraw_for_good(session, wanted)
        if found.state == "live":
            found.text, found.state = stamped(found.text, "withdrawn", READER), "withdrawn"
        found.version += 1
        found.changed_at = now
        desk_history.note(session, found, "withdrawn", by=by, text=reason, now=now)
        if found.author_id not in (None, by) and not left(session, found):
            notices.tell(
                session,
                found.author_id,
                "An item of yours was withdrawn; the reason stands beside its text.",
                path=_path(wanted),
                now=now,
            )
    if moved:
        memory_log.rebuild_who_answered(db, [wanted])


def draft_again(db: Database, by: int, wanted: str, *, version: int, now: datetime) -> None:
    """Make an own withdrawn text a draft, to be read and put into use again.

    Raises
    ------
    NotFoundError
        There is none, or it is not this author's.
    ConflictError
        It is not withdrawn, or was changed meanwhile.
    """
    with db.writing() as session:
        found = own(session, by, wanted, lock=True)
        hold_version(found, version)
        if found.state != "withdrawn":
            raise _moved(f"the item is {found.state} now")
        _make_draft(found, now)
        desk_history.note(session, found, "made a draft again", by=by, now=now)


def _to_read(session: Session, by: int, wanted: str, *, lock: bool = False) -> DeskItem:
    found = seen(session, by, roles_in(session, by, REVIEWER), wanted, lock=lock)
    if found.author_id == by or left(session, found):
        raise edge.not_found("item")
    return found


def _to_withdraw(session: Session, by: int, wanted: str, *, lock: bool = False) -> DeskItem:
    roles = roles_in(session, by, AUTHOR, REVIEWER)
    found = seen(session, by, roles, wanted, lock=lock)
    if REVIEWER not in roles and found.author_id != by:
        raise edge.not_found("item")
    return found


def _in_bank(session: Session, wanted: str) -> Item | None:
    """The item that the text was put into use as; a file may have brought one of the same name, which is not it."""
    item = bank.item(session, wanted)
    return item if item is not None and item.source == SOURCE else None


def _make_draft(found: DeskItem, now: datetime) -> None:
    found.text, found.state = stamped(found.text, DRAFT), DRAFT
    found.read_by = found.read_at = None
    found.version += 1
    found.changed_at = now


def _words(text: str, where: str, label: str, mend: str) -> str:
    words = edge.text(text, where, longest=LONGEST, label=label, lines=True)
    if not words:
        raise InputError("desk-words-empty", f"{label} is not said", where=where, mend=mend)
    return words


def _path(item_id: str) -> str:
    return f"/bank-desk/items/{item_id}"


def _moved(what: str) -> ConflictError:
    return ConflictError("desk-item-moved", what, where="text", mend="load the page again and look at it once more")

"""Sheets as they were handed out: kept with the SHA-256 of their bytes, so that "again" gives the same bytes."""

from __future__ import annotations

import hashlib
import uuid
from dataclasses import dataclass
from datetime import datetime

from quizsvc.services import edge, looks, school_access
from quizsvc.services.own_data import OWN_SHEET
from quizsvc.store import evidence, people, produced
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import ProducedFile

__all__ = [
    "FOR_HEAD",
    "FOR_INSTRUCTOR",
    "OWN_SHEET",
    "KeptFile",
    "KeptLine",
    "keep",
    "lines",
    "of_those_gone",
    "opened",
    "own_of_those_gone",
]

FOR_HEAD = "evidence, head of training"
FOR_INSTRUCTOR = "evidence, instructor"


@dataclass(frozen=True)
class KeptLine:
    """A kept file in a list."""

    id: str
    title: str
    media_type: str
    sha256: str
    made_at: datetime


@dataclass(frozen=True)
class KeptFile:
    """A kept file with its bytes; `again` is whether they had been handed out before."""

    id: str
    title: str
    media_type: str
    sha256: str
    made_at: datetime
    body: bytes
    again: bool


def keep(
    db: Database, by: int, *, what: str, person_id: int, title: str, media_type: str, body: bytes, now: datetime
) -> KeptFile:
    """Keep a sheet that is handed out now. The same bytes of the same kind about the same person are kept once.

    Raises
    ------
    NotFoundError
        The person has left since the sheet was made: nothing new is kept of them.
    """
    sha256 = hashlib.sha256(body).hexdigest()
    with db.writing() as session:
        # Locked first: two who ask for the same sheet at once get one file, and nobody leaves between the two steps.
        if people.lock(session, edge.row_id(person_id, "evidence sheet")) is None:
            raise edge.not_found("evidence sheet")
        # A head's sheet is everybody's of that role; the other kinds are of who made them.
        made_by = None if what == FOR_HEAD else by
        found = produced.same(session, person_id, what, media_type, sha256, made_by=made_by)
        again = found is not None
        if found is None:
            found = ProducedFile(
                id=uuid.uuid4().hex,
                what=what,
                title=title,
                person_id=person_id,
                media_type=media_type,
                body=body,
                sha256=sha256,
                made_by=by,
                made_at=now,
            )
            session.add(found)
        return _whole(found, again)


def opened(db: Database, by: int, file_id: str, *, now: datetime) -> KeptFile:
    """A kept file, byte for byte; the look at the person whom it is about is noted.

    Raises
    ------
    NotFoundError
        None of that id, or it is not for this person to see.
    """
    with db.writing() as session:
        found = produced.by_id(session, file_id)
        if found is None or not _may_open(session, by, found):
            raise edge.not_found("file")
        if found.person_id is not None and _here(session, found):
            looks.note(session, found.person_id, by, "evidence sheet made before", now)
        return _whole(found, True)


def lines(session: Session, by: int, person_id: int, what: str) -> tuple[KeptLine, ...]:
    """The kept files of a kind about a person that `by` may open, newest first."""
    return tuple(_line(one) for one in produced.of_person(session, person_id, what) if _may_open(session, by, one))


def of_those_gone(db: Database, by: int, *, words: str = "") -> tuple[KeptLine, ...]:
    """What was made, for the head of training, about people who have left the service since; with words in the title.

    Raises
    ------
    NotFoundError
        The person is no head of training.
    """
    with db.reading() as session:
        school_access.require_head(session, by)
        found = produced.of_those_gone(session, FOR_HEAD)
        return tuple(_line(one) for one in found if words.casefold() in one.title.casefold())


def own_of_those_gone(db: Database, by: int) -> tuple[KeptLine, ...]:
    """What an instructor made about people who have left the service since.

    Raises
    ------
    NotFoundError
        The person is no instructor.
    """
    with db.reading() as session:
        school_access.require_instructor(session, by)
        return tuple(_line(one) for one in produced.of_those_gone(session, FOR_INSTRUCTOR, made_by=by))


def _may_open(session: Session, by: int, found: ProducedFile) -> bool:
    if found.what == OWN_SHEET:
        return found.person_id == by
    if found.what == FOR_HEAD:
        return found.person_id == by or school_access.head(session, by)
    # The person whom it is about is not among them: it may hold a mark that is not released yet.
    return (
        found.what == FOR_INSTRUCTOR
        and found.made_by == by
        and school_access.INSTRUCTOR in people.roles(session, by)
        # Who has left the service is in nobody's group; what was made about them before is still the maker's.
        and (not _here(session, found) or bool(evidence.taught(session, by, found.person_id or 0)))
    )


def _here(session: Session, found: ProducedFile) -> bool:
    """Whether the person whom a file is about still has an account."""
    person = people.by_id(session, found.person_id) if found.person_id is not None else None
    return person is not None and person.name is not None


def _line(found: ProducedFile) -> KeptLine:
    return KeptLine(found.id, found.title, found.media_type, found.sha256, found.made_at)


def _whole(found: ProducedFile, again: bool) -> KeptFile:
    return KeptFile(found.id, found.title, found.media_type, found.sha256, found.made_at, found.body, again)

"""A new revision of a handbook: what cites a changed section is out of use until a reviewer has read it again."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.errors import ConflictError, InputError
from quizsvc.services import edge, memory_log, older_handbooks
from quizsvc.services.compiled import compiled_in
from quizsvc.services.desk_items import REVIEWER, left, roles_in
from quizsvc.services.showing import shown
from quizsvc.services.views import CitesOlder
from quizsvc.store import bank, desk, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import HandbookRevision

__all__ = [
    "MOST_WHOLE",
    "CitingItem",
    "Handbook",
    "RevisionView",
    "citing",
    "detail",
    "drawn",
    "handbooks",
    "listed",
    "read_again",
    "record",
]

LONGEST_NAME = 100
WITHDRAWN_BY = "handbook"
MOST_WHOLE = 20
"""How many items are drawn at a time; those that were read make room for the next."""


@dataclass(frozen=True)
class Handbook:
    """A handbook's sections, id and title each, in order."""

    folder: str
    name: str
    sections: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class RevisionView:
    """A handbook's revision. `waiting` are its items that are still to be read again."""

    id: int
    folder: str
    name: str
    sections: tuple[str, ...]
    items: int
    waiting: int
    by: str | None
    made_at: datetime


@dataclass(frozen=True)
class CitingItem:
    """An item that a revision took out of use; `may_read` is False for who wrote it and for one that is back.

    `left` says that it is the school's own and its author has left: somebody takes it over at the desk first. `older`
    is caution C3, as long as its text owes it.
    """

    id: str
    stem: str
    why: str
    sections: tuple[str, ...]
    withdrawn_by: str | None
    may_read: bool
    left: bool = False
    older: CitesOlder | None = None


def handbooks(db: Database, by: int) -> list[Handbook]:
    """Every handbook that is loaded.

    Raises
    ------
    NotFoundError
        The person is no reviewer.
    """
    with db.reading() as session:
        roles_in(session, by, REVIEWER)
        found = [
            Handbook(key, name, tuple((row.id, row.title) for row in bank.sections(session, key)))
            for key, name in bank.aircraft_list(session)
        ]
        return [handbook for handbook in found if handbook.sections]


def listed(db: Database, by: int) -> list[RevisionView]:
    """All revisions, the newest first.

    Raises
    ------
    NotFoundError
        The person is no reviewer.
    """
    with db.reading() as session:
        roles_in(session, by, REVIEWER)
        return [_view(session, row) for row in desk.handbook_revisions(session)]


def citing(db: Database, by: int, folder: str, sections: Sequence[str]) -> list[str]:
    """The ids of what would go out of use if these sections had changed.

    Raises
    ------
    NotFoundError
        The person is no reviewer.
    InputError
        No section, or one that the handbook does not have.
    """
    with db.reading() as session:
        roles_in(session, by, REVIEWER)
        _refuse_unknown(session, folder, sections)
        return [item for item, _ in _citing(session, folder, sections)]


def record(db: Database, by: int, *, folder: str, name: str, sections: Sequence[str], now: datetime) -> int:
    """Keep a revision and take every item that cites one of its sections out of use; returns its number.

    Answers that were given before stay as they were judged; what was learned on these items is suspect until they are
    read again.

    Raises
    ------
    NotFoundError
        The person is no reviewer.
    InputError
        No name, no section, or one that the handbook does not have.
    """
    name = edge.text(name, "name", longest=LONGEST_NAME, label="the revision's name")
    if not name:
        raise InputError(
            "handbook-name-empty", "the revision has no name", where="name", mend="as on its title page: Revision 7"
        )
    with db.writing() as session:
        roles_in(session, by, REVIEWER)
        bank.lock_loading(session)
        _refuse_unknown(session, folder, sections)
        found = _citing(session, folder, sections)
        for item, revision_id in found:
            bank.withdraw(session, item, revision_id, by=WITHDRAWN_BY, at=now)
        items = [item for item, _ in found]
        row = HandbookRevision(folder=folder, name=name, sections=list(sections), items=items, made_by=by, made_at=now)
        session.add(row)
        session.flush()
        number = row.id
    memory_log.rebuild_who_answered(db, items)
    return number


def detail(db: Database, by: int, revision_id: int) -> tuple[RevisionView, list[CitingItem]]:
    """A revision with every item that it took out of use, those that wait to be read again first.

    Raises
    ------
    NotFoundError
        There is none, or the person is no reviewer.
    """
    with db.reading() as session:
        row = _found(session, by, revision_id)
        texts = desk.in_use_with_text(session, row.items)
        items = []
        for item in row.items:
            body, withdrawn_by = json.loads(texts[item].body), texts[item].withdrawn_by
            kept = desk.by_id(session, item)
            gone = kept is not None and left(session, kept)
            items.append(
                CitingItem(
                    item,
                    body["stem"],
                    body["why"],
                    tuple(sorted(_cited(texts[item].handbook, body))),
                    withdrawn_by,
                    withdrawn_by == WITHDRAWN_BY and (kept is None or not (gone or kept.author_id == by)),
                    left=gone,
                    older=older_handbooks.of_item(session, item),
                )
            )
        return _view(session, row), sorted(items, key=lambda one: one.withdrawn_by != WITHDRAWN_BY)


def drawn(db: Database, by: int, revision_id: int, *, rng: Any) -> dict[str, Mapping[str, Any] | None]:
    """A question of each of the first items that wait to be read again, as `showing.shown` has it, by item.

    None stands for an item that no question can be drawn from any more.

    Raises
    ------
    NotFoundError
        There is no such revision, or the person is no reviewer.
    """
    with db.reading() as session:
        row = _found(session, by, revision_id)
        states = desk.in_use(session, row.items)
        found: dict[str, Mapping[str, Any] | None] = {}
        for item in [one for one in row.items if states[one].withdrawn_by == WITHDRAWN_BY][:MOST_WHOLE]:
            used = bank.item(session, item)
            assert used is not None  # it has a state
            revision = bank.revision(session, used.revision_id)
            found[item] = None
            with suppress(InputError):
                found[item] = shown(compiled_in(session, revision.hash, revision.id).item, rng)
        return found


def read_again(db: Database, by: int, revision_id: int, item_id: str) -> None:
    """Say that an item still holds under the new revision; it is in use again with the same text.

    One that does not hold gets another text: the school's own at the desk, a file's by loading the file.

    Raises
    ------
    NotFoundError
        No such revision, an item that is not of it, or the person is no reviewer or wrote the item.
    ConflictError
        The item is not waiting to be read again.
    """
    with db.writing() as session:
        row = _found(session, by, revision_id)
        kept = desk.by_id(session, item_id) if item_id in row.items else None
        if item_id not in row.items or (kept is not None and (kept.author_id == by or left(session, kept))):
            raise edge.not_found("item")
        if not desk.read_again(session, item_id):
            raise ConflictError(
                "handbook-item-moved",
                f"'{item_id}' is not waiting to be read again",
                where="item",
                mend="somebody was faster, or it is withdrawn for another reason: load the page again",
            )
    memory_log.rebuild_who_answered(db, [item_id])


def _found(session: Session, by: int, revision_id: int) -> HandbookRevision:
    roles_in(session, by, REVIEWER)
    found = desk.handbook_revision(session, edge.row_id(revision_id, "revision"))
    if found is None:
        raise edge.not_found("revision")
    return found


def _refuse_unknown(session: Session, folder: str, sections: Sequence[str]) -> None:
    known = {row.id for key, _ in bank.aircraft_list(session) if key == folder for row in bank.sections(session, key)}
    if not known:
        raise InputError(
            "handbook-unknown", "there is no such handbook", where="folder", mend="choose one of those on the page"
        )
    if not sections:
        raise InputError(
            "handbook-sections-none", "no section is marked", where="section", mend="mark each section that changed"
        )
    if not set(sections) <= known:
        raise InputError(
            "handbook-section-unknown",
            "the handbook has no such section",
            where="section",
            mend="load the page again and mark them anew",
        )


def _citing(session: Session, folder: str, sections: Sequence[str]) -> list[tuple[str, int]]:
    """Item and revision of what is in use, or waits to be read again after an earlier revision, and cites a section."""
    changed = set(sections)
    return [
        (row.id, row.revision_id)
        for row in desk.citing(session, folder)
        if changed & _cited(row.handbook, json.loads(row.body) if row.kind == "scenario" else {})
    ]


def _cited(handbook: str | None, body: dict[str, object]) -> set[str]:
    """The sections that an item cites, with those of its parts."""
    parts = body.get("parts") or ()
    assert isinstance(parts, list | tuple)
    return {section for section in (handbook, *(part["handbook"] for part in parts)) if section is not None}


def _view(session: Session, row: HandbookRevision) -> RevisionView:
    states = desk.in_use(session, row.items)
    person = people.by_id(session, row.made_by) if row.made_by is not None else None
    return RevisionView(
        row.id,
        row.folder,
        row.name,
        tuple(row.sections),
        len(row.items),
        sum(state.withdrawn_by == WITHDRAWN_BY for state in states.values()),
        person.name if person else None,
        row.made_at,
    )

"""A school's own items at the bank desk: who may see and write them, and keeping their text."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from quizsvc.errors import ConflictError, InputError
from quizsvc.services import desk_history, edge, older_handbooks
from quizsvc.services.desk_history import StepView
from quizsvc.services.desk_text import clean, item_id, stamped
from quizsvc.services.views import CitesOlder
from quizsvc.store import bank, desk, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import DeskItem

__all__ = [
    "AUTHOR",
    "REVIEWER",
    "SOURCE",
    "DeskRow",
    "DeskView",
    "FolderNames",
    "export",
    "folders",
    "left",
    "listed",
    "names",
    "one",
    "roles_in",
    "save",
    "start",
]

AUTHOR = "item author"
REVIEWER = "reviewer"
SOURCE = "school"
DRAFT = "draft"


@dataclass(frozen=True)
class DeskRow:
    """An item in the list.

    `number` is its revision in use, None if there has been none; `withdrawn_by` says by what it is out of use. `left`
    says that its author's account is gone; `sent_back` is `waits` while the author has the words of a reader before
    them, `changed` when they have changed the text since, and empty otherwise. `to_do` is what waits for the person who
    looks: `mend`, `read`, `release`, `read again`, `take over`, or nothing.
    """

    id: str
    folder: str
    state: str
    author: str | None
    own: bool
    changed_at: datetime
    number: int | None
    withdrawn_by: str | None
    homework_only: bool
    left: bool = False
    sent_back: str = ""
    to_do: str = ""


@dataclass(frozen=True)
class DeskView:
    """An item with its text, its history from the newest step on, and what this person may do with it.

    `said` is what a reader wrote when sending it back, until somebody has read it. `live_text` is the text in use,
    where that is another one. `older` is caution C3 where the revision in use owes it.
    """

    row: DeskRow
    text: str
    version: int
    may_write: bool
    may_review: bool
    may_take_over: bool = False
    may_withdraw: bool = False
    may_delete: bool = False
    steps: tuple[StepView, ...] = ()
    said: StepView | None = None
    live_text: str | None = None
    older: CitesOlder | None = None

    @property
    def may_drop(self) -> bool:
        """Whether the author can go back to the text that is in use."""
        return self.may_write and self.live_text is not None


def roles_in(session: Session, person_id: int, *wanted: str) -> tuple[str, ...]:
    """The roles of somebody who has one of those wanted.

    Raises
    ------
    NotFoundError
        The person has none of them; it reads as for an address without a page.
    """
    roles = people.roles(session, person_id)
    if not set(wanted) & set(roles):
        raise edge.not_found("page")
    return roles


def folders(db: Database) -> list[tuple[str, str]]:
    """Key and name of what an item may be about: general matters, and each aircraft that has concepts."""
    with db.reading() as session:
        names = dict(bank.aircraft_list(session))
        return [(folder, names.get(folder, "any aircraft")) for folder in desk.folders(session)]


@dataclass(frozen=True)
class FolderNames:
    """What a text of a folder can name: concepts and handbook sections, id and title each."""

    folder: str
    name: str
    concepts: tuple[tuple[str, str], ...]
    sections: tuple[tuple[str, str], ...]


def names(db: Database, *folders_wanted: str) -> list[FolderNames]:
    """What the texts of these folders can name, of all where none is wanted; general concepts fit every folder."""
    with db.reading() as session:
        aircraft = dict(bank.aircraft_list(session))
        concepts = sorted(bank.all_concepts(session).values(), key=lambda one: one.position)
        return [
            FolderNames(
                folder,
                aircraft.get(folder, "any aircraft"),
                tuple((one.id, one.title) for one in concepts if one.active and one.folder == folder),
                tuple((one.id, one.title) for one in bank.sections(session, folder)),
            )
            for folder in desk.folders(session)
            if not folders_wanted or folder in folders_wanted
        ]


def listed(db: Database, person_id: int) -> list[DeskRow]:
    """What the person wrote, and for an author what nobody's any more; all items for a reviewer.

    Raises
    ------
    NotFoundError
        The person is neither author nor reviewer.
    """
    with db.reading() as session:
        roles = roles_in(session, person_id, AUTHOR, REVIEWER)
        return _rows(session, _seen_by(session, person_id, roles), person_id, roles)


def one(db: Database, person_id: int, wanted: str) -> DeskView:
    """One item, for its author and for reviewers.

    Raises
    ------
    NotFoundError
        There is none, or it is somebody else's.
    """
    with db.reading() as session:
        roles = roles_in(session, person_id, AUTHOR, REVIEWER)
        found = seen(session, person_id, roles, wanted)
        row = _rows(session, [found], person_id, roles)[0]
        steps = desk_history.of(session, wanted)
        may_write = row.own and AUTHOR in roles
        in_use = row.number is not None
        live_text = found.live_text
        return DeskView(
            row,
            found.text,
            found.version,
            may_write=may_write,
            may_review=REVIEWER in roles and not row.own and not row.left,
            may_take_over=row.left and AUTHOR in roles,
            may_withdraw=in_use and row.withdrawn_by != "bank" and (may_write or REVIEWER in roles),
            may_delete=may_write and not in_use,
            steps=steps,
            said=desk_history.said(steps) if row.sent_back else None,
            older=older_handbooks.of_item(session, wanted),
            live_text=live_text if live_text is not None and _words(live_text) != _words(found.text) else None,
        )


def start(db: Database, person_id: int, *, folder: str, text: str, now: datetime) -> str:
    """Keep a new item's text as a draft, faults and all; returns its id.

    Raises
    ------
    NotFoundError
        The person is no item author.
    InputError
        No such folder, a text without an id, or an id that the bank has already.
    """
    with db.reading() as session:
        roles_in(session, person_id, AUTHOR)
    text = clean(text)
    wanted = item_id(text)
    with db.writing() as session:
        bank.lock_loading(session)  # so that no load brings the same id meanwhile
        if folder not in desk.folders(session):
            raise InputError(
                "desk-folder-unknown", "the bank has no such folder", where="folder", mend="choose one from the list"
            )
        if bank.item(session, wanted) is not None or desk.by_id(session, wanted) is not None:
            raise InputError(
                "desk-id-taken",
                f"there is an item '{wanted}' already",
                where="text",
                mend="give this one another name; ids are never used again",
            )
        session.add(
            DeskItem(
                id=wanted,
                folder=folder,
                text=stamped(text, DRAFT),
                state=DRAFT,
                version=1,
                author_id=person_id,
                changed_at=now,
            )
        )
    return wanted


def save(db: Database, person_id: int, wanted: str, *, text: str, version: int, now: datetime) -> None:
    """Keep a changed text; it is a draft again until a second person has read it. What is live stays as it was read.

    Parameters
    ----------
    version : int
        The version that the author had before their eyes.

    Raises
    ------
    NotFoundError
        There is no such item, or it is not this author's.
    InputError
        The text cannot be kept, or names another item.
    ConflictError
        It was changed meanwhile; nothing is overwritten.
    """
    with db.reading() as session:
        own(session, person_id, wanted)
    text = clean(text)
    named = item_id(text)
    if named != wanted:
        raise InputError(
            "desk-id-changed",
            f"the text names the item '{named}', and this one is '{wanted}'",
            where="text",
            mend="keep the id, or write a new item: ids are never used again",
        )
    with db.writing() as session:
        found = own(session, person_id, wanted, lock=True)
        if _words(text) == _words(found.text):
            return
        hold_version(found, version)
        found.text, found.state = stamped(text, DRAFT), DRAFT
        found.version += 1
        found.read_by = found.read_at = None
        found.changed_at = now


def export(db: Database, person_id: int, folder: str | None = None) -> str:
    """The texts as they are kept, one after another, with the cautions above them: of a folder, or all of them.

    Raises
    ------
    NotFoundError
        The person is neither author nor reviewer.
    """
    with db.reading() as session:
        rows = _seen_by(session, person_id, roles_in(session, person_id, AUTHOR, REVIEWER))
        cautions = bank.all_cautions(session)
        lines = [f"# {caution}: {cautions[caution].text}" for caution in ("C1", "C2", "C4") if caution in cautions]
        last = None
        for row in rows:
            if folder is not None and row.folder != folder:
                continue
            if row.folder != last:
                last = row.folder
                lines += ["", f"# For the folder {last}"]
            older = older_handbooks.of_item(session, row.id)
            lines += ["", *([f"# {older.put_into(cautions[older.id].text)}"] if older is not None else [])]
            lines.append(row.text.rstrip("\n"))
        return "\n".join(lines) + "\n"


def seen(session: Session, person_id: int, roles: tuple[str, ...], wanted: str, *, lock: bool = False) -> DeskItem:
    """An item that this person may look at."""
    found = desk.by_id(session, wanted, lock=lock) if wanted.isascii() and len(wanted) <= 80 else None
    if found is None or not (
        REVIEWER in roles or found.author_id == person_id or (AUTHOR in roles and left(session, found))
    ):
        raise edge.not_found("item")
    return found


def left(session: Session, found: DeskItem) -> bool:
    """Whether the account of a text's author is gone: deleted, or a pseudonym because of their homework."""
    if found.author_id is None:
        return True
    author = people.by_id(session, found.author_id)
    return author is None or author.name is None


def own(session: Session, person_id: int, wanted: str, *, lock: bool = False) -> DeskItem:
    """An item that this person may write."""
    roles_in(session, person_id, AUTHOR)
    return seen(session, person_id, (), wanted, lock=lock)


def hold_version(found: DeskItem, version: int) -> None:
    """Refuse what was decided on an older text."""
    if found.version != version:
        raise ConflictError(
            "desk-item-moved",
            "the item was changed meanwhile",
            where="text",
            mend="compare with the text that is kept now; what you typed is still in the field",
        )


def _words(text: str) -> str:
    """The text without what the desk writes into it."""
    return stamped(text, "")


def _seen_by(session: Session, person_id: int, roles: tuple[str, ...]) -> list[DeskItem]:
    return desk.all_texts(session) if REVIEWER in roles else desk.of_author(session, person_id)


def _rows(session: Session, found: list[DeskItem], person_id: int, roles: tuple[str, ...]) -> list[DeskRow]:
    used = desk.in_use(session, [row.id for row in found])
    steps = desk_history.newest(session, [row.id for row in found])
    names = {row.author_id: people.by_id(session, row.author_id) for row in found if row.author_id is not None}
    rows = []
    for row in found:
        # A file may have brought an item of the same name, which is none of the desk's.
        live = used[row.id] if row.id in used and used[row.id].source == SOURCE else None
        author = names[row.author_id] if row.author_id is not None else None
        one = DeskRow(
            row.id,
            row.folder,
            row.state,
            author.name if author else None,
            row.author_id == person_id,
            row.changed_at,
            live.number if live else None,
            live.withdrawn_by if live else None,
            bool(live and live.homework_only),
            left=author is None or author.name is None,
            sent_back=desk_history.sent_back(steps.get(row.id), row),
        )
        rows.append(replace(one, to_do=_to_do(one, roles)))
    return rows


def _to_do(row: DeskRow, roles: tuple[str, ...]) -> str:
    """What waits for somebody with these roles, whose own text it is or not."""
    if AUTHOR in roles and (row.left or row.own):
        return "take over" if row.left else "mend" if row.sent_back == "waits" else ""
    if REVIEWER not in roles or row.left or row.own:
        return ""
    if row.state == DRAFT:
        return "" if row.sent_back == "waits" else "read"
    if row.state == "read":
        return "release"
    return "read again" if row.state == "live" and row.withdrawn_by == "handbook" else ""

"""What becomes of a squawk: reviewers and instructors read it and say open, deferred, fixed or no fault found."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.errors import ConflictError, InputError, StoreUnavailableError
from quizsvc.services import edge, memory_log, notices, older_handbooks, practice_remarking
from quizsvc.services.compiled import compiled_in
from quizsvc.services.practice_remarking import PracticeView
from quizsvc.services.school_access import INSTRUCTOR
from quizsvc.services.squawks import LONGEST, PATH
from quizsvc.services.views import CitesOlder
from quizsvc.store import bank, groups, marking, people, squawks
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Squawk, SquawkStep
from quizsvc.store.tables_practice import SQUAWK_STATUSES

__all__ = [
    "PAGE",
    "READERS",
    "STATUSES",
    "SquawkDetail",
    "SquawkRow",
    "StepView",
    "add_step",
    "detail",
    "go_on",
    "listed",
]

REVIEWER = "reviewer"
READERS = (INSTRUCTOR, REVIEWER)
FIXED = "fixed"
NO_FAULT = "no fault found"
PAGE = 50
STATUSES = SQUAWK_STATUSES


@dataclass(frozen=True)
class SquawkRow:
    """A squawk in the list; nobody is told here who raised it."""

    id: int
    item: str
    concept_title: str
    text: str
    status: str
    withdrew: bool
    raised_at: datetime


@dataclass(frozen=True)
class StepView:
    """A step: the status it gave, in which words, by whom (None: somebody who left), when."""

    status: str
    text: str
    by: str | None
    at: datetime


@dataclass(frozen=True)
class SquawkDetail:
    """A squawk with all that deciding needs.

    `number` and `now_number` are the revision it is about and the one in use; `withdrawn_by` says whether and by what
    the item is out of use. `homework` are released assignments of the reader's own groups that ask the item: id,
    title, group's name, place. `practice` is what becomes of practice answers to the revision it is about, and
    `may_remark` whether the reader's `fixed` sets that off.
    """

    row: SquawkRow
    by_role: str
    steps: tuple[StepView, ...]
    number: int
    now_number: int
    withdrawn_by: str | None
    stem: str
    why: str
    handbook_folder: str | None
    handbook: str | None
    caution_ids: tuple[str | CitesOlder, ...]
    may_find_no_fault: bool
    homework: tuple[Any, ...]
    practice: PracticeView
    may_remark: bool


def listed(db: Database, by: int, *, status: str | None = None, page: int = 1) -> tuple[list[SquawkRow], int]:
    """Squawks of a status, or of all, newest first, a page of fifty; and how many there are in all.

    Raises
    ------
    NotFoundError
        The person is neither reviewer nor instructor.
    InputError
        No such status.
    """
    if status is not None and status not in SQUAWK_STATUSES:
        raise _no_status(status)
    with db.reading() as session:
        _reader(session, by)
        rows, total = squawks.page(session, status, offset=(page - 1) * PAGE, limit=PAGE)
        titles = {concept.id: concept.title for concept in bank.all_concepts(session).values()}
        return [_row(squawk, titles[concept_id]) for squawk, concept_id in rows], total


def detail(db: Database, by: int, squawk_id: int) -> SquawkDetail:
    """One squawk.

    Raises
    ------
    NotFoundError
        There is none, or the person is neither reviewer nor instructor.
    """
    with db.reading() as session:
        _reader(session, by)
        return _detail(session, by, _found(session, squawk_id))


def add_step(db: Database, by: int, squawk_id: int, *, status: str, text: str, seen: int, now: datetime) -> None:
    """Say what becomes of a squawk.

    `no fault found` brings an item back that this squawk had withdrawn, if no other open one had; that takes a
    reviewer. An item that was faulty comes back by loading a corrected text. A reviewer's `fixed` has practice answers
    to the faulty text re-marked (`services.practice_remarking`).

    Parameters
    ----------
    status : str
        `open`, `deferred`, `fixed` or `no fault found`.
    text : str
        In words; whoever raised it is told that there is an answer, and reads it. Whose practice is re-marked reads
        them as the reason.
    seen : int
        How many steps the person had before their eyes.

    Raises
    ------
    NotFoundError
        There is none, or the person is neither reviewer nor instructor.
    InputError
        No words, no such status, or `no fault found` on a withdrawn item by somebody who is no reviewer.
    ConflictError
        Somebody added a step meanwhile.
    """
    words = edge.text(text, "text", longest=LONGEST, label="the answer", lines=True)
    if not words:
        raise InputError("squawk-step-empty", "the answer has no words", where="text", mend="say what was found")
    if status not in SQUAWK_STATUSES:
        raise _no_status(status)
    back = None
    with db.writing() as session:
        roles = _reader(session, by)
        squawk = _found(session, squawk_id, lock=True)
        steps = squawks.steps(session, squawk.id)
        if len(steps) != seen:
            raise ConflictError(
                "squawk-moved",
                "somebody answered this squawk meanwhile",
                where=f"squawk {squawk.id}",
                mend="read what they wrote; what you wrote is still in the field",
            )
        item = bank.item(session, squawk.item_id)
        assert item is not None  # a foreign key
        withdrawn = squawk.withdrew and item.withdrawn_by == "squawk" and item.revision_id == squawk.revision_id
        if status == NO_FAULT and withdrawn and REVIEWER not in roles:
            raise InputError(
                "squawk-no-reviewer",
                "the item is withdrawn until a reviewer has read it",
                where="status",
                mend="ask a reviewer, or choose another status",
            )
        session.add(SquawkStep(squawk_id=squawk.id, status=status, text=words, by=by, at=now))
        squawk.status = status
        session.flush()
        if status == NO_FAULT and withdrawn and not squawks.others_withdraw(session, squawk):
            bank.bring_back(session, squawk.item_id, squawk.revision_id)
            back = squawk.item_id
        if squawk.person_id is not None and squawk.person_id != by:
            notices.tell(session, squawk.person_id, f"Your squawk has an answer: {status}.", path=PATH, now=now)
    if back is not None:
        # Each learner in a unit of work of their own, as when it was withdrawn.
        memory_log.rebuild_who_answered(db, [back])
    if status == FIXED and REVIEWER in roles:
        # The step is kept; where the database is busy now, the page says that the rest is to be gone on with.
        with suppress(StoreUnavailableError):
            practice_remarking.remark(db, squawk_id, now=now)


def go_on(db: Database, by: int, squawk_id: int, *, now: datetime) -> None:
    """Go on with re-marking practice, after an interruption or where there are many people.

    Raises
    ------
    NotFoundError
        There is none, or the person is no reviewer.
    """
    with db.reading() as session:
        if REVIEWER not in people.roles(session, by):
            raise edge.not_found("page")
        _found(session, squawk_id)
    practice_remarking.remark(db, squawk_id, now=now)


def _reader(session: Session, by: int) -> tuple[str, ...]:
    roles = people.roles(session, by)
    if not set(READERS) & set(roles):
        raise edge.not_found("page")
    return roles


def _found(session: Session, squawk_id: int, *, lock: bool = False) -> Squawk:
    found = squawks.by_id(session, edge.row_id(squawk_id, "squawk"), lock=lock)
    if found is None:
        raise edge.not_found("squawk")
    return found


def _no_status(status: str) -> InputError:
    return InputError(
        "squawk-status-unknown",
        f"'{str(status)[:40]}' is no status of a squawk",
        where="status",
        mend=", ".join(SQUAWK_STATUSES),
    )


def _row(squawk: Squawk, concept_title: str) -> SquawkRow:
    return SquawkRow(
        squawk.id, squawk.item_id, concept_title, squawk.text, squawk.status, squawk.withdrew, squawk.raised_at
    )


def _detail(session: Session, by: int, squawk: Squawk) -> SquawkDetail:
    item = bank.item(session, squawk.item_id)
    assert item is not None  # a foreign key
    about, used = bank.revision(session, squawk.revision_id), bank.revision(session, item.revision_id)
    body = compiled_in(session, about.hash, about.id).body
    roles = people.roles(session, by)
    raised_by = people.roles(session, squawk.person_id) if squawk.person_id is not None else ()
    instructed = [
        group.id
        for group, membership in groups.of_person(session, by)
        if INSTRUCTOR in roles and membership.part == INSTRUCTOR and membership.state == "in"
    ]
    names = {step.by for step in squawks.steps(session, squawk.id) if step.by is not None}
    named = marking.people(session, sorted(names))
    return SquawkDetail(
        row=_row(squawk, bank.all_concepts(session)[about.concept_id].title),
        by_role=next((role for role in READERS if role in raised_by), "a learner"),
        steps=tuple(
            StepView(step.status, step.text, named[step.by].name if step.by in named else None, step.at)
            for step in squawks.steps(session, squawk.id)
        ),
        number=about.number,
        now_number=used.number,
        withdrawn_by=item.withdrawn_by,
        stem=body["stem"],
        why=body["why"],
        handbook_folder=about.folder if about.handbook else None,
        handbook=about.handbook,
        caution_ids=(*body["cautions"], *older_handbooks.of_revisions(session, [about.id]).values()),
        may_find_no_fault=REVIEWER in roles or item.withdrawn_by != "squawk",
        homework=tuple(marking.assignments_with(session, squawk.item_id, instructed)),
        practice=practice_remarking.look(session, squawk),
        may_remark=REVIEWER in roles,
    )

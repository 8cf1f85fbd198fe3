"""Squawks: disputing an item. Stored at once; who raises it decides what happens to the item."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.errors import InputError
from quizsvc.services import edge, memory_log
from quizsvc.services.views import SquawkView
from quizsvc.store import bank, people, questions, squawks
from quizsvc.store.session import Database
from quizsvc.store.tables import Squawk

LONGEST = 2000
WITHDRAWING_ROLES = frozenset({"instructor", "reviewer"})
DANGEROUS = 3
CAUTION = "C11"
PATH = "/account/squawks"
"""The page of one's own squawks, to which a notice of an answer leads."""
SHOWN = 100


@dataclass(frozen=True)
class SquawkAnswer:
    """What somebody answered: the status it gave, in which words, by whom (None: who has left), when."""

    status: str
    text: str
    by: str | None
    at: datetime


@dataclass(frozen=True)
class OwnSquawk:
    """A squawk as the person sees it who raised it; `path` is the question's page, None where that is gone."""

    concept_title: str
    path: str | None
    text: str
    status: str
    raised_at: datetime
    answers: tuple[SquawkAnswer, ...]


def own(db: Database, person_id: int) -> list[OwnSquawk]:
    """A person's own squawks with the answers to them, the newest first, a hundred at most."""
    with db.reading() as session:
        rows = squawks.raised(session, edge.row_id(person_id, "person"), SHOWN)
        answers = squawks.answers(session, [row.id for row in rows])
    return [
        OwnSquawk(
            row.concept_title,
            _path(row),
            row.text,
            row.status,
            row.raised_at,
            tuple(SquawkAnswer(one.status, one.text, one.name, one.at) for one in answers[row.id]),
        )
        for row in rows
    ]


def _path(row: Any) -> str | None:
    if row.question_id is None:
        return None
    return f"/works/{row.work_id}/questions/{row.question_id}" if row.work_id else f"/questions/{row.question_id}"


def raise_squawk(db: Database, person_id: int, question_id: str, text: str, *, now: datetime) -> SquawkView:
    """Dispute the item of a question. The same words for the same question again change nothing.

    From an instructor or a reviewer it withdraws an item whose concept can hurt within minutes (consequence 3); from
    anybody else, and for other items, the item stays live and is marked disputed.

    Raises
    ------
    NotFoundError
        No such question, or another person's.
    InputError
        No words, or too many.
    """
    words = edge.text(text, "text", longest=LONGEST, label="the squawk", lines=True)
    if not words:
        raise InputError(
            "squawk-empty", "the squawk has no words", where="text", mend="say what is wrong with the item"
        )
    withdrawn_item = None
    with db.writing() as session:
        people.lock(session, edge.row_id(person_id, "question"))
        row = questions.shown(session, person_id, edge.key(question_id, "question")) or questions.shown_homework(
            session, person_id, question_id
        )
        if row is None:
            raise edge.not_found("question")
        stored = squawks.same(session, person_id, question_id, words)
        if stored is None:
            may_withdraw = not WITHDRAWING_ROLES.isdisjoint(people.roles(session, person_id))
            withdraws = may_withdraw and bank.consequence(session, row.concept_id) == DANGEROUS
            stored = Squawk(
                item_id=row.item_id,
                revision_id=row.revision_id,
                person_id=person_id,
                question_id=question_id,
                text=words,
                status="open",
                withdrew=withdraws,
                raised_at=now,
            )
            session.add(stored)
            session.flush()
            # A squawk about an older revision says nothing about the one in use.
            if withdraws and bank.withdraw(session, row.item_id, row.revision_id, by="squawk", at=now):
                withdrawn_item = row.item_id
        view = SquawkView(
            id=stored.id,
            status=stored.status,
            withdrawn=stored.withdrew,
            caution=_true_sentence(bank.all_cautions(session)[CAUTION].text, withdrew=stored.withdrew),
        )
    if withdrawn_item is not None:
        # Each learner in a unit of work of their own: a dispute must not hold a whole school's rows at once.
        memory_log.rebuild_who_answered(db, [withdrawn_item])
    return view


def _true_sentence(text: str, *, withdrew: bool) -> str:
    """Of the caution's two endings, which a slash parts, the one that is true, after what both begin with."""
    disputed, _, withdrawn = text.partition(" / ")
    if not withdrew or not withdrawn:
        return disputed
    return f"{disputed.partition('. ')[0]}. {withdrawn}"

"""A whole work at once: every question with what stands in its fields, and all drafts of it in one unit of work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from quizsvc.services import edge, homework_release
from quizsvc.services.homework_drafts import CheckedDraft, keep_in
from quizsvc.services.homework_reading import begun_work, draft_view, refuse_closed, shown_question, view_of
from quizsvc.services.homework_views import HomeworkQuestion, SavedDraft, WorkView
from quizsvc.store import homework, people, questions
from quizsvc.store.session import Database

__all__ = ["WholeWork", "save_all", "whole"]


@dataclass(frozen=True)
class WholeWork:
    """A work with all its questions, in their order; what is told of one is what its own page tells."""

    work: WorkView
    questions: tuple[HomeworkQuestion, ...]


def whole(db: Database, person_id: int, work_id: str, *, now: datetime) -> WholeWork:
    """A person's own work with every question as its own page shows it.

    Raises
    ------
    NotFoundError
        There is none, or it is another person's.
    """
    edge.key(work_id, "work")
    homework_release.settle_person(db, person_id, now=now)
    with db.reading() as session:
        owned = begun_work(session, person_id, work_id)
        rows = questions.shown_of_work(session, work_id)
        kept = homework.drafts(session, work_id)
        view = view_of(session, *owned, now, rows, kept)
        return WholeWork(
            view,
            tuple(
                HomeworkQuestion(
                    shown_question(session, row, rows, kept, spoken=False), view, draft_view(kept.get(row.id))
                )
                for row in rows
            ),
        )


def save_all(
    db: Database, person_id: int, work_id: str, given: Mapping[str, CheckedDraft], *, now: datetime
) -> dict[str, SavedDraft]:
    """Keep drafts of several questions of a work at once; what became of each, by the question's id.

    What is the same as what stands there, or empty where nothing stands, is not written. A draft whose number is not
    above the stored one is not taken, as with one alone, and does not keep the others out.

    Raises
    ------
    NotFoundError
        There is no such work of theirs, or a question is not of it.
    ConflictError
        It is handed in, or its time is over.
    """
    edge.key(work_id, "work")
    with db.writing() as session:
        people.lock(session, person_id)
        owned = begun_work(session, person_id, work_id)
        refuse_closed(session, *owned, now)
        rows = {row.id: row for row in questions.shown_of_work(session, work_id)}
        kept = homework.drafts(session, work_id)
        became = {}
        for question_id, draft in given.items():
            row = rows.get(edge.key(question_id, "question"))
            if row is None:
                raise edge.not_found("question")
            if row.answer_id is not None:
                continue  # answered for good meanwhile, on a page of its own
            stored = draft_view(kept.get(question_id))
            if (stored.raw, stored.sureness) == (draft.raw, draft.sureness):
                continue
            became[question_id] = keep_in(session, row, draft, now=now)
        return became

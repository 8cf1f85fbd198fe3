"""Handing in: drafts become answers with their grades in one unit of work, once, with a receipt.

The same functions judge homework and practice. What cannot be read is listed before; handed in all the same, it is a
pass, and what was typed is kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from quizsvc.bank.grade import read_response
from quizsvc.errors import ConflictError
from quizsvc.services import edge, homework, memory_log
from quizsvc.services.clocks import effective_time
from quizsvc.services.homework_answers import Given, hand_in_now, judge, store_answers
from quizsvc.services.homework_content import Handed, canonical
from quizsvc.services.homework_drafts import sureness_word
from quizsvc.services.homework_reading import begun_work, refuse_closed, work_view
from quizsvc.services.homework_release import feedback_time, release_in, settle_person
from quizsvc.services.homework_views import HomeworkQuestion, Receipt, WorkView
from quizsvc.store import homework as store
from quizsvc.store import people, questions
from quizsvc.store.session import Database
from quizsvc.store.tables import DraftResponse

__all__ = ["OpenQuestionsError", "answer_now", "hand_in", "receipt"]


class OpenQuestionsError(ConflictError):
    """Something is open or cannot be read, and nobody has said that it is handed in all the same."""


def hand_in(
    db: Database, person_id: int, work_id: str, *, anyway: bool, device_at: datetime | None = None, now: datetime
) -> WorkView:
    """Hand a work in; handed in again it stays what it was, with the same receipt.

    Parameters
    ----------
    anyway : bool
        Whether what is open or cannot be read is handed in as a pass.
    device_at : aware datetime or None
        The phone's clock; it is shown beside, and lateness goes by `now`.

    Raises
    ------
    NotFoundError
        There is none, or it is another person's.
    OpenQuestionsError
        Something is open or cannot be read, and not `anyway`.
    ConflictError
        Its time is over.
    """
    edge.key(work_id, "work")
    settle_person(db, person_id, now=now)  # a Sitting whose time is over is handed in by that
    with db.writing() as session:
        people.lock(session, person_id)
        found, assigned, group = begun_work(session, person_id, work_id)
        if found.handed_in_at is None:
            refuse_closed(session, found, assigned, group, now)
            if not anyway:
                _refuse_unready(work_view(session, found, assigned, group, now))
            hand_in_now(session, found, assigned, at=now, device_at=device_at)
            release_at = feedback_time(session, found, assigned)
            if release_at is not None and release_at <= now:
                release_in(session, found, now=now)
        return work_view(session, found, assigned, group, now)


def answer_now(
    db: Database,
    person_id: int,
    work_id: str,
    question_id: str,
    *,
    raw: Mapping[str, Any],
    sureness: str | None,
    given_at: datetime | None = None,
    sent_at: datetime | None = None,
    now: datetime,
) -> HomeworkQuestion:
    """Answer a question for good where feedback is shown straight away; answered again it stays what it was.

    Parts of a scenario are told about with the last of them, but for those that are put right before going on.

    Raises
    ------
    NotFoundError
        There is no such question of theirs.
    InputError
        The response cannot be read, or a value is out of bounds; nothing is stored.
    ConflictError
        This homework tells nothing before handing in, or its time is over.
    """
    edge.key(work_id, "work")
    edge.key(question_id, "question")
    sureness_word(sureness)
    sent = edge.storable(dict(raw), "response")
    with db.writing() as session:
        people.lock(session, person_id)
        found, assigned, group = begun_work(session, person_id, work_id)
        rows = questions.shown_of_work(session, work_id)
        row = next((one for one in rows if one.id == question_id), None)
        if row is None:
            raise edge.not_found("question")
        if row.answer_id is None:
            if assigned.feedback != "straight away" or assigned.sitting_minutes is not None:
                raise ConflictError(
                    "fixed-by-handing-in", "this homework is answered by handing it in", mend="save, then hand in"
                )
            refuse_closed(session, found, assigned, group, now)
            read_response(row.record, sent)
            person = people.by_id(session, person_id)
            assert person is not None  # a foreign key
            at = effective_time(issued_at=row.issued_at, received_at=now, given_at=given_at, sent_at=sent_at)
            chain = [one for one in rows if row.chain and one.chain == row.chain]
            earlier = {one.part: one.response for one in chain if one.answer_id is not None}
            given = Given(sent, sureness, at, now)
            store_answers(session, [judge(session, person, row, given, earlier, judged_at=now)])
            draft = session.get(DraftResponse, question_id)
            if draft is not None:
                session.delete(draft)
            session.flush()
            open_parts = [one for one in chain if one.answer_id is None and one.id != row.id]
            told = {one.id for one in chain} if chain and not open_parts else set()
            if not open_parts or row.record.get("reveal"):
                told.add(row.id)
            if told:
                store.unseal(session, told)
                memory_log.rebuild_in(session, person_id)
    return homework.question(db, person_id, work_id, question_id, now=now)


def receipt(db: Database, person_id: int, work_id: str, *, now: datetime) -> Receipt:
    """What was handed in, as one text with its hash.

    Raises
    ------
    NotFoundError
        There is none, it is another person's, or it is not handed in.
    """
    edge.key(work_id, "work")
    with db.reading() as session:
        found, assigned, group = begun_work(session, person_id, work_id)
        if found.handed_in_at is None or found.content_hash is None:
            raise edge.not_found("receipt")
        rows = questions.shown_of_work(session, work_id)
        text = canonical(
            found.id,
            found.number,
            found.handed_in_at,
            [Handed(row.id, row.position, row.item_id, row.raw, row.sureness, row.received_at) for row in rows],
        )
        return Receipt(
            work=work_view(session, found, assigned, group, now),
            content=text,
            content_hash=found.content_hash,
            open=sum(1 for row in rows if not row.raw),
        )


def _refuse_unready(view: WorkView) -> None:
    if view.unready:
        which = ", ".join(str(one.position) for one in view.unready)
        raise OpenQuestionsError(
            "questions-open",
            f"of {len(view.questions)} questions these are open or cannot be read: {which}",
            where="anyway",
            mend="answer them, or hand in all the same: they then count as a pass",
        )

"""Recording an answer, once, whatever is sent how often, from where, and in which order."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from quizsvc.bank.grade import grade, read_response
from quizsvc.errors import ConflictError, InputError
from quizsvc.memory.recall import update
from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState, fresh_concept
from quizsvc.services import edge, memory_log, weights
from quizsvc.services.clocks import days_since_epoch, effective_time, local_day
from quizsvc.services.compiled import compiled
from quizsvc.services.question_views import feedback_view, question_view
from quizsvc.services.views import AnswerView
from quizsvc.store import people, questions, recording
from quizsvc.store.session import Database
from quizsvc.store.tables_practice import SURENESS

AGAIN = "already answered"
WITHDRAWN = "withdrawn"


def record_answer(
    db: Database,
    person_id: int,
    question_id: str,
    *,
    uuid: str,
    raw: Mapping[str, Any],
    sureness: str | None,
    given_at: datetime | None = None,
    sent_at: datetime | None = None,
    now: datetime,
    rng: Any = None,
) -> AnswerView:
    """Store an answer, judge it, and take it into memory, in one unit of work.

    The same `uuid` again returns what was stored and changes nothing. Another answer to an answered question is kept
    as `void: already answered`, one to an item withdrawn meanwhile as `void: withdrawn`. What cannot be read is not
    stored.

    Parameters
    ----------
    db : Database
        Where.
    person_id, question_id
        Whose answer to which of their questions.
    uuid : str
        Made by the client for this answer.
    raw : mapping
        `{"option": id}`, `{"options": [ids]}`, `{"text": what was typed}` or `{"pass": true}`.
    sureness : str or None
        `sure`, `think` or `guess`, said before the key was seen.
    given_at, sent_at : aware datetime or None
        The client's clock when the answer was given and when it was sent.
    now : aware datetime
        When it was received.
    rng
        Not used: judging needs no chance. Taken so that all verbs of practice are called alike.

    Raises
    ------
    NotFoundError
        No such question, or another person's.
    InputError
        The response cannot be read (`response-unreadable`, a sentence for the learner), or a value is out of bounds.
    ConflictError
        The UUID belongs to another answer.
    StoreUnavailableError
        Nothing was stored; sending it again is safe.
    """
    edge.row_id(person_id, "question")
    edge.key(question_id, "question")
    uuid = edge.answer_uuid(uuid)
    if sureness not in (None, *SURENESS):
        raise InputError(
            "sureness-unknown",
            f"'{str(sureness)[:40]}' is no word for sureness",
            where="sureness",
            mend=f"one of: {', '.join(SURENESS)}, or leave it out",
        )
    if not isinstance(raw, Mapping):
        raise InputError("response-unreadable", "the response is not an object", where="response", mend="send one")
    raw = edge.storable(dict(raw), "response")

    with db.writing_rows() as connection:
        learner = recording.lock_learner(connection, person_id)
        row = recording.fetch(connection, person_id, question_id, uuid) if learner is not None else None
        if learner is None or row is None:
            raise edge.not_found("question")
        repeated = row.same_id is not None
        if repeated:
            if row.same_person_id != person_id or row.same_question_id != question_id:
                raise ConflictError(
                    "answer-uuid-taken",
                    "this UUID belongs to another answer",
                    where="uuid",
                    mend="make a new one for each answer",
                )
            answer_id = row.same_id
        else:
            answer_id = _add(
                connection, person_id, learner, row, uuid, raw, sureness, given_at=given_at, sent_at=sent_at, now=now
            )
        stored = recording.stored(connection, answer_id)

    revision = compiled(db, row.revision_hash, row.revision_id)
    feedback = feedback_view(stored, revision, row.record, drawn=row.drawn, order=row.option_order)
    shown = feedback
    if stored.void_reason == AGAIN:
        # The page goes on showing the answer that counts; only the result of this sending says that it does not.
        with db.reading() as session:
            first = questions.shown(session, person_id, question_id)
        if first is not None and first.answer_id is not None:
            shown = feedback_view(first, revision, row.record, drawn=row.drawn, order=row.option_order)
    return AnswerView(
        uuid=uuid,
        question=question_view(row, revision, feedback=shown),
        feedback=feedback,
        received_at=stored.received_at,
        already_stored=repeated,
        next_question_id=row.following_id,
    )


def _add(
    connection: Any,
    person_id: int,
    learner: Any,
    row: Any,
    uuid: str,
    raw: dict[str, Any],
    sureness: str | None,
    *,
    given_at: datetime | None,
    sent_at: datetime | None,
    now: datetime,
) -> int:
    """Add answer and grade, and take the answer into memory; returns the answer's number."""
    response = read_response(row.record, raw)
    judged = grade(row.record, response)
    again = row.first_id is not None
    void_reason = AGAIN if again else WITHDRAWN if row.withdrawn_at is not None else None
    effective_at = effective_time(issued_at=row.issued_at, received_at=now, given_at=given_at, sent_at=sent_at)
    day = local_day(effective_at, learner.time_zone)
    answer_id = recording.add_answer(
        connection,
        {
            "uuid": uuid,
            "question_id": row.id,
            "person_id": person_id,
            "again": again,
            "raw": raw,
            "response": response,
            "sureness": sureness,
            "given_at": given_at,
            "sent_at": sent_at,
            "received_at": now,
            "effective_at": effective_at,
            "local_day": day,
        },
    )
    recording.add_grade(
        connection,
        {
            "answer_id": answer_id,
            "number": 1,
            "outcome": "void" if void_reason else judged.outcome,
            "credit": 0.0 if void_reason else judged.credit,
            "void_reason": void_reason,
            "trap": judged.trap,
            "belief": judged.belief,
            "remark": judged.remark,
            "read_back": judged.read_back,
            "marks": [
                {"id": mark.id, "picked": mark.picked, "key": mark.key, "belief": mark.belief} for mark in judged.marks
            ],
            "graded_at": now,
            "graded_by": None,
            "why": None,
        },
    )
    if void_reason:
        return answer_id
    if learner.newest_at is not None and (effective_at, answer_id) < (learner.newest_at, learner.newest_id):
        _rebuild(connection, person_id)
        return answer_id

    used = weights.parsed(learner.weights_version, learner.weights)
    before = ConceptState.from_json(row.concept_state) if row.concept_state is not None else fresh_concept(used)
    event = AnswerEvent(
        at=days_since_epoch(effective_at),
        local_day=day,
        outcome=judged.outcome,
        credit=judged.credit,
        kind=row.kind,
        item=row.item_id,
        fresh=_fresh(row.draw_seen_at, effective_at),
        sureness=sureness,
        concept=row.concept_id,
        answer_id=answer_id,
    )
    state, held, _note = update(LearnerState.from_json(learner.state), before, event, used)
    recording.store_learner(connection, person_id, state.to_json(), effective_at, answer_id)
    recording.store_hold(connection, person_id, row.concept_id, held.to_json(), new=row.concept_state is None)
    return answer_id


def _fresh(seen_at: Any, effective_at: datetime) -> bool:
    """Whether the item with these numbers had not been answered by then; `seen_at` is when it was first, or None."""
    return seen_at is None or seen_at > effective_at


def _rebuild(connection: Any, person_id: int) -> None:
    """An answer that is not the newest in the log's order: rebuild this learner, in the same unit of work."""
    with people.on(connection) as session:
        learner = people.lock(session, person_id)
        person = people.by_id(session, person_id)
        memory_log.rebuild(session, person, learner)

"""Recording an answer, once, whatever is sent how often, from where, and in which order."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.bank.grade import grade, read_response
from quizsvc.errors import ConflictError, InputError
from quizsvc.memory.recall import update
from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState, fresh_concept
from quizsvc.memory.weights import Weights
from quizsvc.services import edge, older_handbooks, weights
from quizsvc.services.clocks import days_since_epoch, effective_time, local_day
from quizsvc.services.compiled import Compiled, compiled
from quizsvc.services.late_answers import Batch, rebuild_late
from quizsvc.services.question_views import (
    feedback_view,
    judged_by,
    marks_stored,
    question_view,
    shown_to,
    withheld,
)
from quizsvc.services.stored_questions import stored_question
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
    offline: bool = False,
    device_outcome: str | None = None,
    now: datetime,
    rng: Any = None,
    batch: Batch | None = None,
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
        What the question's kind takes (`bank.grade.read_response`), or `{"pass": true}`.
    sureness : str or None
        `sure`, `think` or `guess`, said before the key was seen.
    given_at, sent_at : aware datetime or None
        The client's clock when the answer was given and when it was sent.
    offline : bool
        Whether it was given on a device that keeps the question.
    device_outcome : str or None
        What the device made of it: `full`, `part`, `miss` or `pass`. It is kept and counts for nothing.
    now : aware datetime
        When it was received.
    rng
        Not used: judging needs no chance. Taken so that all verbs of practice are called alike.
    batch : Batch or None
        The same for all answers that were sent together: what late ones of them have in common is worked out once.

    Raises
    ------
    NotFoundError
        No such question, or another person's.
    InputError
        The response cannot be read (`response-unreadable`, a sentence for the learner), or a value is out of bounds.
    ConflictError
        The UUID belongs to another answer; or `offline`, and the question is none that a device keeps.
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

    sent = _Sent(uuid, edge.storable(dict(raw), "response"), sureness, given_at, sent_at, now, offline, device_outcome)
    with db.glance() as rows:
        row = _fetched(rows, person_id, question_id, sent)
        if offline and not row.on_device:
            raise ConflictError(
                "question-not-kept",
                "this question was not given to a device to keep",
                where="question",
                mend="answer it on its own page",
            )
        stored: Any = recording.stored(rows, row.same_id) if row.same_id is not None else None
        own = _own_earlier(rows, row)
    revision = compiled(db, row.revision_hash, row.revision_id)
    if stored is None:
        # Judging and memory are worked out before the lock, which is then held for a fraction of a millisecond.
        work = _worked(row, sent, weights.kept(db, row.weights_version), revision, own)
        if work.in_order:
            with contextlib.suppress(_Moved), db.recording() as rows:
                _write(rows, person_id, row, sent, work)
                stored = work.stored
    if stored is None:
        row, stored = _store_locked(db, person_id, question_id, sent, revision, batch or Batch())

    shown = shown_to(row, revision)
    feedback = None if withheld(row) else feedback_view(stored, shown, row, revision)
    older = None
    if row.withdrawn_at is not None:
        with db.reading() as session:
            older = older_handbooks.of_row(session, row)
    on_page = question_view(row, revision, feedback=feedback, shown=shown, older=older)
    if stored.void_reason == AGAIN or row.chain is not None:
        # The page goes on showing the answer that counts, and at the end of a scenario all its parts; only the result
        # of this sending says that it does not count.
        with db.reading() as session:
            first = questions.shown(session, person_id, question_id)
            if first is not None and first.answer_id is not None:
                on_page = stored_question(session, first)
    return AnswerView(
        uuid=uuid,
        question=on_page,
        feedback=feedback,
        received_at=stored.received_at,
        already_stored=row.same_id is not None,
        # A device goes on by its own order; to whom opens one of its questions here, none follows.
        next_question_id=None if row.on_device else row.following_id,
    )


@dataclass(frozen=True)
class _Sent:
    """What came in."""

    uuid: str
    raw: dict[str, Any]
    sureness: str | None
    given_at: datetime | None
    sent_at: datetime | None
    received_at: datetime
    offline: bool
    device_outcome: str | None


@dataclass(frozen=True)
class _Stored:
    """An answer and its grade as they have just been stored; the names of `recording.stored`."""

    raw: dict[str, Any]
    sureness: str | None
    effective_at: datetime
    received_at: datetime
    offline: bool
    device_outcome: str | None
    outcome: str
    credit: float
    void_reason: str | None
    belief: str | None
    remark: str | None
    read_back: str | None
    marks: list[dict[str, Any]]
    response: dict[str, Any]


@dataclass(frozen=True)
class _Work:
    """What an answer comes to. `state` and `held` are None where memory does not move by it."""

    stored: _Stored
    response: dict[str, Any]
    trap: str | None
    again: bool
    local_day: int
    in_order: bool
    state: dict[str, Any] | None
    held: dict[str, Any] | None


class _Moved(Exception):
    """The person's log has changed since it was read."""


def _fetched(rows: Any, person_id: int, question_id: str, sent: _Sent) -> Any:
    """The question with all that judging needs.

    Raises
    ------
    NotFoundError
        No such question of theirs.
    ConflictError
        The UUID belongs to another answer.
    """
    row = recording.fetch(rows, person_id, question_id, sent.uuid)
    if row is None:
        raise edge.not_found("question")
    if row.same_id is not None and (row.same_person_id != person_id or row.same_question_id != question_id):
        raise ConflictError(
            "answer-uuid-taken",
            "this UUID belongs to another answer",
            where="uuid",
            mend="make a new one for each answer",
        )
    return row


def _own_earlier(rows: Any, row: Any) -> dict[str, float]:
    """The person's own numbers that a part of a scenario follows, SI; empty for everything else."""
    followed = row.record.get("earlier")
    if not followed:
        return {}
    given = recording.earlier(rows, row.chain)
    return {part: float(given[part]["si"]) for part in followed if "si" in given.get(part, {})}


def _store_locked(
    db: Database, person_id: int, question_id: str, sent: _Sent, revision: Compiled, batch: Batch
) -> tuple[Any, Any]:
    """Store an answer with the learner's row locked from the start: others came between, or it is not the newest."""
    # What is not committed is remembered by nobody.
    before, batch.before = batch.before, None
    with db.writing_rows() as connection:
        recording.lock(connection, person_id)
        row = _fetched(connection, person_id, question_id, sent)
        if row.same_id is not None:
            return row, recording.stored(connection, row.same_id)
        own = _own_earlier(connection, row)
        work = _worked(row, sent, weights.kept(db, row.weights_version), revision, own)
        answer_id = _write(connection, person_id, row, sent, work)
        if not work.in_order:
            with people.on(connection) as session:
                before = rebuild_late(session, person_id, answer_id, before)
    batch.before = before
    return row, work.stored


def _worked(row: Any, sent: _Sent, used: Weights, revision: Compiled, own: dict[str, float]) -> _Work:
    """Judge an answer, and work out what memory makes of it.

    Raises
    ------
    InputError
        It cannot be read.
    """
    record = judged_by(row, revision, own)
    response = read_response(record, sent.raw)
    if own:
        response["earlier"] = own
    judged = grade(record, response)
    again = row.first_id is not None
    void_reason = AGAIN if again else WITHDRAWN if row.withdrawn_at is not None else None
    effective_at = effective_time(
        issued_at=row.issued_at, received_at=sent.received_at, given_at=sent.given_at, sent_at=sent.sent_at
    )
    stored = _Stored(
        raw=sent.raw,
        sureness=sent.sureness,
        effective_at=effective_at,
        received_at=sent.received_at,
        offline=sent.offline,
        device_outcome=sent.device_outcome,
        outcome="void" if void_reason else judged.outcome,
        credit=0.0 if void_reason else judged.credit,
        void_reason=void_reason,
        belief=judged.belief,
        remark=judged.remark,
        read_back=judged.read_back,
        marks=marks_stored(judged),
        response=response,
    )
    day = local_day(effective_at, row.time_zone)
    # Of two answers at one moment the one stored later comes later: it has the higher number.
    in_order = void_reason is not None or row.newest_at is None or effective_at >= row.newest_at
    state = held = None
    if in_order and not void_reason:
        before = (
            fresh_concept(used, row.concept_id)
            if row.concept_state is None
            else ConceptState.from_json(row.concept_state)
        )
        event = AnswerEvent(
            at=days_since_epoch(effective_at),
            local_day=day,
            outcome=judged.outcome,
            credit=judged.credit,
            kind=row.kind,
            item=row.item_id,
            # The same item with the same numbers, answered by then, is not fresh.
            fresh=row.draw_seen_at is None or row.draw_seen_at > effective_at,
            sureness=sent.sureness,
            concept=row.concept_id,
        )
        after, hold, _note = update(LearnerState.from_json(row.learner_state), before, event, used)
        state, held = after.to_json(), hold.to_json()
    return _Work(stored, response, judged.trap, again, day, in_order, state, held)


def _write(rows: Any, person_id: int, row: Any, sent: _Sent, work: _Work) -> int:
    """Write learner, answer, grade and hold, the learner's row first; returns the answer's number.

    Raises
    ------
    _Moved
        The log is no longer the one that `row` was read from; nothing has been written.
    """
    stored = work.stored
    newest_at = stored.effective_at if work.state is not None else None
    if not recording.store_learner(rows, person_id, row.version, work.state, newest_at):
        raise _Moved
    answer_id = recording.add_answer(
        rows,
        {
            "uuid": sent.uuid,
            "question_id": row.id,
            "person_id": person_id,
            "again": work.again,
            "raw": sent.raw,
            "response": work.response,
            "sureness": sent.sureness,
            "given_at": sent.given_at,
            "sent_at": sent.sent_at,
            "received_at": sent.received_at,
            "effective_at": stored.effective_at,
            "local_day": work.local_day,
            "offline": sent.offline,
            "device_outcome": sent.device_outcome,
        },
    )
    recording.add_grade(
        rows,
        {
            "answer_id": answer_id,
            "number": 1,
            "outcome": stored.outcome,
            "credit": stored.credit,
            "void_reason": stored.void_reason,
            "trap": work.trap,
            "belief": stored.belief,
            "remark": stored.remark,
            "read_back": stored.read_back,
            "marks": stored.marks,
            "graded_at": sent.received_at,
            "graded_by": None,
            "why": None,
        },
    )
    if work.held is not None:
        recording.store_hold(rows, person_id, row.concept_id, work.held, new=row.concept_state is None)
    return answer_id

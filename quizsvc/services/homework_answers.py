"""From what was given to stored answers with their grades, judged by the functions that judge practice."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.bank.grade import Graded, grade, read_response
from quizsvc.errors import InputError
from quizsvc.services.answering import WITHDRAWN
from quizsvc.services.clocks import effective_time, local_day
from quizsvc.services.compiled import compiled_in
from quizsvc.services.homework_content import Handed, canonical, content_hash
from quizsvc.services.homework_rules import is_late
from quizsvc.services.homework_times import times_for
from quizsvc.services.question_views import judged_by, marks_stored
from quizsvc.store import homework, people, questions
from quizsvc.store.session import Session
from quizsvc.store.tables import Answer, Assignment, Grade, Person, Work

__all__ = ["Given", "hand_in_now", "judge", "store_answers"]

PASS: Mapping[str, Any] = {"pass": True}


@dataclass(frozen=True)
class Given:
    """What a question is answered with, and when that came."""

    raw: dict[str, Any]
    sureness: str | None
    given_at: datetime | None
    received_at: datetime


def hand_in_now(
    session: Session, found: Work, assigned: Assignment, *, at: datetime, device_at: datetime | None = None
) -> None:
    """Turn the drafts of a work, whose person's learner row is locked, into answers; the feedback stays sealed."""
    person = people.by_id(session, found.person_id)
    assert person is not None  # a foreign key
    rows = questions.shown_of_work(session, found.id)
    kept = homework.drafts(session, found.id)
    handed = []
    judged = []
    earlier: dict[str, dict[str, Any]] = {}
    for row in rows:
        if row.answer_id is not None:
            given = Given(row.raw, row.sureness, None, row.received_at)
            response = row.response
        else:
            draft = kept.get(row.id)
            given = (
                Given(draft.raw, draft.sureness, draft.given_at, draft.saved_at)
                if draft is not None
                else Given({}, None, None, at)
            )
            made = judge(session, person, row, given, earlier.get(row.chain or "", {}), judged_at=at)
            judged.append(made)
            response = made[0].response
        if row.chain:
            earlier.setdefault(row.chain, {})[row.part] = response
        handed.append(Handed(row.id, row.position, row.item_id, given.raw, given.sureness, given.received_at))
    store_answers(session, judged)
    late = is_late(times_for(session, assigned, found.person_id), at, found.ends_at)
    # All at once: no query between may write half of it.
    found.handed_in_at, found.device_at, found.late = at, device_at, late
    found.content_hash = content_hash(canonical(found.id, found.number, at, handed))
    session.flush()


def store_answers(session: Session, judged: Sequence[tuple[Answer, Grade]]) -> None:
    """Store answers with their grades: one statement for all of either."""
    session.add_all(answer for answer, _ in judged)
    session.flush()
    for answer, made in judged:
        made.answer_id = answer.id
    session.add_all(made for _, made in judged)
    session.flush()


def judge(
    session: Session,
    person: Person,
    row: Any,
    given: Given,
    earlier: Mapping[str, Mapping[str, Any]],
    *,
    judged_at: datetime,
) -> tuple[Answer, Grade]:
    """An answer with its first grade, judged as practice judges; nothing is stored yet."""
    revision = compiled_in(session, row.revision_hash, row.revision_id)
    own = {
        part: float(earlier[part]["si"]) for part in row.record.get("earlier") or () if "si" in earlier.get(part, {})
    }
    record = judged_by(row, revision, own)
    response, judged = _judged(record, given.raw)
    if own and not response.get("pass"):
        response["earlier"] = own
    effective_at = effective_time(
        issued_at=row.issued_at, received_at=given.received_at, given_at=given.given_at, sent_at=None
    )
    answer = Answer(
        uuid=str(uuid.uuid4()),
        question_id=row.id,
        person_id=person.id,
        again=False,
        raw=given.raw,
        response=response,
        sureness=given.sureness,
        given_at=given.given_at,
        sent_at=None,
        received_at=given.received_at,
        effective_at=effective_at,
        local_day=local_day(effective_at, person.time_zone),
        offline=False,
    )
    withdrawn = row.withdrawn_at is not None
    return answer, Grade(
        number=1,
        outcome="void" if withdrawn else judged.outcome,
        credit=0.0 if withdrawn else judged.credit,
        void_reason=WITHDRAWN if withdrawn else None,
        trap=judged.trap,
        belief=judged.belief,
        remark=judged.remark,
        read_back=judged.read_back,
        marks=marks_stored(judged),
        graded_at=judged_at,
    )


def _judged(record: Mapping[str, Any], raw: Mapping[str, Any]) -> tuple[dict[str, Any], Graded]:
    """Read and judge; what is left open or cannot be read is a pass."""
    try:
        response = read_response(record, raw) if raw else dict(PASS)
    except InputError:
        response = dict(PASS)
    return response, grade(record, response)

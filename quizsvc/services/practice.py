"""Sets: planning one, going on with it, offering the missed ones again, ending it."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from quizsvc.errors import InputError
from quizsvc.services import edge, homework_release, housekeeping, planned
from quizsvc.services.answering import record_answer
from quizsvc.services.clocks import local_day
from quizsvc.services.issuing import Draft, drafts
from quizsvc.services.kept_questions import FRESH
from quizsvc.services.stored_questions import stored_question
from quizsvc.services.views import QuestionView, SetView
from quizsvc.store import bank, people, questions
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Acknowledgement, PracticeSet

__all__ = [
    "acknowledged_today",
    "end_set",
    "offer_repeats",
    "open_set",
    "question_view",
    "record_answer",
    "set_view",
    "start_set",
]

LONGEST_MINUTES = 240
# After a day the planner would choose differently; what is left of an older set is not offered any more.
RESUMABLE = timedelta(hours=24)
REPEAT_REASONS = {
    "miss": "You missed it in this set; here it is again.",
    "pass": "You passed on it in this set; here it is again.",
}


def start_set(
    db: Database,
    person_id: int,
    *,
    minutes: int,
    long: bool = False,
    acknowledged: Sequence[str] = (),
    concepts: Sequence[str] = (),
    now: datetime,
    rng: Any,
) -> SetView:
    """Plan a set, draw its questions, and write both; pressing Start acknowledges the cautions shown with it.

    Parameters
    ----------
    minutes : int
        Length, minutes, from 1 to 240.
    long : bool
        Whether items that are no ramp items may come.
    acknowledged : sequence of str
        Ids of the cautions that stood above the button.
    concepts : sequence of str
        Ids of the concepts that are asked, such as those about a failure; all of the person's where none is given.
    rng : random.Random
        Draws the numbers.

    Raises
    ------
    NotFoundError
        No such person.
    NotPreparedError
        No bank is loaded.
    InputError
        Minutes out of range, or nothing of the bank fits.
    """
    if not (isinstance(minutes, int) and 1 <= minutes <= LONGEST_MINUTES):
        raise InputError(
            "set-minutes", f"a set of {minutes} minutes", where="minutes", mend=f"from 1 to {LONGEST_MINUTES} minutes"
        )
    cautions = [edge.text(caution, "acknowledged", longest=20) for caution in acknowledged[:20]]
    homework_release.settle_person(db, person_id, now=now)
    # Planning and drawing take milliseconds of computing: done while only reading, so that no writer waits for it.
    with db.reading() as session:
        found = planned.ready_desk(session, person_id, now=now)
        wanted = set(concepts)
        # What a device of this person may ask today is not asked here too, where there is another way of asking.
        kept = questions.waiting_items(session, person_id, for_device=True, since=now - FRESH)
        homework = homework_release.kept_out(session, person_id, now=now)
        askable = planned.without(found.candidates, homework)
        plan = planned.plan(
            found,
            tuple(one for one in planned.apart_from(askable, kept) if not wanted or one.concept in wanted),
            now=now,
            minutes=minutes,
            long=long,
            rng=rng,
        )
        drafted = [
            (drawn, place.reason)
            for place in plan.places
            for drawn in _drafts(session, person_id, found.revisions[place.item], rng)
        ]
        texts = {key: caution.text for key, caution in bank.all_cautions(session).items()}
    if not drafted:
        raise InputError(
            "set-empty",
            f"no item fits a set of {minutes} minutes" + (" on these concepts" if wanted else ""),
            where="minutes",
            mend="choose more minutes, or add your aircraft in the settings"
            + ("; items of your homework come back with its feedback" if homework else ""),
        )
    housekeeping.tidy_once_a_day(db, now=now)
    set_id = secrets.token_hex(16)
    with db.writing() as session:
        if people.lock(session, person_id) is None:
            raise edge.not_found("person")
        questions.end_open_sets(session, person_id, now)
        session.add(PracticeSet(id=set_id, person_id=person_id, long=long, minutes=minutes, started_at=now))
        questions.add_questions(
            session,
            [
                drawn.row(person_id=person_id, set_id=set_id, position=position, reason=reason, now=now)
                for position, (drawn, reason) in enumerate(drafted, 1)
            ],
        )
        session.add_all(
            Acknowledgement(person_id=person_id, caution_id=caution, text_hash=_text_hash(texts.get(caution)), at=now)
            for caution in dict.fromkeys(cautions)
        )
        session.flush()
        return _view(session, person_id, set_id)


def _drafts(session: Session, person_id: int, revision_id: int, rng: Any) -> tuple[Draft, ...]:
    """A drawn question, or its parts; none where no draw passes, which only makes the set shorter."""
    try:
        return drafts(session, person_id, revision_id, rng)
    except InputError:
        return ()


def _text_hash(text: str | None) -> str:
    return hashlib.sha256(text.encode()).hexdigest() if text is not None else ""


def set_view(db: Database, person_id: int, set_id: str, *, now: datetime) -> SetView:
    """A set with its questions, and the feedback of the answered ones.

    Raises
    ------
    NotFoundError
        No such set, or another person's.
    """
    with db.reading() as session:
        return _view(session, person_id, edge.key(set_id, "set"))


def open_set(db: Database, person_id: int, *, now: datetime) -> SetView | None:
    """The set to go on with: the newest that was not ended, begun within a day, with a question still open."""
    with db.reading() as session:
        found = questions.newest_open_set(session, person_id, now - RESUMABLE)
        return _view(session, person_id, found.id) if found else None


def question_view(
    db: Database, person_id: int, question_id: str, *, now: datetime, spoken: bool = False
) -> QuestionView:
    """One question, with its feedback once it is answered; with `spoken`, a `say` shows its model answer.

    Raises
    ------
    NotFoundError
        No such question, or another person's.
    """
    with db.reading() as session:
        row = questions.shown(session, edge.row_id(person_id, "question"), edge.key(question_id, "question"))
        if row is None:
            raise edge.not_found("question")
        return stored_question(session, row, spoken=spoken)


def end_set(db: Database, person_id: int, set_id: str, *, now: datetime) -> SetView:
    """End a set, wherever it stands; answers that are still on their way count all the same.

    Raises
    ------
    NotFoundError
        No such set, or another person's.
    """
    with db.writing() as session:
        found = questions.practice_set(session, person_id, edge.key(set_id, "set"))
        if found is None:
            raise edge.not_found("set")
        if not found.for_device:  # that of a device has no end: it is asked there in pieces
            found.ended_at = found.ended_at or now
        session.flush()
        return _view(session, person_id, set_id)


def offer_repeats(db: Database, person_id: int, set_id: str, *, now: datetime, rng: Any) -> SetView:
    """Ask the missed ones again, with new numbers, outside the set's minutes; asking twice adds nothing.

    They follow in the same set. Where the person stopped before its end they come as a set of their own, so that the
    questions passed over do not come back with them.

    Raises
    ------
    NotFoundError
        No such set, or another person's.
    """
    with db.writing() as session:
        if people.lock(session, edge.row_id(person_id, "set")) is None:
            raise edge.not_found("set")
        found = questions.practice_set(session, person_id, edge.key(set_id, "set"))
        if found is None:
            raise edge.not_found("set")
        rows = questions.shown_of_set(session, set_id)
        drafted = []
        if found.for_device:
            return _view(session, person_id, set_id)  # the device offers its own spares
        homework = homework_release.kept_out(session, person_id, now=now)
        for row in _missed(session, set_id, rows):
            ways = _ways(session, row)
            if ways:
                drafted += [
                    (drawn, row)
                    for drawn in _drafts(session, person_id, rng.choice(ways), rng)
                    if drawn.item_id not in homework
                ]
        if not drafted:
            return _view(session, person_id, set_id)
        into = found
        if found.ended_at is not None and any(row.answer_id is None for row in rows):
            into = PracticeSet(
                id=secrets.token_hex(16), person_id=person_id, long=found.long, minutes=found.minutes, started_at=now
            )
            session.add(into)
        into.ended_at = None
        found.repeats_at = into.repeats_at = now
        first = 1 if into is not found else max(row.position for row in rows) + 1
        questions.add_questions(
            session,
            [
                drawn.row(
                    person_id=person_id,
                    set_id=into.id,
                    position=position,
                    reason=REPEAT_REASONS[first_asked.outcome],
                    now=now,
                    repeat_of=first_asked.id,
                )
                for position, (drawn, first_asked) in enumerate(drafted, first)
            ],
        )
        return _view(session, person_id, into.id)


def acknowledged_today(db: Database, person_id: int, caution_id: str, *, now: datetime) -> bool:
    """Whether a person acknowledged a caution on this day of their zone."""
    with db.reading() as session:
        person = people.by_id(session, person_id)
        last = people.last_acknowledged(session, person_id, caution_id)
        if person is None or last is None:
            return False
        return local_day(last, person.time_zone) == local_day(now, person.time_zone)


def _missed(session: Session, set_id: str, rows: Sequence[Any]) -> list[Any]:
    """The missed questions of a set that have not been asked again."""
    asked_again = questions.asked_again(session, set_id)
    return [
        row
        for row in rows
        if row.outcome in ("miss", "pass")
        and row.id not in asked_again
        and row.withdrawn_at is None
        and _ways(session, row)
    ]


def _ways(session: Session, row: Any) -> list[int]:
    """Revisions by which a missed question can be asked again: a part of a scenario only by another item."""
    if row.part is not None:
        return questions.other_way(session, row.concept_id, row.item_id)
    revision = questions.current_revision_of(session, row.item_id)
    return [revision.id] if revision else []


def _view(session: Session, person_id: int, set_id: str) -> SetView:
    found = questions.practice_set(session, person_id, set_id)
    if found is None:
        raise edge.not_found("set")
    rows = questions.shown_of_set(session, set_id)
    return SetView(
        id=found.id,
        long=found.long,
        minutes=found.minutes,
        started_at=found.started_at,
        ended_at=found.ended_at,
        questions=tuple(stored_question(session, row) for row in rows),
        missed=0 if found.for_device else len(_missed(session, set_id, rows)),
        repeats_offered=found.repeats_at is not None,
        for_device=found.for_device,
    )

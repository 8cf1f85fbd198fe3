"""Questions that a device keeps for a time without signal: planned, drawn and written like those of a set.

A person has one stock of them, whichever device asks, so that two devices hold the same questions and an answer on one
is known on the other. Only ungraded practice is kept, because the record that judges an answer goes along.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from quizsvc.bank.grade import grade
from quizsvc.bank.portable import OFFLINE_KINDS, portable, units_for_typing, with_texts
from quizsvc.errors import InputError
from quizsvc.memory.planning import Askable, Candidate, pool
from quizsvc.services import edge, homework_release, planned
from quizsvc.services.clocks import days_since_epoch
from quizsvc.services.compiled import compiled_in
from quizsvc.services.issuing import Draft, drafts
from quizsvc.services.planned import Desk
from quizsvc.services.question_views import feedback_view, marks_stored, question_view, shown_to
from quizsvc.services.views import QuestionView
from quizsvc.store import people, questions
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import PracticeSet

__all__ = ["KeptQuestion", "keep_questions", "units_for_typing", "with_texts"]

MINUTES = 30
"""What a device should hold."""

ENOUGH_MINUTES = 20
"""With less than this in stock more is written."""

FRESH = timedelta(days=7)
"""After this the planner would choose differently."""

TODAY = timedelta(days=1)
"""So long an online set is gone on with."""

SPARE_FOR = timedelta(days=1)
"""So long after its question was answered a spare can still be offered."""

PICTURES = 3
"""So many questions with pictures at most: one weighs as much as six others, and a stock comes over slow lines too."""

_PICTURED = frozenset({"gauge", "still-works"})
_PLAIN_KINDS = tuple(kind for kind in OFFLINE_KINDS if kind not in _PICTURED)

# (minutes, long, with a pen): two Short sets and a longer one, each a mixed set of its own, so that a device can begin
# anywhere. Each ends within an item of its minutes, the longer one sooner, since few items want a pen: what is left
# goes to any item that still fits.
_PIECES = ((10.0, False, False), (10.0, False, False), (10.0, True, True), (float(MINUTES), True, False))


@dataclass(frozen=True)
class KeptQuestion:
    """One question as a device keeps it: with the feedback of a pass and the table it is judged by."""

    view: QuestionView
    seconds: float
    ramp: bool
    issued_at: datetime
    spare_of: str | None
    table: Mapping[str, Any]


def keep_questions(db: Database, person_id: int, *, now: datetime, rng: Any) -> tuple[KeptQuestion, ...]:
    """What each of a person's devices should hold, in order; filled up first where it has run low.

    Parameters
    ----------
    rng : random.Random
        Draws the numbers.

    Raises
    ------
    NotFoundError
        No such person.
    NotPreparedError
        No bank is loaded.
    """
    with db.reading() as session:
        low = _minutes(_good(session, person_id, now)) < ENOUGH_MINUTES
        drafted = _planned(session, person_id, now, rng) if low else []
    if drafted:
        with db.writing() as session:
            if people.lock(session, edge.row_id(person_id, "person")) is None:
                raise edge.not_found("person")
            # Another device of the same person may have come first: then at most what that one left out is added.
            there = _good(session, person_id, now)
            taken = {row.concept_id for row in there}
            added = [one for one in drafted if one[0].concept_id not in taken]
            if added and _minutes(there) < ENOUGH_MINUTES:
                _write(session, person_id, added, now)
    with db.reading() as session:
        return tuple(_kept(session, row) for row in _good(session, person_id, now))


def _good(session: Session, person_id: int, now: datetime) -> list[Any]:
    """The questions in stock that a planner would still ask, with their spares."""
    desk = planned.desk(session, person_id)
    answered_at = {
        concept.id: state.last_at for concept, state in zip(desk.concepts, desk.states, strict=True)
    }  # days since the epoch
    # What has become homework meanwhile is not practised on a device either.
    homework = homework_release.kept_out(session, person_id, now=now)
    rows = [row for row in questions.kept(session, person_id) if row.item_id not in homework]
    first = {row.id for row in rows if row.repeat_of is None}
    gone = [row.repeat_of for row in rows if row.repeat_of is not None and row.repeat_of not in first]
    asked = questions.answered_among(session, person_id, gone) if gone else {}
    good, good_ids = [], set()
    for row in rows:
        if row.concept_id not in answered_at or row.issued_at < now - FRESH:
            continue  # no longer on the person's list, or planned too long ago
        if row.repeat_of is None:
            last = answered_at[row.concept_id]
            if last is not None and last > days_since_epoch(row.issued_at):
                continue
        elif row.repeat_of not in good_ids and asked.get(row.repeat_of, now - 2 * SPARE_FOR) < now - SPARE_FOR:
            continue
        good.append(row)
        good_ids.add(row.id)
    return good


def _minutes(rows: Sequence[Any]) -> float:
    return sum(row.seconds for row in rows if row.repeat_of is None) / 60.0


def _planned(session: Session, person_id: int, now: datetime, rng: Any) -> list[tuple[Draft, str, Draft | None]]:
    """New questions with their reasons and spares, for what is missing to the full stock.

    Raises
    ------
    NotPreparedError
        No bank is loaded.
    """
    found = planned.ready_desk(session, person_id, now=now)
    stock = _good(session, person_id, now)
    taken = {row.concept_id for row in stock}
    left = MINUTES - _minutes(stock)
    pictures = PICTURES - sum(row.kind in _PICTURED for row in stock if row.repeat_of is None)
    homework = homework_release.kept_out(session, person_id, now=now)
    # What an online set of today still asks is not asked by a device too, where there is another way of asking.
    online = questions.waiting_items(session, person_id, for_device=False, since=now - TODAY)
    kinds = {item.item: item.kind for one in found.candidates for item in one.items}
    drafted: list[tuple[Draft, str, Draft | None]] = []
    for minutes, long, pen in _PIECES:
        if left <= 0:
            break
        askable = planned.apart_from(
            (
                replace(one, items=_ways(one, pen, pictures > 0))
                for one in planned.without(found.candidates, homework)
                if one.concept not in taken
            ),
            online,
        )
        plan = planned.plan(
            *_by_the_bank(found, askable, long), now=now, minutes=min(minutes, left), long=long, rng=rng
        )
        for place in plan.places:
            pictured = kinds[place.item] in _PICTURED
            if pictured and pictures <= 0:
                continue  # its minutes go to others, and its concept to another item of it
            taken.add(place.concept)
            pictures -= pictured
            try:
                (draft,) = drafts(session, person_id, found.revisions[place.item], rng)
                spare = _spare(session, person_id, draft, rng)
            except InputError:
                continue  # no draw passes: the stock is one shorter
            drafted.append((draft, place.reason, spare))
            left -= place.seconds / 60.0
    return drafted


def _by_the_bank(found: Desk, askable: Sequence[Candidate], long: bool) -> tuple[Desk, tuple[Candidate, ...]]:
    """The desk and candidates with the bank's own seconds, by which a stock is counted; the answers of a day stay.

    A stock that was counted by the pace of a quick person would hold more than a slow line carries.
    """
    bank = tuple(
        replace(
            one, items=tuple(replace(item, seconds=item.seconds / found.habit.pace(item.kind)) for item in one.items)
        )
        for one in askable
    )
    slower = pool(bank).mean_seconds(long) / pool(askable).mean_seconds(long)
    return replace(found, minutes_factor=slower), bank


def _ways(candidate: Candidate, pen: bool, pictures: bool) -> tuple[Askable, ...]:
    """Ways of asking a concept that a device can judge; with a pen only those that want one."""
    kinds = OFFLINE_KINDS if pictures else _PLAIN_KINDS
    ways = tuple(item for item in candidate.items if item.kind in kinds)
    return tuple(item for item in ways if not item.ramp) if pen else ways


def _spare(session: Session, person_id: int, draft: Draft, rng: Any) -> Draft | None:
    """The same item with other numbers, for who misses a number and asks for another at once."""
    if draft.kind != "number":
        return None
    (spare,) = drafts(session, person_id, draft.revision_id, rng, without={draft.draw_key})
    return spare if spare.draw_key != draft.draw_key else None


def _write(session: Session, person_id: int, drafted: Sequence[tuple[Draft, str, Draft | None]], now: datetime) -> None:
    set_id = secrets.token_hex(16)
    session.add(
        PracticeSet(id=set_id, person_id=person_id, long=True, minutes=MINUTES, started_at=now, for_device=True)
    )
    rows: list[dict[str, Any]] = []
    for draft, reason, spare in drafted:
        first = draft.row(
            person_id=person_id, set_id=set_id, position=len(rows) + 1, reason=reason, now=now, offline=True
        )
        rows.append(first)
        if spare is not None:
            rows.append(
                spare.row(
                    person_id=person_id,
                    set_id=set_id,
                    position=len(rows) + 1,
                    reason=reason,
                    now=now,
                    repeat_of=first["id"],
                    offline=True,
                )
            )
    questions.add_questions(session, rows)


@dataclass(frozen=True)
class _Passed:
    """The answer that nobody gave: a question left unanswered, for the part of the feedback that is always the same."""

    effective_at: datetime
    outcome: str
    credit: float
    belief: str | None
    remark: str | None
    read_back: str | None
    marks: list[dict[str, Any]]
    raw: Mapping[str, Any]
    response: Mapping[str, Any]
    void_reason: str | None = None
    sureness: str | None = None
    offline: bool = True
    device_outcome: str | None = None


def _kept(session: Session, row: Any) -> KeptQuestion:
    revision = compiled_in(session, row.revision_hash, row.revision_id)
    shown = shown_to(row, revision)
    judged = grade(row.record, {"pass": True})
    passed = _Passed(
        effective_at=row.issued_at,
        outcome=judged.outcome,
        credit=judged.credit,
        belief=judged.belief,
        remark=judged.remark,
        read_back=judged.read_back,
        marks=marks_stored(judged),
        raw={"pass": True},
        response={"pass": True},
    )
    return KeptQuestion(
        view=question_view(row, revision, feedback=feedback_view(passed, shown, row, revision), shown=shown),
        seconds=row.seconds,
        ramp=row.ramp,
        issued_at=row.issued_at,
        spare_of=row.repeat_of,
        table=portable(row.record),
    )

"""Re-marking practice: answers to a revision that a reviewer has found faulty, judged again or void.

A reviewer's `fixed` sets it off, by the rule of a re-mark of homework: where a corrected text is in use, each answer is
judged by it on the numbers that were drawn, or is void where that cannot be; where the item is out of the bank for
good, all are void; while neither is so, they wait. Which answers are still to do is asked of the grades themselves, so
that nothing has to be remembered: an interruption, a text that is loaded later, and an answer that a device sends late
are all gone on with by doing it again, and what is done is not done twice.

Nobody who reads squawks learns who practised what: they are told that it is done, and of five people or more how many.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.bank.grade import worked
from quizsvc.services import edge, memory_log, notices
from quizsvc.services.compiled import compiled_in
from quizsvc.services.corrected_grades import CORRECTED, VOID, VOID_REASON, Judge
from quizsvc.services.question_views import judged_by
from quizsvc.services.spread_counts import LEAST
from quizsvc.store import bank, people, practice_marks, squawks
from quizsvc.store.practice_marks import Faulty
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Grade, Squawk, SquawkStep

__all__ = ["AT_ONCE", "Line", "PracticeView", "Remarked", "go_on", "look", "own", "remark"]

AT_ONCE = 500
"""People whose answers are done in one call; the rest goes on with the next one."""

NOTICE = "What you practised was re-marked, since an item was faulty. The old and the new mark, and why, are kept."
PATH = "/account/re-marks"
_SHOWN = 100
_OUT_FOR_GOOD = "the item is out of the bank"


@dataclass(frozen=True)
class PracticeView:
    """What becomes of practice answers to the faulty revision, as who reads the squawk is told.

    `how` is `corrected` or `void`, or None while there is nothing to judge by; `number` the corrected revision and
    `because` why they are void. `asked` is whether a reviewer has said fixed, `done` whether nothing is left.
    `people` is of how many persons answers were re-marked, None of fewer than five.
    """

    how: str | None
    number: int | None
    because: str | None
    asked: bool
    done: bool
    people: int | None


@dataclass(frozen=True)
class Line:
    """One grade of an answer: what it gave, when, by whom (None: the service), why. `credit` is None where void."""

    outcome: str
    credit: float | None
    void_reason: str | None
    at: datetime
    by: str | None
    why: str | None


@dataclass(frozen=True)
class Remarked:
    """A practice answer of a person's own that was re-marked: its grades, the first one first."""

    question_id: str
    concept_title: str
    given_at: datetime
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class _Plan:
    """How the answers to the revision of a squawk are to be judged (`how` None: not yet), and by whose word.

    `faulty` is None where nothing is to be done: nobody has said fixed, or there is nothing to judge by.
    """

    how: str | None
    number: int | None
    because: str | None
    step: SquawkStep | None
    faulty: Faulty | None


def look(session: Session, squawk: Squawk) -> PracticeView:
    """What becomes of practice answers to a squawk's revision."""
    plan = _plan(session, squawk)
    if plan.faulty is None:
        return PracticeView(plan.how, plan.number, plan.because, plan.step is not None, False, None)
    count = practice_marks.people_remarked(session, plan.faulty)
    return PracticeView(
        how=plan.how,
        number=plan.number,
        because=plan.because,
        asked=True,
        done=not practice_marks.people_waiting(session, plan.faulty, limit=1),
        people=count if count >= LEAST else None,
    )


def remark(db: Database, squawk_id: int, *, now: datetime) -> None:
    """Re-mark what is to be re-marked by a squawk, each person in a unit of work of their own, at most `AT_ONCE`.

    Nothing happens where no reviewer has said fixed, or there is nothing to judge by yet.
    """
    with db.reading() as session:
        squawk = squawks.by_id(session, squawk_id)
        faulty = _plan(session, squawk).faulty if squawk is not None else None
        persons = practice_marks.people_waiting(session, faulty, limit=AT_ONCE) if faulty is not None else []
    for person_id in persons:
        with db.writing() as session:
            _remark_person(session, person_id, squawk_id, now)


def go_on(db: Database, *, now: datetime) -> None:
    """Go on with what is not done of every squawk that is fixed, also for answers that came in late."""
    with db.reading() as session:
        fixed = squawks.fixed(session)
    for squawk_id in fixed:
        remark(db, squawk_id, now=now)


def own(db: Database, person_id: int) -> list[Remarked]:
    """A person's own practice answers that were re-marked, the last one first, a hundred at most."""
    with db.reading() as session:
        rows = practice_marks.history(session, edge.row_id(person_id, "person"), limit=_SHOWN)
    grouped: dict[str, list[Any]] = {}
    for row in rows:
        grouped.setdefault(row.question_id, []).append(row)
    return [
        Remarked(
            question_id,
            lines[0].concept_title,
            lines[0].effective_at,
            tuple(
                Line(
                    outcome=line.outcome,
                    credit=None if line.outcome == "void" else line.credit,
                    void_reason=line.void_reason,
                    at=line.graded_at,
                    by=line.graded_by,
                    why=line.why,
                )
                for line in lines
            ),
        )
        for question_id, lines in grouped.items()
    ]


def _plan(session: Session, squawk: Squawk) -> _Plan:
    item = bank.item(session, squawk.item_id)
    assert item is not None  # a foreign key
    step = squawks.fixed_by_reviewer(session, squawk.id)
    how = number = because = ready_at = None
    if item.withdrawn_by == "bank" or item.status == "withdrawn":
        how, because, ready_at = VOID, _OUT_FOR_GOOD, item.withdrawn_at
    elif item.revision_id != squawk.revision_id and item.status == "live" and item.withdrawn_at is None:
        judge = Judge.of(session, squawk.item_id, squawk.revision_id)
        how, number, because = (CORRECTED, judge.number, None) if judge.revision else (VOID, None, judge.only_void)
        ready_at = bank.revision(session, item.revision_id).loaded_at
    faulty = None
    if step is not None and ready_at is not None:
        about = bank.revision(session, squawk.revision_id)
        older = [one.id for one in bank.revisions_of(session, squawk.item_id) if one.number < about.number]
        # A re-mark since both the text and the word were there is the one wanted; so is one by an earlier word on the
        # same text, and a text that comes after the word was carried out changes nothing.
        faulty = Faulty(squawk.revision_id, older, min(ready_at, step.at), VOID_REASON)
    return _Plan(how, number, because, step, faulty)


def _remark_person(session: Session, person_id: int, squawk_id: int, now: datetime) -> None:
    """Add the new grades of one person, whose memory then knows the new marks.

    What is to be done is asked again: another text, or another word of a reviewer, may have come between two persons.
    """
    if people.lock(session, person_id) is None:
        return  # they have gone meanwhile
    squawk = squawks.by_id(session, squawk_id)
    plan = _plan(session, squawk) if squawk is not None else None
    if plan is None or plan.faulty is None or plan.step is None:
        return
    counts = shows = False
    judges: dict[int, Judge] = {}
    for row in practice_marks.waiting(session, plan.faulty, person_id):
        if row.revision_id not in judges:
            judges[row.revision_id] = Judge.of(session, row.item_id, row.revision_id)
        new = judges[row.revision_id].grade_of(row, plan.how or VOID)
        by, why = plan.step.by, plan.step.text
        session.add(Grade(answer_id=row.answer_id, number=row.number + 1, graded_at=now, graded_by=by, why=why, **new))
        moved = (row.outcome, row.credit) != (new["outcome"], new["credit"])
        counts = counts or moved
        shows = shows or moved or _key_of(session, row, row.marks) != _key_of(session, row, new["marks"])
    if counts:
        memory_log.rebuild_in(session, person_id)
    if shows:
        notices.tell(session, person_id, NOTICE, path=PATH, now=now)


def _key_of(session: Session, row: Any, marks: list[dict[str, Any]]) -> str:
    """The key that the feedback shows with these marks."""
    record = next((mark["judged_by"] for mark in marks if "judged_by" in mark), None)
    if record is None:
        revision = compiled_in(session, row.revision_hash, row.revision_id)
        record = judged_by(row, revision, row.response.get("earlier", {}))
    return str(worked(record).key_shown)

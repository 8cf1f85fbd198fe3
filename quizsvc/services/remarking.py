"""Re-mark: a place of an assignment judged again by the corrected text of its item, or void.

Grades are only added: old and new marks, who, when and why are kept. Each person is done in a unit of work of their
own; doing it twice adds nothing, and doing it again after an interruption does the rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.errors import ConflictError, InputError
from quizsvc.services import edge, memory_log, notices, older_handbooks, pseudonyms, spread_fixing
from quizsvc.services.corrected_grades import CORRECTED, HOWS, VOID, Judge, same
from quizsvc.services.school_access import assignment_for_instructor
from quizsvc.services.views import CitesOlder
from quizsvc.store import assignments, bank, marking, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Assignment, Grade

__all__ = ["CORRECTED", "HOWS", "VOID", "RemarkLine", "RemarkView", "history", "look", "remark"]

LONGEST_WHY = 1000


@dataclass(frozen=True)
class Change:
    """What a re-mark makes of one answer: credits, 0 to 1; None where it is void. `because` says why it becomes so."""

    person: str
    number: int
    old: float | None
    new: float | None
    because: str | None = None


@dataclass(frozen=True)
class RemarkView:
    """A place before its re-mark.

    `corrected_number` is the revision that would judge it, None where the item can only be voided, and `only_void`
    says why. `corrected` and `void` list the answers whose mark would change; `answers` counts all. `still_open` works
    were begun and are not handed in: they will be judged by the old text, and can be re-marked then.
    """

    assignment_id: int
    title: str
    place: int
    item: str
    concept_title: str
    number: int
    corrected_number: int | None
    only_void: str | None
    answers: int
    still_open: int
    corrected: tuple[Change, ...]
    void: tuple[Change, ...]
    older: CitesOlder | None = None


@dataclass(frozen=True)
class RemarkLine:
    """One grade of an answer: what it gave, when, by whom (None: the service), why. `credit` is None where void."""

    number: int
    outcome: str
    credit: float | None
    at: datetime
    by: str | None
    why: str | None


def look(db: Database, by: int, assignment_id: int, place: int) -> RemarkView:
    """What a re-mark of a place would change.

    Raises
    ------
    NotFoundError
        No such assignment of a group that the person instructs, or no such place.
    """
    with db.reading() as session:
        assignment, _ = assignment_for_instructor(session, by, assignment_id)
        return _view(session, assignment, place)


def remark(
    db: Database, by: int, assignment_id: int, place: int, *, how: str, why: str, revision: int | None, now: datetime
) -> int:
    """Re-mark a place; returns how many answers got a new grade.

    Parameters
    ----------
    how : str
        `corrected` or `void`.
    why : str
        The reason; the people whose marks change can read it.
    revision : int or None
        Number of the corrected revision that was looked at, for `corrected`.

    Raises
    ------
    NotFoundError
        No such assignment of a group that the person instructs, or no such place.
    InputError
        No reason, another word for how, or the item can only be voided.
    ConflictError
        Another revision is in use by now than the one that was looked at.
    """
    reason = edge.text(why, "why", longest=LONGEST_WHY, label="the reason", lines=True)
    if not reason:
        raise InputError("remark-why", "the reason is empty", where="why", mend="say what was wrong with the item")
    if how not in HOWS:
        raise InputError("remark-how", f"'{str(how)[:40]}' is no way to re-mark", where="how", mend=" or ".join(HOWS))
    with db.reading() as session:
        assignment, _ = assignment_for_instructor(session, by, assignment_id)
        placed = _placed(session, assignment.id, place)
        judge = Judge.of(session, placed.item_id, placed.revision_id)
        if how == CORRECTED:
            if judge.only_void is not None:
                raise InputError(
                    "remark-only-void", f"it can only be voided: {judge.only_void}", where="how", mend="choose void"
                )
            if judge.number != revision:
                raise ConflictError(
                    "remark-revision",
                    f"revision {judge.number} of the item is in use by now",
                    where=f"place {place}",
                    mend="look at what it would change, and send again",
                )
        persons = sorted({row.person_id for row in marking.at_place(session, assignment.id, place)})
        title = assignment.title
    done = 0
    for person_id in persons:
        with db.writing() as session:
            done += _remark_person(session, person_id, assignment_id, place, judge, how, reason, by, title, now)
    if done:
        with db.writing() as session:
            spread_fixing.fix_again(session, assignment_id)
    return done


def history(session: Session, work_id: str) -> dict[str, tuple[RemarkLine, ...]]:
    """Every grade of the answers in a work that were re-marked, the first one first, by question."""
    found: dict[str, list[RemarkLine]] = {}
    for row in marking.grades_of_work(session, work_id):
        found.setdefault(row.question_id, []).append(
            RemarkLine(
                number=row.number,
                outcome=row.outcome,
                credit=None if row.outcome == "void" else row.credit,
                at=row.graded_at,
                by=row.graded_by,
                why=row.why,
            )
        )
    return {question: tuple(lines) for question, lines in found.items() if len(lines) > 1}


def _placed(session: Session, assignment_id: int, place: int) -> Any:
    found = next((one for one in assignments.places(session, assignment_id) if one.position == place), None)
    if found is None:
        raise edge.not_found("place")
    return found


def _remark_person(
    session: Session,
    person_id: int,
    assignment_id: int,
    place: int,
    judge: Judge,
    how: str,
    why: str,
    by: int,
    title: str,
    now: datetime,
) -> int:
    """Add the new grades of one person; returns how many."""
    people.lock(session, person_id)
    released = None
    done = 0
    for row in marking.at_place(session, assignment_id, place, person_id):
        new = judge.grade_of(row, how)
        if same(row, new):
            continue
        session.add(Grade(answer_id=row.answer_id, number=row.number + 1, graded_at=now, graded_by=by, why=why, **new))
        done += 1
        if not row.sealed:
            released = row.work_id
    if released is not None:
        # Before the release there is no mark that anybody has seen; with it comes the history.
        memory_log.rebuild_in(session, person_id)
        words = f"{title}: question {place} was re-marked. The old and the new mark, and why, stand with your answer."
        notices.tell(session, person_id, words, path=f"/works/{released}", now=now)
    return done


def _view(session: Session, assignment: Assignment, place: int) -> RemarkView:
    placed = _placed(session, assignment.id, place)
    judge = Judge.of(session, placed.item_id, placed.revision_id)
    rows = marking.at_place(session, assignment.id, place)
    named = marking.people(session, sorted({row.person_id for row in rows}))
    names = pseudonyms.names(session, named.values())
    revision = bank.revision(session, placed.revision_id)
    concept = bank.all_concepts(session)[revision.concept_id]

    def changes(how: str) -> tuple[Change, ...]:
        found = []
        for row in rows:
            new = judge.grade_of(row, how)
            if not same(row, new) and (row.outcome, row.credit) != (new["outcome"], new["credit"]):
                old, becomes = (
                    None if outcome == "void" else credit
                    for outcome, credit in ((row.outcome, row.credit), (new["outcome"], new["credit"]))
                )
                found.append(Change(names[row.person_id], row.number, old, becomes, new["void_reason"]))
        return tuple(sorted(found, key=lambda change: change.person))

    return RemarkView(
        assignment_id=assignment.id,
        title=assignment.title,
        place=place,
        item=placed.item_id,
        concept_title=concept.title,
        number=revision.number,
        corrected_number=judge.number,
        only_void=judge.only_void,
        answers=len(rows),
        still_open=marking.open_works(session, assignment.id),
        corrected=changes(CORRECTED) if judge.revision is not None else (),
        void=changes(VOID),
        older=older_handbooks.of_revisions(session, [revision.id]).get(revision.id),
    )

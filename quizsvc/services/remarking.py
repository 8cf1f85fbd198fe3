"""Re-mark: a place of an assignment judged again by the corrected text of its item, or void.

Grades are only added: old and new marks, who, when and why are kept. Each person is done in a unit of work of their
own; doing it twice adds nothing, and doing it again after an interruption does the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.bank.corrected import corrected, why_not
from quizsvc.bank.grade import grade, read_response
from quizsvc.bank.question import followed
from quizsvc.errors import ConflictError, InputError
from quizsvc.services import answer_spread, edge, memory_log, notices
from quizsvc.services.compiled import Compiled, compiled_in
from quizsvc.services.question_views import marks_stored
from quizsvc.services.school_access import assignment_for_instructor
from quizsvc.store import assignments, bank, marking, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Assignment, Grade

__all__ = ["CORRECTED", "HOWS", "VOID", "RemarkLine", "RemarkView", "history", "look", "remark"]

CORRECTED, VOID = HOWS = ("corrected", "void")
VOID_REASON = "the item was judged faulty"
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
        judge = _Judge.of(session, placed)
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
            answer_spread.fix_again(session, assignment_id)
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


@dataclass(frozen=True)
class _Judge:
    """The corrected revision of a place; `only_void` says why there is none."""

    number: int | None
    revision: Compiled | None
    only_void: str | None

    @classmethod
    def of(cls, session: Session, placed: Any) -> _Judge:
        item = bank.item(session, placed.item_id)
        assert item is not None  # a foreign key
        old, new = bank.revision(session, placed.revision_id), bank.revision(session, item.revision_id)
        if old.id == new.id:
            return cls(None, None, "no corrected text of it has been loaded")
        if item.withdrawn_at is not None or item.status != "live":
            return cls(None, None, "its newest text is not in use")
        revision = compiled_in(session, new.hash, new.id)
        reason = why_not(compiled_in(session, old.hash, old.id).body, revision.body)
        return cls(None, None, reason) if reason else cls(new.number, revision, None)

    def grade_of(self, row: Any, how: str) -> dict[str, Any]:
        """The columns of the grade that an answer gets."""
        if how == VOID or self.revision is None:
            return _void(VOID_REASON)
        found = corrected(self.revision.item, row.drawn, row.option_order, row.part)
        if found.record is None:
            return _void(f"{VOID_REASON}: {found.why_not}")
        record = found.record
        response: Mapping[str, Any] = row.response
        if record.get("earlier") and response.get("earlier"):
            record = followed(self.revision.item, row.part, row.drawn, record, response["earlier"])
        if not response.get("pass"):
            try:
                read_response(record, row.raw)
            except InputError:
                return _void(f"{VOID_REASON}: the corrected text does not take this answer")
        judged = grade(record, response)
        return {
            "outcome": judged.outcome,
            "credit": judged.credit,
            "void_reason": None,
            "trap": judged.trap,
            "belief": judged.belief,
            "remark": judged.remark,
            "read_back": judged.read_back,
            "marks": [*marks_stored(judged), {"judged_by": record}],
        }


def _void(reason: str) -> dict[str, Any]:
    return {
        "outcome": "void",
        "credit": 0.0,
        "void_reason": reason,
        "trap": None,
        "belief": None,
        "remark": None,
        "read_back": None,
        "marks": [],
    }


def _same(row: Any, new: Mapping[str, Any]) -> bool:
    """Whether an answer has this grade already."""
    return all(getattr(row, name) == new[name] for name in ("outcome", "credit", "void_reason", "marks"))


def _remark_person(
    session: Session,
    person_id: int,
    assignment_id: int,
    place: int,
    judge: _Judge,
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
        if _same(row, new):
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
    judge = _Judge.of(session, placed)
    rows = marking.at_place(session, assignment.id, place)
    names = marking.people(session, sorted({row.person_id for row in rows}))
    revision = bank.revision(session, placed.revision_id)
    concept = bank.all_concepts(session)[revision.concept_id]

    def changes(how: str) -> tuple[Change, ...]:
        found = []
        for row in rows:
            new = judge.grade_of(row, how)
            if not _same(row, new) and (row.outcome, row.credit) != (new["outcome"], new["credit"]):
                name = names[row.person_id].name or "somebody who left the service"
                old, becomes = (
                    None if outcome == "void" else credit
                    for outcome, credit in ((row.outcome, row.credit), (new["outcome"], new["credit"]))
                )
                found.append(Change(name, row.number, old, becomes, new["void_reason"]))
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
    )

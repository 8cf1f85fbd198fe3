"""A person's homework from stored rows to views, and what is refused because its time is over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from quizsvc.bank.grade import read_response
from quizsvc.bank.question import Presented
from quizsvc.errors import ConflictError, InputError
from quizsvc.services import edge, older_handbooks
from quizsvc.services.compiled import compiled_in
from quizsvc.services.homework_marks import Mark, mark
from quizsvc.services.homework_rules import Times, phase, takes
from quizsvc.services.homework_times import times_for, times_of
from quizsvc.services.homework_views import AssignmentView, DraftView, WorkQuestion, WorkView
from quizsvc.services.question_views import feedback_view, question_view, said, shown_to
from quizsvc.services.views import QuestionView
from quizsvc.store import homework, questions
from quizsvc.store.session import Session
from quizsvc.store.tables import Assignment, DraftResponse, Group, Work

__all__ = [
    "assigned_views",
    "begun_work",
    "draft_view",
    "refuse_closed",
    "said_in",
    "shown_question",
    "unreadable",
    "view_of",
    "work_view",
]

NOTHING = DraftView(version=0, raw={}, sureness=None, saved_at=None)


def begun_work(session: Session, person_id: int, work_id: str) -> tuple[Work, Assignment, Group]:
    """A begun work of a person's own.

    Raises
    ------
    NotFoundError
        There is none, or it is another person's.
    """
    found = homework.own_work(session, edge.row_id(person_id, "work"), work_id)
    if found is None:
        raise edge.not_found("work")
    return found


def refuse_closed(session: Session, found: Work, assigned: Assignment, group: Group, now: datetime) -> None:
    """Refuse what comes too late.

    Raises
    ------
    ConflictError
        The work is handed in, its time is over, it was taken back, or the person has left the group.
    """
    if found.handed_in_at is not None:
        raise ConflictError("handed-in", "this homework is handed in", mend="its receipt says when")
    if assigned.state != "released":
        raise ConflictError("taken-back", "this homework was taken back", mend="ask your instructor")
    if not homework.is_student(session, found.person_id, group.id):
        raise ConflictError("group-left", f"you are no longer in {group.name}", mend="ask your instructor")
    if not takes(times_for(session, assigned, found.person_id), found.ends_at, now):
        raise ConflictError(
            "time-over", "the time for this homework is over", mend="ask your instructor for an extension"
        )


def assigned_views(
    session: Session, person_id: int, assignment_id: int | None, now: datetime
) -> tuple[AssignmentView, ...]:
    rows = homework.assigned(session, edge.row_id(person_id, "assignment"), assignment_id)
    if not rows:
        return ()
    ids = [row.id for row, _ in rows]
    tries = homework.begun(session, person_id, ids)
    allowances = homework.allowances(session, person_id, ids)
    items = homework.places(session, ids)
    first = not homework.any_begun(session, person_id)
    marks = homework.marks(session, [one.id for one in tries if one.released_at is not None])
    views = []
    for row, group in rows:
        allowance = allowances.get(row.id)
        times = times_of(row, allowance)
        views.append(
            AssignmentView(
                id=row.id,
                title=row.title,
                group=group.name,
                zone=group.time_zone,
                phase=phase(times, now) if row.state == "released" else "over",
                taken_back=row.state != "released",
                opens_at=times.opens_at,
                closes_at=times.closes_at,
                late_until_at=times.last_at if times.last_at != times.closes_at else None,
                extended=allowance is not None and allowance.what == "extension",
                excused=allowance is not None and allowance.what == "excused",
                reason=allowance.reason if allowance is not None else None,
                sitting_minutes=row.sitting_minutes,
                tries=row.tries,
                numbers=row.numbers,
                feedback=row.feedback,
                questions=len(items[row.id]),
                works=tuple(
                    replace(
                        view_of(session, one, row, group, now, [], {}, times=times),
                        mark=Mark(*marks.get(one.id, (0.0, 0))) if one.released_at is not None else None,
                    )
                    for one in tries
                    if one.assignment_id == row.id
                ),
                first_homework=first,
            )
        )
    return tuple(views)


def work_view(session: Session, found: Work, assigned: Assignment, group: Group, now: datetime) -> WorkView:
    """A work with its questions as its person may see them now."""
    rows = questions.shown_of_work(session, found.id)
    return view_of(session, found, assigned, group, now, rows, homework.drafts(session, found.id))


def view_of(
    session: Session,
    found: Work,
    assigned: Assignment,
    group: Group,
    now: datetime,
    rows: list[Any],
    kept: Mapping[str, DraftResponse],
    *,
    times: Times | None = None,
) -> WorkView:
    times = times or times_for(session, assigned, found.person_id)
    released = found.released_at is not None
    return WorkView(
        id=found.id,
        assignment_id=assigned.id,
        title=assigned.title,
        number=found.number,
        zone=group.time_zone,
        feedback=assigned.feedback,
        sitting=assigned.sitting_minutes is not None,
        open=found.handed_in_at is None and assigned.state == "released" and takes(times, found.ends_at, now),
        closes_at=times.closes_at,
        late_until_at=times.last_at if times.last_at != times.closes_at else None,
        ends_at=found.ends_at,
        begun_at=found.begun_at,
        handed_in_at=found.handed_in_at,
        device_at=found.device_at,
        late=found.late,
        content_hash=found.content_hash,
        released_at=found.released_at,
        questions=tuple(_listed(row, kept.get(row.id)) for row in rows),
        mark=mark(rows) if released else None,
    )


def _listed(row: Any, draft: DraftResponse | None) -> WorkQuestion:
    """A question in the list of its work; of its concept, which may name the key, only after the release."""
    told = row.answer_id is not None and not row.sealed
    raw = row.raw if row.answer_id is not None else draft.raw if draft is not None else {}
    state, problem = "answered", None
    if row.answer_id is not None:
        state = "fixed"
    elif not raw:
        state = "open"
    elif raw.get("pass") is True:
        state = "pass"
    elif (fault := unreadable(row, raw)) is not None:
        state, problem = "unreadable", fault.what
    return WorkQuestion(
        id=row.id,
        position=row.position,
        part=row.part,
        state=state,
        problem=problem,
        outcome=row.outcome if told else None,
        sureness=row.sureness if told else None,
        concept_title=row.concept_title if told else None,
    )


def shown_question(
    session: Session, row: Any, rows: list[Any], kept: Mapping[str, DraftResponse], *, spoken: bool
) -> QuestionView:
    revision = compiled_in(session, row.revision_hash, row.revision_id)
    shown = shown_to(row, revision, spoken=spoken)
    told = row.answer_id is not None and not row.sealed
    view = question_view(
        row,
        revision,
        feedback=feedback_view(row, shown, row, revision) if told else None,
        shown=shown,
        older=older_handbooks.of_row(session, row),
    )
    before = [one for one in rows if row.chain and one.chain == row.chain and one.position < row.position]
    return replace(
        view,
        set_id="",
        count=len(rows),
        kept=row.answer_id is not None and not told,
        earlier=tuple(_said(session, one, kept.get(one.id)) for one in before),
    )


def _said(session: Session, row: Any, draft: DraftResponse | None) -> tuple[str, str]:
    """An earlier part of a scenario in short: its stem, and what the person has put there."""
    shown = shown_to(row, compiled_in(session, row.revision_hash, row.revision_id))
    raw = row.raw if row.answer_id is not None else draft.raw if draft is not None else {}
    return f"({row.part}) {shown.stem}", _in_words(raw, shown)


def said_in(session: Session, row: Any, raw: Mapping[str, Any]) -> str:
    """What stands in a question's fields, in words."""
    return _in_words(raw, shown_to(row, compiled_in(session, row.revision_hash, row.revision_id)))


def _in_words(raw: Mapping[str, Any], shown: Presented) -> str:
    return (said(raw, shown) or "pass") if raw else "open"


def unreadable(row: Any, raw: Mapping[str, Any]) -> InputError | None:
    """Why what stands in a question's fields cannot be read as an answer; None where it can, or nothing stands there.

    The sentence is the reader's own and says nothing of the key.
    """
    if not raw:
        return None
    try:
        read_response(row.record, raw)
    except InputError as error:
        return error
    return None


def draft_view(stored: DraftResponse | None) -> DraftView:
    if stored is None:
        return NOTHING
    return DraftView(stored.version, stored.raw, stored.sureness, stored.saved_at)

"""The school's part of a person's own export: groups, homework, notices, looks, switches, sheets made of them."""

from __future__ import annotations

from typing import Any

from quizsvc.services import homework_marks, sharing
from quizsvc.store import allowances, groups, homework, notices, own_work, privacy, produced, questions
from quizsvc.store.session import Session
from quizsvc.store.tables import Assignment, Group, Work

__all__ = ["exported"]

_ALL_NOTICES = 1_000_000


def exported(session: Session, person_id: int) -> dict[str, Any]:
    """Everything of the school that is about a person, as plain values.

    What was typed is theirs at once; mark and outcomes come with the release of the feedback, as on their screens.
    """
    assigned = homework.assigned(session, person_id)
    tries = homework.begun(session, person_id, [one.id for one, _ in assigned])
    kept = sharing.shared(session, person_id)
    return {
        "groups": [
            {
                "group": group.name,
                "part": member.part,
                "state": member.state,
                "asked_at": member.asked_at.isoformat(),
                "joined_at": _time(member.joined_at),
                "left_at": _time(member.left_at),
            }
            for group, member in groups.ever_of_person(session, person_id)
        ],
        "homework": [
            _try(session, assignment, group, work)
            for assignment, group in assigned
            for work in tries
            if work.assignment_id == assignment.id
        ],
        "allowances": [
            {
                "assignment": title,
                "what": one.what,
                "until": _time(one.until_at),
                "reason": one.reason,
                "taken_back": one.taken_back,
                "given_at": one.given_at.isoformat(),
            }
            for one, title in allowances.of_person(session, person_id)
        ],
        "calendar": [
            {"made_at": one.made_at.isoformat(), "revoked_at": _time(one.revoked_at)}
            for one in privacy.all_feeds_of(session, person_id)
        ],
        "re_marks": [
            {
                "answer": one.answer_id,
                "item": one.item_id,
                "number": one.number,
                "outcome": one.outcome,
                "credit": one.credit,
                "void_reason": one.void_reason,
                "why": one.why,
                "graded_at": one.graded_at.isoformat(),
            }
            for one in own_work.grades_again(session, person_id)
        ],
        "notices": [
            {"text": one.text, "at": one.at.isoformat()} for one in notices.newest(session, person_id, _ALL_NOTICES)
        ],
        "looks": [
            {"by": name, "what": look.what, "at": look.at.isoformat()}
            for look, name in privacy.looks_at(session, person_id)
        ],
        "shares": {
            "practice_to_instructors": kept.practice_to_instructors,
            "expectation_to_head": kept.expectation_to_head,
        },
        "produced_files": [
            {"title": one.title, "made_at": one.made_at.isoformat(), "sha256": one.sha256}
            for one in produced.of_person(session, person_id)
        ],
    }


def _try(session: Session, assignment: Assignment, group: Group, work: Work) -> dict[str, Any]:
    rows = questions.shown_of_work(session, work.id)
    drafts = homework.drafts(session, work.id)
    released = work.released_at is not None
    found: dict[str, Any] = {
        "assignment": assignment.title,
        "group": group.name,
        "try": work.number,
        "begun_at": _time(work.begun_at),
        "handed_in_at": _time(work.handed_in_at),
        "late": work.late,
        "sha256": work.content_hash,
        "mark": homework_marks.mark(rows).shown if released else None,
        "answers": [],
    }
    for row in rows:
        draft = drafts.get(row.id)
        answer = {
            "place": row.place,
            "item": row.item_id,
            "typed": row.raw if row.answer_id is not None else draft.raw if draft is not None else None,
            "sureness": row.sureness if row.answer_id is not None else draft.sureness if draft is not None else None,
        }
        if not row.sealed:
            answer |= {"outcome": row.outcome, "credit": row.credit}
        found["answers"].append(answer)
    return found


def _time(at: Any) -> str | None:
    return None if at is None else at.isoformat()

"""What a person has written and done for the school, as a part of their own export.

Of others nothing is said here: not whose work was re-marked, whose record looked at, who was excused and why. That
stands in the export of the person whom it is about.
"""

from __future__ import annotations

from typing import Any

from quizsvc.store import desk, own_work
from quizsvc.store.session import Session

__all__ = ["exported"]


def exported(session: Session, person_id: int) -> dict[str, Any]:
    """Everything that a person wrote or did for the school, as plain values, by kind; empty lists for most people."""
    return {
        "bank_desk": [
            {
                "item": one.id,
                "text": one.text,
                "state": one.state,
                "changed_at": _time(one.changed_at),
                "text_in_use": one.live_text,
            }
            for one in desk.written_by(session, person_id)
        ],
        "bank_desk_read": [
            {"item": one.id, "read_at": _time(one.read_at)} for one in own_work.texts_read(session, person_id)
        ],
        "bank_desk_steps": [
            {"item": one.item_id, "what": one.what, "text": one.text, "at": _time(one.at)}
            for one in own_work.desk_steps(session, person_id)
        ],
        "handbook_revisions": [
            {"folder": one.folder, "name": one.name, "sections": list(one.sections), "made_at": _time(one.made_at)}
            for one in own_work.handbook_revisions(session, person_id)
        ],
        "squawk_answers": [
            {"item": one.item_id, "status": one.status, "text": one.text, "at": _time(one.at)}
            for one in own_work.squawk_steps(session, person_id)
        ],
        "groups_made": [
            {"group": one.name, "made_at": _time(one.made_at)} for one in own_work.groups(session, person_id)
        ],
        "assignments_made": [
            {
                "assignment": one.title,
                "group": one.group,
                "state": one.state,
                "made_at": _time(one.made_at),
                "released_at": _time(one.released_at),
            }
            for one in own_work.assignments(session, person_id)
        ],
        "allowances_given": [
            {
                "assignment": one.title,
                "what": one.what,
                "until": _time(one.until_at),
                "taken_back": one.taken_back,
                "given_at": _time(one.given_at),
            }
            for one in own_work.allowances_given(session, person_id)
        ],
        "re_marks_made": [
            {"item": one.item_id, "why": one.why, "at": _time(one.graded_at)}
            for one in own_work.re_marks(session, person_id)
        ],
        "looks_made": [{"what": one.what, "at": _time(one.at)} for one in own_work.looks(session, person_id)],
        "files_made": [
            {"what": one.what, "made_at": _time(one.made_at), "sha256": one.sha256}
            for one in own_work.files(session, person_id)
        ],
    }


def _time(at: Any) -> str | None:
    return None if at is None else at.isoformat()

"""A person's own data: everything of theirs as a file, and deleting it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from quizsvc.errors import ConflictError
from quizsvc.services import edge, log, own_school, own_work, uninstructed
from quizsvc.store import answers, checks, device_sessions, learners, leaving, people, squawks
from quizsvc.store.session import Database, Session

# The kind of produced sheet that a person made of themselves; it goes with them.
OWN_SHEET = "evidence, own"


def export_own(db: Database, person_id: int, *, now: datetime) -> dict[str, Any]:
    """Everything stored of a person, as plain values; answers flat, so that they fit a table.

    Raises
    ------
    NotFoundError
        No such person.
    """
    with db.reading() as session:
        person = people.by_id(session, edge.row_id(person_id, "person"))
        if person is None:
            raise edge.not_found("person")
        return {
            "exported_at": now.isoformat(),
            "person": {
                "id": person.id,
                "name": person.name,
                "roles": list(people.roles(session, person.id)),
                "aircraft": list(person.aircraft),
                "check_date": person.check_date.isoformat() if person.check_date else None,
                "minutes_a_day": person.minutes_a_day,
                "time_zone": person.time_zone,
                "experience": person.experience,
                "created_at": person.created_at.isoformat(),
                "last_seen_at": person.last_seen_at.isoformat(),
            },
            "last_check": _last_check(session, person.id),
            "debriefs": [
                {
                    "taken_on": one.taken_on.isoformat(),
                    "concepts": list(one.concepts),
                    "told_at": one.told_at.isoformat(),
                }
                for one in checks.debriefs(session, person.id)
            ],
            "answers": [log.exported(session, row) for row in answers.log_rows(session, person.id)],
            "holds": [
                {"concept": concept, **state} for concept, state in sorted(learners.states(session, person.id).items())
            ],
            "acknowledgements": [
                {"caution": seen.caution_id, "at": seen.at.isoformat()}
                for seen in people.acknowledgements(session, person.id)
            ],
            "squawks": [
                {
                    "item": squawk.item_id,
                    "text": squawk.text,
                    "status": squawk.status,
                    "raised_at": squawk.raised_at.isoformat(),
                    "answers": [
                        {"status": one.status, "text": one.text, "at": one.at.isoformat()}
                        for one in squawks.steps(session, squawk.id)
                    ],
                }
                for squawk in squawks.of_person(session, person.id)
            ],
            "devices": [
                {
                    "device": device.device,
                    "created_at": device.created_at.isoformat(),
                    "last_seen_at": device.last_seen_at.isoformat(),
                }
                for device in device_sessions.of_person(session, person.id)
            ],
            **own_school.exported(session, person.id),
            **own_work.exported(session, person.id),
        }


def _last_check(session: Session, person_id: int) -> dict[str, Any] | None:
    found = checks.last_check(session, person_id)
    if found is None:
        return None
    return {
        "taken_on": found.taken_on.isoformat(),
        "interval_months": found.interval_months,
        "counts_in": f"{found.counts_in:%Y-%m}",
    }


def delete_account(db: Database, person_id: int, *, now: datetime) -> None:
    """Delete a person with everything of theirs: sessions, sets, questions, answers, memory. Squawks stay, unnamed.

    Of who has done homework the row stays, blanked, and the homework with it: it is the school's record. Sheets that
    were made for the school stay too.

    Raises
    ------
    NotFoundError
        No such person.
    ConflictError
        They are the last keeper of the installation.
    """
    with db.writing() as session:
        people.lock(session, edge.row_id(person_id, "person"))
        person = people.by_id(session, person_id)
        if person is None:
            raise edge.not_found("person")
        if "keeper" in people.roles(session, person.id) and people.count_with_role(session, "keeper") == 1:
            raise ConflictError(
                "account-last-keeper",
                "you are the last keeper of this installation",
                mend="make somebody else a keeper first",
            )
        alone = [group.name for group in uninstructed.left_alone(session, person.id)]
        leaving.remove(session, person.id, own_sheets=OWN_SHEET, at=now)
        uninstructed.tell_heads(session, alone, now)

"""What a test fills in to answer a stored question right or wrong, read from its grading record."""

from __future__ import annotations

from typing import Any

from quizsvc.physics.units import from_si
from quizsvc.store.tables import Question


def _record(db: Any, question_id: str) -> dict[str, Any]:
    with db.reading() as session:
        return session.get(Question, question_id).record


def right(db: Any, question_id: str) -> dict[str, Any]:
    """The fields of a form, or the response of a call, that give the key."""
    record = _record(db, question_id)
    if record["kind"] == "number":
        return {"text": repr(from_si(record["key"], record["unit"]))}
    return {"option": record["keys"][0]} if record["kind"] == "one" else {"options": record["keys"]}


def wrong(db: Any, question_id: str) -> dict[str, Any]:
    """The fields of a form, or the response of a call, that miss."""
    record = _record(db, question_id)
    if record["kind"] == "number":
        return {"text": repr(from_si(record["key"], record["unit"]) * 3 + 9876)}
    others = [option for option in record["order"] if option not in record["keys"]]
    return {"option": others[0]} if record["kind"] == "one" else {"options": others}

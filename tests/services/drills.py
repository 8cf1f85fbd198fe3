"""What a person does in a drill, as tests do it: begin, start, answer right or wrong."""

from __future__ import annotations

import sqlalchemy as sa

from quizsvc.physics.units import from_si
from quizsvc.services import accounts, practice
from quizsvc.store.tables import Question
from tests.factories import new_uuid


def begin(db, clock, time_zone="UTC"):
    """A person without an account; returns the session."""
    return accounts.begin_anonymous(db, device="phone", time_zone=time_zone, now=clock())


def start(db, clock, rng, person_id, minutes=4, long=True):
    """Start a set."""
    return practice.start_set(
        db, person_id, minutes=minutes, long=long, acknowledged=("C1", "C9"), now=clock(), rng=rng
    )


def right(db, question_id):
    """The response that is the key, as the grading record says."""
    record = _record(db, question_id)
    if record["kind"] == "number":
        return {"text": repr(from_si(record["key"], record["unit"]))}
    return {"option": record["keys"][0]} if record["kind"] == "one" else {"options": record["keys"]}


def wrong(db, question_id):
    """A response that misses."""
    record = _record(db, question_id)
    if record["kind"] == "number":
        return {"text": repr(from_si(record["key"], record["unit"]) * 3 + 9876)}
    others = [option for option in record["order"] if option not in record["keys"]]
    return {"option": others[0]} if record["kind"] == "one" else {"options": others}


def answer(db, clock, person_id, question_id, raw, **changes):
    """Send an answer with a UUID of its own."""
    usual = {"uuid": new_uuid(), "sureness": "think", "given_at": None, "sent_at": None, "now": clock()}
    return practice.record_answer(db, person_id, question_id, raw=raw, **(usual | changes))


def count(db, table, *where):
    """How many rows of a table there are."""
    with db.reading() as session:
        return session.scalar(sa.select(sa.func.count()).select_from(table).where(*where))


def _record(db, question_id):
    with db.reading() as session:
        return session.get(Question, question_id).record
